"""Scenarios of the validation: what a paper states, and for the rest named assumptions.

Only classes and round numbers stand here. Where a paper leaves something open that the answer hangs on, there are two
scenarios, one at each end of what is plausible.
"""

from typing import Any

from simulator.scenario.merge import deep_merge

Table = dict[str, Any]


def _hands(swap_s, fill_s, check_s, swap_first):
    """Return a rig's hands: seconds of a swap, a coupling and a check before take-off. All are assumptions."""
    times = {"swap": (swap_s, 0.25), "fill": (fill_s, 0.3)}
    tasks = {
        name: {"time": {"dist": "lognormal", "mean": f"{mean} s", "cv": spread}}
        for name, (mean, spread) in times.items()
    }
    tasks["launch_check"] = {"time": f"{check_s} s", "by": "pilot"}
    return {"swap_first": swap_first, "crew": {"pilots": 1, "helpers": 1, "tasks": tasks}}


QUICK = _hands(60, 40, 0, False)
"""Swap and fill side by side, about a minute: the quick end of what a crew of two does (assumption)."""
SLOW = _hands(120, 150, 30, True)
"""Fill after the swap, more than five minutes with the check: the slow end (assumption)."""

_NO_TRAILER = {"pack_up_time": "0 s", "set_up_time": "0 s", "yard_time": "0 s"}
_SPREAD = {"dist": "normal", "mean": "1.0", "sd": "0.06", "low": "0.8", "high": "1.3"}


def field(area, length_to_width, **more):
    """Return a field table, 1 km by road from the one before."""
    return {"name": "plot", "area": area, "length_to_width": str(length_to_width), "drive_distance": "1 km", **more}


def mixed_fields():
    """Return six fields of 6.2 ha, a kilometre apart."""
    return [field("6.2 ha", 2.0, name=f"plot {number}") for number in range(1, 7)]


def _day(name, rate, aircraft, pack, charger, rig):
    """Return a day of one aircraft on one kind of pack and charger."""
    return {
        "name": name, "work": "repeat", "work_days": 1, "units": "metric",
        "product": {"kind": "liquid", "rate": rate},
        "aircraft": {"aircraft": aircraft},
        "pack": {"pack": {**pack, "fits": ["aircraft"]}},
        "charger": {"charger": {**charger, "serves": ["pack"], "adapts": True}},
        "rig": {"rig": {"aircraft": {"aircraft": 1}, "unload": "all", **rig}},
    }  # fmt: skip


def _on_mains(packs, power, chargers, **more):
    mains = {"grid_power": power, "chargers": {"charger": chargers}}
    return {"packs": {"pack": packs}, "power": {"mains": mains}, **more}


def formula_table(**changes):
    """Return one aircraft that never waits: no pack to swap, no mix to make, constant times.

    Its numbers are those of the worked example of the aerial work-rate formula: 40 L at 20 L/ha, 8 m swath, 6 m/s
    spraying, 8 m/s ferrying, 6 s a turn, 180 s of loading, take-off and landing.
    """
    aircraft = {
        "tank": "40 L", "empty_mass": "48 kg", "rotors": 8, "rotor_diameter": "1.07 m", "swath": "8 m",
        "spray_speed": "6 m/s", "ferry_speed": "8 m/s", "turn_time": "6 s", "take_off_time": "15 s",
        "landing_time": "20 s", "handling_time": "0 s",
    }  # fmt: skip
    pack = {"energy": "10000 kWh", "mass": "1 kg", "charge_power_max": "100 kW"}
    # with 2 s of pumping a full load, 15 s of take-off and 20 s of landing: 180 s
    crew = {"pilots": 1, "helpers": 2, "tasks": {"fill": {"time": "143 s"}}}
    much = "100000 L"
    supply = {"mix_tank": much, "start_mixed": "100 %", "nurse_water": much, "pump_flow": "20 L/s"}
    rig = _on_mains(1, "20 kW", 1, crew=crew, supply=supply, trailer=_NO_TRAILER)
    around = {
        "day": {"window": "12 h"}, "weather": {"air_temperature": "15 degC", "altitude": "0 m"},
        "yard": {"drive_distance": "0 m"}, "route": {"road_speed": "8 m/s"},
    }  # fmt: skip
    return deep_merge(_day("formula", "20 L/ha", aircraft, pack, {"output_power": "10 kW"}, rig) | around, changes)


def small_table(swath, speed, rate, fields, hands, **changes):
    """Return a day of one 10 L multirotor with four packs and two chargers; its class values are assumptions."""
    aircraft = {
        "tank": "10 L", "empty_mass": "12 kg", "rotors": 6, "rotor_diameter": "0.76 m", "swath": swath,
        "spray_speed": speed, "ferry_speed": "6 m/s", "turn_time": "4 s", "handling_time": "1 min",
        "flight_time_factor": _SPREAD,
    }  # fmt: skip
    pack = {"energy": "700 Wh", "mass": "5 kg", "charge_power_max": "3.5 kW"}
    made = _day("small", rate, aircraft, pack, {"output_power": "3 kW"}, _on_mains(4, "8 kW", 2, **hands))
    return deep_merge({**made, "field": fields}, changes)


