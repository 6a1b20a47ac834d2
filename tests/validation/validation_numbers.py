"""The model against published measurements and formulas: simulated numbers beside those of papers.

Only what a paper states is taken as its setting. What it leaves open (swath, speed, hands on the ground) is an
assumption, and where an answer hangs on it both ends of a plausible range are simulated instead of one convenient
value. Scenarios stand in ``validation_cases.py``; sources, and what is *not* held against the model and why, in
``published.toml``.
"""

import math

import numpy as np
import validation_cases as cases
from validation_check import CaseDays, Check, ratio, simulate_case, work_rate_formula_s_per_ha

from simulator.analysis.resources import time_labels
from simulator.experiment.runs import row_of_run, simulate_replication
from simulator.operation.log import FLIGHT_STATES, Kind, Reason, State
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank
from simulator.scenario.units import LITRE_PER_GALLON, M2_PER_HECTARE
from simulator.study.day_money import ledger_of
from simulator.study.money import need_costs
from simulator.study.season import size_cost

ENDS = ("low", "high")
HANDS = {"slow hands": cases.SLOW, "quick hands": cases.QUICK}
FLIGHT = tuple(state.value for state in FLIGHT_STATES)
MOVES = tuple(label for label in time_labels() if label.startswith("move: "))
FIELD = tuple(label for label in time_labels() if label not in MOVES and label != "done")
"""Labels of an aircraft's time at a field."""
PACK_WAITS = ("wait: too few packs", "wait: chargers busy", "wait: generator limited")


def _seconds_per_hectare(table):
    """Return the time from leaving for one field to leaving for the next, over its area, from the log of one day."""
    plan = make_plan(load_scenario(table).sets[0])
    log = simulate_replication(plan, StreamBank(1), 0).log
    rig_rows = [row for row in log.rows if log.kinds[row.entity] is Kind.RIG and row.state is State.MOVE]
    # the last drive goes home after whatever the day's end cut off
    starts = sorted(row.start_s for row in rig_rows if row.reason is Reason.DRIVE and row.amount > 0.0)[:-1]
    return (starts[-1] - starts[0]) / (len(starts) - 1) / (plan.fields[0].area_m2 / M2_PER_HECTARE)


def _formula(key, what, unit, wanted, got, tolerance):
    """Return a check of a day without randomness."""
    return Check(key, what, unit, wanted, wanted, got, 0.0, tolerance)


def formula_checks():
    """Compare deterministic days with formulas."""
    checks = []
    for pass_m, flown, tolerance in ((300.0, False, 0.01), (312.5, True, 1e-4)):
        shape, more = pass_m / (80_000.0 / pass_m), {"drive_distance": "2 km", "ferry_distance": "150 m"}
        plots = [cases.field("8 ha", shape, name=f"plot {number}", **more) for number in (1, 2, 3)]
        # of 32 turns the formula counts, the last of the field and those at the three load ends are not flown
        unflown_s_ha = 4 * 6.0 / 8.0 if flown else 0.0
        wanted = work_rate_formula_s_per_ha(180.0, 20.0, 40.0, 6.0, 8.0, 8.0, 6.0, pass_m, 150.0, 2000.0, 8.0)
        what = f"time per hectare, field to field, passes of {pass_m:g} m"
        key, what = ("work rate, whole passes", f"{what}, less the 4 turns not flown") if flown else ("work rate", what)
        got = _seconds_per_hectare(cases.formula_table(field=plots))
        checks.append(_formula(key, what, "s/ha", wanted - unflown_s_ha, got, tolerance))
    for pass_m in (100.0, 300.0, 1000.0):
        # 100 passes and a tank for all of them: what is lost beyond spraying is 99 turns
        plot = cases.field(f"{pass_m * 800.0} m^2", pass_m / 800.0, ferry_distance="0 m")
        light = {"aircraft": {"tank": "2000 L", "empty_mass": "9 kg"}}
        day = simulate_case(cases.formula_table(field=[plot], aircraft=light), 1, 1)
        wanted, (got, _) = (pass_m / 6.0) / (pass_m / 6.0 + 6.0), day.share(["spray"], ["spray", "turn"])
        what = "spraying over spraying and turning, 6 m/s, 6 s a turn"
        checks.append(_formula(f"turns, {pass_m:.0f} m", what, "", wanted, got, 0.01))
    for mph in (15.0, 5.0):
        # 30 whole passes of 30 ft, so that no pass overlaps another
        plot = cases.field(f"{900.0 * 1800.0} ft^2", 2.0)
        us = {"aircraft": {"spray_speed": f"{mph} mph", "swath": "30 ft"}}
        day = simulate_case(cases.formula_table(field=[plot], product={"rate": "2 gal/acre"}, aircraft=us), 1, 1)
        minutes, acres, litres = (float(day.column(name)[0]) for name in ("time_s/spray", "acres", "applied"))
        minutes /= 60.0
        speed = f"{mph:.0f} mph, 30 ft"
        what, wanted = f"{speed}: rate while spraying", mph * 30.0 / 8.25
        checks.append(_formula(f"capacity, {mph:.0f} mph", what, "acres/h", wanted, 60.0 * acres / minutes, 1e-3))
        if mph == 15.0:
            wanted, got = 2.0 * mph * 30.0 / 495.0, litres / LITRE_PER_GALLON / minutes
            checks.append(_formula("flow", f"{speed}, 2 gal/acre: spray flow", "gal/min", wanted, got, 1e-3))
    return checks


