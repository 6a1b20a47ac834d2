"""The command line as a user meets it, in a process of its own or, where that is all the same, in this one."""

import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from simulator.cli import main

ROOT = Path(__file__).resolve().parents[2]
ACREDAY = str(Path(sys.executable).parent / "acreday")
SHORT = ("--set", "day.last_landing=09:00", "--set", "work_days=1")
LOUD = ("run", "mine.toml", "--out", "out", "--one-more-runs", "0", *SHORT)
RUN = (*LOUD, "--quiet")

FEWER = {
    "run": ("3", "--one-more-runs", "0", "--force"), "compare": ("3",), "size": ("50",), "hindcast": ("20",),
    "payoff": ("10", "--one-more-runs", "10"), "ladder": ("10", "--rungs", "1"), "season": ("10",),
    "fragmentation": ("2",), "crossover": ("3", "--most-runs", "3"), "sensitivity": ("3",),
}  # fmt: skip
"""Runs of a command that a page shows, and what more keeps the tests quick; the page's own numbers are for people."""


def shortened(line):
    """Return the words of a command of a page, with fewer runs, shorter days or a smaller job."""
    _, command, *words = shlex.split(line.replace('"1000 acre"', '"200 acre"'))
    for option in ("--runs", "--one-more-runs", "--most-runs"):
        if option in words and command in FEWER:
            del words[words.index(option) : words.index(option) + 2]
    return [command, *words, *(("--runs", *FEWER[command], *SHORT) if command in FEWER else ())]


def copy_scenarios(folder):
    """Give a folder the shipped scenarios, with fewer past days to be looked back at."""
    shutil.copytree(ROOT / "scenarios", folder / "scenarios")
    past = folder / "scenarios" / "past_days.csv"
    past.write_text("".join(past.read_text(encoding="utf-8").splitlines(keepends=True)[:6]), encoding="utf-8")


def call(*arguments):
    """Run a command here and return its exit code; whatever else it raises comes through."""
    with pytest.raises(SystemExit) as done:
        main(list(arguments))
    return int(done.value.code or 0)


def process(*arguments, **named):
    """Run a command in a process of its own, in the working directory."""
    return subprocess.run([ACREDAY, *arguments], capture_output=True, text=True, check=False, timeout=300, **named)


def started(*arguments, **named):
    return subprocess.Popen(
        [ACREDAY, *arguments], text=True, **{"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **named}
    )
