"""The catalogue: equipment classes that a scenario may start from by ``like``."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any

from simulator.scenario.layers import with_calibrations


@cache
def catalogue() -> dict[str, dict[str, Any]]:
    """Return the equipment classes by table and name (invented), with what their hover minutes were measured with."""
    text = resources.files("simulator.scenario").joinpath("catalogue.toml").read_text(encoding="utf-8")
    raw = tomllib.loads(text)
    return with_calibrations(raw, set(raw["aircraft"]), raw)
