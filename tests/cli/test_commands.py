"""The command line as a user meets it: files written, messages, exit codes, interruption and resumption."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from simulator.scenario.starter import starter_text

ACREDAY = str(Path(sys.executable).parent / "acreday")
ROOT = Path(__file__).resolve().parents[2]
SHORT = ("--set", "day.last_landing=11:00", "--set", "work_days=1")


def call(*arguments: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([ACREDAY, *arguments], cwd=folder, capture_output=True, text=True, check=False, timeout=300)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "mine.toml").write_text(starter_text("mine"), encoding="utf-8")
    return tmp_path


def test_from_an_empty_folder(tmp_path: Path) -> None:
    """The way of a new user: new, check, run."""
    made = call("new", "My fields.toml", folder=tmp_path)
    assert made.returncode == 0, made.stderr
    assert call("check", "My fields.toml", folder=tmp_path).returncode == 0
    done = call("run", "My fields.toml", "--runs", "4", *SHORT, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "acres/day" in done.stdout
    assert "acres a day" in done.stdout
    result = tmp_path / "reports" / "My_fields"
    names = {path.name for path in result.iterdir()}
    assert names >= {
        "result.json",
        "runs.csv",
        "time_use.csv",
        "bottleneck.csv",
        "summary.md",
        "manifest.json",
        "acres.svg",
        "acres.png",
        "time_use.svg",
        "time_use.png",
        "timeline_three_packs.svg",
        "timeline_three_packs.png",
    }
    document = json.loads((result / "result.json").read_text(encoding="utf-8"))
    for entry in document["equipment_sets"]:
        assert entry["runs"] == 4
        assert sum(entry["time_share"].values()) == pytest.approx(1.0)
    manifest = json.loads((result / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["seed"] == 1
    assert manifest["engine"] == "simpy, interpreted"
    assert manifest["resolved"]["three_packs"]["day"]["last_landing"] == "11:00"
    assert "not a promise" in (result / "summary.md").read_text(encoding="utf-8")
    assert [path.name for path in (tmp_path / "reports").iterdir()] == ["My_fields"]


def test_a_result_can_be_made_again_from_its_own_folder(folder: Path) -> None:
    assert (
        call("run", "mine.toml", "--runs", "3", "--one-more-runs", "0", "--quiet", *SHORT, folder=folder).returncode
        == 0
    )
    first = (folder / "reports/mine/runs.csv").read_text(encoding="utf-8")
    manifest = json.loads((folder / "reports/mine/manifest.json").read_text(encoding="utf-8"))
    from simulator import load_scenario, run

    for name, table in manifest["resolved"].items():
        result = run(load_scenario(table), runs=3, seed=manifest["seed"], one_more_runs=0)
        again = result.runs["acres"].tolist()
        lines = [line.split(",") for line in first.splitlines()]
        column = lines[0].index("acres")
        assert [float(line[column]) for line in lines[1:] if line[0] == name] == pytest.approx(again, rel=1e-12)


def test_an_older_result_is_not_overwritten_unasked(folder: Path) -> None:
    arguments = ("run", "mine.toml", "--runs", "2", "--one-more-runs", "0", "--quiet", *SHORT)
    assert call(*arguments, folder=folder).returncode == 0
    refused = call(*arguments, folder=folder)
    assert refused.returncode == 2
    assert "--force" in refused.stderr
    assert call(*arguments, "--force", folder=folder).returncode == 0


def test_a_result_with_a_copied_field_file_can_be_replaced(folder: Path) -> None:
    wanted = ("run", str(ROOT / "scenarios" / "willow_basin.toml"), "--out", "out", "--runs", "2", "--quiet")
    wanted += ("--one-more-runs", "0", *SHORT)
    for more in ((), ("--force",)):
        done = call(*wanted, *more, folder=folder)
        assert done.returncode == 0, done.stderr
    assert list((folder / "out").glob("input_*.geojson"))


def test_a_run_that_ran_out_of_time_goes_on_with_resume(folder: Path) -> None:
    wanted = ("run", "mine.toml", "--runs", "100000", "--budget", "1 s", "--out", "out", "--one-more-runs", "0", *SHORT)
    first = call(*wanted, folder=folder)
    assert "go on with --resume" in first.stderr
    again = call(*wanted, "--resume", folder=folder)
    assert again.returncode == 0, again.stderr
    assert "went on with an unfinished result" in again.stderr


def test_foreign_files_are_never_replaced(folder: Path) -> None:
    (folder / "precious").mkdir()
    (folder / "precious" / "letter.txt").write_text("dear", encoding="utf-8")
    refused = call("run", "mine.toml", "--runs", "2", "--out", "precious", "--force", folder=folder)
    assert refused.returncode == 2
    assert "holds other files" in refused.stderr
    assert (folder / "precious" / "letter.txt").read_text(encoding="utf-8") == "dear"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("chek",), "nearest known is 'check'"),
        (("check", "none.toml"), "no such file"),
        (("check", "mine.toml", "--set", "dayz=3"), "nearest known is 'day'"),
        (("check", "mine.toml", "--set", "nonsense"), "KEY=VALUE"),
        (("run", "mine.toml", "--runs", "1"), "allowed is 2 to"),
        (("run", "mine.toml", "--runs", "many"), "not a valid integer"),
        (("run", "mine.toml", "--precision", "200%"), "a share such as"),
        (("run", "mine.toml", "--budget", "soon"), "--budget"),
        (("run", "mine.toml", "--out", "mine.toml"), "is a file"),
        (("run", "mine.toml", "--out", "/proc/acreday"), "cannot be written to"),
        (("run", "mine.toml", "--fields", "none.geojson"), "none.geojson"),
        (("compare", "mine.toml", "three_packs"), "at least 2"),
        (("compare", "mine.toml", "three_pack", "four_packs"), "nearest known is 'three_packs'"),
        (("day", "mine.toml", "--equipment", "five"), "no equipment set"),
        (("check", "mine.toml", "--set", 'aircraft.large.hover.full_time="60 min"'), "the hover time is too long"),
        (("check", "mine.toml", "--set", 'pack.large_pack.energy="60 Wh"'), "no load can be flown"),
        (("check", "mine.toml", "--set", "weather.air_temperature=45 degC"), "may be charged at 0 to 40 degC"),
        (("new", "mine.toml"), "--force"),
    ],
)
def test_bad_input_ends_with_code_2_and_one_clear_message(folder: Path, arguments: tuple[str, ...], says: str) -> None:
    before = sorted(path.name for path in folder.iterdir())
    done = call(*arguments, folder=folder)
    assert done.returncode == 2, done.stderr
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(path.name for path in folder.iterdir() if path.name != "reports") == before
    assert not list(folder.glob("reports/*"))


def test_compare_prints_the_paired_difference(folder: Path) -> None:
    done = call("compare", "mine.toml", "three_packs", "four_packs", "--runs", "6", *SHORT, folder=folder)
    assert done.returncode == 0, done.stderr
    assert "four_packs over three_packs" in done.stdout or "three_packs over four_packs" in done.stdout


def test_json_to_standard_output_is_pure(folder: Path) -> None:
    done = call("run", "mine.toml", "--runs", "3", "--one-more-runs", "0", "--json", "-", *SHORT, folder=folder)
    assert json.loads(done.stdout)["scenario"] == "mine"


def test_day_writes_a_log_and_a_timeline(folder: Path) -> None:
    done = call("day", "mine.toml", "--equipment", "four_packs", "--run", "2", "--work-day", "1", *SHORT, folder=folder)
    assert done.returncode == 0, done.stderr
    names = {path.name for path in (folder / "reports/mine-day").iterdir()}
    assert names == {"day.csv", "timeline.svg", "timeline.png", "manifest.json"}
    header = (folder / "reports/mine-day/day.csv").read_text(encoding="utf-8").splitlines()[0]
    assert {"start_s", "end_s", "entity", "activity", "reason", "field"} <= set(header.split(","))


def test_a_job_says_when_it_is_done(folder: Path) -> None:
    done = call("run", "mine.toml", "--runs", "3", "--one-more-runs", "0", "--set", "work=once", folder=folder)
    assert done.returncode == 0, done.stderr
    assert "mine: 130 acres, 3 runs a set" in done.stdout
    assert "work days" in done.stdout
    document = json.loads((folder / "reports/mine/result.json").read_text(encoding="utf-8"))
    job = document["equipment_sets"][0]["job"]
    assert job["acres"] == pytest.approx(130.0, rel=1e-9)
    assert job["done_share"] == 1.0
    assert job["work_days"]["p50"] <= job["work_days"]["p90"]


def test_schema_is_json_schema(folder: Path) -> None:
    done = call("schema", folder=folder)
    schema = json.loads(done.stdout)
    assert schema["$schema"].startswith("https://json-schema.org/")
    assert "rig" in schema["properties"]


def start(folder: Path, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [ACREDAY, *arguments], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def wait_for_days(journal: Path, size: int, limit_s: float = 120.0) -> None:
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        if journal.exists() and journal.stat().st_size > size:
            return
        time.sleep(0.05)
    raise AssertionError("no day was written to the journal")


def test_killed_run_goes_on_with_resume(folder: Path) -> None:
    """SIGKILL in the midst; --resume ends with the tables of an uninterrupted run."""
    arguments = ("run", "mine.toml", "--runs", "220", "--one-more-runs", "0", "--quiet", *SHORT)
    process = start(folder, *arguments, "--out", "killed")
    wait_for_days(folder / ".killed.unfinished", 20_000)
    process.kill()
    process.communicate()
    assert not (folder / "killed").exists()
    refused = call(*arguments, "--out", "killed", folder=folder)
    assert refused.returncode == 2
    assert "--resume" in refused.stderr
    assert call(*arguments, "--out", "killed", "--resume", folder=folder).returncode == 0
    assert call(*arguments, "--out", "whole", folder=folder).returncode == 0
    for name in ("runs.csv", "time_use.csv", "bottleneck.csv"):
        assert (folder / "killed" / name).read_bytes() == (folder / "whole" / name).read_bytes()
    assert not (folder / ".killed.unfinished").exists()


def test_control_c_keeps_and_reports_what_finished(folder: Path) -> None:
    process = start(folder, "run", "mine.toml", "--runs", "100000", "--one-more-runs", "0", "--out", "part", *SHORT)
    wait_for_days(folder / ".part.unfinished", 20_000)
    process.send_signal(signal.SIGINT)
    output, errors = process.communicate(timeout=120)
    assert process.returncode == 130, errors
    assert "interrupted" in errors
    assert "Traceback" not in errors
    assert "acres/day" in output
    days = json.loads((folder / "part/result.json").read_text(encoding="utf-8"))["equipment_sets"][0]["runs"]
    assert 2 <= days < 100_000
    assert (folder / ".part.unfinished").exists()


def test_two_runs_into_one_folder_do_not_mix(folder: Path) -> None:
    process = start(folder, "run", "mine.toml", "--runs", "100000", "--one-more-runs", "0", "--out", "shared", *SHORT)
    wait_for_days(folder / ".shared.unfinished", 5_000)
    other = call(
        "run", "mine.toml", "--runs", "3", "--one-more-runs", "0", "--out", "shared", "--force", *SHORT, folder=folder
    )
    assert other.returncode == 2
    assert "another command is writing" in other.stderr
    assert process.poll() is None
    process.kill()
    process.communicate()


@pytest.mark.parametrize("name", ["us_crop_sequence_boundaries_2017_2024.geojson", "denmark_fields_2026.geojson"])
def test_real_boundary_files_run(folder: Path, name: str) -> None:
    """Real field boundaries, multipolygons and slivers and all, as the field list of a day."""
    path = ROOT / "tests" / "data" / name
    short = ("--runs", "2", "--one-more-runs", "0", "--set", "most_work_days=2")
    done = call("run", "mine.toml", "--fields", str(path), *short, folder=folder)
    assert done.returncode == 0, done.stderr
    document = json.loads((folder / "reports/mine/result.json").read_text(encoding="utf-8"))
    assert document["equipment_sets"][0]["acres_per_day"]["mean"] > 10
    if name.startswith("denmark"):
        assert any("below the smallest field" in text for text in document["skipped"])


def test_scheduler_that_is_not_there(folder: Path) -> None:
    pytest.importorskip("distributed", reason="dask.distributed is an optional extra")
    done = subprocess.run(
        [ACREDAY, "run", "mine.toml", "--runs", "2", "--scheduler", "tcp://127.0.0.1:9"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT": "2s"},
    )
    assert done.returncode == 2, done.stderr
    assert "--scheduler" in done.stderr
