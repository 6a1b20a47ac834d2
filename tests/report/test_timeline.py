"""Timeline and day table: sums equal the log, lanes show what was logged, crowded kinds are collapsed and say so."""

from __future__ import annotations

import itertools
from collections import defaultdict

import pytest
from stored_support import HOSTILE, SCENARIOS, assert_nothing_cut_off, sample_day

from simulator.analysis.day_rows import DayRows, expanded_sortie
from simulator.analysis.log_rows import sortie_rows
from simulator.operation.day import SimulatedDay
from simulator.operation.log import DayLog, Kind, Reason, Sortie, State
from simulator.report.day_table import day_frame
from simulator.report.style import figure_bytes
from simulator.report.timeline import MOST_LANES, timeline_figure

DRAWN = [path.stem for path in SCENARIOS.glob("*.toml") if path.stem in ("third_pack", "willow_basin")]


def crowded_day(packs: int) -> SimulatedDay:
    """Return a hand-made day with one aircraft and many packs."""
    log = DayLog(paid_until_s=7200.0)
    log.kinds = {"main/large 1": Kind.AIRCRAFT, "main": Kind.RIG, "main/trailer": Kind.POWER}
    log.add(0.0, 900.0, "main", State.MOVE, Reason.DRIVE, "", 5000.0)
    log.add(6300.0, 7200.0, "main", State.MOVE, Reason.YARD)
    log.add(0.0, 900.0, "main/large 1", State.MOVE, Reason.DRIVE)
    log.add(900.0, 7200.0, "main/large 1", State.WAIT, Reason.TOO_FEW_PACKS, "home")
    log.add(900.0, 4500.0, "main/trailer", State.RUN, Reason.NONE, "", 3000.0)
    for number in range(packs):
        log.kinds[f"main/big {number}"] = Kind.PACK
        log.add(900.0, 4500.0, f"main/big {number}", State.CHARGE if number % 2 else State.READY)
    return SimulatedDay(log, (), 0)


@pytest.mark.parametrize("name", DRAWN)
def test_single_passes_add_up_to_the_flight(name: str) -> None:
    plan, day = sample_day(name)
    index = {one.name: place for place, one in enumerate(plan.fields)}
    speeds = {aircraft.name: aircraft.ferry_speed_m_per_s for rig in plan.rigs for aircraft, _ in rig.aircraft}
    several = 0
    for sortie in day.log.sorties:
        class_name = sortie.aircraft.split("/")[1].rsplit(" ", 1)[0]
        profile = plan.profiles[class_name, index[sortie.field]]
        rows = expanded_sortie(sortie, profile, speeds[class_name])
        whole = {row.state: row for row in sortie_rows(sortie)}
        sums: dict[State, float] = defaultdict(float)
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


def test_turns_of_a_rectangle_lie_between_whole_passes() -> None:
    plan, day = sample_day()
    sortie = max(day.log.sorties, key=lambda one: one.turn_s)
    rows = [row for row in DayRows.of(day, plan) if row.kind == Kind.AIRCRAFT]
    flown = [row for row in rows if sortie.start_s <= row.start_s < sortie.end_s and row.entity == sortie.aircraft]
    states = [row.state for row in flown if row.state in (State.WORK, State.TURN)]
    assert states[::2] == [State.WORK] * len(states[::2])
    assert states[1::2] == [State.TURN] * len(states[1::2])
    turns = [row.end_s - row.start_s for row in flown if row.state == State.TURN]
    assert turns == pytest.approx([turns[0]] * len(turns))


def test_day_table_with_and_without_a_plan_agree() -> None:
    plan, day = sample_day()
    fine, coarse = day_frame(DayRows.of(day, plan)), day_frame(DayRows.of(day))
    assert len(fine) > len(coarse)
    assert coarse["clock_start"].isna().all()
    for key in ("activity", "reason"):
        lengths = [(one["end_s"] - one["start_s"]).groupby([one["kind"], one[key]]).sum() for one in (fine, coarse)]
        assert lengths[0].to_dict() == pytest.approx(lengths[1].to_dict())
    sprayed = fine[fine["activity"] == "spray"]["amount"].sum()
    assert sprayed == pytest.approx(sum(one.area_to_m2 - one.area_from_m2 for one in day.log.sorties))


def test_day_table_tells_clock_time_and_units() -> None:
    plan, day = sample_day()
    frame = day_frame(DayRows.of(day, plan))
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


def test_aircraft_rows_tile_the_day() -> None:
    plan, day = sample_day()
    frame = day_frame(DayRows.of(day, plan))
    flown = frame[(frame["kind"] == "aircraft") & (frame["end_s"] > frame["start_s"])].sort_values("start_s")
    for _, rows in flown.groupby("entity"):
        starts, ends = rows["start_s"].to_numpy(), rows["end_s"].to_numpy()
        assert starts[0] == 0.0
        assert ends[:-1] == pytest.approx(starts[1:], abs=1e-6)
        assert ends[-1] == pytest.approx(day.log.paid_until_s)


