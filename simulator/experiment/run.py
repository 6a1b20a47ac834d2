"""Running a scenario: all sets, as many days as asked or as the precision needs, and the worth of one more of each."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from simulator import __version__
from simulator.analysis.bottleneck import OneMore
from simulator.analysis.summary import COLUMNS
from simulator.errors import InputError, Problem
from simulator.experiment.estimates import mean_interval, paired_interval, quantile_interval
from simulator.experiment.journal import Journal
from simulator.experiment.replicate import BudgetSpentError, Runner
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


@dataclass(frozen=True)
class Options:
    """How a run is carried out.

    Parameters
    ----------
    days : int, optional
        Days per set; the scenario's by default. With a precision, the least number.
    seed : int, optional
        Seed; the scenario's by default.
    workers : int
        Processes.
    precision : float, optional
        Relative half-width of the 95 % interval at which every set stops.
    precise : {"mean", "p10", "difference"}
        What must be that precise: mean acres per day, the tenth percentile, or each paired difference (relative to the
        first set's mean).
    one_more_days : int
        Days that each change of one more is simulated; 0 leaves them out.
    scheduler : str, optional
        Address of a dask scheduler.
    budget_s : float, optional
        Time after which no more days are begun.
    journal : Path, optional
        File that keeps finished days; a run that finds its own there goes on from it.
    """

    days: int | None = None
    seed: int | None = None
    workers: int = 1
    precision: float | None = None
    precise: Literal["mean", "p10", "difference"] = "mean"
    one_more_days: int = ONE_MORE_DAYS
    scheduler: str | None = None
    budget_s: float | None = None
    journal: Path | None = None


def run(loaded: LoadedScenario, options: Options | None = None, report: Report | None = None, **named: Any) -> Result:
    """Simulate every equipment set of a scenario.

    Parameters
    ----------
    loaded : LoadedScenario
        The scenario.
    options : Options, optional
        How; or give its fields by name (``run(loaded, days=500, workers=2)``).
    report : callable, optional
        Progress.
    **named
        Fields of :class:`Options`.

    Returns
    -------
    Result
        When interrupted (Ctrl-C) or out of time, of the days that had finished, with ``stopped`` set.

    Raises
    ------
    InputError
        Physics refuses a set, or a number is out of range.
    KeyboardInterrupt
        Interrupted before two days of every set had finished.
    """
    chosen = replace(options or Options(), **named)
    wanted = loaded.base.days if chosen.days is None else chosen.days
    _check_numbers(wanted, chosen)
    seed = loaded.base.seed if chosen.seed is None else chosen.seed
    plans = make_plans(loaded)
    stopped = ""
    extra: list[tuple[OneMore, ...]] = [() for _ in plans]
    deadline_s = None
    if chosen.budget_s is not None:
        share = 0.65 if chosen.one_more_days >= 2 else 1.0
        deadline_s = time.monotonic() + share * chosen.budget_s
        wanted = MOST_DAYS if chosen.days is None else wanted
    journal = None
    if chosen.journal is not None:
        identity = {
            "digest": loaded.digest(),
            "seed": seed,
            "sets": [plan.name for plan in plans],
            "columns": list(COLUMNS),
        }
        journal = Journal(chosen.journal, {**identity, "version": __version__}, len(COLUMNS))
    try:
        with Runner(plans, seed, chosen.workers, journal, chosen.scheduler, deadline_s) as runner:
            try:
                stopped = _run_days(runner, wanted, chosen, report)
                if chosen.one_more_days >= 2:
                    extra = _run_one_more(loaded, runner, seed, chosen, report)
            except KeyboardInterrupt:
                if min(runner.tables.done(place) for place in range(len(plans))) < 2:
                    raise
                stopped = "interrupted; only the days that had finished are in the tables"
            tables = [runner.tables.table(place) for place in range(len(plans))]
    finally:
        if journal is not None:
            journal.close()
    sets = tuple(
        SetResult(plan.name, *table, changes, plan.scenario.product.kind == "liquid", plan.scenario.units)
        for plan, table, changes in zip(plans, tables, extra, strict=True)
    )
    left_out = {problem for entry in loaded.sets for problem in entry.fields.skipped if "skipped" in problem.message}
    told = dict.fromkeys(problem for entry in loaded.sets for problem in entry.notes)
    skipped = tuple(str(problem) for problem in told if problem in left_out)
    notes = tuple(str(problem) for problem in told if problem not in left_out)
    return Result(loaded.name, seed, sets, stopped, skipped, notes)


def _check_numbers(days: int, options: Options) -> None:
    problems = []
    for name, value in (("days", days), ("seed", options.seed or 0), ("workers", options.workers)):
        if isinstance(value, bool) or not isinstance(value, int):
            raise InputError.single(f"got {value!r}; allowed is a whole number", name)
    if not 2 <= days <= 10 * MOST_DAYS:
        problems.append(Problem("days", f"got {days}; allowed is 2 to {10 * MOST_DAYS} days"))
    if options.seed is not None and not 0 <= options.seed < 2**63:
        problems.append(Problem("seed", f"got {options.seed}; allowed is 0 to 2^63 - 1"))
    if not 1 <= options.workers <= 1024:
        problems.append(Problem("workers", f"got {options.workers}; allowed is 1 to 1024"))
    if options.precision is not None and not 0.0 < options.precision < 1.0:
        problems.append(Problem("precision", f"got {options.precision}; allowed is a share such as 0.01"))
    if options.budget_s is not None and not 1.0 <= options.budget_s <= 1e7:
        problems.append(Problem("budget", f"got {options.budget_s:g} s; allowed is at least 1 s"))
    if problems:
        raise InputError(problems)


def _run_days(runner: Runner, wanted: int, options: Options, report: Report | None) -> str:
    done, target = 0, wanted

    def progress(count: int) -> None:
        nonlocal done
        done += count
        if report is not None:
            report("days", done, target * len(runner.plans))

    try:
        if options.precision is None:
            runner.extend(0, wanted, progress)
            return ""
        first, last = 0, min(max(wanted, 10), MOST_DAYS) if options.budget_s is None else BLOCK_DAYS
        # look only where a block of replications ends, so that any number of workers stops at the same day
        while True:
            target = last
            runner.extend(first, last, progress)
            width = relative_width(runner, options.precise)
            if width <= options.precision:
                return ""
            if last >= MOST_DAYS:
                return f"the precision was not reached within {MOST_DAYS} days; it is {width:.2%}"
            needed = int(last * (width / options.precision) ** 2) if math.isfinite(width) else 4 * last
            step = min(max(needed - last, BLOCK_DAYS), 2 * last)
            first, last = last, min(MOST_DAYS, ((last + step) // BLOCK_DAYS + 1) * BLOCK_DAYS)
    except BudgetSpentError:
        fewest = min(runner.tables.done(place) for place in range(len(runner.plans)))
        width = relative_width(runner, options.precise)
        return f"the time was over after {fewest} days of every set; the {options.precise} is known to ± {width:.2%}"


def relative_width(runner: Runner, precise: str) -> float:
    """Return the largest relative half-width of 95 % intervals over all sets (or pairs) of what has been simulated."""
    acres = [runner.tables.table(place) for place in range(len(runner.plans))]
    column = COLUMNS.index("acres")
    widths = []
    if precise == "difference":
        whole = runner.tables.whole()
        first = acres[0][1][:whole, column]
        for _, rows in acres[1:]:
            pair = paired_interval(rows[:whole, column], first)
            widths.append((pair.half_width or math.inf) / abs(float(first.mean())) if first.mean() else 0.0)
    else:
        for _, rows in acres:
            values = rows[:, column]
            if precise == "p10":
                middle, low, high = quantile_interval(values, 0.1)
                half = math.inf if low is None or high is None else 0.5 * (high - low)
            else:
                interval = mean_interval(values)
                middle, half = interval.mean, math.inf if interval.half_width is None else interval.half_width
            widths.append(half / abs(middle) if middle else 0.0)
    return max(widths, default=0.0)


def _acres(runner: Runner, place: int) -> NDArray[np.float64]:
    _, rows = runner.tables.table(place)
    acres: NDArray[np.float64] = rows[:, COLUMNS.index("acres")]
    return acres


def _run_one_more(
    loaded: LoadedScenario, runner: Runner, seed: int, options: Options, report: Report | None
) -> list[tuple[OneMore, ...]]:
    """Simulate one more of each for every set, on the same streams."""
    days = min(options.one_more_days, runner.tables.whole())
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
    deadline_s = None if options.budget_s is None else time.monotonic() + 0.35 * options.budget_s
    with Runner(plans, seed, options.workers, None, options.scheduler, deadline_s) as other:
        with suppress(BudgetSpentError):
            other.extend(0, days, progress)
        for number, (place, variation) in enumerate(tried):
            both = min(other.tables.done(number), days)
            if both < 2:
                continue
            pair = paired_interval(_acres(other, number)[:both], _acres(runner, place)[:both])
            low, high = (pair.mean if bound is None else bound for bound in (pair.low, pair.high))
            changes[place].append(
                OneMore(variation.change, variation.resource, variation.setting, pair.mean, low, high, pair.n)
            )
    return [tuple(sorted(entries, key=lambda change: -change.acres_per_day)) for entries in changes]


def simulate_day(
    loaded: LoadedScenario, equipment_set: str | None = None, replication: int = 0, seed: int | None = None
) -> SimulatedDay:
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
    if isinstance(replication, bool) or not isinstance(replication, int) or replication < 0:
        raise InputError.single(f"got {replication!r}; allowed is a whole number of at least 0", "replication")
    bank = StreamBank(loaded.base.seed if seed is None else seed)
    return simulate_replication(make_plan(entry), bank, replication)


def settings_of(pairs: Iterable[tuple[str, object]]) -> list[str]:
    """Write (key, value) pairs as ``KEY=VALUE`` settings."""
    return [f"{key}={value}" for key, value in pairs]
