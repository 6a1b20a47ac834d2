"""Fragmentation: splits, indices, the fitted response, and what smaller fields do."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from short_days import ACRE_M2, table, two_and_four

from simulator.errors import InputError
from simulator.physics.fragmentation import januszewski, simmons
from simulator.plan.day_plan import make_plan
from simulator.scenario.field_list import FieldList, FieldSite
from simulator.scenario.loading import load_scenario
from simulator.scenario.units import area_unit
from simulator.study.fragmentation import Told, fragmentation
from simulator.study.response import fit_response
from simulator.study.splits import draw_split, grid_splits, latin_splits, map_splits, properties, shape_of, split_areas

DATA = Path(__file__).parents[1] / "data"
US_FIELDS = DATA / "us_crop_sequence_boundaries_2017_2024.geojson"


@given(st.floats(1.0, 1e8), st.integers(1, 60), st.floats(0.0, 1.0))
def test_areas_sum_to_the_total_and_unevenness_raises_simmons(total, number, uneven):
    areas = split_areas(total, number, uneven)
    assert areas.sum() == pytest.approx(total)
    # equal parcels are the most broken up that a number of them can be (Simmons 1964: 1/n for n equal ones)
    assert simmons(areas) >= 1.0 / number - 1e-12


def test_equal_parcels_have_the_published_indices():
    # published example: n equal parcels give 1/n (Simmons) and 1/sqrt(n) (Januszewski); 4 give .25 and .50
    areas = split_areas(1e6, 4)
    assert simmons(areas) == pytest.approx(0.25)
    assert januszewski(areas) == pytest.approx(0.50)


def _plan(split):
    return make_plan(replace(two_and_four().sets[0], fields=FieldList(split.sites)))


def test_properties_of_a_drawn_split():
    split = draw_split(120 * ACRE_M2, 4, 4.0, 1500.0)
    known = properties(split, _plan(split))
    area = 30 * ACRE_M2
    assert known["fields"] == 4
    assert known["mean_area_m2"] == pytest.approx(area)
    assert known["move_m"] == pytest.approx(1500.0)
    assert known["pass_inverse_per_m"] == pytest.approx(1.0 / math.sqrt(4.0 * area))
    assert known["reach_m"] == pytest.approx(0.5 * math.hypot(math.sqrt(4 * area), math.sqrt(area / 4)))
    assert known["januszewski"] == pytest.approx(0.5)


def test_shape_of_a_boundary_is_that_of_the_rectangle_around_it():
    shapely = pytest.importorskip("shapely")
    tilted = shapely.affinity.rotate(shapely.box(0, 0, 600, 200), 33.0)
    assert shape_of(FieldSite("a", 120000.0, polygon=tilted)) == pytest.approx(3.0)
    assert shape_of(FieldSite("b", 1.0, length_to_width=0.25)) == 4.0


def test_response_finds_the_parts_that_made_the_cases():
    # hours an acre made of known parts (own construction), so the fit must give them back
    parts = {"base": 0.04, "per_move": 0.4, "per_km": 0.025, "per_turn_length": 2.0, "per_reach": 2e-5}
    rng = np.random.default_rng(1)
    rows = []
    for _ in range(30):
        area, move = ACRE_M2 * rng.uniform(5, 200), rng.uniform(200, 8000)
        length = math.sqrt(area * rng.uniform(1, 6))
        reach, per_acre = 0.5 * math.hypot(length, area / length), ACRE_M2 / area
        hours = parts["base"] + per_acre * (parts["per_move"] + parts["per_km"] * move / 1000)
        hours += parts["per_turn_length"] / length + parts["per_reach"] * reach
        row = {"fields": 9.0, "mean_area_m2": area, "move_m": move, "pass_inverse_per_m": 1 / length, "reach_m": reach}
        rows.append(row | {"paid_hours": 11.0, "acres_per_day": 11.0 / hours})
    found = fit_response(pd.DataFrame(rows))
    assert {term.name: term.value for term in found.terms} == pytest.approx(parts, rel=1e-6)
    assert found.r2 == pytest.approx(1.0)
    assert found.error_acres < 1e-6
    first = rows[0]
    foretold = found.acres_per_day(
        first["mean_area_m2"], first["move_m"], first["pass_inverse_per_m"], first["reach_m"]
    )
    assert foretold == pytest.approx(first["acres_per_day"])


@pytest.mark.parametrize(
    ("outputs", "end"),
    [
        ((200.0, 220.0, 150.0), "become fields of 10, but does most (220 acres a day) with fields of 60."),
        ((220.0, 200.0, 150.0), "become fields of 10."),
        ((200.0, 200.1, 150.0), "become fields of 10."),
    ],
)
def test_a_maximum_between_the_ends_is_named(outputs, end):
    """Output that rises before it falls; not named at an end, nor where chance may have made it."""
    splits = [draw_split(120 * ACRE_M2, number, 2.0, 1500.0) for number in (1, 2, 12)]
    noise = np.array([[0.3, -0.3, 0.1, -0.1], [-0.2, 0.4, -0.4, 0.2], [0.1, 0.0, -0.1, 0.0]])
    acres = [value + one for value, one in zip(outputs, noise, strict=True)]
    days = [120.0 / one for one in acres]
    said = Told([("small", one) for one in splits], acres, days, area_unit("us")).sentence()
    assert said.startswith("Small loses ")
    # 120 acres at 150 a day are 0.8 work days
    assert " % of its acres a day, and takes 0.8000 (" in said
    assert said.endswith(f", when fields of 120 acres {end}")


def test_the_fitted_line_does_not_look_as_if_it_joined_the_points():
    """It is dashed, named as fitted with its error, and the caption says that it is not drawn through the points."""
    from simulator.report.fragmentation_figure import fragmentation_figure

    loaded = two_and_four()
    splits = grid_splits(60 * ACRE_M2, [1, 2, 3, 4, 6, 8], [2.0], [1000.0])
    study = fragmentation(loaded, splits, 2, ["two"])
    assert study.responses
    figure = fragmentation_figure(study)
    fitted = [line for line in figure.axes[0].lines if "fitted" in str(line.get_label())]
    assert len(fitted) == 1
    assert fitted[0].is_dashed()
    assert f"off by {study.responses['two'].error_acres:.2g}" in fitted[0].get_label()
    assert "not drawn through the points" in figure.get_supxlabel()


def test_response_leaves_out_what_the_design_never_varied():
    rows = [
        {"fields": 4.0, "mean_area_m2": a * ACRE_M2, "move_m": 0.0, "pass_inverse_per_m": 0.002, "reach_m": 300.0}
        | {"paid_hours": 10.0, "acres_per_day": 10.0 / (0.05 + 0.3 / a)}
        for a in (5, 10, 20, 40, 80)
    ]
    found = fit_response(pd.DataFrame(rows))
    assert [term.name for term in found.terms] == ["base", "per_move"]
    assert found.terms[1].value == pytest.approx(0.3)
    assert fit_response(pd.DataFrame(rows[:3])) is None


def test_smaller_fields_cost_output_and_the_table_has_a_row_a_day():
    loaded = two_and_four()
    answer = fragmentation(loaded, grid_splits(120 * ACRE_M2, [1, 4, 12], [2.0], [1600.0]), runs=8)
    assert len(answer.runs) == 2 * 3 * 8
    assert set(answer.runs["equipment_set"]) == {"two", "four"}
    # every case is the same job, worked off once
    assert (answer.runs["acres"] * answer.runs["work_days"]).to_numpy() == pytest.approx(120.0)
    assert (answer.cases["done_share"] == 1.0).all()
    for name in ("two", "four"):
        own = answer.cases[answer.cases["equipment_set"] == name].sort_values("mean_area_m2")
        low, high = own.iloc[0], own.iloc[-1]
        # common practice, no source: many small fields cost acres
        assert low["ci95_high"] < high["ci95_low"]
    assert "when fields of 120 acres become fields of 10" in answer.sentence
    document = answer.to_json()
    assert document["study"] == "fragmentation"
    assert len(document["cases"]) == 6


def test_latin_splits_stay_within_their_bounds():
    splits = latin_splits(100 * ACRE_M2, 12, (2, 9), (1.0, 4.0), (100.0, 5000.0), (0.0, 0.5), seed=3)
    assert len(splits) == 12
    for split in splits:
        shape, distance, uneven = split.factors
        assert 2 <= len(split.sites) <= 9
        assert 1.0 <= shape <= 4.0
        assert 100.0 <= distance <= 5000.0
        assert 0.0 <= uneven <= 0.5
        assert sum(site.area_m2 for site in split.sites) == pytest.approx(100 * ACRE_M2)


def test_neighbourhoods_of_a_map_use_each_field_once():
    grid = [FieldSite(f"f{x}{y}", 10 * ACRE_M2, location_m=(x * 400.0, y * 400.0)) for x in range(6) for y in range(4)]
    parts = map_splits("m", FieldList(tuple(grid)), 55 * ACRE_M2, most=9)
    names = [site.name for part in parts for site in part.sites]
    assert len(names) == len(set(names)) == 24
    assert [len(part.sites) for part in parts] == [6, 6, 6, 6]


def test_real_fields_stand_beside_the_drawn_ones():
    real = load_scenario(table(), folder=DATA, fields=US_FIELDS).sets[0].fields
    parts = map_splits("real", real, 120 * ACRE_M2, most=1)
    answer = fragmentation(two_and_four(), parts, runs=2, sets=["two"])
    row = answer.cases.iloc[0]
    areas = [site.area_m2 for site in parts[0].sites]
    assert row["kind"] == "map"
    assert row["simmons"] == pytest.approx(simmons(areas))
    assert row["acres_per_day"] > 0


@pytest.mark.parametrize(
    ("splits", "changes", "said"),
    [
        ([], {}, "no way to split"),
        ([(ACRE_M2 * 40, 2)], {"sets": ["tow"]}, "no equipment set"),
        ([(ACRE_M2 * 40, 2)], {"runs": 1}, "allowed is 2 to"),
        ([(1e9, 600)], {"runs": 2}, "at most 500"),
    ],
)
def test_bad_input_is_refused(splits, changes, said):
    with pytest.raises(InputError, match=said):
        fragmentation(two_and_four(), [draw_split(*one, 2.0, 100.0) for one in splits], **changes)


def test_an_interrupted_study_keeps_the_cases_that_are_done():
    loaded = two_and_four()

    def stop(stage, done, total):
        if done >= 5:
            raise KeyboardInterrupt

    splits = grid_splits(60 * ACRE_M2, [1, 3, 6], [2.0], [1600.0])
    answer = fragmentation(loaded, splits, runs=4, sets=["two"], report=stop)
    assert answer.stopped.startswith("interrupted")
    assert 1 <= len(answer.cases) < 3
    assert (answer.cases["runs"] >= 2).all()
    with pytest.raises(KeyboardInterrupt):
        fragmentation(loaded, splits, runs=4, sets=["two"], report=lambda *_: stop("", 5, 0))
