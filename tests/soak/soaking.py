"""Soak: many runs of random valid scenarios, every conservation law checked on each day and night.

By hand, as long as wanted, with a line of progress a minute; it stops by itself at the number of days or of minutes,
whichever comes first, and with Ctrl-C:

    PYTHONPATH=. python tests/soak/soaking.py --days 100000 --minutes 75 --log soak.log

``--wider`` takes scenarios that say more (boundaries of files, hourly weather, moving landing zones ...); see
`wider_scenarios.py`. Batch ``n`` of the scenarios is made from seed ``n`` alone, so ``--first-seed n --days 1`` brings
a finding back. Each violation is a line of the log: its seed, then replication, laws and whole scenario as JSON.
A run may take two minutes of processor time and may not let the process grow without end; either is a finding too.
"""

import copy
import json
import math
import sys
import time
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "operation"))
sys.path.insert(0, str(Path(__file__).parents[1] / "fuzz"))

from bounds import bounded
from conservation_job import run_violations
from long_run import examples, long_run, parser, teller
from scenarios_strategy import scenarios
from wider_scenarios import wider_scenarios

from simulator.analysis.summary import summarise
from simulator.errors import InputError
from simulator.operation.job import run_job
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

BATCH = 50
"""Scenarios of one seed of the generator."""
RUNS_EACH, DAYS_EACH = 2, 3
"""Runs of each scenario, and work days of a run: faults are in the scenario more often than in the draw."""
MOST_S, MOST_MB = 120.0, 1500
"""Processor time and growth of memory of the one run; ordinary ones take milliseconds."""


@dataclass
class Found:
    """What a soak has seen."""

    days: int = 0
    scenarios: int = 0
    refused: int = 0
    sorties: int = 0
    empty_days: int = 0
    longest_run_s: float = 0.0
    findings: list[str] = field(default_factory=list)

    def __str__(self):
        return (
            f"{self.days} days of {self.scenarios} scenarios ({self.refused} refused), {self.sorties} sorties, "
            f"{self.empty_days} days without one, longest run {self.longest_run_s:.1f} s, {len(self.findings)} findings"
        )


def check_run(plan, bank, replication, found):
    """Simulate a run and return what is wrong with it."""
    begun = time.process_time()
    try:
        with bounded(MOST_S, MOST_MB):
            days = list(islice(run_job(plan, bank, replication), DAYS_EACH))
            broken = run_violations(plan, days)
            rows = [] if broken else [summarise(plan, one.day) for one in days]
    except Exception as error:  # noqa: BLE001  whatever breaks off a day is a finding, and the soak goes on
        return [f"{type(error).__name__}: {error}"]
    finally:
        found.longest_run_s = max(found.longest_run_s, time.process_time() - begun)
    found.days += len(days)
    found.sorties += sum(len(one.day.log.sorties) for one in days)
    found.empty_days += sum(not one.day.log.sorties for one in days)
    return broken + [
        f"number {place} of a day's row is {value}"
        for row in rows
        for place, value in enumerate(row)
        if math.isinf(value)
    ]


def soak_batch(number, found, strategy=scenarios):
    """Simulate one batch of random scenarios; what breaks a law, or breaks off, is kept and the batch goes on."""

    def one(table):
        found.scenarios += 1
        kept = copy.deepcopy(table)
        try:
            plan = make_plan(load_scenario(table, allow_files_outside=True).sets[0])
        except InputError:
            found.refused += 1
            return
        for replication in range(RUNS_EACH):
            broken = check_run(plan, StreamBank(number), replication, found)
            if broken:
                entry = {"replication": replication, "broken": broken[:5], "scenario": kept}
                found.findings.append(json.dumps(entry, default=str))
                break

    examples(strategy(), BATCH, number, one)


def main():
    options = parser(__doc__.splitlines()[0], "days", 100_000, 75.0)
    options.add_argument("--wider", action="store_true", help="scenarios that say more")
    asked, found = options.parse_args(), Found()
    strategy = wider_scenarios if asked.wider else scenarios

    def batch(number, found):
        soak_batch(number, found, strategy)

    long_run(found, batch, lambda: found.days >= asked.days, asked.minutes, asked.first_seed, teller(asked.log))
    return 1 if found.findings else 0


if __name__ == "__main__":
    sys.exit(main())