def tiny_table(swath):
    """Return a 5 L hexacopter at 3.6 km/h on two packs of 6 cells and 8 Ah worn as one (3.7 V a cell, from memory)."""
    changes = {
        "aircraft": {
            "aircraft": {"tank": "5 L", "empty_mass": "7 kg", "rotor_diameter": "0.55 m", "ferry_speed": "3 m/s"}
        },
        "pack": {"pack": {"energy": "355 Wh", "mass": "2.2 kg", "charge_power_max": "1 kW", "reserve": "15 %"}},
        "rig": {"rig": {"packs": {"pack": 8}}},
    }
    return small_table(swath, "3.6 km/h", "25 L/ha", [field("0.43 ha", 2.0)], QUICK, **changes)


def vineyard_table(swath, speed, turn, rate):
    """Return 42 rows of 61 m, 2.4 m apart, under an aircraft with a petrol engine (no pack to swap) and a 16 L tank."""
    plot = field(f"{42 * 2.4 * 61.0} m^2", 61.0 / (42 * 2.4))
    aircraft = {"tank": "16 L", "empty_mass": "60 kg", "swath": swath, "spray_speed": speed, "turn_time": turn}
    fill = {"crew": {"tasks": {"fill": {"time": "60 s"}}}}
    return formula_table(product={"rate": rate}, field=[plot], aircraft={"aircraft": aircraft}, rig={"rig": fill})


def class_table(litres, packs, fields, rate="19 L/ha"):
    """Return a day of one aircraft of the catalogue's 20 L or 40 L class on a 240 V, 40 A supply, with quick hands."""
    pack, charger = {20: ("pack_1300_wh", "charger_6_kw"), 40: ("pack_1800_wh", "charger_8_kw")}[litres]
    rig = _on_mains(packs, "9.6 kW", 1, **QUICK)
    made = _day("class", rate, {"like": f"tank_{litres}_l"}, {"like": pack}, {"like": charger}, rig)
    return {**made, "field": fields}


def dispersed_table(plots, better):
    """Return 6.3 ha in some plots, a kilometre apart, for a plain or a far better aircraft.

    The better one has twice the tank, pack, speed and swath. Handling stays as it is: the question is what moving takes
    from the gain.
    """
    fields = [field(f"{6.3 / plots} ha", 2.0, count=plots)]
    changes = {"rig": {"rig": {"trailer": {"pack_up_time": "3 min", "set_up_time": "4 min"}}}}
    if better:
        changes["aircraft"] = {"aircraft": {"tank": "20 L", "ferry_speed": "12 m/s"}}
        changes["pack"] = {"pack": {"energy": "1400 Wh", "charge_power_max": "7 kW"}}
    return small_table("8 m" if better else "4 m", "8 m/s" if better else "4 m/s", "15 L/ha", fields, QUICK, **changes)


_PRICED = ("aircraft", "pack", "charger", "generator", "rig", "wage", "day")
PRICES = {
    "low": dict(zip(_PRICED, (22_000, 1_500, 1_200, 2_500, 6_000, 18, 40), strict=True)),
    "high": dict(zip(_PRICED, (34_000, 2_600, 2_200, 5_000, 18_000, 32, 200), strict=True)),
}
"""Dollars; assumptions, for the guide's own were not readable: both ends of what such equipment may cost."""


def larger_table(rate, prices):
    """Return a job of five quarter sections for a 40 L class aircraft with three packs on a trailer."""
    return {
        "name": "larger", "work": "once", "product": {"rate": rate},
        "field": [
            {"name": f"quarter {number}", "area": "150 acre", "length_to_width": "1", "drive_distance": "3 mi"}
            for number in range(1, 6)
        ],
        "yard": {"drive_distance": "10 mi"}, "aircraft": {"tank_40_l": {"like": "tank_40_l"}},
        "pack": {"pack_1800_wh": {"like": "pack_1800_wh"}}, "charger": {"charger_8_kw": {"like": "charger_8_kw"}},
        "generator": {"generator_12_kw": {"like": "generator_12_kw"}},
        "rig": {
            "main": {
                "aircraft": {"tank_40_l": 1}, "packs": {"pack_1800_wh": 3},
                "power": {"trailer": {"generator": "generator_12_kw", "chargers": {"charger_8_kw": 1}}},
                "crew": {"pilots": 1, "helpers": 1},
            }
        },
        "costs": {
            "wage_per_hour": prices["wage"], "other_per_day": prices["day"],
            "aircraft": {"tank_40_l": {"purchase": prices["aircraft"], "life_hours": 2000}},
            "pack": {"pack_1800_wh": {"purchase": prices["pack"], "life_cycles": 1200, "upkeep_share": "0 %"}},
            "charger": {"charger_8_kw": {"purchase": prices["charger"]}},
            "generator": {"generator_12_kw": {"purchase": prices["generator"]}},
            "rig": {"main": {"purchase": prices["rig"], "life_years": 10}},
        },
    }  # fmt: skip
