"""The command line as a user meets it: files written, messages, exit codes, interruption and resumption."""

import json
import os
import signal
import time
from pathlib import Path

import pytest
from command_line import LOUD, ROOT, RUN, SHORT, call, process, started

from simulator import load_scenario, run


def result_of(folder):
    return json.loads((folder / "result.json").read_text(encoding="utf-8"))


def test_from_an_empty_folder(tmp_path):
    """The way of a new user: new, check, run."""
    assert process("new", "My fields.toml", cwd=tmp_path).returncode == 0
    assert process("check", "My fields.toml", cwd=tmp_path).returncode == 0
    done = process("run", "My fields.toml", "--runs", "4", "--one-more-runs", "0", *SHORT, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "acres/day" in done.stdout
    assert "acres a day" in done.stdout
    result = tmp_path / "reports" / "My_fields"
    assert {path.name for path in result.iterdir()} >= {
        "result.json", "runs.csv", "time_use.csv", "bottleneck.csv", "summary.md", "manifest.json", "acres.svg",
        "time_use.svg", "timeline_three_packs.svg",
    }  # fmt: skip
    for entry in result_of(result)["equipment_sets"]:
        assert entry["runs"] == 4
        assert sum(entry["time_share"].values()) == pytest.approx(1.0)
    manifest = json.loads((result / "manifest.json").read_text(encoding="utf-8"))
    assert (manifest["seed"], manifest["engine"]) == (1, "simpy, interpreted")
    assert manifest["resolved"]["three_packs"]["day"]["last_landing"] == "09:00"
    assert "not a promise" in (result / "summary.md").read_text(encoding="utf-8")
    assert [path.name for path in (tmp_path / "reports").iterdir()] == ["My_fields"]
    # the manifest has all that is needed to make the result again
    lines = [line.split(",") for line in (result / "runs.csv").read_text(encoding="utf-8").splitlines()]
    column = lines[0].index("acres")
    for name, table in manifest["resolved"].items():
        again = run(load_scenario(table), runs=4, seed=manifest["seed"], one_more_runs=0).runs["acres"].tolist()
        assert [float(line[column]) for line in lines[1:] if line[0] == name] == pytest.approx(again, rel=1e-12)


def test_a_run_that_ran_out_of_time_goes_on_with_resume(folder, capsys):
    wanted = (*RUN, "--runs", "100000", "--budget", "1 s")
    call(*wanted)
    assert "go on with --resume" in capsys.readouterr().err
    assert call(*wanted, "--resume") == 0
    assert "went on with an unfinished result" in capsys.readouterr().err


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
        (("run", "mine.toml", "--runs", "2", "--out", "precious", "--force"), "holds other files"),
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
def test_bad_input_ends_with_code_2_and_one_clear_message(folder, capsys, arguments, says):
    (folder / "precious").mkdir()
    (folder / "precious/letter.txt").write_text("dear", encoding="utf-8")
    before = sorted(folder.rglob("*"))
    assert call(*arguments) == 2
    assert says in capsys.readouterr().err
    assert sorted(path for path in folder.rglob("*") if path.name != "reports") == before


def test_compare_prints_the_paired_difference(folder, capsys):
    assert call("compare", "mine.toml", "three_packs", "four_packs", "--runs", "6", *SHORT) == 0
    said = capsys.readouterr().out
    assert "four_packs over three_packs" in said or "three_packs over four_packs" in said


def test_json_to_standard_output_is_pure(folder, capsys):
    assert call(*RUN, "--runs", "3", "--json", "-") == 0
    assert json.loads(capsys.readouterr().out)["scenario"] == "mine"
    assert call("schema") == 0
    schema = json.loads(capsys.readouterr().out)
    assert schema["$schema"].startswith("https://json-schema.org/")
    assert "rig" in schema["properties"]


def test_day_writes_a_log_and_a_timeline(folder):
    assert call("day", "mine.toml", "--equipment", "four_packs", "--run", "2", "--work-day", "1", *SHORT) == 0
    names = {path.name for path in (folder / "reports/mine-day").iterdir()}
    assert names == {"day.csv", "timeline.svg", "timeline.png", "manifest.json"}
    header = (folder / "reports/mine-day/day.csv").read_text(encoding="utf-8").splitlines()[0]
    assert {"start_s", "end_s", "entity", "activity", "reason", "field"} <= set(header.split(","))


def test_a_job_says_when_it_is_done(folder, capsys):
    assert call("run", "mine.toml", "--runs", "3", "--one-more-runs", "0", "--set", "work=once") == 0
    said = capsys.readouterr().out
    assert "mine: 130 acres, 3 runs a set" in said
    assert "work days" in said
    job = result_of(folder / "reports/mine")["equipment_sets"][0]["job"]
    assert job["acres"] == pytest.approx(130.0, rel=1e-9)
    assert job["done_share"] == 1.0
    assert job["work_days"]["p50"] <= job["work_days"]["p90"]


def at_work(*arguments):
    """Start a run that would go on for long, and return it once some days are kept."""
    running, end = started(*LOUD, "--runs", "100000", *arguments), time.monotonic() + 120.0
    kept = Path(".out.unfinished")
    while not (kept.exists() and kept.stat().st_size > 20_000):
        assert running.poll() is None
        assert time.monotonic() < end
        time.sleep(0.05)
    return running


def test_killed_run_keeps_others_out_and_goes_on_with_resume(folder, capsys):
    """SIGKILL in the midst; --resume ends with the tables of an uninterrupted run."""
    running = at_work()
    assert call(*RUN, "--runs", "3", "--force") == 2
    assert "another command is writing" in capsys.readouterr().err
    assert running.poll() is None
    running.kill()
    running.communicate()
    assert not (folder / "out").exists()
    assert call(*RUN, "--runs", "9") == 2
    assert "--resume" in capsys.readouterr().err
    assert call(*RUN, "--runs", "9", "--resume") == 0
    assert call(*RUN, "--runs", "9", "--out", "whole") == 0
    for name in ("runs.csv", "time_use.csv", "bottleneck.csv"):
        assert (folder / "out" / name).read_bytes() == (folder / "whole" / name).read_bytes()


def test_control_c_keeps_and_reports_what_finished(folder):
    running = at_work()
    running.send_signal(signal.SIGINT)
    output, errors = running.communicate(timeout=120)
    assert running.returncode == 130, errors
    assert "interrupted" in errors
    assert "Traceback" not in errors
    assert "acres/day" in output
    assert 2 <= result_of(folder / "out")["equipment_sets"][0]["runs"] < 100_000
    assert (folder / ".out.unfinished").exists()


@pytest.mark.parametrize("name", ["us_crop_sequence_boundaries_2017_2024", "denmark_fields_2026"])
def test_real_boundary_files_run(folder, name):
    """Real field boundaries, multipolygons and slivers and all, as the field list of a day."""
    path = str(ROOT / "tests" / "data" / f"{name}.geojson")
    assert call(*RUN, "--runs", "2", "--fields", path) == 0
    document = result_of(folder / "out")
    assert document["equipment_sets"][0]["acres_per_day"]["mean"] > 10
    if name.startswith("denmark"):
        assert any("below the smallest field" in text for text in document["skipped"])


def test_scheduler_that_is_not_there(folder):
    pytest.importorskip("distributed", reason="dask.distributed is an optional extra")
    soon = {**os.environ, "DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT": "2s"}
    done = process("run", "mine.toml", "--runs", "2", "--scheduler", "tcp://127.0.0.1:9", env=soon)
    assert done.returncode == 2, done.stderr
    assert "--scheduler" in done.stderr
