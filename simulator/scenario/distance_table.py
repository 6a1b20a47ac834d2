"""A table of road distances between the yard and the fields, as a CSV file."""

from __future__ import annotations

from pathlib import Path

from simulator.errors import InputError, Problem
from simulator.scenario.files import cell_shown, csv_rows, near_name
from simulator.scenario.shown import shown
from simulator.scenario.units import LENGTH, UnitError, parse

YARD = "yard"
"""Name of the yard in the table."""
LARGEST_TABLE_BYTES = 20_000_000
MOST_FIELDS = 2_000
MOST_PROBLEMS = 20
"""Problems shown of one file."""


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
    found, _ = csv_rows(path, LARGEST_TABLE_BYTES, "a CSV table of road distances", "route.distance_table")
    rows = [row for _, row in found]
    header = [cell.strip() for cell in rows[0][1:]] if rows else []
    columns: dict[str, int] = {}
    for place, head in enumerate(header):
        columns.setdefault(head, place)
    lines = {row[0].strip(): row[1:] for row in rows[1:] if row and row[0].strip()}
    places = [YARD, *fields]
    problems: list[Problem] = []
    for what, known in (("column", columns), ("row", lines)):
        names = list(known)
        missing = [place for place in places if place not in known]
        problems += [
            Problem("route.distance_table", f"no {what} for {place!r}{near_name(place, names)}", name)
            # what is known of thousands is the same list each time, and takes time to sort
            for place in missing[: MOST_PROBLEMS if len(names) <= MOST_FIELDS else 1]
        ]
    if problems:
        raise InputError(problems[:MOST_PROBLEMS])
    table = []
    for origin in places:
        cells = lines[origin]
        row = []
        for goal in places:
            metres = 0.0
            if origin != goal:
                try:
                    metres = _metres(cells[columns[goal]].strip() if columns[goal] < len(cells) else "", unit)
                except UnitError as error:
                    problems.append(Problem("route.distance_table", f"{origin} to {goal}: {error}", name))
            row.append(metres)
        if len(problems) >= MOST_PROBLEMS:
            break
        table.append(tuple(row))
    if problems:
        raise InputError(problems[:MOST_PROBLEMS])
    return tuple(table)


def _metres(cell: str, unit: str) -> float:
    """Return a distance in metres.

    Raises
    ------
    UnitError
        It is none, or longer than any drive.
    """
    try:
        metres = parse(f"{cell} {unit}", LENGTH)
    except UnitError as error:
        raise UnitError(f"got {cell_shown(cell)} in {shown(unit)}; allowed is a number that makes a length") from error
    if not 0.0 <= metres <= LENGTH.largest:
        limit = f"{LENGTH.largest / 1000.0:g} km"
        raise UnitError(f"got {cell_shown(cell)}; allowed is a distance of at least 0 and at most {limit}")
    return metres
