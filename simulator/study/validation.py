"""The model against published measurements and formulas: simulated numbers beside those of papers.

Only what a paper states is taken as its setting. What it leaves open (swath, speed, hands on the ground) is an
assumption, and where an answer hangs on it both ends of a plausible range are simulated instead of one convenient
value. Scenarios stand in :mod:`simulator.study.validation_cases`; sources, and what is *not* held against the model and
why, in :mod:`simulator.report.validation_page`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from simulator.analysis.resources import time_labels
from simulator.errors import InputError
from simulator.experiment.runs import simulate_replication
from simulator.operation.log import FLIGHT_STATES, Kind, Reason, State
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank
from simulator.scenario.units import LITRE_PER_GALLON, M2_PER_HECTARE
from simulator.study import validation_cases as cases
from simulator.study.validation_check import (
    CaseDays,
    Check,
    End,
    ratio,
    simulate_case,
    work_rate_formula_s_per_ha,
)
from simulator.study.validation_larger import larger_aircraft_checks

Report = Callable[[str, int, int], None]

LEAST_DAYS = 4
MOST_DAYS = 10_000
_FLIGHT = tuple(state.value for state in FLIGHT_STATES)
_PACK_WAITS = ("wait: too few packs", "wait: chargers busy", "wait: generator limited")


def _moves() -> list[str]:
    return [label for label in time_labels() if label.startswith("move: ")]


def _field() -> list[str]:
    """Return the labels of an aircraft's time at a field."""
    return [label for label in time_labels() if label not in _moves() and label != "done"]


def _ground() -> list[str]:
    return [label for label in _field() if label not in _FLIGHT]


def _seconds_per_hectare(table: Mapping[str, Any]) -> float:
    """Return the time from leaving for one field to leaving for the next, over its area, from the log of one day."""
    plan = make_plan(load_scenario(table).sets[0])
    log = simulate_replication(plan, StreamBank(1), 0).log
    rig_rows = [row for row in log.rows if log.kinds[row.entity] is Kind.RIG and row.state is State.MOVE]
    # the last drive goes home after whatever the day's end cut off
    starts = sorted(row.start_s for row in rig_rows if row.reason is Reason.DRIVE and row.amount > 0.0)[:-1]
    return (starts[-1] - starts[0]) / (len(starts) - 1) / (plan.fields[0].area_m2 / M2_PER_HECTARE)


def _formula_checks() -> list[Check]:
    """Compare deterministic days with formulas; no randomness, so no standard error."""
    checks = []
    for pass_m, flown, tolerance in ((300.0, False, 0.01), (312.5, True, 1e-4)):
        plots = [
            cases.field(
                "8 ha",
                pass_m / (80_000.0 / pass_m),
                name=f"plot {number}",
                drive_distance="2 km",
                ferry_distance="150 m",
            )
            for number in (1, 2, 3)
        ]
        # of 32 turns the formula counts, the last of the field and those at the three load ends are not flown
        unflown_s_ha = 4 * 6.0 / 8.0 if flown else 0.0
        wanted = (
            work_rate_formula_s_per_ha(180.0, 20.0, 40.0, 6.0, 8.0, 8.0, 6.0, pass_m, 150.0, 2000.0, 8.0) - unflown_s_ha
        )
        name = "work rate, whole passes" if flown else "work rate"
        what = f"time per hectare, field to field, passes of {pass_m:g} m" + (
            ", less the 4 turns not flown" if flown else ""
        )
        got = _seconds_per_hectare(cases.formula_table(field=plots))
        checks.append(Check(name, what, "s/ha", wanted, wanted, got, 0.0, tolerance))
    for pass_m in (100.0, 300.0, 1000.0):
        # 100 passes and a tank for all of them: what is lost beyond spraying is 99 turns
        plot = cases.field(f"{pass_m * 800.0} m^2", pass_m / 800.0, ferry_distance="0 m")
        light = {"aircraft": {"tank": "2000 L", "empty_mass": "9 kg"}}
        day = simulate_case(cases.formula_table(field=[plot], aircraft=light), 1, 1)
        wanted = (pass_m / 6.0) / (pass_m / 6.0 + 6.0)
        what = "spraying over spraying and turning, 6 m/s, 6 s a turn"
        checks.append(
            Check(f"turns, {pass_m:.0f} m", what, "", wanted, wanted, *day.share(["spray"], ["spray", "turn"]), 0.01)
        )
    for mph, label in ((15.0, "flow"), (5.0, "field capacity")):
        # 30 whole passes of 30 ft, so that no pass overlaps another
        us = {
            "product": {"rate": "2 gal/acre"},
            "aircraft": {"aircraft": {"spray_speed": f"{mph} mph", "swath": "30 ft"}},
            "field": [cases.field(f"{900.0 * 1800.0} ft^2", 2.0)],
        }
        day = simulate_case(cases.formula_table(**us), 1, 1)
        minutes = float(day.column("time_s/spray")[0]) / 60.0
        acres, gallons = float(day.column("acres")[0]), float(day.column("applied")[0]) / LITRE_PER_GALLON
        capacity, flow = mph * 30.0 / 8.25, 2.0 * mph * 30.0 / 495.0
        speed = f"{mph:.0f} mph, 30 ft"
        checks.append(
            Check(
                f"capacity, {mph:.0f} mph",
                f"{speed}: rate while spraying",
                "acres/h",
                capacity,
                capacity,
                60.0 * acres / minutes,
                0.0,
                1e-3,
            )
        )
        if label == "flow":
            checks.append(
                Check(label, f"{speed}, 2 gal/acre: spray flow", "gal/min", flow, flow, gallons / minutes, 0.0, 1e-3)
            )
    return checks


