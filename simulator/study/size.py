"""What size: the equipment set of least cost that reaches a target, over given choices.

Selection: Kim & Nelson (2001, ACM TOMACS 11:251-273) with common random numbers, after a screen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.errors import InputError, Problem
from simulator.experiment.document import as_json
from simulator.experiment.selection import Selection
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import M2_PER_ACRE, area_unit
from simulator.study.answer import Answer, attributes, frame, shown
from simulator.study.cases import Report, Trials, changed_set, check_runs, one_set
from simulator.study.money import need_costs, need_prices, pieces_of
from simulator.study.reading import combinations
from simulator.study.size_search import Candidate, Search
from simulator.study.target import DailyTarget, JobTarget, SeasonTarget, Target
from simulator.study.words import interval_text, money_range, money_text, number_text

if TYPE_CHECKING:
    import pandas as pd


_STATUS = {
    "good": "shown to reach the target",
    "undecided": "neither shown to reach it nor shown to miss it, so its cost may be that of runs that fall short",
    "misses": "shown to miss it",
    "dearer": "surely costs more than a good one, so it was simulated no further",
}
"""What the marks of the table mean."""
_SHOWN = 15
"""Sets in the table for people."""


@dataclass(frozen=True)
class Size(Answer):
    """The set of least cost that reaches a target; None where none is shown to, or fewer than two were left."""

    study = "size"
    files = ("size.csv=table",)
    document = (
        "equipment_set=set_name", "sentence", "guarantee", "legend", "target=aim", "currency", "indifference",
        "confidence", "best", "selection=picked", "near_misses", "frontier", "candidates", "refused=invalid", "stopped",
    )  # fmt: skip

    set_name: str
    target: Target
    candidates: tuple[Candidate, ...]
    refused: tuple[tuple[str, str], ...]
    """Combinations that are no valid set, and why."""
    best: Candidate | None
    selection: Selection | None
    indifference: float
    confidence: float
    costs: Costs = field(kw_only=True)

    def _sentences(self) -> list[str]:
        aim = self.target.words(self.unit)
        if self.best is not None:
            costs = f"it costs {self._cost(self.best)}, wages included"
            return [f"The cheapest set shown to {aim} is {self.best.label}: {costs}."]
        near = "".join(f"; nearest is {one.label} with {self._reached(one)}" for one in self.near_misses[:1])
        return [f"None of the {len(self.candidates)} sets tried is shown to {aim}{near}."]

    def _cost(self, one: Candidate) -> str:
        return f"{money_range(one.cost, self.currency) if one.cost else '–'} {self.target.cost_of}"

    def _reached(self, one: Candidate) -> str:
        return "–" if one.reached is None else self.target.shown(one.reached, self.unit)

    @property
    def guarantee(self) -> str:
        """What is guaranteed, in a sentence."""
        if self.best is None:
            return "No set is chosen, so nothing is guaranteed."
        sure, delta = f"{100 * self.confidence:.0f} %", money_text(self.indifference, self.currency)
        first = f"With {sure} confidence every set called good reaches the target {self.target.floor(self.unit)}"
        if self.selection is not None and not self.selection.decided:
            left, runs = len(self.selection.survivors), max(self.selection.replications)
            return (
                f"{first}; the cost of {left} of them is too nearly the same to tell which is cheapest in {runs:,} "
                f"runs each: the choice has the lowest mean, and a --indifference above {delta} decides sooner."
            )
        cheaper = f"none of them is cheaper than the choice by more than {delta} {self.target.cost_of}"
        return f"{first}, and with {sure} confidence {cheaper}."

    @property
    def open_question(self) -> list[str]:
        """What more runs may settle, where something cheaper is open."""
        limit = np.inf if self.best is None else self.best.mean_cost
        count = sum(one.status == "undecided" and one.mean_cost < limit for one in self.candidates)
        sets = ("" if self.best is None else "cheaper ") + ("sets are" if count > 1 else "set is")
        said = f"{count} {sets} neither shown to reach the target nor shown to miss it; more runs may settle it."
        return [said] if count else []

    @property
    def legend(self) -> str:
        """What the costs and the marks of the table mean; only marks that stand in it."""
        found = {one.status for one in self.candidates}
        marks = "; ".join(f"{name}: {words}" for name, words in _STATUS.items() if name in found)
        what = f"Cost {self.target.cost_of}: wages, fuel, driving, upkeep, interest and wear, {self.target.work}"
        return f"{what}. Marks: {marks}."

    def reach(self, one: Candidate) -> float:
        """Return what a set reaches, more being better; minus infinity when it is not known."""
        return -np.inf if one.reached is None else self.target.better * one.reached

    @property
    def near_misses(self) -> list[Candidate]:
        """Up to five sets next to the choice: the next dearer good ones, and those that miss the target least."""
        others = [one for one in self.candidates if one is not self.best and one.runs]
        good = sorted((one for one in others if one.status == "good"), key=lambda one: one.mean_cost)[:2]
        missed = sorted((one for one in others if one.status in ("misses", "undecided")), key=self.reach, reverse=True)
        return [*missed[:3], *good] if self.best is None else [*good, *missed[:3]]

    @property
    def frontier(self) -> list[Candidate]:
        """Sets that no other beats in both cost and output, cheapest first."""
        front: list[Candidate] = []
        known = (one for one in self.candidates if one.runs)
        for one in sorted(known, key=lambda entry: (entry.mean_cost, -self.reach(entry))):
            if not front or self.reach(one) > self.reach(front[-1]):
                front.append(one)
        return front

    def _mark(self, one: Candidate) -> str:
        return "chosen" if one is self.best else one.status

    def _rows(self) -> list[list[str]]:
        first = sorted(self.candidates, key=lambda one: (one is not self.best, one.cost.mean if one.cost else 0.0))
        scale = self.target.scale(self.unit)[0]
        return shown(first[:_SHOWN], {
            "set": lambda one: one.label,
            "status": self._mark,
            self.target.column(self.unit): lambda one: number_text(one.reached and one.reached / scale),
            "chance": lambda one: None if one.chance is None else f"{100 * one.chance:.0f} %",
            f"cost {self.target.cost_of}, {self.currency}": lambda one: one.cost and interval_text(one.cost),
            "runs": lambda one: str(one.runs),
        })  # fmt: skip

    @property
    def table(self) -> pd.DataFrame:
        """One row a combination, cheapest first; ``frontier`` marks those that no other beats in cost and output."""
        front = {one.number for one in self.frontier}
        scale = self.target.scale(self.unit)[0]
        return frame(sorted(self.candidates, key=lambda entry: (entry.mean_cost, entry.number)), {
            "set": lambda one: one.label,
            "settings": lambda one: " ".join(one.settings),
            "status": self._mark,
            **attributes("runs", "reached=reached/", per=scale),
            **attributes(f"mean_{self.unit.name}_per_day=mean_acres/", per=self.unit.acres),
            **attributes("chance", "cost=mean_cost", "cost_low=cost.low", "cost_high=cost.high"),
            "frontier": lambda one: one.number in front,
        })  # fmt: skip

    def _remarks(self) -> list[str]:
        said = [self.legend, self.guarantee, *self.open_question]
        for one in self.near_misses:
            said.append(f"Near: {one.label} ({one.status}) with {self._reached(one)}, at {self._cost(one)}.")
        if len(self.candidates) > _SHOWN:
            said.append(f"{len(self.candidates) - _SHOWN} more sets were tried; see size.csv (--out).")
        for settings, reason in self.refused[:1]:
            said.append(f"{len(self.refused)} combinations are no valid set, such as {settings}: {reason}")
        return said

    @property
    def aim(self) -> dict[str, Any]:
        """The target as a document."""
        return {**as_json(self.target), "words": self.target.words(self.unit)}

    @property
    def picked(self) -> dict[str, Any] | None:
        """What the selection procedure did, as a document."""
        one = self.selection
        return None if one is None else {"decided": one.decided, "runs": list(one.replications)}

    @property
    def invalid(self) -> list[dict[str, str]]:
        """Combinations that are no valid set, as a document."""
        return [{"settings": settings, "reason": reason} for settings, reason in self.refused]


def size(
    loaded: LoadedScenario, choices: Sequence[str], acres_per_day: float | None = None,
    season_acres: float | None = None, season_days: float | None = None, within_days: int | None = None,
    share: float = 0.9, set_name: str | None = None, runs: int = 200, seed: int | None = None, workers: int = 1,
    confidence: float = 0.95, indifference: float | None = None, report: Report | None = None,
) -> Size:  # fmt: skip
    """Find the equipment set of least cost that reaches a target.

    Parameters
    ----------
    loaded : LoadedScenario
        Scenario with costs.
    choices : sequence of str
        ``KEY=LOW..HIGH`` or ``KEY=value,value``.
    acres_per_day : float, optional
        Target a day, on ``share`` of the days (single full work days, one of each run).
    season_acres : float, optional
        Instead: target in ``season_days`` work days, in ``share`` of the seasons.
    season_days : float, optional
        Work days there are; the costs' season by default.
    within_days : int, optional
        Instead: the whole list of fields within so many work days, in ``share`` of the runs.
    share : float
        Above 0.5 and below 1.
    set_name : str, optional
        Set that the choices vary; the first by default.
    runs : int
        Runs by which a set is shown to reach the target, at least 50.
    confidence : float
        Of each statement of the guarantee, between 0.5 and 1.
    indifference : float, optional
        Least difference in cost worth finding; 1 % of the cheapest by default.
    seed, workers, report : optional
        Seed (the scenario's by default), number of processes, and what is told of progress.

    Returns
    -------
    Size
        The choice, its guarantee, near misses and the frontier. After Ctrl-C, what was known by then.

    Raises
    ------
    InputError
        Costs are missing, a choice cannot be read, or no combination is a valid set.
    """
    entry = one_set(loaded, set_name)
    check_runs(runs, least=50)
    trials = Trials.of(loaded, seed, workers, report)
    costs = need_costs(entry, "size", income=False)
    days = costs.season_days if season_days is None else season_days
    target = _target(entry, acres_per_day, season_acres, days, within_days, share)
    if not 0.5 < confidence < 1.0:
        raise InputError.single(f"got {confidence}; allowed is above 0.5 and below 1", "confidence")
    if indifference is not None and not 0 < indifference < 1e9:
        raise InputError.single(f"got {indifference}; allowed is an amount above 0", "indifference")
    candidates, refused = _candidates(loaded, entry, choices)
    need_prices(dict.fromkeys(p for one in candidates for p in pieces_of(one.entry.scenario)), costs, "size")
    simulated = trials.cases([one.plan for one in candidates])
    search = Search(candidates, target, costs, confidence, runs, simulated)
    stopped, selection, best, delta = "", None, None, indifference or 0.0
    try:
        search.screen()
        good = search.certify()
        if good:
            delta = indifference or 0.01 * min(one.mean_cost for one in good)
            selection, best = search.choose(good, delta)
    except KeyboardInterrupt:
        if any(one.verdict is None for one in candidates):
            raise
        stopped = "interrupted; sets not finished are marked by the screen alone"
    return Size(
        entry.name, target, tuple(candidates), tuple(refused), best, selection, delta, confidence,
        unit=area_unit(entry.scenario.units), costs=costs, stopped=stopped,
        simulated={one.label: one.runs for one in candidates},
    )  # fmt: skip


def _target(
    entry: EquipmentSet, acres_per_day: float | None, season_acres: float | None, season_days: float,
    within_days: int | None, share: float,
) -> Target:  # fmt: skip
    given = [one for one in (acres_per_day, season_acres, within_days) if one is not None]
    if len(given) != 1:
        raise InputError.single("allowed is one of acres_per_day, season_acres and within_days", "target")
    if not 0 < given[0] < 1e9:
        raise InputError.single(f"got {given[0]}; allowed is an amount above 0", "target")
    if not 0.5 < share < 1.0:
        raise InputError.single(f"got {share}; allowed is above 0.5 and below 1, such as 0.9", "share")
    if not 1 <= season_days <= 366:
        raise InputError.single(f"got {season_days}; allowed is 1 to 366 days", "season_days")
    if acres_per_day is not None:
        return DailyTarget(acres_per_day, share)
    if season_acres is not None:
        return SeasonTarget(season_acres, share, days=season_days)
    most, days = entry.scenario.most_work_days, int(given[0])
    if entry.scenario.work != "once":
        raise InputError.single('needs a job that ends; allowed is work = "once" in the scenario', "within_days")
    if days > most:
        raise InputError.single(f"got {days}; allowed is 1 to {most}, the scenario's most_work_days", "within_days")
    return JobTarget(make_plan(entry).list_m2 / M2_PER_ACRE, share, days=days)


def _candidates(
    loaded: LoadedScenario, entry: EquipmentSet, choices: Sequence[str]
) -> tuple[list[Candidate], list[tuple[str, str]]]:
    candidates: list[Candidate] = []
    refused: list[tuple[str, str]] = []
    problems = [Problem("choose", "no combination is a valid equipment set")]
    for settings in combinations(choices):
        split = [text.partition("=") for text in settings]
        each = [f"{key.strip()}={value}" for keys, _, value in split for key in keys.split("+")]
        try:
            changed = changed_set(entry, each, loaded.folder)
            candidates.append(Candidate(len(candidates), settings, changed, make_plan(changed)))
        except InputError as error:
            refused.append((" ".join(settings), str(error.problems[0])))
            problems += error.problems
    if not candidates:
        raise InputError(list(dict.fromkeys(problems))[:11])
    return candidates, refused
