"""Timeline and day table: sums equal the log, lanes show what was logged, crowded kinds are collapsed and say so."""

import itertools
from collections import defaultdict

import pytest
from stored_support import HOSTILE, SCENARIOS, assert_nothing_cut_off, sample_day

from simulator.analysis.day_record import day_record
from simulator.analysis.day_rows import day_rows, expanded_sortie
from simulator.analysis.log_rows import sortie_rows
from simulator.operation.log import Kind, State
from simulator.report.day_figure import MOST_LANES, charge_at, day_figure, day_span, hour_table, lanes_of
from simulator.report.day_table import day_frame
from simulator.report.style import figure_bytes

DRAWN = [path.stem for path in SCENARIOS.glob("*.toml") if path.stem in ("third_pack", "willow_basin")]


def hand_made(packs=1, **change):
    """Return the record of a day with one aircraft and many packs."""
    every = [0.0, 7200.0]
    return {
        "run": 0, "work_day": 1, "day_start_s": 25_200.0, "end_s": 7200.0, "fields": [], "sorties": [],
        "bottleneck": [],
        "rigs": [{"name": "main", "moves": [[0.0, 900.0, "drive", -1, -1], [6300.0, 7200.0, "yard", -1, -1]]}],
        "aircraft": [{"name": "main/large 1", "states": [[0.0, 900.0, "move", "drive"],
                                                         [900.0, 7200.0, "wait", "too few packs"]]}],
        "packs": [{"name": f"main/big {number}", "capacity_wh": 1000.0, "reserve_wh": 200.0,
                   "states": [[900.0, 4500.0, "charge" if number % 2 else "ready"]],
                   "charge": [[time, 500.0] for time in every]} for number in range(packs)],
        "chargers": [], "people": [], "supplies": [],
        "power": [{"name": "main/trailer", "capacity_kw": 3.0, "load_kw": [[900.0, 4500.0, 3.0]]}],
    } | change  # fmt: skip


def labels_of(figure):
    return [label.get_text() for label in figure.axes[0].get_yticklabels()]


def widths_at(figure, level):
    """Return the widths (s) of what is drawn in a lane: one path a look, five corners a span."""
    widths = []
    for patch in figure.axes[0].patches:
        corners = patch.get_path().vertices.reshape(-1, 5, 2)
        for corner in corners:
            if abs(corner[:4, 1].mean() - level) < 0.01:
                widths.append(float(corner[:, 0].max() - corner[:, 0].min()))
    return widths


@pytest.mark.parametrize("name", DRAWN)
def test_single_passes_add_up_to_the_flight(name):
    plan, day = sample_day(name)
    index = {one.name: place for place, one in enumerate(plan.fields)}
    speeds = {aircraft.name: aircraft.ferry_speed_m_per_s for rig in plan.rigs for aircraft, _ in rig.aircraft}
    several = 0
    for sortie in day.log.sorties:
        class_name = sortie.aircraft.split("/")[1].rsplit(" ", 1)[0]
        profile = plan.profiles[class_name, index[sortie.field]]
        rows = expanded_sortie(sortie, profile, speeds[class_name])
        whole = {row.state: row for row in sortie_rows(sortie)}
        sums = defaultdict(float)
        for row in rows:
            sums[row.state] += row.end_s - row.start_s
        for state, row in whole.items():
            assert sums[state] == pytest.approx(row.end_s - row.start_s, abs=1e-6), state
        area = sum(row.amount for row in rows)
        assert area == pytest.approx(sortie.area_to_m2 - sortie.area_from_m2, abs=1e-6)
        assert rows[0].start_s == sortie.start_s
        assert rows[-1].end_s == pytest.approx(sortie.end_s, abs=1e-6)
        for before, after in itertools.pairwise(rows):
            assert after.start_s == pytest.approx(before.end_s, abs=1e-6)
        passes = [row for row in rows if row.state is State.WORK]
        stretch = profile.path.stretch(sortie.area_from_m2, sortie.area_to_m2)
        assert len(passes) >= stretch.turns + 1  # each turn lies between two passes
        several += len(passes) > 1
    assert several > 0