def run_lengths(days, seed):
    """Row 1: time utilisation against length of run, on plots 90 m wide."""

    def share(run_m, rate, hands, **more):
        plot = cases.field(f"{90 * run_m} m^2", run_m / 90.0, **more)
        day = simulate_case(cases.small_table("4.5 m", "5 m/s", rate, [plot], hands), days, seed)
        return day.share(["spray"], FIELD)

    checks = []
    for end, rate, hands in zip(ENDS, ("15 L/ha", "7.5 L/ha"), HANDS, strict=True):
        what = f"10 L class, spraying share of field time, runs of 500 m, {rate}, {hands}"
        checks.append(Check(f"1 share {end}", what, "", 0.727, 0.727, *share(500, rate, HANDS[hands]), end=end))
    # a landing zone that stays at the plot's corner, and a crew that is always 100 m from the work
    for zone, more in (("at one corner", {}), ("100 m from the work", {"ferry_distance": "100 m"})):
        found = {run_m: share(run_m, "15 L/ha", cases.QUICK, **more) for run_m in (100, 500, 1500, 3500)}
        rising = (0.0, math.inf)
        for longer, shorter, low, high in ((500, 100, *rising), (1500, 500, *rising), (3500, 1500, -0.05, 0.02)):
            change = found[longer][0] - found[shorter][0]
            error = math.hypot(found[longer][1], found[shorter][1])
            what = f"change of that share, runs of {longer} m less {shorter} m, landing zone {zone}"
            checks.append(Check(f"1 {zone.split()[0]} {longer} m", what, "", low, high, change, error))
    return checks


