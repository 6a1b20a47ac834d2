"""Reading result folders back: a whole one comes back as it was, a broken or hostile one gives clear problems."""

import json
import sys
from pathlib import Path

import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "fuzz"))

from bounds import bounded
from command_line import call
from hypothesis import given
from hypothesis import strategies as st
from stored_support import HOSTILE, sample_document, sample_manifest, sample_record, sample_result, write_folder

from simulator.errors import InputError
from simulator.report.stored import read_result
from simulator.report.stored_schema import LONGEST_DAY_S
from simulator.report.writing import file_stem, plain, plain_cell, safe_cell


@pytest.fixture
def folder(tmp_path):
    return write_folder(tmp_path / "result")


def change(folder, edit):
    """Edit a folder's document."""
    document = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    edit(document)
    (folder / "result.json").write_text(json.dumps(document), encoding="utf-8")


def problems_of(folder):
    """Return the problems that reading a folder gives."""
    with pytest.raises(InputError) as caught:
        read_result(folder)
    return [str(problem) for problem in caught.value.problems]


def test_a_whole_folder_comes_back(folder):
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
def test_any_name_comes_back(tmp_path, name):
    stored = read_result(write_folder(tmp_path / "r", {"two_packs": name}))
    assert set(stored.runs["equipment_set"]) == {name, "three_packs", "four_packs"}
    assert name in stored.day_records
    first = (tmp_path / "r" / "runs.csv").read_text(encoding="utf-8").split("\n")[1]
    assert not first.lstrip('"').startswith(("=", "+", "-", "@"))


@given(st.text(alphabet="'=+-@\tab1", max_size=8))
def test_safe_cells_are_safe_and_exact(text):
    cell = safe_cell(text)
    assert isinstance(cell, str)
    assert not cell.startswith(("=", "+", "-", "@", "\t"))
    assert plain_cell(cell) == text


def test_cells_that_are_no_text_stay():
    assert safe_cell(-1.5) == -1.5
    assert safe_cell(None) is None


@given(st.text(max_size=80))
def test_file_stems_stay_in_their_folder(name):
    stem = file_stem(name)
    assert "/" not in stem
    assert "." not in stem
    assert "\x00" not in stem
    assert 0 < len(stem) <= 67 or not name


def test_file_stems_differ_where_names_do():
    assert file_stem("two packs") != file_stem("two_packs") == "two_packs"
    assert file_stem("a/b") != file_stem("a\\b")


def test_no_folder_and_no_result_folder(tmp_path, folder):
    assert "is no folder" in problems_of(tmp_path / "missing")[0]
    assert "is no folder" in problems_of(folder / "runs.csv")[0]
    (tmp_path / "empty").mkdir()
    assert "holds no result.json" in problems_of(tmp_path / "empty")[0]


@pytest.mark.parametrize("name", ["manifest.json", "runs.csv", "time_use.csv", "bottleneck.csv"])
def test_a_missing_file_is_named(folder, name):
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
        (b"\0", "broken JSON"),
    ],
)
def test_broken_json_is_refused(folder, content, message):
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
def test_wrong_content_is_named_by_its_place(folder, edit, where):
    change(folder, edit)
    found = problems_of(folder)
    assert any(where in problem and "got" in problem and "allowed is" in problem for problem in found), found


def test_all_problems_come_at_once(folder):
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
def test_broken_tables_are_refused(folder, content, message):
    (folder / "runs.csv").write_text(content, encoding="utf-8")
    found = problems_of(folder)
    assert len(found) == 1
    assert message in found[0]


def test_a_table_that_is_no_text_is_refused(folder):
    (folder / "runs.csv").write_bytes(b"equipment_set,run,acres,hectares,full_day_acres\n\xff\xfe,0,1,1\n")
    assert "UTF-8" in problems_of(folder)[0]


def test_a_broken_day_record_is_refused_and_a_missing_one_is_not(folder):
    (folder / "day_two_packs.json").unlink()
    assert "two_packs" not in read_result(folder).day_records
    (folder / "day_three_packs.json").write_text("{", encoding="utf-8")
    assert "day_three_packs.json" in problems_of(folder)[0]


def test_plain_text_keeps_words_and_drops_marks():
    assert plain("a\x1b[31mb\u202ec\r\n d") == "a[31mbc d"
    assert plain("abcdef", 4) == "abc…"
    assert plain("Größe 水") == "Größe 水"


# --- a stranger's folder: refused with its place, soon; nothing of it can hang or grow ---


