"""Finished runs in one SQLite database: those of an unfinished result folder, or a temporary one without a name.

What is committed outlives a killed process and a power loss. Each run carries a checksum, which finds bytes that a disk
has changed; a database that is damaged in itself is made anew from the runs that can be read. One process at a time
has a database, until it is closed.
"""

from __future__ import annotations

import sqlite3
import weakref
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError
from simulator.experiment import run_file
from simulator.experiment.disk import disk_problem
from simulator.experiment.run_file import DAMAGE, PLAN

CHUNK_ROWS = 1024
"""Runs that are read at a time."""
MOST_REPLICATION = 10_000_000
"""No result has more runs; a record that says so is none."""
MOST_PLANS = 1_000_000

Rows = NDArray[np.float64]
Numbers = NDArray[np.int64]


class RunStore:
    """Rows by plan and replication; runs of a wrong checksum are ``spoilt``, a damaged database is ``mended``."""

    def __init__(self, width: int, path: Path | None = None, identity: str = "", fresh: bool = False) -> None:
        self.path, self.spoilt, self.mended, self._held = path, 0, False, True
        self._row_bytes = 8 * width
        self._connection = run_file.temporary() if path is None else run_file.open_alone(path, identity, fresh)
        if path is not None and not run_file.is_sound(self._connection):
            self._connection = run_file.mend(self._connection, path, identity, self._whole)
            self.mended = True
        weakref.finalize(self, self._connection.close)

    @property
    def count(self) -> int:
        """Runs in the database, those of plans that this command has not among them."""
        try:
            return int(self._connection.execute("SELECT count(*) FROM run").fetchone()[0])
        except DAMAGE as error:
            raise self._changed() from error

    def add(self, plan: int, first: int, rows: Rows) -> None:
        """Keep consecutive runs of a plan: all of them or, when the disk is full, the first that fit."""
        content = [np.ascontiguousarray(row, "<f8").tobytes() for row in rows]
        runs = [(number, _check(number, row), row) for number, row in enumerate(content, plan * PLAN + first)]
        self._keep(runs)

    def _keep(self, runs: list[tuple[int, int, bytes]]) -> None:
        try:
            with self._committed():
                self._connection.executemany("INSERT OR REPLACE INTO run VALUES (?, ?, ?)", runs)
        except InputError:
            if len(runs) > 1:
                middle = len(runs) // 2
                self._keep(runs[:middle])
                self._keep(runs[middle:])
            raise

    def rows(self, plan: int, numbers: Numbers) -> Rows:
        """Return the rows of some replications, ascending, shape (n, width)."""
        if len(numbers) == 0:
            return np.empty((0, self._row_bytes // 8))
        query = "SELECT number, row FROM run WHERE number BETWEEN ? AND ? ORDER BY number"
        first, last = (plan * PLAN + int(number) for number in (numbers[0], numbers[-1]))
        try:
            found = self._connection.execute(query, (first, last)).fetchall()
        except DAMAGE as error:
            raise self._changed() from error
        if len(found) > len(numbers):
            wanted = set((plan * PLAN + numbers).tolist())
            found = [run for run in found if run[0] in wanted]
        content = b"".join(row for _, row in found)
        if len(found) != len(numbers) or len(content) != len(numbers) * self._row_bytes:
            raise self._changed()
        return np.frombuffer(content, "<f8").reshape(len(numbers), -1)

    def load(self) -> Iterator[tuple[int, Numbers, Rows]]:
        """Yield plan, replications and rows of all runs that are whole, some at a time; drop those that are spoilt."""
        try:
            cursor = self._connection.execute("SELECT number, check_sum, row FROM run ORDER BY number")
        except DAMAGE as error:
            raise self._changed() from error
        spoilt: list[tuple[object]] = []
        while runs := self._next(cursor):
            good = [run for run in runs if self._whole(run)]
            spoilt += [run[:1] for run in runs if not self._whole(run)]
            for plan, same in groupby(good, key=lambda run: run[0] // PLAN):
                mine = list(same)
                rows = np.frombuffer(b"".join(run[2] for run in mine), "<f8").reshape(len(mine), -1)
                yield plan, np.array([run[0] % PLAN for run in mine], np.int64), rows
        self.spoilt = len(spoilt)
        if spoilt:
            with self._committed():
                self._connection.executemany("DELETE FROM run WHERE number = ?", spoilt)

    def _next(self, cursor: sqlite3.Cursor) -> list[tuple[Any, ...]]:
        try:
            return cursor.fetchmany(CHUNK_ROWS)
        except DAMAGE as error:
            raise self._changed() from error

    def close(self, remove: bool = False) -> None:
        """Let another command in, and delete the file when the result is complete; rows can still be read here."""
        # once only: another command may have made its own in the meantime
        if self.path is not None and self._held:
            self._held = False
            run_file.release(self._connection, self.path, remove)

    def _whole(self, run: tuple[Any, ...]) -> bool:
        """Tell whether a record is a run: of the right kinds, within bounds, and as it was written."""
        number, check, row = run
        if not (isinstance(number, int) and isinstance(row, bytes) and len(row) == self._row_bytes):
            return False
        fits = 0 <= number < PLAN * MOST_PLANS and number % PLAN < MOST_REPLICATION
        return fits and check == _check(number, row)

    @contextmanager
    def _committed(self) -> Iterator[None]:
        try:
            self._connection.execute("BEGIN")
            yield
            self._connection.execute("COMMIT")
        except BaseException as error:
            with suppress(sqlite3.Error):
                self._connection.execute("ROLLBACK")
            if not isinstance(error, DAMAGE):
                raise
            remedy = "free space there, or set TMPDIR to a folder with more"
            if self.path is not None:
                remedy = "the runs before are kept: free space there, then go on with --resume"
            raise disk_problem(error, str(self.path or "the temporary folder"), remedy) from error

    def _changed(self) -> InputError:
        return InputError.single(
            "is damaged, or was changed by another program while it was read; move it away", file=str(self.path or "")
        )


def _check(number: int, row: bytes) -> int:
    return zlib.crc32(row, zlib.crc32(str(number).encode()))
