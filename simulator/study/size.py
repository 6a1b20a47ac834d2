"""What size: the equipment set of least cost that reaches a target, over given choices.

All combinations are simulated for a few runs; those that cannot reach the target, or surely cost more, are dropped. The
others are simulated longer until it is shown which reach it; among these the sequential selection of Kim & Nelson
(2001, ACM TOMACS 11:251-273) with common random numbers finds the cheapest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.errors import InputError, Problem
from simulator.experiment.selection import Selection
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.choices import Choice, combinations, parse_choice
from simulator.study.documents import clean, interval_json
from simulator.study.money import need_costs, need_prices, pieces_of
from simulator.study.size_search import Candidate, Search, mean_cost
from simulator.study.target import DailyTarget, JobTarget, SeasonTarget, Target
from simulator.study.trial import ACRES, AreaUnit, Report, area_unit, check_runs, check_workers, checked_seed, one_set
from simulator.study.words import money_range, money_text

if TYPE_CHECKING:
    import pandas as pd


_STATUS = {
    "good": "shown to reach the target",
    "undecided": "neither shown to reach it nor shown to miss it, so its cost may be that of runs that fall short",
    "misses": "shown to miss it",
    "dearer": "surely costs more than a good one, so it was simulated no further",
}
"""What the marks of the table mean."""


@dataclass(frozen=True)
class Size:
    """The equipment set of least cost that reaches a target."""

    set_name: str
    target: Target
    candidates: tuple[Candidate, ...]
    refused: tuple[tuple[str, str], ...]
    best: Candidate | None
    selection: Selection | None
    indifference: float
    confidence: float
    costs: Costs
    unit: AreaUnit
    stopped: str = ""

    @property
    def sentence(self) -> str:
        """The answer, as one would tell it."""
        aim = self.target.words(self.unit)
        if self.best is None or self.best.cost is None:
            near = self.near_misses
            tail = ""
            if near and near[0].verdict is not None:
                tail = f"; nearest is {near[0].label} with {self.target.shown(near[0].verdict.reached, self.unit)}"
            return f"None of the {len(self.candidates)} sets tried is shown to {aim}{tail}."
        money = f"{money_range(self.best.cost, self.costs.currency)} {self.target.cost_of}"
        return f"The cheapest set shown to {aim} is {self.best.label}: it costs {money}, wages included."

    @property
    def guarantee(self) -> str:
        """What is guaranteed, in a sentence."""
        if self.best is None:
            return "No set is chosen, so nothing is guaranteed."
        sure = f"{100 * self.confidence:.0f} %"
        delta = money_text(self.indifference, self.costs.currency)
        first = f"With {sure} confidence every set called good reaches the target {self.target.floor(self.unit)}"
        if self.selection is not None and not self.selection.decided:
            left, runs = len(self.selection.survivors), max(self.selection.replications)
            open_cost = (
                f"the cost of {left} of them is too nearly the same to tell which is cheapest in {runs:,} runs each"
            )
            chosen = f"the choice has the lowest mean, and a --indifference above {delta} decides sooner"
            return f"{first}; {open_cost}: {chosen}."
        second = (
            f"with {sure} confidence none of them is cheaper than the choice by more than {delta} {self.target.cost_of}"
        )
        return f"{first}, and {second}."

    @property
    def open_question(self) -> str:
        """Name what more runs may settle; empty when nothing cheaper is open."""
        limit = mean_cost(self.best.cost) if self.best is not None else np.inf
        count = sum(one.status == "undecided" and mean_cost(one.cost) < limit for one in self.candidates)
        if not count:
            return ""
        what = "cheaper sets are" if count > 1 else "cheaper set is"
        if self.best is None:
            what = "sets are" if count > 1 else "set is"
        return f"{count} {what} neither shown to reach the target nor shown to miss it; more runs may settle it."

    @property
    def legend(self) -> str:
        """What the costs and the marks of the table mean; only marks that stand in it."""
        found = {one.status for one in self.candidates}
        marks = "; ".join(f"{name}: {words}" for name, words in _STATUS.items() if name in found)
        what = f"Cost {self.target.cost_of}: wages, fuel, driving, upkeep, interest and wear, {self.target.work}"
        return f"{what}. Marks: {marks}."

    def reach(self, one: Candidate) -> float:
        """Return what a set reaches, more being better; minus infinity when it is not known."""
        return -np.inf if one.verdict is None else self.target.merit(one.verdict)

    @property
    def near_misses(self) -> list[Candidate]:
        """Up to five sets next to the choice: the next dearer good ones, and those that miss the target least."""
        others = [
            one for one in self.candidates if one is not self.best and one.verdict is not None and one.cost is not None
        ]
        good = sorted((one for one in others if one.status == "good"), key=lambda one: mean_cost(one.cost))[:2]
        missed = sorted(
            (one for one in others if one.status in ("misses", "undecided")), key=lambda one: -self.reach(one)
        )[:3]
        return [*missed, *good] if self.best is None else [*good, *missed]

    @property
    def table(self) -> pd.DataFrame:
        """One row a combination, cheapest first; ``frontier`` marks those that no other beats in cost and output."""
        import pandas as pd

        rows = []
        front = {one.number for one in self.frontier}
        for one in sorted(self.candidates, key=lambda entry: (mean_cost(entry.cost), entry.number)):
            verdict, cost = one.verdict, one.cost
            rows.append(
                {
                    "set": one.label,
                    "settings": " ".join(one.settings),
                    "status": "chosen" if one is self.best else one.status,
                    "runs": len(one.rows),
                    "reached": np.nan if verdict is None else verdict.reached / self.target.scale(self.unit)[0],
                    f"mean_{self.unit.name}_per_day": float(one.rows[:, ACRES].mean()) / self.unit.acres
                    if len(one.rows)
                    else np.nan,
                    "chance": np.nan if verdict is None else verdict.chance,
                    "cost": mean_cost(cost),
                    "cost_low": np.nan if cost is None or cost.low is None else cost.low,
                    "cost_high": np.nan if cost is None or cost.high is None else cost.high,
                    "frontier": one.number in front,
                }
            )
        return pd.DataFrame(rows)

    @property
    def frontier(self) -> list[Candidate]:
        """Sets that no other beats in both cost and output, cheapest first."""
        known = [one for one in self.candidates if one.verdict is not None and one.cost is not None]
        front: list[Candidate] = []
        for one in sorted(known, key=lambda entry: (mean_cost(entry.cost), -self.reach(entry))):
            if not front or self.reach(one) > self.reach(front[-1]):
                front.append(one)
        return front

    def to_json(self) -> dict[str, Any]:
        """Return the answer as a document."""

        def one_json(one: Candidate) -> dict[str, Any]:
            return {
                "settings": list(one.settings),
                "status": one.status,
                "runs": len(one.rows),
                "reached": None if one.verdict is None else one.verdict.reached,
                "chance": None if one.verdict is None else one.verdict.chance,
                "cost": None if one.cost is None else interval_json(one.cost),
            }

        picked = self.selection
        return clean(
            {
                "study": "size",
                "equipment_set": self.set_name,
                "sentence": self.sentence,
                "guarantee": self.guarantee,
                "legend": self.legend,
                "target": {
                    "acres": self.target.acres,
                    "share": self.target.share,
                    "tolerance": self.target.tolerance,
                    "kind": self.target.kind,
                    "words": self.target.words(self.unit),
                },
                "currency": self.costs.currency,
                "indifference": self.indifference,
                "confidence": self.confidence,
                "best": None if self.best is None else one_json(self.best),
                "selection": None if picked is None else {"decided": picked.decided, "runs": list(picked.replications)},
                "near_misses": [one_json(one) for one in self.near_misses],
                "frontier": [one_json(one) for one in self.frontier],
                "candidates": [one_json(one) for one in self.candidates],
                "refused": [{"settings": settings, "reason": reason} for settings, reason in self.refused],
                "stopped": self.stopped,
            }
        )


def size(
    loaded: LoadedScenario,
    choices: Sequence[str | Choice],
    acres_per_day: float | None = None,
    season_acres: float | None = None,
    season_days: float | None = None,
    within_days: int | None = None,
    share: float = 0.9,
    set_name: str | None = None,
    runs: int = 200,
    seed: int | None = None,
    workers: int = 1,
    confidence: float = 0.95,
    indifference: float | None = None,
    report: Report | None = None,
) -> Size:
    """Find the equipment set of least cost that reaches a target.

    Parameters
    ----------
    loaded : LoadedScenario
        Scenario with costs.
    choices : sequence of str or Choice
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
    seed : int, optional
        Seed; the scenario's by default.
    workers : int
        Processes.
    confidence : float
        Of each statement of the guarantee, between 0.5 and 1.
    indifference : float, optional
        Least difference in cost worth finding; 1 % of the cheapest by default.
    report : callable, optional
        Progress.

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
    check_workers(workers)
    costs = need_costs(entry, "size", income=False)
    days = costs.season_days if season_days is None else season_days
    target = _target(entry, acres_per_day, season_acres, days, within_days, share)
    if not 0.5 < confidence < 1.0:
        raise InputError.single(f"got {confidence}; allowed is above 0.5 and below 1", "confidence")
    if indifference is not None and not 0 < indifference < 1e9:
        raise InputError.single(f"got {indifference}; allowed is an amount above 0", "indifference")
    parsed = [choice if isinstance(choice, Choice) else parse_choice(choice) for choice in choices]
    candidates, refused = _candidates(loaded, entry, parsed)
    need_prices(
        list({(p.kind, p.name): p for one in candidates for p in pieces_of(one.entry.scenario)}.values()), costs, "size"
    )
    search = Search(candidates, target, costs, checked_seed(loaded, seed), workers, confidence, runs, report)
    stopped, selection, best, delta = "", None, None, indifference or 0.0
    try:
        search.screen()
        good = search.certify()
        if good:
            delta = indifference or 0.01 * min(mean_cost(one.cost) for one in good)
            selection, best = search.choose(good, delta)
    except KeyboardInterrupt:
        if any(one.verdict is None for one in candidates):
            raise
        stopped = "interrupted; sets not finished are marked by the screen alone"
    return Size(
        entry.name,
        target,
        tuple(candidates),
        tuple(refused),
        best,
        selection,
        delta,
        confidence,
        costs,
        area_unit(entry.scenario.units),
        stopped,
    )


