"""What a crew one would hire does: findings that were wrong once, each by itself."""

import dataclasses
import math

import numpy as np
import pytest
from more_never_hurts import TOLERANCE
from small_day import area_m2, day_of, plan_of, table

from simulator.analysis.summary import place_of
from simulator.errors import InputError
from simulator.experiment.runs import row_of_run
from simulator.operation.log import Reason, State
from simulator.operation.rehearsal import rehearsed
from simulator.scenario.streams import StreamBank

RUNS = 8
SHORT_POWER = table(
    day__window="6 h",
    work_days=2,
    aircraft__big__handling_time="2 min",
    aircraft__big__flight_time_factor={"dist": "normal", "mean": "1", "sd": "0.06", "low": "0.8", "high": "1.3"},
    rig__main__crew__tasks={"fill": {"time": {"dist": "lognormal", "mean": "40 s", "cv": 0.3}}},
    rig__main__supply={"mix_tank": "100 gal"},
    generator__generator={"rated_power": "9 kW", "fuel_tank": "40 L"},
)
MORE = {
    "a second charger on a short supply": "rig.main.power.trailer.chargers.charger=2",
    "a second aircraft without anything of its own": "rig.main.aircraft.big=2",
    "a lower reserve": "pack.pack.reserve='12 %'",
    "a larger mix tank": "rig.main.supply.mix_tank='300 gal'",
    "a larger tank": "aircraft.big.tank='50 L'",
    "a fourth pack": "rig.main.packs.pack=4",
    "packs taken early": "rig.main.take_partly_charged=true",
}


def acres(made, settings=(), runs=RUNS):
    """Return the acres a work day of each run, every day and night checked."""
    plan, bank = plan_of(made, settings), StreamBank(8)
    return np.array([row_of_run(plan, bank, number)[place_of("acres")] for number in range(100, 100 + runs)])


@pytest.fixture(scope="module")
def as_it_is():
    return acres(SHORT_POWER)


@pytest.mark.parametrize("what", MORE)
def test_more_never_gets_less_done(what, as_it_is):
    gain = acres(SHORT_POWER, [MORE[what]]) - as_it_is
    error = gain.std(ddof=1) / math.sqrt(RUNS)
    assert gain.mean() + 3.0 * error > -TOLERANCE * as_it_is.mean(), f"{what}: {gain.mean():.2f} ± {error:.2f} acres"


def test_an_aircraft_that_would_not_help_stays_on_the_trailer():
    """One charger on 9 kW keeps one aircraft going, and lifting a second takes time at each field."""
    plan = rehearsed(plan_of(SHORT_POWER, [MORE["a second aircraft without anything of its own"]]))
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
        moved = [row for row in day.log.rows if row.reason == Reason.RELOCATE and row.entity == "main"]
        return area_m2(day) / day.log.paid_until_s, len(moved)

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
    stops = [row for row in day.log.rows if row.reason == Reason.OVERLOAD]
    restarts = [row for row in day.log.rows if row.reason == Reason.RESTART]
    assert stops
    assert restarts
    assert all(row.state == State.STOPPED for row in stops)
    assert all(math.isclose(row.end_s - row.start_s, 120.0) for row in restarts)
    made["rig"]["main"]["power"]["trailer"]["overload"] = "set to fit"
    fitting = day_of(made)
    assert not [row for row in fitting.log.rows if row.reason == Reason.OVERLOAD]
    assert area_m2(fitting) >= area_m2(day)
    made["rig"]["main"]["power"]["trailer"] |= {"overload": "trip", "grid_power": "8 kW"}
    with pytest.raises(InputError, match=r"draws 8\d\d\d W at its setting .* gives 8000 W"):
        plan_of(made)
