"""Soak: many days of random valid scenarios, every conservation law checked on each day.

By hand, as long as wanted, with a line of progress a minute; it stops by itself at the number of days or of minutes,
whichever comes first, and with Ctrl-C:

    PYTHONPATH=. python tests/soak/soaking.py --days 100000 --minutes 75 --log soak.log

``--wider`` takes scenarios that say more (boundaries of files, hourly weather, moving landing zones ...); see
`wider_scenarios.py`. Batch ``n`` of the scenarios is made from seed ``n`` alone, so ``--first-seed n --days 1`` brings
a finding back. Each violation is written to the log as one line of JSON with its seed, replication and whole scenario.
A day may take two minutes of processor time and may not let the process grow without end; either is a finding too.
"""

import argparse
import copy
import json
import math
import resource
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "operation"))
sys.path.insert(0, str(Path(__file__).parents[1] / "fuzz"))
sys.path.insert(0, str(Path(__file__).parent))

from bounds import bounded
from hypothesis import HealthCheck, Phase, given, seed, settings
from scenarios_strategy import scenarios
from wider_scenarios import wider_scenarios

from simulator.analysis.conservation import violations
from simulator.analysis.summary import summarise
from simulator.errors import InputError
from simulator.operation.day import simulate
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

BATCH = 50
"""Scenarios of one seed of the generator."""
RUNS_EACH = 5
"""Days of each scenario: faults are in the scenario more often than in the draw."""
MOST_S, MOST_MB = 120.0, 1500
"""Processor time and growth of memory of the one day; ordinary ones take milliseconds."""


@dataclass
class Found:
    """What a soak has seen."""

    days: int = 0
    scenarios: int = 0
    refused: int = 0
    sorties: int = 0
    empty_days: int = 0
    longest_day_s: float = 0.0
    faults: list[dict[str, object]] = field(default_factory=list)

    def __str__(self):
        return (
            f"{self.days} days of {self.scenarios} scenarios ({self.refused} refused), {self.sorties} sorties, "
            f"{self.empty_days} days without one, longest day {self.longest_day_s:.1f} s, {len(self.faults)} violations"
        )


def check_day(plan, bank, replication, found):
    """Simulate a day and return what is wrong with it."""
    begun = time.process_time()
    try:
        with bounded(MOST_S, MOST_MB):
            day = simulate(plan, bank.day(replication), replication)
            broken = violations(plan, day)
            row = () if broken else summarise(plan, day)
    except Exception as error:  # noqa: BLE001  whatever breaks off a day is a finding, and the soak goes on
        return [f"{type(error).__name__}: {error}"]
    finally:
        found.longest_day_s = max(found.longest_day_s, time.process_time() - begun)
    found.sorties += len(day.log.sorties)
    found.empty_days += not day.log.sorties
    return broken + [
        f"number {place} of the day's row is {value}" for place, value in enumerate(row) if math.isinf(value)
    ]


def soak_batch(number, found, strategy=scenarios):
    """Simulate one batch of random scenarios; what breaks a law, or breaks off, is kept and the batch goes on."""

    @seed(number)
    @settings(
        max_examples=BATCH,
        phases=[Phase.generate],
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy())
    def one(table):
        found.scenarios += 1
        kept = copy.deepcopy(table)
        try:
            plan = make_plan(load_scenario(table, allow_files_outside=True).sets[0])
        except InputError:
            found.refused += 1
            return
        bank = StreamBank(number)
        for replication in range(RUNS_EACH):
            broken = check_day(plan, bank, replication, found)
            found.days += 1
            if broken:
                entry = {"seed": number, "replication": replication, "broken": broken[:5], "scenario": kept}
                found.faults.append(entry)
                break

    one()


def soak(days, minutes, first_seed, say, strategy=scenarios):
    """Soak batch after batch; ``say`` gets a line a minute, and each violation as it is found."""
    found, begun, told, shown, number = Found(), time.monotonic(), 0.0, 0, first_seed
    try:
        while found.days < days and time.monotonic() - begun < 60.0 * minutes:
            soak_batch(number, found, strategy)
            for entry in found.faults[shown:]:
                say(json.dumps(entry, default=str))
            shown, number = len(found.faults), number + 1
            if time.monotonic() - told > 60.0:
                told = time.monotonic()
                say(f"{(told - begun) / 60.0:.1f} min, seed {number - 1}: {found}")
    except KeyboardInterrupt:
        say("interrupted")
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    minutes_taken = (time.monotonic() - begun) / 60.0
    say(f"ended after {minutes_taken:.1f} min, seeds {first_seed} to {number - 1}, peak {peak_mb:.0f} MB: {found}")
    return found


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=100_000, help="days to simulate")
    parser.add_argument("--minutes", type=float, default=75.0, help="time to stop after")
    parser.add_argument("--first-seed", type=int, default=1, help="seed of the first batch")
    parser.add_argument("--wider", action="store_true", help="scenarios that say more")
    parser.add_argument("--log", type=Path, help="file for the progress and the findings; else standard output")
    options = parser.parse_args()

    def say(line):
        if options.log is None:
            print(line, flush=True)
            return
        with options.log.open("a", encoding="utf-8") as handle:
            handle.write(line + "\n")

    strategy = wider_scenarios if options.wider else scenarios
    return 1 if soak(options.days, options.minutes, options.first_seed, say, strategy).faults else 0


if __name__ == "__main__":
    sys.exit(main())
