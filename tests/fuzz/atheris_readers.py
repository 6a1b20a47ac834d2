"""Coverage-guided fuzzing of every reader of foreign files, with atheris (which is no dependency of the project).

Run it by hand, in an environment that has atheris beside the project and its dependencies:

    PYTHONPATH=. python tests/fuzz/atheris_readers.py --inputs 100000 --seconds 3600 --corpus corpus

It starts from the corpus of `fuzz_inputs.py`; the first byte of an input chooses the reader. It ends at the first input
that brings out anything but the project's own error, or that breaks a bound of time or memory (see `bounds.py`), prints
it, and leaves it in a file; else it ends at the number of inputs or of seconds, whichever comes first. ``--corpus``
keeps what reached new code, so that the next run goes on from there; ``--only`` tries some readers.
"""

import argparse
import sys
import tempfile
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).parents[1] / "operation"))

with atheris.instrument_imports(include=["simulator.scenario", "simulator.errors", "tomllib", "csv", "json"]):
    import fuzz_inputs

KINDS = sorted(fuzz_inputs.READERS)
LONGEST_INPUT = 8192

tried = dict.fromkeys(KINDS, 0)
accepted = dict.fromkeys(KINDS, 0)


def try_input(data, kinds):
    if data:
        kind = kinds[data[0] % len(kinds)]
        tried[kind] += 1
        accepted[kind] += fuzz_inputs.read(kind, data[1:]) is not None


def write_corpus(folder, kinds):
    """Write the seeds, each with the byte that chooses its reader."""
    for number, (kind, data) in enumerate(fuzz_inputs.corpus()):
        if kind in kinds:
            (folder / f"seed_{number}").write_bytes(bytes([kinds.index(kind)]) + data)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inputs", type=int, default=5000, help="inputs to try")
    parser.add_argument("--seconds", type=int, default=150, help="time to stop after")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--corpus", type=Path, help="folder that keeps what reached new code")
    parser.add_argument("--only", nargs="+", choices=KINDS, default=KINDS, help="readers to try; all by default")
    options = parser.parse_args()
    kinds = sorted(options.only)
    with tempfile.TemporaryDirectory() as folder:
        seeds = Path(folder)
        write_corpus(seeds, kinds)
        kept = options.corpus or seeds
        kept.mkdir(parents=True, exist_ok=True)
        limits = [f"-runs={options.inputs}", f"-max_total_time={options.seconds}", f"-seed={options.seed}"]
        limits += [f"-max_len={LONGEST_INPUT}", "-timeout=60", "-rss_limit_mb=4000", "-print_final_stats=1"]

        def one_input(data):
            try_input(data, kinds)
            # libFuzzer ends the process by itself, so what was tried is told while there is time
            if data and sum(tried.values()) % 5000 == 0:
                told = ", ".join(f"{kind} {tried[kind]} ({accepted[kind]} accepted)" for kind in kinds)
                print(f"inputs so far: {sum(tried.values())}: {told}", file=sys.stderr, flush=True)

        atheris.Setup([sys.argv[0], *limits, str(kept), str(seeds)], one_input)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
