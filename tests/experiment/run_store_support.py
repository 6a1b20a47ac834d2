"""What several tests of runs ask: whether two results are the same, and what a database holds by other means."""

import contextlib
import sqlite3

import numpy as np


def same(first, second):
    return all(
        np.array_equal(a.rows, b.rows, equal_nan=True) and np.array_equal(a.replications, b.replications)
        for a, b in zip(first.sets, second.sets, strict=True)
    )


def runs_in(path):
    """Return how many days a database that nobody holds has; 0 when there is none."""
    if not path.exists() or path.stat().st_size == 0:
        return 0
    with contextlib.closing(sqlite3.connect(path)) as connection:
        return int(connection.execute("SELECT count(*) FROM run").fetchone()[0])
