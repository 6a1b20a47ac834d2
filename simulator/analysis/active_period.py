"""Momentary bottleneck by the active-period method (Roser, Nakano & Tanaka 2002, Winter Simulation Conference).

A resource is *active* while it works, is being repaired or is changed over, and *inactive* while it waits for another.
At any instant the resource whose uninterrupted active period is longest is the momentary bottleneck: it has been
waiting for nobody for longest. While the active periods of one bottleneck and of the next overlap, the bottleneck is
*shifting* between them; otherwise it is the *sole* bottleneck.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

TOUCH_S = 1e-6
"""Intervals this close are one active period: a resource that goes from task to task has not waited."""

Span = tuple[float, float]


class Segment(NamedTuple):
    """A stretch of time with one bottleneck, or with one that hands over to another, or others joined by " & "."""

    start_s: float
    end_s: float
    resource: str
    shifting_with: str | None


def active_periods(intervals: Iterable[Span], start_s: float, end_s: float) -> list[Span]:
    """Return intervals cut to a window, with touching and overlapping ones merged; a ValueError when one ends first."""
    if not end_s > start_s:
        raise ValueError(f"got a window from {start_s!r} to {end_s!r}; allowed is an end after the start")
    periods: list[Span] = []
    for begin, end in sorted(intervals):
        if not end >= begin:
            message = f"got an interval from {begin!r} to {end!r}; allowed is an end that is not before the start"
            raise ValueError(message)
        begin, end = max(begin, start_s), min(end, end_s)
        if end <= begin:
            continue
        if periods and begin <= periods[-1][1] + TOUCH_S:
            periods[-1] = (periods[-1][0], max(periods[-1][1], end))
        else:
            periods.append((begin, end))
    return periods


def momentary_bottleneck(
    active: Mapping[str, Sequence[Span]], start_s: float, end_s: float
) -> tuple[list[Segment], dict[str, float]]:
    """Return who of some resources was the bottleneck when, of their intervals of activity, and its share of the time.

    A second of shifting is parted evenly among those that take part. Resources that are active over exactly the same
    period tie, and shift among each other. Where more than two bottlenecks' periods overlap, an earlier hand-over is
    finished before the next one begins. Stretches in which nothing is active are left out.
    """
    owners: dict[Span, list[str]] = {}
    for resource in active:
        for span in active_periods(active[resource], start_s, end_s):
            owners.setdefault(span, []).append(resource)
    segments: list[Segment] = []
    held_s = dict.fromkeys(active, 0.0)
    reigns = _reigns(owners)
    reached = start_s
    for place, (begin, end) in enumerate(reigns):
        names, following = owners[begin, end], reigns[place + 1 : place + 2]
        reached = max(reached, begin)
        hand_over = min(end, max(reached, following[0][0])) if following else end
        # names of both sides once each, those that hand over first
        both = list(dict.fromkeys([*names, *(name for span in following for name in owners[span])]))
        for first_s, last_s, holders in ((reached, hand_over, names), (hand_over, end, both)):
            if last_s > first_s:
                segments.append(Segment(first_s, last_s, holders[0], " & ".join(holders[1:]) or None))
                for name in holders:
                    held_s[name] += (last_s - first_s) / len(holders)
        reached = max(reached, end)
    return segments, {name: held / (end_s - start_s) for name, held in held_s.items()}


def _reigns(spans: Iterable[Span]) -> list[Span]:
    """Return the spans that are the longest at some instant, in order of time; of equal ones the earlier."""
    starts: list[float] = []
    ends: list[float] = []
    for begin, end in sorted(spans, key=lambda span: (span[0] - span[1], span[0])):
        place = bisect_right(starts, begin)
        free_from = max(begin, ends[place - 1]) if place else begin
        if free_from < (min(end, starts[place]) if place < len(starts) else end):
            starts.insert(place, begin)
            ends.insert(place, end)
    return list(zip(starts, ends, strict=True))
