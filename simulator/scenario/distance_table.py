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
    """Read road distances."""
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
    """Return a distance in metres."""
    try:
        metres = parse(f"{cell} {unit}", LENGTH)
    except UnitError as error:
        raise UnitError(f"got {cell_shown(cell)} in {shown(unit)}; allowed is a number that makes a length") from error
    if not 0.0 <= metres <= LENGTH.largest:
        limit = f"{LENGTH.largest / 1000.0:g} km"
        raise UnitError(f"got {cell_shown(cell)}; allowed is a distance of at least 0 and at most {limit}")
    return metres
