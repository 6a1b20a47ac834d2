"""Hourly weather from a file: any CSV with named columns, or a typical meteorological year in the TMY3 format."""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError, Problem
from simulator.scenario.files import cell_shown, csv_rows, near_name
from simulator.scenario.shown import shown

FloatArray = NDArray[np.float64]
Rows = Sequence[tuple[int, list[str]]]
"""Cells by the number of their line."""

HOUR_S = 3600.0
TYPICAL_YEAR = 2001
"""Year that stands for a typical one: its months come from different years, and it has no 29 February."""

_MOST_PROBLEMS = 20
_MOST_ROWS = 200_000
"""More than twenty years; every date is looked for among all rows."""
_LARGEST_FILE_BYTES = 100_000_000
_NEEDED = ("time", "wind", "temperature", "humidity")
_RANGES = {
    "wind": (0.0, 110.0, "m/s"),
    "temperature": (-90.0, 60.0, "degC"),
    "humidity": (0.0, 100.0, "%"),
    "rain": (0.0, 1000.0, "mm"),
}
_UNITS: dict[str, dict[str, tuple[float, float]]] = {  # unit: (factor, offset before the factor)
    "wind": {"m/s": (1.0, 0.0), "mph": (0.44704, 0.0), "km/h": (1 / 3.6, 0.0), "kt": (1852 / 3600, 0.0)},
    "temperature": {"degC": (1.0, 0.0), "degF": (5 / 9, -32.0), "K": (1.0, -273.15)},
    "humidity": {"%": (1.0, 0.0), "share": (100.0, 0.0)},
    "rain": {"mm": (1.0, 0.0), "in": (25.4, 0.0)},
}
_TMY3_COLUMNS = {
    "date": "Date (MM/DD/YYYY)",
    "clock": "Time (HH:MM)",
    "wind": "Wspd (m/s)",
    "temperature": "Dry-bulb (C)",
    "humidity": "RHum (%)",
}
_TMY3_RAIN = ("Lprecip depth (mm)", "Lprecip quantity (hr)")


@dataclass(frozen=True, eq=False)
class HourlyWeather:
    """Weather hour by hour, without gaps."""

    start: NDArray[np.datetime64]
    wind_m_per_s: FloatArray
    temperature_c: FloatArray
    humidity_percent: FloatArray
    rain_mm: FloatArray
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    utc_offset_h: float | None = None
    typical_year: bool = False
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        """Return the number of hours."""
        return len(self.start)

    def clock_s(self) -> FloatArray:
        """Return the beginning of each hour in seconds after midnight."""
        return np.asarray((self.start - self.start.astype("datetime64[D]")).astype(np.float64))

    def day_of_year(self) -> FloatArray:
        """Return the day of the year of each hour, 1 on the first of January."""
        days = self.start.astype("datetime64[D]")
        return np.asarray((days - days.astype("datetime64[Y]")).astype(np.float64) + 1.0)

    def whole_days(self) -> list[date]:
        """Return the dates of which all 24 hours are in the file, in order."""
        days, counts = np.unique(self.start.astype("datetime64[D]"), return_counts=True)
        return [day for day, count in zip(days.tolist(), counts.tolist(), strict=True) if count == 24]

    def on(self, day: date) -> HourlyWeather:
        """Return the hours of one date."""
        leap_day = (day.month, day.day) == (2, 29)
        wanted = date(TYPICAL_YEAR, day.month, day.day - leap_day) if self.typical_year else day
        mask = self.start.astype("datetime64[D]") == np.datetime64(wanted)
        if not mask.any():
            first, last = self.start[0].astype("datetime64[D]"), self.start[-1].astype("datetime64[D]")
            raise InputError.single(f"got the date {day}; allowed is from {first} to {last}", "weather")
        return replace(
            self,
            start=self.start[mask],
            wind_m_per_s=self.wind_m_per_s[mask],
            temperature_c=self.temperature_c[mask],
            humidity_percent=self.humidity_percent[mask],
            rain_mm=self.rain_mm[mask],
        )


