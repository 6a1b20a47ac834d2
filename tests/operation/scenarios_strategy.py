"""Hypothesis strategy: valid scenario tables over all that the operation model can do.

Small numbers of things, awkward sizes: packs that just carry a load, generators that starve the chargers, tanks that
run dry, fields smaller than a load, breaks and stoppages when something else is going on.
"""

from hypothesis import strategies as st


def _time(low_s, high_s):
    """Durations: fixed, or drawn from a distribution with spread."""
    number = st.integers(low_s, high_s)
    fixed = number.map(lambda s: f"{s} s")
    drawn = st.tuples(st.integers(max(low_s, 1), high_s), st.sampled_from([0.1, 0.5, 1.0])).map(
        lambda pair: {"dist": "gamma", "mean": f"{pair[0]} s", "cv": pair[1]}
    )
    exponential = st.integers(max(low_s, 1), high_s).map(lambda s: {"dist": "exponential", "mean": f"{s} s"})
    return st.one_of(fixed, fixed, drawn, exponential)


_RATE = st.sampled_from(["8 L/ha", "19 L/ha", "50 L/ha"])
_SHARES = st.sampled_from(["0 %", "15 %", "80 %"])
_SETTING = st.sampled_from(["50 %", "100 %"])
_FACTOR = st.sampled_from(
    [
        "1",
        {"dist": "uniform", "low": "0.7", "high": "1.5"},
        {"dist": "normal", "mean": "1", "sd": "0.1", "low": "0.7", "high": "1.5"},
    ]
)


@st.composite
def _aircraft(draw, name, pack, large):
    table = {
        "tank": "40 L" if large else "20 L", "hopper_mass": "50 kg" if large else "25 kg",
        "empty_mass": "48 kg" if large else "22 kg", "rotors": 8 if large else 4,
        "rotor_diameter": "1.07 m" if large else "1.27 m",
        "hover": {
            "pack": pack, "full_time": "8.6 min" if large else "12.2 min",
            "empty_time": "17.6 min" if large else "25 min",
        },
        "swath": draw(st.sampled_from(["5 m", "9 m", "12 m"])),
        "spray_speed": draw(st.sampled_from(["4 m/s", "7 m/s", "10 m/s"])),
        "ferry_speed": "9 m/s", "turn_time": draw(_time(0, 10)), "take_off_time": draw(_time(0, 30)),
        "landing_time": draw(_time(0, 30)),
        "swap": draw(st.sampled_from(["every landing", "when needed"])),
        "flight_time_factor": draw(_FACTOR), "handling_time": draw(_time(0, 180)),
        "section_control": draw(st.booleans()),
    }  # fmt: skip
    if draw(st.booleans()):
        table["flow_max"] = "10 L/min"
    if draw(st.integers(0, 3)) == 0:
        table["breakdown"] = {
            "airborne_time_between": {"dist": "exponential", "mean": draw(st.sampled_from(["5 min", "40 min"]))},
            "repair_time": draw(_time(0, 3600)),
        }
    return name, table


@st.composite
def _pack(draw, fits, large):
    return {
        "energy": "1800 Wh" if large else "1050 Wh", "mass": "13 kg" if large else "8 kg", "fits": fits,
        "reserve": draw(st.sampled_from(["0 %", "20 %", "35 %"])), "health": draw(st.sampled_from(["100 %", "85 %"])),
        "charge_power_max": draw(st.sampled_from(["3 kW", "6 kW", "12 kW"])),
        "cc_share": draw(st.sampled_from(["60 %", "90 %", "100 %"])),
        "cut_share": draw(st.sampled_from(["3 %", "20 %"])), "cooling_time": draw(_time(0, 600)),
    }  # fmt: skip


@st.composite
def _power_point(draw, chargers):
    if draw(st.booleans()):
        point = {"grid_power": draw(st.sampled_from(["1 kW", "5 kW", "20 kW"]))}
    else:
        point = {"generator": draw(st.sampled_from(["tiny", "middling", "thirsty"]))}
    point["chargers"] = {name: draw(st.integers(0, 2)) for name in chargers}
    if draw(st.booleans()):
        point["other_load"] = "0.2 kW"
    return point


