"""What the tests ask of a database of finished days, by other means than the code under test."""

from __future__ import annotations

import sqlite3
from pathlib import Path


def runs_in(path: Path) -> int:
    """Return how many days a database that nobody holds has; 0 when there is none."""
    if not path.exists() or path.stat().st_size == 0:
        return 0
    connection = sqlite3.connect(path)
    try:
        return int(connection.execute("SELECT count(*) FROM run").fetchone()[0])
    finally:
        connection.close()