class _Problems:
    """Collects what is wrong with a file, up to a number that a person will read."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._found: list[Problem] = []
        self._more = 0

    def add(self, where: str, message: str) -> None:
        if len(self._found) < _MOST_PROBLEMS:
            self._found.append(Problem(where, message, self._file))
        else:
            self._more += 1

    def stop_if_any(self) -> None:
        if self._more:
            self._found.append(Problem("", f"and {self._more} more problems", self._file))
        if self._found:
            raise InputError(self._found)


def read_weather(
    path: Path,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    *,
    least_hours: int = 24,
) -> HourlyWeather:
    """Read hourly weather from a CSV whose columns are named, or without names a typical meteorological year."""
    problems = _Problems(path.name)
    if columns is not None:
        _check_keys(columns, units or {}, problems)
        problems.stop_if_any()
    rows, _ = csv_rows(path, _LARGEST_FILE_BYTES, "a CSV file of hourly weather", most_rows=_MOST_ROWS)
    if columns is None:
        return _read_tmy3(rows, problems, least_hours)
    return _read_columns(rows, problems, columns, units or {}, least_hours)


def _places(header: list[str], wanted: Mapping[str, str], line: int, problems: _Problems) -> dict[str, int]:
    """Return the place of each wanted column; a missing one is a problem with the nearest name."""
    names = [name.strip() for name in header]
    places = {}
    for key, column in wanted.items():
        if names.count(column.strip()) == 1:
            places[key] = names.index(column.strip())
        elif names.count(column.strip()) > 1:
            problems.add(f"line {line}", f"got the column {shown(column)} more than once; allowed is once")
        else:
            problems.add(f"line {line}", f"no column {shown(column)} for {key}{near_name(column, names)}")
    return places


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _measured(
    rows: Rows,
    keys: Sequence[str],
    places: Mapping[str, int],
    units: Mapping[str, str],
    problems: _Problems,
) -> dict[str, FloatArray]:
    """Return the columns in inner units; what is no number or impossible is a problem with its line."""
    table: dict[str, FloatArray] = {}
    for key in keys:
        least, most, inner = _RANGES[key]
        factor, offset = _UNITS[key][units.get(key, inner)]
        values = np.zeros(len(rows))
        for index, (line, row) in enumerate(rows):
            text = row[places[key]].strip() if places[key] < len(row) else ""
            number = _number(text)
            if number is None:
                problems.add(f"line {line}", f"got {key} = {cell_shown(text)}; allowed is a number")
                continue
            value = (number + offset) * factor
            # A hair beyond 100 % or below zero is rounding of the station, more is a wrong column or unit.
            slack = 0.5 if key == "humidity" else 0.0
            if not least - slack <= value <= most + slack:
                unit = f"{value:.6g} {inner}" if (factor, offset) != (1.0, 0.0) else inner
                got = cell_shown(text).strip("'")
                message = f"got {key} = {got} ({unit}); allowed is from {least:g} to {most:g} {inner}"
                problems.add(f"line {line}", message)
            values[index] = min(max(value, least), most)
        table[key] = values
    return table


def _times(rows: Rows, read: Callable[[list[str]], datetime | str], problems: _Problems) -> list[datetime]:
    """Return the hours' beginnings; one that does not follow its forerunner by an hour is a problem."""
    times: list[datetime] = []
    before: datetime | None = None
    for line, row in rows:
        got = read(row)
        if isinstance(got, str):
            problems.add(f"line {line}", got)
            before = None
            continue
        if before is not None and got - before != timedelta(hours=1):
            step_h = (got - before).total_seconds() / HOUR_S
            told = f"{step_h:g} hours after" if step_h > 0 else ("the same as" if step_h == 0 else "earlier than")
            problems.add(f"line {line}", f"got the time {got}, {told} the row before; allowed is one hour after it")
        before = got
        times.append(got)
    return times


def _cell(row: list[str], place: int) -> str:
    return row[place].strip() if place < len(row) else ""


def _check_count(rows: Sequence[object], least_hours: int, problems: _Problems) -> None:
    if len(rows) < least_hours:
        problems.add("", f"got {len(rows)} hours; allowed is at least {least_hours}")


def _check_keys(columns: Mapping[str, str], units: Mapping[str, str], problems: _Problems) -> None:
    known = [*_NEEDED, "rain"]
    for key in [*columns, *(key for key in units if key not in columns)]:
        if key not in known:
            near = difflib.get_close_matches(key[:100], known, n=1)
            hint = f"; nearest is {near[0]!r}" if near else ""
            problems.add("columns", f"got {shown(key)}; allowed is {', '.join(known)}{hint}")
    for key in _NEEDED:
        if key not in columns:
            problems.add("columns", f"no column is named for {key!r}; needed are {', '.join(_NEEDED)}")
    for key, unit in units.items():
        if key in _UNITS and unit not in _UNITS[key]:
            problems.add("units", f"got {key} in {shown(unit)}; allowed is one of {', '.join(_UNITS[key])}")
        if key == "time":
            problems.add("units", "got a unit of the time; allowed is none, it is a date and a clock")


