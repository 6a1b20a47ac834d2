"""The model against published measurements and formulas: simulated numbers beside those of papers.

Only what a paper states is taken as its setting. What it leaves open (swath, speed, hands on the ground) is an
assumption of this file, and where an answer hangs on it the two ends of a plausible range are simulated instead of one
convenient value. Sources and the wording of every row stand in :mod:`simulator.report.validation_page`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import COLUMNS, TIME_LABELS
from simulator.errors import InputError
from simulator.experiment.estimates import ratio_interval
from simulator.experiment.replicate import run_block
from simulator.experiment.streams import StreamBank
from simulator.operation.plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.merge import deep_merge
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE

Table = Mapping[str, Any]
Report = Callable[[str, int, int], None]

LEAST_DAYS = 4
MOST_DAYS = 10_000
_FLIGHT = ("take-off", "ferry out", "spray", "turn", "ferry back", "landing")
_PACK_WAITS = ("wait: too few packs", "wait: chargers busy", "wait: generator limited")


@dataclass(frozen=True)
class Check:
    """One simulated number beside a published one.

    Parameters
    ----------
    key : str
        Unique; the row's number and a letter, or the formula's name.
    what : str
        What is measured, with its clock.
    unit : str
        Unit of all numbers; empty for shares and ratios.
    published : str
        The published number, as text.
    low, high : float
        Its band; equal when it is one number.
    simulated : float
        Mean over the simulated days.
    standard_error : float
        Of that mean; 0 for a day without any randomness.
    relative_tolerance : float
        Largest distance from the band, over the band's nearest end, that still counts as agreement.
    """

    key: str
    what: str
    unit: str
    published: str
    low: float
    high: float
    simulated: float
    standard_error: float
    relative_tolerance: float = 0.0

    @property
    def verdict(self) -> str:
        """Return ``inside``, ``above`` or ``below`` the published band; ``inside`` within three standard errors of it."""
        room = 3.0 * self.standard_error
        if self.simulated > self.high + room + self.relative_tolerance * abs(self.high):
            return "above"
        if self.simulated < self.low - room - self.relative_tolerance * abs(self.low):
            return "below"
        return "inside"


@dataclass(frozen=True)
class _Days:
    """Simulated days of one case; columns by name."""

    rows: NDArray[np.float64]

    def column(self, name: str) -> NDArray[np.float64]:
        values: NDArray[np.float64] = self.rows[:, COLUMNS.index(name)]
        return values

    def seconds(self, labels: Sequence[str]) -> NDArray[np.float64]:
        total: NDArray[np.float64] = np.sum([self.column(f"time_s/{label}") for label in labels], axis=0)
        return total

    def field_seconds(self) -> NDArray[np.float64]:
        """Return aircraft seconds with the rig set up at a field."""
        return self.seconds([label for label in TIME_LABELS if not label.startswith("move: ") and label != "done"])

    def ratio(self, upper: NDArray[np.float64], lower: NDArray[np.float64]) -> tuple[float, float]:
        """Return the ratio of two means and its standard error (jackknife interval over its quantile)."""
        if float(np.ptp(upper)) == 0.0 and float(np.ptp(lower)) == 0.0:
            return float(upper[0] / lower[0]), 0.0
        interval = ratio_interval(upper, lower, 0.68268949)
        return interval.mean, 0.5 * (interval.high - interval.low)

    def hectares_per_field_hour(self) -> tuple[float, float]:
        return self.ratio(self.column("hectares"), self.column("field_hours"))

    def hectares_per_airborne_hour(self) -> tuple[float, float]:
        return self.ratio(self.column("hectares"), self.seconds(_FLIGHT) / 3600.0)


def _days(table: Table, days: int, seed: int) -> _Days:
    plan = make_plan(load_scenario(table).sets[0])
    return _Days(run_block(plan, StreamBank(seed), 0, days))


# --- scenarios ---

_QUIET = {"drive_distance": "0 m"}
_NO_TRAILER = {"pack_up_time": "0 s", "set_up_time": "0 s", "yard_time": "0 s"}
_ENDLESS = {"energy": "10000 kWh", "mass": "1 kg", "fits": ["aircraft"], "charge_power_max": "100 kW"}
_PLENTY = {"mix_tank": "100000 L", "start_mixed": "100 %", "nurse_water": "100000 L"}


def _formula_table(**changes: Any) -> dict[str, Any]:
    """Return one aircraft that never waits: no pack to swap, no mix to make, constant times."""
    table: dict[str, Any] = {
        "name": "formula",
        "units": "metric",
        "day": {"window": "12 h"},
        "weather": {"air_temperature": "15 degC", "altitude": "0 m"},
        "product": {"kind": "liquid", "rate": "20 L/ha"},
        "yard": _QUIET,
        "route": {"road_speed": "8 m/s"},
        "aircraft": {
            "aircraft": {
                "tank": "40 L", "empty_mass": "48 kg", "rotors": 8, "rotor_diameter": "1.07 m", "swath": "8 m",
                "spray_speed": "6 m/s", "ferry_speed": "8 m/s", "turn_time": "6 s", "take_off_time": "15 s",
                "landing_time": "20 s", "handling_time": "0 s",
            }
        },
        "pack": {"pack": _ENDLESS},
        "charger": {"charger": {"serves": ["pack"], "output_power": "10 kW"}},
        "rig": {
            "rig": {
                "aircraft": {"aircraft": 1},
                "packs": {"pack": 1},
                "power": {"mains": {"grid_power": "20 kW", "chargers": {"charger": 1}}},
                # 145 s to fill: with take-off and landing the 180 s of loading and taxi in the worked example
                "crew": {"pilots": 1, "helpers": 2, "tasks": {"fill": {"time": "143 s"}}},
                "supply": {**_PLENTY, "pump_flow": "20 L/s"},
                "trailer": _NO_TRAILER,
            }
        },
    }  # fmt: skip
    return deep_merge(table, changes)


def _class_table(
    aircraft: str, pack: str, charger: str, kilowatts: str, packs: int, fields: list[dict[str, Any]], rate: str, **changes: Any
) -> dict[str, Any]:
    """Return a day of one aircraft of a catalogue class on a grid supply, with a pilot and a helper."""
    table: dict[str, Any] = {
        "name": "class",
        "units": "metric",
        "product": {"kind": "liquid", "rate": rate},
        "field": fields,
        "aircraft": {"aircraft": {"like": aircraft, "hover": {"pack": "pack"}}},
        "pack": {"pack": {"like": pack, "fits": ["aircraft"]}},
        "charger": {"charger": {"like": charger, "serves": ["pack"]}},
        "rig": {
            "rig": {
                "aircraft": {"aircraft": 1},
                "packs": {"pack": packs},
                "power": {"mains": {"grid_power": kilowatts, "chargers": {"charger": 1}}},
                "crew": {"pilots": 1, "helpers": 1, "tasks": _TASKS},
            }
        },
    }
    return deep_merge(table, changes)


_TASKS = {
    "swap": {"time": {"dist": "lognormal", "mean": "60 s", "cv": 0.25}},
    "fill": {"time": {"dist": "lognormal", "mean": "40 s", "cv": 0.3}},
}
_SMALL_AIRCRAFT: dict[str, Any] = {
    "tank": "10 L", "empty_mass": "12 kg", "rotors": 6, "rotor_diameter": "0.76 m", "turn_time": "4 s",
    "ferry_speed": "6 m/s", "swap": "when needed",
    "flight_time_factor": {"dist": "normal", "mean": "1.0", "sd": "0.06", "low": "0.8", "high": "1.3"},
}  # fmt: skip
_SMALL_PACK: dict[str, Any] = {"energy": "700 Wh", "mass": "5 kg", "fits": ["aircraft"], "charge_power_max": "3.5 kW"}


def _small_table(swath: str, speed: str, rate: str, fields: list[dict[str, Any]], **changes: Any) -> dict[str, Any]:
    """Return a day of one 10 L multirotor with four packs and two chargers; class values are assumptions."""
    table: dict[str, Any] = {
        "name": "small",
        "units": "metric",
        "product": {"kind": "liquid", "rate": rate},
        "field": fields,
        "aircraft": {"aircraft": {**_SMALL_AIRCRAFT, "swath": swath, "spray_speed": speed}},
        "pack": {"pack": _SMALL_PACK},
        "charger": {"charger": {"serves": ["pack"], "output_power": "3 kW"}},
        "rig": {
            "rig": {
                "aircraft": {"aircraft": 1},
                "packs": {"pack": 4},
                "power": {"mains": {"grid_power": "8 kW", "chargers": {"charger": 2}}},
                "crew": {"pilots": 1, "helpers": 1, "tasks": _TASKS},
            }
        },
    }
    return deep_merge(table, changes)


def _field(area: str, ratio: float, **more: Any) -> dict[str, Any]:
    return {"name": "plot", "area": area, "length_to_width": str(ratio), "drive_distance": "1 km", **more}


# --- formulas ---


def work_rate_formula_s_per_ha(
    load_s: float, rate_l_ha: float, load_l: float, spray_m_s: float, ferry_m_s: float, swath_m: float, turn_s: float,
    pass_m: float, ferry_m: float, between_m: float, field_ha: float,
) -> float:  # fmt: skip
    """Return work time per hectare of one aircraft that never waits.

    Parameters
    ----------
    load_s : float
        Loading, take-off and landing of one flight, s.
    rate_l_ha, load_l : float
        Application rate (L/ha) and load of a flight (L).
    spray_m_s, ferry_m_s : float
        Speeds, m/s.
    swath_m, turn_s, pass_m : float
        Lane separation (m), time of one turn (s), length of a pass (m).
    ferry_m, between_m, field_ha : float
        Average distance loading point to work (m), distance between fields (m), field area (ha).

    Returns
    -------
    float
        s/ha. Source: Baltin 1959 as printed in Matthews, *Pesticide Application Methods* (from memory).
    """
    rate = rate_l_ha / M2_PER_HECTARE
    area_m2 = field_ha * M2_PER_HECTARE
    per_m2 = (
        load_s * rate / load_l
        + 1.0 / (spray_m_s * swath_m)
        + turn_s / (swath_m * pass_m)
        + 2.0 * ferry_m * rate / (ferry_m_s * load_l)
        + between_m / (ferry_m_s * area_m2)
    )
    return per_m2 * M2_PER_HECTARE


def _formula_checks() -> list[Check]:
    """Compare deterministic days with formulas; no randomness, so no standard error."""
    # fields of 8 ha with passes of 300 m, 2 km apart, work 150 m from the landing zone on average
    plots = [
        {"name": f"plot {n}", "area": "8 ha", "length_to_width": str(300.0 / (80_000.0 / 300.0)), "drive_distance": "2 km", "ferry_distance": "150 m"}
        for n in range(1, 4)
    ]  # fmt: skip
    formula = work_rate_formula_s_per_ha(180.0, 20.0, 40.0, 6.0, 8.0, 8.0, 6.0, 300.0, 150.0, 2000.0, 8.0)
    simulated = _seconds_per_hectare(_formula_table(field=plots))
    text = f"{formula:.2f}"
    checks = [Check("work rate", "time per hectare, field to field", "s/ha", text, formula, formula, simulated, 0.0, 0.005)]
    for length in (100.0, 300.0, 1000.0):
        # 100 passes, tank for all of them: what is lost beyond spraying is turning alone
        width = 8.0 * 100
        plot = [_field(f"{length * width} m^2", length / width, ferry_distance="0 m")]
        day = _days(_formula_table(field=plot, aircraft={"aircraft": {"tank": "2000 L", "empty_mass": "9 kg"}}), 1, 1)
        share = float(day.column("time_s/spray")[0] / (day.column("time_s/spray")[0] + day.column("time_s/turn")[0]))
        wanted = (length / 6.0) / (length / 6.0 + 6.0)
        what = f"spraying over spraying and turning, passes of {length:.0f} m"
        checks.append(Check(f"turns {length:.0f} m", what, "", f"{wanted:.3f}", wanted, wanted, share, 0.0, 0.01))
    us = {
        "product": {"rate": "2 gal/acre"},
        "aircraft": {"aircraft": {"spray_speed": "15 mph", "swath": "30 ft"}},
        "field": [_field("40 acre", 2.0)],
    }
    day = _days(_formula_table(**us), 1, 1)
    minutes = float(day.column("time_s/spray")[0]) / 60.0
    gallons, acres = float(day.column("applied")[0]) / 3.785411784, float(day.column("acres")[0])
    flow, rate = 2.0 * 15.0 * 30.0 / 495.0, 60.0 * 15.0 * 30.0 / 495.0
    checks.append(Check("flow", "2 gal/acre at 15 mph and 30 ft: spray flow", "gal/min", f"{flow:.3f}", flow, flow, gallons / minutes, 0.0, 1e-3))
    checks.append(Check("capacity 1", "15 mph and 30 ft: rate while spraying", "acres/h", f"{rate:.2f}", rate, rate, 60.0 * acres / minutes, 0.0, 1e-3))
    slow = deep_merge(us, {"aircraft": {"aircraft": {"spray_speed": "5 mph"}}})
    day = _days(_formula_table(**slow), 1, 1)
    hours = float(day.column("time_s/spray")[0]) / 3600.0
    acres = float(day.column("acres")[0])
    checks.append(Check("capacity 2", "5 mph and 30 ft: rate while spraying", "acres/h", "18.2", 18.15, 18.25, acres / hours, 0.0, 1e-3))
    return checks


def _seconds_per_hectare(table: Table) -> float:
    """Return the time from leaving for one field to leaving for the next, over its area, from the log of one day."""
    from simulator.operation.day import simulate
    from simulator.operation.log import Kind, Reason, State

    plan = make_plan(load_scenario(table).sets[0])
    day = simulate(plan, StreamBank(1).day(0))
    drives = [
        row.start_s
        for row in day.log.rows
        if day.log.kinds[row.entity] is Kind.RIG and row.state is State.MOVE and row.reason is Reason.DRIVE and row.amount > 0.0
    ]
    # the last drive goes home after whatever the day's end cut off
    starts = sorted(drives)[:-1]
    return (starts[-1] - starts[0]) / (len(starts) - 1) / (plan.fields[0].area_m2 / M2_PER_HECTARE)


# --- measurements ---


def _run_lengths(days: int, seed: int) -> list[Check]:
    """Row 1: time utilisation against length of run."""
    shares: dict[int, tuple[float, float]] = {}
    for length in (100, 500, 1500, 3500):
        plot = [_field("20 ha", length / (200_000 / length))]
        day = _days(_small_table("4.5 m", "5 m/s", "15 L/ha", plot), days, seed)
        shares[length] = day.ratio(day.seconds(["spray"]), day.field_seconds())
    gain = shares[1500][0] - shares[100][0]
    later = shares[3500][0] - shares[1500][0]
    return [
        Check("1a", "spraying share of field time, runs of 500 m", "", "0.727", 0.727, 0.727, *shares[500], 0.02),
        Check("1b", "gain of that share, runs of 1500 m over 100 m", "", "> 0", 0.0, 1.0, gain, math.hypot(shares[100][1], shares[1500][1])),
        Check("1c", "further gain, runs of 3500 m over 1500 m", "", "about 0 or less", -0.2, 0.0, later, math.hypot(shares[1500][1], shares[3500][1])),
    ]


def _whole_days(days: int, seed: int) -> list[Check]:
    """Rows 1, 2, 4 and 11, and the bands over all rows: three classes on a whole day with moves."""
    checks = []
    mixed = [_field("6 ha", 2, name=f"plot {number}") for number in range(1, 6)]
    small = _days(_small_table("4.5 m", "5 m/s", "15 L/ha", mixed), days, seed)
    middle = _days(_class_table("tank_20_l", "pack_1050_wh", "charger_6_kw", "8 kW", 3, mixed, "19 L/ha"), days, seed)
    large = _days(_class_table("tank_40_l", "pack_1800_wh", "charger_8_kw", "10 kW", 3, mixed, "19 L/ha"), days, seed)
    checks.append(
        Check("band a", "10 L class, in the field", "ha/h", "1 to 5", 1.0, 5.0, *small.hectares_per_field_hour())
    )
    whole = small.ratio(small.seconds(["spray"]), small.seconds(TIME_LABELS))
    checks.append(Check("2a", "10 L class, spraying share of the whole paid day", "", "0.25 to 0.35", 0.25, 0.35, *whole))
    service = [label for label in TIME_LABELS if label in ("swap", "fill") or label in _PACK_WAITS or label.startswith("wait: ")]
    ground = small.ratio(small.seconds(service), small.seconds(TIME_LABELS))
    checks.append(Check("2b", "10 L class, on the ground at the field, share of the paid day", "", "about 0.50", 0.5, 0.5, *ground, 0.1))
    for name, day in (("10 L", small), ("20 L", middle), ("40 L", large)):
        people = 2.0 * day.column("field_hours")
        checks.append(
            Check(f"4 {name}", f"{name} class, two people, in the field", "ha per person-hour", "3.8 to 5.8", 3.76, 5.75, *day.ratio(day.column("hectares"), people))
        )
    for key, name, day, value in (("11a", "20 L", middle, 0.41), ("11b", "40 L", large, 0.31)):
        got = day.ratio(day.column("flown_energy_kwh"), day.column("hectares"))
        checks.append(Check(key, f"{name} class, energy from the pack", "kWh/ha", f"{value}", value, value, *got, 0.25))
    return checks


def _range_checks(days: int, seed: int) -> list[Check]:
    """Rows 3, 5, 6, 9: a paper's settings with the two ends of what it leaves open."""
    checks = []
    plot = [_field("5 ha", 2)]
    for key, swath, speed in (("3 low", "4 m", "4 m/s"), ("3 high", "5 m", "6 m/s")):
        day = _days(_small_table(swath, speed, "10 L/ha", plot), days, seed)
        what = f"10 L class at 10 L/ha, {swath} and {speed}, in the field"
        checks.append(Check(key, what, "ha/h", "4.11", 4.11, 4.11, *day.hectares_per_field_hour()))
        minutes = day.ratio(day.seconds(_FLIGHT) / 60.0, day.column("hectares"))
        checks.append(Check(key.replace("3", "9"), what.replace("in the field", "airborne"), "min/ha", "about 10", 10.0, 10.0, *minutes))
    tiny = {
        "aircraft": {"aircraft": {"tank": "5 L", "empty_mass": "7 kg", "rotor_diameter": "0.55 m", "ferry_speed": "3 m/s"}},
        # two packs of 6 cells, 8 Ah, 3.7 V a cell, worn as one
        "pack": {"pack": {"energy": "355 Wh", "mass": "2.2 kg", "charge_power_max": "1 kW", "reserve": "15 %"}},
        "rig": {"rig": {"packs": {"pack": 8}}},
    }
    for key, swath in (("5 low", "3.2 m"), ("5 high", "4 m")):
        day = _days(_small_table(swath, "3.6 km/h", "25 L/ha", [_field("0.4 ha", 2)], **tiny), days, seed)
        what = f"5 L class, 3.6 km/h, {swath}"
        checks.append(Check(key, f"{what}, spraying and turning only", "ha/h", "1.08 to 1.15", 1.08, 1.15, *day.ratio(day.column("hectares"), day.seconds(["spray", "turn"]) / 3600.0)))
        checks.append(Check(f"{key} field", f"{what}, in the field", "ha/h", "1.08 to 1.15", 1.08, 1.15, *day.hectares_per_field_hour()))
    # 42 rows of 61 m, 2.4 m apart; a petrol engine swaps no pack
    vines = [_field(f"{42 * 2.4 * 61.0} m^2", 61.0 / (42 * 2.4))]
    for key, swath, speed, turn, rate in (("6 low", "2.4 m", "4 m/s", "8 s", "39 L/ha"), ("6 high", "4.8 m", "6 m/s", "6 s", "14 L/ha")):
        craft = {"tank": "16 L", "empty_mass": "60 kg", "swath": swath, "spray_speed": speed, "turn_time": turn}
        table = _formula_table(product={"rate": rate}, field=vines, aircraft={"aircraft": craft}, rig={"rig": {"crew": {"tasks": {"fill": {"time": "60 s"}}}}})
        day = _days(table, 2, seed)
        what = f"42 rows of 61 m, {swath}, {speed}, turns of {turn}, {rate}, in the field"
        checks.append(Check(key, what, "ha/h", "2.0 to 4.5", 2.0, 4.5, *day.hectares_per_field_hour()))
    return checks


