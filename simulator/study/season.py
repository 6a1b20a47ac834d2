"""How far in a season: acres by date, the chance to finish, days needed, pack cycles, and cost per acre by season size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError
from simulator.experiment.estimates import Interval
from simulator.operation.plan import make_plan
from simulator.scenario.distributions import Distribution
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.schema_costs import Costs
from simulator.study.day_money import LEDGER, jackknife, ledger_of, resampler, revenue_per_day, season_money
from simulator.study.money import need_costs, need_prices, pieces_of
from simulator.study.payoff import clean, interval_json
from simulator.study.trial import AreaUnit, Report, area_unit, check_days, check_workers, simulate_sets
from simulator.study.words import money_range, share_words
from simulator.study.workdays import (
    Calendar,
    Span,
    calendar_of_number,
    calendar_of_weather,
    clock_dates,
    read_month_day,
    worked_shares,
)

if TYPE_CHECKING:
    import pandas as pd

WORLDS = 2000
"""Seasons drawn."""
FIRST, LAST = "06-01", "08-31"
"""Dates of the season unless given; assumption."""
LEAST_HOURS = 3.0
"""Dates of a weather file with fewer workable hours are not worked; assumption."""
SIZES_ACRES = (250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Season sizes of the cost table."""
_CYCLES = LEDGER.index("charge_cycles")


@dataclass(frozen=True)
class Goal:
    """An acreage to be done within the season.

    Parameters
    ----------
    acres : float
        To do.
    chance : float
        Share of drawn seasons that finish it by the last date.
    half_done_by, safe_by : str
        Date by which half of the seasons, and nine in ten, are finished; empty when fewer ever are.
    days_half, days_safe : float
        Work days needed in half of the seasons, and at most in nine of ten; infinity when fewer ever finish.
    """

    acres: float
    chance: float
    half_done_by: str
    safe_by: str
    days_half: float
    days_safe: float


@dataclass(frozen=True)
class SizeCost:
    """What an acre costs in a season of a given size.

    Parameters
    ----------
    acres : float
        Done in the season.
    days : float
        Work days that it takes.
    fits : bool
        Whether half of the seasons or more can do as much.
    cost_per_acre : Interval
        Everything: wages, fuel, driving, upkeep, interest and wear.
    """

    acres: float
    days: float
    fits: bool
    cost_per_acre: Interval


@dataclass(frozen=True)
class SetSeason:
    """The season of one equipment set.

    Parameters
    ----------
    name : str
        Set.
    days : int
        Simulated days behind it.
    acres_per_day : Interval
        Mean of a work day.
    total : tuple of float
        10th, 50th and 90th percentile of acres in the whole season.
    by_date : ndarray, shape (dates, 4)
        Acres by each date: mean, 10th, 50th and 90th percentile.
    goals : tuple of Goal
        Acreages asked for.
    cycles_per_pack : tuple of float
        Charge cycles of one pack in the season: 10th, 50th, 90th percentile.
    life_used_share : float
        Part of a pack's life in cycles that a median season takes; NaN when no life in cycles is given.
    costs_by_size : tuple of SizeCost
        Empty without costs.
    break_even_acres : float or None
        Season size from which the price of the work covers everything; None when it never does, or is not asked.
    """

    name: str
    days: int
    acres_per_day: Interval
    total: tuple[float, float, float]
    by_date: NDArray[np.float64] = field(repr=False)
    goals: tuple[Goal, ...]
    cycles_per_pack: tuple[float, float, float]
    life_used_share: float
    costs_by_size: tuple[SizeCost, ...]
    break_even_acres: float | None


