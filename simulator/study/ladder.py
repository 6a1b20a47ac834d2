"""What to buy next, and next after that: one-more steps until nothing pays, with the bottleneck named at each rung."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, NamedTuple

import numpy as np

from simulator.analysis.bottleneck import Bottleneck
from simulator.errors import InputError
from simulator.experiment.estimates import Interval
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import area_unit
from simulator.study.answer import Answer, attributes, frame, shown
from simulator.study.cases import ACRES, FloatArray, Report, Trials, check_runs, judged, one_set
from simulator.study.ladder_climb import Climb, Step
from simulator.study.money import demand_acres, need_costs
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

    @property
    def next(self) -> str:
        """The change taken, in words."""
        return "nothing" if self.taken is None else self.taken.change

    @property
    def added(self) -> str:
        """Its settings."""
        return "" if self.taken is None else " ".join(self.taken.settings)

    @property
    def worth(self) -> Interval | None:
        """What the step taken is worth."""
        return None if self.taken is None else self.taken.net_present_value


class _Tried(NamedTuple):
    rung: Rung
    step: Step
    taken: bool


@dataclass(frozen=True)
class Ladder(Answer):
    """What to buy next, and next after that."""

    study = "ladder"
    files = ("ladder.csv=rung_table", "tried.csv=step_table")
    document = (
        "equipment_set=set_name", "runs", "sentence", "ended", "notes", "settings", "currency=money", "rungs",
    )  # fmt: skip

    set_name: str
    runs: int
    rungs: tuple[Rung, ...]
    ended: str
    settings: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def taken(self) -> list[Step]:
        """The steps taken, in order."""
        return [rung.taken for rung in self.rungs if rung.taken is not None]

    def _sentences(self) -> list[str]:
        taken, first, last = self.taken, self.rungs[0], self.rungs[-1]
        hold = f"at the end {held_words(*last.bottleneck.resources)} it back"
        if not taken:
            what = "adds output beyond doubt" if self.costs is None else "pays beyond doubt"
            tried = f"none of the {len(first.steps)} changes tried {what} ({self.runs} runs each)"
            return [f"Buy nothing yet: {tried}; {hold}."]
        price = sum(step.price or 0.0 for step in taken)
        spent = "" if self.costs is None else f", for {money_text(price, self.currency)} in all"
        after = {
            "money": "; nothing more pays beyond doubt",
            "acres": "; nothing more adds 1 % beyond doubt",
            "rungs": "; there the ladder was cut",
        }[self.ended]
        not_yet = f" Not yet: {last.steps[0].change}." if last.steps and self.ended != "rungs" else ""
        change = " to ".join(f"{rung.acres_per_day / self.unit.acres:.0f}" for rung in (first, last))
        bought = ", then ".join(step.change for step in taken)
        return [f"Buy: {bought}{spent}.{not_yet} From {change} {self.per_day}{after}, and {hold}."]

    def _rows(self) -> list[list[str]]:
        per = self.unit.acres
        return shown(self.rungs, {
            "rung": lambda rung: str(rung.number),
            f"{self.unit.name}/day": lambda rung: number_text(rung.acres_per_day / per),
            "held back by": lambda rung: " or ".join(rung.bottleneck.resources),
            "next": lambda rung: rung.next,
            "adds a day": lambda rung: interval_text(rung.taken.extra_acres_per_day, per) if rung.taken else None,
            f"price {self.currency}".strip(): lambda rung: number_text(rung.taken.price if rung.taken else None),
            f"worth {self.currency}".strip(): lambda rung: rung.worth and interval_text(rung.worth),
        })  # fmt: skip

    @property
    def rung_table(self) -> pd.DataFrame:
        """One row a rung."""
        return frame(self.rungs, attributes(
            "rung=number", f"{self.unit.name}_per_day=acres_per_day/", "bottleneck=bottleneck.resource",
            "next_change=next", "settings=added", "adds_per_day=taken.extra_acres_per_day.mean/",
            "adds_low=taken.extra_acres_per_day.low/", "adds_high=taken.extra_acres_per_day.high/", "price=taken.price",
            "net_present_value=worth.mean", "net_present_value_low=worth.low", "net_present_value_high=worth.high",
            "job_work_days_more=taken.job.work_days.mean", per=self.unit.acres,
        ))  # fmt: skip

    @property
    def step_table(self) -> pd.DataFrame:
        """One row a change tried."""
        tried = [_Tried(rung, step, step is rung.taken) for rung in self.rungs for step in rung.steps]
        return frame(tried, attributes(
            "rung=rung.number", "change=step.change", "resource=step.resource", "taken",
            "adds_per_day=step.extra_acres_per_day.mean/", "adds_low=step.extra_acres_per_day.low/",
            "adds_high=step.extra_acres_per_day.high/", "price=step.price",
            "net_present_value=step.net_present_value.mean", "net_present_value_low=step.net_present_value.low",
            "net_present_value_high=step.net_present_value.high", per=self.unit.acres,
        ))  # fmt: skip

    def _remarks(self) -> list[str]:
        return [*map(self.rung_sentence, self.rungs), *self.notes]

    def rung_sentence(self, rung: Rung) -> str:
        """Return one rung in a sentence."""
        step = rung.taken
        if step is None:
            output = f"{rung.acres_per_day / self.unit.acres:.0f} {self.per_day}"
            return f"Rung {rung.number}: {output}. {rung.bottleneck.sentence}"
        gain = interval_text(step.extra_acres_per_day, self.unit.acres, self.per_day)
        text = f"Rung {rung.number}: {held_words(*rung.bottleneck.resources)} it back; {step.change} adds {gain}"
        if self.costs is not None and step.net_present_value is not None:
            value = money_range(step.net_present_value, self.currency)
            text += f": {value} over {self.costs.horizon_years:g} years, before tax"
        return f"{text}." + ("" if step.job is None else f" {step.job.sentence(self.unit, self.currency)}")


def ladder(
    loaded: LoadedScenario, set_name: str | None = None, runs: int | None = None, seed: int | None = None,
    workers: int = 1, most_rungs: int = MOST_RUNGS, by: str | None = None, pairs: bool = False,
    report: Report | None = None,
) -> Ladder:  # fmt: skip
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
        output = float(rows[:, ACRES].mean())
        if whole:
            try:
                steps, tables, hold = climb.look(current, rows, pairs)
                whole = all(len(table) == len(rows) for table in tables)
            except KeyboardInterrupt:
                if not rungs:
                    raise
                whole = False
        if not whole:
            # interrupted: the last finished step was taken; the rung above it was not looked at to the end
            rungs.append(Rung(number, output, judged(current, rows), (), None))
            break
        best = climb.best(steps, rows)
        taken = None if number == most_rungs else best
        rungs.append(Rung(number, output, hold, tuple(sorted(steps, key=climb.merit, reverse=True)), taken))
        if taken is None:
            ended = "rungs" if best is not None else ("acres" if costs is None else "money")
            break
        settings += taken.settings
        rows = tables[steps.index(taken)]
        current = vary(current, taken.settings, loaded.folder)
    notes = (*capped(entry, costs, foot, rows), *notes_of(costs, rungs))
    return Ladder(
        entry.name, len(rows), tuple(rungs), ended, tuple(settings), notes, unit=area_unit(entry.scenario.units),
        costs=costs, simulated={entry.name: len(rows)},
    )  # fmt: skip


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
