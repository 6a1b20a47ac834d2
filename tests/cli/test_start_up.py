"""Start-up: what answers at once loads nothing heavy, and a run loads it only when the user sees that it has begun."""

import json
import os
import subprocess
import sys

import pytest
from command_line import ROOT, SHORT

HEAVY = ("pandas", "matplotlib", "scipy", "dask", "distributed", "jinja2")
HEAVY_FOR_HELP = (*HEAVY, "numpy", "simpy", "pydantic", "pint")
_PROGRAM = f"""
import json, sys
from simulator.cli import main
told = []
def loaded():
    return [name for name in {HEAVY_FOR_HELP!r} if name in sys.modules]
class Watched:
    '''Standard error that notes what is loaded when the first text comes.'''
    def __init__(self, stream):
        self.stream = stream
    def write(self, text):
        if not first and text.strip():
            first.append([text, loaded()])
        return self.stream.write(text)
    def __getattr__(self, name):
        return getattr(self.stream, name)
sys.stderr = Watched(sys.stderr)
for arguments in json.loads(sys.argv[1]):
    first = []
    try:
        main(arguments)
    except SystemExit as stop:
        told.append([stop.code or 0, loaded(), first])
open("told.json", "w").write(json.dumps(told))
"""


def start(folder, *commands):
    """Return of each command its exit code, what is loaded in the end, and the first text with what is loaded by then.

    All run in one process, one after the other: what one has loaded stays.
    """
    done = subprocess.run(
        [sys.executable, "-c", _PROGRAM, json.dumps(commands)], cwd=folder, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), "ACREDAY_VERIFY": ""},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return json.loads((folder / "told.json").read_text(encoding="utf-8"))


def test_help_and_checks_load_nothing_heavy(folder):
    helps = [["--help"], ["--version"], ["run", "--help"], ["check", "--help"]]
    shipped = sorted((ROOT / "scenarios").glob("*.toml"))
    mistake = ["check", "mine.toml", "--set", "rig.main.packs.larg_pack=3"]
    checks = [["check", "mine.toml"], *(["check", str(path)] for path in shipped), mistake]
    told = start(folder, *helps, *checks)
    assert [code for code, _, _ in told] == [0] * (len(told) - 1) + [2]
    assert told[0][1] == []
    for command, (_, loaded, _) in zip((*helps, *checks), told, strict=True):
        assert not set(HEAVY) & set(loaded), command
    assert told[-1][2]


@pytest.mark.parametrize("command", ["run", "compare"])
def test_a_run_shows_its_first_line_before_loading_anything_heavy(folder, command):
    ((code, loaded, first),) = start(folder, [command, "mine.toml", "--runs", "2", "--out", "out", *SHORT])
    assert code == 0
    (text, loaded_then), *_ = first
    assert text.startswith("reading")
    assert not set(HEAVY) & set(loaded_then)
    assert {"pandas", "matplotlib"} <= set(loaded)  # or this test could not fail
