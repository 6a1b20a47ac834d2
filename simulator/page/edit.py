"""Changes to a scenario's text that leave comments and order as they are, each checked against the plain tables."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Callable, MutableMapping
from contextvars import ContextVar
from itertools import pairwise
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from simulator.errors import InputError
from simulator.page.typed import At, typed_value
from simulator.scenario.toml_text import toml_document

Tables = MutableMapping[str, Any]
Change = Callable[[Tables], None]
MOST_PASTED = 2000
_new_table: ContextVar[Callable[[], Any]] = ContextVar("_new_table", default=dict)
COLUMNS = ("name", "area", "count", "length_to_width", "rate", "drive_distance")
"""Columns of the table of fields, in the order of the page."""
_HEADS = {
    "name": "name|field|block|parcel|feld|nombre|campo", "area": "area|acres?|ac|ha|hectares?|size",
    "count": "count|number|no|how many", "length_to_width": "shape|length.*width|ratio",
    "rate": "rate|gpa|gal.*|l/ha|application.*", "drive_distance": "road|drive|miles?|mi|km|distance.*",
}  # fmt: skip
"""Heads of a pasted table, by column."""


def changed(text: str, *changes: Change) -> str:
    """Return a scenario's text with changes made: its comments stay, and it says exactly what was meant."""
    plain: Tables = tomllib.loads(text)
    for change in changes:
        change(plain)
    # among dotted keys a new table must stand in one line
    for make in (dict, tomlkit.inline_table):
        token = _new_table.set(make)
        try:
            document = tomlkit.parse(text)
            for change in changes:
                change(document)
            kept = tomlkit.dumps(document)
            if _filled(tomllib.loads(kept)) == _filled(plain):
                return kept
        except (TOMLKitError, KeyError, IndexError, TypeError, ValueError, AttributeError):
            continue
        finally:
            _new_table.reset(token)
    # the editor of comments could not do it: what is meant counts more than how it is laid out
    head = "".join(line for line in text.splitlines(keepends=True)[:20] if line.startswith("#"))
    return head + toml_document(plain)


def _filled(tables: Any, depth: int = 0) -> Any:
    """Return tables without empty ones, which say nothing; an equipment set may be empty."""
    if not isinstance(tables, dict):
        return tables
    found = {key: _filled(value, 1 if key == "equipment_set" and depth == 0 else 2) for key, value in tables.items()}
    return {key: value for key, value in found.items() if value != {} or depth == 1}


def _append(rows: Any, row: dict[str, Any]) -> None:
    if isinstance(rows, tomlkit.items.AoT):
        table = tomlkit.table()
        for key, value in row.items():
            table.add(key, value)
        table.add(tomlkit.nl())
        rows.append(table)
    else:
        rows.append(row)


def _step(place: Any, part: str | int, following: str | int | None) -> Any:
    if isinstance(place, list):
        if not (isinstance(part, int) and 0 <= part < len(place)):
            raise InputError.single(f"there is no row {part}; the file may have been changed")
        return place[part]
    if part not in place or (following is not None and not isinstance(place[part], MutableMapping | list)):
        place[part] = _new_table.get()()
    return place[part]


def put(at: At, value: Any) -> Change:
    """Set a value; None takes it away. Of a quantity that varies, a new mean keeps the way it varies."""

    def change(tables: Tables) -> None:
        place: Any = tables
        for part, following in pairwise(at):
            if value is None and isinstance(place, MutableMapping) and part not in place:
                return
            place = _step(place, part, following)
        last: Any = at[-1]
        old = place.get(last) if isinstance(place, MutableMapping) else None
        if value is None:
            if isinstance(place, MutableMapping):
                place.pop(last, None)
        elif isinstance(old, MutableMapping) and "mean" in old and not isinstance(value, MutableMapping):
            old["mean"] = value
        elif isinstance(value, dict):
            place[last] = copy.deepcopy(value)
        else:
            place[last] = value

    return change


def put_typed(at: At, typed: str, metric: bool) -> Change:
    """Set what was typed; nothing typed takes the value away."""
    return put(at, typed_value(at, typed, metric) if typed.strip() else None)


def take(at: At) -> Change:
    """Take an entry of a list or a table away."""

    def change(tables: Tables) -> None:
        place: Any = tables
        for part in at[:-1]:
            place = place[part]
        del place[at[-1]]
        if len(at) == 2 and not place:
            del tables[str(at[0])]

    return change


