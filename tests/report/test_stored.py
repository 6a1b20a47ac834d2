"""Reading result folders back: a whole one comes back as it was, a broken or hostile one gives clear problems."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from stored_support import HOSTILE, sample_document, sample_manifest, sample_record, sample_result, write_folder

from simulator.errors import InputError
from simulator.report.stored import read_result
from simulator.report.writing import file_stem, plain, plain_cell, safe_cell, write_atomically


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_folder(tmp_path / "result")


def change(folder: Path, edit: Callable[[dict[str, Any]], object]) -> None:
    """Edit a folder's document."""
    document = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    edit(document)
    (folder / "result.json").write_text(json.dumps(document), encoding="utf-8")


def problems_of(folder: Path) -> list[str]:
    """Return the problems that reading a folder gives."""
    with pytest.raises(InputError) as caught:
        read_result(folder)
    return [str(problem) for problem in caught.value.problems]


def test_a_whole_folder_comes_back(folder: Path) -> None:
    stored = read_result(folder)
    result = sample_result()
    assert stored.document == json.loads(json.dumps(sample_document()))
    assert stored.manifest == json.loads(json.dumps(sample_manifest()))
    pd.testing.assert_frame_equal(
        stored.runs, result.runs[list(stored.runs)], check_dtype=False, check_categorical=False
    )
    pd.testing.assert_frame_equal(stored.time_use, result.time_use, check_dtype=False)
    pd.testing.assert_frame_equal(stored.bottleneck, result.bottleneck, check_dtype=False)
    assert stored.day_records == {entry.name: sample_record() for entry in result.sets}
    assert stored.equipment_set("two_packs")["runs"] == 12
    with pytest.raises(InputError, match="allowed is one of: two_packs, three_packs"):
        stored.equipment_set("five_packs")


@pytest.mark.parametrize(
    "name", ["=SUM(A1)", "'=quoted", "-5", "@x", "+1", "NA", "nan", "1.0", "true", 'ä, "b"', HOSTILE.strip()]
)
def test_any_name_comes_back(tmp_path: Path, name: str) -> None:
    stored = read_result(write_folder(tmp_path / "r", {"two_packs": name}))
    assert set(stored.runs["equipment_set"]) == {name, "three_packs", "four_packs"}
    assert name in stored.day_records
    first = (tmp_path / "r" / "runs.csv").read_text(encoding="utf-8").split("\n")[1]
    assert not first.lstrip('"').startswith(("=", "+", "-", "@"))


@given(st.text(alphabet="'=+-@\tab1", max_size=8))
def test_safe_cells_are_safe_and_exact(text: str) -> None:
    cell = safe_cell(text)
    assert isinstance(cell, str)
    assert not cell.startswith(("=", "+", "-", "@", "\t"))
    assert plain_cell(cell) == text


def test_cells_that_are_no_text_stay() -> None:
    assert safe_cell(-1.5) == -1.5
    assert safe_cell(None) is None


@given(st.text(max_size=80))
def test_file_stems_stay_in_their_folder(name: str) -> None:
    stem = file_stem(name)
    assert "/" not in stem
    assert "." not in stem
    assert "\x00" not in stem
    assert 0 < len(stem) <= 67 or not name


def test_file_stems_differ_where_names_do() -> None:
    assert file_stem("two packs") != file_stem("two_packs") == "two_packs"
    assert file_stem("a/b") != file_stem("a\\b")


def test_no_folder_and_no_result_folder(tmp_path: Path, folder: Path) -> None:
    assert "is no folder" in problems_of(tmp_path / "missing")[0]
    assert "is no folder" in problems_of(folder / "runs.csv")[0]
    (tmp_path / "empty").mkdir()
    assert "holds no result.json" in problems_of(tmp_path / "empty")[0]


@pytest.mark.parametrize("name", ["manifest.json", "runs.csv", "time_use.csv", "bottleneck.csv"])
def test_a_missing_file_is_named(folder: Path, name: str) -> None:
    (folder / name).unlink()
    assert problems_of(folder) == [f"{name}: is missing"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "broken JSON"),
        (b"{", "broken JSON (line 1"),
        (b"[1, 2]", "holds no table at its top"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b'{"a": NaN}', "not finite"),
        (b'{"a": -Infinity}', "not finite"),
        (b'{"a": 1e999}', "not finite"),
        (b"[" * 200_000, "nested too deeply"),
        (b'{"a": ' + b"9" * 10_000 + b"}", "digits"),
    ],
)
def test_broken_json_is_refused(folder: Path, content: bytes, message: str) -> None:
    (folder / "result.json").write_bytes(content)
    found = problems_of(folder)
    assert len(found) == 1
    assert message in found[0]
    assert found[0].startswith("result.json: ")


