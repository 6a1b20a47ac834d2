"""The record of one day says what its log says, and stays small."""

import json
import math
from itertools import pairwise

import pytest
from browser_support import SCENARIOS
from hypothesis import given
from hypothesis import strategies as st

from simulator import load_scenario, simulate_day
from simulator.analysis import day_record as module
from simulator.analysis.day_layout import thin_ring
from simulator.analysis.day_record import YARD, day_record
from simulator.analysis.flown_line import flown_line
from simulator.analysis.resources import resource_names
from simulator.analysis.summary import active_period_share
from simulator.experiment.run import make_plans

CASES = ("third_pack.toml", "two_rigs.toml", "two_sizes.toml", "willow_basin.toml", "granules.toml")


@pytest.fixture(scope="module", params=CASES)
def case(request):
    loaded = load_scenario(SCENARIOS / request.param)
    plan = make_plans(loaded)[-1]
    day = simulate_day(loaded, plan.name)
    return plan, day, day_record(plan, day)


def test_is_json_small_and_the_same_each_time(case):
    plan, day, record = case
    text = json.dumps(record, separators=(",", ":"), allow_nan=False)
    assert len(text) < 300_000
    assert json.loads(text) == json.loads(json.dumps(day_record(plan, day)))


def test_every_aircraft_second_is_in_one_interval(case):
    _, _, record = case
    for aircraft in record["aircraft"]:
        reached = 0.0
        for start, end, state, _ in aircraft["states"]:
            assert start == pytest.approx(reached, abs=0.11), state
            reached = end
        home = record["rigs"][aircraft["rig"]]["moves"][-1][1]
        assert reached == pytest.approx(home, abs=0.11)


def test_lines_take_the_time_of_the_flight_and_spray_its_time(case):
    _, day, record = case
    for sortie, flown in zip(sorted(day.log.sorties), record["sorties"], strict=True):
        line = flown["line"]
        assert line["t_s"] == sorted(line["t_s"])
        assert line["t_s"][-1] == pytest.approx(sortie.end_s - sortie.start_s, abs=0.11)
        sprayed = sum(line["t_s"][k + 1] - line["t_s"][k] for k, on in enumerate(line["on"]) if on == "1")
        passes = line["on"].count("1")
        assert sprayed == pytest.approx(sortie.work_s, abs=0.11 * passes)
        assert line["x_m"][0] == line["x_m"][-1] == record["fields"][flown["field"]]["zone_m"][0]


def test_turning_seconds_add_up_to_the_flights_own(case):
    plan, day, _ = case
    fields = {field.name: index for index, field in enumerate(plan.fields)}
    classes = {entry.name: entry for rig in plan.rigs for entry, _ in rig.aircraft}
    for sortie in day.log.sorties:
        kind = sortie.aircraft.split("/")[1].rsplit(" ", 1)[0]
        line = flown_line(sortie, plan.profiles[kind, fields[sortie.field]], classes[kind].ferry_speed_m_per_s)
        # between the first take-off point and the last pass, unsprayed stretches are the links
        links = sum(line[k + 1].time_s - line[k].time_s for k in range(3, len(line) - 3) if not line[k].spraying)
        assert links == pytest.approx(sortie.turn_s, abs=1e-6)


def test_sprayed_lines_cover_the_area(case):
    """Length times swath is at least the area credited: only overlap at edges makes it more (elementary)."""
    plan, _, record = case
    for flown in record["sorties"]:
        line = flown["line"]
        length = sum(
            math.dist((line["x_m"][k], line["y_m"][k]), (line["x_m"][k + 1], line["y_m"][k + 1]))
            for k, on in enumerate(line["on"])
            if on == "1"
        )
        if plan.scenario.field_file is None:
            tolerance = 0.2 * line["on"].count("1") * flown["swath_m"] + 0.02 * flown["area_m2"]
            assert length * flown["swath_m"] >= flown["area_m2"] - tolerance


def test_packs_keep_their_reserve_and_end_as_the_day_did(case):
    _, day, record = case
    left = {name: energy for end in day.ends for name, energy in end.pack_charge_wh.items()}
    for pack in record["packs"]:
        energies = [energy for _, energy in pack["charge"]]
        times = [time for time, _ in pack["charge"]]
        assert times == sorted(times)
        assert min(energies) >= pack["reserve_wh"] - 0.2
        assert max(energies) <= pack["capacity_wh"] + 0.2
        assert energies[-1] == pytest.approx(left[pack["name"]], abs=0.2)


def test_power_adds_up_to_the_bus_energy(case):
    _, day, record = case
    drawn_wh = sum((end - start) * kw / 3.6 for point in record["power"] for start, end, kw in point["load_kw"])
    total = sum(end.bus_wh for end in day.ends)
    intervals = sum(len(point["load_kw"]) for point in record["power"])
    assert drawn_wh == pytest.approx(total, abs=0.1 + intervals * 15_000 * 0.1 / 3600)
    for point in record["power"]:
        assert all(kw <= point["capacity_kw"] + 1e-2 for start, end, kw in point["load_kw"] if end - start > 5)