def test_turns_of_a_rectangle_lie_between_whole_passes():
    plan, day = sample_day()
    sortie = max(day.log.sorties, key=lambda one: one.turn_s)
    rows = [row for row in day_rows(plan, day) if row.kind == Kind.AIRCRAFT]
    flown = [row for row in rows if sortie.start_s <= row.start_s < sortie.end_s and row.entity == sortie.aircraft]
    states = [row.state for row in flown if row.state in (State.WORK, State.TURN)]
    assert states[::2] == [State.WORK] * len(states[::2])
    assert states[1::2] == [State.TURN] * len(states[1::2])
    turns = [row.end_s - row.start_s for row in flown if row.state == State.TURN]
    assert turns == pytest.approx([turns[0]] * len(turns))


def test_day_table_adds_up_to_the_log():
    plan, day = sample_day()
    frame = day_frame(day_rows(plan, day), plan.scenario.day.start)
    flights = [row for sortie in day.log.sorties for row in sortie_rows(sortie)]
    assert len(frame) > len(day.log.rows) + len(flights)
    for place, key in ((3, "activity"), (4, "reason")):
        lengths = defaultdict(float)
        for row in [*day.log.rows, *flights]:
            lengths[str(day.log.kinds[row.entity]), str(row[place])] += row.end_s - row.start_s
        told = (frame["end_s"] - frame["start_s"]).groupby([frame["kind"], frame[key]]).sum().to_dict()
        assert told == pytest.approx(lengths)
    sprayed = frame[frame["activity"] == "spray"]["amount"].sum()
    assert sprayed == pytest.approx(sum(one.area_to_m2 - one.area_from_m2 for one in day.log.sorties))


def test_day_table_tells_clock_time_and_units():
    plan, day = sample_day()
    frame = day_frame(day_rows(plan, day), plan.scenario.day.start)
    start_s = plan.scenario.day.start
    assert start_s == 7 * 3600
    assert frame["clock_start"][0] == "07:00:00"
    last = frame.loc[frame["end_s"].idxmax()]
    hours, minutes, seconds = map(int, last["clock_end"].split(":"))
    assert hours * 3600 + minutes * 60 + seconds == pytest.approx(start_s + last["end_s"], abs=0.51)
    units = {(row.kind, row.activity, row.reason): row.unit for row in frame.itertuples() if row.amount}
    assert units["aircraft", "spray", ""] == "m2"
    assert units["aircraft", "fill", "fill"] == "L"
    assert units["charger", "charge", ""] == "Wh"
    assert units["rig", "move", "drive"] == "m"
    assert units["power", "run", ""] == "Wh"
    assert all(units.values())  # an amount never stands without its unit


def test_aircraft_rows_tile_the_day():
    plan, day = sample_day()
    frame = day_frame(day_rows(plan, day), plan.scenario.day.start)
    flown = frame[(frame["kind"] == "aircraft") & (frame["end_s"] > frame["start_s"])].sort_values("start_s")
    for _, rows in flown.groupby("entity"):
        starts, ends = rows["start_s"].to_numpy(), rows["end_s"].to_numpy()
        assert starts[0] == 0.0
        assert ends[:-1] == pytest.approx(starts[1:], abs=1e-6)
        assert ends[-1] == pytest.approx(day.log.paid_until_s)


def test_timeline_of_a_real_day():
    plan, day = sample_day()
    record = day_record(plan, day)
    for wide in (True, False):
        figure = day_figure(record, "a median day", wide)
        labels = labels_of(figure)
        entities = [name for name, kind in day.log.kinds.items() if kind not in (Kind.WEATHER, Kind.RIG)]
        called = {"large 1": "40 L aircraft 1", "large_pack 1": "1,800 Wh pack 1", "large_pack 2": "1,800 Wh pack 2"}
        names = [name.partition("/")[2].replace("/fast ", "/8 kW charger ") for name in entities]
        assert {called.get(name, name)[:10] for name in names} <= {label[:10] for label in labels}
        assert figure.axes[0].get_xlabel() == "time of day"
        assert figure.axes[0].get_xticklabels()[0].get_text() in ("07:00", "09:00")
        assert plan.fields[0].name in {text.get_text() for text in figure.axes[0].texts} or not wide
        assert_nothing_cut_off(figure)


