"""Momentary bottleneck by the active-period method (Roser, Nakano & Tanaka 2002, Winter Simulation Conference).

A resource is *active* while it works, is being repaired or is changed over, and *inactive* while it waits for another.
At any instant the resource whose uninterrupted active period is longest is the momentary bottleneck: it has been
waiting for nobody for longest. While the active periods of one bottleneck and of the next overlap, the bottleneck is
*shifting* between them; otherwise it is the *sole* bottleneck.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
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


@dataclass(frozen=True)
class ActivePeriodResult:
    """What the active-period method says of one day.

    Seconds of shifting are counted with each resource that takes part; its share of the window is its sole seconds and
    its equal part of the shifting ones. Segments are in order of time, without stretches in which nothing is active.
    """

    window_s: float
    sole_s: dict[str, float]
    shifting_s: dict[str, float]
    share: dict[str, float]
    segments: list[Segment]

    @property
    def bottleneck(self) -> str | None:
        """The resource with the largest share (first by name among equals); None when nothing is active."""
        best = min(self.share, key=lambda name: (-self.share[name], name), default=None)
        return best if best is not None and self.share[best] > 0 else None


def active_periods(intervals: Iterable[Span], start_s: float, end_s: float) -> list[Span]:
    """Return intervals cut to a window, with touching and overlapping ones merged; a ValueError when one ends first."""
    if not end_s > start_s:
        raise ValueError(f"got a window from {start_s!r} to {end_s!r}; allowed is an end after the start")
    periods: list[Span] = []
    first, last = 0.0, 0.0
    pending = False
    for begin, end in sorted(intervals):
        if not end >= begin:
            raise ValueError(
                f"got an interval from {begin!r} to {end!r}; allowed is an end that is not before the start"
            )
        begin, end = max(begin, start_s), min(end, end_s)
        if end <= begin:
            continue
        if pending and begin <= last + TOUCH_S:
            last = max(last, end)
            continue
        if pending:
            periods.append((first, last))
        first, last, pending = begin, end, True
    if pending:
        periods.append((first, last))
    return periods


def momentary_bottleneck(active: Mapping[str, Sequence[Span]], start_s: float, end_s: float) -> ActivePeriodResult:
    """Return who was the bottleneck when, of resources' intervals of activity in any order.

    Resources that are active over exactly the same period tie, and shift among each other. Where more than two
    bottlenecks' periods overlap, an earlier hand-over is finished before the next one begins.
    """
    owners: dict[Span, list[str]] = {}
    for resource in active:
        for span in active_periods(active[resource], start_s, end_s):
            owners.setdefault(span, []).append(resource)
    segments: list[Segment] = []
    sole_s = dict.fromkeys(active, 0.0)
    shifting_s = dict.fromkeys(active, 0.0)
    held_s = dict.fromkeys(active, 0.0)

    def record(begin: float, end: float, names: list[str]) -> None:
        if end <= begin:
            return
        segments.append(Segment(begin, end, names[0], " & ".join(names[1:]) or None))
        kind_s = sole_s if len(names) == 1 else shifting_s
        for name in names:
            kind_s[name] += end - begin
            held_s[name] += (end - begin) / len(names)

    reigns = _reigns(sorted(owners))
    reached = start_s
    for place, span in enumerate(reigns):
        names = owners[span]
        following = reigns[place + 1] if place + 1 < len(reigns) else None
        reached = max(reached, span[0])
        hand_over = span[1] if following is None else min(span[1], max(reached, following[0]))
        record(reached, hand_over, names)
        if following is not None:
            # Names of both sides once each, those that hand over first.
            record(hand_over, span[1], list(dict.fromkeys([*names, *owners[following]])))
        reached = max(reached, span[1])
    window_s = end_s - start_s
    share = {name: held / window_s for name, held in held_s.items()}
    return ActivePeriodResult(window_s, sole_s, shifting_s, share, segments)


def _reigns(spans: list[Span]) -> list[Span]:
    """Return the spans that are the longest one at some instant, in order of time.

    A longer span can never lie inside a shorter one, so each span holds the title over one stretch at most. Among
    equally long ones the holder keeps it.
    """
    reigns: list[Span] = []
    waiting: list[tuple[float, float, float]] = []  # (-length, start, end): the longest on top
    holder: Span | None = None
    place = 0

    def admit(now_s: float) -> None:
        nonlocal place
        while place < len(spans) and spans[place][0] <= now_s:
            begin, end = spans[place]
            heapq.heappush(waiting, (begin - end, begin, end))
            place += 1

    while True:
        if holder is None:
            over_s = reigns[-1][1] if reigns else float("-inf")
            admit(over_s)  # one that starts at this very instant competes as well
            while waiting and waiting[0][2] <= over_s:
                heapq.heappop(waiting)  # ended while another held the title
            if not waiting:
                if place >= len(spans):
                    return reigns
                admit(spans[place][0])
        elif place < len(spans) and spans[place][0] < holder[1]:
            admit(spans[place][0])
            if -waiting[0][0] <= holder[1] - holder[0]:
                continue
        else:
            holder = None
            continue
        _, begin, end = heapq.heappop(waiting)
        holder = (begin, end)
        reigns.append(holder)
