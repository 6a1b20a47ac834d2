"""Reading what was measured: a CSV of stopwatch times, or of past work days."""

from __future__ import annotations

import hashlib
import math
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from simulator.errors import InputError, Problem
from simulator.scenario import units
from simulator.scenario.field_list import LEAST_FIELD_M2, MOST_FIELDS, FieldSite
from simulator.scenario.files import csv_rows
from simulator.scenario.merge import nearest
from simulator.scenario.shown import shown
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE, UnitError

LARGEST_FILE_BYTES = 5_000_000
MOST_PROBLEMS = 20
"""Problems shown of one file; the rest is counted."""
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
    """One stopwatch time."""

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
    """One past work day."""

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
    name: str
    sha256: str
    columns: list[str]
    rows: list[tuple[int, dict[str, str]]]


def _sheet(path: Path) -> _Sheet:
    name = str(path)
    lines, content = csv_rows(path, LARGEST_FILE_BYTES, "a CSV file")
    # a line that begins with # is a remark, so that a made-up log can say so in its first line
    lines = [(number, row) for number, row in lines if not row[0].lstrip().startswith("#")]
    if not lines:
        raise InputError.single("is empty; allowed is a CSV file with a line of column names", file=name)
    columns = [cell.strip() for cell in lines[0][1]]
    twice = sorted(column for column, count in Counter(columns).items() if column and count > 1)
    if twice:
        raise InputError.single(
            f"the column {', '.join(column[:60] for column in twice[:20])} stands twice; allowed is each once",
            f"line {lines[0][0]}",
            name,
        )
    rows = []
    for number, row in lines[1:]:
        if len(row) > len(columns):
            raise InputError.single(f"has {len(row)} cells for {len(columns)} columns", f"line {number}", name)
        rows.append((number, {column: cell.strip() for column, cell in zip(columns, row, strict=False) if column}))
    if not rows:
        raise InputError.single("has column names but no rows", file=name)
    return _Sheet(path.name, hashlib.sha256(content).hexdigest(), columns, rows)


def _heads(sheet: _Sheet) -> str:
    return ", ".join(shown(column).strip("'") for column in sheet.columns[:30])


def is_past_days(path: Path) -> bool:
    """Tell whether a CSV file holds past days (a column ``acres`` or ``hectares``) rather than stopwatch times."""
    columns = {column.lower() for column in _sheet(path).columns}
    return bool(columns & {"acres", "hectares"}) and "task" not in columns


def read_stopwatch(path: Path) -> StopwatchLog:
    """Read stopwatch times."""
    sheet = _sheet(path)
    lower = {column.lower(): column for column in sheet.columns}
    times = [name for name in _TIME_COLUMNS if name in lower]
    if "task" not in lower or len(times) != 1:
        problem = f"has the columns {_heads(sheet)}; needed are 'task' and one of {', '.join(_TIME_COLUMNS)}"
        raise InputError.single(problem, file=str(path))
    timings: list[Timing] = []
    problems: list[Problem] = []
    for line, row in sheet.rows:
        task = re.sub(r"[\s-]+", "_", row.get(lower["task"], "").lower())
        task = _ALIASES.get(task, task)
        if task not in TASKS:
            problems.append(Problem(f"line {line}", f"got the task {shown(task)}{nearest(task, list(TASKS))}"))
            continue
        try:
            seconds = _seconds(row.get(lower[times[0]], ""), _TIME_COLUMNS[times[0]])
        except UnitError as error:
            problems.append(Problem(f"line {line}", str(error)))
            continue
        optional = (row.get(lower[name], "") if name in lower else "" for name in ("of", "amount", "date"))
        timings.append(Timing(line, task, seconds, *optional))
    _raise(problems, str(path))
    return StopwatchLog(sheet.name, sheet.sha256, tuple(timings))