def test_days_share_one_clock():
    early, late = hand_made(), hand_made(day_start_s=28_800.0, end_s=10_800.0)
    span = day_span([early, late])
    assert span == (25_200.0, 39_600.0)
    assert [day_figure(one, span=span).axes[0].get_xlim() for one in (early, late)] == [span, span]


def test_drawn_lengths_are_the_recorded_ones():
    assert sum(widths_at(day_figure(hand_made()), 1.45)) == pytest.approx(7200.0)  # lane of the only aircraft


def test_passes_and_turns_of_a_flight_are_drawn_to_the_second():
    line = {"t_s": [0.0, 10.0, 20.0, 120.0, 130.0, 230.0, 240.0, 250.0], "on": "00101000"}
    flight = {"aircraft": 0, "start_s": 1000.0, "end_s": 1250.0, "line": line}
    aircraft = [{"name": "main/large 1", "states": [[1000.0, 1250.0, "flight", ""]]}]
    [lane] = dict(lanes_of(hand_made(aircraft=aircraft, sorties=[flight])))["aircraft"]
    drawn = {look.label: [end - start for start, end in spans] for look, spans in lane.spans.items()}
    expected = {"take-off and landing": [10, 10], "ferry": [10, 10], "spraying": [100, 100], "turning": [10]}
    assert drawn == {label: pytest.approx(lengths) for label, lengths in expected.items()}


@pytest.mark.parametrize("packs", [MOST_LANES, MOST_LANES + 1, 40])
def test_crowded_kinds_are_collapsed_and_say_so(packs):
    figure = day_figure(hand_made(packs), "x")
    lanes = [label for label in labels_of(figure) if "big" in label or "packs" in label]
    assert len(lanes) == min(packs, MOST_LANES)
    if packs > MOST_LANES:
        assert lanes[-1] == f"{packs - MOST_LANES + 1} more packs together"
        assert "height:\nshare busy" in {text.get_text() for text in figure.axes[0].texts}
    assert_nothing_cut_off(figure)


def test_a_stopped_charger_is_not_drawn_as_charging():
    states = [[0.0, 1000.0, "charge"], [1000.0, 3000.0, "stopped"], [3000.0, 3600.0, "charge"]]
    pack = {**hand_made()["packs"][0], "states": states}
    charger = {"name": "main/t/fast 1.1", "sessions": [[0.0, 3600.0, 0, 900.0]]}
    [lane] = dict(lanes_of(hand_made(chargers=[charger]) | {"packs": [pack]}))["chargers"]
    assert {look.label: spans for look, spans in lane.spans.items()} == {
        "charging": [(0.0, 1000.0), (3000.0, 3600.0)],
        "charger stopped": [(1000.0, 3000.0)],
    }


def test_power_lane_shows_average_power():
    assert any("3.0 kW" in text.get_text() for text in day_figure(hand_made()).axes[0].texts)


def test_the_hours_tell_power_charge_and_pace():
    # 3 kW from 900 s to 4500 s are 2.25 kW of the first hour on average, and 0.75 kW of the second: arithmetic
    table = hour_table("x", hand_made(bottleneck=[[0.0, 3600.0, 0, 0], [3600.0, 7200.0, 1, 2]]))
    assert [[cell.text for cell in row] for row in table.rows] == [
        ["07:00", "2.2 kW", "50 %", "aircraft"],
        ["08:00", "0.8 kW", "50 %", "packs"],
    ]


def test_charge_between_points_lies_on_a_straight_line():
    points = [[0.0, 100.0], [10.0, 100.0], [20.0, 50.0]]
    assert [charge_at(points, time) for time in (0.0, 5.0, 15.0, 30.0)] == [100.0, 100.0, 75.0, 50.0]
    assert charge_at([], 1.0) is None


def test_hostile_names_are_drawn_as_names():
    record = hand_made(aircraft=[{"name": f"main/{HOSTILE} 1", "states": []}])
    svg = figure_bytes(day_figure(record, HOSTILE), "svg")
    assert b"<script" not in svg
    assert b"\x1b" not in svg
