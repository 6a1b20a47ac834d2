"""Reading what was measured: a CSV of stopwatch times, or of past work days."""

from __future__ import annotations

import hashlib
import math
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from simulator.errors import InputError, Problems
from simulator.scenario import units
from simulator.scenario.csv_table import csv_rows
from simulator.scenario.field_list import LEAST_FIELD_M2, MOST_FIELDS, FieldSite
from simulator.scenario.merge import nearest
from simulator.scenario.shown import shown
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE, UnitError

LARGEST_FILE_BYTES = 5_000_000
TASKS = (
    "swap", "fill", "plug_in", "mix", "refuel", "launch_check", "turn", "take_off", "landing", "handling", "cooling",
    "charge", "pack_up", "set_up", "yard", "relocate", "drive", "move", "water_trip",
)  # fmt: skip
"""What may be timed."""
_ALIASES = {
    "pack_swap": "swap", "battery_swap": "swap", "refill": "fill", "filling": "fill", "plug": "plug_in",
    "plugin": "plug_in", "turns": "turn", "takeoff": "take_off", "land": "landing", "setup": "set_up",
    "packup": "pack_up", "mixing": "mix", "charging": "charge", "cool": "cooling", "driving": "drive",
    "refuelling": "refuel", "refueling": "refuel", "check": "launch_check",
}  # fmt: skip
_TIME_COLUMNS = {"time": "", "time_s": "s", "seconds": "s", "time_min": "min", "minutes": "min"}
_CLOCK = re.compile(r"^(?:(\d{1,3}):)?([0-5]?\d):([0-5]\d(?:\.\d+)?)$")
_FIELD = re.compile(r"^(.*?)(?:\s*[x×]\s*(\d{1,4}))?$")


@dataclass(frozen=True)
class Timing:
    """One stopwatch time, above 0, of one of `TASKS`: which rig, aircraft or class; what amount; both may be empty."""

    line: int
    task: str
    seconds: float
    of: str = ""
    amount: str = ""
    date: str = ""


@dataclass(frozen=True)
class StopwatchLog:
    """All times of one file."""

    file: str
    sha256: str
    timings: tuple[Timing, ...]


@dataclass(frozen=True)
class PastDay:
    """One past work day: what was observed, and what differed from the scenario."""

    line: int
    date: str
    acres: float
    hours: float | None = None
    equipment_set: str = ""
    settings: tuple[str, ...] = ()
    fields: tuple[FieldSite, ...] = ()


@dataclass(frozen=True)
class PastDays:
    """All days of one file; see `StopwatchLog`."""

    file: str
    sha256: str
    days: tuple[PastDay, ...]


@dataclass(frozen=True)
class _Sheet:
    path: Path
    sha256: str
    columns: list[str]
    """In small letters, but for scenario keys."""
    rows: list[tuple[int, dict[str, str]]]

    def refuse_columns(self, needed: str) -> NoReturn:
        heads = ", ".join(shown(column).strip("'") for column in self.columns[:30])
        raise InputError.single(f"has the columns {heads}; needed are {needed}", file=str(self.path))


def _sheet(path: Path) -> _Sheet:
    name = str(path)
    lines, content = csv_rows(path, LARGEST_FILE_BYTES, "a CSV file")
    # a line that begins with # is a remark, so that a made-up log can say so in its first line
    lines = [(number, row) for number, row in lines if not row[0].startswith("#")]
    if not lines:
        raise InputError.single("is empty; allowed is a CSV file with a line of column names", file=name)
    line, heads = lines[0]
    columns = [head if "." in head else head.lower() for head in heads]
    twice = sorted(column for column, count in Counter(columns).items() if column and count > 1)
    if twice:
        listed = ", ".join(column[:60] for column in twice[:20])
        raise InputError.single(f"the column {listed} stands twice; allowed is each once", f"line {line}", name)
    for number, row in lines[1:]:
        if len(row) > len(columns):
            raise InputError.single(f"has {len(row)} cells for {len(columns)} columns", f"line {number}", name)
    if len(lines) < 2:
        raise InputError.single("has column names but no rows", file=name)
    rows = [(number, dict(zip(columns, row, strict=False))) for number, row in lines[1:]]
    return _Sheet(path, hashlib.sha256(content).hexdigest(), columns, rows)


def is_past_days(path: Path) -> bool:
    """Tell whether a CSV file holds past days (a column ``acres`` or ``hectares``) rather than stopwatch times."""
    columns = _sheet(path).columns
    return ("acres" in columns or "hectares" in columns) and "task" not in columns