def _target(
    entry: EquipmentSet,
    acres_per_day: float | None,
    season_acres: float | None,
    season_days: float,
    within_days: int | None,
    share: float,
) -> Target:
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
        return SeasonTarget(season_acres, season_days, share)
    most, days = entry.scenario.most_work_days, int(given[0])
    if entry.scenario.work != "once":
        raise InputError.single('needs a job that ends; allowed is work = "once" in the scenario', "within_days")
    if days > most:
        raise InputError.single(f"got {days}; allowed is 1 to {most}, the scenario's most_work_days", "within_days")
    return JobTarget(make_plan(entry).list_m2 / M2_PER_ACRE, days, share)


def _candidates(
    loaded: LoadedScenario, entry: EquipmentSet, choices: Sequence[Choice]
) -> tuple[list[Candidate], list[tuple[str, str]]]:
    candidates: list[Candidate] = []
    refused: list[tuple[str, str]] = []
    problems: list[Problem] = []
    for settings in combinations(choices):
        try:
            changed = vary(entry, [one for text in settings for one in _each(text)], loaded.folder)
            candidates.append(Candidate(len(candidates), settings, changed, make_plan(changed)))
        except InputError as error:
            refused.append((" ".join(settings), str(error.problems[0])))
            problems += error.problems
    if not candidates:
        head = Problem("choose", "no combination is a valid equipment set")
        raise InputError([head, *list(dict.fromkeys(problems))[:10]])
    return candidates, refused


def _each(text: str) -> list[str]:
    key, _, value = text.partition("=")
    return [f"{one.strip()}={value}" for one in key.split("+")]
