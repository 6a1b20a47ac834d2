"""Coverage-guided fuzzing of every reader of foreign files, with atheris (which is no dependency of the project).

Run it by hand, in an environment that has atheris and the project:

    python tests/fuzz/atheris_readers.py --inputs 100000 --seconds 900

It starts from the corpus of `fuzz_inputs.py`; the first byte of an input chooses the reader. It ends at the first input
that brings out anything but the project's own error, or that takes too long, and leaves that input in a file.
"""

import argparse
import sys
import tempfile
from pathlib import Path

import atheris

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "operation")]

with atheris.instrument_imports(include=["simulator.scenario", "tomllib", "csv", "json"]):
    import fuzz_inputs

KINDS = sorted(fuzz_inputs.READERS)
LONGEST_INPUT = 4096


def one_input(data):
    if data:
        fuzz_inputs.read(KINDS[data[0] % len(KINDS)], data[1:])


def write_corpus(folder):
    """Write the seeds, each with the byte that chooses its reader."""
    for number, (kind, data) in enumerate(fuzz_inputs.corpus()):
        (folder / f"seed_{number}").write_bytes(bytes([KINDS.index(kind)]) + data)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inputs", type=int, default=5000, help="inputs to try")
    parser.add_argument("--seconds", type=int, default=150, help="time to stop after")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        corpus = Path(folder)
        write_corpus(corpus)
        limits = [f"-runs={options.inputs}", f"-max_total_time={options.seconds}", f"-seed={options.seed}"]
        limits += [f"-max_len={LONGEST_INPUT}", "-timeout=30", "-rss_limit_mb=3000", "-print_final_stats=1"]
        atheris.Setup([sys.argv[0], *limits, str(corpus)], one_input)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
