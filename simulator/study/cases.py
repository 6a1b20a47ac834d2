"""The runs behind a study: many cases simulated on the same random streams, extended where more runs are needed."""

from __future__ import annotations

import weakref
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import columns, place_of
from simulator.experiment.replicate import Runner
from simulator.plan.day_plan import DayPlan
from simulator.study.trial import Report

FloatArray = NDArray[np.float64]

PLANS_AT_ONCE = 256
"""Plans that a pool of workers holds at a time, so that memory does not grow with the size of a design."""


class CaseRuns:
    """Runs of many cases, always replications 0 to n - 1 of each, so that any two cases are pairs."""

    def __init__(
        self, plans: Sequence[DayPlan], seed: int, workers: int = 1, report: Report | None = None, stage: str = "runs"
    ) -> None:
        self.plans, self.seed, self.workers = list(plans), seed, workers
        self._report, self.stage = report, stage
        self._rows: list[FloatArray] = [np.empty((0, len(columns()))) for _ in plans]
        self._kept: Runner | None = None

    def runs(self, case: int) -> int:
        """Return how many runs of a case are finished."""
        return len(self._rows[case])

    def column(self, case: int, name: str) -> FloatArray:
        """Return one measure of a case, a value a run."""
        values: FloatArray = self._rows[case][:, place_of(name)]
        return values

    def rows(self, case: int) -> FloatArray:
        """Return all measures of a case, shape (runs, len(columns()))."""
        return self._rows[case]

    def extend(self, last: int, cases: Iterable[int] | None = None) -> None:
        """Simulate until each of the cases has ``last`` runs; what has finished is kept when interrupted."""
        wanted = [case for case in (range(len(self.plans)) if cases is None else cases) if self.runs(case) < last]
        total = sum(last - self.runs(case) for case in wanted)
        done = 0

        def progress(count: int) -> None:
            nonlocal done
            done += count
            if self._report is not None:
                self._report(self.stage, done, total)

        by_first: dict[int, list[int]] = {}
        for case in wanted:
            by_first.setdefault(self.runs(case), []).append(case)
        for first, together in sorted(by_first.items()):
            for start in range(0, len(together), PLANS_AT_ONCE):
                self._run(together[start : start + PLANS_AT_ONCE], first, last, progress)

    def _run(self, cases: Sequence[int], first: int, last: int, progress: Callable[[int], None]) -> None:
        if self.workers > 1 and len(self.plans) <= PLANS_AT_ONCE:
            self._extend(self._pool(), cases, cases, first, last, progress)
        else:
            with Runner([self.plans[case] for case in cases], self.seed, self.workers) as runner:
                self._extend(runner, cases, range(len(cases)), first, last, progress)

    def _pool(self) -> Runner:
        """Return what simulates all cases: its processes are started once, and end with this object."""
        if self._kept is None:
            self._kept = Runner(self.plans, self.seed, self.workers).__enter__()
            weakref.finalize(self, self._kept.__exit__)
        return self._kept

    def _extend(
        self,
        runner: Runner,
        cases: Sequence[int],
        places: Sequence[int],
        first: int,
        last: int,
        progress: Callable[[int], None],
    ) -> None:
        """Simulate cases that stand at these places in a runner, and keep their runs."""
        try:
            runner.extend(first, last, progress, places)
        finally:
            for place, case in zip(places, cases, strict=True):
                numbers, rows = runner.tables.table(place)
                numbers, rows = numbers[numbers >= first], rows[numbers >= first]
                # an interrupted pool may leave gaps; a case keeps the runs before the first gap
                whole = int(np.sum(numbers == first + np.arange(len(numbers))))
                self._rows[case] = np.vstack([self._rows[case], rows[:whole]])


def simulate_sets(
    plans: Sequence[DayPlan], seed: int, runs: int, workers: int = 1, report: Report | None = None, stage: str = "runs"
) -> list[FloatArray]:
    """Return the same runs of several sets, a table each, of shape (runs, len(columns())).

    After Ctrl-C these are the runs that every set has finished; with fewer than ten it is raised on.
    """
    simulated = CaseRuns(plans, seed, workers, report, stage)
    cases = range(len(plans))
    try:
        simulated.extend(runs)
    except KeyboardInterrupt:
        if min(map(simulated.runs, cases)) < 10:
            raise
    shared = min(map(simulated.runs, cases))
    return [simulated.rows(case)[:shared] for case in cases]
