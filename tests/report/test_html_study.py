"""The page of a study: answer first, figure and table, cautions last; a folder from anybody is checked."""

import json

import pytest
from click.testing import CliRunner
from stored_support import HOSTILE, SCENARIOS

from simulator.cli import group
from simulator.errors import InputError
from simulator.report.html_study import study_page


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A study that simulates nothing."""
    folder = tmp_path_factory.mktemp("study") / "fit"
    sources = [str(SCENARIOS / name) for name in ("third_pack.toml", "stopwatch_times.csv")]
    done = CliRunner().invoke(group, ["fit", *sources, "--quiet", "--out", str(folder)])
    assert done.exit_code == 0, done.output
    return folder


def changed(folder, tmp_path, change):
    for path in folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    document = json.loads((folder / "study.json").read_text(encoding="utf-8"))
    change(document)
    (tmp_path / "study.json").write_text(json.dumps(document), encoding="utf-8")
    return tmp_path


def test_the_command_writes_one_page_with_the_answer_before_all_else(folder):
    done = CliRunner().invoke(group, ["report", str(folder)])
    assert done.exit_code == 0, done.output
    text = (folder / "report.html").read_text(encoding="utf-8")
    said = json.loads((folder / "study.json").read_text(encoding="utf-8"))["said"]
    places = [text.index(one) for one in (said["sentences"][0], "data:image/svg+xml", "The numbers", "Cautions</h2>")]
    assert places == sorted(places)
    assert "<script" not in text
    assert all(cell in text for row in said["rows"] for cell in row)


def test_foreign_words_stay_words(folder, tmp_path):
    text = study_page(changed(folder, tmp_path, lambda document: document["said"]["sentences"].insert(0, HOSTILE)))
    assert "<script" not in text
    assert "\x1b" not in text
    assert "alert(1)" in text


def test_what_is_no_study_is_refused_with_all_problems(folder, tmp_path):
    def break_it(document):
        document["said"]["figures"] = ["../secret"]
        document["seed"] = "one"

    with pytest.raises(InputError) as caught:
        study_page(changed(folder, tmp_path, break_it))
    assert {problem.where for problem in caught.value.problems} == {"said.figures.0", "seed"}
    (tmp_path / "study.json").write_bytes((folder / "study.json").read_bytes())
    (tmp_path / "fit.svg").unlink()
    with pytest.raises(InputError, match=r"fit\.svg"):
        study_page(tmp_path)
