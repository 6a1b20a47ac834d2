"""The engine of every study: sets checked, planned and simulated on the same random streams, so that any two pair."""

from __future__ import annotations

import weakref
from collections.abc import Callable, Iterable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.bottleneck import Bottleneck, OneMore
from simulator.analysis.summary import MEASURES, columns, place_of
from simulator.analysis.variations import Variation
from simulator.errors import InputError
from simulator.experiment.one_more import Offer, added, best_first, offered
from simulator.experiment.replicate import Runner
from simulator.experiment.set_result import SetResult
from simulator.plan.day_plan import DayPlan
from simulator.scenario.field_list import field_list
from simulator.scenario.files import ScenarioFolder
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary

FloatArray = NDArray[np.float64]
Report = Callable[[str, int, int], None]
ACRES = MEASURES.index("acres")
PLANS_AT_ONCE = 256
"""Plans that a pool of workers holds at a time, so that memory does not grow with the size of a design."""
MOST_CASE_RUNS = 5_000_000
"""A study that would simulate more runs than this is refused: a mistyped number, not a question."""


def check_runs(runs: int, cases: int = 1, where: str = "runs", least: int = 10) -> None:
    """Refuse a number of runs that gives no interval, or a study of unreasonable size."""
    most = min(1_000_000, MOST_CASE_RUNS // max(1, cases))
    if not least <= runs <= most:
        raise InputError.single(f"got {runs}; allowed is {least} to {most} runs for each of {cases} cases", where)


def one_set(loaded: LoadedScenario, name: str | None) -> EquipmentSet:
    """Return a set by name, or the first."""
    return loaded.sets[0] if name is None else loaded.equipment_set(name)


def sets_of(loaded: LoadedScenario, names: Iterable[str]) -> list[EquipmentSet]:
    """Return sets by name, each once, or all."""
    return [loaded.equipment_set(name) for name in dict.fromkeys(names)] or list(loaded.sets)


def changed_set(
    equipment: EquipmentSet, settings: Iterable[str], folder: ScenarioFolder, name: str | None = None
) -> EquipmentSet:
    """Return an equipment set with values changed, its field list read anew where the change concerns it."""
    texts = list(settings)
    entry = vary(equipment, texts, folder, name)
    if any(text.split("=", 1)[0].split(".", 1)[0].strip() in ("field", "field_file", "yard") for text in texts):
        return replace(entry, fields=field_list(entry.scenario, folder))
    return entry


class CaseRuns:
    """Runs of many cases, always replications 0 to n - 1 of each, so that any two cases are pairs."""

    def __init__(
        self, plans: Sequence[DayPlan], seed: int, workers: int = 1, report: Report | None = None, stage: str = "runs"
    ) -> None:
        self.plans, self.seed, self.workers = list(plans), seed, workers
        self._report, self.stage = report, stage
        self._rows: list[FloatArray] = [np.empty((0, len(columns()))) for _ in plans]
        self._pool: Runner | None = None

    def runs(self, case: int) -> int:
        """Return how many runs of a case are finished."""
        return len(self._rows[case])

    def column(self, case: int, name: str) -> FloatArray:
        """Return one measure of a case, a value a run."""
        return np.asarray(self._rows[case][:, place_of(name)])

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
        total, done = sum(last - self.runs(case) for case in wanted), 0

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
                self._simulate(together[start : start + PLANS_AT_ONCE], first, last, progress)

    def _simulate(self, cases: Sequence[int], first: int, last: int, progress: Callable[[int], None]) -> None:
        shared = self.workers > 1 and len(self.plans) <= PLANS_AT_ONCE
        if shared and self._pool is None:
            # its processes are started once, and end with this object
            self._pool = Runner(self.plans, self.seed, self.workers).__enter__()
            weakref.finalize(self, self._pool.__exit__)
        places = cases if shared else range(len(cases))
        own = [] if shared else [self.plans[case] for case in cases]
        with nullcontext(self._pool) if self._pool else Runner(own, self.seed, self.workers) as runner:
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
        if not 1 <= workers <= 1024:
            raise InputError.single(f"got {workers}; allowed is 1 to 1024", "workers")
        used = loaded.base.seed if seed is None else seed
        if not 0 <= used < 2**63:
            raise InputError.single(f"got {seed}; allowed is 0 to {2**63 - 1}", "seed")
        return cls(loaded, used, workers, report)

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