def _read_columns(
    rows: Rows, problems: _Problems, columns: Mapping[str, str], units: Mapping[str, str], least_hours: int
) -> HourlyWeather:
    if not rows:
        problems.add("", "is empty; allowed is a header line and hours")
    problems.stop_if_any()
    (header_line, header), body = rows[0], rows[1:]
    places = _places(header, columns, header_line, problems)
    _check_count(body, least_hours, problems)
    problems.stop_if_any()

    def read_time(row: list[str]) -> datetime | str:
        text = _cell(row, places["time"])
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            return f"got time = {cell_shown(text)}; allowed is a date and time such as '2024-06-01 07:00'"
        if moment.tzinfo is not None:
            return f"got time = {cell_shown(text)}; allowed is local clock time without an offset"
        return moment

    times = _times(body, read_time, problems)
    keys = [key for key in ("wind", "temperature", "humidity", "rain") if key in columns]
    table = _measured(body, keys, places, units, problems)
    problems.stop_if_any()
    notes = () if "rain" in table else ("no rain column: no rain assumed",)
    return HourlyWeather(
        start=np.array(times, dtype="datetime64[s]"),
        wind_m_per_s=table["wind"],
        temperature_c=table["temperature"],
        humidity_percent=table["humidity"],
        rain_mm=table.get("rain", np.zeros(len(body))),
        notes=notes,
    )


def _read_tmy3(rows: Rows, problems: _Problems, least_hours: int) -> HourlyWeather:
    if len(rows) < 2 or len(rows[0][1]) < 7:
        wanted = "station, name, state, UTC offset, latitude, longitude and altitude"
        problems.add("", f"is no TMY3 file: the first line must give {wanted}")
        problems.stop_if_any()
    line, station = rows[0]
    place: dict[str, float] = {}
    for name, column, most in (("UTC offset", 3, 14.0), ("latitude", 4, 90.0), ("longitude", 5, 180.0)):
        number = _number(station[column])
        if number is None or abs(number) > most:
            problems.add(
                f"line {line}", f"got {name} = {cell_shown(station[column])}; allowed is from {-most:g} to {most:g}"
            )
        else:
            place[name] = number
    (header_line, header), body = rows[1], rows[2:]
    places = _places(header, _TMY3_COLUMNS, header_line, problems)
    _check_count(body, least_hours, problems)
    problems.stop_if_any()

    def read_time(row: list[str]) -> datetime | str:
        day, clock = _cell(row, places["date"]), _cell(row, places["clock"])
        try:
            month, number = (int(part) for part in day.split("/")[:2])
            hour, minute = (int(part) for part in clock.split(":"))
            if not (1 <= hour <= 24 and minute == 0):
                raise ValueError
            return datetime(TYPICAL_YEAR, month, number) + timedelta(hours=hour - 1)
        except (ValueError, OverflowError):
            got = f"{cell_shown(day)} {cell_shown(clock)}"
            return f"got {got}; allowed is a date such as '06/01/1997' and an hour from 01:00 to 24:00"

    times = _times(body, read_time, problems)
    table = _measured(body, ["wind", "temperature", "humidity"], places, {}, problems)
    rain, notes = _tmy3_rain(header, body)
    problems.stop_if_any()
    return HourlyWeather(
        start=np.array(times, dtype="datetime64[s]"),
        wind_m_per_s=table["wind"],
        temperature_c=table["temperature"],
        humidity_percent=table["humidity"],
        rain_mm=rain,
        latitude_deg=place["latitude"],
        longitude_deg=place["longitude"],
        utc_offset_h=place["UTC offset"],
        typical_year=True,
        notes=notes,
    )


def _tmy3_rain(header: list[str], body: Rows) -> tuple[FloatArray, tuple[str, ...]]:
    """Return hourly rain and a note on the hours that have none on record (missing is -9900)."""
    rain = np.zeros(len(body))
    names = [name.strip() for name in header]
    if any(name not in names for name in _TMY3_RAIN):
        return rain, ("no rain column: no rain assumed",)
    depth_place, hours_place = (names.index(name) for name in _TMY3_RAIN)
    unknown = 0
    for index, (_, row) in enumerate(body):
        depth, hours = _number(_cell(row, depth_place)), _number(_cell(row, hours_place))
        if depth is None or hours is None or depth < 0 or hours != 1:
            unknown += 1
        else:
            rain[index] = depth
    notes = (f"no hourly rain on record in {unknown} of {len(body)} hours: none assumed there",) if unknown else ()
    return rain, notes
