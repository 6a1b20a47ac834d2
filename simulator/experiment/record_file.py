"""Rows of numbers in records of fixed size: appended as days finish, read back by place, on disk but for a small start.

Memory does not grow with days because only the places of rows are kept, never the rows. Each record carries a
checksum, so that what a power loss cut off or spoilt is found when the file is read again.
"""

from __future__ import annotations

import os
import struct
import tempfile
import time
import weakref
import zlib
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError

SPOOL_BYTES = 4_000_000
"""Rows that have no file of their own stay in memory up to this size, then move to a temporary file."""
CHUNK_ROWS = 1024
"""Records that are read at a time."""
SYNC_S = 5.0
"""A file that must outlive a power loss is forced to the disk this often."""

_KEYS = struct.Struct("<iq")
"""Plan number and replication, which the checksum covers with the row; the checksum stands between them."""
_HEAD_BYTES = _KEYS.size + 4

Rows = NDArray[np.float64]
Places = NDArray[np.int64]


def disk_problem(error: OSError, name: str, remedy: str) -> InputError:
    """Return what to tell when a file cannot be written.

    Parameters
    ----------
    error : OSError
        What the system said.
    name : str
        File or folder.
    remedy : str
        What to do.
    """
    return InputError.single(f"cannot be written: {error.strerror or error}; {remedy}", file=name)


