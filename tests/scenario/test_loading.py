"""Loading: overrides, likes, references, and every problem at once."""

import copy
import tomllib

import pytest

from simulator.errors import InputError
from simulator.scenario.loading import load_scenario, vary
from simulator.scenario.merge import deep_merge
from simulator.scenario.starter import starter_text
from simulator.scenario.validate import json_schema


@pytest.fixture
def raw():
    return tomllib.loads(starter_text("test"))


def problems(raw, *settings):
    with pytest.raises(InputError) as caught:
        load_scenario(raw, settings)
    return [str(problem) for problem in caught.value.problems]


def test_starter_loads_with_both_sets(raw):
    loaded = load_scenario(raw)
    assert [entry.name for entry in loaded.sets] == ["three_packs", "four_packs"]
    assert loaded.sets[0].scenario.rig["main"].packs == {"large_pack": 3}
    assert loaded.sets[1].scenario.rig["main"].packs == {"large_pack": 4}
    assert loaded.sets[0].scenario.aircraft["large"].tank == 40.0


def test_settings_win_over_equipment_sets(raw):
    loaded = load_scenario(raw, ["rig.main.packs.large_pack=7", "day.last_landing=16:00", "field.0.area=30 acre"])
    assert {entry.scenario.rig["main"].packs["large_pack"] for entry in loaded.sets} == {7}
    assert loaded.base.day.last_landing == 16 * 3600
    assert loaded.base.field[0].area == pytest.approx(30 * 4046.8564224)


def test_a_distribution_replaces_what_stood_there():
    base = {"a": {"dist": "normal", "mean": "5 s", "sd": "1 s"}, "b": {"c": 1, "d": 2}}
    merged = deep_merge(base, {"a": {"dist": "constant", "value": "3 s"}, "b": {"d": 3}})
    assert merged == {"a": {"dist": "constant", "value": "3 s"}, "b": {"c": 1, "d": 3}}
    assert base["b"] == {"c": 1, "d": 2}


def test_all_problems_at_once_with_nearest_names(raw):
    raw["dayz"] = 3
    raw["product"]["rate"] = "2 gal"
    raw["field"][0]["area"] = 40
    raw["aircraft"]["large"]["swath"] = "-3 ft"
    raw["rig"]["main"]["crew"]["helper"] = 2
    found = "\n".join(problems(raw))
    assert "dayz: unknown key 'dayz'; nearest known is 'day'" in found
    assert "product.rate: got '2 gal', which is not a liquid application rate" in found
    assert "field.0.area: got the bare number 40" in found
    assert "aircraft.large.swath: got '-3 ft'; allowed is a length more than 0" in found
    assert "rig.main.crew.helper: unknown key 'helper'; nearest known is 'helpers'" in found


