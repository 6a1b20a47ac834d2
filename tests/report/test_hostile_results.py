"""Hostile targets and results: nothing foreign is deleted, no cell is a formula, nothing read back can hang."""

import csv
import os
import threading
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from command_line import call
from small_day import table
from stored_support import older_result, write_result

from simulator.command.common import write_json, write_text_atomically
from simulator.errors import InputError
from simulator.report.folder import ResultFolder, check_target
from simulator.report.own_files import MANIFEST
from simulator.report.stored import read_result
from simulator.report.writing import plain_cell
from simulator.scenario.toml_text import toml_document

FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "'=1", '=HYPERLINK("http://x")', "=cmd|' /C calc'!A0"]


def refusal(call):
    with pytest.raises(InputError) as caught:
        call()
    return str(caught.value)


def snapshot(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


# --- where a result goes ---


def test_a_result_replaces_an_older_one_only_when_told(tmp_path):
    folder = older_result(tmp_path / "result")
    assert "--force" in refusal(lambda: write_result(folder))
    assert (folder / "runs.csv").read_text() == "old"
    write_result(folder, force=True)
    assert (folder / "runs.csv").read_text() == "new"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["result"]


@pytest.mark.parametrize(
    "foreign",
    [
        *("notes.txt", "thesis.docx", ".git", "deep/photo.png", "link.csv", "no_suffix", "my_notes.md"),
        *("logbook.csv", "photo.png", "input_licence.docx", "quote_three_packs.pdf", "runs.csv", "Runs.csv"),
    ],
)
def test_foreign_things_in_an_older_result_are_never_deleted(tmp_path, foreign):
    folder = older_result(tmp_path / "result")
    path = folder / foreign
    path.parent.mkdir(exist_ok=True)
    path.unlink(missing_ok=True)
    if foreign.startswith("link"):
        target = tmp_path / "own.csv"
        target.write_text("mine")
        path.symlink_to(target)
    else:
        path.write_text("mine")
    before = snapshot(tmp_path)
    said = refusal(lambda: write_result(folder, force=True))
    assert "holds other files" in said
    assert foreign.split("/")[0] in said
    assert snapshot(tmp_path) == before


@pytest.mark.parametrize(
    "content", ["", "{}", "[]", "null", "\xff", '{"name": "web page", "version": 3}', "[" * 100_000]
)
def test_a_manifest_of_another_program_is_no_licence(tmp_path, content):
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / MANIFEST).write_text(content, encoding="latin-1")
    (folder / "index.html").write_text("mine")
    before = snapshot(folder)
    assert "of another program" in refusal(lambda: write_result(folder, force=True))
    assert snapshot(folder) == before


def test_what_appears_while_days_are_simulated_is_kept(tmp_path):
    folder = older_result(tmp_path / "result")
    with ResultFolder(folder, force=True) as result:
        result.write_text("runs.csv", "new")
        (folder / "thesis.txt").write_text("mine")
        assert "since this run began" in refusal(result.finish)
    assert (folder / "thesis.txt").read_text() == "mine"
    assert (folder / "runs.csv").read_text() == "old"


@pytest.mark.parametrize(
    "out",
    [
        "",
        ".",
        "..",
        "../..",
        "/",
        "a/..",
        "\0",
        "x\0y",
        "n" * 300,
        "a/" + "n" * 250,
        "/dev/null",
        "/dev/null/x",
        "/proc/x",
        "file",
        "file/x",
    ],
)
@pytest.mark.parametrize("force", [False, True])
def test_targets_that_cannot_be(tmp_path, monkeypatch, out, force):
    here = tmp_path / "here"
    here.mkdir()
    (here / "file").write_text("mine")
    monkeypatch.chdir(here)
    before = snapshot(tmp_path)
    assert refusal(lambda: write_result(Path(out), force))
    assert snapshot(tmp_path) == before
    assert not Path("/dev/null").is_file()


def test_a_link_is_followed_and_stays(tmp_path):
    target, link = tmp_path / "elsewhere" / "result", tmp_path / "link"
    older_result(target)
    link.symlink_to(target)
    write_result(link, force=True)
    assert link.is_symlink()
    assert (target / "runs.csv").read_text() == "new"
    loop = tmp_path / "loop"
    loop.symlink_to(loop)
    assert refusal(lambda: check_target(loop, True))


def test_a_link_to_somebody_elses_folder_is_no_way_in(tmp_path):
    own, link = tmp_path / "own", tmp_path / "link"
    own.mkdir()
    (own / "thesis.txt").write_text("mine")
    link.symlink_to(own)
    assert "holds other files" in refusal(lambda: write_result(link, force=True))
    assert (own / "thesis.txt").read_text() == "mine"