def _run_lengths(days: int, seed: int) -> list[Check]:
    """Row 1: time utilisation against length of run, on plots 90 m wide."""

    def share(run_m: int, rate: str, hands: cases.Table, **more: Any) -> tuple[float, float]:
        plot = cases.field(f"{90 * run_m} m^2", run_m / 90.0, **more)
        return simulate_case(cases.small_table("4.5 m", "5 m/s", rate, [plot], hands), days, seed).share(
            ["spray"], _field()
        )

    what = "10 L class, spraying share of field time, runs of 500 m"
    checks = [
        Check(
            "1 share low",
            f"{what}, 15 L/ha, slow hands",
            "",
            0.727,
            0.727,
            *share(500, "15 L/ha", cases.SLOW),
            end="low",
        ),
        Check(
            "1 share high",
            f"{what}, 7.5 L/ha, quick hands",
            "",
            0.727,
            0.727,
            *share(500, "7.5 L/ha", cases.QUICK),
            end="high",
        ),
    ]
    # a landing zone that stays at the plot's corner, and a crew that is always 100 m from the work
    for zone, more in (("at one corner", {}), ("100 m from the work", {"ferry_distance": "100 m"})):
        found = {run_m: share(run_m, "15 L/ha", cases.QUICK, **more) for run_m in (100, 500, 1500, 3500)}
        for longer, shorter, low, high in (
            (500, 100, 0.0, math.inf),
            (1500, 500, 0.0, math.inf),
            (3500, 1500, -0.05, 0.02),
        ):
            change = found[longer][0] - found[shorter][0]
            error = math.hypot(found[longer][1], found[shorter][1])
            text = f"change of that share, runs of {longer} m less {shorter} m, landing zone {zone}"
            checks.append(Check(f"1 {zone.split()[0]} {longer} m", text, "", low, high, change, error))
    return checks