@st.composite
def _task(draw, low_s, high_s, by, most=2):
    return {"time": draw(_time(low_s, high_s)), "people": draw(st.integers(0, most)), "by": draw(st.sampled_from(by))}


@st.composite
def _crew(draw):
    helpers, pilots = draw(st.integers(0, 3)), draw(st.integers(1, 2))
    pilot_helps = draw(st.booleans()) or helpers == 0
    able = helpers + (pilots if pilot_helps else 0)
    by = ["anyone", *(["helper"] if helpers else [])]
    most = min(2, helpers) if helpers else min(2, able)
    tasks = {
        "swap": draw(_task(0, 120, by, most)),
        "plug_in": draw(_task(0, 60, by, most)),
        "fill": draw(_task(0, 90, by, most)),
        "mix": draw(_task(0, 600, by, most)),
        "refuel": draw(_task(0, 400, by, most)),
        "launch_check": {"time": draw(_time(0, 40)), "by": "pilot"},
    }
    return {
        "pilots": pilots, "helpers": helpers, "aircraft_per_pilot": draw(st.integers(1, 3)),
        "pilot_helps": pilot_helps, "tasks": tasks,
    }  # fmt: skip


@st.composite
def _supply(draw):
    table = {
        "pump_flow": draw(st.sampled_from(["10 L/min", "80 L/min"])),
        "pumps": draw(st.integers(1, 2)),
        "mix_tank": draw(st.sampled_from(["45 L", "120 L", "800 L"])),
        "start_mixed": draw(st.sampled_from(["0 %", "50 %", "100 %"])),
        "mix_at": draw(st.sampled_from(["0 %", "30 %", "90 %"])),
        "nurse_water": draw(st.sampled_from(["60 L", "400 L", "4000 L"])),
        "water_trip_time": draw(_time(60, 3600)),
        "water_trip_people": draw(st.integers(0, 1)),
        "dry_stock": draw(st.sampled_from(["60 kg", "200 kg", "3000 kg"])),
        "dry_flow": draw(st.sampled_from(["20 kg/min", "100 kg/min"])),
    }
    if draw(st.booleans()):
        table["batch"] = draw(st.sampled_from(["20 L", "45 L"]))
        table["leftover"] = draw(st.sampled_from(["kept", "thrown away"]))
    return table


@st.composite
def _rig(draw, sizes, packs, chargers):
    aircraft = {name: draw(st.integers(1, 2)) for name in sizes}
    held = {}
    for name, fits in packs.items():
        held[name] = (
            draw(st.integers(1 if name in ("large_pack", "small_pack") else 0, 4)) if set(fits) & set(sizes) else 0
        )
    points = {"trailer": draw(_power_point(chargers))}
    # every pack type that is carried is served by this point at least
    points["trailer"]["chargers"] = {name: max(1, number) for name, number in points["trailer"]["chargers"].items()}
    if draw(st.integers(0, 2)) == 0:
        points["second"] = draw(_power_point(chargers))
    night = {"night_power": draw(st.sampled_from(["500 W", "20 kW"]))} if draw(st.booleans()) else {}
    return {
        **night, "aircraft": aircraft, "packs": held,
        "packs_start_charge": draw(st.sampled_from(["100 %", "100 %", "60 %", "5 %"])),
        "charge_to": draw(st.sampled_from(["100 %", "90 %", "70 %"])),
        "take_partly_charged": draw(st.booleans()), "swap_first": draw(st.booleans()), "power": points,
        "crew": draw(_crew()), "supply": draw(_supply()),
        "trailer": {
            "pack_up_time": draw(_time(0, 600)), "set_up_time": draw(_time(0, 600)), "yard_time": draw(_time(0, 900)),
            "charge_while_driving": draw(st.booleans()),
        },
    }  # fmt: skip


