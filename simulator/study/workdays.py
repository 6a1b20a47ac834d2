"""Which dates of a season are worked: a number of work days spread by chance, or the dates of a weather file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError
from simulator.scenario.distributions import Constant, Distribution
from simulator.scenario.files import CSV, ScenarioFolder
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.schema import Scenario
from simulator.scenario.weather_days import workable_spans_s
from simulator.scenario.weather_file import TYPICAL_YEAR, read_weather

Windows = tuple[tuple[float, float], ...]
"""Stretches (s after the day's start) in which take-offs are allowed."""
NOT_WORKED = -1


@dataclass(frozen=True)
class Span:
    """The dates between which the work must be done, both included."""

    first: tuple[int, int]
    last: tuple[int, int]

    def dates(self, year: int) -> list[date]:
        """Return the dates of the span that begins in a year; 29 February is left out."""
        start = date(year, *self.first)
        end = date(year + (self.last < self.first), *self.last)
        days = [start + timedelta(days=count) for count in range((end - start).days + 1)]
        return [day for day in days if (day.month, day.day) != (2, 29)]


def read_month_day(text: str, option: str) -> tuple[int, int]:
    """Read ``06-15`` as month and day."""
    found = re.fullmatch(r"(\d{1,2})-(\d{1,2})", text.strip())
    try:
        if found is None:
            raise ValueError
        day = date(TYPICAL_YEAR, int(found.group(1)), int(found.group(2)))
    except ValueError as error:
        raise InputError.single(f"got {text!r}; allowed is month and day such as '06-15'", option) from error
    return day.month, day.day


@dataclass(frozen=True)
class Calendar:
    """Which dates are worked, season by season, and what kind of day each is."""

    dates: tuple[date, ...]
    kinds: tuple[Windows | None, ...]
    notes: tuple[str, ...]
    seasons: NDArray[np.int64] | None = None
    number: Distribution | None = None

    def draw(self, worlds: int, rng: np.random.Generator) -> NDArray[np.int64]:
        """Return the kind of each date of made-up seasons, shape (worlds, dates)."""
        if self.seasons is not None:
            return np.asarray(self.seasons[rng.integers(len(self.seasons), size=worlds)])
        if self.number is None:
            raise ValueError("got a calendar without seasons and without a number; allowed is one of them")
        # they fall on dates at random (assumption: no longer spells of good or bad weather than chance makes)
        wanted = np.clip(np.rint(self.number.ppf(rng.uniform(1e-9, 1 - 1e-9, size=worlds))), 0, len(self.dates))
        order = np.argsort(rng.random((worlds, len(self.dates))), axis=1)
        rank = np.argsort(order, axis=1)
        return np.where(rank < wanted[:, None], 0, NOT_WORKED)


def calendar_of(
    loaded: LoadedScenario, entry: EquipmentSet, span: Span, workable_days: float | Distribution | None,
    least_hours: float,
) -> Calendar:  # fmt: skip
    """Return the calendar of a set: from its weather file, a number of work days, or that of its costs."""
    scenario = entry.scenario
    if scenario.weather.file is not None:
        if workable_days is not None:
            message = "the scenario's weather.file already says which dates can be worked; allowed is one of them"
            raise InputError.single(message, "workable_days")
        return calendar_of_weather(span, scenario, loaded.folder, least_hours)
    if workable_days is not None:
        return calendar_of_number(span, workable_days)
    if scenario.costs is None:
        message = "missing; allowed is a number of work days, costs.season_days or weather.file in the scenario"
        raise InputError.single(message, "workable_days")
    return calendar_of_number(span, scenario.costs.season_days)


def calendar_of_number(span: Span, number: float | Distribution) -> Calendar:
    """Return a calendar from a number of work days, fixed or drawn."""
    dates = tuple(span.dates(TYPICAL_YEAR))
    drawn = number if isinstance(number, Distribution) else Constant(float(number))
    mean = float(drawn.mean())
    if not 0 < mean <= len(dates):
        first, last = dates[0].strftime("%d %b"), dates[-1].strftime("%d %b")
        allowed = f"more than 0 and at most the {len(dates)} dates from {first} to {last}"
        raise InputError.single(f"got {mean:g} work days; allowed is {allowed}", "workable_days")
    note = f"{mean:g} work days of the {len(dates)} dates, spread at random (assumption)."
    return Calendar(dates, (None,), (note,), number=drawn)


def calendar_of_weather(span: Span, scenario: Scenario, folder: ScenarioFolder, least_hours: float) -> Calendar:
    """Return a calendar from the scenario's weather file; of its months and those of the span the span's are used."""
    table = scenario.weather.file
    if table is None:
        raise ValueError("got a scenario without weather.file; allowed is one with it")
    record = read_weather(folder.file(table.path, CSV), table.columns, table.column_units)
    have = set(record.whole_days())
    years = [TYPICAL_YEAR] if record.typical_year else sorted({day.year for day in have})
    start, last = scenario.day.start, scenario.day.last_landing_s

    def windows(day: date) -> Windows:
        """Return the workable stretches between the day's start and the last landing."""
        spans = workable_spans_s(record, day, table)
        inside = ((max(0.0, begin - start), min(last, end - start)) for begin, end in spans)
        return tuple((begin, end) for begin, end in inside if end > begin)

    seasons = []
    kinds: dict[Windows, int] = {}
    for year in years:
        dates = span.dates(year)
        if record.typical_year:
            dates = [date(TYPICAL_YEAR, day.month, day.day) for day in dates]
        if have.issuperset(dates):
            found = [windows(day) for day in dates]
            worked = [sum(end - begin for begin, end in one) / 3600.0 >= least_hours for one in found]
            seasons.append([
                kinds.setdefault(one, len(kinds)) if enough else NOT_WORKED
                for one, enough in zip(found, worked, strict=True)
            ])  # fmt: skip
    if not seasons:
        dates = span.dates(years[0])
        message = f"holds no whole season from {dates[0]:%m-%d} to {dates[-1]:%m-%d}"
        raise InputError.single(message, "weather.file.path", table.path)
    notes = [*record.notes, f"Dates with fewer than {least_hours:g} workable hours are not worked."]
    if len(seasons) == 1:
        kind = "a typical year" if record.typical_year else "one season"
        notes.append(f"The weather file holds {kind}: how seasons differ from year to year is not in the answer.")
    return Calendar(tuple(span.dates(years[0])), tuple(kinds), tuple(notes), np.array(seasons, dtype=np.int64))


def worked_shares(kinds: NDArray[np.int64], count: int) -> NDArray[np.float64]:
    """Return the share of each kind among the dates worked, over all drawn seasons."""
    worked = kinds[kinds >= 0]
    shares: NDArray[np.float64] = np.bincount(worked, minlength=count) / max(1, len(worked))
    return shares


def clock_dates(dates: Sequence[date]) -> list[str]:
    """Return dates as ``06-15``."""
    return [f"{day.month:02d}-{day.day:02d}" for day in dates]