def test_a_problem_in_an_override_is_named_where_it_stands(raw):
    raw["equipment_set"]["four_packs"]["rig"]["main"]["pack"] = 3
    assert problems(raw) == ["equipment_set.four_packs.rig.main.pack: unknown key 'pack'; nearest known is 'packs'"]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"pack": {"large_pack": {"fits": ["larg"]}}}, "no declared aircraft class; nearest known is 'large'"),
        ({"charger": {"fast": {"serves": ["other"]}}}, "no declared pack type"),
        (
            {"generator": {"twelve": {"fuel_use": [{"load": "6 kW", "use": "3 L/h"}]}}},
            "got one fuel_use point, which gives no line; allowed is two or more at different loads, or none",
        ),
        ({"rig": {"main": {"packs": {"large_pak": 2}}}}, "no declared pack type; nearest known is 'large_pack'"),
        (
            {"rig": {"main": {"power": {"trailer": {"chargers": {"fast": 0}}}}}},
            "no charger of the rig serves this pack",
        ),
        ({"rig": {"main": {"aircraft": {"large": 0}}}}, "no aircraft; allowed is at least one"),
        ({"rig": {"main": {"power": {"trailer": {"grid_power": "3 kW"}}}}}, "not both and not neither"),
        ({"rig": {"main": {"crew": {"tasks": {"swap": {"time": "60 s", "people": 9}}}}}}, "needs 9"),
        ({"rig": {"main": {"supply": {"mix_tank": "10 L"}}}}, "less than one load of 40 L"),
        ({"rig": {"main": {"supply": {"batch": "300 gal"}}}}, "more than the mix tank"),
        ({"product": {"kind": "granules"}}, "needs dry_rate"),
        ({"field": []}, "the field list is empty"),
        ({"day": {"last_landing": "06:00"}}, "last_landing is not after start"),
        ({"day": {"window": "8 h"}}, "both last_landing and window"),
        ({"rigs_used": ["man"]}, "no declared rig; nearest known is 'main'"),
        ({"aircraft": {"large": {"like": "tank_40l"}}}, "nearest known is 'tank_40_l'"),
        ({"aircraft": {"large": {"swap": "at every landing"}}}, "nearest known is 'every landing'"),
        ({"pack": {"large_pack": {"reserve": "100 %"}}}, "nothing is left to fly on"),
        ({"rig": {"main": {"charge_to": "15 %"}}}, "not above the reserve"),
        ({"name": "two words"}, "allowed is a short name"),
        ({"seed": -1}, "greater than or equal to 0"),
        ({"runs": "many"}, "whole number"),
        ({"equipment_set": {"three_packs": {"equipment_set": {}}}}, "cannot hold others"),
        (
            {"rig": {"main": {"crew": {"tasks": {"fill": {"time": {"dist": "lognorml", "mean": "3 s", "cv": 1}}}}}}},
            "nearest known is 'lognormal'",
        ),
        (
            {"rig": {"main": {"crew": {"tasks": {"fill": {"time": {"dist": "lognormal", "mean": "3 s"}}}}}}},
            "missing cv",
        ),
        (
            {
                "rig": {
                    "main": {"crew": {"tasks": {"fill": {"time": {"dist": "uniform", "low": "9 s", "high": "3 s"}}}}}
                }
            },
            "dist = 'uniform'",
        ),
        ({"rig": {"main": {"supply": {"pump_flow": "0 gal/min"}}}}, "more than 0"),
    ],
)
def test_bad_input(raw, change, says):
    found = "\n".join(problems(deep_merge(raw, change)))
    assert says in found


def test_a_rig_like_another(raw):
    raw["rig"]["second"] = {"like": "main", "crew": {"helpers": 3}}
    loaded = load_scenario(raw)
    assert loaded.base.rig["second"].crew.helpers == 3
    assert loaded.base.rig["second"].aircraft == {"large": 1}


def test_missing_file_names_its_neighbour(tmp_path):
    (tmp_path / "mine.toml").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match=r"no such file; nearest known is 'mine\.toml'"):
        load_scenario(tmp_path / "mini.toml")


def test_resolved_scenario_reproduces_the_set(raw):
    loaded = load_scenario(raw)
    again = load_scenario(loaded.sets[1].resolved)
    assert again.sets[0].scenario.model_dump(exclude={"equipment_set"}) == loaded.sets[1].scenario.model_dump(
        exclude={"equipment_set"}
    )
    assert again.sets[0].resolved == loaded.sets[1].resolved


def test_digest_depends_on_content_only(raw):
    digest = load_scenario(raw).digest()
    assert load_scenario(copy.deepcopy(raw)).digest() == digest
    assert load_scenario(raw, ["seed=99", "runs=5"]).digest() == digest
    assert load_scenario(raw, ["rig.main.crew.helpers=2"]).digest() != digest


def test_vary_changes_one_value(raw):
    loaded = load_scenario(raw)
    changed = vary(loaded.sets[0], ["rig.main.packs.large_pack=5"], loaded.folder)
    assert changed.scenario.rig["main"].packs == {"large_pack": 5}
    assert loaded.sets[0].scenario.rig["main"].packs == {"large_pack": 3}
    with pytest.raises(InputError):
        vary(loaded.sets[0], ["rig.main.packs.none=5"], loaded.folder)


def test_every_default_says_its_source_or_assumption():
    """Every key that may be left out documents where its default comes from."""
    missing = []
    schema = json_schema()
    for name, table in {"scenario": schema, **schema["$defs"]}.items():
        for key, entry in table.get("properties", {}).items():
            text = entry.get("description", "").lower()
            if "default" in entry and "assumption" not in text and "source" not in text:
                missing.append(f"{name}.{key}")
    assert not missing
