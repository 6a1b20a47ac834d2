"""One rung of a ladder: the changes tried on a set, what each is worth, and which to take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.bottleneck import Bottleneck
from simulator.analysis.variations import Variation, setting_key
from simulator.errors import InputError
from simulator.experiment.estimates import Interval, PairedInterval, paired_interval
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_costs import Costs, Item
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.cases import simulate_sets
from simulator.study.day_money import jackknife, ledger_of
from simulator.study.job_change import JobChange, job_change
from simulator.study.money import item_table, pieces_of
from simulator.study.payoff_case import Case, make_case
from simulator.study.trial import (
    ACRES,
    Report,
    judged,
    offered,
    one_more,
)

LEAST_GAIN = 0.01
"""Without prices, a step must add this share of acres per day."""


@dataclass(frozen=True)
class Step:
    """One change tried on a rung."""

    change: str
    resource: str
    settings: tuple[str, ...]
    parts: int
    extra_acres_per_day: PairedInterval
    price: float | None
    extra_margin_per_season: Interval | None
    net_present_value: Interval | None
    job: JobChange | None


@dataclass
class Climb:
    """What stays the same from rung to rung."""

    loaded: LoadedScenario
    costs: Costs | None
    runs: int
    seed: int
    workers: int
    report: Report | None

    def look(
        self, entry: EquipmentSet, rows: NDArray[np.float64], pairs: bool
    ) -> tuple[list[Step], list[NDArray[np.float64]], Bottleneck]:
        """Simulate every single change on the runs of a set, and pairs of them when asked and no single one pays."""
        found = offered(self.loaded, entry)
        tables = (
            simulate_sets(
                [plan for _, _, plan in found], self.seed, len(rows), self.workers, self.report, "one more of each"
            )
            if found
            else []
        )
        hold = judged(entry, rows, one_more([variation for variation, _, _ in found], tables, rows))
        tries: list[tuple[tuple[Variation, ...], EquipmentSet]] = [
            ((variation,), changed) for variation, changed, _ in found
        ]
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
                if {setting_key(setting) for setting in one.settings} & {
                    setting_key(setting) for setting in two.settings
                }:
                    continue  # such as two sizes of one generator
                try:
                    changed = vary(entry, [*one.settings, *two.settings], self.loaded.folder)
                    couples.append(((one, two), changed, make_plan(changed)))
                except InputError:
                    continue
        return couples

    def _steps(
        self,
        entry: EquipmentSet,
        rows: NDArray[np.float64],
        tries: Sequence[tuple[tuple[Variation, ...], EquipmentSet]],
        tables: Sequence[NDArray[np.float64]],
    ) -> list[Step]:
        # the confidence is shared out, so that one lucky change among many is not taken for a good one (Bonferroni)
        level = 1.0 - 0.05 / max(1, len(tries))
        steps = []
        for (variations, changed), table in zip(tries, tables, strict=True):
            n = min(len(rows), len(table))
            extra = paired_interval(table[:n, ACRES], rows[:n, ACRES], level)
            price = margin = value = None
            case = None if self.costs is None else self._case(entry, changed, self.costs)
            if case is not None and self.costs is not None:
                joint = np.hstack(
                    [
                        ledger_of(rows[:n], entry.scenario, self.costs),
                        ledger_of(table[:n], changed.scenario, self.costs),
                    ]
                )
                price, margin, value = self._worth(case, joint, level)
            words = " with ".join(variation.change for variation in variations)
            settings = tuple(setting for variation in variations for setting in variation.settings)
            job = job_change(entry, changed, (rows[:n], table[:n]), case, level)
            parts = len(variations)
            steps.append(Step(words, variations[0].resource, settings, parts, extra, price, margin, value, job))
        return steps

    def _worth(self, case: Case, joint: NDArray[np.float64], level: float) -> tuple[float, Interval, Interval]:
        days = case.costs.season_days
        demand = None if case.costs.season_demand is None else case.costs.season_demand / M2_PER_ACRE
        margin = jackknife(lambda m: case.margin(m, days, demand), joint, level)
        value = jackknife(lambda m: case.value(m, days, demand), joint, level)
        return case.price - case.resale, margin, value

    def _case(self, entry: EquipmentSet, changed: EquipmentSet, costs: Costs) -> Case | None:
        """Return the money of a change; None when something in it has no price."""
        try:
            larger = _enlarged(entry.scenario, changed.scenario, costs)
            return None if larger is None else make_case(entry, changed, costs, None, "ladder", larger)[0]
        except InputError:
            return None

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


def _enlarged(before: Scenario, after: Scenario, costs: Costs) -> list[Item] | None:
    """Return what is made larger instead of being added, priced in proportion; None when something has no price."""
    items, table, pieces = [], item_table(costs), pieces_of(before)
    for name, generator in before.generator.items():
        number = sum(piece.number for piece in pieces if (piece.kind, piece.name) == ("generator", name))
        share = after.generator[name].rated_power / generator.rated_power - 1.0
        item = table.get(("generator", name))
        if number and share > 0.0:
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
