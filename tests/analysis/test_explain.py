"""The evidence page: its figures are the simulator's, every value has its origin, and it fits on three screens."""

import json
import tomllib
from dataclasses import replace
from pathlib import Path
from statistics import fmean, median

import pytest
from hypothesis import given, reject, settings
from scenarios_strategy import scenarios
from small_day import area_m2, days_of

from simulator.analysis.explain import explain, page_json
from simulator.errors import InputError
from simulator.operation.log import State
from simulator.plan.day_plan import make_plan
from simulator.report.explain_text import SCREENS, figure_text, page_markdown, page_text
from simulator.scenario.loading import load_scenario
from simulator.scenario.provenance import provenance
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_equipment import Aircraft, Pack
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE

FOLDER = Path(__file__).parents[2] / "scenarios"
SETS = [
    (path.stem, name)
    for path in sorted(FOLDER.glob("*.toml"))
    for name in tomllib.loads(path.read_text("utf-8")).get("equipment_set", {None: {}})
]
"""Shipped scenario and equipment set; None: it declares none."""


def page_of(stem, set_name=None, changes=(), field=None):
    """Return the page and the plan, as it is before its rehearsal."""
    loaded = load_scenario(FOLDER / f"{stem}.toml", changes)
    entry = loaded.sets[0] if set_name is None else loaded.equipment_set(set_name)
    plan = make_plan(entry)
    return explain(loaded, plan, field, settings=tuple(changes)), plan


def third_pack(*changes):
    return page_of("third_pack", None, changes)


def number(page, quantity):
    """Return the first figure of that name, of what is to be checked or of what follows."""
    lines = [one for sheet in (*page.checks, *page.sections) for one in sheet.lines if one.quantity == quantity]
    return lines[0].value


# --- against the simulator and against published figures ---


def test_the_figures_are_those_of_a_simulated_day():
    """Acres, minutes and energy of a load, minutes of a charge: the page's are the means of the log."""
    steady = (
        'aircraft.large.flight_time_factor={dist="constant", value="1"}', "work_days=1", "weather.stoppages.length=0 s",
        'rig.main.crew.tasks.fill.time="35 s"', 'rig.main.crew.tasks.swap.time="60 s"', "field.1.area='80 acre'",
        "field.1.length_to_width=2", "field.2.area='80 acre'", "field.2.length_to_width=2",
    )  # fmt: skip
    page, plan = page_of("third_pack", "three_packs", steady)
    log = days_of(plan)[0].log
    load_acres = number(page, "area of a load")
    full = [one for one in log.sorties if one.area_to_m2 - one.area_from_m2 > 0.98 * load_acres * M2_PER_ACRE]

    assert fmean(one.area_to_m2 - one.area_from_m2 for one in full) == pytest.approx(load_acres * M2_PER_ACRE, rel=0.01)
    flown_s = [sum(one[one._fields.index("take_off_s") : one._fields.index("path_m")]) for one in full]
    assert number(page, "minutes in the air") * 60 == pytest.approx(fmean(flown_s), rel=0.02)
    assert number(page, "energy of a load") == pytest.approx(fmean(one.energy_wh for one in full), rel=0.02)
    # one charge waits for the generator to be refuelled
    charges_s = [row.end_s - row.start_s for row in log.rows if row.state is State.CHARGE and row.amount > 800.0]
    assert number(page, "minutes a charge takes") * 60 == pytest.approx(median(charges_s), rel=0.03)


def test_the_practitioners_lines_stand_first():
    page, _ = page_of("third_pack", "three_packs")
    said = [one.quantity for sheet in page.checks for one in sheet.lines]
    assert said[:6] == [
        "area of a load", "minutes in the air", "minutes on the ground", "loads a charge", "charge left at landing",
        "minutes a charge takes",
    ]  # fmt: skip
    assert {"power asked of trailer", "power that trailer gives", "people needed to lift it"} <= set(said)
    # 8 kW of the charger at 92 %, and 300 W besides
    assert number(page, "power asked of trailer") == pytest.approx(8.0 / 0.92 + 0.3)
    assert number(page, "weight to lift, large") == pytest.approx(48 / 0.45359237)
    assert "set by: " in page.checks[-1].lines[-1].note


