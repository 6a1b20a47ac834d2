"""The command line as a user meets it, in a process of its own or, where that is all the same, in this one."""

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
