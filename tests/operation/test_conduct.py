"""What a crew one would hire does: findings that were wrong once, each by itself."""

import dataclasses
import math

import pytest
from small_day import SHORT_POWER, area_m2, day_of, plan_of, rows, table

from simulator.errors import InputError
from simulator.experiment.rehearsal import rehearsed
from simulator.operation.log import Reason, State


def test_an_aircraft_that_would_not_help_stays_on_the_trailer():
    """One charger on 9 kW keeps one aircraft going, and lifting a second takes time at each field."""
    plan = rehearsed(plan_of(SHORT_POWER, ["rig.main.aircraft.big=2"]))
    assert [one.unloaded for one in plan.work["main"]] == [(1,)]
    assert rehearsed(plan) is plan


def test_what_is_made_of_a_plan_is_not_taken_for_it():
    """Two kinds of dates of one set: each keeps its own hours, and the ways of a crew that has learnt."""
    plan = plan_of(SHORT_POWER)
    rehearsed(plan)
    for made in (plan, rehearsed(plan)):
        short, long = (dataclasses.replace(made, weather_days=(((0.0, end_s),),)) for end_s in (3600.0, 18000.0))
        assert rehearsed(short).weather_days == short.weather_days
        assert rehearsed(long).weather_days == long.weather_days
    assert rehearsed(long) is long


def test_landing_zone_follows_the_work_on_a_large_field():
    """Acres an hour hold from 40 to 160 acres where it follows, and fall where it stays."""

    def hourly(acre, zone):
        made = table(
            field=[{"name": "one", "area": f"{acre} acre", "length_to_width": "1", "drive_distance": "0 m"}],
            product__rate="5 gal/acre",
            flying={"landing_zone": zone},
        )
        made["rig"]["main"]["supply"] = {"start_mixed": "100 %", "mix_tank": "3000 gal", "nurse_water": "9000 gal"}
        day = day_of(made)
        return area_m2(day) / day.log.paid_until_s, len(rows(day, Reason.RELOCATE, "main"))

    small, few = hourly(40, "follows")
    large, many = hourly(160, "follows")
    staying, never = hourly(160, "stays")
    assert (few, many, never) == (0, 1, 0)
    assert large > 0.97 * small
    assert staying < 0.95 * large


def test_a_source_that_trips_stops_until_somebody_restarts_it():
    """By hand: two chargers of 8 kW at 92 % draw 17.4 kW, more than a supply of 12 kW gives."""
    made = table(rig__main__power={"trailer": {"grid_power": "12 kW", "chargers": {"charger": 2}, "overload": "trip"}})
    made["rig"]["main"]["packs"]["pack"] = 4
    day = day_of(made)
    stops, restarts = rows(day, Reason.OVERLOAD), rows(day, Reason.RESTART)
    assert stops
    assert restarts
    assert all(row.state == State.STOPPED for row in stops)
    assert all(math.isclose(row.end_s - row.start_s, 120.0) for row in restarts)
    made["rig"]["main"]["power"]["trailer"]["overload"] = "set to fit"
    fitting = day_of(made)
    assert not rows(fitting, Reason.OVERLOAD)
    assert area_m2(fitting) >= area_m2(day)
    made["rig"]["main"]["power"]["trailer"] |= {"overload": "trip", "grid_power": "8 kW"}
    with pytest.raises(InputError, match=r"draws 8\d\d\d W at its setting .* gives 8000 W"):
        plan_of(made)
