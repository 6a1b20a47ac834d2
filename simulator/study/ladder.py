"""What to buy next, and next after that: one-more steps until nothing pays, with the bottleneck named at each rung."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from simulator.analysis.bottleneck import Bottleneck
from simulator.errors import InputError
from simulator.experiment.estimates import Interval
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import AreaUnit, area_unit
from simulator.study.answer import Answer, frame, limits, shown
from simulator.study.cases import Trials, judged
from simulator.study.ladder_climb import Climb, Step
from simulator.study.money import demand_acres, need_costs
from simulator.study.trial import ACRES, FloatArray, Report, check_runs, one_set
from simulator.study.words import held_words, interval_text, money_range, money_text, number_text

if TYPE_CHECKING:
    import pandas as pd

MOST_RUNGS = 6
"""Rungs climbed unless asked otherwise."""


@dataclass(frozen=True)
class Rung:
    """One rung: the set as it stands, what holds it back, the changes tried, best first, and the one taken, if any."""

    document: ClassVar = (
        "rung=number", "acres_per_day", "bottleneck=bottleneck.resource", "bottleneck_alike=bottleneck.alike",
        "bottleneck_sentence=bottleneck.sentence", "taken", "tried=steps",
    )  # fmt: skip
    number: int
    acres_per_day: float
    bottleneck: Bottleneck
    steps: tuple[Step, ...]
    taken: Step | None


@dataclass(frozen=True)
class Ladder(Answer):
    """What to buy next, and next after that."""

    study = "ladder"
    document = (
        "equipment_set=set_name", "runs", "sentence", "ended", "notes", "settings", "currency=money", "rungs",
    )  # fmt: skip

    set_name: str
    runs: int
    rungs: tuple[Rung, ...]
    ended: str
    settings: tuple[str, ...]
    unit: AreaUnit
    notes: tuple[str, ...]

    @property
    def money(self) -> str | None:
        """Currency, if steps are judged by money."""
        return self.currency or None

    @property
    def taken(self) -> list[Step]:
        """The steps taken, in order."""
        return [rung.taken for rung in self.rungs if rung.taken is not None]

    @property
    def sentences(self) -> list[str]:
        """What to buy, and what not yet."""
        taken, unit = self.taken, self.unit
        first, last = self.rungs[0].acres_per_day / unit.acres, self.rungs[-1].acres_per_day / unit.acres
        hold = f"at the end {held_words(*self.rungs[-1].bottleneck.resources)} it back"
        if not taken:
            what = "adds output beyond doubt" if self.costs is None else "pays beyond doubt"
            tried = f"none of the {len(self.rungs[0].steps)} changes tried {what} ({self.runs} runs each)"
            return [f"Buy nothing yet: {tried}; {hold}."]
        steps = ", then ".join(step.change for step in taken)
        price = sum(step.price or 0.0 for step in taken)
        spent = "" if self.costs is None else f", for {money_text(price, self.currency)} in all"
        left = [step.change for step in self.rungs[-1].steps[:1]]
        after = {
            "money": "; nothing more pays beyond doubt",
            "acres": "; nothing more adds 1 % beyond doubt",
            "rungs": "; there the ladder was cut",
        }[self.ended]
        not_yet = f" Not yet: {left[0]}." if left and self.ended != "rungs" else ""
        return [f"Buy: {steps}{spent}.{not_yet} From {first:.0f} to {last:.0f} {unit.name} a day{after}, and {hold}."]

    @property
    def rows(self) -> list[list[str]]:
        """One row a rung."""
        per = self.unit.acres
        return shown(self.rungs, {
            "rung": lambda rung: str(rung.number),
            f"{self.unit.name}/day": lambda rung: number_text(rung.acres_per_day / per),
            "held back by": lambda rung: " or ".join(rung.bottleneck.resources),
            "next": lambda rung: rung.taken.change if rung.taken else "nothing",
            "adds a day": lambda rung: interval_text(rung.taken.extra_acres_per_day, per) if rung.taken else None,
            f"price {self.currency}".strip(): lambda rung: number_text(rung.taken.price if rung.taken else None),
            f"worth {self.currency}".strip(): _worth_text,
        })  # fmt: skip

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """One row a rung, and one row a change tried."""
        per = self.unit.acres
        rungs = frame(self.rungs, {
            "rung": lambda rung: rung.number,
            f"{self.unit.name}_per_day": lambda rung: rung.acres_per_day / per,
            "bottleneck": lambda rung: rung.bottleneck.resource,
            "next_change": lambda rung: rung.taken.change if rung.taken else "nothing",
            "settings": lambda rung: " ".join(rung.taken.settings) if rung.taken else "",
            **limits("adds", lambda rung: rung.taken and rung.taken.extra_acres_per_day, per, "adds_per_day"),
            "price": lambda rung: rung.taken and rung.taken.price,
            **limits("net_present_value", _worth),
            "job_work_days_more": lambda rung: rung.taken and rung.taken.job and rung.taken.job.work_days.mean,
        })  # fmt: skip
        tried = [(rung, step) for rung in self.rungs for step in rung.steps]
        steps = frame(tried, {
            "rung": lambda one: one[0].number,
            "change": lambda one: one[1].change,
            "resource": lambda one: one[1].resource,
            "taken": lambda one: one[1] is one[0].taken,
            **limits("adds", lambda one: one[1].extra_acres_per_day, per, "adds_per_day"),
            "price": lambda one: one[1].price,
            **limits("net_present_value", lambda one: one[1].net_present_value),
        })  # fmt: skip
        return {"ladder.csv": rungs, "tried.csv": steps}

    @property
    def remarks(self) -> list[str]:
        """Each rung in a sentence, and what to know beside it."""
        return [*map(self.rung_sentence, self.rungs), *self.notes]

    @property
    def simulated(self) -> dict[str, int]:
        """The set at the foot."""
        return {self.set_name: self.runs}

    def rung_sentence(self, rung: Rung) -> str:
        """Return one rung in a sentence."""
        step, unit = rung.taken, self.unit
        if step is None:
            output = f"{rung.acres_per_day / unit.acres:.0f} {unit.name} a day"
            return f"Rung {rung.number}: {output}. {rung.bottleneck.sentence}"
        gain = interval_text(step.extra_acres_per_day, unit.acres, f"{unit.name} a day")
        worth = ""
        if self.costs is not None and step.net_present_value is not None:
            value = money_range(step.net_present_value, self.currency)
            worth = f": {value} over {self.costs.horizon_years:g} years, before tax"
        text = f"Rung {rung.number}: {held_words(*rung.bottleneck.resources)} it back; {step.change} adds {gain}"
        return f"{text}{worth}." + ("" if step.job is None else f" {step.job.sentence(unit, self.currency)}")


def _worth_text(rung: Rung) -> str | None:
    worth = _worth(rung)
    return None if worth is None else interval_text(worth)


def _worth(rung: Rung) -> Interval | None:
    return None if rung.taken is None else rung.taken.net_present_value


def ladder(
    loaded: LoadedScenario,
    set_name: str | None = None,
    runs: int | None = None,
    seed: int | None = None,
    workers: int = 1,
    most_rungs: int = MOST_RUNGS,
    by: str | None = None,
    pairs: bool = False,
    report: Report | None = None,
) -> Ladder:
    """Climb from a set by the best single change, again and again, until nothing pays.

    Parameters
    ----------
    loaded : LoadedScenario
        Scenario.
    set_name : str, optional
        Set at the foot; the first by default.
    runs : int, optional
        Runs for each change; the scenario's by default.
    most_rungs : int
        Steps at most, 1 to 50.
    by : {"money", "acres"}, optional
        How a step is judged: net present value above 0 beyond doubt, or at least 1 % more acres beyond doubt. Money
        when the scenario has costs.
    pairs : bool
        Whether to try changes two at a time where no single one pays.
    seed, workers, report : optional
        Seed (the scenario's by default), number of processes, and what is told of progress.

    Returns
    -------
    Ladder
        After Ctrl-C, the rungs that were finished.

    Raises
    ------
    InputError
        Costs are missing, or a number is out of range.
    """
    entry = one_set(loaded, set_name)
    wanted = loaded.base.runs if runs is None else runs
    check_runs(wanted)
    if not 1 <= most_rungs <= 50:
        raise InputError.single(f"got {most_rungs}; allowed is 1 to 50", "most_rungs")
    if by not in (None, "money", "acres"):
        raise InputError.single(f"got {by!r}; allowed is 'money' or 'acres'", "by")
    costs = None
    if by == "money" or (by is None and entry.scenario.costs is not None):
        costs = need_costs(entry, "ladder")
    trials = Trials.of(loaded, seed, workers, report)
    climb = Climb(trials, costs)
    rows = foot = trials.simulate([make_plan(entry)], wanted)[0]
    rungs: list[Rung] = []
    settings: list[str] = []
    current, ended = entry, "rungs"
    whole = len(rows) == wanted
    for number in range(most_rungs + 1):
        tables: list[FloatArray] = []
        if whole:
            try:
                steps, tables, hold = climb.look(current, rows, pairs)
            except KeyboardInterrupt:
                if not rungs:
                    raise
                whole = False
            whole = whole and all(len(table) == len(rows) for table in tables)
        if not whole:
            # interrupted: the last finished step was taken; the rung above it was not looked at to the end
            rungs.append(Rung(number, float(rows[:, ACRES].mean()), judged(current, rows), (), None))
            break
        best = climb.best(steps, rows)
        taken = None if number == most_rungs else best
        ranked = sorted(steps, key=climb.merit, reverse=True)
        rungs.append(Rung(number, float(rows[:, ACRES].mean()), hold, tuple(ranked), taken))
        if taken is None:
            ended = "rungs" if best is not None else ("acres" if costs is None else "money")
            break
        settings += taken.settings
        rows = tables[steps.index(taken)]
        current = vary(current, taken.settings, loaded.folder)
    unit = area_unit(entry.scenario.units)
    notes = (*capped(entry, costs, foot, rows), *notes_of(costs, rungs))
    return Ladder(entry.name, len(rows), tuple(rungs), ended, tuple(settings), unit, notes, costs=costs)


def capped(entry: EquipmentSet, costs: Costs | None, foot: FloatArray, top: FloatArray) -> tuple[str, ...]:
    """Say where not the equipment but the demand caps what is sold, so that nothing added can show its worth."""
    demand = None if costs is None else demand_acres(costs)
    if costs is None or demand is None:
        return ()
    unit = area_unit(entry.scenario.units)
    days = [demand / mean if (mean := float(rows[:, ACRES].mean())) > 0 else np.inf for rows in (foot, top)]
    if min(days) >= costs.season_days:
        return ()
    reached = " and ".join(
        f"after {one:.0f} days {place}" if one < costs.season_days else f"never {place}"
        for one, place in zip(days, ("at the foot", "at the top"), strict=True)
    )
    limit = f"The demand of {demand / unit.acres:,.0f} {unit.name} a season caps what is sold"
    return (f"{limit}: of {costs.season_days:g} work days it is reached {reached}.",)


def notes_of(costs: Costs | None, rungs: Sequence[Rung]) -> tuple[str, ...]:
    """Say which changes had no price and how larger equipment was priced."""
    if costs is None:
        return ("Judged by acres alone: a table [costs] lets the ladder stop where nothing pays.",)
    unpriced = sorted({step.change for rung in rungs for step in rung.steps if step.price is None and step.parts == 1})
    said = ["A larger generator is priced in proportion to its power (assumption)."]
    if unpriced:
        said.append(f"Without a price, so not considered: {', '.join(unpriced)}.")
    if not any(step.parts > 1 for rung in rungs for step in rung.steps):
        said.append("Steps are taken one at a time; two changes that only help together are found with --pairs.")
    return tuple(said)
