"""A table of road distances between the yard and the fields, as a CSV file."""

from __future__ import annotations

from pathlib import Path

from simulator.errors import Problems
from simulator.scenario.csv_table import cell, cell_shown, csv_rows, near_column, quantity_of
from simulator.scenario.units import LENGTH, UnitError

YARD = "yard"
"""Name of the yard in the table."""
LARGEST_TABLE_BYTES = 20_000_000
_KEY = "route.distance_table"


def read_distance_table(path: Path, unit: str, fields: list[str]) -> tuple[tuple[float, ...], ...]:
    """Return the metres from row to column, the yard first; the file's header and first column name the places."""
    problems = Problems(str(path))
    rows, _ = csv_rows(path, LARGEST_TABLE_BYTES, "a CSV table of road distances", _KEY)
    columns: dict[str, int] = {}
    for place, head in enumerate(rows[0][1][1:] if rows else [], start=1):
        columns.setdefault(head, place)
    lines = {cells[0]: cells for _, cells in rows[1:] if cells[0]}
    places = [YARD, *fields]
    for what, known in (("column", columns), ("row", lines)):
        for name in places:
            if name not in known and not problems.full:
                problems.add(_KEY, f"no {what} for {name!r}{near_column(name, known)}")
    problems.refuse()
    table = []
    for origin in places:
        row = []
        for goal in places:
            try:
                row.append(0.0 if origin == goal else _metres(cell(lines[origin], columns[goal]), unit))
            except UnitError as error:
                problems.add(_KEY, f"{origin} to {goal}: {error}")
        if problems.full:
            break
        table.append(tuple(row))
    problems.refuse()
    return tuple(table)


def _metres(text: str, unit: str) -> float:
    metres = quantity_of(text, unit, LENGTH)
    if not 0.0 <= metres <= LENGTH.largest:
        limit = f"{LENGTH.largest / 1000.0:g} km"
        raise UnitError(f"got {cell_shown(text)}; allowed is a distance of at least 0 and at most {limit}")
    return metres
