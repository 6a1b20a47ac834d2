"""Soak: many days of random valid scenarios, every conservation law checked on each day.

``ACREDAY_SOAK`` says how long: ``short`` (the default) is 2,000 days, a number that many days. Each violation is kept
with the seed of its batch and its whole scenario, so that it can become a test of its own.
"""

import copy
import json
import os
import re
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from scenarios_strategy import scenarios

from simulator.analysis.conservation import violations
from simulator.errors import InputError
from simulator.experiment.streams import StreamBank
from simulator.operation.day import simulate
from simulator.operation.plan import make_plan
from simulator.scenario.loading import load_scenario

SHORT_DAYS = 2000
BATCH = 50
"""Scenarios of one seed of the generator."""
DAYS_EACH = 5
"""Days of each scenario: faults are in the scenario more often than in the draw."""


@dataclass
class Found:
    """What a soak has seen."""

    days: int = 0
    scenarios: int = 0
    refused: int = 0
    faults: list[dict[str, object]] = field(default_factory=list)


def soak_batch(number: int, found: Found) -> None:
    """Simulate one batch of random scenarios; what breaks a law, or breaks off, is kept and the batch goes on."""

    @seed(number)
    @settings(
        max_examples=BATCH,
        phases=[Phase.generate],
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(scenarios())
    def one(table):
        found.scenarios += 1
        kept = copy.deepcopy(table)
        try:
            plan = make_plan(load_scenario(table).sets[0])
        except InputError:
            found.refused += 1
            return
        bank = StreamBank(number)
        for replication in range(DAYS_EACH):
            try:
                broken = violations(plan, simulate(plan, bank.day(replication), replication))
            except Exception as error:  # noqa: BLE001  whatever breaks off a day is a finding, and the soak goes on
                broken = [f"{type(error).__name__}: {error}"]
            found.days += 1
            if broken:
                entry = {"seed": number, "replication": replication, "broken": broken[:5], "scenario": kept}
                found.faults.append(entry)
                break

    one()


def days_wanted() -> int:
    """Return the days that ``ACREDAY_SOAK`` asks for."""
    text = os.environ.get("ACREDAY_SOAK", "short")
    return int(text) if text.isdigit() else SHORT_DAYS


@pytest.mark.slow
def test_soak():
    found, number = Found(), 0
    wanted = days_wanted()
    while found.days < wanted:
        number += 1
        soak_batch(number, found)
    print(f"soak: {found.days} days of {found.scenarios} scenarios, {found.refused} refused")
    assert not found.faults, json.dumps(found.faults[:3], indent=1)
    # a soak whose scenarios are nearly all refused has seen nothing
    assert found.refused < 0.5 * found.scenarios


def test_no_code_is_made_from_text_and_no_foreign_pickle_is_read():
    """``eval``, ``exec`` and unpickling let a file run code; a cluster's worker unpickles what its own client sent."""
    calls = re.compile(
        r"(?<![\w.])(eval|exec|compile|__import__)\(|\b(pickle|marshal|shelve|dill|joblib)\.loads?\(|\byaml\.load\(|allow_pickle=True|read_pickle\("
    )
    package = Path(__file__).parents[2] / "simulator"
    found = [
        f"{path.relative_to(package)}: {line.strip()}"
        for path in sorted(package.rglob("*.py"))
        for line in path.read_text(encoding="utf-8").splitlines()
        if calls.search(line)
    ]
    assert all(
        entry.startswith("experiment/replicate.py: _worker.update(key=key, plans=pickle.loads(packed)")
        for entry in found
    ), found
    assert len(found) <= 1
