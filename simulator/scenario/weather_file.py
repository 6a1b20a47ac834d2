"""Hourly weather from a file: any CSV with named columns, or a typical meteorological year in the TMY3 format."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError, Problems
from simulator.scenario.csv_table import Row, cell, cell_shown, csv_rows, near_column
from simulator.scenario.merge import near
from simulator.scenario.shown import shown

FloatArray = NDArray[np.float64]

HOUR_S = 3600.0
TYPICAL_YEAR = 2001
"""Year that stands for a typical one: its months come from different years, and it has no 29 February."""

_MOST_ROWS = 200_000
"""More than twenty years; every date is looked for among all rows."""
_LARGEST_FILE_BYTES = 100_000_000
_NEEDED = ("time", "wind", "temperature", "humidity")
_MEASURED: dict[str, tuple[float, float, dict[str, tuple[float, float]]]] = {
    "wind": (0.0, 110.0, {"m/s": (1.0, 0.0), "mph": (0.44704, 0.0), "km/h": (1 / 3.6, 0.0), "kt": (1852 / 3600, 0.0)}),
    "temperature": (-90.0, 60.0, {"degC": (1.0, 0.0), "degF": (5 / 9, -32.0), "K": (1.0, -273.15)}),
    "humidity": (0.0, 100.0, {"%": (1.0, 0.0), "share": (100.0, 0.0)}),
    "rain": (0.0, 1000.0, {"mm": (1.0, 0.0), "in": (25.4, 0.0)}),
}
"""Least and most, and by unit, the inner one first, factor and offset before the factor."""
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
    """Beginning of each hour, local clock time."""
    wind_m_per_s: FloatArray
    temperature_c: FloatArray
    humidity_percent: FloatArray
    rain_mm: FloatArray
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    utc_offset_h: float | None = None
    typical_year: bool = False
    """Whether the months come from different years; the years of ``start`` then mean nothing."""
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
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
        # the year is passed over in a typical one, which has no 29 February
        leap_day = (day.month, day.day) == (2, 29)
        wanted = date(TYPICAL_YEAR, day.month, day.day - leap_day) if self.typical_year else day
        mask = self.start.astype("datetime64[D]") == np.datetime64(wanted)
        if not mask.any():
            first, last = self.start[0].astype("datetime64[D]"), self.start[-1].astype("datetime64[D]")
            raise InputError.single(f"got the date {day}; allowed is from {first} to {last}", "weather")
        hourly = ("start", "wind_m_per_s", "temperature_c", "humidity_percent", "rain_mm")
        return replace(self, **{name: getattr(self, name)[mask] for name in hourly})


def read_weather(
    path: Path, columns: Mapping[str, str] | None = None, units: Mapping[str, str] | None = None, *,
    least_hours: int = 24,
) -> HourlyWeather:  # fmt: skip
    """Read hourly weather from a CSV whose columns are named, or without names a typical meteorological year.

    The latter is in the TMY3 format (Wilcox & Marion 2008, NREL/TP-581-43156): the first line names the station and its
    place, the second the columns. A row bears the *end* of its hour in local standard time; here the beginning is kept.
    Each month comes from another year, so all get the year 2001. Some files' depths of rain are off by a factor of ten:
    use them to tell rain from none.
    """
    problems = Problems(path.name)
    if columns is not None:
        _check_keys(columns, units or {}, problems)
    rows, _ = csv_rows(path, _LARGEST_FILE_BYTES, "a CSV file of hourly weather", most_rows=_MOST_ROWS)
    if columns is None:
        return _read_tmy3(rows, problems, least_hours)
    return _read_columns(rows, problems, columns, units or {}, least_hours)


def _check_keys(columns: Mapping[str, str], units: Mapping[str, str], problems: Problems) -> None:
    known = [*_NEEDED, "rain"]
    for key in dict.fromkeys((*columns, *units)):
        if key not in known:
            problems.add("columns", f"got {shown(key)}; allowed is {', '.join(known)}{near(key, known)}")
    for key in _NEEDED:
        if key not in columns:
            problems.add("columns", f"no column is named for {key!r}; needed are {', '.join(_NEEDED)}")
    for key, unit in units.items():
        if key in _MEASURED and unit not in _MEASURED[key][2]:
            problems.add("units", f"got {key} in {shown(unit)}; allowed is one of {', '.join(_MEASURED[key][2])}")
        if key == "time":
            problems.add("units", "got a unit of the time; allowed is none, it is a date and a clock")
    problems.refuse()


def _places(head: Row, wanted: Mapping[str, str], problems: Problems) -> dict[str, int]:
    line, names = head
    for key, column in wanted.items():
        number = names.count(column.strip())
        if number > 1:
            problems.add(f"line {line}", f"got the column {shown(column)} more than once; allowed is once")
        elif number == 0:
            problems.add(f"line {line}", f"no column {shown(column)} for {key}{near_column(column, names)}")
    return {key: names.index(column.strip()) for key, column in wanted.items() if column.strip() in names}


def _read_columns(
    rows: list[Row], problems: Problems, columns: Mapping[str, str], units: Mapping[str, str], least_hours: int
) -> HourlyWeather:
    if not rows:
        problems.add("", "is empty; allowed is a header line and hours")
        problems.refuse()

    def read_time(cells: list[str]) -> datetime:
        got, allowed = cell(cells, places["time"]), "a date and time such as '2024-06-01 07:00'"
        with suppress(ValueError):
            moment = datetime.fromisoformat(got)
            if moment.tzinfo is None:
                return moment
            allowed = "local clock time without an offset"
        raise _TimeError(f"got time = {cell_shown(got)}; allowed is {allowed}")

    places = _places(rows[0], columns, problems)
    table = _hours(rows[1:], read_time, places, units, problems, least_hours)
    notes = () if "rain" in columns else ("no rain column: no rain assumed",)
    return replace(table, notes=notes)


def _read_tmy3(rows: list[Row], problems: Problems, least_hours: int) -> HourlyWeather:
    if len(rows) < 2 or len(rows[0][1]) < 7:
        wanted = "station, name, state, UTC offset, latitude, longitude and altitude"
        problems.add("", f"is no TMY3 file: the first line must give {wanted}")
        problems.refuse()
    line, station = rows[0]
    place: dict[str, float] = {}
    for name, column, most in (("UTC offset", 3, 14.0), ("latitude", 4, 90.0), ("longitude", 5, 180.0)):
        place[name] = _number(station[column])
        if not abs(place[name]) <= most:
            got = f"got {name} = {cell_shown(station[column])}"
            problems.add(f"line {line}", f"{got}; allowed is from {-most:g} to {most:g}")

    def read_time(cells: list[str]) -> datetime:
        day, clock = cell(cells, places["date"]), cell(cells, places["clock"])
        try:
            month, number = (int(part) for part in day.split("/")[:2])
            hour, minute = (int(part) for part in clock.split(":"))
            if not (1 <= hour <= 24 and minute == 0):
                raise ValueError
            return datetime(TYPICAL_YEAR, month, number) + timedelta(hours=hour - 1)
        except (ValueError, OverflowError):
            allowed = "a date such as '06/01/1997' and an hour from 01:00 to 24:00"
            raise _TimeError(f"got {cell_shown(day)} {cell_shown(clock)}; allowed is {allowed}") from None

    places = _places(rows[1], _TMY3_COLUMNS, problems)
    table = _hours(rows[2:], read_time, places, {}, problems, least_hours)
    rain, notes = _tmy3_rain(rows[1][1], rows[2:])
    return replace(
        table, rain_mm=rain, latitude_deg=place["latitude"], longitude_deg=place["longitude"],
        utc_offset_h=place["UTC offset"], typical_year=True, notes=notes,
    )  # fmt: skip


def _hours(
    rows: list[Row],
    read_time: Callable[[list[str]], datetime],
    places: Mapping[str, int],
    units: Mapping[str, str],
    problems: Problems,
    least_hours: int,
) -> HourlyWeather:
    if len(rows) < least_hours:
        problems.add("", f"got {len(rows)} hours; allowed is at least {least_hours}")
    problems.refuse()
    times: list[datetime] = []
    before: datetime | None = None
    for line, cells in rows:
        try:
            got = read_time(cells)
        except _TimeError as error:
            problems.add(f"line {line}", str(error))
            before = None
            continue
        if before is not None and got - before != timedelta(hours=1):
            step_h = (got - before).total_seconds() / HOUR_S
            told = f"{step_h:g} hours after" if step_h > 0 else ("the same as" if step_h == 0 else "earlier than")
            problems.add(f"line {line}", f"got the time {got}, {told} the row before; allowed is one hour after it")
        before = got
        times.append(got)
    zeros = np.zeros(len(rows))
    wind, temperature, humidity, rain = (
        _measured(rows, key, places[key], units.get(key), problems) if key in places else zeros for key in _MEASURED
    )
    problems.refuse()
    return HourlyWeather(np.array(times, dtype="datetime64[s]"), wind, temperature, humidity, rain)


class _TimeError(ValueError):
    """A time that cannot be read; the message says why."""


def _number(text: str) -> float:
    """Return the number of a cell; NaN when it holds none that is finite."""
    try:
        value = float(text)
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan


def _measured(rows: list[Row], key: str, place: int, unit: str | None, problems: Problems) -> FloatArray:
    """Return a column in its inner unit; what is no number or impossible is a problem with its line."""
    least, most, units = _MEASURED[key]
    inner = next(iter(units))
    factor, offset = units[unit or inner]
    values = np.array([(_number(cell(cells, place)) + offset) * factor for _, cells in rows])
    # a hair beyond 100 % is rounding of the station, more is a wrong column or unit
    slack = 0.5 if key == "humidity" else 0.0
    for index in np.flatnonzero(~((values >= least - slack) & (values <= most + slack))):
        line, cells = rows[index]
        got = f"got {key} = {cell_shown(cell(cells, place))}"
        if math.isnan(values[index]):
            problems.add(f"line {line}", f"{got}; allowed is a number")
        else:
            read = f"{values[index]:.6g} {inner}" if (factor, offset) != (1.0, 0.0) else inner
            problems.add(f"line {line}", f"{got} ({read}); allowed is from {least:g} to {most:g} {inner}")
    return np.asarray(np.clip(values, least, most))


def _tmy3_rain(names: list[str], rows: list[Row]) -> tuple[FloatArray, tuple[str, ...]]:
    """Return hourly rain and a note on the hours that have none on record (missing is -9900)."""
    if any(name not in names for name in _TMY3_RAIN):
        return np.zeros(len(rows)), ("no rain column: no rain assumed",)
    depth, hours = (np.array([_number(cell(cells, names.index(name))) for _, cells in rows]) for name in _TMY3_RAIN)
    known = (depth >= 0.0) & (hours == 1.0)
    unknown = len(rows) - int(known.sum())
    notes = (f"no hourly rain on record in {unknown} of {len(rows)} hours: none assumed there",) if unknown else ()
    return np.where(known, depth, 0.0), notes