def whole_days(days, seed):
    """Rows 2, 4, 11, 12 and the 1-5 ha/h band: whole days on six fields of 6.2 ha, with moves."""
    fields = cases.mixed_fields()
    trailer = {"rig": {"rig": {"trailer": {"yard_time": "35 min", "set_up_time": "15 min"}}}}
    day_of = {
        hands: simulate_case(cases.small_table("4.5 m", "5 m/s", "15 L/ha", fields, table, **more), days, seed)
        for (hands, table), more in zip(HANDS.items(), (trailer, {}), strict=True)
    }
    checks = []
    for end, (hands, day) in zip(ENDS, day_of.items(), strict=True):
        what, pace = f"10 L class in the field, {hands}", day.hectares_per_field_hour()
        checks.append(Check(f"0 10 L {end}", what, "ha/h", 1.0, 5.0, *pace, end=end))
    ground = [label for label in FIELD if label not in FLIGHT]
    for key, what, low, high, labels, order in (
        ("spray", "spraying", 0.25, 0.35, ("spray",), ("slow hands", "quick hands")),
        ("ground", "on the ground at a field", 0.5, 0.5, ground, ("quick hands", "slow hands")),
    ):
        for end, hands in zip(ENDS, order, strict=True):
            text = f"10 L class, {what}, share of the paid day, {hands}"
            checks.append(Check(f"2 {key} {end}", text, "", low, high, *day_of[hands].share(labels), end=end))
    classes = {10: day_of["quick hands"]} | {
        litres: simulate_case(cases.class_table(litres, 3, fields), days, seed) for litres in (20, 40)
    }
    for litres, day in classes.items():
        what, hectares = f"{litres} L class, crew of two, per person-hour", day.column("hectares")
        for key, clock, hours in (
            ("field", "at the field", 2.0 * day.column("field_hours")),
            ("paid", "paid", day.column("crew_hours")),
        ):
            got = ratio(hectares, hours)
            checks.append(Check(f"4 {litres} L {key}", f"{what} {clock}", "ha/h", 3.76, 5.75, *got))
    for litres, value in ((20, 0.41), (40, 0.31)):
        day, name = classes[litres], f"{litres} L class"
        energy = ratio(day.column("flown_energy_kwh"), day.column("hectares"))
        checks.append(Check(f"11 {litres} L", f"{name}, energy out of the pack", "kWh/ha", value, value, *energy, 0.25))
        minutes = ratio(day.seconds(FLIGHT) / 60.0, day.column("pack_swaps") + 1.0)
        checks.append(Check(f"12 {litres} L minutes", f"{name}, airborne on one charge", "min", 5.0, 15.0, *minutes))
    return checks


def ranges(days, seed):
    """Rows 3, 5, 6 and 9: a paper's settings, with both ends of what it leaves open."""
    checks = []
    plot = [cases.field("5.3 ha", 2.0)]
    for end, other, swath, speed, hands in zip(
        ENDS, ENDS[::-1], ("4 m", "5 m"), ("4 m/s", "6 m/s"), HANDS, strict=True
    ):
        day = simulate_case(cases.small_table(swath, speed, "10 L/ha", plot, HANDS[hands]), days, seed)
        what, pace = f"10 L class at 10 L/ha, {swath}, {speed}", day.hectares_per_field_hour()
        checks.append(Check(f"3 {end}", f"{what}, {hands}, in the field", "ha/h", 4.11, 4.11, *pace, end=end))
        minutes = ratio(day.seconds(FLIGHT) / 60.0, day.column("hectares"))
        checks.append(Check(f"9 {other}", f"{what}, airborne", "min/ha", 10.0, 10.0, *minutes, end=other))
    for end, swath in zip(ENDS, ("3.2 m", "4.5 m"), strict=True):
        day = simulate_case(cases.tiny_table(swath), days, seed)
        what, pace = f"5 L class, 3.6 km/h, {swath}", day.hectares_per_field_hour()
        flown = ratio(day.column("hectares"), day.seconds(["spray", "turn"]) / 3600.0)
        checks.append(
            Check(f"5 flown {end}", f"{what}, spraying and turning only", "ha/h", 1.08, 1.15, *flown, end=end)
        )
        checks.append(Check(f"5 field {end}", f"{what}, in the field", "ha/h", 1.08, 1.15, *pace, end=end))
    settings = (("2.4 m", "4 m/s", "8 s", "39 L/ha"), ("4.8 m", "6 m/s", "6 s", "14 L/ha"))
    for end, (swath, speed, turn, rate) in zip(ENDS, settings, strict=True):
        pace = simulate_case(cases.vineyard_table(swath, speed, turn, rate), 1, seed).hectares_per_field_hour()
        what = f"42 rows of 61 m, {swath}, {speed}, turns of {turn}, {rate}, in the field"
        checks.append(Check(f"6 {end}", what, "ha/h", 2.0, 4.5, *pace, end=end))
    return checks


def rotor_speed():
    """Row 19: rotor speed as the load falls from 16 to 4 kg, with thrust as the square of rotor speed (elementary)."""
    rig = make_plan(load_scenario(cases.class_table(20, 1, cases.mixed_fields())).sets[0]).rigs[0]
    bare_kg = rig.aircraft[0][0].empty_kg + rig.packs[0][0].mass_kg
    fall = 1.0 - math.sqrt((bare_kg + 4.0) / (bare_kg + 16.0))
    what = f"20 L class of {bare_kg:.0f} kg with its pack: fall of rotor speed, load 16 to 4 kg"
    return [_formula("19 rotor", what, "", 0.3, fall, 0.1)]


