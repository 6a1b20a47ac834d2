"""Days at the edge of what can be flown, worked out by hand."""

import pytest
from small_day import area_m2, day_of, days_of, plan_of, rows, table, waits_s

from simulator.errors import InputError
from simulator.operation.log import Reason, State

MIXED = {
    "pack": {
        "heavy": {"energy": "1500 Wh", "mass": "35 kg", "fits": ["big"], "charge_power_max": "9 kW"},
        "light": {"energy": "1300 Wh", "mass": "9 kg", "fits": ["big"], "charge_power_max": "9 kW"},
    },
    "charger": {"charger": {"serves": ["heavy", "light"], "adapts": True, "output_power": "8 kW"}},
    "rig__main__packs": {"heavy": 2, "light": 2},
}


def fields(area, road, count):
    table = {"area": area, "drive_distance": road, "ferry_distance": "100 m"}
    return [table | {"name": f"f{number}"} for number in range(count)]


def _packs_by_field(day):
    return {(one.field, one.pack.split("/")[1].rsplit(" ", 1)[0]) for one in day.log.sorties}


def test_a_field_too_far_for_the_pack_that_holds_most_is_flown_with_the_lighter():
    near = {"name": "near", "area": "4 ha", "drive_distance": "0 m", "ferry_distance": "100 m"}
    far = near | {"name": "far", "ferry_distance": "2200 m"}
    made = table(work="once", field=[near, far], **MIXED)
    day = day_of(made)
    assert day.ends[0].out_of_reach_m2 == 0.0
    assert area_m2(day) == pytest.approx(80_000.0)
    flown = _packs_by_field(day)
    assert ("near", "heavy") in flown
    assert {pack for field, pack in flown if field == "far"} == {"light"}


def test_a_pack_too_heavy_to_take_off_with_a_load_is_left_to_the_lighter():
    made = table(work="once", aircraft__big__take_off_mass_max="80 kg", **MIXED)
    made["field"][0]["area"] = "4 ha"
    day = day_of(made)
    assert day.ends[0].out_of_reach_m2 == 0.0
    assert {pack for _, pack in _packs_by_field(day)} == {"light"}
    # a full load is 80 - 48 - 9 = 23 kg, by hand; the field is cut into even ones
    assert 15.0 < max(one.load_before for one in day.log.sorties) <= 23.0 + 1e-9


def test_no_time_left_after_the_drive():
    day = day_of(table(yard__drive_distance="60 km", day__window="30 min"))
    assert not day.log.sorties
    # it is known beforehand that nothing can be flown: the rig stays at the yard
    assert day.log.paid_until_s < 3600


def test_no_time_left_after_a_late_drive():
    made = table(
        yard__drive_distance="10 km",
        day__window="40 min",
        route__road_speed={"dist": "uniform", "low": "2 m/s", "high": "18 m/s"},
    )
    for day in days_of(made, count=6):
        assert all(one.end_s <= 2400 for one in day.log.sorties)


def test_reserve_ends_a_sortie_that_takes_longer_than_planned():
    made = table(
        aircraft__big__flight_time_factor={"dist": "uniform", "low": "1.2", "high": "1.7"},
        flying={"energy_margin": "0 %"},
        pack__pack__energy="1500 Wh",
    )
    day = day_of(made)
    cut = [one for one in day.log.sorties if one.charge_before_wh - one.energy_wh < 1.01 * 0.2 * 1500]
    assert cut
    assert min(one.charge_before_wh - one.energy_wh for one in cut) >= 0.2 * 1500 * (1 - 1e-6)
    assert any(one.applied < 0.9 * one.load_before for one in cut)


def test_field_smaller_than_a_load_is_one_load_of_its_size():
    day = day_of(table(work="once", field=fields("0.5 ha", "0 m", 1)))
    assert len(day.log.sorties) == 1
    assert day.log.sorties[0].load_before == pytest.approx(10.0)
    assert day.ends[0].product_on_aircraft == pytest.approx(0.0, abs=1e-9)
    assert day.log.list_finished_s == pytest.approx(day.log.sorties[0].end_s)


def test_a_list_that_runs_out_gives_its_finishing_time():
    made = table(work="once", field=fields("4 ha", "1 km", 3))
    day = day_of(made)
    assert area_m2(day) == pytest.approx(120000)
    assert day.log.list_finished_s == pytest.approx(max(one.end_s for one in day.log.sorties))
    assert day.log.paid_until_s < 6 * 3600
    short = day_of(made, ["day.window='40 min'"])
    assert area_m2(short) < 120000
    assert short.log.list_finished_s is None


def test_tiny_generator_charges_at_what_it_can_give():
    small = {"generator__generator__rated_power": "0.5 kW", "charger__charger__setting_least": "1 %"}
    day = day_of(table(**small, rig__main__packs={"pack": 2}))
    charged_wh = sum(row.amount for row in rows(day, entity="main/trailer/charger 1.1"))
    hours = day.log.paid_until_s / 3600
    assert 0 < charged_wh <= 0.5 * 0.8 * 1000 * hours
    waits = waits_s(day)
    assert waits["generator limited"] > 0.5 * sum(waits.values())


def test_one_person_does_everything_one_after_the_other():
    day = day_of(table(rig__main__crew={"pilots": 1, "helpers": 0}))
    assert len(day.log.sorties) > 5
    flights = [(one.start_s, one.end_s) for one in day.log.sorties]
    tasks = rows(day, entity="main/pilot 1", state=State.TASK)
    assert not any(row.start_s < end - 1e-6 and row.end_s > start + 1e-6 for row in tasks for start, end in flights)


