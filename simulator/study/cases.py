"""The runs behind a study: many cases simulated on the same random streams, extended where more runs are needed."""

from __future__ import annotations

import weakref
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from simulator.analysis.bottleneck import Bottleneck, OneMore
from simulator.analysis.summary import columns, place_of
from simulator.analysis.variations import Variation
from simulator.experiment.one_more import Offer, added, best_first, offered
from simulator.experiment.replicate import Runner
from simulator.experiment.set_result import SetResult
from simulator.plan.day_plan import DayPlan
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.study.trial import ACRES, FloatArray, Report, checked_seed

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

    def finish(self, runs: int, what: str) -> str:
        """Simulate so many runs of all cases; return why it ended early, empty when it did not."""
        try:
            self.extend(runs)
        except KeyboardInterrupt:
            return f"interrupted; only the {what} that had finished are in the table"
        return ""

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


@dataclass(frozen=True)
class Look:
    """One more of each of a set: the changes with the sets and plans that they make, their runs, what holds it back."""

    found: tuple[Offer, ...]
    tables: list[FloatArray]
    hold: Bottleneck

    @property
    def variations(self) -> list[Variation]:
        """The changes alone."""
        return [variation for variation, _, _ in self.found]


@dataclass(frozen=True)
class Trials:
    """What a study simulates with: a scenario, its seed, processes, and who is told of progress."""

    loaded: LoadedScenario
    seed: int
    workers: int = 1
    report: Report | None = None

    @classmethod
    def of(cls, loaded: LoadedScenario, seed: int | None, workers: int, report: Report | None) -> Trials:
        """Return the trials of a study; without a seed the scenario's, and numbers out of range are refused."""
        return cls(loaded, checked_seed(loaded, seed, workers), workers, report)

    def cases(self, plans: Sequence[DayPlan], stage: str = "runs") -> CaseRuns:
        """Return the runs of cases, none of which is simulated yet."""
        return CaseRuns(plans, self.seed, self.workers, self.report, stage)

    def simulate(self, plans: Sequence[DayPlan], runs: int, stage: str = "runs") -> list[FloatArray]:
        """Return the same runs of several sets, a table each, of shape (runs, len(columns())).

        After Ctrl-C these are the runs that every set has finished; with fewer than ten it is raised on.
        """
        simulated = self.cases(plans, stage)
        cases = range(len(plans))
        try:
            simulated.extend(runs)
        except KeyboardInterrupt:
            if min(map(simulated.runs, cases)) < 10:
                raise
        shared = min(map(simulated.runs, cases), default=0)
        return [simulated.rows(case)[:shared] for case in cases]

    def look(self, entry: EquipmentSet, rows: FloatArray, runs: int) -> Look:
        """Try one more of each on the first runs of a set, where there are enough, and judge what holds it back."""
        found = tuple(offered(self.loaded, entry)) if runs >= 10 else ()
        tables = self.simulate([plan for _, _, plan in found], min(runs, len(rows)), "one more of each")
        changes = [
            added(variation, table[:, ACRES], rows[:, ACRES])
            for (variation, _, _), table in zip(found, tables, strict=True)
        ]
        return Look(found, tables, judged(entry, rows, best_first(changes)))


def judged(entry: EquipmentSet, rows: FloatArray, changes: tuple[OneMore, ...] = ()) -> Bottleneck:
    """Return what holds a set back."""
    return SetResult(entry.name, np.arange(len(rows), dtype=np.int64), rows, entry.scenario, changes).bottleneck()
