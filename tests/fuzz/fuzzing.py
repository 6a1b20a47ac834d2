"""Fuzz: whatever is given to a reader, only the project's own errors come out, soon and without eating memory.

Four kinds of input: scenario tables (random valid ones, and one with nearly every key) with one to four mutations, of
which those still valid are simulated for a day; files made by hypothesis that are nearly what a reader wants; good
files with some bytes changed; and raw bytes. By hand, as long as wanted, with a line of progress a minute and a table
of the readers at the end:

    PYTHONPATH=. python tests/fuzz/fuzzing.py --inputs 100000 --minutes 90 --log fuzz.log

It stops by itself at the number of inputs or of minutes, whichever comes first, and with Ctrl-C. Each input may take 20
seconds of processor time and a gigabyte more memory than there was. What breaks a bound, or brings out anything but
`InputError`, is a finding: it is written to the log with its input, and the fuzz goes on. Round ``n`` is made from seed
``n`` alone, so ``--first-seed n --inputs 1`` brings a finding back. `atheris_readers.py` beside this file tries bytes
guided by coverage instead of at random.
"""

import copy
import json
import random
import sys
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "operation"))

from file_strategies import FILES
from fuzz_inputs import UnexpectedError, corpus, guarded, read, simulate_one, wide_table
from fuzz_results import RESULT_READERS, mutated
from long_run import examples, long_run, parser, teller
from mutations import garble, mutate_some
from scenarios_strategy import scenarios

from simulator.scenario.loading import load_scenario

ROUND = 50
"""Inputs of one kind from one seed: later examples of a long run of hypothesis resemble each other."""


@dataclass
class Tally:
    """What a fuzz has seen, by (kind, reader)."""

    tried: dict[tuple[str, str], int] = field(default_factory=lambda: defaultdict(int))
    accepted: dict[tuple[str, str], int] = field(default_factory=lambda: defaultdict(int))
    slowest_s: dict[tuple[str, str], float] = field(default_factory=lambda: defaultdict(float))
    findings: list[str] = field(default_factory=list)
    keep_going: bool = False

    @property
    def inputs(self):
        return sum(self.tried.values())

    def note(self, kind, reader, call):
        """Count one input; a finding is raised, or kept when the fuzz is to go on."""
        place, begun = (kind, reader), time.process_time()
        self.tried[place] += 1
        try:
            self.accepted[place] += bool(call())
        except UnexpectedError as error:
            if not self.keep_going:
                raise
            self.findings.append(f"{kind}, {reader}: {error}")
        finally:
            self.slowest_s[place] = max(self.slowest_s[place], time.process_time() - begun)

    def __str__(self):
        return f"{self.inputs} inputs, {len(self.findings)} findings"

    def table(self):
        """Return lines: kind, reader, inputs, how many were accepted, and the slowest in seconds."""
        return [
            f"{kind:10} {reader:17} {number:8} {self.accepted[kind, reader]:8} {self.slowest_s[kind, reader]:6.1f}"
            for (kind, reader), number in sorted(self.tried.items())
        ]


def try_scenario(table, own_seed):
    """Mutate a valid scenario, load it, and when it is still valid simulate a day of it."""
    # a copy: hypothesis prints its own when something fails, and cannot print what is nested deeply
    table = copy.deepcopy(table)
    mutate_some(table, random.Random(own_seed))
    loaded = guarded(lambda: load_scenario(table), f"{own_seed} {_text(table)}")
    if loaded is not None:
        simulate_one(loaded)
    return loaded is not None


def _text(table):
    try:
        return json.dumps(table, default=str, skipkeys=True)[:20_000]
    except (RecursionError, ValueError):
        return "nested deeply, or with a number that is too long"


def fuzz_tables(number, round_seed, tally):
    """Try random valid scenarios with mutations."""
    chooser = random.Random(round_seed)
    examples(
        scenarios(), number, round_seed,
        lambda table: tally.note("mutated", "scenario", lambda: try_scenario(table, chooser.getrandbits(32))),
    )  # fmt: skip


def fuzz_wide_tables(number, round_seed, tally):
    """Try one scenario that writes out nearly every key, with mutations."""
    chooser = random.Random(round_seed)
    table = wide_table()
    for _ in range(number):
        own_seed = chooser.getrandbits(32)
        tally.note("mutated", "scenario, all keys", lambda own_seed=own_seed: try_scenario(table, own_seed))


def fuzz_files(number, round_seed, tally, reader):
    """Try files that hypothesis makes for one reader."""
    examples(
        FILES[reader], number, round_seed,
        lambda data: tally.note("made", reader, lambda: read(reader, data) is not None),
    )  # fmt: skip


def fuzz_results(number, round_seed, tally):
    """Try result folders of which one JSON file has been tampered with."""
    chooser = random.Random(round_seed)
    for _ in range(number):
        kind = chooser.choice(list(RESULT_READERS))
        data = mutated(kind, chooser)
        tally.note("mutated", kind, lambda kind=kind, data=data: read(kind, data) is not None)


def fuzz_bytes(number, round_seed, tally):
    """Try good files of all readers with some bytes changed, and raw bytes."""
    chooser = random.Random(round_seed)
    seeds = corpus()
    for _ in range(number):
        reader, data = chooser.choice(seeds)
        raw = chooser.randrange(20) == 0
        data = chooser.randbytes(chooser.choice([0, 1, 7, 300])) if raw else garble(data, chooser)
        tally.note("raw" if raw else "garbled", reader, lambda reader=reader, data=data: read(reader, data) is not None)


def fuzz_round(round_seed, tally, size=ROUND):
    """Try every kind of input: ``size`` of each, of tables twice and of bytes six times as many."""
    fuzz_tables(2 * size, round_seed, tally)
    fuzz_wide_tables(2 * size, round_seed, tally)
    for reader in FILES:
        fuzz_files(size, round_seed, tally, reader)
    fuzz_results(size, round_seed, tally)
    fuzz_bytes(6 * size, round_seed, tally)


def main():
    options = parser(__doc__.splitlines()[0], "inputs", 100_000, 90.0).parse_args()
    tally, say = Tally(keep_going=True), teller(options.log)
    long_run(tally, fuzz_round, lambda: tally.inputs >= options.inputs, options.minutes, options.first_seed, say)
    for line in ["kind       reader              inputs accepted slowest_s", *tally.table()]:
        say(line)
    return 1 if tally.findings else 0


if __name__ == "__main__":
    sys.exit(main())
