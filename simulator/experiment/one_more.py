"""One more of each: the changes that a set may be given, and what one adds."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

from simulator.analysis.bottleneck import OneMore
from simulator.analysis.resources import one_more_of_each
from simulator.analysis.variations import Variation
from simulator.errors import InputError
from simulator.experiment.estimates import paired_interval
from simulator.experiment.run_store import Rows
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary

Offer = tuple[Variation, EquipmentSet, DayPlan]
"""A change, the set that it makes, and its plan."""


def offered(loaded: LoadedScenario, entry: EquipmentSet) -> Iterator[Offer]:
    """Yield every change that makes a valid set (more people than a trailer may carry, say, do not)."""
    for variation in one_more_of_each(entry.scenario):
        with suppress(InputError):
            changed = vary(entry, variation.settings, loaded.folder)
            yield variation, changed, make_plan(changed)


def added(variation: Variation, changed: Rows, unchanged: Rows) -> OneMore:
    """Return what a change adds to acres a day, from the runs that both have."""
    n = min(len(changed), len(unchanged))
    pair = paired_interval(changed[:n], unchanged[:n])
    low, high = (pair.mean if limit is None else limit for limit in (pair.low, pair.high))
    return OneMore(variation.change, variation.resource, variation.setting, pair.mean, low, high, pair.n)


def best_first(changes: list[OneMore]) -> tuple[OneMore, ...]:
    """Return changes by what they add."""
    return tuple(sorted(changes, key=lambda change: -change.acres_per_day))
