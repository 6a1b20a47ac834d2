"""Designs, ranges, written TOML and the days behind studies."""

import tomllib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from short_days import two_and_four

from simulator.errors import InputError
from simulator.plan.day_plan import make_plan
from simulator.scenario.distributions import (
    Constant,
    Empirical,
    Exponential,
    Gamma,
    Lognormal,
    Triangular,
    TruncatedNormal,
    Uniform,
    Weibull,
)
from simulator.scenario.toml_text import distribution_table, toml_document, toml_value
from simulator.study.cases import CaseRuns, changed_set, check_runs
from simulator.study.reading import (
    combinations,
    locate,
    make_range,
    parse_choice,
    ranges_of,
    read_levels,
    read_range,
    read_workable_days,
    setting_at,
)
from simulator.study.splits import latin_hypercube

SWAP = "rig.main.crew.tasks.swap.time"


@given(st.integers(1, 5), st.integers(1, 40), st.integers(0, 2**31))
def test_latin_hypercube_has_one_point_in_every_slice(factors, points, seed):
    # McKay, Beckman & Conover 1979: each of n equal slices of each factor holds one of the n points
    design = latin_hypercube(factors, points, seed)
    assert design.shape == (points, factors)
    for column in design.T:
        assert sorted(np.floor(column * points).astype(int)) == list(range(points))


def test_latin_hypercube_depends_on_the_seed_alone():
    assert np.array_equal(latin_hypercube(3, 8, 5), latin_hypercube(3, 8, 5))
    assert not np.array_equal(latin_hypercube(3, 8, 5), latin_hypercube(3, 8, 6))
    with pytest.raises(ValueError, match="0 points"):
        latin_hypercube(1, 0, 1)


def test_a_range_reads_bounds_with_the_unit_on_either():
    one = read_range(f"{SWAP}=40..90 s")
    assert (one.low, one.high, one.unit, one.whole) == (40.0, 90.0, "s", False)
    assert one.text(0.5) == "65 s"
    assert make_range("k", "40 s", "90 s", "w") == make_range("k", "40 s", "90", "w")


def test_whole_numbers_get_equal_parts_of_the_range():
    one = read_range("rig.main.packs.large_pack=2..4")
    values = [one.value(share) for share in np.linspace(0.0, 0.9999, 3000)]
    assert {value: round(values.count(value) / 1000, 1) for value in set(values)} == {2.0: 1.0, 3.0: 1.0, 4.0: 1.0}
    assert one.value(1.0) == 4.0
    assert not read_range("pack.x.reserve=0.1..0.3").whole


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("swap", "KEY=LOW..HIGH"),
        ("swap=40", "KEY=LOW..HIGH"),
        ("swap=90..40 s", "below the high one"),
        ("swap=40 s..2 min", "same for both"),
        ("swap=soon..later", "two bounds"),
        ("swap=1e999..2e999", "two bounds"),
    ],
)
def test_a_bad_range_says_what_is_allowed(text, said):
    with pytest.raises(InputError, match=said):
        read_range(text)


def test_ranges_are_collected_and_all_bad_ones_named():
    loaded = two_and_four()
    with pytest.raises(InputError, match="no range is declared"):
        ranges_of(loaded)
    with pytest.raises(InputError) as caught:
        ranges_of(loaded, ["a", "b=3..1", "c=1..2"])
    assert len(caught.value.problems) == 2
    found = ranges_of(loaded, [f"{SWAP}=40..90 s", f"{SWAP}=50..60 s"])
    assert [(one.low, one.high) for one in found] == [(50.0, 60.0)]


def test_ranges_of_the_scenario_are_used_and_replaced():
    loaded = two_and_four(range={SWAP: ["40 s", "90 s"], "rig.main.packs.large_pack": [2, 4]})
    found = ranges_of(loaded, [f"{SWAP}=45..80 s"])
    assert [(one.key, one.low, one.whole) for one in found] == [
        (SWAP, 45.0, False),
        ("rig.main.packs.large_pack", 2.0, True),
    ]


def test_levels_take_the_last_unit():
    assert read_levels("10, 20,40 acre", "--sizes") == ["10 acre", "20 acre", "40 acre"]
    assert read_levels("1,2", "--shape") == ["1", "2"]
    with pytest.raises(InputError, match="--sizes"):
        read_levels("10,,x", "--sizes")


def test_a_range_of_levels_is_spread_evenly_in_ratio():
    """10 to 160 doubles four times; from nothing, ratios have no meaning and the steps are even."""
    assert read_levels("10..160 acre", "--sizes") == ["10 acre", "20 acre", "40 acre", "80 acre", "160 acre"]
    assert read_levels("10..160acre", "--sizes")[-1] == "160 acre"
    assert read_levels("0..2 mi", "--distance") == ["0 mi", "0.5 mi", "1 mi", "1.5 mi", "2 mi"]
    assert read_levels("1,10 acre..160 acre", "--sizes")[:3] == ["1 acre", "10 acre", "20 acre"]
    # numbers between are rounded to two digits, and none comes twice
    assert read_levels("3..5 gal/acre", "--rates") == [f"{one} gal/acre" for one in ("3", "3.4", "3.9", "4.4", "5")]
    assert read_levels("100..101 acre", "--sizes") == ["100 acre", "101 acre"]
    for wrong in ("160..10 acre", "10..10 acre", "10.. acre", "..", "1 ha..160 acre", "10...160 acre"):
        with pytest.raises(InputError, match=r"a range such as 10\.\.160 acre"):
            read_levels(wrong, "--sizes")


