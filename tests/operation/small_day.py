"""A small deterministic scenario that tests change, and shortcuts to its day."""

import copy

from conservation import verify_day

from simulator.operation.day import simulate
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

M2_PER_ACRE = 4046.8564224

TABLE = {
    "name": "small", "work": "repeat", "work_days": 1, "day": {"start": "07:00", "window": "8 h"},
    "product": {"rate": "20 L/ha"},
    "field": [
        {"name": "one", "area": "40 ha", "length_to_width": "2", "drive_distance": "0 m", "ferry_distance": "150 m"}
    ],
    "yard": {"drive_distance": "0 m"}, "route": {"road_speed": "10 m/s"},
    "aircraft": {
        "big": {
            "tank": "40 L", "hopper_mass": "50 kg", "empty_mass": "48 kg", "rotors": 8, "rotor_diameter": "1.07 m",
            "swath": "8 m", "spray_speed": "6 m/s", "ferry_speed": "8 m/s", "turn_time": "6 s",
            "take_off_time": "15 s", "landing_time": "15 s", "handling_time": "0 s",
        }
    },
    "pack": {
        "pack": {
            "energy": "1800 Wh", "mass": "13 kg", "fits": ["big"], "charge_power_max": "9 kW",
            "cooling_time": "2 min",
        }
    },
    "charger": {"charger": {"serves": ["pack"], "adapts": True, "output_power": "8 kW"}},
    "generator": {"generator": {"rated_power": "15 kW", "fuel_tank": "40 L"}},
    "rig": {
        "main": {
            "aircraft": {"big": 1}, "packs": {"pack": 3},
            "power": {"trailer": {"generator": "generator", "chargers": {"charger": 1}}},
            "crew": {"pilots": 1, "helpers": 1}, "supply": {"start_mixed": "100 %"},
            "trailer": {"yard_time": "0 s", "pack_up_time": "0 s", "set_up_time": "0 s"},
        }
    },
}  # fmt: skip


def table(**changes):
    """Return a copy with changes by dotted key, ``__`` for the dots."""
    made = copy.deepcopy(TABLE)
    for key, value in changes.items():
        *path, last = key.split("__")
        place = made
        for part in path:
            place = place.setdefault(part, {})
        place[last] = value
    return made


SPREAD = {
    "aircraft__big__flight_time_factor": {"dist": "normal", "mean": "1", "sd": "0.06", "low": "0.8", "high": "1.3"},
    "rig__main__crew__tasks": {
        "swap": {"time": {"dist": "lognormal", "mean": "60 s", "cv": 0.3}},
        "fill": {"time": {"dist": "lognormal", "mean": "40 s", "cv": 0.3}},
    },
}
SHORT_POWER = table(
    **SPREAD, day__window="6 h", work_days=2, aircraft__big__handling_time="2 min",
    rig__main__supply={"mix_tank": "100 gal"},
    generator__generator={"rated_power": "9 kW", "fuel_tank": "40 L"},
)  # fmt: skip


def plan_of(made, settings=()):
    return make_plan(load_scenario(made, settings).sets[0])


def days_of(made, settings=(), seed=1, count=1):
    """Simulate days of a scenario or of a plan, each checked for conservation."""
    plan, bank = plan_of(made, settings) if isinstance(made, dict) else made, StreamBank(seed)
    found = [simulate(plan, bank.day(replication), replication) for replication in range(count)]
    for day in found:
        verify_day(plan, day)
    return found


def day_of(made, settings=()):
    (day,) = days_of(made, settings)
    return day


def rows(day, reason=None, entity=None, state=None):
    """Return the rows of the log with a reason, of an entity, in a state."""
    wanted = {key: value for key, value in locals().items() if key != "day" and value is not None}
    return [row for row in day.log.rows if all(getattr(row, key) == value for key, value in wanted.items())]


def seconds(rows):
    return sum(row.end_s - row.start_s for row in rows)


def area_m2(day):
    return sum(one.area_to_m2 - one.area_from_m2 for one in day.log.sorties)


def waits_s(day, aircraft=None):
    """Return seconds of waiting by reason, of one aircraft or all."""
    total = {}
    for row in day.log.rows:
        if row.state == "wait" and day.log.kinds[row.entity] == "aircraft" and aircraft in (None, row.entity):
            total[row.reason.value] = total.get(row.reason.value, 0.0) + row.end_s - row.start_s
    return total
