"""A scenario's text as the command line would read it: its equipment sets and plans, or every problem in it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from simulator.errors import InputError, Problem
from simulator.experiment.run import make_plans
from simulator.plan.day_plan import DayPlan
from simulator.scenario.catalogue import catalogue
from simulator.scenario.layers import merge_set
from simulator.scenario.loading import LoadedScenario, load_scenario


@dataclass(frozen=True)
class Checked:
    """What a scenario's text says; without ``loaded`` there are problems, and the tables are shown as they stand."""

    tables: dict[str, Any]
    loaded: LoadedScenario | None = None
    plans: Sequence[DayPlan] = ()
    problems: Sequence[Problem] = ()
    merged: Mapping[str, dict[str, Any]] = field(default_factory=dict)
    """Every set with its changes laid over the scenario, and classes followed; ``""`` where it declares no set."""

    @property
    def metric(self) -> bool:
        """Whether the scenario is in metric units."""
        return self.tables.get("units") == "metric"

    @property
    def notes(self) -> list[tuple[str, Problem]]:
        """What is valid, but should not pass without a word, each with its set as ``merged`` names it."""
        sets = self.loaded.sets if self.loaded else ()
        return [(one.name if one.name in self.merged else "", note) for one in sets for note in one.notes]

    def prefix(self, name: str) -> tuple[str, ...]:
        """Return where the changes of a set stand; nowhere when the scenario is its own only set."""
        return ("equipment_set", name) if name else ()

    def called(self, name: str) -> str:
        """Return what people call a set."""
        return str(self.merged[name].get("label") or name.replace("_", " ") or "this set")

    @property
    def digest(self) -> str:
        """What the answer depends on, short; empty when there are problems."""
        if self.loaded is None:
            return ""
        return f"{self.loaded.digest()[:20]}-{self.loaded.base.seed}-{self.loaded.base.runs}"


def check(text: str, home: Path, file: str) -> Checked:
    """Read a scenario's text; files that it names lie in its home folder."""
    try:
        tables = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        return Checked({}, problems=[Problem("", f"broken TOML: {error}", file)])
    merged = _merged(tables)
    try:
        loaded = load_scenario(tables, folder=home)
        return Checked(tables, loaded, make_plans(loaded), (), merged)
    except InputError as error:
        return Checked(tables, None, (), [replace(one, file=one.file or file) for one in error.problems], merged)


def _merged(tables: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    plain = {key: value for key, value in tables.items() if key != "equipment_set"}
    sets = tables.get("equipment_set") or {"": {}}
    found: dict[str, dict[str, Any]] = {}
    for name, override in sets.items() if isinstance(sets, Mapping) else ():
        # where tables are none the loader says so
        with suppress(InputError, TypeError, KeyError, AttributeError, ValueError):
            found[name] = merge_set(plain, override, (), catalogue(), [])
    return found


def fresh_problems(before: Checked, after: Checked) -> list[Problem]:
    """Return what a change makes wrong that was not wrong before; a file that was wrong may be mended step by step."""
    old = set(before.problems)
    fresh = [one for one in after.problems if one not in old]
    return fresh if len(after.problems) > len(before.problems) or not before.problems else []