def three_packs(days, seed):
    """Row 12: waiting for a charged pack with one, two and three packs on fast mains charging."""
    checks = []
    for packs, low, high in ((1, 0.05, 1.0), (2, 0.05, 1.0), (3, 0.0, 0.05)):
        day = simulate_case(cases.class_table(40, packs, [cases.field("20 ha", 2.0)]), days, seed)
        count = f"{packs} pack{'s' * (packs > 1)}"
        what = f"40 L class, 240 V mains, {count}: waiting for a charged pack, share of field time"
        checks.append(Check(f"12 packs {packs}", what, "", low, high, *day.share(PACK_WAITS, FIELD)))
    return checks


def dispersed(days, seed):
    """Rows 8 and 16: small plots far apart, and what a far better aircraft adds there."""
    checks = []
    for plots in (1, 6, 30):
        plain, better = (simulate_case(cases.dispersed_table(plots, kind), days, seed) for kind in (False, True))
        gain, error = ratio(better.column("hectares"), plain.column("hectares"))
        low, high = (0.0, 0.3) if plots == 30 else (0.3, math.inf)
        what = f"gain in hectares a day from a far better aircraft, 6.3 ha in {plots} plot{'s' * (plots > 1)}"
        checks.append(Check(f"16 plots {plots}", what, "", low, high, gain - 1.0, error))
    what = "10 L class, 30 plots of 0.21 ha: spraying, share of the paid day"
    checks.append(Check("8 spray", what, "", 0.0, 0.25, *plain.share(["spray"])))
    what, away = "the same: moving and ferrying, share of the paid day", (*MOVES, "ferry out", "ferry back")
    return [*checks, Check("8 moving", what, "", 0.5, 0.5, *plain.share(away), 0.1)]


def larger_aircraft(days, seed):
    """Rows 18, 20 and 21: cost per acre by acres a year, acres an hour, and minutes between changes of the pack."""
    checks = []

    def rows_of(entry):
        plan, bank = make_plan(entry), StreamBank(seed)
        return np.array([row_of_run(plan, bank, run) for run in range(days)])

    for end, prices in cases.PRICES.items():
        entry = load_scenario(cases.larger_table("2 gal/acre", prices)).sets[0]
        costs = need_costs(entry, "the cost per acre", income=False)
        ledger = ledger_of(rows_of(entry), entry.scenario, costs)
        for acres, published in ((1000.0, 12.27), (4000.0, 7.39)):
            cost = size_cost(ledger, entry, costs, acres, math.inf).cost_per_acre
            got = cost.mean, 0.0 if cost.half_width is None else cost.half_width / 2.0
            what = f"40 L class, {acres:,.0f} acres a year, {end} prices"
            checks.append(Check(f"18 cost {acres:.0f} {end}", what, "$/acre", published, published, *got, end=end))
    for end, rate in zip(ENDS, ("5 gal/acre", "2 gal/acre"), strict=True):
        case = CaseDays(rows_of(load_scenario(cases.larger_table(rate, cases.PRICES["low"])).sets[0]))
        what, pace = f"40 L class at {rate}", ratio(case.column("acres"), case.column("field_hours"))
        checks.append(Check(f"20 pace {end}", f"{what}, in the field", "acres/h", 20.0, 40.0, *pace, end=end))
        minutes, what = ratio(60.0 * case.column("field_hours"), case.column("pack_swaps")), f"{what}: from one change"
        checks.append(
            Check(f"21 minutes {end}", f"{what} of pack and tank to the next", "min", 8.0, 15.0, *minutes, end=end)
        )
    return checks


def validate_model(days, seed):
    """Simulate every case, its random ones for some days; return its numbers beside the published ones."""
    random = (run_lengths, whole_days, ranges, three_packs, dispersed)
    checks = [*formula_checks(), *(check for part in random for check in part(days, seed))]
    return [*checks, *rotor_speed(), *larger_aircraft(days, seed)]
