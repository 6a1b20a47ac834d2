"""``acreday explain``: options, files, and what a user may get wrong."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from simulator.command.explain import command
from simulator.errors import InputError

FOLDER = Path(__file__).parents[2] / "scenarios"
SCENARIO = str(FOLDER / "third_pack.toml")


def run(*arguments, columns="100"):
    return CliRunner().invoke(command, [str(part) for part in arguments], env={"COLUMNS": columns})


def test_it_prints_what_to_check_and_all_when_asked():
    done = run(SCENARIO)
    assert done.exit_code == 0, done.output
    assert "equipment set two_packs" in done.output
    assert "four_packs" in done.output
    assert "minutes a charge takes" in done.output
    assert "catalogue: tank_40_l" not in done.output
    whole = run(SCENARIO, "--all").output
    assert whole.startswith(done.output.partition("Every value")[0])
    assert "catalogue: tank_40_l" in whole
    assert "momentum limit" in whole


def test_set_field_and_setting_are_taken():
    done = run(
        SCENARIO, "--equipment", "four_packs", "--field", "mill piece", "--set", "charger.fast.slots=2", "--json", "-"
    )
    document = json.loads(done.output)
    assert document["equipment_set"] == "four_packs"
    assert document["field"] == "mill piece"
    values = {leaf["key"]: leaf for leaf in document["values"]}
    assert values["charger.fast.slots"]["origin"] == "command line (--set)"
    assert values["charger.fast.slots"]["value"] == "2"
    assert values["rig.main.packs.large_pack"]["value"] == "4"


def test_fields_of_a_file_are_taken():
    done = run(SCENARIO, "--fields", FOLDER / "fields_willow_basin.geojson", "--json", "-")
    document = json.loads(done.output)
    values = {leaf["key"]: leaf for leaf in document["values"]}
    assert values["field_file.path"]["origin"] == "command line (--fields)"
    assert any(section["title"].startswith("Over all") for section in document["sections"])


def test_files_are_written(tmp_path):
    page, document = tmp_path / "sub" / "page.md", tmp_path / "page.json"
    done = run(SCENARIO, "--markdown", page, "--json", document, "--quiet")
    assert done.exit_code == 0
    assert done.output == ""
    assert page.read_text("utf-8").startswith("# Evidence: third\\_pack")
    assert json.loads(document.read_text("utf-8"))["scenario"] == "third_pack"
    assert sorted(item.name for item in tmp_path.rglob("*")) == ["page.json", "page.md", "sub"]


def test_markdown_on_standard_output_stands_alone():
    done = run(SCENARIO, "--markdown", "-")
    assert done.output.startswith("# Evidence")
    assert "VALUES" not in done.output


@pytest.mark.parametrize("columns", ["60", "140"])
def test_the_width_of_the_terminal_is_kept(columns):
    rows = run(SCENARIO, "--all", columns=columns).output.splitlines()
    assert max(len(row) for row in rows if max(map(len, row.split()), default=0) < 45) <= int(columns)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--equipment", "five_packs"), "no equipment set"),
        (("--field", "nowhere"), "no field"),
        (("--set", "aircraft.large.swat=3"), "swath"),
        (("--fields", "missing.geojson"), "missing.geojson"),
        (("--json", FOLDER, "--quiet"), "scenarios"),
        (("--set", 'aircraft.large.rotor_diameter="0.3 m"'), "the tank too heavy for these rotors"),
    ],
)
def test_bad_input_is_refused(arguments, said):
    done = run(SCENARIO, *arguments)
    assert isinstance(done.exception, InputError)
    assert said in str(done.exception)


def test_names_cannot_steer_the_terminal_or_break_the_table(tmp_path):
    text = Path(SCENARIO).read_text("utf-8")
    path = tmp_path / "third_pack.toml"
    path.write_text(text.replace('"east bench"', '"east\\u001b[31m | `b` <i>\\u202e"'), encoding="utf-8")
    done = run(path, "--all")
    assert done.exit_code == 0
    assert "\x1b" not in done.output
    assert "\u202e" not in done.output
    markdown = run(path, "--markdown", "-").output
    assert "\x1b" not in markdown
    assert "<i>" not in markdown
    rows = [row for row in markdown.splitlines() if row.startswith("| `field.0.name`")]
    assert len(rows) == 1
    assert rows[0].replace("\\|", "").count("|") == 6
