"""One rung of a ladder: the changes tried on a set, what each is worth, and which to take."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from simulator.analysis.bottleneck import Bottleneck
from simulator.analysis.variations import Variation, setting_key
from simulator.errors import InputError
from simulator.experiment.estimates import Interval, PairedInterval, paired_interval
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario.loading import EquipmentSet, vary
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_costs import Costs, Item
from simulator.study.cases import ACRES, FloatArray, Trials
from simulator.study.change import JobChange, job_change, joint_ledger, make_case
from simulator.study.day_money import jackknife
from simulator.study.money import item_table, pieces_of

LEAST_GAIN = 0.01
"""Without prices, a step must add this share of acres per day."""
Try = tuple[tuple[Variation, ...], EquipmentSet, DayPlan]
"""Changes, the set that they make, and its plan."""


@dataclass(frozen=True)
class Step:
    """Changes tried on a rung; intervals hold for all of the rung together, and are None for what has no price."""

    document: ClassVar = (
        "change", "resource", "settings", "extra_acres_per_day", "price", "extra_margin_per_season",
        "net_present_value", "job",
    )  # fmt: skip
    change: str
    resource: str
    settings: tuple[str, ...]
    parts: int
    extra_acres_per_day: PairedInterval
    job: JobChange | None
    price: float | None
    extra_margin_per_season: Interval | None
    net_present_value: Interval | None


@dataclass(frozen=True)
class Climb:
    """What stays the same from rung to rung."""

    trials: Trials
    costs: Costs | None

    def look(
        self, entry: EquipmentSet, rows: FloatArray, pairs: bool
    ) -> tuple[list[Step], list[FloatArray], Bottleneck]:
        """Simulate every single change on the runs of a set, and pairs of them when asked and no single one pays."""
        look = self.trials.look(entry, rows, len(rows))
        tries: list[Try] = [((variation,), changed, plan) for variation, changed, plan in look.found]
        tables = look.tables
        steps = self._steps(entry, rows, tries, tables)
        if pairs and self.best(steps, rows) is None and len(tries) > 1:
            couples = self._couples(entry, look.variations)
            plans = [plan for _, _, plan in couples]
            tables = [*tables, *self.trials.simulate(plans, len(rows), "two of them")]
            steps = self._steps(entry, rows, [*tries, *couples], tables)
        return steps, tables, look.hold

    def _couples(self, entry: EquipmentSet, singles: Sequence[Variation]) -> list[Try]:
        couples: list[Try] = []
        for both in itertools.combinations(singles, 2):
            first, second = ({setting_key(setting) for setting in one.settings} for one in both)
            if first & second:
                continue  # such as two sizes of one generator
            try:
                changed = vary(entry, [*both[0].settings, *both[1].settings], self.trials.loaded.folder)
                couples.append((both, changed, make_plan(changed)))
            except InputError:
                continue
        return couples

    def _steps(
        self, entry: EquipmentSet, rows: FloatArray, tries: Sequence[Try], tables: Sequence[FloatArray]
    ) -> list[Step]:
        # the confidence is shared out, so that one lucky change among many is not taken for a good one (Bonferroni)
        level = 1.0 - 0.05 / max(1, len(tries))
        steps = []
        for (variations, changed, _), table in zip(tries, tables, strict=True):
            n = min(len(rows), len(table))
            sets, both = (entry, changed), (rows[:n], table[:n])
            case, price, margin, value = None, None, None, None
            try:
                larger = None if self.costs is None else _enlarged(entry.scenario, changed.scenario, self.costs)
                if self.costs is not None and larger is not None:
                    case, _ = make_case(entry, changed, self.costs, None, "ladder", larger)
            except InputError:
                pass  # something in it has no price
            if case is not None:
                joint = joint_ledger(both, sets, case.costs)
                price = case.price - case.resale
                margin, value = (jackknife(each, joint, level) for each in (case.margin, case.value))
            step = Step(
                " with ".join(variation.change for variation in variations),
                variations[0].resource,
                tuple(setting for variation in variations for setting in variation.settings),
                len(variations),
                paired_interval(both[1][:, ACRES], both[0][:, ACRES], level),
                job_change(sets, both, case, level),
                price,
                margin,
                value,
            )
            steps.append(step)
        return steps

    def best(self, steps: Sequence[Step], rows: FloatArray) -> Step | None:
        """Return the change to take: the best of those that pay beyond doubt."""
        least = LEAST_GAIN * float(rows[:, ACRES].mean()) if self.costs is None else -np.inf
        judged = [(step, step.extra_acres_per_day if self.costs is None else step.net_present_value) for step in steps]
        good = [step for step, gain in judged if gain is not None and gain.mean >= least and (gain.low or 0.0) > 0]
        return max(good, key=self.merit, default=None)

    def merit(self, step: Step) -> float:
        """Return what a step brings, more being better; minus infinity without a price."""
        if self.costs is None:
            return step.extra_acres_per_day.mean
        return -np.inf if step.net_present_value is None else step.net_present_value.mean


def _enlarged(before: Scenario, after: Scenario, costs: Costs) -> list[Item] | None:
    """Return what is made larger instead of being added, priced in proportion; None when something has no price."""
    items, table, pieces = [], item_table(costs), pieces_of(before)
    for name, generator in before.generator.items():
        number = pieces["generator", name]
        share = after.generator[name].rated_power / generator.rated_power - 1.0
        if number and share > 0.0:
            item = table.get(("generator", name))
            if item is None:
                return None
            items.append(item.model_copy(update={"purchase": number * item.purchase * share}))
    for name, rig in before.rig.items():
        changed = after.rig[name]
        if any(point.grid_power != changed.power[key].grid_power for key, point in rig.power.items()):
            return None
        if (rig.supply.pump_flow, rig.supply.dry_flow) != (changed.supply.pump_flow, changed.supply.dry_flow):
            if costs.pump is None:
                return None
            items.append(costs.pump)
    return items
