"""Several equipment sets on the same random runs: what every study starts from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.bottleneck import Bottleneck, OneMore
from simulator.analysis.resources import one_more_of_each
from simulator.analysis.summary import MEASURES
from simulator.analysis.variations import Variation
from simulator.errors import InputError
from simulator.experiment.estimates import paired_interval
from simulator.experiment.result import SetResult
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE

Report = Callable[[str, int, int], None]
ACRES = MEASURES.index("acres")
_FULL_DAY = MEASURES.index("full_day_acres")


@dataclass(frozen=True)
class AreaUnit:
    """Unit of area in which a study speaks."""

    name: str
    one: str
    acres: float


def area_unit(units: str) -> AreaUnit:
    """Return the unit of a scenario's ``units``."""
    return AreaUnit("ha", "ha", M2_PER_HECTARE / M2_PER_ACRE) if units == "metric" else AreaUnit("acres", "acre", 1.0)


def check_runs(runs: int, option: str = "runs", least: int = 10, most: int = 1_000_000) -> None:
    """Refuse a number of runs that a study cannot use."""
    if not least <= runs <= most:
        raise InputError.single(f"got {runs}; allowed is {least} to {most}", option)


def checked_seed(loaded: LoadedScenario, seed: int | None) -> int:
    """Return the seed to use: the one given, or the scenario's."""
    used = loaded.base.seed if seed is None else seed
    if not 0 <= used < 2**63:
        raise InputError.single(f"got {seed}; allowed is 0 to {2**63 - 1}", "seed")
    return used


def check_workers(workers: int) -> None:
    """Refuse a number of processes out of range (1 to 1024)."""
    if not 1 <= workers <= 1024:
        raise InputError.single(f"got {workers}; allowed is 1 to 1024", "workers")


def one_set(loaded: LoadedScenario, name: str | None) -> EquipmentSet:
    """Return a set by name, or the first."""
    return loaded.sets[0] if name is None else loaded.equipment_set(name)


def changed_set(
    loaded: LoadedScenario, base: EquipmentSet, changes: Sequence[str], other: str | None, name: str
) -> EquipmentSet:
    """Return the set that a change leads to: settings over the base, or another set of the scenario."""
    if bool(changes) == (other is not None):
        raise InputError.single("allowed is either changes (KEY=VALUE) or another equipment set to change to", "change")
    return loaded.equipment_set(other) if other is not None else vary(base, changes, loaded.folder, name)


def single_days(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return acres of single full work days, one of each run; those of the runs where none has a full day."""
    acres: NDArray[np.float64] = rows[:, _FULL_DAY]
    acres = acres[np.isfinite(acres)]
    return acres if len(acres) > 1 else rows[:, ACRES]


def offered(loaded: LoadedScenario, entry: EquipmentSet) -> list[tuple[Variation, EquipmentSet, DayPlan]]:
    """Return every change of one more that makes a valid set, with its plan."""
    found = []
    for variation in one_more_of_each(entry.scenario):
        try:
            changed = vary(entry, variation.settings, loaded.folder)
            found.append((variation, changed, make_plan(changed)))
        except InputError:
            continue  # such as more people than a trailer may carry: not offered
    return found


def one_more(
    variations: Sequence[Variation], tables: Sequence[NDArray[np.float64]], base: NDArray[np.float64]
) -> tuple[OneMore, ...]:
    """Return what each change adds to acres per day, best first."""
    found = []
    for variation, rows in zip(variations, tables, strict=True):
        n = min(len(rows), len(base))
        pair = paired_interval(rows[:n, ACRES], base[:n, ACRES])
        low, high = (pair.mean if limit is None else limit for limit in (pair.low, pair.high))
        found.append(OneMore(variation.change, variation.resource, variation.setting, pair.mean, low, high, pair.n))
    return tuple(sorted(found, key=lambda change: -change.acres_per_day))


def judged(entry: EquipmentSet, rows: NDArray[np.float64], changes: tuple[OneMore, ...]) -> Bottleneck:
    """Return what holds a set back."""
    scenario = entry.scenario
    numbers = np.arange(len(rows), dtype=np.int64)
    return SetResult(entry.name, numbers, rows, changes, scenario.product.kind == "liquid", scenario.units).bottleneck()