def add_field(metric: bool) -> Change:
    """Add a field like the last one."""

    def change(tables: Tables) -> None:
        rows = _rows(tables)
        last = rows[-1] if rows else {"area": "16 ha" if metric else "40 acre"}
        known = {str(row.get("name")) for row in rows}
        name = next(f"field {number}" for number in range(len(rows) + 1, 10_000) if f"field {number}" not in known)
        kept = {key: copy.deepcopy(last[key]) for key in ("area", "length_to_width", "drive_distance") if key in last}
        _append(rows, {"name": name, **{key: _plain(value) for key, value in kept.items()}})

    return change


def _rows(tables: Tables) -> Any:
    if "field" not in tables:
        tables["field"] = tomlkit.aot() if isinstance(tables, tomlkit.TOMLDocument) else []
    return tables["field"]


def read_pasted(text: str, first_column: str) -> tuple[list[str], list[list[str]]]:
    """Return columns and rows of what was pasted from a spreadsheet: tabs between cells, a head where there is one."""
    lines = [line for line in re.split(r"\r\n|\n|\r", text) if line.strip()][: MOST_PASTED + 2]
    if len(lines) > MOST_PASTED + 1:
        raise InputError.single(f"got more than {MOST_PASTED} rows; allowed are at most {MOST_PASTED}", "field")
    separator = "\t" if any("\t" in line for line in lines) else ";" if any(";" in line for line in lines) else "\t"
    rows = [[cell.strip().strip('"') for cell in line.split(separator)] for line in lines]
    heads = [_column_of(cell) for cell in rows[0]]
    if sum(head is not None for head in heads) * 2 > len(heads) and not any(re.search(r"\d", c) for c in rows[0]):
        return [head or "" for head in heads], rows[1:]
    start = COLUMNS.index(first_column)
    columns = list(COLUMNS[start:])
    if first_column == "name" and len(rows[0]) > 2:
        # a spreadsheet seldom has the number of fields alike
        columns.remove("count")
    return columns, rows


def _column_of(cell: str) -> str | None:
    head = re.sub(r"\(.*\)|\[.*\]", "", cell).strip().lower()
    return next((name for name, pattern in _HEADS.items() if re.fullmatch(pattern, head)), None)


def paste(row: int, column: str, text: str, metric: bool) -> Change:
    """Lay pasted rows over the table of fields from a cell on; rows beyond its end are added."""
    columns, rows = read_pasted(text, column)

    def change(tables: Tables) -> None:
        place = _rows(tables)
        # a table with a name in each row is a new list of fields: the examples of a new scenario go
        whole = row == 0 and "name" in columns and "area" in columns and len(rows) > 1
        while whole and len(place) > len(rows):
            place.pop()
        for number, cells in enumerate(rows, row):
            new = number >= len(place)
            table = {"name": f"field {number + 1}", "area": "40 acre"} if new else place[number]
            for key in [key for key in table if whole and key not in ("name", "area")]:
                del table[key]
            for key, cell in zip(columns, cells, strict=False):
                if key and cell:
                    table[key] = typed_value(("field", number, key), cell, metric)
                elif key in table and key not in ("name", "area"):
                    del table[key]
            if new:
                _append(place, table)

    return change


def use_file(name: str) -> Change:
    """Take the fields from a file instead of the table; what else is said of a file of fields stays."""

    def change(tables: Tables) -> None:
        tables.pop("field", None)
        for key in ("landing_zones", "rates"):
            # they are by the names of another file
            put(("field_file", key), None)(tables)
        put(("field_file", "path"), name)(tables)

    return change


def use_table(rows: list[dict[str, Any]]) -> Change:
    """Take the fields from a table again."""

    def change(tables: Tables) -> None:
        tables.pop("field_file", None)
        tables.pop("field", None)
        place = _rows(tables)
        for row in rows:
            _append(place, dict(row))

    return change


def copy_set(source: str, name: str, label: str) -> Change:
    """Add a set like another."""

    def change(tables: Tables) -> None:
        sets = tables.get("equipment_set") or {}
        table = copy.deepcopy(_plain(sets.get(source, {})))
        table["label"] = label
        put(("equipment_set", name), {"label": label, **table})(tables)

    return change


def _plain(value: Any) -> Any:
    return value.unwrap() if hasattr(value, "unwrap") else value


def free_name(tables: Tables, wanted: str) -> str:
    """Return a name for a set that is not taken."""
    base = re.sub(r"[^a-z0-9]+", "_", wanted.lower()).strip("_")[:50] or "set"
    taken, number, name = set(tables.get("equipment_set") or {}), 1, base
    while name in taken:
        number += 1
        name = f"{base}_{number}"
    return name
