"""Changes to a scenario's text that leave comments and order as they are, each checked against the plain tables."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Callable, Mapping, MutableMapping
from contextvars import ContextVar
from itertools import count, pairwise
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from simulator.errors import InputError
from simulator.scenario.pasted import read_pasted
from simulator.scenario.toml_text import toml_document
from simulator.scenario.typed import At, typed_value, with_unit

Tables = MutableMapping[str, Any]
Change = Callable[[Tables], None]
_new_table: ContextVar[Callable[[], Any]] = ContextVar("_new_table", default=dict)


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
        if value is None and isinstance(place, MutableMapping):
            place.pop(last, None)
        elif isinstance(old, MutableMapping) and "mean" in old and not isinstance(value, MutableMapping):
            old["mean"] = value
        elif value is not None:
            place[last] = copy.deepcopy(value)

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


def add_field(tables: Mapping[str, Any], metric: bool) -> Change:
    """Add a field like the last one of a scenario."""
    rows = tables.get("field") or [{}]
    known, like = {row.get("name") for row in rows}, {"area": "16 ha" if metric else "40 acre"} | rows[-1]
    name = next(name for number in count(len(rows) + 1) if (name := f"field {number}") not in known)
    row = {"name": name} | {key: like[key] for key in ("area", "length_to_width", "drive_distance") if key in like}
    return lambda tables: _append(_rows(tables), row)


def _rows(tables: Tables) -> Any:
    if "field" not in tables:
        tables["field"] = tomlkit.aot() if isinstance(tables, tomlkit.TOMLDocument) else []
    return tables["field"]


def paste(row: int, column: str, text: str, metric: bool) -> Change:
    """Lay pasted rows over the table of fields from a cell on; rows beyond its end are added."""
    pasted = read_pasted(text, column)
    keys = {key for key, _ in pasted.columns}
    # a table with a name in each row is a new list of fields: the examples of a new scenario go
    whole = row == 0 and {"name", "area"} <= keys and (pasted.headed or len(pasted.rows) > 1)

    def change(tables: Tables) -> None:
        place = _rows(tables)
        while whole and len(place) > len(pasted.rows):
            place.pop()
        for number, cells in enumerate(pasted.rows, row):
            new = number >= len(place)
            table = ({} if whole else {"name": f"field {number + 1}", "area": "40 acre"}) if new else place[number]
            for key in [key for key in table if whole and key not in keys]:
                del table[key]
            for (key, unit), cell in zip(pasted.columns, cells, strict=True):
                if key and cell:
                    table[key] = typed_value(("field", number, key), with_unit(cell, unit), metric)
                elif key in table and (whole or key not in ("name", "area")):
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


def free_name(tables: Mapping[str, Any], wanted: str) -> str:
    """Return a name for a set that is not taken."""
    base, taken = re.sub(r"[^a-z0-9]+", "_", wanted.lower()).strip("_")[:50] or "set", tables.get("equipment_set") or {}
    return next(name for number in count(1) if (name := base if number == 1 else f"{base}_{number}") not in taken)