def _seconds(text: str, unit: str) -> float:
    clock = _CLOCK.match(text)
    if clock is not None:
        value = int(clock.group(1) or 0) * 3600.0 + int(clock.group(2)) * 60.0 + float(clock.group(3))
    else:
        value = units.parse(f"{text} {unit}".strip(), units.TIME)
    if not 0.0 < value <= 1e6:
        raise UnitError(f"got {shown(text)}; allowed is a time above 0, such as '62 s' or '1:02'")
    return value


def _raise(problems: list[Problem], file: str) -> None:
    if problems:
        shown = [Problem(problem.where, problem.message, file) for problem in problems[:MOST_PROBLEMS]]
        if len(problems) > MOST_PROBLEMS:
            shown.append(Problem("", f"and {len(problems) - MOST_PROBLEMS} more", file))
        raise InputError(shown)


def read_past_days(path: Path) -> PastDays:
    """Read past work days."""
    sheet = _sheet(path)
    lower = {column.lower(): column for column in sheet.columns}
    area = next((name for name in ("acres", "hectares") if name in lower), None)
    if area is None or "date" not in lower:
        message = f"has the columns {_heads(sheet)}; needed are 'date' and 'acres' (or 'hectares')"
        raise InputError.single(message, file=str(path))
    per_acre = 1.0 if area == "acres" else M2_PER_HECTARE / M2_PER_ACRE
    keys = [column for column in sheet.columns if "." in column]
    days: list[PastDay] = []
    problems: list[Problem] = []
    for line, row in sheet.rows:
        place = f"line {line}"
        acres = _number(row.get(lower[area], ""), place, area, problems)
        hours_text = row.get(lower["hours"], "") if "hours" in lower else ""
        hours = _number(hours_text, place, "hours", problems) if hours_text else None
        settings = [f"{key}={row[key]}" for key in keys if row.get(key)]
        if "settings" in lower:
            settings += [text.strip() for text in row.get(lower["settings"], "").split(";") if text.strip()]
        fields: tuple[FieldSite, ...] = ()
        if "fields" in lower and row.get(lower["fields"], ""):
            fields = _fields(row[lower["fields"]], place, problems)
        chosen = row.get(lower["equipment_set"], "") if "equipment_set" in lower else ""
        days.append(PastDay(line, row.get(lower["date"], ""), acres * per_acre, hours, chosen, tuple(settings), fields))
    _raise(problems, str(path))
    return PastDays(sheet.name, sheet.sha256, tuple(days))


def _number(text: str, place: str, column: str, problems: list[Problem]) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= 1e6:
        problems.append(
            Problem(place, f"got {column} = {shown(text)}; allowed is a number of 0 or more, such as 142.5")
        )
        return 0.0
    return value


def _fields(text: str, place: str, problems: list[Problem]) -> tuple[FieldSite, ...]:
    sites: list[FieldSite] = []
    for part in (part.strip() for part in text.split(";") if part.strip()):
        name, equals, size = part.partition("=")
        found = _FIELD.match((size if equals else name).strip())
        size_text, count = (found.group(1), int(found.group(2) or 1)) if found else (part, 1)
        try:
            area = units.parse(size_text, units.AREA)
        except UnitError as error:
            problems.append(Problem(place, f"fields: {error}"))
            continue
        if not (LEAST_FIELD_M2 <= area <= 1e8 and 1 <= count <= MOST_FIELDS - len(sites)):
            problems.append(Problem(place, f"fields: got {shown(part)}; allowed is such as '80 acre' or '45 acre x 2'"))
            continue
        for number in range(1, count + 1):
            label = name.strip() if equals else f"field {len(sites) + 1}"
            sites.append(FieldSite(label if count == 1 or not equals else f"{label} {number}", area))
    names = [site.name for site in sites]
    if len(set(names)) < len(names):
        problems.append(Problem(place, "fields: a name stands twice; allowed is each once"))
    return tuple(sites)


def dates_text(dates: Iterable[str]) -> str:
    """Return the first and last of some dates (sorted as text, so ISO dates sort by time); empty without any."""
    known = sorted({date for date in dates if date})
    if not known:
        return ""
    return known[0] if len(known) == 1 else f"{known[0]} to {known[-1]}"
