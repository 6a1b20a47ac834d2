"""What to buy next, and next after that: one-more steps until nothing pays, with the bottleneck named at each rung."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.bottleneck import Bottleneck
from simulator.errors import InputError
from simulator.experiment.estimates import Interval, PairedInterval, paired_interval
from simulator.experiment.variations import LARGER, Variation
from simulator.operation.plan import DayPlan, make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary
from simulator.scenario.schema_costs import Costs, Item
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.day_money import jackknife, ledger_of
from simulator.study.money import item_table, need_costs
from simulator.study.payoff import Case, clean, interval_json, make_case
from simulator.study.trial import (
    ACRES,
    AreaUnit,
    Report,
    area_unit,
    check_days,
    check_workers,
    judged,
    offered,
    one_more,
    one_set,
    simulate_sets,
)
from simulator.study.words import interval_text, money_range, money_text

if TYPE_CHECKING:
    import pandas as pd

MOST_RUNGS = 6
"""Rungs climbed unless asked otherwise."""
LEAST_GAIN = 0.01
"""Without prices, a step must add this share of acres per day."""


@dataclass(frozen=True)
class Step:
    """One change tried on a rung.

    Parameters
    ----------
    change, resource : str
        In plain words, and what it relieves.
    settings : tuple of str
        ``KEY=VALUE`` changes.
    extra_acres_per_day : PairedInterval
        Paired difference to the set of the rung.
    price : float or None
        Cash needed; None when it has no price.
    extra_margin_per_season : Interval or None
        After running costs and equipment; None without a price.
    net_present_value : Interval or None
        Over the horizon, at the confidence that holds for all changes of the rung together.
    """

    change: str
    resource: str
    settings: tuple[str, ...]
    extra_acres_per_day: PairedInterval
    price: float | None
    extra_margin_per_season: Interval | None
    net_present_value: Interval | None


@dataclass(frozen=True)
class Rung:
    """One rung: the set as it stands, what holds it back, what was tried and what was taken.

    Parameters
    ----------
    number : int
        0 for the set as it is.
    acres_per_day : float
        Mean output.
    bottleneck : Bottleneck
        What holds it back.
    steps : tuple of Step
        Changes tried, best first.
    taken : Step or None
        The change that leads to the next rung; None on the last.
    """

    number: int
    acres_per_day: float
    bottleneck: Bottleneck
    steps: tuple[Step, ...]
    taken: Step | None


@dataclass(frozen=True)
class Ladder:
    """What to buy next, and next after that.

    Parameters
    ----------
    set_name : str
        Set at the foot.
    days : int
        Days simulated for each change.
    rungs : tuple of Rung
        From the foot up.
    ended : str
        Why it ends.
    costs : Costs or None
        Money; None when steps are judged by acres alone.
    settings : tuple of str
        All changes taken, which make the set at the top.
    unit : AreaUnit
        Area unit of sentences.
    notes : tuple of str
        What to know beside it.
    """

    set_name: str
    days: int
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
        hold = f"at the end {_hold(self.rungs[-1].bottleneck.resource)} it back"
        if not taken:
            what = "adds output beyond doubt" if self.costs is None else "pays beyond doubt"
            return f"Buy nothing: none of the {len(self.rungs[0].steps)} single changes tried {what} ({self.days} days each); {hold}."
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
            }

        return clean(
            {
                "study": "ladder",
                "equipment_set": self.set_name,
                "days": self.days,
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
            return f"Rung {rung.number}: {rung.acres_per_day / unit.acres:.0f} {unit.name} a day. {rung.bottleneck.sentence}"
        gain = interval_text(step.extra_acres_per_day, unit.acres, f"{unit.name} a day")
        worth = ""
        if self.costs is not None and step.net_present_value is not None:
            worth = f", worth {money_range(step.net_present_value, self.costs.currency)} over {self.costs.horizon_years:g} years"
        return f"Rung {rung.number}: {_hold(rung.bottleneck.resource)} it back; {step.change} adds {gain}{worth}."


def _hold(resource: str) -> str:
    words = {
        "packs": "the packs hold", "chargers": "the chargers hold", "generator": "the power supply holds", "crew": "the crew holds",
        "mix supply": "mixing and filling hold", "moves": "moving between fields holds", "aircraft": "the aircraft itself holds",
    }  # fmt: skip
    return words.get(resource, f"{resource} holds")


def ladder(
    loaded: LoadedScenario,
    set_name: str | None = None,
    days: int | None = None,
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
    days : int, optional
        Days for each change; the scenario's by default.
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
    wanted = loaded.base.days if days is None else days
    check_days(wanted)
    check_workers(workers)
    if not 1 <= most_rungs <= 50:
        raise InputError.single(f"got {most_rungs}; allowed is 1 to 50", "most_rungs")
    if by not in (None, "money", "acres"):
        raise InputError.single(f"got {by!r}; allowed is 'money' or 'acres'", "by")
    costs = None
    if by == "money" or (by is None and entry.scenario.costs is not None):
        costs = need_costs(entry, "ladder")
    climb = _Climb(loaded, costs, wanted, loaded.base.seed if seed is None else seed, workers, report)
    rows = simulate_sets([make_plan(entry)], climb.seed, wanted, workers, report)[0]
    rungs: list[Rung] = []
    settings: list[str] = []
    current, ended = entry, "rungs"
    for number in range(most_rungs + 1):
        try:
            steps, tables, hold = climb.look(current, rows, pairs)
        except KeyboardInterrupt:
            if not rungs:
                raise
            # the last finished step was taken; the rung above it was not looked at
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
        climb.notes(rungs),
    )


@dataclass
class _Climb:
    """What stays the same from rung to rung."""

    loaded: LoadedScenario
    costs: Costs | None
    days: int
    seed: int
    workers: int
    report: Report | None

    def look(
        self, entry: EquipmentSet, rows: NDArray[np.float64], pairs: bool
    ) -> tuple[list[Step], list[NDArray[np.float64]], Bottleneck]:
        """Simulate every single change on the days of a set, and pairs of them when asked and no single one pays."""
        found = offered(self.loaded, entry)
        tables = (
            simulate_sets(
                [plan for _, _, plan in found], self.seed, len(rows), self.workers, self.report, "one more of each"
            )
            if found
            else []
        )
        hold = judged(entry, rows, one_more([variation for variation, _, _ in found], tables, rows))
        tries = [((variation,), changed) for variation, changed, _ in found]
        steps = self._steps(entry, rows, tries, tables)
        if pairs and self.best(steps, rows) is None and len(found) > 1:
            couples = self._couples(entry, [variation for variation, _, _ in found])
            more = simulate_sets(
                [plan for _, _, plan in couples], self.seed, len(rows), self.workers, self.report, "two of them"
            )
            tables = [*tables, *more]
            tries += [(both, changed) for both, changed, _ in couples]
            steps = self._steps(entry, rows, tries, tables)
        return steps, tables, hold

    def _couples(
        self, entry: EquipmentSet, singles: Sequence[Variation]
    ) -> list[tuple[tuple[Variation, ...], EquipmentSet, DayPlan]]:
        couples: list[tuple[tuple[Variation, ...], EquipmentSet, DayPlan]] = []
        for place, one in enumerate(singles):
            for two in singles[place + 1 :]:
                try:
                    changed = vary(entry, [one.setting, two.setting], self.loaded.folder)
                    couples.append(((one, two), changed, make_plan(changed)))
                except InputError:
                    continue
        return couples

    def _steps(
        self, entry: EquipmentSet, rows: NDArray[np.float64], tries: Sequence[tuple[tuple[Variation, ...], EquipmentSet]],
        tables: Sequence[NDArray[np.float64]],
    ) -> list[Step]:  # fmt: skip
        # the confidence is shared out, so that one lucky change among many is not taken for a good one (Bonferroni)
        level = 1.0 - 0.05 / max(1, len(tries))
        steps = []
        for (variations, changed), table in zip(tries, tables, strict=True):
            n = min(len(rows), len(table))
            extra = paired_interval(table[:n, ACRES], rows[:n, ACRES], level)
            price = margin = value = None
            case = None if self.costs is None else self._case(entry, changed, variations, self.costs)
            if case is not None and self.costs is not None:
                joint = np.hstack(
                    [
                        ledger_of(rows[:n], entry.scenario, self.costs),
                        ledger_of(table[:n], changed.scenario, self.costs),
                    ]
                )
                price, margin, value = self._worth(case, joint, level)
            words = " with ".join(variation.change for variation in variations)
            settings = tuple(variation.setting for variation in variations)
            steps.append(Step(words, variations[0].resource, settings, extra, price, margin, value))
        return steps

    def _worth(self, case: Case, joint: NDArray[np.float64], level: float) -> tuple[float, Interval, Interval]:
        days = case.costs.season_days
        demand = None if case.costs.season_demand is None else case.costs.season_demand / M2_PER_ACRE
        margin = jackknife(lambda m: case.margin(m, days, demand), joint, level)
        value = jackknife(lambda m: case.value(m, days, demand), joint, level)
        return case.price - case.resale, margin, value

    def _case(
        self, entry: EquipmentSet, changed: EquipmentSet, variations: Sequence[Variation], costs: Costs
    ) -> Case | None:
        """Return the money of a change; None when something in it has no price."""
        larger = [item for item in (self._larger(entry, one, costs) for one in variations) if item is not None]
        try:
            if len(larger) == len(variations) == 1:
                return make_case(entry, changed, costs, larger[0], "ladder")[0]
            return None if larger else make_case(entry, changed, costs, None, "ladder")[0]
        except InputError:
            return None

    @staticmethod
    def _larger(entry: EquipmentSet, variation: Variation, costs: Costs) -> Item | None:
        """Return the price of a larger generator (in proportion to its power) or pump; None for all else."""
        if variation.resource == "mix supply":
            return costs.pump
        kind, _, rest = variation.setting.partition(".")
        if kind != "generator":
            return None
        item = item_table(costs).get(("generator", rest.split(".")[0]))
        return None if item is None else item.model_copy(update={"purchase": item.purchase * (LARGER - 1.0)})

    def best(self, steps: Sequence[Step], rows: NDArray[np.float64]) -> Step | None:
        """Return the change to take: the best of those that pay beyond doubt."""
        if self.costs is None:
            least = LEAST_GAIN * float(rows[:, ACRES].mean())
            good = [
                step
                for step in steps
                if step.extra_acres_per_day.mean >= least and (step.extra_acres_per_day.low or 0.0) > 0
            ]
        else:
            good = [
                step for step in steps if step.net_present_value is not None and (step.net_present_value.low or 0.0) > 0
            ]
        return max(good, key=self._merit, default=None)

    def ranked(self, steps: Sequence[Step]) -> list[Step]:
        """Return the changes, best first; those without a price last."""
        return sorted(steps, key=self._merit, reverse=True)

    def _merit(self, step: Step) -> float:
        if self.costs is None:
            return step.extra_acres_per_day.mean
        return -np.inf if step.net_present_value is None else step.net_present_value.mean

    def notes(self, rungs: Sequence[Rung]) -> tuple[str, ...]:
        """Say which changes had no price and how larger equipment was priced."""
        if self.costs is None:
            return ("Judged by acres alone: a table [costs] lets the ladder stop where nothing pays.",)
        unpriced = sorted({step.change for rung in rungs for step in rung.steps if step.net_present_value is None})
        said = ["A larger generator is priced in proportion to its power (assumption)."]
        if unpriced:
            said.append(f"Without a price, so not considered: {', '.join(unpriced)}.")
        said.append("Steps are taken one at a time; two changes that only help together are found with pairs.")
        return tuple(said)