@pytest.mark.parametrize("with_plan", [True, False])
def test_timeline_of_a_real_day(with_plan: bool) -> None:
    plan, day = sample_day()
    figure = timeline_figure(DayRows.of(day, plan if with_plan else None), "a median day")
    axes = figure.axes[0]
    labels = [label.get_text() for label in axes.get_yticklabels()]
    assert len(labels) == sum(1 for kind in day.log.kinds.values() if kind is not Kind.WEATHER)
    assert axes.get_xlabel().startswith("time of day" if with_plan else "hours and minutes")
    first = axes.get_xticklabels()[0].get_text()
    assert first == ("07:00" if with_plan else "00:00")
    assert_nothing_cut_off(figure)


def test_timeline_names_the_fields_of_each_stay() -> None:
    plan, day = sample_day()
    words = {text.get_text() for text in timeline_figure(DayRows.of(day, plan), "x").axes[0].texts}
    assert plan.fields[0].name in words


def test_drawn_lengths_are_the_logged_ones() -> None:
    day = crowded_day(1)
    figure = timeline_figure(DayRows.of(day), "x")
    drawn = 0.0
    for collection in figure.axes[0].collections:
        for path in collection.get_paths():
            box = path.get_extents()
            if box.height < 0.8 and abs(0.5 * (box.y0 + box.y1) - 1.45) < 0.01:  # lane of the only aircraft
                drawn += box.width
    assert drawn == pytest.approx(7200.0)


@pytest.mark.parametrize("packs", [MOST_LANES, MOST_LANES + 1, 40])
def test_crowded_kinds_are_collapsed_and_say_so(packs: int) -> None:
    figure = timeline_figure(DayRows.of(crowded_day(packs)), "x")
    labels = [label.get_text() for label in figure.axes[0].get_yticklabels()]
    lanes = [label for label in labels if "big" in label or "packs" in label]
    assert len(lanes) == min(packs, MOST_LANES)
    if packs > MOST_LANES:
        assert lanes[-1] == f"{packs - MOST_LANES + 1} more packs together"
        assert "height: share busy" in {text.get_text().strip() for text in figure.axes[0].texts}
    assert_nothing_cut_off(figure)


def test_a_stopped_charger_is_not_drawn_as_charging() -> None:
    log = DayLog(paid_until_s=3600.0)
    log.kinds = {"main/big 1": Kind.PACK, "main/t/fast 1.1": Kind.CHARGER}
    log.add(0.0, 1000.0, "main/big 1", State.CHARGE)
    log.add(1000.0, 3000.0, "main/big 1", State.STOPPED)
    log.add(3000.0, 3600.0, "main/big 1", State.CHARGE)
    log.add(0.0, 3600.0, "main/t/fast 1.1", State.CHARGE, Reason.NONE, "main/big 1", 900.0)
    figure = timeline_figure(DayRows.of(SimulatedDay(log, (), 0)), "x")
    widths = []
    for collection in figure.axes[0].collections:
        for path in collection.get_paths():
            box = path.get_extents()
            if abs(0.5 * (box.y0 + box.y1) - 1.45) < 0.01:
                widths.append(box.width)
    assert sorted(widths) == pytest.approx([600.0, 1000.0, 2000.0])


def test_power_lane_shows_average_power() -> None:
    figure = timeline_figure(DayRows.of(crowded_day(1)), "x")
    # 3000 Wh in an hour are 3 kW on average: arithmetic
    assert any("3 kW" in text.get_text() for text in figure.axes[0].texts)


def test_an_empty_day_and_hostile_names_are_drawn() -> None:
    figure_bytes(timeline_figure(DayRows.of(SimulatedDay(DayLog(), (), 0)), ""), "svg")
    log = DayLog(paid_until_s=3600.0)
    log.kinds = {f"main/{HOSTILE} 1": Kind.AIRCRAFT, "main": Kind.RIG}
    log.add(0.0, 100.0, "main", State.MOVE, Reason.YARD)
    log.add(3500.0, 3600.0, "main", State.MOVE, Reason.YARD)
    part = (1000.0, 10.0, 10.0, 400.0, 5.0, 10.0, 10.0)
    flight = Sortie(
        part[0],
        f"main/{HOSTILE} 1",
        "main/p 1",
        HOSTILE,
        1,
        0.0,
        9000.0,
        *part[1:],
        900.0,
        20.0,
        20.0,
        500.0,
        1000.0,
        1,
    )
    log.sorties.append(flight)
    day = SimulatedDay(log, (), 0)
    svg = figure_bytes(timeline_figure(DayRows.of(day), HOSTILE), "svg")
    assert b"<script" not in svg
    assert b"\x1b" not in svg
    frame = day_frame(DayRows.of(day))
    assert HOSTILE in set(frame["field"])  # the table holds data as it is; the writer of files disarms cells
