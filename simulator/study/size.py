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
from simulator.study.choices import Choice, combinations, parse_choice
from simulator.study.documents import clean, interval_json
from simulator.study.money import need_costs, need_prices, pieces_of
from simulator.study.size_search import Candidate, Search, mean_cost, reach
from simulator.study.target import DailyTarget, SeasonTarget, Target, Verdict
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
    """The equipment set of least cost that reaches a target.

    Parameters
    ----------
    set_name : str
        Set that the choices vary.
    target : Target
        What is to be reached.
    candidates : tuple of Candidate
        All valid combinations.
    refused : tuple of (str, str)
        Combinations that are no valid set, and why.
    best : Candidate or None
        The choice; None when none reaches the target.
    selection : Selection or None
        What the selection procedure did; None when one set or none was left to it.
    indifference : float
        Least difference in cost a season that it was to find.
    confidence : float
        Of each of the two statements of the guarantee.
    costs : Costs
        Money.
    unit : AreaUnit
        Area unit of sentences.
    stopped : str
        Why it ended early; empty when it did not.
    """

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
        aim = self.target.words(self.unit.name, self.unit.acres)
        if self.best is None or self.best.cost is None:
            near = self.near_misses
            tail = ""
            if near and near[0].verdict is not None:
                tail = f"; nearest is {near[0].label} with {self._reached(near[0].verdict)}"
            return f"None of the {len(self.candidates)} sets tried is shown to reach {aim}{tail}."
        money = money_range(self.best.cost, self.costs.currency)
        return f"The cheapest set shown to reach {aim} is {self.best.label}: it costs {money} a season, wages included."

    @property
    def guarantee(self) -> str:
        """What is guaranteed, in a sentence."""
        if self.best is None:
            return "No set is chosen, so nothing is guaranteed."
        sure = f"{100 * self.confidence:.0f} %"
        delta = money_text(self.indifference, self.costs.currency)
        if isinstance(self.target, DailyTarget):
            floor = f"on at least {100 * (self.target.share - self.target.tolerance):.0f} % of days"
        else:
            acres = self.target.acres * (1.0 - self.target.tolerance) / self.unit.acres
            floor = f"at least {acres:,.0f} {self.unit.name} in {100 * self.target.share:.0f} % of seasons"
        first = f"With {sure} confidence every set called good reaches the target {floor}"
        if self.selection is not None and not self.selection.decided:
            left, runs = len(self.selection.survivors), max(self.selection.replications)
            open_cost = (
                f"the cost of {left} of them is too nearly the same to tell which is cheapest in {runs:,} runs each"
            )
            chosen = f"the choice has the lowest mean, and a --indifference above {delta} decides sooner"
            return f"{first}; {open_cost}: {chosen}."
        second = f"with {sure} confidence none of them is cheaper than the choice by more than {delta} a season"
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
        if isinstance(self.target, DailyTarget):
            work = f"in {self.costs.season_days:g} work days that each end once the target is done"
        else:
            work = "in the work days that the target takes"
        found = {one.status for one in self.candidates}
        marks = "; ".join(f"{name}: {words}" for name, words in _STATUS.items() if name in found)
        return f"Cost a season: wages, fuel, driving, upkeep, interest and wear, {work}. Marks: {marks}."

    def _reached(self, verdict: Verdict) -> str:
        span = "a day" if isinstance(self.target, DailyTarget) else "a season"
        return f"{verdict.reached / self.unit.acres:,.0f} {self.unit.name} {span}"

    @property
    def near_misses(self) -> list[Candidate]:
        """Up to five sets next to the choice: the next dearer good ones, and those that miss the target least."""
        others = [
            one for one in self.candidates if one is not self.best and one.verdict is not None and one.cost is not None
        ]
        good = sorted((one for one in others if one.status == "good"), key=lambda one: mean_cost(one.cost))[:2]
        missed = sorted((one for one in others if one.status in ("misses", "undecided")), key=lambda one: -reach(one))[
            :3
        ]
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
                    f"{self.unit.name}_reached": np.nan if verdict is None else verdict.reached / self.unit.acres,
                    f"mean_{self.unit.name}_per_day": float(one.rows[:, ACRES].mean()) / self.unit.acres
                    if len(one.rows)
                    else np.nan,
                    "chance": np.nan if verdict is None else verdict.chance,
                    "cost_per_season": mean_cost(cost),
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
        for one in sorted(known, key=lambda entry: (mean_cost(entry.cost), -reach(entry))):
            if not front or reach(one) > reach(front[-1]):
                front.append(one)
        return front

    def to_json(self) -> dict[str, Any]:
        """Return the answer as a document."""

        def one_json(one: Candidate) -> dict[str, Any]:
            return {
                "settings": list(one.settings),
                "status": one.status,
                "runs": len(one.rows),
                "acres_reached": None if one.verdict is None else one.verdict.reached,
                "chance": None if one.verdict is None else one.verdict.chance,
                "cost_per_season": None if one.cost is None else interval_json(one.cost),
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
                    "kind": "day" if isinstance(self.target, DailyTarget) else "season",
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
        Target a day, on ``share`` of the days.
    season_acres : float, optional
        Instead: target in ``season_days`` work days, in ``share`` of the seasons.
    season_days : float, optional
        Work days there are; the costs' season by default.
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
        Least difference in cost a season worth finding; 1 % of the cheapest by default.
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
    target = _target(acres_per_day, season_acres, costs.season_days if season_days is None else season_days, share)
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
    with search:
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


def _target(acres_per_day: float | None, season_acres: float | None, season_days: float, share: float) -> Target:
    if (acres_per_day is None) == (season_acres is None):
        raise InputError.single("allowed is either acres_per_day or season_acres, not both and not neither", "target")
    acres = acres_per_day if acres_per_day is not None else season_acres
    if acres is None or not 0 < acres < 1e9:
        raise InputError.single(f"got {acres}; allowed is an area above 0", "target")
    if not 0.5 < share < 1.0:
        raise InputError.single(f"got {share}; allowed is above 0.5 and below 1, such as 0.9", "share")
    if not 1 <= season_days <= 366:
        raise InputError.single(f"got {season_days}; allowed is 1 to 366 days", "season_days")
    return DailyTarget(acres, share) if acres_per_day is not None else SeasonTarget(acres, season_days, share)


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
