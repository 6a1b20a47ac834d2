"""Measure the model's speed: against the bare loop, by size, in memory and over processes. For developers.

Run it with ``python tests/benchmark/bench.py`` on a quiet machine; ``--quick`` measures less. It prints tables in
Markdown; DEVELOPERS.md holds the last ones. Nothing here is a test: wall times are compared within one run only.
"""

from __future__ import annotations

import math
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

from bare_loop import draws, handed_over, idiomatic

from simulator.experiment.replicate import Runner, run_day
from simulator.experiment.run import make_plans
from simulator.experiment.streams import StreamBank
from simulator.operation.day import simulate
from simulator.operation.plan import DayPlan
from simulator.scenario.loading import load_scenario


def table(aircraft: int, packs: int, chargers: int, fields: int) -> dict[str, Any]:
    """Return a scenario of a size, with power and people in plenty."""
    return {
        "name": "bench",
        "product": {"rate": "2 gal/acre"},
        "day": {"start": "07:00", "last_landing": "17:00"},
        "field": [{"name": "field", "area": "160 acre" if fields == 1 else "40 acre", "count": fields}],
        "flying": {"separation": "0 m", "launch_interval": "0 s"},
        "aircraft": {"large": {"like": "tank_40_l", "hover": {"pack": "pack"}}},
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


def plan_of(aircraft: int, packs: int, chargers: int, fields: int) -> DayPlan:
    return make_plans(load_scenario(table(aircraft, packs, chargers, fields)))[0]


def median_ms(calls: list[Callable[[int], object]], rounds: int) -> list[float]:
    """Return the median time (ms) of each call, taken in turn so that a busy machine hits all alike."""
    times: list[list[float]] = [[] for _ in calls]
    for number in range(rounds):
        for place, call in enumerate(calls):
            begun = time.perf_counter()
            call(number)
            times[place].append((time.perf_counter() - begun) * 1e3)
    return [statistics.median(one) for one in times]


def against_bare_loop(rounds: int) -> None:
    plan, bank = plan_of(2, 7, 3, 1), StreamBank(1)
    sample = [draws(number) for number in range(rounds)]
    for number in range(rounds):
        simulate(plan, bank.day(number))
    medians = median_ms(
        [
            lambda number: idiomatic(sample[number]),
            lambda number: handed_over(sample[number]),
            lambda number: simulate(plan, bank.day(number)),
            lambda number: run_day(plan, bank, number + 100),
        ],
        rounds,
    )
    sorties = [statistics.mean(idiomatic(one) for one in sample)] * 2
    sorties += [statistics.mean(len(simulate(plan, bank.day(number)).log.sorties) for number in range(rounds))] * 2
    print("| what | ms a day | sorties a day | µs a sortie | times the idiomatic bare loop, by sortie |")
    print("| --- | ---: | ---: | ---: | ---: |")
    base = medians[0] / sorties[0]
    for name, ms, count in zip(
        ("bare loop, idiomatic", "bare loop, handed over", "full model, a day", "full model, a day summed up"),
        medians,
        sorties,
        strict=True,
    ):
        print(f"| {name} | {ms:.2f} | {count:.0f} | {ms / count * 1e3:.0f} | {ms / count / base:.2f} |")


def by_size(rounds: int) -> None:
    print("\n| aircraft | packs | chargers | fields | days a second | sorties a day | µs a sortie |")
    print("| ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    points = []
    for aircraft, packs, chargers, fields in (
        (1, 3, 1, 1), (2, 7, 3, 1), (5, 16, 7, 1), (10, 32, 14, 1), (20, 64, 28, 1), (20, 100, 28, 1), (1, 3, 1, 20),
        (1, 3, 1, 200),
    ):  # fmt: skip
        plan, bank = plan_of(aircraft, packs, chargers, fields), StreamBank(1)
        count = len(simulate(plan, bank.day(0)).log.sorties)
        (ms,) = median_ms([lambda number, plan=plan, bank=bank: simulate(plan, bank.day(number))], rounds)
        points.append((aircraft, count, ms))
        print(f"| {aircraft} | {packs} | {chargers} | {fields} | {1e3 / ms:.0f} | {count} | {ms / count * 1e3:.0f} |")
    (_, few, low), (_, many, high) = points[0], points[4]
    print(
        "\nGrowth of time with sorties from 1 to 20 aircraft: exponent "
        f"{math.log(high / low) / math.log(many / few):.2f}."
    )


def memory(days: int) -> None:
    code = (
        "import sys, resource; sys.path.insert(0, 'tests/benchmark')\n"
        "from bench import plan_of\nfrom simulator.experiment.replicate import Runner\n"
        "plan = plan_of(1, 3, 1, 1)\n"
        "with Runner([plan], 1) as runner: runner.extend(0, int(sys.argv[1]))\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)\n"
    )
    print("\n| days | peak memory, MB |")
    print("| ---: | ---: |")
    for number in (100, days):
        done = subprocess.run([sys.executable, "-c", code, str(number)], capture_output=True, text=True, check=True)
        print(f"| {number} | {int(done.stdout) / 1024:.0f} |")


def speed_up(days: int) -> None:
    plan = plan_of(1, 3, 1, 1)
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


def main() -> None:
    quick = "--quick" in sys.argv
    against_bare_loop(10 if quick else 60)
    by_size(3 if quick else 15)
    memory(400 if quick else 5000)
    speed_up(400 if quick else 2000)
    print(f"\nPeak memory of this process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB.")


if __name__ == "__main__":
    main()
