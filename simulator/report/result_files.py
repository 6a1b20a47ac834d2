"""Writing the files of a result: tables part by part, what to do when the disk is full, and safe from a power loss."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from simulator.experiment.disk import disk_problem, sync_folder
from simulator.report.writing import safe_cell

if TYPE_CHECKING:
    import pandas as pd


@contextmanager
def kept_runs(target: Path, name: str = "") -> Iterator[None]:
    """Turn a full or broken disk into a message that says which file failed and how to go on.

    Parameters
    ----------
    target : Path
        Result folder.
    name : str, optional
        File in it.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    try:
        yield
    except OSError as error:
        remedy = "no result is written, but every finished run is kept: free space there, then go on with --resume"
        raise disk_problem(error, str(target / name), remedy) from error


def write_parts(path: Path, frames: Iterable[pd.DataFrame]) -> None:
    """Write a table as CSV from its parts, so that memory does not grow with it; the same bytes as from the whole.

    Parameters
    ----------
    path : Path
        File.
    frames : iterable of pandas.DataFrame
        Parts with the same columns; texts that a spreadsheet would take for a formula are disarmed.
    """
    with path.open("w", encoding="utf-8", newline="") as stream:
        for number, frame in enumerate(frames):
            for column in frame.columns:
                if frame[column].dtype.kind not in "bifu":
                    # a column of texts holds few different ones
                    frame[column] = frame[column].map({text: _cell(text) for text in frame[column].unique()})
            frame.to_csv(stream, index=False, header=number == 0, lineterminator="\n")


def _cell(value: object) -> object:
    """Return a safe cell; a lone carriage return, which the writer would not quote, would begin a row of its own."""
    return safe_cell(value.replace("\r\n", "\n").replace("\r", "\n") if isinstance(value, str) else value)


def sync_files(folder: Path) -> None:
    """Force all files of a folder, and their names, to the disk: moved into place, they must outlive a power loss.

    Raises
    ------
    OSError
        The disk is full or gone.
    """
    for path in sorted(folder.iterdir()):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    sync_folder(folder)
