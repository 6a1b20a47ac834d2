"""A short work day to try studies on: quick to simulate, all invented."""

import copy
import tomllib
from pathlib import Path

from simulator.scenario.loading import LoadedScenario, load_scenario

ROOT = Path(__file__).parents[2]
ACRE_M2 = 4046.8564224


def table() -> dict:
    raw = tomllib.loads((ROOT / "scenarios" / "third_pack.toml").read_text(encoding="utf-8"))
    raw["work_days"] = 1
    raw["day"] = {"start": "07:00", "window": "4 h"}
    raw["field"] = raw["field"][:1]
    raw["yard"] = {"drive_distance": "2 mi"}
    raw["equipment_set"] = {
        name: {"rig": {"main": {"packs": {"large_pack": count}}}} for name, count in (("two", 2), ("four", 4))
    }
    return raw


def short_scenario(**changes: object) -> LoadedScenario:
    return load_scenario(copy.deepcopy(table()) | changes, folder=ROOT / "scenarios")
