"""The journal of a run: finished days on disk as they come, so that nothing finished is lost.

An append-only file: one line of JSON that says which run it belongs to, then records of fixed size, each with a
checksum. A record cut off by a power loss, and whatever follows it, is dropped when the file is read again.
"""

from __future__ import annotations

import fcntl
import json
import os
import struct
import zlib
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError

_HEAD = struct.Struct("<iqI")
"""Plan number, replication, checksum of the row's bytes and the two numbers before it."""
FORMAT = 1


class Journal:
    """Append-only store of finished days.

    Parameters
    ----------
    path : Path
        File; its folder must exist.
    identity : dict
        What the rows depend on (scenario digest, seed, columns, sets); rows of another identity are refused.
    width : int
        Numbers in a row.

    Raises
    ------
    InputError
        Another process writes it, it belongs to another run, or it cannot be written.
    """

    def __init__(self, path: Path, identity: dict[str, Any], width: int) -> None:
        self.path = path
        self._width = width
        self._size = _HEAD.size + 8 * width
        try:
            self._file: BinaryIO = path.open("a+b")
        except OSError as error:
            raise InputError.single(f"cannot be written: {error.strerror or error}", file=str(path)) from error
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            self._file.close()
            raise InputError.single(
                "another run is writing into this folder; wait for it, or give another --out", file=str(path)
            ) from error
        head = (json.dumps({"format": FORMAT, **identity}, sort_keys=True) + "\n").encode()
        self._file.seek(0)
        found = self._file.readline(1_000_000)
        if not found.endswith(b"\n"):
            # new, or cut off within its first line: nothing in it can be used
            self._file.truncate(0)
            self._file.write(head)
            self._file.flush()
            self._begin = len(head)
        elif found != head:
            self._file.close()
            raise InputError.single(
                "an unfinished run of another scenario, seed or version is in this folder; give --force to drop it",
                file=str(path),
            )
        else:
            self._begin = len(found)

    def read(self) -> dict[int, dict[int, NDArray[np.float64]]]:
        """Return the rows that are whole, by plan and replication, and cut off what is not.

        Returns
        -------
        dict
            Plan number to {replication: row of ``width`` numbers}.
        """
        rows: dict[int, dict[int, NDArray[np.float64]]] = {}
        self._file.seek(self._begin)
        good = self._begin
        while len(record := self._file.read(self._size)) == self._size:
            plan, replication, check = _HEAD.unpack_from(record)
            if zlib.crc32(record[_HEAD.size :], zlib.crc32(record[:12])) != check:
                break
            rows.setdefault(plan, {})[replication] = np.frombuffer(record, dtype="<f8", offset=_HEAD.size).copy()
            good += self._size
        self._file.truncate(good)
        self._file.seek(0, os.SEEK_END)
        return rows

    def append(self, plan: int, first: int, rows: NDArray[np.float64]) -> None:
        """Write consecutive days of one plan and hand them to the system.

        Raises
        ------
        InputError
            The disk is full or gone; what was written before is whole.
        """
        parts = []
        for place, row in enumerate(rows):
            body = row.astype("<f8").tobytes()
            head = struct.pack("<iq", plan, first + place)
            parts.append(head + struct.pack("<I", zlib.crc32(body, zlib.crc32(head))) + body)
        try:
            self._file.write(b"".join(parts))
            self._file.flush()
        except OSError as error:
            raise InputError.single(
                f"cannot be written: {error.strerror or error}; the days before are kept, go on with --resume",
                file=str(self.path),
            ) from error

    def close(self, remove: bool = False) -> None:
        """Close the file, and delete it when its run is complete."""
        if not self._file.closed:
            if remove:
                self.path.unlink(missing_ok=True)
            self._file.close()
