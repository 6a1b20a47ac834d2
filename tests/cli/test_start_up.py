"""Start-up: what answers at once loads nothing heavy, and a run loads it only when the user sees that it has begun."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from simulator.scenario.starter import starter_text

ROOT = Path(__file__).resolve().parents[2]
HEAVY = ("pandas", "matplotlib", "scipy", "dask", "distributed", "jinja2")
_PROGRAM = f"""
import json, sys
from simulator.cli import main
heavy, report = {HEAVY!r}, sys.argv.pop(1)
at_first_line = []
def loaded():
    return [name for name in heavy if name in sys.modules]
class Watched:
    '''Standard error that notes what is loaded when the first text comes.'''
    def __init__(self, stream):
        self.stream = stream
    def write(self, text):
        if not at_first_line and text.strip():
            at_first_line.append([text, loaded()])
        return self.stream.write(text)
    def __getattr__(self, name):
        return getattr(self.stream, name)
sys.stderr = Watched(sys.stderr)
try:
    main(sys.argv[1:])
except SystemExit as stop:
    code = stop.code
open(report, "w").write(json.dumps([code, loaded(), at_first_line]))
"""


def start(folder: Path, *arguments: str) -> tuple[int, list[str], list[list[object]]]:
    """Return exit code, heavy packages loaded in the end, and the first progress text with those loaded by then."""
    report = folder / "report.json"
    done = subprocess.run(
        [sys.executable, "-c", _PROGRAM, str(report), *arguments],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 0, done.stderr
    code, loaded, first = json.loads(report.read_text(encoding="utf-8"))
    return code, loaded, first


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "mine.toml").write_text(starter_text("mine"), encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["run", "--help"], ["check", "--help"]])
def test_help_loads_nothing_heavy(folder: Path, arguments: list[str]) -> None:
    code, loaded, _ = start(folder, *arguments)
    assert code == 0
    assert loaded == []


def test_check_loads_nothing_heavy(folder: Path) -> None:
    code, loaded, _ = start(folder, "check", "mine.toml")
    assert code == 0
    assert loaded == []


@pytest.mark.parametrize("path", sorted((ROOT / "scenarios").glob("*.toml")), ids=lambda path: path.stem)
def test_check_of_a_shipped_scenario_loads_nothing_heavy(folder: Path, path: Path) -> None:
    code, loaded, _ = start(folder, "check", str(path))
    assert code == 0
    assert loaded == []


def test_a_mistake_is_told_without_loading_anything_heavy(folder: Path) -> None:
    code, loaded, first = start(folder, "check", "mine.toml", "--set", "rig.main.packs.larg_pack=3")
    assert code == 2
    assert first
    assert loaded == []


@pytest.mark.parametrize("command", ["run", "compare"])
def test_a_run_shows_its_first_line_before_loading_anything_heavy(folder: Path, command: str) -> None:
    code, loaded, first = start(
        folder,
        command,
        "mine.toml",
        "--runs",
        "2",
        "--set",
        "day.last_landing=09:00",
        "--set",
        "work_days=1",
        "--out",
        "out",
    )
    assert code == 0
    (text, loaded_then), *_ = first
    assert str(text).startswith("reading")
    assert loaded_then == []
    assert {"pandas", "matplotlib"} <= set(loaded)  # or this test could not fail