def test_more_asked_than_given_is_said():
    page, _ = third_pack('rig.main.power.trailer.other_load="3 kW"')
    [note] = [one.note for one in page.checks[-1].lines if one.quantity == "power asked of trailer"]
    assert "charges take longer" in note


@pytest.mark.parametrize(
    ("changes", "quantity", "published", "allowed"),
    [
        # 30 ft at 5 mph: Progressive Forage, efficiency versus capacity; ASABE EP496, from memory
        (['aircraft.large.spray_speed="5 mph"'], "theoretical field capacity", 18.2, {"abs": 0.05}),
        # GPM = GPA * mph * ft / 495 (Mesa County, stationary calibration): 2 gal/acre, 15 mph, 30 ft: 1.818 gal/min
        ([], "flow", 2 * 15 * 30 / 495, {"rel": 1e-4}),
        ([], "rate as on the label", 2, {"rel": 1e-5}),
        # (L / v) / (L / v + t): 300 m at 6 m/s with 6 s turns (elementary)
        (
            [
                'aircraft.large.spray_speed="6 m/s"', 'aircraft.large.turn_time="6 s"', 'aircraft.large.swath="10 m"',
                "field.0.area='9 ha'", "field.0.length_to_width=1",
            ],
            "turn efficiency", 0.893, {"abs": 5e-4},
        ),
    ],
)  # fmt: skip
def test_published_figures(changes, quantity, published, allowed):
    page, _ = page_of("third_pack", None, changes, "east bench")
    assert number(page, quantity) == pytest.approx(published, **allowed)


CASES = {
    "wind": ('weather.wind_speed="8 mph"',),
    "turn limits": ('aircraft.large.turn_limits={acceleration="3 m/s^2"}',),
    "cooling": ('pack.large_pack.cooling={after_flight="50 degC", limit="38 degC", time_constant="20 min"}',),
    "two slots": ("charger.fast.slots=2", 'charger.fast.slot_power="6 kW"'),
    "partly": ("rig.main.take_partly_charged=true", "rig.main.charge_to=0.85"),
    "coaxial": ("aircraft.large.coaxial=true", "aircraft.large.rotors=16"),
    "when needed": ("aircraft.large.swap=when needed", 'pack.large_pack.energy="4000 Wh"'),
    "whole swath": ("aircraft.large.section_control=false",),
    "whole passes": ("flying.stop_at=pass end",),
    "metric": ("units=metric",),
    "once": ("work=once",),
    "fuel points": ('generator.twelve.fuel_use=[{load="3 kW", use="2.4 L/h"}, {load="9 kW", use="4.5 L/h"}]',),
}
SAID = {
    "wind": "power, ferrying full against -3.58 m/s",
    "turn limits": "radius of a turn flown round",
    "cooling": "temperature after a flight",
    "coaxial": "induced power of a coaxial pair",
    "once": "field list",
}


@pytest.mark.parametrize("case", CASES)
def test_what_a_scenario_may_hold_is_told(case):
    page, plan = page_of("third_pack", "four_packs", CASES[case])
    json.dumps(page_json(page), allow_nan=False)
    if case in SAID:
        assert number(page, SAID[case]) is not None
    assert number(page, "largest load") == pytest.approx(40.0 if case == "metric" else 40.0 / 3.785411784)
    loads = number(page, "loads a charge")
    assert loads == (3 if case == "when needed" else 1)
    left = 100 * plan.rigs[0].rig.charge_to - 100 * loads * number(page, "energy of a load") / number(
        page, "energy of the full pack now"
    )
    assert number(page, "charge left at landing") == pytest.approx(left)


def test_a_fit_to_logged_loads_is_told(tmp_path):
    text = (FOLDER / "third_pack.toml").read_text("utf-8")
    start = 'tank = "40 L"\nempty_mass = "48 kg"\nrotors = 8\nrotor_diameter = "1.07 m"\nswath = "30 ft"\n'
    start += 'spray_speed = "15 mph"\nferry_speed = "20 mph"\nhandling_people = 2'
    path = tmp_path / "third_pack.toml"
    path.write_text(text.replace('like = "tank_40_l"', start), encoding="utf-8")
    log = (
        'aircraft.large.load_log={pack="large_pack", loads=[{load="40 kg", airborne="8 min", used="66 %"},'
        ' {load="20 kg", airborne="7 min", used="44 %"}]}'
    )
    loaded = load_scenario(path, [log])
    plan = make_plan(loaded.sets[0])
    page = explain(loaded, plan, settings=(log,))
    assert number(page, "figure of merit") == plan.rigs[0].aircraft[0][0].model.figure_of_merit
    # 66 % of 1800 Wh in 8 min
    assert number(page, "mean power of logged load 1") == pytest.approx(0.66 * 1800 * 60 / 8)