@dataclass(frozen=True)
class Season:
    """How far equipment sets get in a season.

    Parameters
    ----------
    sets : tuple of SetSeason
        One a set.
    dates : tuple of str
        Dates as ``06-15``.
    work_days : tuple of float
        10th, 50th and 90th percentile of work days.
    worlds : int
        Seasons drawn.
    notes : tuple of str
        What was assumed.
    costs : Costs or None
        Money.
    unit : AreaUnit
        Area unit of sentences.
    """

    sets: tuple[SetSeason, ...]
    dates: tuple[str, ...]
    work_days: tuple[float, float, float]
    worlds: int
    notes: tuple[str, ...]
    costs: Costs | None
    unit: AreaUnit

    @property
    def sentence(self) -> str:
        """The answer, as one would tell it."""
        return " ".join(self.set_sentence(entry) for entry in self.sets)

    def set_sentence(self, entry: SetSeason) -> str:
        """Return the answer for one set."""
        unit = self.unit
        low, middle, _ = (_round(value / unit.acres) for value in entry.total)
        text = f"{entry.name}: expect {middle:,.0f} {unit.name} by {self.dates[-1]}, and at least {low:,.0f} in nine seasons of ten"
        for goal in entry.goals:
            size = f"{goal.acres / unit.acres:,.0f} {unit.name}"
            text += f"; the chance to finish {size} is {share_words(goal.chance)}"
            if goal.safe_by:
                text += f", nine in ten are done by {goal.safe_by} after {goal.days_safe:.0f} work days"
        return f"{text}; {entry.days} days simulated."

    @property
    def table(self) -> pd.DataFrame:
        """One row a set and goal."""
        import pandas as pd

        per, rows = self.unit.acres, []
        for entry in self.sets:
            for goal in entry.goals or (None,):
                rows.append(
                    {
                        "equipment_set": entry.name,
                        f"{self.unit.name}_per_day": entry.acres_per_day.mean / per,
                        "season_p10": entry.total[0] / per,
                        "season_p50": entry.total[1] / per,
                        "season_p90": entry.total[2] / per,
                        "goal": np.nan if goal is None else goal.acres / per,
                        "chance": np.nan if goal is None else goal.chance,
                        "half_done_by": "" if goal is None else goal.half_done_by,
                        "nine_in_ten_by": "" if goal is None else goal.safe_by,
                        "work_days_p50": np.nan if goal is None else goal.days_half,
                        "work_days_p90": np.nan if goal is None else goal.days_safe,
                        "cycles_per_pack": entry.cycles_per_pack[1],
                        "pack_life_used_share": entry.life_used_share,
                    }
                )
        return pd.DataFrame(rows)

    @property
    def by_date(self) -> pd.DataFrame:
        """Acres by date: one row a set and date."""
        import pandas as pd

        frames = []
        for entry in self.sets:
            frame = pd.DataFrame(entry.by_date / self.unit.acres, columns=["mean", "p10", "p50", "p90"])
            frame.insert(0, "date", list(self.dates))
            frame.insert(0, "equipment_set", entry.name)
            frames.append(frame)
        return pd.concat(frames, ignore_index=True)

    @property
    def cost_by_size(self) -> pd.DataFrame:
        """Cost per area by season size: one row a set and size."""
        import pandas as pd

        per, rows = self.unit.acres, []
        for entry in self.sets:
            for one in entry.costs_by_size:
                cost = one.cost_per_acre
                rows.append(
                    {
                        "equipment_set": entry.name,
                        f"season_{self.unit.name}": one.acres / per,
                        "work_days": one.days,
                        "fits_the_season": one.fits,
                        f"cost_per_{self.unit.one}": cost.mean * per,
                        "low": np.nan if cost.low is None else cost.low * per,
                        "high": np.nan if cost.high is None else cost.high * per,
                    }
                )
        names = [
            "equipment_set",
            f"season_{self.unit.name}",
            "work_days",
            "fits_the_season",
            f"cost_per_{self.unit.one}",
            "low",
            "high",
        ]
        return pd.DataFrame(rows, columns=names)

    def cost_sentence(self) -> str:
        """Return what an acre costs in a smaller season and in the largest that fits; empty without costs."""
        said = []
        for entry in self.sets:
            fitting = [one for one in entry.costs_by_size if one.fits]
            if self.costs is None or not fitting:
                continue
            parts = []
            for one in dict.fromkeys((fitting[max(0, len(fitting) - 3)], fitting[-1])):
                cost, per = one.cost_per_acre, self.unit.acres
                scaled = Interval(
                    cost.mean * per, _times(cost.low, per), _times(cost.high, per), cost.n, _times(cost.half_width, per)
                )
                parts.append(
                    f"{money_range(scaled, self.costs.currency)} at {one.acres / per:,.0f} {self.unit.name} a season"
                )
            text = f"{entry.name}: {'an acre' if self.unit.acres == 1 else 'a hectare'} costs {' and '.join(parts)}"
            if entry.break_even_acres is not None:
                text += f"; the price of the work covers everything from {_round(entry.break_even_acres / self.unit.acres):,.0f} {self.unit.name}"
            said.append(text + ".")
        return " ".join(said)

    def to_json(self) -> dict[str, Any]:
        """Return the answer as a document."""
        return clean(
            {
                "study": "season", "sentence": self.sentence, "cost_sentence": self.cost_sentence(), "notes": list(self.notes),
                "seasons_drawn": self.worlds, "dates": [self.dates[0], self.dates[-1]], "work_days": _three(self.work_days),
                "currency": None if self.costs is None else self.costs.currency,
                "equipment_sets": [
                    {
                        "name": entry.name, "days": entry.days, "acres_per_day": interval_json(entry.acres_per_day),
                        "season_acres": _three(entry.total), "goals": [vars(goal) for goal in entry.goals],
                        "cycles_per_pack": _three(entry.cycles_per_pack), "pack_life_used_share": entry.life_used_share,
                        "break_even_acres": entry.break_even_acres,
                        "cost_per_acre_by_size": [
                            {"acres": one.acres, "work_days": one.days, "fits": one.fits, **interval_json(one.cost_per_acre)}
                            for one in entry.costs_by_size
                        ],
                        "acres_by_date": [
                            {"date": day, "mean": row[0], "p10": row[1], "p50": row[2], "p90": row[3]}
                            for day, row in zip(self.dates, entry.by_date.tolist(), strict=True)
                        ],
                    }
                    for entry in self.sets
                ],
            }
        )  # fmt: skip


