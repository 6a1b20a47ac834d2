"""Which model simulates: its sources, and whether they run as machine code."""

from __future__ import annotations

import hashlib
from importlib.machinery import EXTENSION_SUFFIXES
from pathlib import Path

from simulator.operation import day

PACKAGE = Path(__file__).resolve().parents[1]
_ROOMS = ("physics", "scenario", "plan", "operation", "analysis")
"""What a day's numbers come from."""


def engine() -> str:
    """Return what runs the days: SimPy, with the model interpreted or, if it was so installed, compiled."""
    return "simpy, compiled" if day.__file__.endswith(tuple(EXTENSION_SUFFIXES)) else "simpy, interpreted"


def digest(package: Path = PACKAGE) -> str:
    """Return a hash of the model's sources, which tells one state of the model from another of the same version."""
    found = hashlib.sha256()
    for room in _ROOMS:
        for path in sorted((package / room).glob("*.py")):
            found.update(path.name.encode() + path.read_bytes())
    return found.hexdigest()