def _whole_days(days: int, seed: int) -> list[Check]:
    """Rows 2, 4, 11, 12 and the 1-5 ha/h band: whole days on six fields of 6.2 ha, with moves."""
    fields = cases.mixed_fields()
    quick = simulate_case(cases.small_table("4.5 m", "5 m/s", "15 L/ha", fields, cases.QUICK), days, seed)
    trailer = {"rig": {"rig": {"trailer": {"yard_time": "35 min", "set_up_time": "15 min"}}}}
    slow = simulate_case(cases.small_table("4.5 m", "5 m/s", "15 L/ha", fields, cases.SLOW, **trailer), days, seed)
    checks = [
        Check(
            "0 10 L low",
            "10 L class in the field, slow hands",
            "ha/h",
            1.0,
            5.0,
            *slow.hectares_per_field_hour(),
            end="low",
        ),
        Check(
            "0 10 L high",
            "10 L class in the field, quick hands",
            "ha/h",
            1.0,
            5.0,
            *quick.hectares_per_field_hour(),
            end="high",
        ),
    ]
    for label, what, low, high, names in (
        ("spray", "spraying", 0.25, 0.35, ("spray",)),
        ("ground", "on the ground at a field", 0.5, 0.5, _ground()),
    ):
        text = f"10 L class, {what}, share of the paid day"
        ends: list[tuple[CaseDays, End, str]] = [
            (slow, "low", "slow hands"),
            (quick, "high", "quick hands"),
        ]
        if label == "ground":
            ends = [(quick, "low", "quick hands"), (slow, "high", "slow hands")]
        checks += [
            Check(f"2 {label} {end}", f"{text}, {hand}", "", low, high, *day.share(names), end=end)
            for day, end, hand in ends
        ]
    classes = {10: quick} | {
        litres: simulate_case(cases.class_table(litres, 3, fields), days, seed) for litres in (20, 40)
    }
    for litres, day in classes.items():
        two = 2.0 * day.column("field_hours")
        what = f"{litres} L class, crew of two, per person-hour"
        checks.append(
            Check(
                f"4 {litres} L field", f"{what} at the field", "ha/h", 3.76, 5.75, *ratio(day.column("hectares"), two)
            )
        )
        checks.append(
            Check(
                f"4 {litres} L paid",
                f"{what} paid",
                "ha/h",
                3.76,
                5.75,
                *ratio(day.column("hectares"), day.column("crew_hours")),
            )
        )
    for litres, value in ((20, 0.41), (40, 0.31)):
        day = classes[litres]
        energy = ratio(day.column("flown_energy_kwh"), day.column("hectares"))
        checks.append(
            Check(f"11 {litres} L", f"{litres} L class, energy out of the pack", "kWh/ha", value, value, *energy, 0.25)
        )
        minutes = ratio(day.seconds(_FLIGHT) / 60.0, day.column("pack_swaps") + 1.0)
        checks.append(
            Check(f"12 {litres} L minutes", f"{litres} L class, airborne on one charge", "min", 5.0, 15.0, *minutes)
        )
    return checks


def _ranges(days: int, seed: int) -> list[Check]:
    """Rows 3, 5, 6 and 9: a paper's settings, with both ends of what it leaves open."""
    checks = []
    sides: tuple[End, ...] = ("low", "high")
    plot = [cases.field("5.3 ha", 2.0)]
    for end, swath, speed, hands in zip(
        sides, ("4 m", "5 m"), ("4 m/s", "6 m/s"), (cases.SLOW, cases.QUICK), strict=True
    ):
        day = simulate_case(cases.small_table(swath, speed, "10 L/ha", plot, hands), days, seed)
        what = f"10 L class at 10 L/ha, {swath}, {speed}"
        checks.append(
            Check(
                f"3 {end}",
                f"{what}, {'slow' if end == 'low' else 'quick'} hands, in the field",
                "ha/h",
                4.11,
                4.11,
                *day.hectares_per_field_hour(),
                end=end,
            )
        )
        airborne = ratio(day.seconds(_FLIGHT) / 60.0, day.column("hectares"))
        checks.append(
            Check(
                f"9 {'high' if end == 'low' else 'low'}",
                f"{what}, airborne",
                "min/ha",
                10.0,
                10.0,
                *airborne,
                end="high" if end == "low" else "low",
            )
        )
    for end, swath in zip(sides, ("3.2 m", "4.5 m"), strict=True):
        day = simulate_case(cases.tiny_table(swath), days, seed)
        what = f"5 L class, 3.6 km/h, {swath}"
        flown = ratio(day.column("hectares"), day.seconds(["spray", "turn"]) / 3600.0)
        checks.append(
            Check(f"5 flown {end}", f"{what}, spraying and turning only", "ha/h", 1.08, 1.15, *flown, end=end)
        )
        checks.append(
            Check(
                f"5 field {end}", f"{what}, in the field", "ha/h", 1.08, 1.15, *day.hectares_per_field_hour(), end=end
            )
        )
    for end, settings in zip(
        sides, (("2.4 m", "4 m/s", "8 s", "39 L/ha"), ("4.8 m", "6 m/s", "6 s", "14 L/ha")), strict=True
    ):
        swath, speed, turn, rate = settings
        day = simulate_case(cases.vineyard_table(swath, speed, turn, rate), 1, seed)
        what = f"42 rows of 61 m, {swath}, {speed}, turns of {turn}, {rate}, in the field"
        checks.append(Check(f"6 {end}", what, "ha/h", 2.0, 4.5, *day.hectares_per_field_hour(), end=end))
    return checks


