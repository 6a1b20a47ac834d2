"""CSV files that a user names: rows by the number of their line, and what is said of a cell that cannot be used."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection
from pathlib import Path

from simulator.errors import InputError
from simulator.scenario.files import decoded, read_ordinary_file
from simulator.scenario.merge import near
from simulator.scenario.shown import shown
from simulator.scenario.units import Dimension, UnitError, parse

Row = tuple[int, list[str]]
"""Number of its last line, and its cells without blanks around them."""
_NUMBERS = re.compile(r"[-+\d.,:/ ]{1,30}")


def csv_rows(
    path: Path, most_bytes: int, allowed: str, where: str = "", most_rows: int | None = None
) -> tuple[list[Row], bytes]:
    """Return the rows of a CSV file that hold anything, and the whole file."""
    content = read_ordinary_file(path, most_bytes, allowed)
    rows: list[Row] = []
    try:
        # strict: a quote that is never closed would swallow the rest of the file in silence
        reader = csv.reader(io.StringIO(decoded(content), newline=""), strict=True)
        for row in reader:
            cells = [cell.strip() for cell in row]
            if any(cells):
                rows.append((reader.line_num, cells))
            if most_rows is not None and len(rows) > most_rows:
                raise InputError.single(f"got more than {most_rows} rows; allowed is {allowed}", where, str(path))
    except (csv.Error, ValueError) as error:
        raise InputError.single(f"cannot be read as CSV (UTF-8): {error}", where, str(path)) from error
    return rows, content


def cell(cells: list[str], place: int) -> str:
    """Return a cell of a row; of a short one it is empty."""
    return cells[place] if place < len(cells) else ""


def cell_shown(text: str) -> str:
    """Return a cell for a message: numbers as they are; words might be none of the reader's business."""
    if not text:
        return "nothing"
    return repr(text) if _NUMBERS.fullmatch(text) else "text"


def quantity_of(text: str, unit: str, dimension: Dimension) -> float:
    """Return the number of a cell that is in a unit, in the inner unit; `UnitError` says what is allowed."""
    try:
        return parse(f"{text} {unit}".strip(), dimension)
    except UnitError as error:
        got = f"got {cell_shown(text)} in {shown(unit)}"
        raise UnitError(f"{got}; allowed is a number that makes {dimension.name}") from error


def near_column(name: str, columns: Collection[str]) -> str:
    """Return the nearest name of a column; what is not near is not quoted, only counted."""
    return near(name, columns) or f"; there are {len(columns)} others"
