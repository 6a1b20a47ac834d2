"""``acreday new`` and its questions: every path writes a scenario that says what was answered, and sets that differ."""

import io
import itertools
import tomllib
from dataclasses import replace

import pytest
from command_line import call

from simulator.scenario.catalogue import catalogue
from simulator.scenario.loading import load_scenario
from simulator.scenario.starter import Answers, Equipment, FieldGroup, answers_table, starter_text, usual
from simulator.scenario.units import LENGTH, LIQUID_RATE, M2_PER_ACRE, parse


def asked(folder, monkeypatch, lines):
    monkeypatch.chdir(folder)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(lines) + "\n"))
    assert call("new", "mine.toml", "--ask") == 0
    return load_scenario(folder / "mine.toml")


def test_the_owners_first_question_is_answered_by_two_sets_that_differ(tmp_path, monkeypatch):
    """Two packs said, so two packs and three are compared; all else as proposed."""
    loaded = asked(tmp_path, monkeypatch, ["", "", "", "", "", "2", *[""] * 20])
    assert [entry.scenario.rig["main"].packs for entry in loaded.sets] == [{"pack_1800_wh": 2}, {"pack_1800_wh": 3}]
    assert [entry.name for entry in loaded.sets] == ["2_packs", "3_packs"]


@pytest.mark.parametrize("packs", range(1, 9))
def test_any_number_of_packs(packs):
    loaded = load_scenario(tomllib.loads(starter_text("x", Answers(sets=(Equipment(packs=packs),)))))
    assert [entry.scenario.rig["main"].packs["pack_1800_wh"] for entry in loaded.sets] == [packs, packs + 1]
    assert [entry.name for entry in loaded.sets] == [f"{packs}_packs", f"{packs + 1}_packs"]


SMALL = usual("tank_20_l")
SETS = (
    (Equipment(),),
    (replace(SMALL, aircraft=2, packs=6, chargers=2, charger_percent=80.0, source="generator_7_kw", helpers=2),),
    (SMALL, Equipment()),
    (Equipment(charger_percent=75.5), Equipment(source="mains_3_phase_11_kw"), replace(SMALL, aircraft=3, packs=9)),
    (usual("tank_16_l"), replace(usual("tank_16_l"), pack_class="pack_1300_wh", set_up="hand_carried")),
)
GROUPS = ((FieldGroup(),), (FieldGroup(2, "16 ha", "20 L/ha", "3 km"), FieldGroup(5, "3/4 acre", "5 GPA", "1 1/2 mi")))
PRICED = (("aircraft", "tank_20_l", 9000.0), ("pack", "pack_1800_wh", 2000.0), ("charger", "charger_8_kw", 900.0))
PRICES = ((None, ()), (15.0, ()), (12.5, PRICED))


@pytest.mark.parametrize(
    ("units", "sets", "fields", "prices"), list(itertools.product(("us", "metric"), SETS, GROUPS, PRICES))
)
def test_every_answer_is_in_the_scenario(units, sets, fields, prices):
    text = starter_text("mine", Answers(units, sets, fields, "4 mi", *prices))
    assert text.count("#") > 5
    loaded = load_scenario(tomllib.loads(text))
    assert loaded.base.units == units
    assert loaded.base.yard.drive_distance == pytest.approx(parse("4 mi", LENGTH))
    resolved = [repr(sorted(entry.resolved.items())) for entry in loaded.sets]
    assert len(set(resolved)) == len(resolved) == max(2, len(sets))
    for one, entry in zip(sets, loaded.sets, strict=False):
        rig = entry.scenario.rig["main"]
        assert (rig.aircraft, rig.packs) == ({one.aircraft_class: one.aircraft}, {one.pack_class: one.packs})
        assert rig.power["main"].chargers == {one.charger_class: one.chargers}
        assert rig.crew.helpers == one.helpers
        assert entry.scenario.charger[one.charger_class].setting == pytest.approx(one.charger_percent / 100)
        assert one.source in (rig.power["main"].generator, rig.power["main"].like)
        assert entry.resolved["rig"]["main"]["trailer"].items() >= catalogue()["rig"][one.set_up]["trailer"].items()
        assert (
            entry.resolved["aircraft"][one.aircraft_class]["tank"]
            == (catalogue()["aircraft"][one.aircraft_class]["tank"])
        )
        assert len(entry.fields.sites) == sum(group.count for group in fields)
        rates = [site.rate or entry.scenario.product.rate for site in entry.fields.sites]
        said = [parse(group.rate, LIQUID_RATE) for group in fields for _ in range(group.count)]
        assert rates == pytest.approx(said)
        costs = entry.scenario.costs
        if prices[0] is None:
            assert costs is None
        else:
            assert costs is not None
            assert costs.price_per_acre == prices[0]
            used = {*entry.scenario.aircraft, *entry.scenario.pack, *entry.scenario.charger}
            priced = {*costs.aircraft.values(), *costs.pack.values(), *costs.charger.values()}
            assert {item.purchase for item in priced} == {price for _, name, price in prices[1] if name in used}


def test_all_questions(tmp_path, monkeypatch, capsys):
    """Wrong answers are asked again, and the same set is not taken twice."""
    lines = ["metric", "2"]
    lines += ["tank_20", "tank_20_l", "2", "pack_1000_wh", "5", "charger_6_kw_2_slots", "1"]
    lines += ["150 %", "80 percent", "generator_7_kw", "pickup", "2"]
    lines += ["tank_20_l", "2", "", "5", "", "1", "", "", "", ""]  # the same once more
    lines += ["tank_40_l", "1", "", "4", "2", "", "mains_3_phase_22_kw", "trailer", "1"]
    lines += ["2", "3", "forty", "16 ha", "20 L/ha", "3 km", "4", "8 ha", "40 L/ha", "2 km"]
    lines += ["10 km", "30", "9000", "20000", "1200", "2000", "0", "900"]
    loaded = asked(tmp_path, monkeypatch, lines)
    said = capsys.readouterr().out
    assert "got the same equipment as an earlier set" in said
    assert "got 'forty'" in said
    assert "got '150 %'" in said
    assert "Error: 'tank_20' is not one of" in said
    assert "What this implies" in said
    first, second = loaded.sets
    assert (first.scenario.rig["main"].packs, second.scenario.rig["main"].packs) == (
        {"pack_1000_wh": 5},
        {"pack_1800_wh": 4},
    )
    costs = first.scenario.costs
    assert costs is not None
    assert costs.price_per_acre == pytest.approx(30 * M2_PER_ACRE / 10_000)
    assert (set(costs.aircraft), set(costs.charger)) == ({"tank_20_l", "tank_40_l"}, {"charger_8_kw"})
    assert "run" in said


def test_the_same_equipment_twice_is_refused():
    with pytest.raises(ValueError, match="same equipment twice"):
        answers_table(tomllib.loads(starter_text("x")), Answers(sets=(Equipment(), Equipment())))
