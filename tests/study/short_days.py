"""The shipped scenario with prices, with days of three hours so that studies in tests are quick."""

from __future__ import annotations

import tomllib
from pathlib import Path

from simulator.scenario.loading import LoadedScenario, load_scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PRICED = SCENARIOS / "third_pack_costs.toml"
SHORT = (
    "day.last_landing=10:00", "day.breaks=[]", "work=repeat", "work_days=1", "field.0.count=1", "field.1.count=1",
)  # fmt: skip
THIRD_PACK = "rig.main.packs.large_pack=3"


def short(*settings: str) -> LoadedScenario:
    """Return the scenario with short days and further settings."""
    return load_scenario(PRICED, [*SHORT, *settings])


def calm(*settings: str) -> LoadedScenario:
    """Return the same without weather stoppages: days that differ little."""
    raw = tomllib.loads(PRICED.read_text(encoding="utf-8"))
    raw["weather"].pop("stoppages")
    return load_scenario(raw, [*SHORT, *settings], folder=SCENARIOS)
