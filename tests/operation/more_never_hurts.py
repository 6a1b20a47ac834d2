"""The standing test of the crew's conduct: one more or one larger of anything never lowers the mean of acres.

Random scenarios of a realistic range, each simulated as it is and with every addition on the same random days. By hand,
as long as wanted; a seed that stands in the log is not done again:

    python tests/operation/more_never_hurts.py --scenarios 200 --runs 30 --workers 2 --log more.log

An addition fails when the mean falls by more than half a per cent beyond three standard errors of the paired
difference. ``--first-seed n --scenarios 1`` brings a finding back. Every draw of a scenario is named, so a draw that is
added leaves all others of a seed as they were.
"""

import argparse
import copy
import json
import math
import random
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from simulator.analysis.resources import one_more_of_each
from simulator.analysis.summary import place_of
from simulator.errors import InputError
from simulator.experiment.runs import ACTIVE_PERIOD_RUNS, row_of_run
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

TOLERANCE = 0.005
"""Share of the mean by which an addition may lower it, beyond the noise."""
ERRORS = 3.0
"""Standard errors of the paired difference that count as noise."""

CLASSES = {
    "large": {"tank": 40, "hopper": 50, "empty": 48, "rotors": 8, "diameter": 1.07, "pack": (1800, 13), "flow": 16},
    "small": {"tank": 20, "hopper": 25, "empty": 22, "rotors": 4, "diameter": 1.37, "pack": (1300, 9), "flow": 10},
}
"""Two classes, by litres, kilograms, metres, watt-hours and litres a minute."""


class Draws:
    """Draws of one scenario, each from a generator of its own by name."""

    def __init__(self, seed):
        self._seed = seed

    def pick(self, name, *choices):
        return random.Random(f"{self._seed}/{name}").choice(choices)

    def between(self, name, low, high, step=1):
        return low + step * random.Random(f"{self._seed}/{name}").randrange(round((high - low) / step) + 1)

    def chance(self, name, share):
        return random.Random(f"{self._seed}/{name}").random() < share


def spread(mean_s, cv=0.3):
    return {"dist": "lognormal", "mean": f"{mean_s} s", "cv": cv} if mean_s else "0 s"


def aircraft_table(d, name):
    of, size = CLASSES[name], 2 if name == "large" else 1
    table = {
        "tank": f"{of['tank']} L", "empty_mass": f"{of['empty']} kg", "rotors": of["rotors"],
        "rotor_diameter": f"{of['diameter']} m", "figure_of_merit": "60 %",
        "swath": f"{d.between(f'{name} swath', 16 + 6 * size, 22 + 6 * size, 2)} ft",
        "spray_speed": f"{d.pick(f'{name} speed', 12, 15, 20)} mph",
        "ferry_speed": "20 mph", "turn_time": f"{d.between(f'{name} turn', 3, 8)} s",
        "flow_max": f"{of['flow']} L/min",
        "swap": d.pick(f"{name} swap", "every landing", "when needed"),
        "handling_time": spread(d.pick(f"{name} handling", 0, 60, 180, 240)),
        "handling_people": d.pick(f"{name} lifted by", 1, size),
        "flight_time_factor": {"dist": "normal", "mean": "1", "sd": "0.06", "low": "0.8", "high": "1.3"},
    }  # fmt: skip
    if d.chance("breakdowns", 0.15):
        table["breakdown"] = {
            "airborne_time_between": {"dist": "exponential", "mean": "5 h"},
            "repair_time": spread(1800, 0.5),
        }
    return table


def pack_table(d, name, energy_wh, mass_kg, fits):
    return {
        "energy": f"{energy_wh} Wh", "mass": f"{mass_kg} kg", "fits": fits,
        "reserve": f"{d.pick('reserve', 15, 20, 30)} %",
        "charge_power_max": f"{energy_wh * d.pick(f'{name} rate', 3, 4, 6)} W",
        "cc_share": f"{d.pick('cc', 75, 90)} %", "cut_share": "10 %",
        "cooling_time": f"{d.pick('cooling', 0, 3, 6)} min",
    }  # fmt: skip


def fields_of(d):
    kind = d.pick("fields", "small", "small", "large", "mixed")
    count = {"small": 12, "large": 3, "mixed": 8}[kind]
    tables = []
    for number in range(1, count + 1):
        large = kind == "large" or (kind == "mixed" and number % 3 == 0)
        acres = d.between(f"acres {number}", 80, 320, 20) if large else d.between(f"acres {number}", 5, 35, 5)
        tables.append(
            {
                "name": f"field {number}",
                "area": f"{acres} acre",
                "length_to_width": str(d.pick(f"shape {number}", 0.5, 1, 2, 4)),
                "drive_distance": f"{d.pick(f'road {number}', 0.5, 1, 2, 5, 8)} mi",
            }
        )
    return tables