def _three_packs(days: int, seed: int) -> list[Check]:
    """Row 12: waiting for a charged pack with one, two and three packs on fast mains charging."""
    checks = []
    for packs in (1, 2, 3):
        table = _class_table("tank_40_l", "pack_1800_wh", "charger_8_kw", "9.6 kW", packs, [_field("20 ha", 2)], "19 L/ha")
        day = _days(table, days, seed)
        waited = day.ratio(day.seconds(_PACK_WAITS), day.field_seconds())
        text, high = ("no long interruptions", 0.05) if packs == 3 else ("interruptions", 1.0)
        low = 0.0 if packs == 3 else 0.05
        checks.append(Check(f"12 {packs}", f"40 L class, {packs} packs, 240 V mains: waiting for a charged pack, share of field time", "", text, low, high, *waited))
    return checks


def _dispersed(days: int, seed: int) -> list[Check]:
    """Row 16: what a far better aircraft adds to output, on one plot and on the same area in many small ones."""
    gains = []
    for count, area in ((1, "6 ha"), (6, "1 ha"), (30, "0.2 ha")):
        plots = [_field(area, 2, name="plot", count=count)]
        outputs = []
        for swath, speed, tank in (("4 m", "4 m/s", "10 L"), ("8 m", "8 m/s", "20 L")):
            hands = {"trailer": {"pack_up_time": "3 min", "set_up_time": "4 min"}}
            better = {"aircraft": {"aircraft": {"tank": tank, "handling_time": "1 min"}}, "rig": {"rig": hands}}
            # a tank of twice the size is lifted by the same aircraft here: the question is of transport, not of lift
            pack = {"pack": {"pack": {"energy": "1400 Wh", "charge_power_max": "7 kW"}}} if tank == "20 L" else {}
            day = _days(deep_merge(_small_table(swath, speed, "15 L/ha", plots), deep_merge(better, pack)), days, seed)
            outputs.append(day.column("hectares"))
        gain = outputs[1] / outputs[0] - 1.0
        gains.append((count, float(gain.mean()), float(gain.std(ddof=1)) / math.sqrt(len(gain))))
    checks = []
    for count, mean, error in gains:
        low, high = (0.0, 0.3) if count == 30 else (0.3, 10.0)
        text = "0.2 to 0.3" if count == 30 else "more than that"
        checks.append(Check(f"16 {count}", f"gain in hectares a day of a far better aircraft, 6 ha in {count} plots", "", text, low, high, mean, error))
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
        In the order of the page.

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
        lambda: _range_checks(days, seed),
        lambda: _three_packs(days, seed),
        lambda: _dispersed(days, seed),
    ]
    checks: list[Check] = []
    for place, part in enumerate(parts):
        if report is not None:
            report("validation", place, len(parts))
        checks += part()
    if report is not None:
        report("validation", len(parts), len(parts))
    return checks
