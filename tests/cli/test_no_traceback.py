"""What once ended in a traceback: output that nobody takes, one input alone, results of results."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from simulator.cli import main
from simulator.scenario.starter import starter_text

ACREDAY = str(Path(sys.executable).parent / "acreday")
ROOT = Path(__file__).resolve().parents[2]
SHORT = ("--set", "day.last_landing=08:30", "--set", "work_days=1")
RUN = ("run", "mine.toml", "--runs", "2", "--one-more-runs", "0", "--out", "out", *SHORT)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "mine.toml").write_text(starter_text("mine"), encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(
    "command",
    [
        ("check", "mine.toml"),
        ("explain", "mine.toml"),
        ("schema",),
        ("--help",),
        ("run", "-h"),
        RUN,
        (*RUN, "--json", "-"),
    ],
)
def test_a_full_device(folder: Path, command: tuple[str, ...]) -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("the system has no /dev/full")
    with full.open("w") as device:
        done = subprocess.run(
            [ACREDAY, *command], cwd=folder, stdout=device, stderr=subprocess.PIPE, text=True, check=False
        )
        assert done.returncode == 2
        assert done.stderr.splitlines()[-1] == "acreday: the output cannot be written: No space left on device"
        assert "Traceback" not in done.stderr
        both = subprocess.run([ACREDAY, "check", "none.toml"], cwd=folder, stdout=device, stderr=device, check=False)
        assert both.returncode == 2


def test_a_reader_who_leaves(folder: Path) -> None:
    process = subprocess.Popen(
        [ACREDAY, "explain", "mine.toml"], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    assert process.stderr.read() == ""
    assert process.wait() == 1


def test_sobol_indices_of_one_input_alone(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(folder)
    swap = "rig.main.crew.tasks.swap.time=40..190 s"
    with pytest.raises(SystemExit) as done:
        main(["sensitivity", "mine.toml", "--range", swap, "--sobol", "8", "--runs", "4", "--json", "s.json", *SHORT])
    assert done.value.code == 0, capsys.readouterr().err
    (row,) = json.loads((folder / "s.json").read_text())["sobol"]["indices"]
    # all that there is comes from the only input
    assert row["total"] == pytest.approx(1.0, abs=0.75), row


def test_names_of_copies_do_not_grow(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    source = str(ROOT / "scenarios" / "willow_basin.toml")
    names = []
    for scenario in (source, "out/manifest.json", "out/manifest.json"):
        with pytest.raises(SystemExit) as done:
            main(["run", scenario, *RUN[2:], "--force", "--quiet"])
        assert done.value.code == 0
        names.append(sorted(path.name for path in (folder / "out").glob("input_*")))
    assert names[0] == names[1] == names[2]
    assert names[0]
