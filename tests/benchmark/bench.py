"""Measure speed side by side in one run: bare loops in three libraries, this model interpreted and compiled, growth.

``python tests/benchmark/bench.py [--quick] [--compiled PYTHON]`` prints tables in Markdown, `PYTHON` being that of an
environment with the compiled model. ``answer.py`` beside it splits the time to an answer, ``memory.py`` measures
memory; reports/speed.md holds the last tables. Nothing here is a test. Times are of the processor, each the least of
several tries, taken in turn, so that other work on the machine hits all alike; ratios hold within one run.
"""

import argparse
import json
import math
import resource
import subprocess
import sys
import time
from functools import lru_cache
from pathlib import Path

import simpy
from bare_loop import draws, handed_over, idiomatic
from other_libraries import in_salabim, in_usim

from simulator.experiment.engine import engine
from simulator.experiment.replicate import Runner
from simulator.experiment.run import make_plans
from simulator.experiment.runs import row_of_run
from simulator.operation.day import simulate
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

USUAL = (2, 7, 3, 1)
"""Aircraft, packs, chargers, fields: as many sorties a day as the bare loop."""
BY_AIRCRAFT = ((1, 3, 1, 1), USUAL, (5, 16, 7, 1), (10, 32, 14, 1), (20, 64, 28, 1), (50, 160, 70, 1))
BY_PACKS = ((1, 2, 1, 1), (1, 100, 1, 1))
BY_FIELDS = ((1, 3, 1, 1), (1, 3, 1, 20), (1, 3, 1, 200), (1, 3, 1, 2000))
BANK = StreamBank(1)


