"""The map of a day: order of driving, what was sprayed, miles, fields far apart; nothing is left between two swaths."""

import pytest
from matplotlib.patches import PathPatch
from stored_support import SCENARIOS, assert_nothing_cut_off

from simulator import load_scenario, simulate_day
from simulator.analysis.day_record import day_record
from simulator.experiment.run import make_plans
from simulator.report.map_figure import PLACED, REST, driving_order, map_figure, map_words, sprayed_shares, visit_table
from simulator.report.numbers import report_units


def record_of(name, place=0):
    loaded = load_scenario(SCENARIOS / f"{name}.toml")
    plan = make_plans(loaded)[place]
    return plan, day_record(plan, simulate_day(loaded, plan.name))


@pytest.fixture(scope="module")
def mixed():
    return record_of("two_sizes", 2)


@pytest.fixture(scope="module")
def drawn():
    return record_of("willow_basin")


def strips(sortie):
    if "cover" in sortie:
        ends, width = list(zip(sortie["cover"]["x_m"], sortie["cover"]["y_m"], strict=True)), sortie["cover"]["swath_m"]
        return list(zip(ends[::2], ends[1::2], strict=True)), width
    line = sortie["line"]
    points = list(zip(line["x_m"], line["y_m"], strict=True))
    return [(points[k], points[k + 1]) for k, on in enumerate(line["on"]) if on == "1"], sortie["swath_m"]


def test_of_a_finished_field_nothing_is_left_between_two_swaths(mixed):
    from shapely import LineString, Polygon, union_all

    _, record = mixed
    assert len({sortie["swath_m"] for sortie in record["sorties"]}) == 2
    done = [place for place, share in enumerate(sprayed_shares(record)) if share > 0.999]
    assert done
    for place in done:
        flown = [one for one in record["sorties"] if one["field"] == place]
        last = max(one["visit"] for one in flown)
        shapes = [
            LineString(ends).buffer(width / 2, cap_style="flat")
            for one in flown
            if one["visit"] == last
            for all_ends, width in [strips(one)]
            for ends in all_ends
            if ends[0] != ends[1]
        ]
        field = Polygon(record["fields"][place]["rings"][0])
        # ends are rounded to 0.1 m, which leaves slivers between strips 7 m wide
        assert field.difference(union_all(shapes)).area < 0.004 * field.area


def test_the_yard_of_drawn_fields_is_where_it_was_given(drawn):
    plan, record = drawn
    assert record["yard_given"]
    origin, first = plan.geography.order[0], record["fields"][plan.geography.order[0]]
    name = plan.fields[origin].name
    assert first["name"] == name
    road_m = plan.geography.distance_m(None, origin)
    straight = sum((a - b) ** 2 for a, b in zip(record["yard_m"], first["zone_m"], strict=True)) ** 0.5
    assert straight < 2.0 * road_m


def test_fields_are_numbered_in_the_order_of_driving(drawn):
    _, record = drawn
    goals = [move[4] for rig in record["rigs"] for move in rig["moves"] if move[2] == "drive" and move[4] >= 0]
    numbers = driving_order(record)
    assert [numbers[place] for place in dict.fromkeys(goals)] == list(range(1, len(set(goals)) + 1))
    assert sorted(numbers.values()) == list(range(1, len(record["fields"]) + 1))


def test_roads_are_in_miles_and_as_long_as_they_were_driven(drawn):
    _, record = drawn
    table = visit_table("x", record, report_units("us"))
    told = [float(row[-1].text.removesuffix(" mi")) for row in table.rows if row[-1].text.endswith(" mi")]
    assert sum(told) == pytest.approx(record["totals"]["drive_km"] / 1.609344, abs=0.05 * len(told) + 0.05)


@pytest.mark.parametrize("wide", [True, False])
@pytest.mark.parametrize("case", ["mixed", "drawn"])
def test_the_map_tells_what_was_sprayed_by_more_than_colour(case, wide, request):
    _, record = request.getfixturevalue(case)
    figure = map_figure(record, report_units("us"), wide)
    assert_nothing_cut_off(figure)
    fields = [patch for patch in figure.axes[0].patches if isinstance(patch, PathPatch)]
    for patch, place in zip(fields, driving_order(record), strict=True):
        share = sprayed_shares(record)[place]
        assert (patch.get_linestyle() != "solid" and patch.get_linestyle() != "-") == (share == 0.0)
        assert bool(patch.get_hatch()) == (0.0 < share < 0.995)
    words = {text.get_text() for axes in figure.axes for text in axes.texts}
    assert {"yard", "1"} <= words
    assert any(word.endswith((" mi", " ft")) for word in words)
    legend = {text.get_text() for text in figure.legends[0].get_texts()}
    assert (REST.label in legend) == any(share == 0.0 for share in sprayed_shares(record))
    # of fields too small to be seen, outlines stand again below
    assert len(figure.axes) == (2 if case == "drawn" else 1)


def test_fields_without_a_place_are_said_to_be_placed_for_drawing_only(mixed, drawn):
    assert map_words(mixed[1]).startswith(PLACED)
    assert PLACED not in map_words(drawn[1])
