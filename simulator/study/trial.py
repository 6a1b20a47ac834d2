"""What every study starts from: its sets, its options checked, and what holds a set back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.bottleneck import Bottleneck, OneMore
from simulator.analysis.resources import one_more_of_each
from simulator.analysis.summary import MEASURES
from simulator.analysis.variations import Variation
from simulator.errors import InputError, Problem
from simulator.experiment.estimates import paired_interval
from simulator.experiment.result import SetResult
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario.field_list import field_list
from simulator.scenario.files import ScenarioFolder
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE

FloatArray = NDArray[np.float64]
Report = Callable[[str, int, int], None]
ACRES = MEASURES.index("acres")
_FULL_DAY = MEASURES.index("full_day_acres")


@dataclass(frozen=True)
class AreaUnit:
    """Unit of area in which a study speaks: as in "40 acres" and "a price per acre", and acres in one."""

    name: str
    one: str
    acres: float

    @property
    def an(self) -> str:
        """One of it, as in "an acre costs"."""
        return f"{'an' if self.one == 'acre' else 'a'} {self.one}"

    def of_m2(self, area_m2: float) -> float:
        """Return an area of square metres in this unit."""
        return area_m2 / M2_PER_ACRE / self.acres


def area_unit(units: str) -> AreaUnit:
    """Return the unit of a scenario's ``units``."""
    return AreaUnit("ha", "ha", M2_PER_HECTARE / M2_PER_ACRE) if units == "metric" else AreaUnit("acres", "acre", 1.0)


MOST_CASE_RUNS = 5_000_000
"""A study that would simulate more runs than this is refused: a mistyped number, not a question."""


def check_runs(runs: int, cases: int = 1, where: str = "runs", least: int = 10) -> None:
    """Refuse a number of runs that gives no interval, or a study of unreasonable size."""
    most = min(1_000_000, MOST_CASE_RUNS // max(1, cases))
    if not least <= runs <= most:
        raise InputError.single(f"got {runs}; allowed is {least} to {most} runs for each of {cases} cases", where)


def checked_seed(loaded: LoadedScenario, seed: int | None, workers: int = 1) -> int:
    """Return the seed to use: the one given, or the scenario's; refuse numbers of processes out of range, too."""
    if not 1 <= workers <= 1024:
        raise InputError.single(f"got {workers}; allowed is 1 to 1024", "workers")
    used = loaded.base.seed if seed is None else seed
    if not 0 <= used < 2**63:
        raise InputError.single(f"got {seed}; allowed is 0 to {2**63 - 1}", "seed")
    return used


class Problems:
    """Problems of many cases, so that all of them are told at once."""

    def __init__(self) -> None:
        self.found: list[Problem] = []

    @contextmanager
    def of(self, case: str = "", file: str = "") -> Iterator[None]:
        """Keep what is wrong with a case, put down to the case where it is named."""
        try:
            yield
        except InputError as error:
            for one in error.problems:
                message = f"{one.where}: {one.message}" if case and one.where else one.message
                self.found.append(Problem(case or one.where, message, file or one.file))

    def tell(self) -> None:
        """Raise what was found, each problem once."""
        if self.found:
            raise InputError(list(dict.fromkeys(self.found)))


def one_set(loaded: LoadedScenario, name: str | None) -> EquipmentSet:
    """Return a set by name, or the first."""
    return loaded.sets[0] if name is None else loaded.equipment_set(name)


def sets_of(loaded: LoadedScenario, names: Iterable[str]) -> list[EquipmentSet]:
    """Return sets by name, each once, or all."""
    return [loaded.equipment_set(name) for name in dict.fromkeys(names)] or list(loaded.sets)


def changed_set(
    equipment: EquipmentSet, settings: Iterable[str], folder: ScenarioFolder, name: str | None = None
) -> EquipmentSet:
    """Return an equipment set with values changed, its field list read anew where the change concerns it."""
    texts = list(settings)
    entry = vary(equipment, texts, folder, name)
    if any(text.split("=", 1)[0].split(".", 1)[0].strip() in ("field", "field_file", "yard") for text in texts):
        return replace(entry, fields=field_list(entry.scenario, folder))
    return entry


def single_days(rows: FloatArray) -> FloatArray:
    """Return acres of single full work days, one of each run; those of the runs where none has a full day."""
    acres: FloatArray = rows[:, _FULL_DAY]
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


def one_more(variations: Sequence[Variation], tables: Sequence[FloatArray], base: FloatArray) -> tuple[OneMore, ...]:
    """Return what each change adds to acres per day, best first."""
    found = []
    for variation, rows in zip(variations, tables, strict=True):
        n = min(len(rows), len(base))
        pair = paired_interval(rows[:n, ACRES], base[:n, ACRES])
        low, high = (pair.mean if limit is None else limit for limit in (pair.low, pair.high))
        found.append(OneMore(variation.change, variation.resource, variation.setting, pair.mean, low, high, pair.n))
    return tuple(sorted(found, key=lambda change: -change.acres_per_day))


def judged(entry: EquipmentSet, rows: FloatArray, changes: tuple[OneMore, ...]) -> Bottleneck:
    """Return what holds a set back."""
    scenario = entry.scenario
    numbers = np.arange(len(rows), dtype=np.int64)
    return SetResult(entry.name, numbers, rows, changes, scenario.product.kind == "liquid", scenario.units).bottleneck()
