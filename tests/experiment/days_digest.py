"""Prints which form of the model runs, and a digest of many simulated days to the last digit.

``.ci/run`` gives it an environment with the interpreted model, then one with the compiled: the digests must be equal.
The file named is made by the first and read by the second, for hypothesis draws on numbers in sources that it finds.
"""

import hashlib
import json
import sys
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "operation"))
sys.path.insert(0, str(Path(__file__).parents[1] / "fuzz"))

from conservation import verify_day
from long_run import examples
from scenarios_strategy import scenarios

from simulator.analysis.summary import summarise
from simulator.errors import InputError
from simulator.experiment.engine import engine
from simulator.experiment.replicate import Runner
from simulator.experiment.run import make_plans
from simulator.experiment.runs import row_of_run
from simulator.operation.day import simulate
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

SHIPPED = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
RANDOM = 60


def add_days(digest, loaded, days):
    """Simulate the first days of every set of a scenario; return how many."""
    plans = make_plans(loaded)
    for plan in plans:
        bank = StreamBank(5)
        for number in range(days):
            day = simulate(plan, bank.day(number), number)
            verify_day(plan, day)
            if number == 0:
                digest.update(row_of_run(replace_most_days(plan), bank, number).tobytes())
            digest.update(summarise(plan, day).tobytes())
            for row in (*day.log.rows, *day.log.sorties):
                # a whole number of seconds may be an int here and a float there
                digest.update(repr([one if isinstance(one, str) else float(one) for one in row]).encode())
    return len(plans) * days


def replace_most_days(plan):
    """Return the plan with runs of three work days at most."""
    few = plan.scenario.model_copy(update={"most_work_days": 3, "work_days": min(3, plan.scenario.work_days)})
    return replace(plan, scenario=few)


def random_tables():
    """Return random scenarios that are sound."""
    tables = []

    def collect(table):
        with suppress(InputError):
            load_scenario(table)
            tables.append(table)

    examples(scenarios(), 2 * RANDOM, 20, collect)
    return tables[:RANDOM]


def main(path):
    if not path.exists():
        path.write_text(json.dumps(random_tables()), encoding="utf-8")
    digest, days = hashlib.sha256(), 0
    for table in json.loads(path.read_text(encoding="utf-8")):
        days += add_days(digest, load_scenario(table), 2)
    for shipped in SHIPPED:
        days += add_days(digest, load_scenario(shipped), 3)
    # plans travel to workers and back
    with Runner(make_plans(load_scenario(SHIPPED[-1])), 3, workers=2) as runner:
        runner.extend(0, 20)
        digest.update(runner.tables.table(0)[1].tobytes())
    print(f"{engine()}: {days} days, {digest.hexdigest()}")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