def crew_table(d, aircraft):
    helpers, pilots = d.pick("helpers", 0, 1, 1, 2, 3), d.pick("pilots", 1, 1, 2)
    return {
        "pilots": pilots,
        "helpers": helpers,
        "aircraft_per_pilot": d.pick("aircraft a pilot", 1, 1, 2, 3),
        "tasks": {
            "swap": {"time": spread(d.pick("swap", 40, 60, 90))},
            "plug_in": {"time": spread(d.pick("plug in", 15, 30))},
            "fill": {"time": spread(d.pick("fill", 20, 30, 60))},
            "mix": {"time": spread(d.pick("mix", 120, 300, 480))},
            "refuel": {"time": spread(300)},
            "launch_check": {"time": f"{d.pick('check', 0, 20)} s", "by": "pilot"},
        },
    }


def random_scenario(seed):
    """Return a scenario of a realistic range as a table."""
    d = Draws(seed)
    kinds = d.pick("classes", ("large",), ("large",), ("small",), ("large", "small"))
    aircraft = {name: d.pick(f"{name} number", 1, 1, 2, 3) if len(kinds) == 1 else 1 for name in kinds}
    packs, held, serves = {}, {}, {}
    for name in kinds:
        energy_wh, mass_kg = CLASSES[name]["pack"]
        packs[f"{name}_pack"] = pack_table(d, f"{name}_pack", energy_wh, mass_kg, [name])
        held[f"{name}_pack"] = aircraft[name] * d.pick(f"{name} packs", 2, 3, 3, 4)
        serves[name] = [f"{name}_pack"]
        if d.chance(f"{name} mixed packs", 0.25):
            packs[f"{name}_light"] = pack_table(d, f"{name}_light", energy_wh * 3 // 4, mass_kg * 3 / 4, [name])
            held[f"{name}_light"] = d.pick(f"{name} light packs", 1, 2)
            serves[name].append(f"{name}_light")
    total = sum(aircraft.values())
    output_w = d.pick("output", 4000, 6000, 8000)
    numbers = {f"{name}_charger": d.between(f"{name} chargers", 1, max(1, aircraft[name] + 1)) for name in kinds}
    asked_w = sum(numbers.values()) * output_w / 0.92
    # short power, just enough, ample
    given_w = round(asked_w * d.pick("power", 0.4, 0.6, 0.8, 1.0, 1.5), -2)
    point = {"chargers": numbers, "other_load": f"{d.pick('other load', 0, 0, 200)} W"}
    generators = {}
    if d.chance("grid", 0.3):
        point["grid_power"] = f"{given_w} W"
    else:
        point["generator"] = "generator"
        tank, refuel_at = d.pick("fuel", 12, 25, 40), d.pick("refuel at", 10, 15, 25)
        generators["generator"] = {
            "rated_power": f"{given_w / 0.8:.0f} W", "derate": "none", "fuel_tank": f"{tank} L",
            "refuel_at": f"{refuel_at} %",
        }  # fmt: skip
    crew = crew_table(d, total)
    people = crew["pilots"] + crew["helpers"]
    tables = {name: aircraft_table(d, name) for name in kinds}
    for table in tables.values():
        table["handling_people"] = min(table["handling_people"], people)
    scenario = {
        "name": "random", "invented": True, "work": d.pick("work", "repeat", "repeat", "once"), "work_days": 4,
        "day": {"start": "07:00", "window": f"{d.between('day', 6, 12)} h"},
        "product": {"rate": f"{d.pick('rate', 2, 2, 3, 5, 7.5, 10)} gal/acre"},
        "field": fields_of(d),
        "yard": {"drive_distance": f"{d.pick('yard', 1, 5, 10)} mi"},
        "flying": {"stop_at": d.pick("stop at", "anywhere", "anywhere", "pass end")},
        "aircraft": tables, "pack": packs,
        "charger": {
            f"{name}_charger": {
                "serves": serves[name], "adapts": True, "output_power": f"{output_w} W",
                "slots": d.pick(f"{name} slots", 1, 1, 2),
            }
            for name in kinds
        },
        "generator": generators,
        "rig": {
            "main": {
                "aircraft": aircraft, "packs": held,
                "packs_start_charge": f"{d.pick('start charge', 100, 100, 60, 35)} %",
                "charge_to": f"{d.pick('charge to', 100, 100, 90)} %",
                "take_partly_charged": d.pick("early", False, True), "swap_first": d.pick("swap first", False, True),
                "power": {"trailer": point}, "crew": crew,
                "supply": {
                    "mix_tank": f"{d.pick('mix tank', 50, 100, 200, 300)} gal",
                    "start_mixed": f"{d.pick('start mixed', 0, 0, 100)} %",
                    "pump_flow": f"{d.pick('pump', 10, 20, 40)} gal/min",
                    "nurse_water": f"{d.pick('water', 300, 1000, 1500)} gal",
                    "water_trip_time": spread(d.pick("trip", 1800, 2700)),
                },
                "trailer": {
                    "pack_up_time": spread(d.pick("pack up", 180, 360)),
                    "set_up_time": spread(d.pick("set up", 180, 480)),
                    "charge_while_driving": d.pick("on the road", False, True),
                },
            }
        },
    }  # fmt: skip
    if d.chance("break", 0.4):
        scenario["day"]["breaks"] = [{"start": "12:00", "length": "30 min"}]
    if d.chance("sight", 0.3):
        scenario["flying"]["visual_range"] = f"{d.pick('range', 1200, 2500)} ft"
    if d.chance("stoppages", 0.2):
        scenario["weather"] = {
            "stoppages": {"time_between": {"dist": "exponential", "mean": "3 h"}, "length": spread(1800, 0.5)}
        }
    return scenario


# --- one more, or one larger ---


def scaled(text, factor):
    """Return a number with its unit, times a factor."""
    if isinstance(text, dict):
        return {**text, "mean": scaled(text["mean"], factor)}
    number, unit = text.split(" ", 1)
    return f"{float(number) * factor:.6g} {unit}"


def _edited(made, edit, *places):
    """Return a copy with what stands at places edited, each a path of keys."""
    changed = copy.deepcopy(made)
    for *path, last in places:
        table = changed
        for key in path:
            table = table[key]
        table[last] = edit(table[last])
    return changed


def _change(made, factor, *places):
    return _edited(made, lambda text: scaled(text, factor), *places)


def _count(made, number, *path):
    return _edited(made, lambda count: count + number, path)


RIG = ("rig", "main")
TASKS = (*RIG, "crew", "tasks")
POINT = (*RIG, "power", "trailer")


def _each(made, kind, *keys):
    return [(kind, name, key) for name in made[kind] for key in keys]


def additions(made):
    """Return every addition to a scenario, by name."""
    for pack in made["pack"]:
        yield f"pack {pack}", _count(made, 1, *RIG, "packs", pack)
    for charger in made["charger"]:
        yield f"charger {charger}", _count(made, 1, *POINT, "chargers", charger)
        yield f"slot {charger}", _count(made, 1, "charger", charger, "slots")
    source = [("generator", "generator", "rated_power")] if made["generator"] else [(*POINT, "grid_power")]
    yield "larger source", _change(made, 1.25, *source)
    yield "helper", _count(made, 1, *RIG, "crew", "helpers")
    yield "pilot", _count(made, 1, *RIG, "crew", "pilots")
    for name in made["aircraft"]:
        yield f"aircraft {name}", _count(made, 1, *RIG, "aircraft", name)
    yield "faster fill", _change(made, 0.7, (*TASKS, "fill", "time"))
    yield "faster pump", _change(made, 1.5, (*RIG, "supply", "pump_flow"))
    yield "faster swap", _change(made, 0.7, (*TASKS, "swap", "time"))
    yield "faster mix", _change(made, 0.7, (*TASKS, "mix", "time"))
    yield "packs charge faster", _change(made, 1.3, *_each(made, "pack", "charge_power_max"))
    yield "larger chargers", _change(made, 1.3, *_each(made, "charger", "output_power"))
    yield "larger tank", _change(made, 1.25, *_each(made, "aircraft", "tank"))
    yield "larger mix tank", _change(made, 2.0, (*RIG, "supply", "mix_tank"))
    yield "lower reserve", _change(made, 0.6, *_each(made, "pack", "reserve"))
    yield "longer day", _change(made, 1.0 + 1.0 / float(made["day"]["window"].split()[0]), ("day", "window"))
    roads = [("yard", "drive_distance"), *(("field", place, "drive_distance") for place in range(len(made["field"])))]
    yield "shorter roads", _change(made, 0.5, *roads)


def kits(made):
    """Return "one more aircraft" and "one more charger" with what they need, as reports try them: name and settings."""
    for one in one_more_of_each(load_scenario(made).base):
        if one.resource in ("aircraft", "chargers"):
            yield f"kit: {one.change}", one.settings


# --- the verdict ---


def acres(made, seed, runs, settings=()):
    """Return the acres a work day of each run, as results give them."""
    plan, bank = make_plan(load_scenario(copy.deepcopy(made), settings).sets[0]), StreamBank(seed)
    numbers = range(ACTIVE_PERIOD_RUNS, ACTIVE_PERIOD_RUNS + runs)
    return np.array([row_of_run(plan, bank, number)[place_of("acres")] for number in numbers])


def verdict(before, after):
    """Return the mean of the paired difference, its standard error, and whether the addition hurts."""
    difference = after - before
    mean, error = float(difference.mean()), float(difference.std(ddof=1)) / math.sqrt(len(difference))
    return mean, error, mean + ERRORS * error < -TOLERANCE * float(before.mean()) - 1e-9


def try_scenario(seed, runs, only=""):
    """Try every addition on one scenario; return the mean of acres and a row an addition."""
    made = random_scenario(seed)
    begun = time.monotonic()
    before = acres(made, seed, runs)
    rows = []
    for name, settings, changed in [
        *((name, (), changed) for name, changed in additions(made)),
        *((name, settings, made) for name, settings in kits(made)),
    ]:
        if only not in name:
            continue
        try:
            mean, error, hurts = verdict(before, acres(changed, seed, runs, settings))
        except InputError as refused:
            rows.append({"addition": name, "refused": str(refused)})
            continue
        rows.append({"addition": name, "acres": round(mean, 3), "error": round(error, 3), "hurts": hurts})
    return {
        "seed": seed, "runs": runs, "acres": round(float(before.mean()), 2),
        "seconds": round(time.monotonic() - begun, 1), "additions": rows,
    }  # fmt: skip


def told(done):
    """Return a scenario's findings in lines."""
    for row in done["additions"]:
        if row.get("hurts"):
            share = 100.0 * row["acres"] / done["acres"]
            yield (
                f"seed {done['seed']}: {row['addition']}: {row['acres']:+.2f} ± {row['error']:.2f} acres of "
                f"{done['acres']:.1f} ({share:+.1f} %)"
            )
        elif "refused" in row:
            yield f"seed {done['seed']}: {row['addition']}: refused: {row['refused']}"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenarios", type=int, default=200)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--runs", type=int, default=30, help="runs of each scenario and addition")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--minutes", type=float, default=math.inf, help="begin no scenario after this time")
    parser.add_argument("--only", default="", help="only additions whose name holds this")
    parser.add_argument("--log", type=Path, help="file of results, a line of JSON a scenario")
    options = parser.parse_args()
    known = []
    if options.log is not None and options.log.exists():
        known = [json.loads(line) for line in options.log.read_text(encoding="utf-8").splitlines()]
    seeds = range(options.first_seed, options.first_seed + options.scenarios)
    results = [one for one in known if one["seed"] in seeds and one["runs"] == options.runs]
    left = [seed for seed in seeds if seed not in {one["seed"] for one in results}]
    for one in results:
        print(*told(one), sep="\n", end="\n" if any(told(one)) else "")
    begun = time.monotonic()
    with ProcessPoolExecutor(options.workers) as pool:
        waiting = []
        while left or waiting:
            while left and len(waiting) < options.workers and time.monotonic() - begun < 60.0 * options.minutes:
                waiting.append(pool.submit(try_scenario, left.pop(0), options.runs, options.only))
            if not waiting:
                break
            done = waiting.pop(0).result()
            results.append(done)
            if options.log is not None:
                with options.log.open("a", encoding="utf-8") as handle:
                    handle.write(json.dumps(done) + "\n")
            for line in told(done):
                print(line, flush=True)
    rows = [row for one in results for row in one["additions"]]
    hurting = sum(row.get("hurts", False) for row in rows)
    print(
        f"{len(results)} scenarios, {len(rows)} additions, {hurting} hurt, "
        f"{sum('refused' in row for row in rows)} refused, {(time.monotonic() - begun) / 60.0:.1f} min"
    )
    return 1 if hurting else 0


if __name__ == "__main__":
    sys.exit(main())
