"""Running a scenario: all sets, as many runs as asked or as the precision needs, and the worth of one more of each."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.bottleneck import OneMore
from simulator.analysis.resources import resources
from simulator.analysis.summary import columns, place_of
from simulator.analysis.variations import Variation
from simulator.errors import InputError, Problem
from simulator.experiment.cluster import Certificates
from simulator.experiment.deciding import FIRST_RUNS, decided, in_the_race, looks
from simulator.experiment.engine import digest
from simulator.experiment.estimates import mean_interval, paired_interval, quantile_interval
from simulator.experiment.one_more import added, best_first, offered
from simulator.experiment.replicate import BudgetSpentError, Runner
from simulator.experiment.result import Result
from simulator.experiment.run_store import Rows, RunStore
from simulator.experiment.set_result import SetResult
from simulator.experiment.tables import StoredRows, Tables
from simulator.operation.day import SimulatedDay
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.plan.reach import unreached_fields
from simulator.scenario.loading import LoadedScenario
from simulator.scenario.streams import BLOCK_RUNS, StreamBank
from simulator.scenario.units import M2_PER_ACRE, area_unit
from simulator.version import __version__

MOST_RUNS = 1_000_000
"""Runs at which simulating for a precision gives up."""
ONE_MORE_RUNS = 20
"""Runs that each change of one more is simulated, unless asked otherwise."""

Report = Callable[[str, int, int], None]
"""Called with what is being done (and, behind a semicolon, what is known so far), runs done, and runs to do."""
Watch = Callable[[Callable[[], Result | None]], None]
"""Called after every piece of work with what gives the result so far, None before every set has two runs."""


def make_plans(loaded: LoadedScenario) -> list[DayPlan]:
    """Return the plan of every equipment set."""
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
    """How runs are carried out.

    Parameters
    ----------
    runs : int, optional
        Runs per set. By default at most the scenario's: simulating ends earlier when it is decided (see
        :mod:`simulator.experiment.deciding`). With a precision, the least number.
    seed : int, optional
        Seed; the scenario's by default.
    workers : int
        Processes.
    precision : float, optional
        Relative half-width of the 95 % interval at which every set stops.
    precise : {"mean", "p10", "difference"}
        What must be that precise: mean acres per day, the tenth percentile, or each paired difference (relative to the
        first set's mean).
    one_more_runs : int
        Runs of each change of one more, at most: those that can no longer matter are simulated less; 0 leaves them out.
    scheduler : str, optional
        Address of a dask scheduler.
    certificates : Certificates, optional
        For a scheduler at ``tls://``.
    budget_s : float, optional
        Time after which no more runs are begun.
    store : Path or RunStore, optional
        Database that keeps finished runs; what it holds of this scenario is gone on from. An open one (see
        :func:`open_store`) stays open, so that no other command comes in until its maker closes it.
    """

    runs: int | None = None
    seed: int | None = None
    workers: int = 1
    precision: float | None = None
    precise: Literal["mean", "p10", "difference"] = "mean"
    one_more_runs: int = ONE_MORE_RUNS
    scheduler: str | None = None
    budget_s: float | None = None
    store: Path | RunStore | None = None
    certificates: Certificates | None = None


def run(
    loaded: LoadedScenario,
    options: Options | None = None,
    report: Report | None = None,
    watch: Watch | None = None,
    **named: Any,
) -> Result:
    """Simulate every equipment set of a scenario.

    Parameters
    ----------
    loaded : LoadedScenario
        The scenario.
    options : Options, optional
        How; or give its fields by name (``run(loaded, runs=500, workers=2)``).
    report : callable, optional
        Progress.
    watch : callable, optional
        Looks at the result so far while the sets are simulated; it changes nothing.
    **named
        Fields of :class:`Options`.

    Returns
    -------
    Result
        When interrupted (Ctrl-C) or out of time, of the runs that had finished, with ``stopped`` set.

    Raises
    ------
    InputError
        Physics refuses a set, or a number is out of range.
    KeyboardInterrupt
        Interrupted before two runs of every set had finished.
    """
    chosen = replace(options or Options(), **named)
    begun_s = time.monotonic()
    wanted = loaded.base.runs if chosen.runs is None else chosen.runs
    _check_numbers(wanted, chosen)
    seed = loaded.base.seed if chosen.seed is None else chosen.seed
    plans = make_plans(loaded)
    tried = [
        (place, variation, replace(plan, tried=True))
        for place, entry in enumerate(loaded.sets if chosen.one_more_runs >= 2 else ())
        for variation, _, plan in offered(loaded, entry)
    ]
    stopped, last = "", None
    extra: list[tuple[OneMore, ...]] = [() for _ in plans]
    deadline_s = None
    if chosen.budget_s is not None:
        deadline_s = begun_s + (0.65 if tried else 1.0) * chosen.budget_s
        wanted = MOST_RUNS if chosen.runs is None else wanted
    store = open_store(loaded, chosen.store, seed) if isinstance(chosen.store, Path) else chosen.store
    everything = [*plans, *(plan for _, _, plan in tried)]
    try:
        with Runner(
            everything, seed, chosen.workers, store, chosen.scheduler, deadline_s, chosen.certificates
        ) as runner:
            sets = tuple(range(len(plans)))
            resumed = _resumed(runner)

            def look() -> Result | None:
                if min(runner.tables.done(place) for place in sets) < 2:
                    return None
                return _result(loaded, plans, seed, [runner.tables.stored(place, None) for place in sets], extra)

            try:
                stopped, last = _run_sets(runner, sets, wanted, chosen, report, watch and partial(watch, look))
                if watch is not None:
                    watch(look)
                if tried:
                    runs = min(chosen.one_more_runs, runner.tables.whole(sets, last))
                    extra = _run_one_more(runner, tried, len(sets), runs, chosen.budget_s, report)
            except KeyboardInterrupt:
                if min(runner.tables.done(place) for place in sets) < 2:
                    raise
                stopped = "interrupted; only the runs that had finished are in the tables"
            # an earlier command may have left runs beyond those that this one asks for
            tables = [runner.tables.stored(place, last) for place in sets]
            used = sum(len(rows) for _, rows in tables) + sum(one.runs for changes in extra for one in changes)
            beyond = runner.tables.store.count - used
    finally:
        if store is not None and store is not chosen.store:
            store.close()
    return replace(_result(loaded, plans, seed, tables, extra), stopped=stopped, resumed=resumed, beyond=beyond)


def _result(
    loaded: LoadedScenario,
    plans: Sequence[DayPlan],
    seed: int,
    tables: Sequence[tuple[NDArray[np.int64], StoredRows]],
    extra: Sequence[tuple[OneMore, ...]],
) -> Result:
    results = tuple(
        SetResult(plan.name, *table, plan.scenario, changes, plan.list_m2 / M2_PER_ACRE, unreached_fields(plan))
        for plan, table, changes in zip(plans, tables, extra, strict=True)
    )
    left_out = {problem for entry in loaded.sets for problem in entry.fields.skipped if "skipped" in problem.message}
    told = dict.fromkeys(problem for entry in loaded.sets for problem in entry.notes)
    skipped = tuple(str(problem) for problem in told if problem in left_out)
    notes = tuple(str(problem) for problem in told if problem not in left_out)
    return Result(loaded.name, seed, results, "", skipped, notes)


def open_store(loaded: LoadedScenario, path: Path, seed: int | None = None, fresh: bool = False) -> RunStore:
    """Open the database that keeps finished runs of a scenario, for this process alone."""
    identity = {
        "digest": loaded.digest(),
        "seed": loaded.base.seed if seed is None else seed,
        "sets": [entry.name for entry in loaded.sets],
        "columns": list(columns()),
        "version": __version__,
        "model": digest(),
    }
    return RunStore(len(columns()), path, json.dumps(identity, sort_keys=True), fresh)


def _resumed(runner: Runner) -> str:
    """Return what was found of an unfinished result, in words."""
    store = runner.tables.store
    found = [f"{runner.resumed} runs were finished before"] if runner.resumed else []
    if store.mended:
        found.append("its database was damaged, and what could be read is kept")
    if store.spoilt:
        found.append(f"{store.spoilt} {'run was' if store.spoilt == 1 else 'runs were'} spoilt and left out")
    return "; ".join(found)


def _check_numbers(runs: int, options: Options) -> None:
    problems = []
    for name, value in (("runs", runs), ("seed", options.seed or 0), ("workers", options.workers)):
        if isinstance(value, bool) or not isinstance(value, int):
            raise InputError.single(f"got {value!r}; allowed is a whole number", name)
    if not 2 <= runs <= 10 * MOST_RUNS:
        problems.append(Problem("runs", f"got {runs}; allowed is 2 to {10 * MOST_RUNS} runs"))
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


def _run_sets(
    runner: Runner,
    sets: Sequence[int],
    wanted: int,
    options: Options,
    report: Report | None,
    look: Callable[[], None] | None,
) -> tuple[str, int | None]:
    """Simulate all sets; return why it ended early, and before which replication all is done (None: out of time)."""
    done, target = 0, wanted

    def progress(count: int) -> None:
        nonlocal done
        done += count
        if report is not None:
            report(f"runs{_so_far(runner, sets)}", done, target * len(sets))
        if look is not None:
            look()

    def width_before(last: int | None) -> float:
        of = _full_days if options.precise == "p10" else Tables.acres
        acres = [of(runner.tables, place, last) for place in sets]
        return relative_width(acres, options.precise, runner.tables.whole(sets, last))

    try:
        if options.precision is None:
            if options.runs is not None or options.budget_s is not None:
                runner.extend(0, wanted, progress, sets)
                return "", wanted
            # as many as the scenario allows, or as decide it
            times = looks(wanted)
            for first, target in pairwise([0, *times]):
                runner.extend(first, target, progress, sets)
                acres = [runner.tables.acres(place, target) for place in sets]
                if target < wanted and decided(acres, len(times) - 1):
                    break
            return "", target
        first, last = 0, min(max(wanted, 10), MOST_RUNS) if options.budget_s is None else BLOCK_RUNS
        # look only where a block of replications ends, so that any number of workers stops at the same run
        while True:
            target = last
            runner.extend(first, last, progress, sets)
            width = width_before(last)
            if width <= options.precision:
                return "", last
            if last >= MOST_RUNS:
                return f"the precision was not reached within {MOST_RUNS} runs; it is {width:.2%}", last
            needed = int(last * (width / options.precision) ** 2) if math.isfinite(width) else 4 * last
            step = min(max(needed - last, BLOCK_RUNS), 2 * last)
            first, last = last, min(MOST_RUNS, ((last + step) // BLOCK_RUNS + 1) * BLOCK_RUNS)
    except BudgetSpentError:
        fewest = min(runner.tables.done(place) for place in sets)
        reached = f"the {options.precise} is known to ± {width_before(None):.2%}"
        return f"the time was over after {fewest} runs of every set; {reached}", None


def _so_far(runner: Runner, sets: Sequence[int]) -> str:
    """Return the means known so far, in words behind a semicolon; empty before every set has one."""
    known = [(runner.plans[place], runner.tables.acres(place)) for place in sets]
    if not all(len(acres) for _, acres in known):
        return ""
    unit = area_unit(known[0][0].scenario.units)
    means = [f"{plan.scenario.label or plan.name} {acres.mean() / unit.acres:.0f}" for plan, acres in known]
    return f"; {', '.join(means)} {unit.name} a day so far"


def _full_days(tables: Tables, place: int, last: int | None) -> Rows:
    """Return acres of single full work days, one of each run; of runs where they have none."""
    acres = tables.stored(place, last)[1].column(place_of("full_day_acres"))
    known: Rows = acres[np.isfinite(acres)]
    return known if len(known) > 1 else tables.acres(place, last)


def relative_width(acres: Sequence[Rows], precise: str, whole: int) -> float:
    """Return the largest relative half-width of 95 % intervals over all sets, or over all pairs with the first.

    ``whole`` runs of every set, without a gap, make the pairs.
    """
    widths = []
    if precise == "difference":
        first = acres[0][:whole]
        for values in acres[1:]:
            pair = paired_interval(values[:whole], first)
            half = math.inf if pair.half_width is None else pair.half_width
            widths.append(half / abs(float(first.mean())) if first.mean() else 0.0)
    else:
        for values in acres:
            if precise == "p10":
                middle, low, high = quantile_interval(values, 0.1)
                half = math.inf if low is None or high is None else 0.5 * (high - low)
            else:
                interval = mean_interval(values)
                middle, half = interval.mean, math.inf if interval.half_width is None else interval.half_width
            widths.append(half / abs(middle) if middle else 0.0)
    return max(widths, default=0.0)


_Tried = tuple[int, Variation, DayPlan]
"""The place of a set, a change tried on it, and its plan."""


def _run_one_more(
    runner: Runner, tried: Sequence[_Tried], sets: int, runs: int, budget_s: float | None, report: Report | None
) -> list[tuple[OneMore, ...]]:
    """Simulate one more of each for every set, on the same streams; their plans stand after those of the sets."""
    done, racing, target = 0, list(range(sets, sets + len(tried))), 0

    def progress(count: int) -> None:
        nonlocal done
        done += count
        if report is not None:
            report("one more of each", done, target)

    changes: list[list[OneMore]] = [[] for _ in range(sets)]
    if budget_s is not None:
        runner.deadline_s = time.monotonic() + 0.35 * budget_s
    with suppress(BudgetSpentError):
        for first, last in pairwise([0, *([FIRST_RUNS] if runs > FIRST_RUNS else []), runs]):
            target += (last - first) * len(racing)
            runner.extend(first, last, progress, racing)
            racing = _still_racing(runner, tried, sets, last)
    for number, (place, variation, _) in enumerate(tried, sets):
        both = runner.tables.whole([number], runs)
        if both >= 2:
            acres = runner.tables.acres
            changes[place].append(added(variation, acres(number)[:both], acres(place)))
    return [best_first(entries) for entries in changes]


def _still_racing(runner: Runner, tried: Sequence[_Tried], sets: int, runs: int) -> list[int]:
    """Return the plans of changes that further runs may still rank."""
    left = []
    last_resort = {one.name for one in resources() if one.last_resort}
    for place in range(sets):
        numbers = [number for number, one in enumerate(tried, sets) if one[0] == place]
        numbers = [number for number in numbers if runner.tables.whole([number]) >= runs]
        if numbers:
            changed = [runner.tables.acres(number)[:runs] for number in numbers]
            resort = [tried[number - sets][1].resource in last_resort for number in numbers]
            still = in_the_race(changed, runner.tables.acres(place)[:runs], resort)
            left += [numbers[one] for one in still]
    return left


def simulate_day(
    loaded: LoadedScenario,
    equipment_set: str | None = None,
    run: int = 0,
    work_day: int = 1,
    seed: int | None = None,
) -> SimulatedDay:
    """Simulate one work day of a run and keep its whole log.

    Parameters
    ----------
    loaded : LoadedScenario
        The scenario.
    equipment_set : str, optional
        Set; the first by default.
    run : int
        Which run, from 0.
    work_day : int
        Which of its work days, from 1.
    seed : int, optional
        Seed; the scenario's by default.

    Raises
    ------
    InputError
        The run has no such work day.
    """
    from simulator.experiment.runs import simulate_replication

    entry = loaded.sets[0] if equipment_set is None else loaded.equipment_set(equipment_set)
    if isinstance(run, bool) or not isinstance(run, int) or run < 0:
        raise InputError.single(f"got {run!r}; allowed is a whole number of at least 0", "run")
    bank = StreamBank(loaded.base.seed if seed is None else seed)
    return simulate_replication(make_plan(entry), bank, run, work_day)