def table(aircraft, packs, chargers, fields):
    """Return a scenario of a size, with power and people in plenty."""
    return {
        "name": "bench",
        "product": {"rate": "2 gal/acre"},
        "work": "repeat",
        "work_days": 1,
        "day": {"start": "07:00", "last_landing": "17:00"},
        "field": [
            {"name": "field", "area": f"{80 * max(2, aircraft)} acre" if fields == 1 else "40 acre", "count": fields}
        ],
        "flying": {"separation": "0 m", "launch_interval": "0 s"},
        "aircraft": {"large": {"like": "tank_40_l"}},
        "pack": {"pack": {"like": "pack_1800_wh", "fits": ["large"]}},
        "charger": {"fast": {"like": "charger_8_kw", "serves": ["pack"]}},
        "rig": {
            "main": {
                "aircraft": {"large": aircraft},
                "packs": {"pack": packs},
                "power": {"grid": {"grid_power": f"{10 * chargers} kW", "chargers": {"fast": chargers}}},
                "crew": {"pilots": max(1, aircraft // 2), "helpers": 1 + aircraft, "aircraft_per_pilot": 2},
                "supply": {"pumps": aircraft, "mix_tank": "2000 gal", "nurse_water": "20000 gal"},
            }
        },
    }


@lru_cache(maxsize=1)
def plan_of(size):
    return make_plans(load_scenario(table(*size)))[0]


def least_s(call, argument, tries):
    """Return the least processor time of some tries."""
    found = []
    for _ in range(tries):
        begun = time.process_time()
        call(argument)
        found.append(time.process_time() - begun)
    return min(found)


def model_s(size, number, tries, summed=False):
    """Return what one day of this process's model takes, or one summed up to a row."""
    plan = plan_of(size)
    if summed:
        return least_s(lambda one: row_of_run(plan, BANK, one), number + 100, tries)
    return least_s(lambda one: simulate(plan, BANK.day(one)), number, tries)


class Elsewhere:
    """The model as another Python has it installed, asked day by day."""

    def __init__(self, python):
        command = [python, Path(__file__), "--serve"]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.engine = json.loads(self._process.stdout.readline())

    def __call__(self, size, number, tries, summed=False):
        print(json.dumps([size, number, tries, summed]), file=self._process.stdin, flush=True)
        return json.loads(self._process.stdout.readline())

    def close(self):
        self._process.stdin.close()
        self._process.wait()


def serve():
    """Answer what days take, one a line, until the input ends."""
    print(json.dumps(engine()), flush=True)
    for line in sys.stdin:
        size, *asked = json.loads(line)
        print(json.dumps(model_s(tuple(size), *asked)), flush=True)


@lru_cache
def counted(size, number):
    """Return the sorties and the events of a day."""
    events, step = 0, simpy.Environment.step

    def counting(env):
        nonlocal events
        events += 1
        step(env)

    plan = plan_of(size)
    simpy.Environment.step = counting
    try:
        day = simulate(plan, BANK.day(number))
    finally:
        simpy.Environment.step = step
    return len(day.log.sorties), events


def print_table(heads, rows):
    print("\n| " + " | ".join(heads) + " |\n| --- |" + " ---: |" * (len(heads) - 1))
    for row in rows:
        print("| " + " | ".join(map(str, row)) + " |", flush=True)


def against_bare_loops(models, days, tries):
    """Compare by sortie, for days of the bare loop and of the model differ a little in their number."""
    loops = {
        "bare loop in SimPy, idiomatic": idiomatic,
        "bare loop in SimPy, handed over": handed_over,
        "bare loop in salabim": in_salabim,
        "bare loop in usim": in_usim,
    }
    days_of = {f"this model, {name}, {what}": 0.0 for name in models for what in ("a day", "a day summed up")}
    total_s = dict.fromkeys(loops, 0.0) | days_of
    sorties, events = dict.fromkeys(total_s, 0), dict.fromkeys(total_s, 0)
    for number in range(days):
        sample = draws(number)
        for name, loop in loops.items():
            found = loop(sample)
            flown, happened = found if isinstance(found, tuple) else (found, 0)
            sorties[name] += flown
            events[name] += happened
            total_s[name] += least_s(loop, sample, tries)
        for name, model in models.items():
            for what in ("a day", "a day summed up"):
                key = f"this model, {name}, {what}"
                total_s[key] += model(USUAL, number, tries, what != "a day")
                flown, happened = counted(USUAL, number)
                sorties[key] += flown
                events[key] += happened
    base = total_s["bare loop in SimPy, idiomatic"] / sorties["bare loop in SimPy, idiomatic"]
    rows = []
    for name, taken in total_s.items():
        per, each = (taken / sorties[name], f"{events[name] / sorties[name]:.1f}" if events[name] else "")
        ms, us = f"{taken / days * 1e3:.2f}", f"{per * 1e6:.1f}"
        rows.append((name, ms, round(sorties[name] / days), us, each, f"{per / base:.2f}"))
    heads = ("what", "ms a day", "sorties a day", "µs a sortie", "events a sortie", "times the idiomatic loop")
    print_table(heads, rows)
    return {name: taken / sorties[name] / base for name, taken in total_s.items()}


def by_size(models, days, tries, sizes):
    rows, points = [], []
    for size in sizes:
        plan_of.cache_clear()
        plan_s = least_s(lambda one: make_plans(load_scenario(table(*one))), size, 1)
        flown, happened = (sum(one) for one in zip(*(counted(size, number) for number in range(days)), strict=True))
        taken = {name: sum(model(size, number, tries) for number in range(days)) for name, model in models.items()}
        points.append((happened, *taken.values()))
        each = [f"{one / happened * 1e6:.2f}" for one in taken.values()]
        paces = [f"{days / one:.0f}" for one in taken.values()]
        rows.append((*size, f"{plan_s:.2f}", *paces, round(flown / days), f"{happened / flown:.1f}", *each))
    heads = ["aircraft", "packs", "chargers", "fields", "s to plan", *(f"days a s, {name}" for name in models)]
    heads += ["sorties a day", "events a sortie", *(f"µs an event, {name}" for name in models)]
    print_table(heads, rows)
    if sizes == BY_AIRCRAFT:
        few, many = points[0], points[-1]
        for place, name in enumerate(models, 1):
            exponent = math.log(many[place] / few[place]) / math.log(many[0] / few[0])
            print(f"\nGrowth of time with events from 1 to {sizes[-1][0]} aircraft, {name}: exponent {exponent:.2f}.")


def by_processes(days):
    """Compare one and two processes: by the clock, so on a machine that does nothing else, and of the processor."""
    clock_s, processor_s = [], []
    for workers in (1, 2):
        begun, before = time.perf_counter(), processor_time_s()
        with Runner([plan_of(USUAL)], 1, workers) as runner:
            runner.extend(0, days)
        clock_s.append(time.perf_counter() - begun)
        processor_s.append(processor_time_s() - before)
    for what, (one, two) in (("by the clock", clock_s), ("of the processor", processor_s)):
        print(f"\n{days} runs, {what}: {one:.1f} s with one process, {two:.1f} s with two, {one / two:.2f} to 1.")


def processor_time_s():
    """Return the processor time of this process and of workers that have ended."""
    spent = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in spent)


def main():
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--quick", action="store_true", help="measure less")
    parser.add_argument("--compiled", metavar="PYTHON", help="of an environment with the compiled model")
    parser.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.serve:
        serve()
        return
    models = {engine().rpartition(" ")[2]: model_s}
    if options.compiled:
        compiled = Elsewhere(options.compiled)
        models[compiled.engine.rpartition(" ")[2]] = compiled
    against_bare_loops(models, 5 if options.quick else 30, 5)
    for sizes in (BY_AIRCRAFT, BY_PACKS, BY_FIELDS):
        by_size(models, 1 if options.quick else 3, 3, sizes)
    by_processes(400 if options.quick else 2000)
    if options.compiled:
        compiled.close()


if __name__ == "__main__":
    main()
