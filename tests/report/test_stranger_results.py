"""A stranger's result folder: what is no result is refused with its place, soon, and nothing of it can hang or grow."""

import json
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "fuzz"))

from bounds import bounded
from stored_support import sample_record, write_folder

from simulator.cli import main
from simulator.errors import InputError
from simulator.report.stored import read_result
from simulator.report.stored_schema import LONGEST_DAY_S


def refusal(folder, file, edit):
    path = folder / file
    content = json.loads(path.read_text(encoding="utf-8"))
    edit(content)
    path.write_text(json.dumps(content), encoding="utf-8")
    with bounded(20.0, 1000), pytest.raises(InputError) as caught:
        read_result(folder)
    return str(caught.value)


@pytest.fixture
def folder(tmp_path):
    return write_folder(tmp_path / "result")


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
    with pytest.raises(SystemExit) as done:
        main([command[0], str(folder), *command[1:]])
    assert done.value.code == 2
    assert "day_two_packs.json: aircraft.0.states.3.0" in capsys.readouterr().err


def test_a_timeline_is_drawn_from_the_stored_day_alone(folder):
    content = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    content["resolved"] = {}
    (folder / "manifest.json").write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(SystemExit) as done:
        main(["figure", str(folder), "timeline", "--format", "svg"])
    assert done.value.code == 0
    assert "two_packs: a median day" in (folder / "timeline.svg").read_text(encoding="utf-8")
