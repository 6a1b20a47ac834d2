"""What the long forms share: round after round, a line of progress a minute, every finding as it is found."""

import argparse
import itertools
import math
import resource
import time
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings


def examples(strategy, number, example_seed, use):
    """Give examples of a strategy to ``use``; they follow from the seed alone."""

    @seed(example_seed)
    @settings(
        max_examples=number,
        phases=[Phase.generate],
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy)
    def one(example):
        use(example)

    one()


def parser(description, what, number, minutes):
    made = argparse.ArgumentParser(description=description)
    made.add_argument(f"--{what}", type=int, default=number, help=f"{what} after which to stop")
    made.add_argument("--minutes", type=float, default=minutes, help="time to stop after")
    made.add_argument("--first-seed", type=int, default=1, help="seed of the first round")
    made.add_argument("--log", type=Path, help="file for the progress and the findings; else standard output")
    return made


def teller(log):
    """Return what writes lines to a log, or to standard output where there is none."""

    def say(line):
        if log is None:
            print(line, flush=True)
            return
        with log.open("a", encoding="utf-8", errors="backslashreplace") as handle:
            handle.write(line + "\n")

    return say


def long_run(found, one_round, enough, minutes, first_seed, say):
    """Make rounds of growing seeds until ``found`` is enough, the time is over, or Ctrl-C.

    ``found`` has a text of itself, and ``findings``: texts that are told as they come.
    """
    begun, told_s, shown, last = time.monotonic(), -math.inf, 0, first_seed - 1
    try:
        for last in itertools.count(first_seed):
            one_round(last, found)
            for text in found.findings[shown:]:
                say(f"FINDING, seed {last}: {text}")
            shown, passed_s = len(found.findings), time.monotonic() - begun
            if passed_s - told_s > 60.0:
                told_s = passed_s
                say(f"{passed_s / 60.0:.1f} min, seed {last}: {found}")
            if enough() or passed_s > 60.0 * minutes:
                break
    except KeyboardInterrupt:
        say("interrupted")
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    passed = f"{(time.monotonic() - begun) / 60.0:.1f} min"
    say(f"ended after {passed}, seeds {first_seed} to {last}, peak {peak_mb:.0f} MB: {found}")
    return found
