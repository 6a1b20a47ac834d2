"""The conservation checks must see a fault: each law is broken on purpose in a sound day."""

import dataclasses

import pytest
from conservation import ConservationError, verify_day, violations
from small_day import plan_of, table

from simulator.operation.day import simulate
from simulator.operation.log import DayLog, Reason, State
from simulator.scenario.streams import StreamBank

STOPPAGES = {"time_between": {"dist": "exponential", "mean": "60 min"}, "length": "10 min"}


@pytest.fixture(scope="module")
def sound():
    made = table(
        day__window="4 h",
        day__breaks=[{"start": "09:00", "length": "10 min"}],
        weather={"stoppages": STOPPAGES},
        rig__main__aircraft={"big": 2},
        rig__main__packs={"pack": 5},
        rig__main__unload="all",
        rig__main__crew={
            "pilots": 1,
            "helpers": 2,
            "aircraft_per_pilot": 2,
            "tasks": {"launch_check": {"time": "5 s", "by": "pilot"}},
        },
        rig__main__supply={"start_mixed": "50 %", "mix_tank": "200 L"},
        yard={"drive_distance": "2 km"},
    )
    return plan_of(made), simulate(plan_of(made), StreamBank(3).day(0))


def changed(day, rows=None, sorties=None, **end):
    log = DayLog(rows or day.log.rows, sorties or day.log.sorties, day.log.kinds)
    log.list_finished_s = day.log.list_finished_s
    return dataclasses.replace(day, log=log, ends=(dataclasses.replace(day.ends[0], **end),))


def with_sortie(day, place, **values):
    sorties = list(day.log.sorties)
    sorties[place] = sorties[place]._replace(**values)
    return changed(day, sorties=sorties)


def with_row(day, chosen, **values):
    """Return the day with its first row of some kind changed, or left out where nothing is to change."""
    rows = list(day.log.rows)
    place = next(place for place, row in enumerate(rows) if chosen(row))
    rows[place : place + 1] = [rows[place]._replace(**values)] if values else []
    return changed(day, rows=rows)


def test_a_sound_day_passes(sound):
    plan, day = sound
    assert violations(plan, day) == []
    verify_day(plan, day)
    assert len(day.log.sorties) > 10


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda one: {"applied": one.applied * 1.01}, "rate times area"),
        (lambda one: {"path_m": one.path_m * 1.01}, "path times width"),
        (lambda one: {"area_from_m2": one.area_from_m2 - 500.0}, "sprayed twice"),
        (lambda one: {"energy_wh": one.energy_wh + 5.0}, "start, charged and flown"),
        (lambda one: {"charge_before_wh": one.energy_wh}, "reserve"),
        (lambda one: {"work_s": one.work_s + 5.0}, "overlap"),
        (lambda one: {"work_s": one.work_s * 1.5}, "times path over speed"),
        (lambda one: {"start_s": one.start_s + 5.0}, "gap"),
        (lambda one: {"load_before": one.load_before + 1.0}, "filled less applied"),
        (lambda one: {"load_before": one.applied - 1.0}, "of a load of"),
        (lambda one: {"pack": "main/pack 9"}, "no pack of"),
    ],
)
def test_faults_of_a_flight_are_seen(sound, change, word):
    plan, day = sound
    found = violations(plan, with_sortie(day, 4, **change(day.log.sorties[4])))
    assert any(word in text for text in found), found


@pytest.mark.parametrize(
    ("chosen", "values", "word"),
    [
        (lambda row: row.state is State.WAIT and row.entity == "main/big 1", {}, "gap"),
        (lambda row: row.reason is Reason.MIX and row.state is State.RUN, {"amount": 1.0}, "product made"),
        (lambda row: row.reason is Reason.FILL and row.amount > 0, {"amount": 0.5}, "filled"),
        (lambda row: row.entity.endswith("charger 1.1"), {"amount": 2000.0}, "above its"),
        (lambda row: row.entity.endswith("charger 1.1"), {"amount": 1.0}, "left the bus"),
        (lambda row: row.entity == "main/trailer" and row.amount > 100, {"amount": 1e5}, "is above"),
        (
            lambda row: row.entity == "main/pack 1" and row.state is State.FLOWN,
            {"state": State.READY},
            "its state is another",
        ),
        (lambda row: row.entity == "main/helper 1" and row.reason is Reason.FILL, {"start_s": 0.0}, "in two places"),
    ],
)
def test_faults_of_a_row_are_seen(sound, chosen, values, word):
    plan, day = sound
    found = violations(plan, with_row(day, chosen, **values))
    assert any(word in text for text in found), found


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda end: {"product_in_tank": end.product_in_tank + 1.0}, "product at start and made"),
        (lambda end: {"fuel_burnt_l": end.fuel_burnt_l * 1.01}, "of fuel"),
        (lambda end: {"bus_wh": end.bus_wh * 1.01}, "at the bus"),
        (lambda end: {"pack_charge_wh": {**end.pack_charge_wh, "main/pack 1": 0.0}}, "ends with"),
        (lambda end: {"paid_until_s": end.paid_until_s + 60.0}, "nothing logged"),
    ],
)
def test_faults_of_what_is_left_are_seen(sound, change, word):
    plan, day = sound
    found = violations(plan, changed(day, **change(day.ends[0])))
    assert any(word in text for text in found), found


def test_rules_of_flying_are_seen(sound):
    plan, day = sound
    flights = day.log.sorties
    weather = next(row for row in day.log.rows if row.entity == "weather")
    rest = next(row for row in day.log.rows if row.state is State.BREAK)
    second = next(place for place, one in enumerate(flights) if one.aircraft != flights[0].aircraft)
    for place, start_s, word in (
        (5, weather.start_s + 1.0, "weather stoppage"),
        (5, rest.start_s + 1.0, "during a break"),
        (5, plan.last_landing_s - 10.0, "after the last landing"),
        (second, flights[0].start_s + 1.0, "the least is"),
    ):
        found = violations(plan, with_sortie(day, place, start_s=start_s))
        assert any(word in text for text in found), (word, found)


def test_too_many_aircraft_for_the_pilots_are_seen(sound):
    plan, day = sound
    table_two = plan.scenario.rig["main"]
    crew = table_two.crew.model_copy(update={"aircraft_per_pilot": 1})
    rig = dataclasses.replace(plan.rigs[0], rig=table_two.model_copy(update={"crew": crew}))
    found = violations(dataclasses.replace(plan, rigs=(rig,)), day)
    assert any("watched" in text for text in found)


def test_verify_day_raises_with_the_replication(sound):
    plan, day = sound
    with pytest.raises(ConservationError, match=r"replication 0: .*product"):
        verify_day(plan, changed(day, product_in_tank=1e4))
