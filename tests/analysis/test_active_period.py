"""Active-period method against a worked example, a published test case and a slow reference."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.analysis.active_period import (
    Segment,
    active_periods,
    momentary_bottleneck,
)

HAND_EXAMPLE_MIN = {"A": [(0, 10), (12, 30)], "B": [(3, 16), (20, 26)], "C": [(14, 24), (27, 40)]}


def test_hand_example():
    """Own worked example of the definition by Roser, Nakano & Tanaka (2002), in minutes."""
    result = momentary_bottleneck(HAND_EXAMPLE_MIN, 0, 40)
    assert result.segments == [
        Segment(0, 3, "A", None),
        Segment(3, 10, "A", "B"),
        Segment(10, 12, "B", None),
        Segment(12, 16, "B", "A"),
        Segment(16, 27, "A", None),
        Segment(27, 30, "A", "C"),
        Segment(30, 40, "C", None),
    ]
    assert result.sole_s == {"A": 14, "B": 2, "C": 10}
    assert result.shifting_s == {"A": 14, "B": 11, "C": 3}
    assert result.share == pytest.approx({"A": 21 / 40, "B": 7.5 / 40, "C": 11.5 / 40})
    assert sum(result.share.values()) == pytest.approx(1.0)
    assert result.bottleneck == "A"


def test_same_period_twice_shifts_throughout():
    """Test case of the general library active_period_method 0.9.0: both active 08:10-09:00, both shifting 50 min."""
    start_s, end_s = (8 * 60 + 10) * 60, 9 * 3600
    result = momentary_bottleneck({"A": [(start_s, end_s)], "B": [(start_s, end_s)]}, 8 * 3600, end_s)
    assert result.shifting_s == {"A": 3000, "B": 3000}
    assert result.sole_s == {"A": 0, "B": 0}
    assert result.share == pytest.approx({"A": 25 / 60, "B": 25 / 60})


def test_three_same_periods_share_alike():
    result = momentary_bottleneck({name: [(0, 9)] for name in "ABC"}, 0, 9)
    assert result.segments == [Segment(0, 9, "A", "B & C")]
    assert result.share == pytest.approx({"A": 1 / 3, "B": 1 / 3, "C": 1 / 3})


def test_start_at_the_instant_the_holder_ends():
    """B is never the longest at any instant: C takes over from A at minute 10 and nothing shifts."""
    result = momentary_bottleneck({"A": [(0, 10)], "B": [(5, 11)], "C": [(10, 20)]}, 0, 20)
    assert result.segments == [Segment(0, 10, "A", None), Segment(10, 20, "C", None)]


def test_one_that_ends_with_the_holder_takes_no_part():
    """B is never the longest at any instant, so nothing shifts to it."""
    result = momentary_bottleneck({"A": [(0, 10)], "B": [(5, 10)], "C": [(10, 20)]}, 0, 20)
    assert result.segments == [Segment(0, 10, "A", None), Segment(10, 20, "C", None)]


def test_overlapping_hand_overs_do_not_count_twice():
    result = momentary_bottleneck({"A": [(0, 10), (9, 9)], "B": [(1, 13)], "C": [(9, 20)]}, 0, 20)
    assert result.segments == [
        Segment(0, 1, "A", None),
        Segment(1, 10, "A", "B"),
        Segment(10, 13, "B", "C"),
        Segment(13, 20, "C", None),
    ]


def test_periods_merge_and_are_cut_to_the_window():
    assert active_periods([(5, 7), (-3, 2), (2, 4), (7, 8), (6, 7.5), (30, 40)], 0, 10) == [(0, 4), (5, 8)]
    assert active_periods([(1, 2), (2.5, 3)], 0, 10) == [(1, 2), (2.5, 3)]
    assert active_periods([], 0, 10) == []


def test_nothing_active():
    result = momentary_bottleneck({"A": [], "B": [(4, 4)]}, 0, 10)
    assert result.segments == []
    assert result.share == {"A": 0.0, "B": 0.0}
    assert result.bottleneck is None
    assert momentary_bottleneck({}, 0, 10).bottleneck is None


@pytest.mark.parametrize(
    ("active", "window"),
    [({"A": [(3, 2)]}, (0, 10)), ({"A": [(0, float("nan"))]}, (0, 10)), ({"A": []}, (5, 5)), ({"A": []}, (5, 1))],
)
def test_impossible_intervals_are_refused(active, window):
    if not active["A"]:
        with pytest.raises(ValueError, match="window"):
            active_periods([], *window)
    else:
        with pytest.raises(ValueError, match="interval"):
            momentary_bottleneck(active, *window)


@st.composite
def activity(draw):
    names = draw(st.integers(1, 5))
    spans = st.tuples(st.integers(0, 60), st.integers(0, 60)).map(lambda pair: (min(pair), max(pair)))
    return {f"r{name}": draw(st.lists(spans, max_size=6)) for name in range(names)}


@settings(max_examples=200, deadline=None)
@given(activity())
def test_holds_to_the_definition_at_every_instant(active):
    """A slow reference: at each half minute the longest period covering it takes part in the segment."""
    result = momentary_bottleneck(active, 0, 60)
    periods = {name: active_periods(spans, 0, 60) for name, spans in active.items()}
    for before, after in zip(result.segments, result.segments[1:], strict=False):
        assert before.end_s <= after.start_s
    all_spans = {span for spans in periods.values() for span in spans}
    titled = set()  # spans that are the longest at some instant
    for tick in range(60):
        lengths = {span: span[1] - span[0] for span in all_spans if span[0] < tick + 0.5 < span[1]}
        titled |= {span for span, length in lengths.items() if length == max(lengths.values())}
    for tick in range(60):
        instant = tick + 0.5
        covering = {
            name: end - begin for name, spans in periods.items() for begin, end in spans if begin < instant < end
        }
        segment = next((part for part in result.segments if part.start_s < instant < part.end_s), None)
        assert (segment is None) == (not covering)
        if segment is not None:
            named = {segment.resource, *(segment.shifting_with or "").split(" & ")} - {""}
            assert named <= set(covering)  # nobody is blamed while waiting
            for name in named:
                assert any(begin < instant < end and (begin, end) in titled for begin, end in periods[name])
            if len(named) == 1:
                assert covering[segment.resource] == max(covering.values())
            elif len(named) == 2 and len(covering) == 2:
                assert named == set(covering)
    busy = sum(segment.end_s - segment.start_s for segment in result.segments)
    assert sum(result.share.values()) * 60 == pytest.approx(busy)
    assert sum(result.sole_s.values()) <= busy + 1e-9


@settings(max_examples=50, deadline=None)
@given(activity(), st.integers(1, 20))
def test_order_and_cutting_up_do_not_matter(active, cut):
    result = momentary_bottleneck(active, 0, 60)
    shuffled = {}
    for name, spans in active.items():
        pieces = [
            piece
            for begin, end in spans
            for piece in ([(begin, begin + cut), (begin + cut, end)] if begin + cut < end else [(begin, end)])
        ]
        random.Random(1).shuffle(pieces)
        shuffled[name] = pieces
    assert momentary_bottleneck(shuffled, 0, 60) == result
