"""The journal of a run: finished days on disk as they come, so that nothing finished is lost.

An append-only file: one line of JSON that says which run it belongs to, then records of fixed size, each with a
checksum. A record cut off by a power loss, or spoilt, is left out when the file is read again.
"""

from __future__ import annotations

import fcntl
import json
import os
from contextlib import suppress
from pathlib import Path
from typing import Any

from simulator.errors import InputError
from simulator.experiment.record_file import RecordFile, disk_problem

FORMAT = 1
_LONGEST_HEAD = 10_000_000


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
    fresh : bool, optional
        Drop what is there.

    Attributes
    ----------
    records : RecordFile
        The days; it can be read after the journal is closed, or even removed.

    Raises
    ------
    InputError
        Another process writes it, it belongs to another run, or it cannot be written.
    """

    def __init__(self, path: Path, identity: dict[str, Any], width: int, fresh: bool = False) -> None:
        self.path = path
        head = (json.dumps({"format": FORMAT, **identity}, sort_keys=True) + "\n").encode()
        handle = _open_alone(path)
        self.records = RecordFile(width, handle, len(head), str(path))
        self._handle: int | None = handle
        try:
            self._begin(handle, head, fresh)
        except BaseException:
            self._unlock()
            raise

    def _begin(self, handle: int, head: bytes, fresh: bool) -> None:
        """Check the first line, or write it into a file that has none."""
        found = b"" if fresh else os.pread(handle, len(head), 0)
        if found == head:
            return
        # new, or cut off within its first line by a power loss: nothing in it can be used
        empty = not found.strip(b"\0") or (head.startswith(found) and os.fstat(handle).st_size == len(found))
        if not empty:
            raise InputError.single(
                "an unfinished run of another scenario, seed or version is in this folder; give --force to drop it",
                file=str(self.path),
            )
        try:
            os.ftruncate(handle, 0)
            written = os.pwrite(handle, head, 0)
            if written < len(head):
                os.pwrite(handle, head[written:], written)
            os.fsync(handle)
            sync_folder(self.path.parent)
        except OSError as error:
            with suppress(OSError):
                os.ftruncate(handle, 0)
            raise disk_problem(error, str(self.path), "free space there, or give another --out") from error

    def close(self, remove: bool = False) -> None:
        """Force what was written to the disk, let another run in, and delete the file when its run is complete."""
        if self._handle is None:
            return
        try:
            if remove:
                self.path.unlink(missing_ok=True)
            else:
                # the days are in a result by now, or another error is on its way to the user
                with suppress(InputError):
                    self.records.sync()
        finally:
            self._unlock()

    def _unlock(self) -> None:
        if self._handle is not None:
            fcntl.flock(self._handle, fcntl.LOCK_UN)
            self._handle = None


def _open_alone(path: Path) -> int:
    """Open a file for this process alone, made if need be, and return its descriptor."""
    while True:
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666)
        except OSError as error:
            raise InputError.single(f"cannot be written: {error.strerror or error}", file=str(path)) from error
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if _is_at(path, handle):
                return handle
            # the run that held it has ended and removed it just now: this one has no name any more
            os.close(handle)
        except OSError as error:
            os.close(handle)
            raise InputError.single(
                "another run is writing into this folder; wait for it, or give another --out", file=str(path)
            ) from error


def _is_at(path: Path, handle: int) -> bool:
    try:
        return os.path.samestat(path.stat(), os.fstat(handle))
    except FileNotFoundError:
        return False


def days_in(path: Path) -> int:
    """Return how many days a journal may hold at most, by its size; 0 when there is none.

    Parameters
    ----------
    path : Path
        File, perhaps in use by another run.
    """
    try:
        with path.open("rb") as stream:
            head = stream.readline(_LONGEST_HEAD)
            length = os.fstat(stream.fileno()).st_size - len(head)
    except FileNotFoundError:
        return 0
    if not head.endswith(b"\n"):
        return 0
    try:
        width = len(json.loads(head)["columns"])
    except (ValueError, KeyError, TypeError, RecursionError):
        # of another version, or spoilt: it is not to be dropped unasked
        return 1
    return length // RecordFile(width).record_bytes


def in_use(path: Path) -> bool:
    """Tell whether another process writes a journal."""
    with path.open("rb") as handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return True
    return False


def sync_folder(folder: Path) -> None:
    """Make new, changed and removed names in a folder outlive a power loss."""
    # some file systems refuse to sync a folder; the file itself is safe there
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