def read_stopwatch(path: Path) -> StopwatchLog:
    """Read stopwatch times.

    The columns ``task`` and ``time`` (``"62 s"``, ``"1:02"``; or ``time_s`` with plain seconds), and perhaps ``of``
    (rig, aircraft or pack class), ``amount`` (``"38 L"``, ``"2.5 mi"``, ``"75 %"``) and ``date``; others are not used.
    """
    sheet = _sheet(path)
    times = [name for name in _TIME_COLUMNS if name in sheet.columns]
    if "task" not in sheet.columns or len(times) != 1:
        sheet.refuse_columns(f"'task' and one of {', '.join(_TIME_COLUMNS)}")
    timings: list[Timing] = []
    problems = Problems(str(path))
    for line, row in sheet.rows:
        task = re.sub(r"[\s-]+", "_", row["task"].lower()) if "task" in row else ""
        task = _ALIASES.get(task, task)
        if task not in TASKS:
            problems.add(f"line {line}", f"got the task {shown(task)}{nearest(task, TASKS)}")
            continue
        try:
            seconds = _seconds(row.get(times[0], ""), _TIME_COLUMNS[times[0]])
        except UnitError as error:
            problems.add(f"line {line}", str(error))
            continue
        timings.append(Timing(line, task, seconds, *(row.get(name, "") for name in ("of", "amount", "date"))))
    problems.refuse()
    return StopwatchLog(path.name, sheet.sha256, tuple(timings))


def _seconds(text: str, unit: str) -> float:
    clock = _CLOCK.match(text)
    if clock is not None:
        value = int(clock.group(1) or 0) * 3600.0 + int(clock.group(2)) * 60.0 + float(clock.group(3))
    else:
        value = units.parse(f"{text} {unit}".strip(), units.TIME)
    if not 0.0 < value <= 1e6:
        raise UnitError(f"got {shown(text)}; allowed is a time above 0, such as '62 s' or '1:02'")
    return value


def read_past_days(path: Path) -> PastDays:
    """Read past work days.

    The columns ``date`` and ``acres`` (or ``hectares``) observed, and perhaps ``hours`` (paid), ``equipment_set``,
    ``fields`` (``"80 acre; 45 acre x 2"``, or named: ``"mill piece = 45 acre"``), ``settings``
    (``KEY=VALUE; KEY=VALUE``), and any dotted scenario key as a column of its own, such as ``product.rate``.
    """
    sheet = _sheet(path)
    area = next((name for name in ("acres", "hectares") if name in sheet.columns), None)
    if area is None or "date" not in sheet.columns:
        sheet.refuse_columns("'date' and 'acres' (or 'hectares')")
    per_acre = 1.0 if area == "acres" else M2_PER_HECTARE / M2_PER_ACRE
    keys = [column for column in sheet.columns if "." in column]
    days: list[PastDay] = []
    problems = Problems(str(path))
    for line, row in sheet.rows:
        place = f"line {line}"
        acres = _number(row.get(area, ""), place, area, problems)
        hours = _number(row["hours"], place, "hours", problems) if row.get("hours") else None
        settings = [f"{key}={row[key]}" for key in keys if row.get(key)]
        settings += [text.strip() for text in row.get("settings", "").split(";") if text.strip()]
        fields = _fields(row.get("fields", ""), place, problems)
        chosen = row.get("equipment_set", "")
        days.append(PastDay(line, row.get("date", ""), acres * per_acre, hours, chosen, tuple(settings), fields))
    problems.refuse()
    return PastDays(path.name, sheet.sha256, tuple(days))


def _number(text: str, place: str, column: str, problems: Problems) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= 1e6:
        problems.add(place, f"got {column} = {shown(text)}; allowed is a number of 0 or more, such as 142.5")
    return value


def _fields(text: str, place: str, problems: Problems) -> tuple[FieldSite, ...]:
    sites: list[FieldSite] = []
    for part in (part.strip() for part in text.split(";") if part.strip()):
        name, equals, size = part.partition("=")
        found = _FIELD.match((size if equals else name).strip())
        size_text, count = (found.group(1), int(found.group(2) or 1)) if found else (part, 1)
        try:
            area = units.parse(size_text, units.AREA)
        except UnitError as error:
            problems.add(place, f"fields: {error}")
            continue
        if not (LEAST_FIELD_M2 <= area <= 1e8 and 1 <= count <= MOST_FIELDS - len(sites)):
            problems.add(place, f"fields: got {shown(part)}; allowed is such as '80 acre' or '45 acre x 2'")
            continue
        for number in range(1, count + 1):
            label = name.strip() if equals else f"field {len(sites) + 1}"
            sites.append(FieldSite(label if count == 1 or not equals else f"{label} {number}", area))
    names = [site.name for site in sites]
    if len(set(names)) < len(names):
        problems.add(place, "fields: a name stands twice; allowed is each once")
    return tuple(sites)


def dates_text(dates: Iterable[str]) -> str:
    """Return the first and last of some dates (sorted as text, so ISO dates sort by time); empty without any."""
    known = sorted({date for date in dates if date})
    if not known:
        return ""
    return known[0] if len(known) == 1 else f"{known[0]} to {known[-1]}"