class RecordFile:
    """Append-only records of one row each.

    Parameters
    ----------
    width : int
        Numbers in a row.
    handle : int, optional
        Descriptor of a file open for reading and writing, closed with this object; without one, rows stay in memory
        up to :data:`SPOOL_BYTES` and then go to a temporary file without a name.
    begin : int
        Byte at which the records begin.
    name : str
        File name for messages.
    """

    def __init__(self, width: int, handle: int | None = None, begin: int = 0, name: str = "") -> None:
        self.count = 0
        """Records written so far, spoilt ones included; the place of the next one."""
        self.spoilt = 0
        """Records that :meth:`whole_records` found cut off or spoilt."""
        self._type = np.dtype(
            [("plan", "<i4"), ("replication", "<i8"), ("check", "<u4"), ("row", "<f8", (width,))], align=False
        )
        self._begin, self._name = begin, name
        self._durable = handle is not None
        self._synced_s = time.monotonic()
        self._spool = bytearray()
        self._handle = handle
        if handle is not None:
            weakref.finalize(self, os.close, handle)

    @property
    def record_bytes(self) -> int:
        """Size of a record."""
        return self._type.itemsize

    def append(self, plan: int, first: int, rows: Rows) -> int:
        """Write consecutive days of one plan and hand them to the system.

        Parameters
        ----------
        plan : int
            Plan number.
        first : int
            Replication of the first row.
        rows : ndarray, shape (days, width)
            One row a day.

        Returns
        -------
        int
            Place of the first row.

        Raises
        ------
        InputError
            The disk is full or gone. What was written before stays; of these days, the file holds those that fitted,
            for a run that goes on with it, and this object none.
        """
        records = np.zeros(len(rows), self._type)
        records["plan"], records["row"] = plan, rows
        records["replication"] = np.arange(first, first + len(rows))
        records["check"] = self._checks(records)
        self._write(records.view(np.uint8).data)
        place = self.count
        self.count += len(rows)
        return place

    def rows(self, places: Places) -> Rows:
        """Return rows by place.

        Parameters
        ----------
        places : ndarray of int, shape (n,)
            Places; runs of consecutive ones are read together.

        Returns
        -------
        ndarray, shape (n, width)

        Raises
        ------
        InputError
            The file was cut short meanwhile.
        """
        rows: Rows = self._records(places)["row"]
        return rows

    def whole_records(self) -> Iterator[tuple[Places, NDArray[Any]]]:
        """Yield the places and records of a file that are whole, some at a time, and cut off what follows the last.

        Yields
        ------
        (ndarray of int, ndarray)
            Places and records (fields ``plan``, ``replication``, ``row``).
        """
        if self._handle is None:
            return
        size = self.record_bytes
        length, rest = divmod(max(0, os.fstat(self._handle).st_size - self._begin), size)
        end, self.spoilt = 0, int(rest > 0)
        for start in range(0, length, CHUNK_ROWS):
            places = np.arange(start, min(start + CHUNK_ROWS, length))
            records = self._records(places)
            good = records["check"] == self._checks(records)
            if good.any():
                end = int(places[good][-1]) + 1
            self.spoilt += int((~good).sum())
            yield places[good], records[good]
        self.count = end
        os.ftruncate(self._handle, self._begin + end * size)

    def sync(self) -> None:
        """Force a file that must outlive a power loss to the disk.

        Raises
        ------
        InputError
            The disk is full or gone.
        """
        if self._handle is None or not self._durable:
            return
        try:
            os.fsync(self._handle)
        except OSError as error:
            raise self._problem(error) from error
        self._synced_s = time.monotonic()

    def _checks(self, records: NDArray[Any]) -> NDArray[np.uint32]:
        """Return the checksum that each record should carry."""
        content, size = np.ascontiguousarray(records).view(np.uint8).data, self.record_bytes
        return np.fromiter(
            (
                zlib.crc32(content[at + _HEAD_BYTES : at + size], zlib.crc32(content[at : at + _KEYS.size]))
                for at in range(0, len(content), size)
            ),
            np.uint32,
            len(records),
        )

    def _write(self, content: memoryview) -> None:
        if self._handle is None:
            self._spool += content
            if len(self._spool) > SPOOL_BYTES:
                self._move_to_disk(len(content))
            return
        self._write_at(self._handle, self._begin + self.count * self.record_bytes, content)
        if self._durable and time.monotonic() - self._synced_s > SYNC_S:
            self.sync()

    def _move_to_disk(self, last_bytes: int) -> None:
        """Write what has been kept in memory to a temporary file that has no name, so nothing is left behind."""
        self._name = tempfile.gettempdir()
        try:
            with tempfile.TemporaryFile(prefix="acreday-") as made:
                handle = os.dup(made.fileno())
        except OSError as error:
            self._spool = self._spool[:-last_bytes]
            raise self._problem(error) from error
        try:
            self._write_at(handle, self._begin, memoryview(self._spool))
        except InputError:
            os.close(handle)
            # the caller is told that these days are not kept
            self._spool = self._spool[:-last_bytes]
            raise
        weakref.finalize(self, os.close, handle)
        self._handle, self._spool = handle, bytearray()

    def _write_at(self, handle: int, at: int, content: memoryview) -> None:
        done = 0
        try:
            while done < len(content):
                done += os.pwrite(handle, content[done:], at + done)
        except OSError as error:
            # what is whole may be read again by a run that goes on; the half record after it may not be taken for one
            with suppress(OSError):
                os.ftruncate(handle, at + done // self.record_bytes * self.record_bytes)
            raise self._problem(error) from error

    def _problem(self, error: OSError) -> InputError:
        remedy = (
            "the days before are kept: free space there, then go on with --resume"
            if self._durable
            else "free space there, or set TMPDIR to a folder with more"
        )
        return disk_problem(error, self._name, remedy)

    def _records(self, places: Places) -> NDArray[Any]:
        records = np.empty(len(places), self._type)
        if len(places) == 0:
            return records
        content, size = records.view(np.uint8).data, self.record_bytes
        cuts = np.flatnonzero(np.diff(places) != 1) + 1
        for start, end in zip([0, *cuts.tolist()], [*cuts.tolist(), len(places)], strict=True):
            self._read_at(int(places[start]) * size, content[start * size : end * size])
        return records

    def _read_at(self, at: int, into: memoryview) -> None:
        if self._handle is None:
            into[:] = memoryview(self._spool)[at : at + len(into)]
            return
        done = 0
        while done < len(into):
            found = os.preadv(self._handle, [into[done:]], self._begin + at + done)
            if found == 0:
                raise InputError.single("was cut short by another program while it was read", file=self._name)
            done += found
