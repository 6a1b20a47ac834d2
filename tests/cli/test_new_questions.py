"""``acreday new`` and its questions: every path writes a scenario that says what was answered, and sets that differ."""

from __future__ import annotations

import io
import itertools
import tomllib
from pathlib import Path

import pytest

from simulator.cli import main
from simulator.scenario.loading import LoadedScenario, load_scenario
from simulator.scenario.starter import Answers, Equipment, FieldGroup, answers_table, starter_text
from simulator.scenario.units import LENGTH, LIQUID_RATE, M2_PER_ACRE, parse


def asked(folder: Path, monkeypatch: pytest.MonkeyPatch, lines: list[str]) -> LoadedScenario:
    monkeypatch.chdir(folder)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(lines) + "\n"))
    with pytest.raises(SystemExit) as done:
        main(["new", "mine.toml", "--ask"])
    assert done.value.code == 0
    return load_scenario(folder / "mine.toml")


def test_the_owners_first_question_is_answered_by_two_sets_that_differ(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two packs said, so two packs and three are compared; all else as proposed."""
    loaded = asked(tmp_path, monkeypatch, ["", "", "", "", "2", *[""] * 20])
    assert [entry.scenario.rig["main"].packs for entry in loaded.sets] == [{"large_pack": 2}, {"large_pack": 3}]
    assert [entry.name for entry in loaded.sets] == ["2_packs", "3_packs"]


@pytest.mark.parametrize("packs", range(1, 9))
def test_any_number_of_packs(packs: int) -> None:
    loaded = load_scenario(tomllib.loads(starter_text("x", Answers(sets=(Equipment(packs=packs),)))))
    assert [entry.scenario.rig["main"].packs["large_pack"] for entry in loaded.sets] == [packs, packs + 1]
    assert [entry.name for entry in loaded.sets] == [f"{packs}_packs", f"{packs + 1}_packs"]


SETS = (
    (Equipment(),),
    (Equipment(20, 2, 6, 2, 80.0, 7.2, 2),),
    (Equipment(20), Equipment(40)),
    (Equipment(40, charger_percent=75.5), Equipment(40, generator_kw=15.5), Equipment(20, aircraft=3, packs=9)),
)
GROUPS = (
    (FieldGroup(),),
    (FieldGroup(2, "16 ha", "20 L/ha", "3 km"), FieldGroup(5, "3/4 acre", "5 GPA", "1 1/2 mi")),
)
PRICES = ((None, ()), (15.0, ()), (12.5, (("aircraft", 20, 9000.0), ("pack", 40, 2000.0), ("charger", 40, 900.0))))


@pytest.mark.parametrize(
    ("units", "sets", "fields", "prices"), itertools.product(("us", "metric"), SETS, GROUPS, PRICES)
)
def test_every_answer_is_in_the_scenario(
    units: str,
    sets: tuple[Equipment, ...],
    fields: tuple[FieldGroup, ...],
    prices: tuple[float | None, tuple[tuple[str, int, float], ...]],
) -> None:
    text = starter_text("mine", Answers(units, sets, fields, "4 mi", *prices))
    assert text.count("#") > 5
    loaded = load_scenario(tomllib.loads(text))
    assert loaded.base.units == units
    assert loaded.base.yard.drive_distance == pytest.approx(parse("4 mi", LENGTH))
    resolved = [repr(sorted(entry.resolved.items())) for entry in loaded.sets]
    assert len(set(resolved)) == len(resolved) == max(2, len(sets))
    for one, entry in zip(sets, loaded.sets, strict=False):
        name, rig = {20: "small", 40: "large"}[one.tank_l], entry.scenario.rig["main"]
        assert f"{one.tank_l}_L" in entry.name or len({each.tank_l for each in sets}) == 1
        assert (rig.aircraft, rig.packs) == ({name: one.aircraft}, {f"{name}_pack": one.packs})
        assert rig.power["trailer"].chargers == {f"{name}_charger": one.chargers}
        assert rig.crew.helpers == one.helpers
        assert entry.scenario.charger[f"{name}_charger"].setting == pytest.approx(one.charger_percent / 100)
        generator = entry.scenario.generator[str(rig.power["trailer"].generator)]
        assert generator.rated_power == pytest.approx(1000 * one.generator_kw)
        assert entry.scenario.aircraft[name].tank == one.tank_l
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
            tanks = {each.tank_l for each in sets}
            priced = {*costs.aircraft.values(), *costs.pack.values(), *costs.charger.values()}
            assert {item.purchase for item in priced} == {price for _, tank, price in prices[1] if tank in tanks}


def test_all_questions(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Wrong answers are asked again, and the same set is not taken twice."""
    lines = ["metric", "2"]
    lines += ["20", "2", "5", "1", "150 %", "80 percent", "7.2", "2"]
    lines += ["20", "2", "5", "1", "", "", ""]  # the same once more
    lines += ["40", "1", "4", "2", "", "15", "1"]
    lines += ["2", "3", "forty", "16 ha", "20 L/ha", "3 km", "4", "8 ha", "40 L/ha", "2 km"]
    lines += ["10 km", "30", "9000", "1200", "0", "20000", "2000", "900"]
    loaded = asked(tmp_path, monkeypatch, lines)
    said = capsys.readouterr().out
    assert "got the same equipment as an earlier set" in said
    assert "got 'forty'" in said
    assert "got '150 %'" in said
    assert "What this implies" in said
    first, second = loaded.sets
    assert (first.scenario.rig["main"].packs, second.scenario.rig["main"].packs) == (
        {"small_pack": 5},
        {"large_pack": 4},
    )
    costs = first.scenario.costs
    assert costs is not None
    assert costs.price_per_acre == pytest.approx(30 * M2_PER_ACRE / 10_000)
    assert (set(costs.aircraft), set(costs.charger)) == ({"small", "large"}, {"large_charger"})
    assert "run" in said


def test_the_same_equipment_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="same equipment twice"):
        answers_table(tomllib.loads(starter_text("x")), Answers(sets=(Equipment(), Equipment())))
