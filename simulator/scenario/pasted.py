"""Rows pasted from a spreadsheet as columns of the table of fields: by headings, by the order shown, or by units."""

from __future__ import annotations

import re
from collections import Counter
from contextlib import suppress
from typing import NamedTuple

from simulator.errors import InputError
from simulator.scenario import units
from simulator.scenario.typed import BARE

MOST_PASTED = 2000
FIELD_HEADS = {
    "name": "Field", "area": "Area", "count": "How many", "length_to_width": "Length over width", "rate": "Rate",
    "drive_distance": "Road to it",
}  # fmt: skip
"""Columns of the table of fields, in the order of the page, and their headings."""
COLUMNS = tuple(FIELD_HEADS)
_WORDS = {
    "name": "field name|name|field|block|parcel|feld|nombre|campo", "area": "area|size",
    "count": "count|number|no|how many", "length_to_width": "shape|length.*width|ratio",
    "rate": "application rate|application|rate",
    "drive_distance": "road to it|road|drive|distance to (?:it|field)|distance",
}  # fmt: skip
"""Headings that are known, by column, the longer first; a unit may follow."""
_UNIT_ALONE = re.compile(r"acres?|ac|ha|hectares?|miles?|mi|km|gpa|.+(?:/|\bper\b).+", re.IGNORECASE)
_MEASURES = {"area": units.AREA, "rate": units.LIQUID_RATE, "drive_distance": units.LENGTH}


class Pasted(NamedTuple):
    """What was pasted: columns with the unit of a bare number, both empty where there is none, and rows as wide."""

    columns: list[tuple[str, str]]
    rows: list[list[str]]
    headed: bool


def read_pasted(text: str, first_column: str) -> Pasted:
    """Read what was pasted into a column; what could be meant in two ways is refused."""
    rows = _cells(text, first_column)
    heads = [_head(cell) for cell in rows[0]]
    words = not any(BARE.fullmatch(cell) or _measured(cell) for cell in rows[0])
    other = [cell for cell in rows[0][1:] if cell]
    if words and (any(key for key, _ in heads) or (other and not any(re.search(r"\d", cell) for cell in other))):
        _check_heads(rows, heads)
        return Pasted(heads, rows[1:], headed=True)
    columns = [(key, "") for key in _without_heads(rows, first_column)]
    return Pasted(columns, [row[: len(columns)] for row in rows], headed=False)


def _cells(text: str, first_column: str) -> list[list[str]]:
    lines = [line for line in re.split(r"\r\n|\n|\r", text) if line.strip()]
    if not lines:
        raise InputError.single("got nothing; allowed are rows of a spreadsheet", "field")
    if len(lines) > MOST_PASTED + 1:
        raise InputError.single(f"got more than {MOST_PASTED} rows; allowed are at most {MOST_PASTED}", "field")
    separator = next((sign for sign in "\t;" if sign in text), "\t")
    if separator not in text and first_column == "name" and all("," in line for line in lines):
        separator = ","
    rows = [[cell.strip().strip('"') for cell in line.split(separator)] for line in lines]
    wide = max(map(len, rows))
    return [row + [""] * (wide - len(row)) for row in rows]


def _measured(value: str) -> str:
    """Return the column in which a value with its unit belongs; empty for what has no unit of any."""
    for key, dimension in _MEASURES.items():
        with suppress(units.UnitError):
            units.parse(value, dimension)
            # a volume over an area is a length, and is read as one
            return key if key != "rate" or re.search(r"/ *[a-z]|per|gpa", value.lower()) else "drive_distance"
    return ""


def _head(cell: str) -> tuple[str, str]:
    """Return the column of a heading and the unit in it; empty where it is not known."""
    text = " ".join(re.sub(r"[()\[\]:,]", " ", cell).split())
    for key, words in _WORDS.items():
        found = re.fullmatch(rf"(?:{words})(?: (?:in )?(\S.*))?", text, re.IGNORECASE)
        if found and (found[1] is None or _measured(f"1 {found[1]}") == key):
            return key, found[1] or ""
    return (_measured(f"1 {text}"), text) if _UNIT_ALONE.fullmatch(text) else ("", "")


def _check_heads(rows: list[list[str]], heads: list[tuple[str, str]]) -> None:
    columns = list(zip(*rows, strict=True))
    unknown = [column[0] for column, (key, _) in zip(columns, heads, strict=True) if not key and any(column)]
    known = f"{', '.join(FIELD_HEADS.values())}; a unit may follow, as in 'Road mi', or stand alone, as in 'Acres'"
    if unknown:
        raise InputError.single(
            f"got the heading {', '.join(repr(one[:40]) for one in unknown)}; known are {known}", "field"
        )
    twice = [FIELD_HEADS[key] for key, number in Counter(key for key, _ in heads if key).items() if number > 1]
    if twice:
        raise InputError.single(f"got two columns for {', '.join(twice)}; allowed is one of each", "field")
    if len(rows) == 1:
        raise InputError.single("got headings alone; allowed are rows below them", "field")


def _without_heads(rows: list[list[str]], first_column: str) -> list[str]:
    shown = COLUMNS[COLUMNS.index(first_column) :]
    values = [next(filter(None, column), "") for column in zip(*rows, strict=True)]
    if len(values) != len(shown):
        values = values[: max((place for place, value in enumerate(values, 1) if value), default=1)]
    if len(values) == len(shown):
        return list(shown)
    found = [first_column, *map(_measured, values[1:])]
    if first_column == "name" and len(values) > 1 and BARE.fullmatch(values[1]):
        found[1] = "area"
    clear = all(key or not value for key, value in zip(found, values, strict=True))
    if not clear or len(set(filter(None, found))) < len(list(filter(None, found))):
        alone = "a name, a name and an area" if first_column == "name" else "one"
        raise InputError.single(
            f"got {len(values)} columns without headings, which may be meant in several ways; allowed are all "
            f"{len(shown)} in the order of the table, {alone}, values with their units (such as '2 gal/acre', '1 mi'), "
            f"or a first line of headings: {', '.join(FIELD_HEADS.values())}",
            "field",
        )
    return found
