"""Running a scenario: all sets, as many days as asked or as the precision needs, and the worth of one more of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress

import numpy as np

from simulator.analysis.bottleneck import OneMore
from simulator.errors import InputError, Problem
from simulator.experiment.estimates import mean_interval, paired_interval
from simulator.experiment.replicate import Runner
from simulator.experiment.result import Result, SetResult
from simulator.experiment.streams import BLOCK_DAYS, StreamBank
from simulator.experiment.variations import Variation, one_more_of_each
from simulator.operation.day import SimulatedDay
from simulator.operation.plan import DayPlan, make_plan
from simulator.scenario.loading import LoadedScenario, vary

MOST_DAYS = 1_000_000
"""Days at which a run for a precision gives up."""
ONE_MORE_DAYS = 50
"""Days that each change of one more is simulated, unless asked otherwise."""

Report = Callable[[str, int, int], None]
"""Called with what is being done, days done, and days to do."""


def make_plans(loaded: LoadedScenario) -> list[DayPlan]:
    """Return the plan of every equipment set.

    Raises
    ------
    InputError
        With the problems of all sets.
    """
    plans, problems = [], []
    for entry in loaded.sets:
        try:
            plans.append(make_plan(entry))
        except InputError as error:
            problems += [Problem(p.where, p.message, p.file or loaded.file) for p in error.problems]
    if problems:
        raise InputError(list(dict.fromkeys(problems)))
    return plans


def run(
    loaded: LoadedScenario,
    days: int | None = None,
    seed: int | None = None,
    workers: int = 1,
    precision: float | None = None,
    one_more_days: int = ONE_MORE_DAYS,
    report: Report | None = None,
) -> Result:
    """Simulate every equipment set of a scenario.

    Parameters
    ----------
    loaded : LoadedScenario
        The scenario.
    days : int, optional
        Days per set; the scenario's by default. With ``precision``, the least number.
    seed : int, optional
        Seed; the scenario's by default.
    workers : int
        Processes.
    precision : float, optional
        Relative half-width of the 95 % interval of mean acres per day at which every set stops.
    one_more_days : int
        Days that each change of one more is simulated; 0 leaves them out.
    report : callable, optional
        Progress.

    Returns
    -------
    Result
        When interrupted (Ctrl-C), of the days that had finished, with ``stopped`` set.

    Raises
    ------
    InputError
        Physics refuses a set, or a number is out of range.
    KeyboardInterrupt
        Interrupted before two days of every set had finished.
    """
    wanted = loaded.base.days if days is None else days
    _check_numbers(wanted, workers, precision)
    used_seed = loaded.base.seed if seed is None else seed
    plans = make_plans(loaded)
    stopped = ""
    extra: list[tuple[OneMore, ...]] = [() for _ in plans]
    with Runner(plans, used_seed, workers) as runner:
        try:
            stopped = _run_days(runner, wanted, precision, report)
            if one_more_days >= 2:
                extra = _run_one_more(loaded, runner, used_seed, workers, min(one_more_days, wanted), report)
        except KeyboardInterrupt:
            if min(runner.tables.done(place) for place in range(len(plans))) < 2:
                raise
            stopped = "interrupted; only the days that had finished are in the tables"
        tables = [runner.tables.table(place) for place in range(len(plans))]
    sets = tuple(
        SetResult(plan.name, *table, changes, plan.scenario.product.kind == "liquid", plan.scenario.units)
        for plan, table, changes in zip(plans, tables, extra, strict=True)
    )
    skipped = tuple(dict.fromkeys(str(problem) for entry in loaded.sets for problem in entry.notes))
    return Result(loaded.name, used_seed, sets, stopped, skipped)


def _check_numbers(days: int, workers: int, precision: float | None) -> None:
    if not 2 <= days <= MOST_DAYS * 10:
        raise InputError.single(f"got {days}; allowed is 2 to {MOST_DAYS * 10} days", "days")
    if not 1 <= workers <= 1024:
        raise InputError.single(f"got {workers}; allowed is 1 to 1024", "workers")
    if precision is not None and not 0.0 < precision < 1.0:
        raise InputError.single(f"got {precision}; allowed is a share such as 0.01", "precision")


def _run_days(runner: Runner, wanted: int, precision: float | None, report: Report | None) -> str:
    done, target = 0, wanted

    def progress(count: int) -> None:
        nonlocal done
        done += count
        if report is not None:
            report("days", done, target * len(runner.plans))

    if precision is None:
        runner.extend(0, wanted, progress)
        return ""
    # look only where a block of replications ends, so that any number of workers stops at the same day
    last = max(wanted, 10)
    first = 0
    while True:
        target = last
        runner.extend(first, last, progress)
        widths = []
        for place in range(len(runner.plans)):
            interval = mean_interval(_acres(runner, place))
            widths.append(interval.half_width / abs(interval.mean) if interval.mean else 0.0)
        if max(widths) <= precision:
            return ""
        if last >= MOST_DAYS:
            return f"the precision was not reached within {MOST_DAYS} days"
        needed = int(last * (max(widths) / precision) ** 2)
        step = min(max(needed - last, BLOCK_DAYS), 2 * last)
        first, last = last, min(MOST_DAYS, ((last + step) // BLOCK_DAYS + 1) * BLOCK_DAYS)


def _acres(runner: Runner, place: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    from simulator.analysis.summary import COLUMNS

    _, rows = runner.tables.table(place)
    acres: np.ndarray[tuple[int], np.dtype[np.float64]] = rows[:, COLUMNS.index("acres")]
    return acres


def _run_one_more(
    loaded: LoadedScenario, runner: Runner, seed: int, workers: int, days: int, report: Report | None
) -> list[tuple[OneMore, ...]]:
    """Simulate one more of each for every set, on the same streams."""
    tried: list[tuple[int, Variation]] = []
    plans: list[DayPlan] = []
    for place, entry in enumerate(loaded.sets):
        for variation in one_more_of_each(entry):
            # a change that makes the set invalid (more people than a trailer may carry, say) is simply not offered
            with suppress(InputError):
                plans.append(make_plan(vary(entry, [variation.setting], loaded.folder)))
                tried.append((place, variation))
    done = 0

    def progress(count: int) -> None:
        nonlocal done
        done += count
        if report is not None:
            report("one more of each", done, days * len(plans))

    changes: list[list[OneMore]] = [[] for _ in loaded.sets]
    with Runner(plans, seed, workers) as other:
        other.extend(0, days, progress)
        for number, (place, variation) in enumerate(tried):
            pair = paired_interval(_acres(other, number)[:days], _acres(runner, place)[:days])
            changes[place].append(
                OneMore(variation.change, variation.resource, variation.setting, pair.mean, pair.low, pair.high, pair.n)
            )
    return [tuple(sorted(entries, key=lambda change: -change.acres_per_day)) for entries in changes]


def simulate_day(loaded: LoadedScenario, equipment_set: str | None = None, replication: int = 0, seed: int | None = None) -> SimulatedDay:
    """Simulate one day and keep its whole log.

    Parameters
    ----------
    loaded : LoadedScenario
        The scenario.
    equipment_set : str, optional
        Set; the first by default.
    replication : int
        Which day.
    seed : int, optional
        Seed; the scenario's by default.
    """
    from simulator.experiment.replicate import simulate_replication

    entry = loaded.sets[0] if equipment_set is None else loaded.equipment_set(equipment_set)
    bank = StreamBank(loaded.base.seed if seed is None else seed)
    return simulate_replication(make_plan(entry), bank, replication)


def settings_of(pairs: Iterable[tuple[str, object]]) -> list[str]:
    """Write (key, value) pairs as ``KEY=VALUE`` settings."""
    return [f"{key}={value}" for key, value in pairs]
