"""What must outlive a power loss, and what to tell when a disk takes no more."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from simulator.errors import InputError


def disk_problem(error: Exception, name: str, remedy: str) -> InputError:
    """Return what to tell when a file cannot be written."""
    said = (error.strerror if isinstance(error, OSError) else None) or error
    return InputError.single(f"cannot be written: {said}; {remedy}", file=name)


def sync_folder(folder: Path) -> None:
    """Make new, changed and removed names in a folder outlive a power loss."""
    # some file systems refuse to sync a folder; the file itself is safe there
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