@settings(max_examples=12)
@given(scenarios())
def test_random_scenarios_are_told(raw):
    try:
        loaded = load_scenario(raw)
        plan = make_plan(loaded.sets[0])
    except InputError:
        reject()
    page = explain(loaded, plan, raw=raw)
    json.dumps(page_json(page), allow_nan=False)
    assert page.sections


@pytest.mark.parametrize(("stem", "set_name"), SETS)
def test_simulated_days_stay_below_the_bounds(stem, set_name):
    """A resource that is never idle serves at most time / demand (Lazowska et al. 1984, chapter 5)."""
    page, plan = page_of(stem, set_name)
    most = sum(min(bounds.values()) for bounds in page.bounds.values())
    days = 3
    per_area = M2_PER_HECTARE if plan.scenario.units == "metric" else M2_PER_ACRE
    mean = sum(map(area_m2, days_of(plan, seed=plan.scenario.seed, count=days))) / days / per_area
    # the bounds take mean times of a load in mid-field: draws and shorter ferries may give a day a few per cent
    assert 0.2 * most < mean < 1.03 * most


@pytest.mark.parametrize("changes", [("rig.main.packs.large_pack=4",), ("rig.main.power.trailer.chargers.fast=2",)])
def test_more_of_a_resource_never_lowers_a_bound(changes):
    few, _ = page_of("third_pack", "two_packs")
    more, _ = page_of("third_pack", "two_packs", changes)
    before, after = few.bounds["main"], more.bounds["main"]
    assert before.keys() == after.keys()
    assert all(after[name] >= before[name] * (1 - 1e-5) for name in before)
    assert any(after[name] > before[name] * 1.2 for name in before)


def test_a_field_out_of_reach_is_said():
    page, _ = page_of("third_pack", None, ['field.2.ferry_distance="30 km"'], "mill piece")
    assert any(
        one.title == "No load of large with large_pack reaches mill piece and comes back" for one in page.sections
    )
    # the other fields are in reach, and are told of
    assert number(page, "hours at the fields") > 0
    assert number(page, "large with large_pack: area of a load, least") > 0


def test_with_hardly_any_power_the_source_bounds_the_day():
    page, _ = third_pack('rig.main.power.trailer.other_load="9.4 kW"', 'charger.fast.setting_least="1 %"')
    bounds = page.bounds["main"]
    assert bounds["generator or grid"] == pytest.approx(min(bounds.values()), rel=1e-2)


# --- origins ---


def origins(page):
    return {leaf.key: leaf.origin for leaf in page.values}


def test_each_kind_of_origin():
    page, _ = page_of("third_pack", "two_packs", ["charger.fast.slots=2", 'equipment_set.two_packs.day.start="06:30"'])
    expected = {
        "aircraft.large.swath": "catalogue: tank_40_l",
        "aircraft.large.hover.energy": "catalogue: tank_40_l",
        "aircraft.large.hover.full_time": "catalogue: tank_40_l",
        "aircraft.large.take_off_time": "default",
        "rig.main.packs.large_pack": "scenario: equipment_set.two_packs",
        "rig.main.crew.tasks.fill.time": "scenario",
        "rig.main.crew.tasks.fill.people": "default",
        "charger.fast.slots": "command line (--set)",
        "day.start": "command line (--set)",
        "weather.stoppages.length": "scenario",
    }
    assert expected.items() <= origins(page).items()
    # through another rig
    found = origins(page_of("granules", "small_hopper")[0])
    assert found["rig.small_trailer.crew.tasks.fill.time"] == "scenario: rig.large_trailer"
    assert found["rig.small_trailer.crew.tasks.swap.time"] == "scenario"


