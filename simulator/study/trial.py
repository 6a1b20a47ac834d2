"""What every study starts from: its sets, and its options checked."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import MEASURES
from simulator.errors import InputError
from simulator.scenario.field_list import field_list
from simulator.scenario.files import ScenarioFolder
from simulator.scenario.loading import EquipmentSet, LoadedScenario, vary

FloatArray = NDArray[np.float64]
Report = Callable[[str, int, int], None]
ACRES = MEASURES.index("acres")
_FULL_DAY = MEASURES.index("full_day_acres")


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
