"""The passes of one flight with their times, and the line that it drew over its field."""

from __future__ import annotations

from typing import NamedTuple

from simulator.operation.log import Sortie
from simulator.plan.fields import WorkProfile


class FlownPass(NamedTuple):
    """The part of one pass of a path that a flight sprayed, and when."""

    place: int
    from_part: float
    to_part: float
    start_s: float
    end_s: float


class LinePoint(NamedTuple):
    """A corner of a flown line: seconds from take-off, place on the field's own grid, whether it sprays from here."""

    time_s: float
    x_m: float
    y_m: float
    spraying: bool


def flown_passes(sortie: Sortie, profile: WorkProfile, ferry_speed_m_per_s: float, start_s: float) -> list[FlownPass]:
    """Return the passes of a flight that takes off at some time, in true order, at least one.

    They share its spraying time by length, and sum to its ``work_s``. What is between sums to its ``turn_s``: turns are
    equal once the flying across gaps is taken out.
    """
    path = profile.path
    first, first_part = path.place(sortie.area_from_m2, ending=False)
    last, last_part = path.place(sortie.area_to_m2, ending=True)
    last = max(first, last)
    links_s = _link_seconds(sortie, profile, first, last, ferry_speed_m_per_s)
    parts = [
        (at, first_part if at == first else 0.0, last_part if at == last else 1.0) for at in range(first, last + 1)
    ]
    lengths_m = [max(0.0, end - begin) * (path.path_m[at + 1] - path.path_m[at]) for at, begin, end in parts]
    whole_m = sum(lengths_m)
    passes, time_s = [], start_s + sortie.take_off_s + sortie.ferry_out_s
    for part, length_m, link_s in zip(parts, lengths_m, [*links_s, 0.0], strict=True):
        end_s = time_s + (sortie.work_s * length_m / whole_m if whole_m > 0.0 else 0.0)
        passes.append(FlownPass(*part, time_s, end_s))
        time_s = end_s + link_s
    return passes


def _link_seconds(
    sortie: Sortie, profile: WorkProfile, first: int, last: int, ferry_speed_m_per_s: float
) -> list[float]:
    """Return the seconds between each pass and the next, from pass ``first`` to ``last`` of a flight's path."""
    path = profile.path
    stretches = [path.stretch(path.cumulative_m2[at], path.cumulative_m2[at + 2]) for at in range(first, last)]
    # the day's flight time factor shows in how long the spraying took against its mean
    factor = sortie.work_s * profile.speed_m_per_s / sortie.path_m if sortie.path_m > 0.0 else 1.0
    gaps = [link.gap_m / ferry_speed_m_per_s * factor for link in stretches]
    turns = sum(link.turns for link in stretches)
    each = max(0.0, sortie.turn_s - sum(gaps)) / turns if turns else 0.0
    seconds = [gap + link.turns * each for gap, link in zip(gaps, stretches, strict=True)]
    whole = sum(seconds)
    scale = sortie.turn_s / whole if whole > 0.0 else 0.0
    return [length * scale for length in seconds]


def flown_line(sortie: Sortie, profile: WorkProfile, ferry_speed_m_per_s: float) -> list[LinePoint]:
    """Return the line of one flight: landing zone, passes in their true order, landing zone."""
    path, zone_m = profile.path, profile.path.zone
    points = [LinePoint(0.0, *zone_m, False), LinePoint(sortie.take_off_s, *zone_m, False)]
    for one in flown_passes(sortie, profile, ferry_speed_m_per_s, 0.0):
        points.append(LinePoint(one.start_s, *path.point(one.place, one.from_part), True))
        points.append(LinePoint(one.end_s, *path.point(one.place, one.to_part), False))
    home_s = points[-1].time_s + sortie.ferry_back_s
    return [*points, LinePoint(home_s, *zone_m, False), LinePoint(home_s + sortie.landing_s, *zone_m, False)]


def bundled(line: list[LinePoint], bundle: int) -> list[LinePoint]:
    """Keep every n-th pass of a flight whole, so that a record of very many passes stays small."""
    if bundle <= 1 or len(line) <= 8:
        return line
    passes = [count for count, point in enumerate(line) if point.spraying]
    keep = set(passes[::bundle]) | {passes[-1]}
    ends = {0, 1, len(line) - 2, len(line) - 1}
    return [point for count, point in enumerate(line) if count in ends or count in keep or count - 1 in keep]