def _three(values: tuple[float, float, float]) -> dict[str, float]:
    return dict(zip(("p10", "p50", "p90"), values, strict=True))


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


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
    sizes_acres: Sequence[float] = SIZES_ACRES,
    least_hours: float = LEAST_HOURS,
    days: int | None = None,
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
        Season sizes of the cost table.
    least_hours : float
        Dates of a weather file with fewer workable hours are not worked.
    days : int, optional
        Simulated days; the scenario's by default. With a weather file they are shared out over the kinds of dates.
    seed : int, optional
        Seed; the scenario's by default.
    workers : int
        Processes.
    worlds : int
        Seasons drawn.
    report : callable, optional
        Progress.

    Returns
    -------
    Season
        One entry a set.

    Raises
    ------
    InputError
        Nothing says how many days can be worked, a date or an area is out of range, or the weather file is of no use.
    """
    entries = [loaded.equipment_set(name) for name in dict.fromkeys(set_names)] or list(loaded.sets)
    wanted = loaded.base.days if days is None else days
    check_days(wanted)
    check_workers(workers)
    if not 0 < least_hours <= 24:
        raise InputError.single(f"got {least_hours}; allowed is above 0 and at most 24 hours", "least_hours")
    for value in (*acres, *sizes_acres):
        if not 0 < value <= 1e7:
            raise InputError.single(f"got {value}; allowed is an area above 0 and at most 1e7 acres", "acres")
    span = Span(read_month_day(first, "first"), read_month_day(last, "last"))
    calendar = _calendar(loaded, entries[0], span, workable_days, least_hours)
    used_seed = loaded.base.seed if seed is None else seed
    each = wanted if len(calendar.kinds) == 1 else max(10, math.ceil(wanted / max(1, len(calendar.kinds))))
    plans = [
        plan if windows is None else replace(plan, weather_days=(windows,))
        for plan in [make_plan(entry) for entry in entries]
        for windows in calendar.kinds
    ]
    if not plans:
        raise InputError.single("no date of the season can be worked; widen the limits or the dates", "weather.file")
    tables = simulate_sets(plans, used_seed, each, workers, report)
    rng = resampler(used_seed, "season")
    kinds = calendar.draw(worlds, rng)
    n = len(tables[0])
    # each drawn season first draws its own set of simulated days, then its dates out of them; the same for every set
    own = rng.integers(n, size=(worlds, n))
    chosen = np.take_along_axis(own, rng.integers(n, size=kinds.shape), axis=1)
    counts = np.quantile((kinds >= 0).sum(axis=1), [0.1, 0.5, 0.9])
    costs = entries[0].scenario.costs
    results = []
    for place, entry in enumerate(entries):
        mine = tables[place * len(calendar.kinds) : (place + 1) * len(calendar.kinds)]
        results.append(_one_set(entry, mine, kinds, chosen, calendar, acres, sizes_acres))
    notes = list(calendar.notes)
    if costs is None:
        notes.append("No cost per acre: the scenario has no table [costs].")
    notes.append("Days are drawn independently of each other, apart from the dates that weather allows.")
    return Season(
        tuple(results), tuple(clock_dates(calendar.dates)), (float(counts[0]), float(counts[1]), float(counts[2])), worlds,
        tuple(notes), costs, area_unit(entries[0].scenario.units),
    )  # fmt: skip


def _calendar(
    loaded: LoadedScenario,
    entry: EquipmentSet,
    span: Span,
    workable_days: float | Distribution | None,
    least_hours: float,
) -> Calendar:
    scenario = entry.scenario
    has_file = scenario.weather.file is not None
    if workable_days is not None and has_file:
        message = "the scenario's weather.file already says which dates can be worked; allowed is one of them"
        raise InputError.single(message, "workable_days")
    if has_file:
        return calendar_of_weather(span, scenario, loaded.folder, least_hours)
    if workable_days is None and scenario.costs is None:
        message = "missing; allowed is a number of work days, costs.season_days or weather.file in the scenario"
        raise InputError.single(message, "workable_days")
    number = workable_days if workable_days is not None else (scenario.costs.season_days if scenario.costs else 0.0)
    return calendar_of_number(span, number)


def _one_set(
    entry: EquipmentSet, tables: Sequence[NDArray[np.float64]], kinds: NDArray[np.int64], chosen: NDArray[np.int64],
    calendar: Calendar, acres: Sequence[float], sizes_acres: Sequence[float],
) -> SetSeason:  # fmt: skip
    """Lay simulated days on the dates of drawn seasons."""
    scenario = entry.scenario
    costs = scenario.costs
    plain = costs if costs is not None else Costs()
    ledgers = np.stack([ledger_of(table, scenario, plain) for table in tables])  # kind, day, column
    worked = kinds >= 0
    done = np.where(worked, ledgers[kinds, chosen, 0], 0.0)
    total = np.cumsum(done, axis=1)
    bands = np.quantile(total, [0.1, 0.5, 0.9], axis=0)
    packs = sum(piece.number for piece in pieces_of(scenario) if piece.kind == "pack")
    cycles = np.where(worked, ledgers[kinds, chosen, _CYCLES], 0.0).sum(axis=1) / max(1, packs)
    spread = np.quantile(cycles, [0.1, 0.5, 0.9])
    # a mean work day, weighing each kind of date by how often it is worked
    shares = worked_shares(kinds, len(tables))
    mixed = np.tensordot(shares, ledgers, axes=1)
    life = [item.life_cycles for item in plain.pack.values() if item.life_cycles is not None]
    wanted = list(acres)
    if not wanted and costs is not None and costs.season_demand is not None:
        from simulator.scenario.units import M2_PER_ACRE

        wanted = [costs.season_demand / M2_PER_ACRE]
    totals = np.quantile(total[:, -1], [0.1, 0.5, 0.9])
    table: tuple[SizeCost, ...] = ()
    turning = None
    if costs is not None:
        need_prices(pieces_of(scenario), costs, "the cost per acre")
        table = tuple(
            size_cost(mixed, entry, need_costs(entry, "season", income=False), size, float(totals[1]))
            for size in sizes_acres
        )
        turning = _break_even(mixed, entry, costs, float(totals[1]))
    return SetSeason(
        name=entry.name,
        days=sum(len(rows) for rows in tables),
        acres_per_day=jackknife(lambda means: np.asarray(means[..., 0]), mixed),
        total=(float(totals[0]), float(totals[1]), float(totals[2])),
        by_date=np.column_stack([total.mean(axis=0), *bands]),
        goals=tuple(_goal(total, worked, size, calendar) for size in wanted),
        cycles_per_pack=(float(spread[0]), float(spread[1]), float(spread[2])),
        life_used_share=float(spread[1] / min(life)) if life else math.nan,
        costs_by_size=table,
        break_even_acres=turning,
    )


def _goal(total: NDArray[np.float64], worked: NDArray[np.bool_], acres: float, calendar: Calendar) -> Goal:
    reached = total >= acres
    finished = reached[:, -1]
    day = np.where(finished, reached.argmax(axis=1), np.iinfo(np.int64).max)
    needed = np.where(
        finished, np.take_along_axis(np.cumsum(worked, axis=1), reached.argmax(axis=1)[:, None], 1)[:, 0], np.inf
    )
    names = clock_dates(calendar.dates)

    def by(share: float) -> str:
        place = np.sort(day)[math.ceil(share * len(day)) - 1]
        return names[int(place)] if place < len(names) else ""

    def days_at(share: float) -> float:
        return float(np.sort(needed)[math.ceil(share * len(needed)) - 1])

    return Goal(acres, float(finished.mean()), by(0.5), by(0.9), days_at(0.5), days_at(0.9))


def size_cost(
    ledger: NDArray[np.float64], entry: EquipmentSet, costs: Costs, acres: float, capacity: float
) -> SizeCost:
    """Return what an acre costs when a season has so many.

    Parameters
    ----------
    ledger : ndarray, shape (days, len(LEDGER))
        Work days.
    entry : EquipmentSet
        Its equipment.
    costs : Costs
        Prices.
    acres : float
        Of the season.
    capacity : float
        What a median season can do, acres.
    """
    pieces = pieces_of(entry.scenario)

    def per_acre(means: NDArray[np.float64]) -> NDArray[np.float64]:
        money = season_money(means, costs, pieces, math.inf, acres)
        return (money.running + money.upkeep + money.capital) / money.acres

    mean = float(ledger[:, 0].mean())
    return SizeCost(acres, acres / mean if mean > 0 else math.inf, acres <= capacity, jackknife(per_acre, ledger))


def _break_even(ledger: NDArray[np.float64], entry: EquipmentSet, costs: Costs, capacity: float) -> float | None:
    """Return the season size from which the price of the work covers everything."""
    if costs.price_per_acre is None and costs.price_per_hour is None:
        return None
    means, pieces = ledger.mean(axis=0), pieces_of(entry.scenario)
    if means[0] <= 0 or not revenue_per_day(means, costs) > 0:
        return None

    def gain(acres: float) -> float:
        return float(season_money(means, costs, pieces, math.inf, acres).margin)

    if gain(capacity) <= 0:
        return None
    low, high = capacity * 1e-6, capacity
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if gain(middle) > 0 else (middle, high)
    return high
