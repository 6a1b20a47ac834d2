"""What the conservation checks share: names in the log, tolerances, gaps, overlaps and peaks of intervals."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

from simulator.operation.log import RigEnd, Row, Sortie

if TYPE_CHECKING:
    from simulator.operation.day import SimulatedDay
    from simulator.plan.aircraft import AircraftPlan
    from simulator.plan.day_plan import DayPlan, RigPlan
    from simulator.plan.equipment import ChargerPlan, PowerPointPlan

TIME_S = 1e-5
"""Two times this near are the same."""
SHARE = 1e-6
"""Two amounts that differ by this share are the same."""

Span = tuple[float, float]


@dataclass(frozen=True)
class RigDay:
    """One rig's day, as checks are given it: log rows by entity, its flights in order of time, what it has left."""

    plan: DayPlan
    rig: RigPlan
    day: SimulatedDay
    rows: dict[str, list[Row]]
    sorties: list[Sortie]
    end: RigEnd
    units: dict[str, AircraftPlan]

    @cached_property
    def field_numbers(self) -> dict[str, int]:
        """Where each field stands in the plan."""
        return {one.name: index for index, one in enumerate(self.plan.fields)}


def people_of(rig: RigPlan) -> list[str]:
    """Return the people of a rig, pilots first, by the names they have in the log."""
    crew = rig.rig.crew
    numbers = (("pilot", crew.pilots), ("helper", crew.helpers))
    return [f"{rig.name}/{what} {count}" for what, number in numbers for count in range(1, number + 1)]


def charger_slots(point_name: str, point: PowerPointPlan) -> dict[str, list[tuple[str, ChargerPlan]]]:
    """Return the slots of each charger of a power point, by the names they have in the log."""
    return {
        f"{point_name}/{plan.name} {count}": [
            (f"{point_name}/{plan.name} {count}.{place}", plan) for place in range(1, plan.slots + 1)
        ]
        for plan, number in point.chargers
        for count in range(1, number + 1)
    }


def differ(got: float, expected: float, scale: float = 1.0) -> bool:
    """Tell whether two amounts differ by more than rounding, of the larger or of a scale."""
    return not abs(got - expected) <= SHARE * max(scale, abs(got), abs(expected))


def find_gaps(name: str, rows: list[Row], until_s: float) -> Iterator[str]:
    """Yield where intervals do not follow one another from 0 to an end."""
    at = 0.0
    for row in rows:
        if abs(row.start_s - at) > TIME_S:
            word = "gap" if row.start_s > at else "overlap"
            yield f"{name}: {word} between {at:.6f} s and {row.start_s:.6f} s, before {row.state} {row.reason}"
        at = row.end_s
    if at < until_s - TIME_S:
        yield f"{name}: nothing logged from {at:.6f} s to the paid end at {until_s:.6f} s"


def find_overlaps(name: str, spans: list[Span]) -> Iterator[str]:
    """Yield where two spans (s) of one entity lie over each other."""
    ordered = sorted(spans)
    for one, other in pairwise(ordered):
        if other[0] < one[1] - TIME_S:
            yield f"{name}: in two places from {other[0]:.6f} s; the earlier ends at {one[1]:.6f} s"


def peak(spans: Iterable[tuple[float, float, float]]) -> tuple[float, float]:
    """Return the largest sum of weights at one time, and that time; ends count before starts."""
    changes = sorted(
        change
        for start, end, weight in spans
        if end - start > 2 * TIME_S
        for change in ((start + TIME_S, weight), (end - TIME_S, -weight))
    )
    total = most = at = 0.0
    for time, weight in changes:
        total += weight
        if total > most:
            most, at = total, time
    return most, at
