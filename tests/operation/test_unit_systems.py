"""The same scenario in US and in metric units gives the same days, to the last digit."""

import re
from pathlib import Path

import numpy as np
import pytest

from simulator.analysis.summary import summarise
from simulator.operation.day import simulate
from simulator.plan.day_plan import make_plan
from simulator.scenario import units
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

FOLDER = Path(__file__).parents[2] / "scenarios"
METRIC = {
    "ft": "m", "mi": "km", "mph": "km/h", "gal": "L", "acre": "ha", "gal/acre": "L/ha", "gal/min": "L/min",
    "lb": "kg", "lb/acre": "kg/ha", "lb/min": "kg/min", "degF": "degC",
}  # fmt: skip
DAYS = 12


def metric(value):
    """Rewrite every US quantity of a table, with all the digits that a float has."""
    if isinstance(value, dict):
        return {key: metric(item) for key, item in value.items()}
    if isinstance(value, list):
        return [metric(item) for item in value]
    found = re.fullmatch(r"(-?[\d.]+) ?(\S+)", value) if isinstance(value, str) else None
    if found is None or found[2] not in METRIC:
        return value
    quantity = units.registry().Quantity(float(found[1]), found[2]).to(METRIC[found[2]])
    return f"{quantity.magnitude:.15g} {METRIC[found[2]]}"


@pytest.mark.parametrize("name", ["small_fields", "two_sizes", "granules", "two_rigs"])
def test_days_are_the_same_in_both_systems(name):
    for equipment in load_scenario(FOLDER / f"{name}.toml").sets:
        other = load_scenario(metric(equipment.resolved), folder=FOLDER).sets[0]
        assert other.resolved != equipment.resolved
        plans, bank = [make_plan(equipment), make_plan(other)], StreamBank(7)
        for number in range(DAYS):
            rows = [summarise(plan, simulate(plan, bank.day(number), number)) for plan in plans]
            np.testing.assert_array_equal(*rows)


@pytest.mark.parametrize(
    ("text", "one", "other", "dimension"),
    [
        ("acre", "ha", 0.40468564224, units.AREA),
        ("gal/acre", "L/ha", 3.785411784 / 0.40468564224, units.LIQUID_RATE),
        ("lb/acre", "kg/ha", 0.45359237 / 0.40468564224, units.DRY_RATE),
        ("mph", "km/h", 1.609344, units.SPEED),
        ("gal/min", "L/s", 3.785411784 / 60, units.LIQUID_FLOW),
        ("ft", "cm", 30.48, units.LENGTH),
    ],
)
def test_every_spelling_is_one_number(text, one, other, dimension):
    for number in np.round(np.geomspace(0.013, 7000.0, 500), 3):
        same = units.parse(f"{number * other:.15g} {one}", dimension)
        assert units.parse(f"{number} {text}", dimension) == same


def test_the_freezing_point_is_nought():
    assert units.parse("32 degF", units.TEMPERATURE) == 0.0
    assert units.parse("273.15 kelvin", units.TEMPERATURE) == 0.0


def test_a_field_of_whole_swaths_is_flown_in_whole_swaths_however_it_was_rounded():
    from simulator.physics.swath import plan_rectangle

    # 25 acres, twice as long as wide, in 30 passes; with six digits, as somebody writes them down
    swath_m = (25 * 4046.8564224 / 2) ** 0.5 / 30
    for area_m2 in (25 * 4046.8564224, 101171.0, 101172.0):
        plan = plan_rectangle(area_m2, 2.0, swath_m)
        assert plan.pass_count == 30
        assert plan.area_total_m2 == pytest.approx(area_m2, rel=1e-12)
