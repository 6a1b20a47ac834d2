"""What to buy next, and next after that: one-more steps until nothing pays, with the bottleneck named at each rung."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.bottleneck import Bottleneck
from simulator.errors import InputError
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.cases import simulate_sets
from simulator.study.documents import clean, interval_json
from simulator.study.ladder_climb import Climb, Step
from simulator.study.money import need_costs
from simulator.study.trial import (
    ACRES,
    AreaUnit,
    Report,
    area_unit,
    check_runs,
    check_workers,
    checked_seed,
    judged,
    one_set,
)
from simulator.study.words import held_words, interval_text, money_range, money_text

if TYPE_CHECKING:
    import pandas as pd

MOST_RUNGS = 6
"""Rungs climbed unless asked otherwise."""


@dataclass(frozen=True)
class Rung:
    """One rung: the set as it stands, what holds it back, what was tried and what was taken."""

    number: int
    acres_per_day: float
    bottleneck: Bottleneck
    steps: tuple[Step, ...]
    taken: Step | None


@dataclass(frozen=True)
class Ladder:
    """What to buy next, and next after that."""

    set_name: str
    runs: int
    rungs: tuple[Rung, ...]
    ended: str
    costs: Costs | None
    settings: tuple[str, ...]
    unit: AreaUnit
    notes: tuple[str, ...]

    @property
    def taken(self) -> list[Step]:
        """The steps taken, in order."""
        return [rung.taken for rung in self.rungs if rung.taken is not None]

    @property
    def sentence(self) -> str:
        """The answer, as one would tell it."""
        taken, unit = self.taken, self.unit
        first, last = self.rungs[0].acres_per_day / unit.acres, self.rungs[-1].acres_per_day / unit.acres
        hold = f"at the end {held_words(*self.rungs[-1].bottleneck.resources)} it back"
        if not taken:
            what = "adds output beyond doubt" if self.costs is None else "pays beyond doubt"
            tried = f"none of the {len(self.rungs[0].steps)} changes tried {what} ({self.runs} runs each)"
            return f"Buy nothing: {tried}; {hold}."
        steps = ", then ".join(step.change for step in taken)
        spent = ""
        if self.costs is not None:
            spent = f" for {money_text(sum(step.price or 0.0 for step in taken), self.costs.currency)}"
        after = {
            "money": "then nothing more pays",
            "acres": "then nothing adds 1 % more",
            "rungs": "there the ladder was cut",
        }[self.ended]
        return f"Buy {steps}: from {first:.0f} to {last:.0f} {unit.name} a day{spent}; {after}, and {hold}."

    @property
    def table(self) -> pd.DataFrame:
        """One row a rung."""
        import pandas as pd

        rows = []
        for rung in self.rungs:
            step = rung.taken
            extra = None if step is None else step.extra_acres_per_day
            value = None if step is None else step.net_present_value
            rows.append(
                {
                    "rung": rung.number,
                    f"{self.unit.name}_per_day": rung.acres_per_day / self.unit.acres,
                    "bottleneck": rung.bottleneck.resource,
                    "next_change": "nothing" if step is None else step.change,
                    "settings": "" if step is None else " ".join(step.settings),
                    "adds_per_day": np.nan if extra is None else extra.mean / self.unit.acres,
                    "adds_low": np.nan if extra is None or extra.low is None else extra.low / self.unit.acres,
                    "adds_high": np.nan if extra is None or extra.high is None else extra.high / self.unit.acres,
                    "price": np.nan if step is None or step.price is None else step.price,
                    "net_present_value": np.nan if value is None else value.mean,
                    "net_present_value_low": np.nan if value is None or value.low is None else value.low,
                    "job_work_days_more": np.nan if step is None or step.job is None else step.job.work_days.mean,
                }
            )
        return pd.DataFrame(rows)

    @property
    def tried(self) -> pd.DataFrame:
        """One row a change tried."""
        import pandas as pd

        rows = []
        for rung in self.rungs:
            for step in rung.steps:
                extra, value = step.extra_acres_per_day, step.net_present_value
                rows.append(
                    {
                        "rung": rung.number,
                        "change": step.change,
                        "resource": step.resource,
                        "taken": step is rung.taken,
                        "adds_per_day": extra.mean / self.unit.acres,
                        "adds_low": np.nan if extra.low is None else extra.low / self.unit.acres,
                        "adds_high": np.nan if extra.high is None else extra.high / self.unit.acres,
                        "price": np.nan if step.price is None else step.price,
                        "net_present_value": np.nan if value is None else value.mean,
                        "net_present_value_low": np.nan if value is None or value.low is None else value.low,
                        "net_present_value_high": np.nan if value is None or value.high is None else value.high,
                    }
                )
        return pd.DataFrame(rows)

    def to_json(self) -> dict[str, Any]:
        """Return the answer as a document."""

        def step_json(step: Step | None) -> dict[str, Any] | None:
            if step is None:
                return None
            value, margin = step.net_present_value, step.extra_margin_per_season
            return {
                "change": step.change,
                "resource": step.resource,
                "settings": list(step.settings),
                "extra_acres_per_day": interval_json(step.extra_acres_per_day),
                "price": step.price,
                "extra_margin_per_season": None if margin is None else interval_json(margin),
                "net_present_value": None if value is None else interval_json(value),
                "job": None if step.job is None else step.job.to_json(),
            }

        return clean(
            {
                "study": "ladder",
                "equipment_set": self.set_name,
                "runs": self.runs,
                "sentence": self.sentence,
                "ended": self.ended,
                "notes": list(self.notes),
                "settings": list(self.settings),
                "currency": None if self.costs is None else self.costs.currency,
                "rungs": [
                    {
                        "rung": rung.number,
                        "acres_per_day": rung.acres_per_day,
                        "bottleneck": rung.bottleneck.resource,
                        "bottleneck_alike": list(rung.bottleneck.alike),
                        "bottleneck_sentence": rung.bottleneck.sentence,
                        "taken": step_json(rung.taken),
                        "tried": [step_json(step) for step in rung.steps],
                    }
                    for rung in self.rungs
                ],
            }
        )

    def rung_sentence(self, rung: Rung) -> str:
        """Return one rung in a sentence."""
        step, unit = rung.taken, self.unit
        if step is None:
            output = f"{rung.acres_per_day / unit.acres:.0f} {unit.name} a day"
            return f"Rung {rung.number}: {output}. {rung.bottleneck.sentence}"
        gain = interval_text(step.extra_acres_per_day, unit.acres, f"{unit.name} a day")
        worth = ""
        if self.costs is not None and step.net_present_value is not None:
            value = money_range(step.net_present_value, self.costs.currency)
            worth = f", worth {value} over {self.costs.horizon_years:g} years"
        text = (
            f"Rung {rung.number}: {held_words(*rung.bottleneck.resources)} it back; {step.change} adds {gain}{worth}."
        )
        currency = "" if self.costs is None else self.costs.currency
        return text if step.job is None else f"{text} {step.job.sentence(unit, currency)}"


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
    seed : int, optional
        Seed; the scenario's by default.
    workers : int
        Processes.
    most_rungs : int
        Steps at most, 1 to 50.
    by : {"money", "acres"}, optional
        How a step is judged: net present value above 0 beyond doubt, or at least 1 % more acres beyond doubt. Money
        when the scenario has costs.
    pairs : bool
        Whether to try changes two at a time where no single one pays.
    report : callable, optional
        Progress.

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
    check_workers(workers)
    if not 1 <= most_rungs <= 50:
        raise InputError.single(f"got {most_rungs}; allowed is 1 to 50", "most_rungs")
    if by not in (None, "money", "acres"):
        raise InputError.single(f"got {by!r}; allowed is 'money' or 'acres'", "by")
    costs = None
    if by == "money" or (by is None and entry.scenario.costs is not None):
        costs = need_costs(entry, "ladder")
    climb = Climb(loaded, costs, wanted, checked_seed(loaded, seed), workers, report)
    rows = foot = simulate_sets([make_plan(entry)], climb.seed, wanted, workers, report)[0]
    rungs: list[Rung] = []
    settings: list[str] = []
    current, ended = entry, "rungs"
    whole = len(rows) == wanted
    for number in range(most_rungs + 1):
        tables: list[NDArray[np.float64]] = []
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
            rungs.append(Rung(number, float(rows[:, ACRES].mean()), judged(current, rows, ()), (), None))
            break
        best = climb.best(steps, rows)
        taken = None if number == most_rungs else best
        rungs.append(Rung(number, float(rows[:, ACRES].mean()), hold, tuple(climb.ranked(steps)), taken))
        if taken is None:
            ended = "rungs" if best is not None else ("acres" if costs is None else "money")
            break
        settings += taken.settings
        rows = tables[steps.index(taken)]
        current = vary(current, taken.settings, loaded.folder)
    return Ladder(
        entry.name,
        len(rows),
        tuple(rungs),
        ended,
        costs,
        tuple(settings),
        area_unit(entry.scenario.units),
        (*capped(entry, costs, foot, rows), *notes_of(costs, rungs)),
    )


def capped(
    entry: EquipmentSet, costs: Costs | None, foot: NDArray[np.float64], top: NDArray[np.float64]
) -> tuple[str, ...]:
    """Say where not the equipment but the demand caps what is sold, so that nothing added can show its worth."""
    said = []
    if costs is not None and costs.season_demand is not None:
        unit, demand = area_unit(entry.scenario.units), costs.season_demand / M2_PER_ACRE
        days = [demand / mean if (mean := float(rows[:, ACRES].mean())) > 0 else np.inf for rows in (foot, top)]
        if min(days) < costs.season_days:
            limit = f"The demand of {demand / unit.acres:,.0f} {unit.name} a season caps what is sold"
            reached = " and ".join(
                f"after {one:.0f} days {place}" if one < costs.season_days else f"never {place}"
                for one, place in zip(days, ("at the foot", "at the top"), strict=True)
            )
            said.append(f"{limit}: of {costs.season_days:g} work days it is reached {reached}.")
    return tuple(said)


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