def refusal(folder, file, edit):
    path = folder / file
    content = json.loads(path.read_text(encoding="utf-8"))
    edit(content)
    path.write_text(json.dumps(content), encoding="utf-8")
    with bounded(20.0, 1000), pytest.raises(InputError) as caught:
        read_result(folder)
    return str(caught.value)


def put(*place, value):
    def edit(content):
        for key in place[:-1]:
            content = content[key]
        content[place[-1]] = value

    return edit


@pytest.mark.parametrize(
    ("place", "value", "says"),
    [
        # this one drew stripes without end
        (("aircraft", 0, "states", 3, 0), -1e300, "aircraft.0.states.3.0"),
        (("aircraft", 0, "states", 3, 1), LONGEST_DAY_S, "after the day"),
        (("aircraft", 0, "states", 3, 2), "juggle", "aircraft.0.states.3.2"),
        (("end_s",), 1e-300, "end_s"),
        (("sorties", 0, "aircraft"), 99, "not in the record"),
        (("sorties", 0, "field"), -1, "sorties.0.field"),
        (("sorties", 0, "visit"), [], "sorties.0.visit"),
        (("sorties", 0, "cover"), {"swath_m": 7.0, "x_m": [0.0], "y_m": [0.0]}, "sorties.0.cover"),
        (("rigs", 0, "roads_m"), [-1.0], "rigs.0.roads_m.0"),
        (("chargers", 0, "power"), 7, "not in the record"),
        (("rigs", 0, "moves", 0, 4), 4000, "not in the record"),
        (("bottleneck", 0, 2), 99, "bottleneck.0.2"),
        (("packs", 0, "capacity_wh"), 0.0, "packs.0.capacity_wh"),
        (("packs", 0, "charge"), [], "packs.0.charge"),
        (("power", 0, "load_kw", 0), [1, 2], "power.0.load_kw.0"),
        (("sorties", 0, "line", "t_s"), [1.0], "different lengths"),
        (("version",), 2, "version"),
        (("run",), 2**70, "run"),
    ],
)
def test_a_day_that_cannot_be(folder, place, value, says):
    said = refusal(folder, "day_two_packs.json", put(*place, value=value))
    assert "day_two_packs.json" in said
    assert says in said
    assert "got" in said


@pytest.mark.parametrize(
    ("place", "value", "says"),
    [
        (("resolved", "two_packs"), 5, "resolved.two_packs"),
        (("resolved", "two_packs", "title"), ["x"], "title"),
        (("resolved", "two_packs", "x"), json.loads("[" * 40 + "]" * 40), "deep"),
        (("resolved", "two_packs", "x"), 10**30, "64 bits"),
        (("packages",), [], "packages"),
        (("seed",), -1, "seed"),
        (("runs",), {"two_packs": "many"}, "runs.two_packs"),
        (("created",), {}, "created"),
    ],
)
def test_a_manifest_that_cannot_be(folder, place, value, says):
    assert says in refusal(folder, "manifest.json", put(*place, value=value))


def test_a_day_record_larger_than_any_is_not_read(folder):
    (folder / "day_two_packs.json").write_bytes(b" " * 20_000_001)
    with pytest.raises(InputError, match=r"day_two_packs\.json: is larger than 20 MB"):
        read_result(folder)


def test_of_a_key_that_stands_twice_the_one_that_is_used_is_checked(folder):
    text = json.dumps(sample_record())
    (folder / "day_two_packs.json").write_text(text[:-1] + ', "end_s": "never"}', encoding="utf-8")
    with pytest.raises(InputError, match="end_s"):
        read_result(folder)


@pytest.mark.parametrize(
    "command", [("report",), ("quote", "--customer", "A"), ("figure", "acres"), ("figure", "timeline")]
)
def test_the_commands_say_so(folder, command, capsys):
    refusal(folder, "day_two_packs.json", put("aircraft", 0, "states", 3, 0, value=-1e300))
    assert call(command[0], str(folder), *command[1:]) == 2
    assert "day_two_packs.json: aircraft.0.states.3.0" in capsys.readouterr().err


def test_a_timeline_is_drawn_from_the_stored_day_alone(folder):
    content = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    content["resolved"] = {}
    (folder / "manifest.json").write_text(json.dumps(content), encoding="utf-8")
    assert call("figure", str(folder), "timeline", "--format", "svg") == 0
    assert "two_packs: a median day" in (folder / "timeline.svg").read_text(encoding="utf-8")
