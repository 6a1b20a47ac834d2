"""How far in a season: acres by date, chance to finish, days needed, pack cycles, and cost per acre by season size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import place_of
from simulator.errors import InputError
from simulator.experiment.rehearsal import rehearsed
from simulator.plan.day_plan import make_plan
from simulator.scenario.distributions import Distribution
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import area_unit
from simulator.study.answer import spread_of
from simulator.study.cases import FloatArray, Report, Trials, check_runs, sets_of
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
from simulator.study.season_answer import Goal, Season, SetSeason, SizeCost
from simulator.study.workdays import Calendar, Span, calendar_of, clock_dates, read_month_day, worked_shares

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


def season(
    loaded: LoadedScenario, set_names: Sequence[str] = (), workable_days: float | Distribution | None = None,
    first: str = FIRST, last: str = LAST, acres: Sequence[float] = (), sizes_acres: Sequence[float] = (),
    least_hours: float = LEAST_HOURS, runs: int | None = None, seed: int | None = None, workers: int = 1,
    worlds: int = WORLDS, report: Report | None = None,
) -> Season:  # fmt: skip
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
    notes = list(calendar.notes)
    if count > 1 and each * count > wanted:
        why = f"at least {LEAST_RUNS} of each" if each == LEAST_RUNS else f"{each} of each"
        notes.append(
            f"{each * count:,} runs of each set were simulated, not the {wanted:,} asked for: the weather file has "
            f"{count} kinds of workable date, by their hours, and {why} are taken."
        )
    if n < each:
        notes.insert(0, f"Interrupted: {n} of {each} runs.")
    if costs is None:
        notes.append("No cost per acre: the scenario has no table [costs].")
    row = "a run of one work day" if row_days == 1 else f"runs of {row_days} work days in a row"
    notes.append(f"Work days are drawn as {row}, independently of each other but for the dates that weather allows.")
    return Season(
        tuple(results), tuple(clock_dates(calendar.dates)), spread_of((kinds >= 0).sum(axis=1)), worlds, tuple(notes),
        unit=unit, costs=costs, simulated={entry.name: entry.runs for entry in results},
    )  # fmt: skip


def _one_set(
    entry: EquipmentSet, tables: Sequence[FloatArray], kinds: NDArray[np.int64], chosen: NDArray[np.int64],
    calendar: Calendar, acres: Sequence[float], sizes_acres: Sequence[float],
) -> SetSeason:  # fmt: skip
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
    at = [math.ceil(share * len(day)) - 1 for share in (0.5, 0.9)]
    return Goal(acres, float(finished.mean()), *(names[day[one]] for one in at), *(float(needed[one]) for one in at))


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