def test_bottleneck_segments_give_the_shares_of_the_summary(case):
    _, day, record = case
    held = dict.fromkeys(resource_names(), 0.0)
    for start, end, first, second in record["bottleneck"]:
        assert end > start
        for number in (first, second):
            held[resource_names()[number]] += 0.5 * (end - start) / record["end_s"]
    for name, share in active_period_share(day).items():
        # three or more that tie are drawn as two, which only moves little time about
        assert held[name] == pytest.approx(share, abs=0.02), name


def test_rigs_go_from_the_yard_to_fields_and_home(case):
    _, _, record = case
    for rig in record["rigs"]:
        moves = rig["moves"]
        assert moves[0][3] == YARD
        assert moves[-1][4] == YARD
        for before, after in pairwise(moves):
            assert before[4] == after[3]
        assert all((move[3] != move[4]) <= (move[2] == "drive") for move in moves)


def test_rigs_stand_where_their_aircraft_fly(case):
    _, _, record = case
    for sortie in record["sorties"]:
        rig = record["rigs"][record["aircraft"][sortie["aircraft"]]["rig"]]
        place = [move for move in rig["moves"] if move[0] <= sortie["start_s"]][-1]
        assert place[1] <= sortie["start_s"] + 0.1
        assert place[4] == sortie["field"]


def _boxes(record):
    for field in record["fields"]:
        xs = [x for ring in field["rings"] for x, _ in ring]
        ys = [y for ring in field["rings"] for _, y in ring]
        yield min(xs), min(ys), max(xs), max(ys)


def test_fields_without_a_place_are_laid_out_apart():
    loaded = load_scenario(SCENARIOS / "third_pack.toml")
    plan = make_plans(loaded)[0]
    record = day_record(plan, simulate_day(loaded, plan.name))
    assert record["layout"] == "invented"
    boxes = list(_boxes(record))
    for place, first in enumerate(boxes):
        for second in boxes[place + 1 :]:
            apart = first[2] < second[0] or second[2] < first[0] or first[3] < second[1] or second[3] < first[1]
            assert apart


def test_fields_with_places_keep_their_distances():
    settings = [
        'field=[{name="a",area="20 acre",location=["0 m","0 m"],landing_zone=["0 m","0 m"]},'
        '{name="b",area="20 acre",location=["2 km","-1 km"],landing_zone=["0 m","0 m"]}]'
    ]
    loaded = load_scenario(SCENARIOS / "third_pack.toml", settings)
    plan = make_plans(loaded)[0]
    record = day_record(plan, simulate_day(loaded, plan.name))
    first, second = (field["zone_m"] for field in record["fields"])
    assert record["layout"] == "given"
    assert (second[0] - first[0], second[1] - first[1]) == pytest.approx((2000.0, -1000.0), abs=0.2)
    assert record["yard_m"] == first


def test_a_record_of_too_many_points_bundles_passes_and_says_so(monkeypatch):
    loaded = load_scenario(SCENARIOS / "third_pack.toml", ['field=[{name="a",area="90 acre",length_to_width=0.2}]'])
    plan = make_plans(loaded)[0]
    day = simulate_day(loaded, plan.name)
    whole = sum(len(sortie["line"]["on"]) for sortie in day_record(plan, day)["sorties"])
    monkeypatch.setattr(module, "MOST_POINTS", whole // 2)
    thinned = day_record(plan, day)["sorties"]
    assert sum(len(sortie["line"]["on"]) for sortie in thinned) < 0.8 * whole
    assert all(sortie["passes_in_one"] > 1 for sortie in thinned)
    for sortie in thinned:
        assert sortie["line"]["t_s"][-1] == pytest.approx(sortie["end_s"] - sortie["start_s"], abs=0.21)


@given(
    st.lists(st.tuples(st.floats(-500, 500), st.floats(-500, 500)), min_size=6, max_size=40, unique=True),
    st.floats(0.1, 50),
)
def test_a_thinned_ring_stays_within_its_tolerance(points, tolerance_m):
    ring = [*points, points[0]]
    kept = thin_ring(ring, tolerance_m)
    assert kept[0] == kept[-1] == ring[0]
    assert set(kept) <= set(ring)
    segments = list(pairwise(kept))
    for point in ring:
        # the distance to the line through a kept side, as in Douglas & Peucker (1973)
        assert min(_line_distance(point, start, end) for start, end in segments) <= tolerance_m * (1 + 1e-6) + 1e-6


def _line_distance(point, start, end):
    length = math.dist(start, end)
    if length == 0.0:
        return math.dist(point, start)
    cross = (end[0] - start[0]) * (start[1] - point[1]) - (start[0] - point[0]) * (end[1] - start[1])
    return min(abs(cross) / length, math.dist(point, start), math.dist(point, end))