def test_all_packs_flat_at_the_start_are_charged_first():
    day = day_of(table(rig__main__packs_start_charge="1 %"))
    first = day.log.sorties[0]
    # 1782 Wh at 8 kW and less towards the end, after plugging in: 13 minutes at the least
    assert first.start_s > 1782 / 8000 * 3600
    assert first.charge_before_wh == pytest.approx(1800)


def test_one_pack_for_two_aircraft_serves_both_in_turn():
    made = table(rig__main__aircraft={"big": 2}, rig__main__packs={"pack": 1}, work="once")
    made["field"][0]["area"] = "10 ha"
    day = day_of(made)
    assert area_m2(day) == pytest.approx(100000)
    assert len({one.aircraft for one in day.log.sorties}) == 1  # the other would not help
    day = day_of({**made, "rig": {"main": {**made["rig"]["main"], "unload": "all"}}})
    assert area_m2(day) == pytest.approx(100000)
    assert len({one.aircraft for one in day.log.sorties}) == 2
    # the aircraft that has nothing left to fly gives its pack to the one that has: the day ends when the field does
    assert day.log.list_finished_s is not None


def test_empty_fuel_tank_stops_charging_until_somebody_can_refuel():
    made = table(
        generator__generator__fuel_tank="1 L",
        generator__generator__refuel_at="0 %",
        rig__main__crew={"pilots": 1, "helpers": 1, "tasks": {"refuel": {"time": "9 h", "people": 1}}},
    )
    day = day_of(made)
    stopped = rows(day, Reason.REFUEL, "main/trailer", State.STOPPED)
    assert stopped
    charges = rows(day, entity="main/trailer/charger 1.1")
    assert all(row.amount < 1e-6 for row in charges if row.start_s > stopped[0].start_s)


def test_refuelling_that_needs_the_pilot_is_done_once_the_tank_is_empty():
    # two people refuel, and a pilot who has a helper does no work ahead of need
    made = table(
        generator__generator__fuel_tank="2 L",
        rig__main__crew={"pilots": 1, "helpers": 1, "tasks": {"refuel": {"time": "3 min", "people": 2}}},
    )
    day = day_of(made)
    assert sum(row.amount for row in rows(day, Reason.REFUEL, state=State.RUN)) > 2.0
    assert len(day.log.sorties) > 20


@pytest.mark.parametrize(
    ("product", "supply"),
    [
        ({"rate": "20 L/ha"}, {"mix_tank": "120 L", "nurse_water": "150 L"}),
        ({"kind": "granules", "dry_rate": "50 kg/ha"}, {"dry_stock": "200 kg"}),
    ],
)
def test_what_runs_out_is_fetched(product, supply):
    day = day_of(table(product=product, rig__main__supply={**supply, "water_trip_time": "10 min"}))
    trips = rows(day, Reason.RESTOCK, "main/supply")
    assert trips
    if "rate" in product:
        assert sum(row.amount for row in trips) == pytest.approx(day.ends[0].water_fetched_l)
    assert day.ends[0].product_made > 0


def test_a_trip_for_water_holds_up_neither_break_nor_move():
    supply = {"mix_tank": "120 L", "nurse_water": "130 L", "start_mixed": "100 %", "water_trip_time": "3 h"}
    breaks = [{"start": "08:00", "length": "20 min"}]
    day = day_of(table(field=fields("3 ha", "1 km", 4), day__breaks=breaks, rig__main__supply=supply))
    trip = rows(day, Reason.RESTOCK, "main/supply")[0]
    moves = [row for row in rows(day, Reason.DRIVE, "main") if row.start_s > 0]
    assert any(trip.start_s < row.start_s < trip.end_s for row in moves)
    assert rows(day, state=State.BREAK)[0].start_s < 3600 + 900


def test_break_at_the_time_of_a_move_follows_it():
    made = table(field=fields("2 ha", "6 km", 3))
    drives = [row for row in rows(day_of(made), Reason.DRIVE, "main") if row.amount]
    clock = 7 * 3600 + drives[0].start_s + 30.0
    made["day"]["breaks"] = [{"start": f"{int(clock // 3600):02d}:{int(clock % 3600 // 60):02d}", "length": "15 min"}]
    breaks = rows(day_of(made), state=State.BREAK)
    assert len(breaks) == 2
    assert all(row.end_s - row.start_s == pytest.approx(900) for row in breaks)


def test_stoppage_all_day_flies_nothing_and_says_why():
    made = table(weather={"stoppages": {"time_between": "1 s", "length": "24 h"}})
    day = day_of(made)
    assert not day.log.sorties
    waits = waits_s(day)
    assert waits["weather"] > 0.9 * sum(waits.values())


def test_stoppage_during_a_launch_check_stops_the_take_off():
    made = table(
        weather={"stoppages": {"time_between": {"dist": "exponential", "mean": "6 min"}, "length": "4 min"}},
        rig__main__crew={"pilots": 1, "helpers": 1, "tasks": {"launch_check": {"time": "2 min", "by": "pilot"}}},
    )
    day = day_of(made)
    assert len(rows(day, Reason.LAUNCH_CHECK, "main/pilot 1")) > len(day.log.sorties) > 3


def test_last_load_of_the_day_is_only_as_large_as_the_time_left():
    last, left = [], []
    for minutes in range(110, 130, 2):
        day = day_of(table(day__window=f"{minutes} min"))
        assert day.log.last_landing_s <= minutes * 60
        last.append(day.log.sorties[-1].load_before)
        left.append(day.ends[0].product_on_aircraft)
    assert min(last) < 35.0
    # what a wait for people or packs took off the last flight comes home in the tank; it is little
    assert max(left) < 12.0
    assert sum(left) / len(left) < 4.0


def test_other_load_above_the_source_is_refused():
    with pytest.raises(InputError, match="other_load"):
        plan_of(table(rig__main__power__trailer__other_load="20 kW"))
