"""The search of a sizing: screen all combinations, show which reach the target, choose the cheapest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from simulator.experiment.estimates import Interval, mean_interval, student_quantile
from simulator.experiment.selection import Selection, select_best
from simulator.plan.day_plan import DayPlan
from simulator.scenario.loading import EquipmentSet
from simulator.scenario.schema_costs import Costs
from simulator.scenario.streams import BLOCK_RUNS
from simulator.study.cases import ACRES, CaseRuns, FloatArray
from simulator.study.day_money import ledger_of, season_money
from simulator.study.money import demand_acres, pieces_of
from simulator.study.target import Target, Verdict

SCREEN_RUNS = 20
"""Runs of the cheap screen."""
MOST_RUNS = 4000
"""Runs of one set at which an undecided comparison is given up."""
_BATCH = 8


@dataclass
class Candidate:
    """One combination of the choices; without runs it has no verdict and no cost."""

    document: ClassVar = ("settings", "status", "runs", "reached", "chance", "cost")
    number: int
    settings: tuple[str, ...]
    entry: EquipmentSet = field(repr=False)
    plan: DayPlan = field(repr=False)
    rows: FloatArray = field(default_factory=lambda: np.empty((0, 0)), repr=False)
    verdict: Verdict | None = None
    cost: Interval | None = None
    status: str = ""

    @property
    def runs(self) -> int:
        """Runs simulated."""
        return len(self.rows)

    @property
    def reached(self) -> float | None:
        """What is passed in the share of cases asked for."""
        return None if self.verdict is None else self.verdict.reached

    @property
    def mean_acres(self) -> float | None:
        """Mean acres a day."""
        return float(self.rows[:, ACRES].mean()) if self.runs else None

    @property
    def chance(self) -> float | None:
        """Estimated chance to reach the target."""
        return None if self.verdict is None else self.verdict.chance

    @property
    def mean_cost(self) -> float:
        """Mean of the cost; infinity when it is not known."""
        return np.inf if self.cost is None else self.cost.mean

    @property
    def label(self) -> str:
        """The choices by the last part of their keys, or the last two where these are alike."""
        split = [text.partition("=") for text in self.settings]
        parts = [key.split(".") for key, _, _ in split]
        last = 1 if len({one[-1] for one in parts}) == len(parts) else 2
        return ", ".join(f"{'.'.join(key[-last:])}={value}" for key, (_, _, value) in zip(parts, split, strict=True))


@dataclass
class Search:
    """Screen, certify, choose."""

    candidates: list[Candidate]
    target: Target
    costs: Costs
    confidence: float
    runs: int
    simulated: CaseRuns

    @property
    def error(self) -> float:
        """Probability of one wrong statement: shared out, so that all hold together (Bonferroni)."""
        return (1.0 - self.confidence) / max(1, len(self.candidates))

    def _simulate(self, group: Sequence[Candidate], last: int, stage: str) -> None:
        """Simulate the sets of a group up to replication ``last``; every set keeps its own first replications."""
        self.simulated.stage = stage
        self.simulated.extend(last, [one.number for one in group])
        for one in group:
            one.rows = self.simulated.rows(one.number)
            one.verdict = self.target.judge(one.rows, self.error)
            one.cost = mean_interval(self.values(one))
            one.status = "misses" if one.verdict.hopeless else ("good" if one.verdict.sure else "undecided")

    def values(self, one: Candidate) -> FloatArray:
        """Return the cost of the target as told by each run."""
        ledger = ledger_of(one.rows, one.entry.scenario, self.costs)
        days, kind, acres = self.costs.season_days, self.target.kind, self.target.acres
        demand = {"season": acres, "day": acres * days}.get(kind, demand_acres(self.costs))
        money = season_money(ledger.mean(axis=0), self.costs, pieces_of(one.entry.scenario), days, demand)
        # a job bears the part of a season's upkeep and capital that its acres are of the season's
        part = acres / float(money.acres) if kind == "job" and money.acres > 0 else 1.0
        return self.target.cost(ledger, self.costs, float(money.upkeep + money.capital) * part)

    def screen(self) -> None:
        """Simulate every set a little."""
        self._simulate(self.candidates, min(SCREEN_RUNS, self.runs), "screening")

    def certify(self) -> list[Candidate]:
        """Simulate the sets that may be the choice until it is shown which reach the target; return those that do."""
        possible = (one for one in self.candidates if one.status != "misses")
        waiting = sorted(possible, key=lambda one: (one.mean_cost, one.number))
        good: list[Candidate] = []
        while waiting:
            group, waiting = waiting[:_BATCH], waiting[_BATCH:]
            self._simulate(group, self.runs, "which sets reach it")
            good += [one for one in group if one.status == "good"]
            if good:
                cheapest = min(good, key=lambda one: one.mean_cost)
                for one in [one for one in waiting if self._dearer(one, cheapest)]:
                    one.status = "dearer"
                    waiting.remove(one)
        return good

    def _dearer(self, one: Candidate, than: Candidate) -> bool:
        """Tell whether a set surely costs more than another, on the runs that both have."""
        n = min(one.runs, than.runs)
        gap = self.values(one)[:n] - self.values(than)[:n]
        margin = student_quantile(1.0 - self.error, n - 1) * float(gap.std(ddof=1)) / np.sqrt(n)
        return bool(gap.mean() > margin)

    def choose(self, good: list[Candidate], indifference: float) -> tuple[Selection | None, Candidate]:
        """Return the cheapest of the sets that reach the target."""
        if len(good) == 1:
            return None, good[0]
        stock = [self.values(one) for one in good]

        def sample(system: int, replication: int) -> float:
            one, known = good[system], stock[system]
            if replication >= len(known):
                self._simulate([one], one.runs + BLOCK_RUNS, "which is cheapest")
                # earlier values stay as they were handed out, so that the procedure sees one sample
                stock[system] = known = np.concatenate([known, self.values(one)[len(known) :]])
            return float(known[replication])

        selection = select_best(
            sample, len(good), indifference, self.confidence, first_stage=min(20, self.runs), larger_is_better=False,
            most_replications=MOST_RUNS,
        )  # fmt: skip
        return selection, good[selection.best]
