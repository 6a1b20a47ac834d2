"""Shipped scenarios with short days, so that studies in tests are quick; all invented."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path

import numpy as np

from simulator.analysis.summary import columns, place_of
from simulator.scenario.loading import LoadedScenario, load_scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PRICED = SCENARIOS / "third_pack_costs.toml"
ACRE_M2 = 4046.8564224
SHORT = (
    "day.last_landing=10:00", "day.breaks=[]", "work=repeat", "work_days=1", "field.0.count=1", "field.1.count=1",
)  # fmt: skip
THIRD_PACK = "rig.main.packs.large_pack=3"


def short(*settings: str) -> LoadedScenario:
    """Return the scenario with prices, days of three hours and further settings."""
    return load_scenario(PRICED, [*SHORT, *settings])


def calm(*settings: str) -> LoadedScenario:
    """Return the same without weather stoppages: days that differ little."""
    raw = tomllib.loads(PRICED.read_text(encoding="utf-8"))
    raw["weather"].pop("stoppages")
    return load_scenario(raw, [*SHORT, *settings], folder=SCENARIOS)


def table() -> dict:
    """Return a scenario without prices: one field, four hours, sets of two and of four packs."""
    raw = tomllib.loads((SCENARIOS / "third_pack.toml").read_text(encoding="utf-8"))
    raw["work_days"] = 1
    raw["day"] = {"start": "07:00", "window": "4 h"}
    raw["field"] = raw["field"][:1]
    raw["yard"] = {"drive_distance": "2 mi"}
    raw["equipment_set"] = {
        name: {"rig": {"main": {"packs": {"large_pack": count}}}} for name, count in (("two", 2), ("four", 4))
    }
    return raw


def two_and_four(**changes: object) -> LoadedScenario:
    """Return that scenario with changes."""
    return load_scenario(copy.deepcopy(table()) | changes, folder=SCENARIOS)


def rows_of(count: int, fill: float = np.nan, **values: object) -> np.ndarray:
    """Return made-up rows of runs with these measures, all else the same."""
    rows = np.full((count, len(columns())), fill)
    for name, value in values.items():
        rows[:, place_of(name)] = value
    return rows
