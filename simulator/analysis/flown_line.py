"""The line that one flight drew over its field, with the time at every corner."""

from __future__ import annotations

from typing import NamedTuple

from simulator.operation.log import Sortie
from simulator.plan.fields import WorkProfile


class LinePoint(NamedTuple):
    """A corner of a flown line: seconds from take-off, place on the field's own grid, whether it sprays from here."""

    time_s: float
    x_m: float
    y_m: float
    spraying: bool


def flown_line(sortie: Sortie, profile: WorkProfile, ferry_speed_m_per_s: float) -> list[LinePoint]:
    """Return the line of one flight: landing zone, passes in their true order, landing zone.

    Spraying seconds sum to the flight's ``work_s``, links between passes to its ``turn_s``.
    """
    path = profile.path
    zone_x, zone_y = path.zone
    first, first_part = path.place(sortie.area_from_m2, ending=False)
    last, last_part = path.place(sortie.area_to_m2, ending=True)
    last = max(first, last)
    points = [LinePoint(0.0, zone_x, zone_y, False)]
    time = sortie.take_off_s
    points.append(LinePoint(time, zone_x, zone_y, False))
    time += sortie.ferry_out_s
    links = link_seconds(sortie, profile, first, last, ferry_speed_m_per_s)
    per_m = sortie.work_s / sortie.path_m if sortie.path_m > 0.0 else 0.0
    for index in range(first, last + 1):
        begin = first_part if index == first else 0.0
        end = last_part if index == last else 1.0
        points.append(LinePoint(time, *path.point(index, begin), True))
        time += (path.path_m[index + 1] - path.path_m[index]) * max(0.0, end - begin) * per_m
        points.append(LinePoint(time, *path.point(index, end), False))
        if index < last:
            time += links[index - first]
    time += sortie.ferry_back_s
    points.append(LinePoint(time, zone_x, zone_y, False))
    points.append(LinePoint(time + sortie.landing_s, zone_x, zone_y, False))
    return points


def link_seconds(
    sortie: Sortie, profile: WorkProfile, first: int, last: int, ferry_speed_m_per_s: float
) -> list[float]:
    """Return the seconds between each pass and the next, from pass ``first`` to ``last`` of a flight's path.

    Turns are equal once the flying across gaps is taken out; all sum to the flight's turning time.
    """
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


def bundled(line: list[LinePoint], bundle: int) -> list[LinePoint]:
    """Keep every n-th pass of a flight whole, so that a record of very many passes stays small."""
    if bundle <= 1 or len(line) <= 8:
        return line
    passes = [count for count, point in enumerate(line) if point.spraying]
    keep = set(passes[::bundle]) | {passes[-1]}
    ends = {0, 1, len(line) - 2, len(line) - 1}
    return [point for count, point in enumerate(line) if count in ends or count in keep or count - 1 in keep]
