"""How far in a season: acres by date, chance to finish, days needed, pack cycles, and cost per acre by season size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import place_of
from simulator.errors import InputError
from simulator.experiment.estimates import Interval
from simulator.operation.rehearsal import rehearsed
from simulator.plan.day_plan import make_plan
from simulator.scenario.distributions import Distribution
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import AreaUnit, area_unit
from simulator.study.answer import Answer, Spread, frame, limits, shown, spread_of
from simulator.study.cases import Trials
from simulator.study.change import turning
from simulator.study.day_money import (
    LEDGER,
    days_of_run,
    jackknife,
    ledger_of,
    resampler,
    revenue_per_day,
    season_money,
)
from simulator.study.money import demand_acres, need_prices, pieces_of
from simulator.study.trial import FloatArray, Report, check_runs, sets_of
from simulator.study.words import money_range, number_text, scaled, share_words
from simulator.study.workdays import Calendar, Span, calendar_of, clock_dates, read_month_day, worked_shares

if TYPE_CHECKING:
    import pandas as pd

WORLDS = 2000
"""Seasons drawn."""
FIRST, LAST = "06-01", "08-31"
"""Dates of the season unless given; assumption."""
LEAST_HOURS = 3.0
"""Dates of a weather file with fewer workable hours are not worked; assumption."""
LEAST_RUNS = 10
"""Runs simulated of each kind of date of a weather file, at least; assumption."""
SIZES = {"acres": (250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0), "ha": (100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0)}
"""Season sizes of the cost table, by area unit."""
_CYCLES = LEDGER.index("charge_cycles")


@dataclass(frozen=True)
class Goal:
    """An acreage to be done within the season.

    The share of drawn seasons that finish it, and when and after how many work days half of them, and nine in ten, do;
    an empty date and infinite days where fewer ever do.
    """

    acres: float
    chance: float
    half_done_by: str
    safe_by: str
    days_half: float
    days_safe: float


@dataclass(frozen=True)
class SizeCost:
    """What an acre costs, everything counted, in a season of so many, and whether half of the seasons can do it."""

    document: ClassVar = (
        "acres", "work_days=days", "fits", "mean=cost_per_acre.mean", "ci95=limits",
    )  # fmt: skip
    acres: float
    days: float
    fits: bool
    cost_per_acre: Interval

    @property
    def limits(self) -> list[float | None]:
        """Limits of the cost."""
        return [self.cost_per_acre.low, self.cost_per_acre.high]


@dataclass(frozen=True)
class SetSeason:
    """The season of one equipment set.

    ``by_date`` has acres by each date: mean, 10th, 50th and 90th percentile. The part of a pack's life in cycles that a
    median season takes is NaN without such a life; the break-even is the season from which the price covers all.
    """

    document: ClassVar = (
        "name", "runs", "acres_per_day", "season_acres=total", "goals", "cycles_per_pack",
        "pack_life_used_share=life_used_share", "break_even_acres", "cost_per_acre_by_size=costs_by_size",
        "acres_by_date=dated",
    )  # fmt: skip
    name: str
    runs: int
    acres_per_day: Interval
    total: Spread
    dates: tuple[str, ...] = field(repr=False)
    by_date: FloatArray = field(repr=False)
    goals: tuple[Goal, ...]
    cycles_per_pack: Spread
    life_used_share: float
    costs_by_size: tuple[SizeCost, ...]
    break_even_acres: float | None

    @property
    def dated(self) -> list[dict[str, object]]:
        """Acres by date."""
        names = ("date", "mean", "p10", "p50", "p90")
        return [
            dict(zip(names, (day, *row), strict=True))
            for day, row in zip(self.dates, self.by_date.tolist(), strict=True)
        ]


@dataclass(frozen=True)
class Season(Answer):
    """How far equipment sets get in a season."""

    study = "season"
    document = (
        "sentence", "cost_sentence", "notes", "seasons_drawn=worlds", "dates=ends", "work_days", "currency=money",
        "equipment_sets=sets",
    )  # fmt: skip

    sets: tuple[SetSeason, ...]
    dates: tuple[str, ...]
    work_days: Spread
    worlds: int
    notes: tuple[str, ...]
    unit: AreaUnit

    @property
    def ends(self) -> tuple[str, str]:
        """First and last date."""
        return self.dates[0], self.dates[-1]

    @property
    def money(self) -> str | None:
        """Currency, with costs."""
        return self.currency or None

    @property
    def sentences(self) -> list[str]:
        """How far each set gets, and what an acre costs."""
        return [" ".join(map(self._expectation, self.sets)), *([self.cost_sentence] if self.cost_sentence else [])]

    def _expectation(self, entry: SetSeason) -> str:
        unit = self.unit
        low, middle = (_round(value / unit.acres) for value in (entry.total.p10, entry.total.p50))
        text = f"{entry.name}: expect {middle:,.0f} {unit.name} by {self.dates[-1]}"
        text += f", and at least {low:,.0f} in nine seasons of ten"
        for goal in entry.goals:
            text += f"; the chance to finish {goal.acres / unit.acres:,.0f} {unit.name} is {share_words(goal.chance)}"
            if goal.safe_by:
                text += f", nine in ten are done by {goal.safe_by} after {goal.days_safe:.0f} work days"
        return f"{text}; {entry.runs} runs simulated."

    @property
    def cost_sentence(self) -> str:
        """What an acre costs in a smaller season and in the largest that every set can do; empty without costs."""
        priced = [entry for entry in self.sets if entry.costs_by_size]
        fitting = list(zip(*(entry.costs_by_size for entry in priced), strict=True))
        places = [place for place, row in enumerate(fitting) if all(one.fits for one in row)]
        if self.costs is None or not places:
            return ""
        unit, said = self.unit, []
        for entry in priced:
            parts = [
                f"{money_range(scaled(one.cost_per_acre, unit.acres), self.currency)} "
                f"at {one.acres / unit.acres:,.0f} {unit.name} a season"
                for one in (entry.costs_by_size[place] for place in dict.fromkeys((places[-3:][0], places[-1])))
            ]
            text = f"{entry.name}: {unit.an} costs {' and '.join(parts)}"
            if entry.break_even_acres is not None:
                turns = f"{_round(entry.break_even_acres / unit.acres):,.0f} {unit.name}"
                text += f"; the price of the work covers everything from {turns} on"
            said.append(text + ".")
        return " ".join(said)

    @property
    def _with_goals(self) -> list[tuple[SetSeason, Goal | None]]:
        return [(entry, goal) for entry in self.sets for goal in entry.goals or (None,)]

    @property
    def rows(self) -> list[list[str]]:
        """One row a set and goal."""
        per, area = self.unit.acres, self.unit.name
        return shown(self._with_goals, {
            "set": lambda one: one[0].name,
            f"{area}/season": lambda one: number_text(one[0].total.p50 / per, -1),
            "in 9 of 10": lambda one: number_text(one[0].total.p10 / per, -1),
            "goal": lambda one: one[1] and number_text(one[1].acres / per),
            "chance": lambda one: one[1] and f"{100 * one[1].chance:.0f} %",
            "half done by": lambda one: (one[1] and one[1].half_done_by) or None,
            "9 in 10 by": lambda one: (one[1] and one[1].safe_by) or None,
            "work days": lambda one: one[1] and number_text(one[1].days_half),
            "cycles/pack": lambda one: number_text(one[0].cycles_per_pack.p50),
        })  # fmt: skip

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """By set and goal, by set and date, and by set and season size."""
        per, area = self.unit.acres, self.unit.name
        goals = frame(self._with_goals, {
            "equipment_set": lambda one: one[0].name,
            f"{area}_per_day": lambda one: one[0].acres_per_day.mean / per,
            "season_p10": lambda one: one[0].total.p10 / per,
            "season_p50": lambda one: one[0].total.p50 / per,
            "season_p90": lambda one: one[0].total.p90 / per,
            "goal": lambda one: one[1] and one[1].acres / per,
            "chance": lambda one: one[1] and one[1].chance,
            "half_done_by": lambda one: one[1].half_done_by if one[1] else "",
            "nine_in_ten_by": lambda one: one[1].safe_by if one[1] else "",
            "work_days_p50": lambda one: one[1] and one[1].days_half,
            "work_days_p90": lambda one: one[1] and one[1].days_safe,
            "cycles_per_pack": lambda one: one[0].cycles_per_pack.p50,
            "pack_life_used_share": lambda one: one[0].life_used_share,
        })  # fmt: skip
        dated = [(entry, *one) for entry in self.sets for one in zip(self.dates, entry.by_date / per, strict=True)]
        dates = frame(dated, {
            "equipment_set": lambda one: one[0].name,
            "date": lambda one: one[1],
            "mean": lambda one: one[2][0], "p10": lambda one: one[2][1],
            "p50": lambda one: one[2][2], "p90": lambda one: one[2][3],
        })  # fmt: skip
        sizes = frame(((entry, one) for entry in self.sets for one in entry.costs_by_size), {
            "equipment_set": lambda one: one[0].name,
            f"season_{area}": lambda one: one[1].acres / per,
            "work_days": lambda one: one[1].days,
            "fits_the_season": lambda one: one[1].fits,
            **limits("", lambda one: one[1].cost_per_acre, 1.0 / per, f"cost_per_{self.unit.one}"),
        })  # fmt: skip
        return {"season.csv": goals, "by_date.csv": dates, "cost_by_size.csv": sizes}

    @property
    def remarks(self) -> list[str]:
        """Wear of packs, and what was assumed."""
        wear = [
            f"{entry.name}: a middle season takes {100 * entry.life_used_share:.0f} % of a pack's life in cycles."
            for entry in self.sets
            if math.isfinite(entry.life_used_share)
        ]
        return [*wear, *self.notes]

    @property
    def simulated(self) -> dict[str, int]:
        """All sets."""
        return {entry.name: entry.runs for entry in self.sets}


def _round(value: float) -> float:
    """Round to three significant digits at most: percentiles of drawn seasons support no more."""
    return value if value == 0 else round(value, min(0, 2 - math.floor(math.log10(abs(value)))))


def season(
    loaded: LoadedScenario,
    set_names: Sequence[str] = (),
    workable_days: float | Distribution | None = None,
    first: str = FIRST,
    last: str = LAST,
    acres: Sequence[float] = (),
    sizes_acres: Sequence[float] = (),
    least_hours: float = LEAST_HOURS,
    runs: int | None = None,
    seed: int | None = None,
    workers: int = 1,
    worlds: int = WORLDS,
    report: Report | None = None,
) -> Season:
    """Ask how far equipment sets get in a season.

    Parameters
    ----------
    loaded : LoadedScenario
        Scenario; its ``weather.file`` gives the dates that can be worked unless ``workable_days`` does.
    set_names : sequence of str
        Sets; all by default.
    workable_days : float or Distribution, optional
        Work days of the season; without it and without a weather file, ``costs.season_days``.
    first, last : str
        Dates of the season, month and day.
    acres : sequence of float
        Acreages to finish; the costs' demand by default, where given.
    sizes_acres : sequence of float
        Season sizes of the cost table; round numbers of the scenario's unit by default.
    least_hours : float
        Dates of a weather file with fewer workable hours are not worked.
    runs : int, optional
        Simulated runs; the scenario's by default. With a weather file they are shared out over the kinds of dates.
    worlds : int
        Seasons drawn.
    seed, workers, report : optional
        Seed (the scenario's by default), number of processes, and what is told of progress.

    Raises
    ------
    InputError
        Nothing says how many days can be worked, a date or an area is out of range, or the weather file is of no use.
    """
    entries = sets_of(loaded, set_names)
    wanted = loaded.base.runs if runs is None else runs
    check_runs(wanted, len(entries))
    trials = Trials.of(loaded, seed, workers, report)
    if not 0 < least_hours <= 24:
        raise InputError.single(f"got {least_hours}; allowed is above 0 and at most 24 hours", "least_hours")
    for value in (*acres, *sizes_acres):
        if not 0 < value <= 1e7:
            raise InputError.single(f"got {value}; allowed is an area above 0 and at most 1e7 acres", "acres")
    span = Span(read_month_day(first, "first"), read_month_day(last, "last"))
    calendar = calendar_of(loaded, entries[0], span, workable_days, least_hours)
    count = len(calendar.kinds)
    each = wanted if count == 1 else max(LEAST_RUNS, math.ceil(wanted / max(1, count)))
    plans = [
        plan if windows is None else replace(plan, weather_days=(windows,))
        for plan in [rehearsed(make_plan(entry)) for entry in entries]
        for windows in calendar.kinds
    ]
    if not plans:
        raise InputError.single("no date of the season can be worked; widen the limits or the dates", "weather.file")
    tables = trials.simulate(plans, each)
    rng = resampler(trials.seed, "season")
    kinds = calendar.draw(worlds, rng)
    n = len(tables[0])
    # each drawn season first draws its own set of simulated runs, then its dates out of them; the same for every set
    own = rng.integers(n, size=(worlds, n))
    # a run stands for as many work days in a row as it has
    row_days = days_of_run(tables[0][:, place_of("work_days")])
    run = np.maximum(np.cumsum(kinds >= 0, axis=1) - 1, 0) // row_days
    drawn = np.take_along_axis(rng.integers(n, size=(worlds, int(run.max()) + 1)), run, axis=1)
    chosen = np.take_along_axis(own, drawn, axis=1)
    costs, unit = entries[0].scenario.costs, area_unit(entries[0].scenario.units)
    sizes = list(sizes_acres) or [size * unit.acres for size in SIZES[unit.name]]
    results = [
        _one_set(entry, tables[place * count : (place + 1) * count], kinds, chosen, calendar, acres, sizes)
        for place, entry in enumerate(entries)
    ]
    notes = [*calendar.notes, *_shared_out(wanted, each, count)]
    if n < each:
        notes.insert(0, f"Interrupted: {n} of {each} runs.")
    if costs is None:
        notes.append("No cost per acre: the scenario has no table [costs].")
    row = "a run of one work day" if row_days == 1 else f"runs of {row_days} work days in a row"
    notes.append(f"Work days are drawn as {row}, independently of each other but for the dates that weather allows.")
    worked = spread_of((kinds >= 0).sum(axis=1))
    return Season(tuple(results), tuple(clock_dates(calendar.dates)), worked, worlds, tuple(notes), unit, costs=costs)


def _shared_out(wanted: int, each: int, kinds: int) -> list[str]:
    """Say that a weather file made more runs necessary than were asked for; nothing where it did not."""
    if kinds <= 1 or each * kinds <= wanted:
        return []
    why = f"at least {LEAST_RUNS} of each" if each == LEAST_RUNS else f"{each} of each"
    return [
        f"{each * kinds:,} runs of each set were simulated, not the {wanted:,} asked for: the weather file has {kinds} "
        f"kinds of workable date, by their hours, and {why} are taken."
    ]


def _one_set(
    entry: EquipmentSet,
    tables: Sequence[FloatArray],
    kinds: NDArray[np.int64],
    chosen: NDArray[np.int64],
    calendar: Calendar,
    acres: Sequence[float],
    sizes_acres: Sequence[float],
) -> SetSeason:
    """Lay simulated days on the dates of drawn seasons."""
    scenario = entry.scenario
    costs, pieces = scenario.costs, pieces_of(scenario)
    plain = costs if costs is not None else Costs()
    ledgers = np.stack([ledger_of(table, scenario, plain) for table in tables])  # kind, run, column
    worked = kinds >= 0
    total = np.cumsum(np.where(worked, ledgers[kinds, chosen, 0], 0.0), axis=1)
    packs = sum(number for (kind, _), number in pieces.items() if kind == "pack")
    cycles = spread_of(np.where(worked, ledgers[kinds, chosen, _CYCLES], 0.0).sum(axis=1) / max(1, packs))
    # a mean work day, weighing each kind of date by how often it is worked
    mixed = np.tensordot(worked_shares(kinds, len(tables)), ledgers, axes=1)
    life = [item.life_cycles for item in plain.pack.values() if item.life_cycles is not None]
    demand = demand_acres(plain)
    wanted = list(acres) or ([] if demand is None else [demand])
    whole = spread_of(total[:, -1])
    if costs is not None:
        need_prices(pieces, costs, "the cost per acre")
    return SetSeason(
        name=entry.name,
        runs=sum(len(rows) for rows in tables),
        acres_per_day=jackknife(lambda means: np.asarray(means[..., 0]), mixed),
        total=whole,
        dates=tuple(clock_dates(calendar.dates)),
        by_date=np.column_stack([total.mean(axis=0), *np.quantile(total, [0.1, 0.5, 0.9], axis=0)]),
        goals=tuple(_goal(total, worked, size, calendar) for size in wanted),
        cycles_per_pack=cycles,
        life_used_share=cycles.p50 / min(life) if life else math.nan,
        costs_by_size=tuple(size_cost(mixed, entry, costs, size, whole.p50) for size in sizes_acres if costs),
        break_even_acres=None if costs is None else _break_even(mixed, entry, costs, whole.p50),
    )


def _goal(total: FloatArray, worked: NDArray[np.bool_], acres: float, calendar: Calendar) -> Goal:
    reached = total >= acres
    finished, last = reached[:, -1], reached.argmax(axis=1)
    days = np.take_along_axis(np.cumsum(worked, axis=1), last[:, None], 1)[:, 0]
    day, needed = np.sort(np.where(finished, last, len(calendar.dates))), np.sort(np.where(finished, days, np.inf))
    names = [*clock_dates(calendar.dates), ""]
    half, most = (math.ceil(share * len(day)) - 1 for share in (0.5, 0.9))
    return Goal(
        acres, float(finished.mean()), names[day[half]], names[day[most]], float(needed[half]), float(needed[most])
    )


def size_cost(ledger: FloatArray, entry: EquipmentSet, costs: Costs, acres: float, capacity: float) -> SizeCost:
    """Return what an acre costs when a season has so many; ``capacity`` is what a median season can do."""
    pieces = pieces_of(entry.scenario)

    def per_acre(means: FloatArray) -> FloatArray:
        return season_money(means, costs, pieces, math.inf, acres).cost_per_acre

    mean = float(ledger[:, 0].mean())
    return SizeCost(acres, acres / mean if mean > 0 else math.inf, acres <= capacity, jackknife(per_acre, ledger))


def _break_even(ledger: FloatArray, entry: EquipmentSet, costs: Costs, capacity: float) -> float | None:
    """Return the season size from which the price of the work covers everything."""
    means, pieces = ledger.mean(axis=0), pieces_of(entry.scenario)
    if means[0] <= 0 or not revenue_per_day(means, costs) > 0:
        return None

    def covered(acres: float) -> bool:
        return float(season_money(means, costs, pieces, math.inf, acres).margin) > 0

    return turning(covered, capacity * 1e-6, capacity) if covered(capacity) else None