@pytest.mark.parametrize("name", ["", ".", "\0", "n" * 300, "folder", "/dev/null", "/dev/full", "pipe", "file/x"])
def test_files_that_cannot_be_written(tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("mine")
    os.mkfifo(tmp_path / "pipe")
    kinds = {path.name: path.stat().st_mode for path in tmp_path.iterdir()}
    assert refusal(lambda: write_text_atomically(Path(name), "x"))
    assert {path.name: path.stat().st_mode for path in tmp_path.iterdir()} == kinds
    # a device must not be replaced by a file of that name, which the superuser could do
    assert not Path("/dev/null").is_file()
    if name:
        assert refusal(lambda: write_json({}, name))


def test_text_that_is_not_unicode_is_written_with_marks(tmp_path):
    write_text_atomically(tmp_path / "x.md", "a\udcffb")
    assert (tmp_path / "x.md").read_text(encoding="utf-8") == "a?b"


# --- what stands in the tables ---


def test_no_cell_of_a_table_is_a_formula(tmp_path):
    frame = pd.DataFrame({"equipment_set": FORMULAS, "acres": -np.arange(len(FORMULAS), dtype=float)})
    with ResultFolder(tmp_path / "result") as folder:
        folder.write_table("runs.csv", frame)
        with (folder.path / "runs.csv").open(newline="", encoding="utf-8") as handle:
            rows = list(csv.DictReader(handle))
    assert [row["equipment_set"][0] for row in rows] == ["'"] * len(FORMULAS)
    # a carriage return would begin a row of its own, with a formula in front
    assert [plain_cell(row["equipment_set"]) for row in rows] == [name.replace("\r", "\n") for name in FORMULAS]
    # a negative number is a number, not a formula
    assert [float(row["acres"]) for row in rows] == list(-np.arange(len(FORMULAS), dtype=float))


def test_a_run_of_sets_named_like_formulas(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sets = {name: {} for name in ("=1+1", "@x", "<b>x</b>", "../../up", "CON", "a" * 80)}
    scenario = table(equipment_set=sets, field=[{"name": "=field", "area": "3 ha"}], day={"window": "1 h"})
    (tmp_path / "s.toml").write_text(toml_document(scenario), encoding="utf-8")
    assert call("run", "s.toml", "--runs", "2", "--one-more-runs", "0", "--out", "made", "--quiet") == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["made", "s.toml"]
    assert all(path.is_file() for path in (tmp_path / "made").iterdir())
    for path in (tmp_path / "made").glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as handle:
            for row in csv.reader(handle):
                assert not any(cell[:1] in "=@\t\r" for cell in row if cell), f"{path.name}: {row}"
    stored = read_result(tmp_path / "made")
    assert [entry["name"] for entry in stored.document["equipment_sets"]] == list(sets)
    assert set(stored.runs["equipment_set"]) == set(sets)


HOSTILE_NAME = "\u202eevil\x1b[2J\x07\n=x\u2028y"


def test_nothing_that_is_written_or_printed_holds_signs_that_steer_a_terminal(tmp_path, monkeypatch, capsys):
    """Names of fields, titles and notes may hold anything that is text; what shows them must not."""
    monkeypatch.chdir(tmp_path)
    scenario = table(
        equipment_set={"a": {}, "b": {"rig": {"main": {"packs": {"pack": 4}}}}},
        field=[{"name": HOSTILE_NAME, "area": "3 ha"}, {"name": "=two", "area": "3 ha"}],
        day={"window": "1 h"},
        title=HOSTILE_NAME,
        notes=HOSTILE_NAME,
    )
    (tmp_path / "s.toml").write_text(toml_document(scenario), encoding="utf-8")
    run = ["run", "s.toml", "--runs", "2", "--one-more-runs", "0", "--out", "made"]
    for command in (["check", "s.toml"], ["explain", "s.toml"], run, ["report", "made"]):
        assert call(*command) == 0
    printed = "".join(capsys.readouterr())
    texts = {"what is printed": printed}
    for path in (tmp_path / "made").iterdir():
        if path.suffix in (".csv", ".html", ".md", ".txt", ".svg"):
            texts[path.name] = path.read_text(encoding="utf-8")
    assert {"runs.csv", "what is printed"} < set(texts)
    for where, text in texts.items():
        steering = {sign for sign in text if not sign.isprintable()} - set("\n\r\t\xa0")
        assert not steering, where


# --- what is read back ---


@pytest.mark.parametrize("name", ["result.json", "manifest.json", "runs.csv", "time_use.csv", "bottleneck.csv"])
@pytest.mark.parametrize("what", ["pipe", "device", "folder", "loop"])
def test_nothing_of_a_result_but_ordinary_files_is_read(tmp_path, name, what):
    folder = tmp_path / "result"
    folder.mkdir()
    for one in ("result.json", "manifest.json"):
        (folder / one).write_text("{}")
    path = folder / name
    path.unlink(missing_ok=True)
    if what == "pipe":
        os.mkfifo(path)
    elif what == "folder":
        path.mkdir()
    else:
        path.symlink_to("/dev/zero" if what == "device" else path)
    said = []
    thread = threading.Thread(target=lambda: said.append(refusal(lambda: read_result(folder))), daemon=True)
    thread.start()
    thread.join(60.0)
    assert said, f"reading hangs on a {what}"
