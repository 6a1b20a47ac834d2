"""Field list of a quote sheet, from a day's record or from the scenario, which is not trusted."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any, NamedTuple

from simulator.report.numbers import ReportUnits, fixed
from simulator.report.writing import plain
from simulator.scenario.units import M2_PER_ACRE

MOST_FIELDS = 14
"""Fields listed; the rest is counted and its area added up."""
_ACRES = {
    "acre": 1.0,
    "acres": 1.0,
    "ac": 1.0,
    "ha": 1e4 / M2_PER_ACRE,
    "hectare": 1e4 / M2_PER_ACRE,
    "m2": 1 / M2_PER_ACRE,
}


class FieldLine(NamedTuple):
    """One field of the list: its number on the map, name and area as text."""

    number: int
    name: str
    area: str


def _area_text(acres: float, shown: ReportUnits) -> str:
    """Return an area to a tenth: field areas are inputs and have no interval."""
    return f"{fixed(acres * shown.per_acre, 1, comma=',')} {shown.area}"


def _record_fields(record: Mapping[str, Any]) -> list[tuple[str, float]]:
    return [(plain(one["name"], 60), one["area_m2"] / M2_PER_ACRE) for one in drawn_fields(record)]


def _table_fields(table: Mapping[str, Any]) -> list[tuple[str, float]]:
    """Return the fields of a scenario table whose areas are written in a unit known here."""
    found = []
    fields = table.get("field")
    for one in fields if isinstance(fields, list) else []:
        if not isinstance(one, Mapping):
            continue
        match = re.fullmatch(r"\s*([\d.]+(?:[eE][+-]?\d+)?)\s*([A-Za-z]+2?)\s*", str(one.get("area", ""))[:60])
        scale = _ACRES.get(match.group(2)) if match else None
        try:
            size = float(match.group(1)) if match else math.nan
        except ValueError:
            size = math.nan
        count = one.get("count", 1)
        if scale is not None and 0 < size < 1e9 and isinstance(count, int) and 1 <= count <= 10_000:
            name = plain(one.get("name", ""), 60)
            found.append((f"{name} ({count} fields)" if count > 1 else name, size * scale * count))
    return found


def field_lines(
    record: Mapping[str, Any], table: Mapping[str, Any], shown: ReportUnits
) -> tuple[list[FieldLine], str, float | None]:
    """Return the field list, a remark on what it leaves out, and the whole area in the report's unit.

    The area is None when no field's is known, or when the list is not whole. The record of a median day, and the
    resolved scenario, which is not trusted, may be empty.
    """
    fields = _record_fields(record) or _table_fields(table)
    if not fields:
        return [], "Fields: see the result folder.", None
    lines = [FieldLine(place + 1, name, _area_text(acres, shown)) for place, (name, acres) in enumerate(fields)]
    left_out = record.get("fields_left_out", 0)
    total = sum(acres for _, acres in fields)
    remark = f"{len(fields)} fields, {_area_text(total, shown)} together."
    if len(fields) == 1:
        remark = ""
    if len(lines) > MOST_FIELDS:
        rest = sum(acres for _, acres in fields[MOST_FIELDS - 1 :])
        remark = f"and {len(fields) - MOST_FIELDS + 1} more of {_area_text(rest, shown)}. {remark}"
        lines = lines[: MOST_FIELDS - 1]
    if left_out:
        remark = f"{remark} {left_out} further fields of the list were not reached and are not shown.".strip()
    return lines, remark, None if left_out else total * shown.per_acre


def drawn_fields(record: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the fields of a day's record that are listed, and drawn with the numbers of the list."""
    return [one for one in record.get("fields", ()) if one["area_m2"] > 0.0]
