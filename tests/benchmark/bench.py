"""Measure the model's speed: against the bare loop, by size, and over processes. For developers.

``python tests/benchmark/bench.py`` prints tables in Markdown for the model as it is installed in that Python's
environment, interpreted or compiled; ``--quick`` measures less.
``tests/benchmark/memory.py`` measures memory.
reports/speed.md holds the last tables. Nothing here is a test: wall times are compared within one run only.
"""

import math
import resource
import statistics
import sys
import time

import simpy
from bare_loop import draws, handed_over, idiomatic

from simulator.experiment.engine import engine
from simulator.experiment.replicate import Runner
from simulator.experiment.run import make_plans
from simulator.experiment.runs import row_of_run
from simulator.operation.day import simulate
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

SIZES = (
    (1, 3, 1, 1), (2, 7, 3, 1), (5, 16, 7, 1), (10, 32, 14, 1), (20, 64, 28, 1), (20, 100, 28, 1), (1, 2, 1, 1),
    (1, 100, 1, 1), (1, 3, 1, 20), (1, 3, 1, 200),
)  # fmt: skip
"""Aircraft, packs, chargers, fields."""


def table(aircraft, packs, chargers, fields):
    """Return a scenario of a size, with power and people in plenty."""
    return {
        "name": "bench",
        "product": {"rate": "2 gal/acre"},
        "day": {"start": "07:00", "last_landing": "17:00"},
        "field": [{"name": "field", "area": "160 acre" if fields == 1 else "40 acre", "count": fields}],
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


def plan_of(aircraft, packs, chargers, fields):
    return make_plans(load_scenario(table(aircraft, packs, chargers, fields)))[0]


def median_ms(calls, rounds):
    """Return the median time (ms) of each call, taken in turn so that a busy machine hits all alike."""
    times = [[] for _ in calls]
    for number in range(rounds):
        for place, call in enumerate(calls):
            begun = time.perf_counter()
            call(number)
            times[place].append((time.perf_counter() - begun) * 1e3)
    return [statistics.median(one) for one in times]


def counted(plan, bank, replication):
    """Return the sorties and the events of a day."""
    events, step = 0, simpy.Environment.step

    def counting(env):
        nonlocal events
        events += 1
        step(env)

    simpy.Environment.step = counting
    try:
        day = simulate(plan, bank.day(replication))
    finally:
        simpy.Environment.step = step
    return len(day.log.sorties), events


def against_bare_loop(rounds):
    plan, bank = plan_of(2, 7, 3, 1), StreamBank(1)
    sample = [draws(number) for number in range(rounds)]
    model = [counted(plan, bank, number) for number in range(rounds)]
    medians = median_ms(
        [
            lambda number: idiomatic(sample[number]),
            lambda number: handed_over(sample[number]),
            lambda number: simulate(plan, bank.day(number)),
            lambda number: row_of_run(plan, bank, number + 100),
        ],
        rounds,
    )
    counts = [
        [statistics.mean(part) for part in zip(*found, strict=True)]
        for found in ([idiomatic(one) for one in sample], [handed_over(one) for one in sample], model, model)
    ]
    print(
        "| what | ms a day | sorties a day | µs a sortie | events a sortie | µs an event "
        "| times the idiomatic bare loop, by sortie |"
    )
    print("| --- | ---: | ---: | ---: | ---: | ---: | ---: |")
    base = medians[0] / counts[0][0]
    for name, ms, (sorties, events) in zip(
        ("bare loop, idiomatic", "bare loop, handed over", "full model, a day", "full model, a day summed up"),
        medians,
        counts,
        strict=True,
    ):
        print(
            f"| {name} | {ms:.2f} | {sorties:.0f} | {ms / sorties * 1e3:.1f} | {events / sorties:.1f} "
            f"| {ms / events * 1e3:.2f} | {ms / sorties / base:.2f} |"
        )


def by_size(rounds):
    print("\n| aircraft | packs | chargers | fields | days a second | sorties a day | events a sortie | µs an event |")
    print("| ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    points = []
    for size in SIZES:
        plan, bank = plan_of(*size), StreamBank(1)
        sorties, events = counted(plan, bank, 0)
        (ms,) = median_ms([lambda number, plan=plan, bank=bank: simulate(plan, bank.day(number))], rounds)
        points.append((size, events, ms))
        cells = (f"{1e3 / ms:.0f}", str(sorties), f"{events / sorties:.1f}", f"{ms / events * 1e3:.2f}")
        print("| " + " | ".join((*map(str, size), *cells)) + " |")
    grown = [(events, ms) for (aircraft, packs, _, fields), events, ms in points if fields == 1 and 2 < packs < 100]
    (few, low), (many, high) = grown[0], grown[-1]
    exponent = math.log(high / low) / math.log(many / few)
    print(f"\nGrowth of time with events from 1 to 20 aircraft: exponent {exponent:.2f}.")


def speed_up(days):
    plan = plan_of(2, 7, 3, 1)
    times = []
    for workers in (1, 2):
        begun = time.perf_counter()
        with Runner([plan], 1, workers) as runner:
            runner.extend(0, days)
        times.append(time.perf_counter() - begun)
    print(
        f"\n{days} days: {times[0]:.1f} s with one process, {times[1]:.1f} s with two: "
        f"{times[0] / times[1]:.2f} times as fast."
    )


def main():
    quick = "--quick" in sys.argv
    print(f"\n### {engine()}\n")
    against_bare_loop(10 if quick else 60)
    by_size(3 if quick else 15)
    speed_up(400 if quick else 2000)
    print(f"\nPeak memory of this process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB.")


if __name__ == "__main__":
    main()
