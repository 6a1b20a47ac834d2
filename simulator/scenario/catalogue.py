"""The catalogue: equipment classes that a scenario may start from by ``like``."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any


@cache
def catalogue() -> dict[str, dict[str, Any]]:
    """Return the equipment classes by table and name (invented; see the file's head)."""
    text = resources.files("simulator.scenario").joinpath("catalogue.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
