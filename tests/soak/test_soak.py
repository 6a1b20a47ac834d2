"""Soak, in a short form: random valid scenarios, every conservation law checked on each day; see `soaking.py`.

``ACREDAY_SOAK`` says how long: ``short`` (the default) is 2,000 days, a number that many days.
"""

import json
import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import soaking
from soaking import Found, check_run, soak, soak_batch

from simulator.operation.log import State
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

SHORT_DAYS = 2000


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
    print(f"soak: {found}")
    assert not found.faults, json.dumps(found.faults[:3], indent=1)
    # a soak whose scenarios are nearly all refused, or fly nothing, has seen nothing
    assert found.refused < 0.5 * found.scenarios
    assert found.sorties > 5 * found.days


# --- the soak itself finds what it looks for ---


def small_plan():
    from small_day import TABLE

    return make_plan(load_scenario(TABLE).sets[0])


def test_a_day_that_breaks_a_law_is_a_finding(monkeypatch):
    honest = soaking.run_job

    def waits_twice(plan, streams, replication):
        for one in honest(plan, streams, replication):
            one.day.log.add(0.0, 60.0, "main/big 1", State.WAIT)
            yield one

    assert not check_run(small_plan(), StreamBank(1), 0, Found())
    monkeypatch.setattr(soaking, "run_job", waits_twice)
    assert "main/big 1" in check_run(small_plan(), StreamBank(1), 0, Found())[0]


def test_a_day_that_breaks_off_or_never_ends_is_a_finding(monkeypatch):
    def fails(*_):
        raise RuntimeError("broken")

    def hangs(*_):
        while True:
            pass

    monkeypatch.setattr(soaking, "run_job", fails)
    assert check_run(small_plan(), StreamBank(1), 0, Found()) == ["RuntimeError: broken"]
    monkeypatch.setattr(soaking, "run_job", hangs)
    monkeypatch.setattr(soaking, "MOST_S", 0.2)
    assert "broken off" in check_run(small_plan(), StreamBank(1), 0, Found())[0]


def counted(broken):
    """Return a check that finds always the same in a run of one day."""

    def check(_plan, _bank, _replication, found):
        found.days += 1
        return broken

    return check


def test_findings_are_told_with_seed_and_scenario_and_the_soak_goes_on(monkeypatch):
    monkeypatch.setattr(soaking, "check_run", counted(["a law"]))
    monkeypatch.setattr(soaking, "BATCH", 10)
    lines = []
    found = soak(12, 5.0, 3, lines.append)
    told = [json.loads(line) for line in lines if line.startswith("{")]
    assert len(told) == len(found.faults) >= 12
    assert {entry["seed"] for entry in told} == {3, 4}
    assert told[0]["broken"] == ["a law"]
    assert load_scenario(told[0]["scenario"]).sets


def test_it_stops_at_the_time(monkeypatch):
    monkeypatch.setattr(soaking, "check_run", counted([]))
    monkeypatch.setattr(soaking, "BATCH", 10)
    lines = []
    assert soak(10**9, 0.001, 1, lines.append).days > 0
    assert lines[-1].startswith("ended after")
