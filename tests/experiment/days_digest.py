"""Prints a digest of many simulated days to the last digit: run by the tests with and without the compiled copy."""

import hashlib
import sys

from hypothesis import HealthCheck, Phase, given, seed, settings
from scenarios_strategy import scenarios

from simulator.analysis.conservation import verify_day
from simulator.analysis.summary import summarise
from simulator.compiled import in_use
from simulator.errors import InputError
from simulator.experiment.replicate import Runner
from simulator.experiment.run import make_plans
from simulator.experiment.streams import StreamBank
from simulator.operation.day import simulate
from simulator.scenario.loading import load_scenario


def add_days(digest, table, days):
    """Simulate the first days of every set of a scenario; return how many."""
    count = 0
    for plan in make_plans(load_scenario(table)):
        bank = StreamBank(5)
        for number in range(days):
            day = simulate(plan, bank.day(number), number)
            verify_day(plan, day)
            digest.update(summarise(plan, day).tobytes())
            for row in (*day.log.rows, *day.log.sorties):
                # a whole number of seconds may be an int here and a float there
                digest.update(repr([one if isinstance(one, str) else float(one) for one in row]).encode())
            count += 1
    return count


def main(examples):
    digest, days = hashlib.sha256(), 0

    @seed(20)
    @settings(
        max_examples=examples,
        phases=[Phase.generate],
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(scenarios())
    def random_days(table):
        nonlocal days
        try:
            load_scenario(table)
        except InputError:
            return
        days += add_days(digest, table, 2)

    random_days()
    for name in ("third_pack", "granules", "two_rigs", "small_fields"):
        days += add_days(digest, f"scenarios/{name}.toml", 3)
    # plans travel to workers and back
    with Runner(make_plans(load_scenario("scenarios/third_pack.toml")), 3, workers=2) as runner:
        runner.extend(0, 20)
        digest.update(runner.tables.table(1)[1].tobytes())
    print("compiled" if in_use() else "interpreted", days, digest.hexdigest())


if __name__ == "__main__":
    main(int(sys.argv[1]))
