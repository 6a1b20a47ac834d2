"""Soak, in a short form: random valid scenarios, every conservation law checked on each day; see `soaking.py`.

``ACREDAY_SOAK`` says how long: ``short`` (the default) is 2,000 days, a number that many days.
"""

import json
import os

import pytest
import soaking
from long_run import long_run
from small_day import TABLE, plan_of
from soaking import Found, check_run, soak_batch

from simulator.operation.log import State
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

SHORT_DAYS = 2000


def days_wanted():
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
    assert not found.findings, found.findings[:3]
    # a soak whose scenarios are nearly all refused, or fly nothing, has seen nothing
    assert found.refused < 0.5 * found.scenarios
    assert found.sorties > 5 * found.days


# --- the soak itself finds what it looks for ---


def checked():
    return check_run(plan_of(TABLE), StreamBank(1), 0, Found())


def test_a_day_that_breaks_a_law_breaks_off_or_never_ends_is_a_finding(monkeypatch):
    honest = soaking.run_job

    def waits_twice(plan, streams, replication):
        for one in honest(plan, streams, replication):
            one.day.log.add(0.0, 60.0, "main/big 1", State.WAIT)
            yield one

    def fails(*_):
        raise RuntimeError("broken")

    def hangs(*_):
        while True:
            pass

    assert not checked()
    monkeypatch.setattr(soaking, "run_job", waits_twice)
    assert "main/big 1" in checked()[0]
    monkeypatch.setattr(soaking, "run_job", fails)
    assert checked() == ["RuntimeError: broken"]
    monkeypatch.setattr(soaking, "run_job", hangs)
    monkeypatch.setattr(soaking, "MOST_S", 0.2)
    assert "broken off" in checked()[0]


@pytest.mark.parametrize(("broken", "minutes", "seeds"), [(["a law"], 5.0, {3, 4}), ([], 0.0, set())])
def test_findings_are_told_with_seed_and_scenario_and_a_soak_ends(monkeypatch, broken, minutes, seeds):
    def check(_plan, _bank, _replication, found):
        found.days += 1
        return broken

    monkeypatch.setattr(soaking, "check_run", check)
    monkeypatch.setattr(soaking, "BATCH", 10)
    found, lines = Found(), []
    long_run(found, soak_batch, lambda: found.days >= 12, minutes, 3, lines.append)
    told = [line.split(": ", 1) for line in lines if line.startswith("FINDING")]
    assert len(told) == len(found.findings)
    assert {int(head.split()[-1]) for head, _ in told} == seeds
    for _, text in told:
        assert json.loads(text)["broken"] == ["a law"]
        assert load_scenario(json.loads(text)["scenario"]).sets
    assert lines[-1].startswith("ended after")
