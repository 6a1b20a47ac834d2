"""Measure that memory does not grow with runs: simulating, going on, and a whole result folder.

Run it with ``python tests/benchmark/memory.py`` (100 to 10 000 runs, two minutes) or name the numbers of runs, such as
``python tests/benchmark/memory.py 1000 100000``. Every figure is the peak of a process of its own, in MB; a day is one
hour long, so that many of them take little time. It prints a table in Markdown; reports/speed.md holds the last one.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from bench import table

from simulator.scenario.toml_text import toml_document

SCENARIO = {
    **table(1, 3, 1, 1),
    "day": {"start": "07:00", "last_landing": "08:00"},
    "equipment_set": {"three_packs": {}, "four_packs": {"rig": {"main": {"packs": {"pack": 4}}}}},
}
"""Two equipment sets and a day of one hour, which is all of a run."""

_PEAKS = """
import json, resource, sys
peaks = [resource.getrusage(who).ru_maxrss / 1024 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
print(json.dumps(peaks), file=sys.stderr)
"""
_SIMULATE = """
import sys
from pathlib import Path

from simulator.experiment.run import run
from simulator.scenario.loading import load_scenario
scenario, runs, journal = sys.argv[1:4]
result = run(load_scenario(scenario), runs=int(runs), one_more_runs=0, store=Path(journal))
assert [entry.runs for entry in result.sets] == [int(runs)] * 2
"""
_COMMAND = """
import sys
from simulator.cli import main
try:
    main(sys.argv[1:])
except SystemExit as stop:
    assert stop.code == 0, stop.code
"""


def peaks(code, *arguments):
    """Return the peak memory (MB) of a process of its own that runs some code, and of the largest of its workers."""
    done = subprocess.run(
        [sys.executable, "-c", code + _PEAKS, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "ACREDAY_VERIFY": ""},
    )
    own, workers = json.loads(done.stderr.splitlines()[-1])
    return own, workers


def measure(runs, folder):
    """Return peaks of simulating, resuming, a result folder, and a result folder with two workers: main and worker."""
    scenario, journal, out = folder / "short_days.toml", folder / f"journal_{runs}", folder / "out"
    scenario.write_text(toml_document(SCENARIO), encoding="utf-8")
    simulated, _ = peaks(_SIMULATE, scenario, runs, journal)
    resumed, _ = peaks(_SIMULATE, scenario, runs, journal)
    journal.unlink()
    command = ("run", scenario, "--runs", runs, "--one-more-runs", 0, "--out", out, "--force", "--quiet")
    alone, _ = peaks(_COMMAND, *command)
    shared, worker = peaks(_COMMAND, *command, "--workers", 2)
    return [simulated, resumed, alone, shared, worker]


def main():
    wanted = [int(text) for text in sys.argv[1:]] or [100, 1000, 10_000]
    print("| runs of each of two sets | simulating | resuming | `acreday run` | with two workers | a worker |")
    print("| ---: | ---: | ---: | ---: | ---: | ---: |")
    with tempfile.TemporaryDirectory() as name:
        for runs in wanted:
            row = measure(runs, Path(name))
            print(f"| {runs} | " + " | ".join(f"{value:.1f}" for value in row) + " |", flush=True)


if __name__ == "__main__":
    main()