@st.composite
def _field(draw, number):
    table = {
        "name": f"field {number}",
        "area": draw(st.sampled_from(["0.05 ha", "0.3 ha", "2 ha", "15 ha", "120 ha"])),
        "length_to_width": draw(st.sampled_from(["0.2", "1", "4"])),
        "drive_distance": draw(st.sampled_from(["0 m", "500 m", "9 km"])),
    }
    if draw(st.integers(0, 3)) == 0:
        table["ferry_distance"] = draw(st.sampled_from(["0 m", "200 m", "900 m"]))
    if draw(st.integers(0, 5)) == 0:
        table |= draw(st.sampled_from([{"first_day": 2}, {"last_day": 1}]))
    if draw(st.integers(0, 3)) == 0:
        table["landing_zone"] = draw(st.sampled_from([["0 m", "0 m"], ["-150 m", "40 m"]]))
    return table


@st.composite
def scenarios(draw):
    """Return a valid scenario as a table."""
    sizes = draw(st.sampled_from([["large"], ["small"], ["large", "small"]]))
    granules = draw(st.integers(0, 3)) == 0
    packs = {"large_pack": ["large"], "small_pack": ["small"]}
    if draw(st.booleans()):
        packs["shared_pack"] = ["large", "small"]
    aircraft = dict(draw(_aircraft(name, f"{name}_pack", name == "large")) for name in ("large", "small"))
    chargers = draw(st.sampled_from([["wide"], ["wide", "narrow"]]))
    day = {"start": "07:00", "window": draw(st.sampled_from(["10 min", "2 h", "4 h", "6 h", "11 h"]))}
    if draw(st.booleans()):
        day["breaks"] = [
            {"start": start, "length": draw(st.sampled_from(["1 min", "40 min"]))}
            for start in draw(
                st.lists(st.sampled_from(["07:00", "07:30", "08:10", "09:45", "12:00"]), unique=True, max_size=3)
            )
        ]
    if draw(st.integers(0, 2)) == 0:
        day["overnight"] = "stay out"
    weather = {"air_temperature": "25 degC", "altitude": "300 m"}
    if draw(st.integers(0, 2)) == 0:
        weather["stoppages"] = {
            "time_between": {"dist": "exponential", "mean": draw(st.sampled_from(["5 min", "90 min"]))},
            "length": draw(_time(0, 5400)),
        }
    rigs = {"first": draw(_rig(sizes, packs, chargers))}
    if draw(st.integers(0, 3)) == 0:
        rigs["second"] = draw(_rig(draw(st.sampled_from([["large"], ["small"], ["large", "small"]])), packs, chargers))
    return {
        "name": "random", "work": draw(st.sampled_from(["repeat", "once"])), "work_days": draw(st.integers(1, 3)),
        "day": day, "weather": weather,
        "product": {"kind": "granules", "dry_rate": "30 kg/ha"} if granules else {"rate": draw(_RATE)},
        "field": [draw(_field(number)) for number in range(1, draw(st.integers(1, 3)) + 1)],
        "yard": {"drive_distance": draw(st.sampled_from(["0 m", "8 km"]))},
        "flying": {
            "separation": draw(st.sampled_from(["0 m", "20 m", "60 m"])),
            "launch_interval": draw(st.sampled_from(["0 s", "20 s"])),
            "stop_at": draw(st.sampled_from(["anywhere", "pass end"])),
            "energy_margin": draw(st.sampled_from(["0 %", "10 %"])),
            "least_load_share": draw(st.sampled_from(["1 %", "10 %", "60 %"])),
        },
        "aircraft": aircraft,
        "pack": {name: draw(_pack(fits, name == "large_pack")) for name, fits in packs.items()},
        "charger": {
            "wide": {
                "serves": list(packs), "adapts": True, "setting_least": "1 %", "slots": draw(st.integers(1, 4)),
                "slot_power": "4 kW",
                "output_power": draw(st.sampled_from(["2 kW", "9 kW"])), "balance_time": draw(_time(0, 300)),
            },
            "narrow": {
                "serves": ["large_pack"], "adapts": True, "setting_least": "1 %", "output_power": "8 kW",
                "setting": draw(_SETTING),
            },
        },
        "generator": {
            "tiny": {"rated_power": "0.9 kW", "fuel_tank": "4 L"},
            "middling": {"rated_power": "7 kW", "fuel_tank": "9 L", "refuel_at": draw(_SHARES)},
            "thirsty": {"rated_power": "25 kW", "fuel_tank": "3 L", "refuel_at": draw(_SHARES)},
        },
        "rig": rigs,
    }  # fmt: skip
