"""One rung of a ladder: the changes tried on a set, what each is worth, and which to take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.bottleneck import Bottleneck
from simulator.analysis.variations import LARGER, Variation
from simulator.errors import InputError
from simulator.experiment.estimates import Interval, PairedInterval, paired_interval
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary
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
    job : JobChange or None
        What it does to the whole job; None where the list repeats or is not always done.
    """

    change: str
    resource: str
    settings: tuple[str, ...]
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
                try:
                    changed = vary(entry, [one.setting, two.setting], self.loaded.folder)
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
            job = job_change(entry, changed, (rows[:n], table[:n]), case, level)
            steps.append(Step(words, variations[0].resource, settings, extra, price, margin, value, job))
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
        found = [self._larger(entry, one, costs) for one in variations if self._is_larger(one)]
        larger = [item for item in found if item is not None]
        known = len(larger) == len(found)
        try:
            return make_case(entry, changed, costs, None, "ladder", larger)[0] if known else None
        except InputError:
            return None

    @staticmethod
    def _is_larger(variation: Variation) -> bool:
        """Tell whether a change makes something larger instead of adding a piece or a person."""
        return variation.resource == "mix supply" or variation.resource == "generator"

    @staticmethod
    def _larger(entry: EquipmentSet, variation: Variation, costs: Costs) -> Item | None:
        """Return the price of a larger generator (in proportion to its power) or pump; None when it has none."""
        if variation.resource == "mix supply":
            return costs.pump
        kind, _, rest = variation.setting.partition(".")
        item = item_table(costs).get(("generator", rest.split(".")[0])) if kind == "generator" else None
        if item is None:
            return None  # such as a larger grid supply
        number = sum(
            piece.number
            for piece in pieces_of(entry.scenario)
            if (piece.kind, piece.name) == ("generator", rest.split(".")[0])
        )
        return item.model_copy(update={"purchase": number * item.purchase * (LARGER - 1.0)})

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
