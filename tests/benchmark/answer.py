"""Split the time to the answer of a command: start-up, plan, rehearse, simulate, decide, draw; and its memory.

``python tests/benchmark/answer.py [SCENARIO]`` runs ``acreday run`` on the README's example (or another scenario) with
one process, and prints the processor time of each part; then as a user does, on every core, by the clock. For
developers; reports/speed.md holds the last tables.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from importlib import import_module
from pathlib import Path

PARTS = {
    "plan": ("simulator.experiment.run:make_plans", "simulator.experiment.one_more:make_plan"),
    "rehearse": ("simulator.experiment.runs:rehearsed",),
    "simulate": ("simulator.experiment.replicate:row_of_run",),
    "decide": ("simulator.experiment.run:decided", "simulator.experiment.run:_still_racing"),
    "draw and write": ("simulator.report.result_folder:write_result_folder",),
}
"""Functions whose time, without that of other parts within them, is a part's; the rest is start-up and reading."""
REST = "start up, read, print"
MAIN_JOB = Path(__file__).parents[2] / "scenarios" / "third_pack.toml"
FIRST, ANSWER, END = "first means", "answer", "end"


class Stopwatch:
    """Processor time by part: whichever function was entered last has it; and when the first numbers came."""

    def __init__(self, begun_s):
        self.seconds = dict.fromkeys((REST, *PARTS), 0.0)
        self.moments_s = {}
        self._begun_s, self._part, self._since_s = begun_s, REST, 0.0

    def enter(self, part):
        """Go over to a part; return the one before."""
        now_s, before = time.process_time(), self._part
        self.seconds[before] += now_s - self._since_s
        self._part, self._since_s = part, now_s
        return before

    def passed(self, what):
        self.moments_s.setdefault(what, (time.process_time(), time.time() - self._begun_s))

    def timing(self, part, call):
        def timed(*given, **named):
            # the answer has been printed by then
            if part == "draw and write":
                self.passed(ANSWER)
            before = self.enter(part)
            try:
                return call(*given, **named)
            finally:
                self.enter(before)

        return timed

    def noting(self, call):
        def noted(*given):
            words = call(*given)
            if words:
                self.passed(FIRST)
            return words

        return noted


def split(begun_s, arguments):
    """Run a command in this process; print what it took, of the processor from the start of Python on."""
    from simulator import cli
    from simulator.experiment import run

    watch = Stopwatch(begun_s)
    for part, places in PARTS.items():
        for module, name in (place.split(":") for place in places):
            owner = import_module(module)
            setattr(owner, name, watch.timing(part, getattr(owner, name)))
    run._so_far = watch.noting(run._so_far)
    try:
        cli.main(arguments)
    except SystemExit as stop:
        if stop.code:
            raise
    watch.enter(REST)
    watch.passed(END)
    peaks = [resource.getrusage(who).ru_maxrss / 1024 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    print(json.dumps([watch.seconds, watch.moments_s, peaks]), file=sys.stderr)


def measure(arguments):
    """Return processor time by part (s), moments by it and by the clock (s), peaks of the process and a worker (MB)."""
    code = f"import answer; answer.split({time.time()!r}, {list(map(str, arguments))!r})"
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parent), "ACREDAY_VERIFY": ""}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment)
    return json.loads(done.stderr.splitlines()[-1])


def main():
    scenario = sys.argv[1] if len(sys.argv) > 1 else MAIN_JOB
    with tempfile.TemporaryDirectory() as folder:
        command = ("run", scenario, "--out", Path(folder) / "out", "--force")
        parts, alone_s, (peak_mb, _) = measure((*command, "--workers", 1))
        _, shared_s, (shared_mb, worker_mb) = measure(command)
    print("| part | s of the processor, one process |\n| --- | ---: |")
    for part, seconds in {**parts, "all": sum(parts.values())}.items():
        print(f"| {part} | {seconds:.2f} |")
    print("\n| s until | of the processor, one process | by the clock | by the clock, a process a core |")
    print("| --- | ---: | ---: | ---: |")
    for moment in (FIRST, ANSWER, END):
        (processor_s, clock_s), (_, together_s) = alone_s[moment], shared_s[moment]
        print(f"| {moment} | {processor_s:.1f} | {clock_s:.1f} | {together_s:.1f} |")
    print(f"\nMemory: {peak_mb:.0f} MB with one process; {shared_mb:.0f} MB and {worker_mb:.0f} MB a worker.")


if __name__ == "__main__":
    main()