@pytest.mark.parametrize(
    ("edit", "where"),
    [
        (lambda d: d.pop("scenario"), "scenario"),
        (lambda d: d.update(scenario=["x"]), "scenario"),
        (lambda d: d.update(seed=1.5), "seed"),
        (lambda d: d.update(seed=True), "seed"),
        (lambda d: d.update(units="furlongs"), "units"),
        (lambda d: d.update(day_start="25:00"), "day_start"),
        (lambda d: d.update(title=3), "title"),
        (lambda d: d.update(skipped="x"), "skipped"),
        (lambda d: d.update(equipment_sets=[]), "equipment_sets"),
        (lambda d: d.update(equipment_sets={"a": 1}), "equipment_sets"),
        (lambda d: d["equipment_sets"][0].pop("name"), "equipment_sets.0.name"),
        (lambda d: d["equipment_sets"][0].update(name="x" * 500), "equipment_sets.0.name"),
        (lambda d: d["equipment_sets"][0].update(name="three_packs"), "equipment_sets"),
        (lambda d: d["equipment_sets"][0].update(runs=0), "equipment_sets.0.runs"),
        (lambda d: d["equipment_sets"][0].pop("runs"), "equipment_sets.0.runs"),
        (lambda d: d["equipment_sets"][0]["job"].update(done_by_work_day=[0.2, 1.7]), "job.done_by_work_day.1"),
        (lambda d: d["equipment_sets"][1]["acres_per_day"].update(mean="many"), "equipment_sets.1.acres_per_day.mean"),
        (lambda d: d["equipment_sets"][1]["acres_per_day"].update(ci95=[1]), "equipment_sets.1.acres_per_day.ci95"),
        (lambda d: d["equipment_sets"][1]["hectares_per_day"].update(p10_ci95=["a", 1]), "p10_ci95.0"),
        (lambda d: d["equipment_sets"][1].update(hectares_per_day=None), "equipment_sets.1.hectares_per_day"),
        (lambda d: d["equipment_sets"][0].update(time_share=[1]), "equipment_sets.0.time_share"),
        (lambda d: d["equipment_sets"][0]["time_share"].update(spray="half"), "time_share.spray"),
        (lambda d: d["equipment_sets"][0].update(acres_per_field_hour=5), "acres_per_field_hour"),
        (lambda d: d["equipment_sets"][0]["bottleneck"].update(sentence=7), "bottleneck.sentence"),
        (lambda d: d["equipment_sets"][0]["bottleneck"].update(one_more=[1]), "bottleneck.one_more"),
        (lambda d: d["equipment_sets"][0]["bottleneck"]["one_more"][0].pop("ci95"), "one_more.0.ci95"),
        (lambda d: d.update(paired=5), "paired"),
        (lambda d: d["paired"][0].update(difference=None), "paired.0.difference"),
        (lambda d: d["paired"][0].update(b=None), "paired.0.b"),
    ],
)  # fmt: skip
def test_wrong_content_is_named_by_its_place(
    folder: Path, edit: Callable[[dict[str, Any]], object], where: str
) -> None:
    change(folder, edit)
    found = problems_of(folder)
    assert any(where in problem and "got" in problem and "allowed is" in problem for problem in found), found


def test_all_problems_come_at_once(folder: Path) -> None:
    change(folder, lambda d: d.update(seed="x", scenario=1, paired=2))
    (folder / "manifest.json").write_text("{", encoding="utf-8")
    assert len(problems_of(folder)) == 4


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "No columns"),
        ("equipment_set,acres\n", "lacks the columns run, hectares, full_day_acres"),
        ("equipment_set,run,acres,hectares,full_day_acres\ntwo_packs,0,many,1,1\n", "column acres holds text"),
        ("equipment_set,run,acres,hectares,full_day_acres\ntwo_packs,0,inf,1,1\n", "not finite"),
        (
            "equipment_set,run,acres,hectares,full_day_acres\nsix_packs,0,1,1,1\n",
            "'six_packs', which is no equipment set",
        ),
        ('equipment_set,run,acres,hectares,full_day_acres\n"two_packs,0,1,1,1\n', "runs.csv"),
    ],
)
def test_broken_tables_are_refused(folder: Path, content: str, message: str) -> None:
    (folder / "runs.csv").write_text(content, encoding="utf-8")
    found = problems_of(folder)
    assert len(found) == 1
    assert message in found[0]


def test_a_table_that_is_no_text_is_refused(folder: Path) -> None:
    (folder / "runs.csv").write_bytes(b"equipment_set,run,acres,hectares,full_day_acres\n\xff\xfe,0,1,1\n")
    assert "UTF-8" in problems_of(folder)[0]


def test_a_broken_day_record_is_refused_and_a_missing_one_is_not(folder: Path) -> None:
    (folder / "day_two_packs.json").unlink()
    assert "two_packs" not in read_result(folder).day_records
    (folder / "day_three_packs.json").write_text("{", encoding="utf-8")
    assert "day_three_packs.json" in problems_of(folder)[0]


def test_a_fifo_in_place_of_a_file_is_not_waited_for(folder: Path) -> None:
    (folder / "runs.csv").unlink()
    os.mkfifo(folder / "runs.csv")
    assert problems_of(folder) == ["runs.csv: is missing"]


def test_writing_is_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "x.txt"
    path.write_bytes(b"old")
    with pytest.raises(TypeError):
        write_atomically(path, "text")  # type: ignore[arg-type]
    assert path.read_bytes() == b"old"
    write_atomically(path, b"new")
    assert path.read_bytes() == b"new"
    assert [one.name for one in tmp_path.iterdir()] == ["x.txt"]


def test_plain_text_keeps_words_and_drops_marks() -> None:
    assert plain("a\x1b[31mb\u202ec\r\n d") == "a[31mbc d"
    assert plain("abcdef", 4) == "abc…"
    assert plain("Größe 水") == "Größe 水"