def test_a_default_says_its_source_and_a_given_value_does_not_say_assumption():
    page, _ = third_pack()
    for leaf in page.values:
        said = leaf.note.lower()
        if leaf.origin == "default":
            required = not leaf.note or "assumption" in said or "source" in said
            assert required, leaf.key
        else:
            assert "assumption" not in said, leaf.key
    reserve = next(leaf for leaf in page.values if leaf.key == "pack.large_pack.reserve")
    assert "source: the common 80 % rule" in reserve.note
    merit = ("aircraft.large.figure_of_merit=0.62",)
    given_merit = next(leaf for leaf in third_pack(*merit)[0].values if leaf.key == "aircraft.large.figure_of_merit")
    assert given_merit.note == "Ideal hover power over electrical, when no hover times are given"


def text_at(table, key):
    """Walk a resolved table by a dotted key, as far as it goes."""
    for part in key.split("."):
        if isinstance(table, list):
            table = table[int(part)]
        elif isinstance(table, dict):
            table = table.get(part)
    return table


@pytest.mark.parametrize(("stem", "set_name"), SETS)
def test_values_are_those_of_the_resolved_scenario(stem, set_name):
    """The merge with marks comes to what loading came to: each leaf stands in the resolved table, none is missing."""
    loaded = load_scenario(FOLDER / f"{stem}.toml")
    entry = loaded.sets[0] if set_name is None else loaded.equipment_set(set_name)
    raw = tomllib.loads((FOLDER / f"{stem}.toml").read_text("utf-8"))
    leaves = provenance(entry, raw)
    keys = {leaf.key for leaf in leaves}
    assert len(keys) == len(leaves)
    for leaf in leaves:
        value = text_at(entry.resolved, leaf.key)
        if value in (None, [], {}, ""):
            assert leaf.value == "none", leaf.key
        elif isinstance(value, str | int | float):
            assert leaf.value == (str(value).lower() if isinstance(value, bool) else str(value)), leaf.key

    def below(key):
        return any(other == key or other.startswith(f"{key}.") for other in keys)

    # whatever the schema knows, now or later, is listed
    assert all(below(name) for name in Scenario.model_fields if name != "equipment_set")
    for name in entry.resolved["aircraft"]:
        assert all(below(f"aircraft.{name}.{field}") for field in Aircraft.model_fields)
    for name in entry.resolved["pack"]:
        assert all(below(f"pack.{name}.{field}") for field in Pack.model_fields)


def test_values_carry_what_the_model_computes_with():
    page, plan = third_pack()
    inner = {leaf.key: leaf.inner for leaf in page.values}
    # exact: 0.3048 m to the foot, 1609.344 m to the mile (NIST SP 811)
    assert inner["aircraft.large.swath"] == "9.144 m"
    assert inner["aircraft.large.spray_speed"] == "6.7056 m/s"
    assert inner["pack.large_pack.reserve"] == "0.2"
    assert inner["rig.main.crew.tasks.swap.time"] == "mean 60 s"
    speed = plan.scenario.route.road_speed.mean()
    assert inner["route.road_speed"] == f"mean {speed:.6g} m/s"


# --- text ---


@pytest.mark.parametrize(("stem", "set_name"), SETS)
def test_what_is_checked_fits_on_three_screens(stem, set_name):
    page, _ = page_of(stem, set_name)
    rows = page_text(page, 80).splitlines()
    assert len(rows) <= SCREENS
    assert "..." not in rows
    longer = page_text(replace(page, checks=page.checks * 10), 80).splitlines()
    assert (len(longer), longer[-3]) == (SCREENS, "...")
    assert rows[-1] == longer[-1]
    assert "--all" in rows[-1]


@pytest.mark.parametrize("width", [50, 100])
def test_only_a_long_word_stands_out_of_the_width(width):
    rows = page_text(third_pack()[0], width, everything=True).splitlines()
    assert all(max(map(len, row.split())) > width - 12 for row in rows if len(row) > width)


def test_text_markdown_and_document_hold_every_figure():
    page, _ = third_pack()
    text, markdown = page_text(page, 160, everything=True), page_markdown(page)
    for sheet in (*page.checks, *page.sections):
        for one in sheet.lines:
            assert one.quantity in text
            assert f"| {one.quantity.replace('_', chr(92) + '_')} | {figure_text(one)} |" in markdown
    document = json.loads(json.dumps(page_json(page), allow_nan=False))
    assert [len(one["lines"]) for one in document["sections"]] == [len(one.lines) for one in page.sections]
    assert len(document["values"]) == len(page.values)
    assert document["bounds"]["main"].keys() >= {"aircraft", "packs", "chargers", "generator or grid", "crew"}
