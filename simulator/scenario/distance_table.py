"""A table of road distances between the yard and the fields, as a CSV file."""

from __future__ import annotations

import csv
from pathlib import Path

from simulator.errors import InputError, Problem
from simulator.scenario.merge import nearest
from simulator.scenario.units import LENGTH, UnitError, parse

YARD = "yard"
"""Name of the yard in the table."""
LARGEST_TABLE_BYTES = 20_000_000


def read_distance_table(path: Path, unit: str, fields: list[str]) -> tuple[tuple[float, ...], ...]:
    """Read road distances.

    Parameters
    ----------
    path : Path
        CSV: the header names the places driven to, the first column the places driven from; ``yard`` is the yard.
    unit : str
        Unit of the numbers, such as ``km``.
    fields : list of str
        Names of the fields, in order; all must be in the table.

    Returns
    -------
    tuple of tuple of float
        Metres from row to column; row and column 0 are the yard, field ``i`` stands at ``i + 1``.

    Raises
    ------
    InputError
        The file cannot be read, a place is missing, or a cell is no distance; all problems at once.
    """
    name = str(path)
    try:
        if not path.is_file() or path.stat().st_size > LARGEST_TABLE_BYTES:
            raise InputError.single("is no file that can be read as a distance table", "route.distance_table", name)
        with path.open(newline="", encoding="utf-8-sig") as handle:
            rows = list(csv.reader(handle))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError.single(f"cannot be read: {error}", "route.distance_table", name) from error
    header = [cell.strip() for cell in rows[0][1:]] if rows else []
    lines = {row[0].strip(): row[1:] for row in rows[1:] if row and row[0].strip()}
    places = [YARD, *fields]
    problems = [
        Problem("route.distance_table", f"no {what} for {place!r}{nearest(place, known)}", name)
        for what, known in (("column", header), ("row", list(lines)))
        for place in places
        if place not in known
    ]
    if problems:
        raise InputError(problems[:20])
    table = []
    for origin in places:
        row = []
        for goal in places:
            column = header.index(goal)
            cell = lines[origin][column].strip() if column < len(lines[origin]) else ""
            metres = 0.0
            if origin != goal:
                try:
                    metres = parse(f"{cell} {unit}", LENGTH)
                    if metres < 0.0:
                        raise UnitError(f"got {cell!r}; allowed is a distance of at least 0")
                except UnitError as error:
                    problems.append(Problem("route.distance_table", f"{origin} to {goal}: {error}", name))
            row.append(metres)
        table.append(tuple(row))
    if problems:
        raise InputError(problems[:20])
    return tuple(table)
