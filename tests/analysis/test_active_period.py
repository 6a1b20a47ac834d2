"""Active-period method against a worked example, a published test case and a slow reference."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.analysis.active_period import Segment, active_periods, momentary_bottleneck


def seconds(segments, *, shifting):
    """Return the seconds of each resource as the sole bottleneck, or in a shift."""
    found = {}
    for one in segments:
        names = [one.resource, *(one.shifting_with.split(" & ") if one.shifting_with else [])]
        for name in names if (len(names) > 1) is shifting else []:
            found[name] = found.get(name, 0) + one.end_s - one.start_s
    return found


def test_hand_example():
    """Own worked example of the definition by Roser, Nakano & Tanaka (2002), in minutes."""
    active = {"A": [(0, 10), (12, 30)], "B": [(3, 16), (20, 26)], "C": [(14, 24), (27, 40)]}
    segments, share = momentary_bottleneck(active, 0, 40)
    assert segments == [
        Segment(0, 3, "A", None),
        Segment(3, 10, "A", "B"),
        Segment(10, 12, "B", None),
        Segment(12, 16, "B", "A"),
        Segment(16, 27, "A", None),
        Segment(27, 30, "A", "C"),
        Segment(30, 40, "C", None),
    ]
    assert seconds(segments, shifting=False) == {"A": 14, "B": 2, "C": 10}
    assert seconds(segments, shifting=True) == {"A": 14, "B": 11, "C": 3}
    assert share == pytest.approx({"A": 21 / 40, "B": 7.5 / 40, "C": 11.5 / 40})


def test_same_period_twice_shifts_throughout():
    """Test case of the general library active_period_method 0.9.0: both active 08:10-09:00, both shifting 50 min."""
    start_s, end_s = (8 * 60 + 10) * 60, 9 * 3600
    segments, share = momentary_bottleneck({name: [(start_s, end_s)] for name in "AB"}, 8 * 3600, end_s)
    assert segments == [Segment(start_s, end_s, "A", "B")]
    assert share == pytest.approx({"A": 25 / 60, "B": 25 / 60})


@pytest.mark.parametrize(
    ("active", "segments"),
    [
        ({name: [(0, 9)] for name in "ABC"}, [(0, 9, "A", "B & C")]),
        # B is never the longest at any instant: C takes over from A at minute 10 and nothing shifts
        ({"A": [(0, 10)], "B": [(5, 11)], "C": [(10, 20)]}, [(0, 10, "A", None), (10, 20, "C", None)]),
        ({"A": [(0, 10)], "B": [(5, 10)], "C": [(10, 20)]}, [(0, 10, "A", None), (10, 20, "C", None)]),
        # overlapping hand-overs do not count twice
        (
            {"A": [(0, 10), (9, 9)], "B": [(1, 13)], "C": [(9, 20)]},
            [(0, 1, "A", None), (1, 10, "A", "B"), (10, 13, "B", "C"), (13, 20, "C", None)],
        ),
        ({"A": [], "B": [(4, 4)]}, []),
        ({}, []),
    ],
)
def test_who_takes_over(active, segments):
    found, share = momentary_bottleneck(active, 0, 20)
    assert found == segments
    assert sum(share.values()) * 20 == pytest.approx(sum(end - start for start, end, *_ in segments))
    assert share.keys() == active.keys()


def test_periods_merge_and_are_cut_to_the_window():
    assert active_periods([(5, 7), (-3, 2), (2, 4), (7, 8), (6, 7.5), (30, 40)], 0, 10) == [(0, 4), (5, 8)]
    assert active_periods([(1, 2), (2.5, 3)], 0, 10) == [(1, 2), (2.5, 3)]
    assert active_periods([], 0, 10) == []


@pytest.mark.parametrize(
    ("spans", "window", "word"),
    [([(3, 2)], (0, 10), "interval"), ([(0, float("nan"))], (0, 10), "interval"), ([], (5, 5), "window")],
)
def test_impossible_intervals_are_refused(spans, window, word):
    with pytest.raises(ValueError, match=word):
        momentary_bottleneck({"A": spans}, *window)


@st.composite
def activity(draw):
    names = draw(st.integers(1, 5))
    spans = st.tuples(st.integers(0, 60), st.integers(0, 60)).map(lambda pair: (min(pair), max(pair)))
    return {f"r{name}": draw(st.lists(spans, max_size=6)) for name in range(names)}


@settings(max_examples=200, deadline=None)
@given(activity())
def test_holds_to_the_definition_at_every_instant(active):
    """A slow reference: at each half minute the longest period covering it takes part in the segment."""
    segments, share = momentary_bottleneck(active, 0, 60)
    periods = {name: active_periods(spans, 0, 60) for name, spans in active.items()}
    assert all(before.end_s <= after.start_s for before, after in pairwise(segments))
    instants = [tick + 0.5 for tick in range(60)]
    titled = set()  # spans that are the longest at some instant
    for instant in instants:
        spans = {span for own in periods.values() for span in own if span[0] < instant < span[1]}
        longest = max((end - begin for begin, end in spans), default=0)
        titled |= {span for span in spans if span[1] - span[0] == longest}
    for instant in instants:
        covering = {name: span for name, own in periods.items() for span in own if span[0] < instant < span[1]}
        segment = next((part for part in segments if part.start_s < instant < part.end_s), None)
        assert (segment is None) == (not covering)
        if segment is not None:
            named = {segment.resource, *(segment.shifting_with or "").split(" & ")} - {""}
            assert named <= set(covering)  # nobody is blamed while waiting
            assert all(covering[name] in titled for name in named)
            lengths = {name: end - begin for name, (begin, end) in covering.items()}
            if len(named) == 1:
                assert lengths[segment.resource] == max(lengths.values())
            elif len(named) == 2 and len(covering) == 2:
                assert named == set(covering)
    assert sum(share.values()) * 60 == pytest.approx(sum(one.end_s - one.start_s for one in segments))


@settings(max_examples=50, deadline=None)
@given(activity(), st.integers(1, 20))
def test_order_and_cutting_up_do_not_matter(active, cut):
    shuffled = {}
    for name, spans in active.items():
        pieces = []
        for begin, end in spans:
            pieces += [(begin, begin + cut), (begin + cut, end)] if begin + cut < end else [(begin, end)]
        random.Random(1).shuffle(pieces)
        shuffled[name] = pieces
    assert momentary_bottleneck(shuffled, 0, 60) == momentary_bottleneck(active, 0, 60)