def test_a_drawn_input_is_scaled_and_keeps_its_shape():
    loaded = two_and_four()
    entry = loaded.sets[0]
    before, _ = locate(entry, SWAP)
    changed = changed_set(entry, [setting_at(entry, read_range(f"{SWAP}=40..90 s"), 1.0)], loaded.folder)
    after, _ = locate(changed, SWAP)
    assert after.mean() == pytest.approx(90.0)
    assert after.sd() / after.mean() == pytest.approx(before.sd() / before.mean())


def test_a_fixed_input_takes_the_value_and_a_wrong_unit_is_refused():
    loaded = two_and_four()
    entry = loaded.sets[0]
    speed = read_range("aircraft.large.spray_speed=12..18 mph")
    changed = changed_set(entry, [setting_at(entry, speed, 0.0)], loaded.folder)
    assert changed.scenario.aircraft["large"].spray_speed == pytest.approx(12 * 0.44704)
    with pytest.raises(InputError, match="not a time"):
        setting_at(entry, read_range(f"{SWAP}=40..90 mph"), 0.0)


def test_a_change_of_fields_reads_the_list_anew():
    loaded = two_and_four()
    changed = changed_set(loaded.sets[0], ['field.0.area="33 acre"'], loaded.folder)
    assert changed.fields.sites[0].area_m2 == pytest.approx(33 * 4046.8564224)


DISTRIBUTIONS = [
    Constant(60.0),
    Uniform(40.0, 90.0),
    Triangular(40.0, 50.0, 90.0),
    TruncatedNormal(60.0, 9.0),
    TruncatedNormal(60.0, 9.0, 30.0, 80.0),
    Lognormal(60.0, 0.3),
    Gamma(60.0, 0.3),
    Exponential(60.0),
    Weibull(60.0, 2.5),
    Empirical((50.0, 61.0, 75.0)),
]


@pytest.mark.parametrize("distribution", DISTRIBUTIONS, ids=lambda one: type(one).__name__)
def test_a_written_distribution_is_read_back_the_same(distribution):
    loaded = two_and_four()
    text = toml_value(distribution_table(distribution, "s", 12))
    changed = changed_set(loaded.sets[0], [f"{SWAP}={text}"], loaded.folder)
    assert locate(changed, SWAP)[0] == distribution


SCALARS = st.one_of(st.booleans(), st.integers(-(2**62), 2**62), st.floats(allow_nan=False), st.text(max_size=12))
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=6), inner, max_size=3)),
    max_leaves=8,
)


@given(st.dictionaries(st.text(max_size=6), VALUES, max_size=4))
def test_written_toml_is_read_back_the_same(table):
    # TOML has no surrogates, and tomllib refuses them
    text = toml_document(table)
    assert tomllib.loads(text) == table


def test_toml_refuses_what_it_cannot_write():
    with pytest.raises(ValueError, match="NoneType"):
        toml_value(None)


def test_days_added_later_are_the_days_simulated_at_once():
    loaded = two_and_four()
    plans = [make_plan(entry) for entry in loaded.sets]
    at_once, in_steps, shared = (CaseRuns(plans, 3, workers) for workers in (1, 1, 2))
    at_once.extend(6)
    in_steps.extend(2)
    in_steps.extend(6, [1])
    assert (in_steps.runs(0), in_steps.runs(1)) == (2, 6)
    in_steps.extend(6)
    shared.extend(6)
    for case in range(2):
        assert np.array_equal(at_once.column(case, "acres"), in_steps.column(case, "acres"))
        assert np.array_equal(at_once.column(case, "acres"), shared.column(case, "acres"))


def test_a_study_of_unreasonable_size_is_refused():
    check_runs(10, 100)
    with pytest.raises(InputError, match="allowed is 2 to"):
        check_runs(10**9, 100, least=2)
    with pytest.raises(InputError, match="allowed is 3 to"):
        check_runs(2, least=3)


def test_choices_are_read():
    """Ranges of whole numbers, lists, quoted values with commas."""
    assert parse_choice("a.b=2..4") == ["a.b=2", "a.b=3", "a.b=4"]
    assert parse_choice("a.b = x, y ,x") == ["a.b=x", "a.b=y"]
    assert parse_choice('a.b="p, q",r') == ['a.b="p, q"', "a.b=r"]
    assert combinations(["a=1..2", "b=x,y"]) == [("a=1", "b=x"), ("a=1", "b=y"), ("a=2", "b=x"), ("a=2", "b=y")]


@pytest.mark.parametrize(
    "text", ["a.b", "=3", "a=", "a=5..2", "a=1.5..2", "a=x..y", "a.=3", "a=1,,2", "a=1..999999999"]
)
def test_bad_choices(text):
    with pytest.raises(InputError, match="got"):
        parse_choice(text)


@pytest.mark.parametrize(
    ("choices", "said"),
    [(["a=1..40", "b=1..40"], "1600 combinations"), (["a=1", "a=2"], "a more than once"), ([], "at least one choice")],
)
def test_too_many_combinations_and_twice_the_same(choices, said):
    with pytest.raises(InputError, match=said):
        combinations(choices)


def test_workable_days_are_a_number_or_a_range():
    assert read_workable_days("40", "--workable-days") == 40
    assert read_workable_days("30..50", "--workable-days") == Uniform(30.0, 50.0)
