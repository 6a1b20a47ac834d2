"""``acreday classes``: the catalogue listed, as data, and one class as TOML that loads as it is."""

import json
import tomllib
from functools import reduce

import pytest
from click.testing import CliRunner
from command_line import call

from simulator.command.classes import command
from simulator.scenario.catalogue import catalogue

PLACES = {"power": ("rig", "main", "power", "mains"), "rig": ("rig", "main")}


def said(*arguments):
    done = CliRunner(env={"COLUMNS": "100"}).invoke(command, list(arguments))
    assert done.exit_code == 0
    return done.output


@pytest.mark.parametrize(("units", "tank", "other"), [("us", "10.6 gal", "kg"), ("metric", "40 L", "gal")])
def test_every_class_is_listed_once_in_the_units_asked_for(units, tank, other):
    lines = said("--units", units).splitlines()
    for entries in catalogue().values():
        for name in entries:
            assert sum(line.split()[:1] == [name] for line in lines) == 1
    large = next(line for line in lines if line.startswith("tank_40_l"))
    assert tank in large
    assert other not in large
    assert "invented" in lines[-1]


@pytest.mark.parametrize(("table", "name"), [(table, name) for table, kind in catalogue().items() for name in kind])
def test_a_class_is_shown_whole(table, name):
    text = said(name)
    assert "an invented class" in text.splitlines()[0]
    whole = reduce(lambda part, step: part[step], PLACES.get(table, (table, name)), tomllib.loads(text))
    assert whole == catalogue()[table][name]


def test_as_json():
    assert json.loads(said("--json", "-")) == {"invented": True, "classes": catalogue()}
    assert json.loads(said("pickup", "--json", "-"))["classes"] == {"rig": {"pickup": catalogue()["rig"]["pickup"]}}


def test_an_unknown_class_is_named_with_the_nearest(capsys):
    assert call("classes", "tank_71_l") == 2
    assert "got 'tank_71_l', which is no class; nearest known is 'tank_70_l'" in capsys.readouterr().err