def _rotor_speed() -> list[Check]:
    """Row 19: rotor speed as the load falls from 16 to 4 kg, with thrust as the square of rotor speed (elementary)."""
    plan = make_plan(load_scenario(cases.class_table(20, 1, cases.mixed_fields())).sets[0])
    rig = plan.rigs[0]
    bare_kg = rig.aircraft[0][0].empty_kg + rig.packs[0][0].mass_kg
    fall = 1.0 - math.sqrt((bare_kg + 4.0) / (bare_kg + 16.0))
    what = f"20 L class of {bare_kg:.0f} kg with its pack: fall of rotor speed, load 16 to 4 kg"
    return [Check("19 rotor", what, "", 0.3, 0.3, fall, 0.0, 0.1)]


def _three_packs(days: int, seed: int) -> list[Check]:
    """Row 12: waiting for a charged pack with one, two and three packs on fast mains charging."""
    checks = []
    for packs, low, high in ((1, 0.05, 1.0), (2, 0.05, 1.0), (3, 0.0, 0.05)):
        day = simulate_case(cases.class_table(40, packs, [cases.field("20 ha", 2.0)]), days, seed)
        what = (
            f"40 L class, 240 V mains, {packs} pack{'s' * (packs > 1)}: waiting for a charged pack, share of field time"
        )
        checks.append(Check(f"12 packs {packs}", what, "", low, high, *day.share(_PACK_WAITS, _field())))
    return checks


def _dispersed(days: int, seed: int) -> list[Check]:
    """Rows 8 and 16: small plots far apart, and what a far better aircraft adds there."""
    checks = []
    for plots in (1, 6, 30):
        plain, better = (simulate_case(cases.dispersed_table(plots, kind), days, seed) for kind in (False, True))
        gain, error = ratio(better.column("hectares"), plain.column("hectares"))
        low, high = (0.0, 0.3) if plots == 30 else (0.3, math.inf)
        what = f"gain in hectares a day from a far better aircraft, 6.3 ha in {plots} plot{'s' * (plots > 1)}"
        checks.append(Check(f"16 plots {plots}", what, "", low, high, gain - 1.0, error))
        if plots == 30:
            checks.append(
                Check(
                    "8 spray",
                    "10 L class, 30 plots of 0.21 ha: spraying, share of the paid day",
                    "",
                    0.0,
                    0.25,
                    *plain.share(["spray"]),
                )
            )
            away = (*_moves(), "ferry out", "ferry back")
            checks.append(
                Check(
                    "8 moving",
                    "the same: moving and ferrying, share of the paid day",
                    "",
                    0.5,
                    0.5,
                    *plain.share(away),
                    0.1,
                )
            )
    return checks


def validate_model(days: int = 40, seed: int = 2024, report: Report | None = None) -> list[Check]:
    """Simulate every case and return its numbers beside the published ones.

    Parameters
    ----------
    days : int
        Days of each stochastic case, 4 to 10000.
    seed : int
        Seed of the random streams.
    report : callable, optional
        Called with a word, parts done and parts to do.

    Returns
    -------
    list of Check
        Formulas first, then measurements.

    Raises
    ------
    InputError
        ``days`` out of range.
    """
    if not LEAST_DAYS <= days <= MOST_DAYS:
        raise InputError.single(f"got {days}; allowed is {LEAST_DAYS} to {MOST_DAYS}", "days")
    parts: list[Callable[[], list[Check]]] = [
        _formula_checks,
        lambda: _run_lengths(days, seed),
        lambda: _whole_days(days, seed),
        lambda: _ranges(days, seed),
        lambda: _three_packs(days, seed),
        lambda: _dispersed(days, seed),
        _rotor_speed,
        lambda: larger_aircraft_checks(days, seed),
    ]
    checks: list[Check] = []
    for place, part in enumerate(parts):
        if report is not None:
            report("validation", place, len(parts))
        checks += part()
    if report is not None:
        report("validation", len(parts), len(parts))
    return checks
