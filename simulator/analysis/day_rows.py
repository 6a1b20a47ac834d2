"""One day's log as plain records, entity by entity, with every flight in its single passes and turns."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from simulator.analysis.flown_line import link_seconds
from simulator.analysis.log_rows import rows_by_entity, sortie_rows
from simulator.analysis.resources import resources
from simulator.operation.day import SimulatedDay
from simulator.operation.log import Kind, Reason, Row, Sortie, State
from simulator.plan.day_plan import DayPlan
from simulator.plan.fields import WorkProfile

_OWN = frozenset(Kind)


class Interval(NamedTuple):
    """One interval of one entity, in plain words; ``unit`` is that of the amount, empty where it has no meaning."""

    start_s: float
    end_s: float
    entity: str
    kind: str
    state: str
    reason: str
    field: str
    amount: float
    unit: str


@dataclass(frozen=True)
class DayRows:
    """Intervals of a day by entity, (field, start, end) of each rig's flights, and what each power point can give."""

    kinds: dict[str, str]
    entities: dict[str, list[Interval]]
    stays: dict[str, list[tuple[str, float, float]]]
    capacity_w: dict[str, float]
    day_start_s: float | None
    paid_until_s: float

    @classmethod
    def of(cls, day: SimulatedDay, plan: DayPlan | None = None) -> DayRows:
        """Collect a day's intervals.

        A plan gives the clock, units of product, what power points can give, and flights in single passes and turns;
        without it, spraying and turning of a flight are one interval each.
        """
        log = day.log
        rows = rows_by_entity(log)
        stays: dict[str, list[tuple[str, float, float]]] = defaultdict(list)
        expand = sortie_rows if plan is None else _expander(plan)
        for sortie in log.sorties:
            rows[sortie.aircraft] += expand(sortie)
            stays[sortie.aircraft.split("/", 1)[0]].append((sortie.field, sortie.start_s, sortie.end_s))
        product = "" if plan is None else "L" if plan.scenario.product.kind == "liquid" else "kg"
        entities = {
            name: [_interval(log.kinds[name], row, product) for row in sorted(own, key=lambda row: row[:2])]
            for name, own in rows.items()
        }
        capacity = (
            {}
            if plan is None
            else {f"{rig.name}/{point.name}": point.capacity_w for rig in plan.rigs for point in rig.power}
        )
        start = None if plan is None else float(plan.scenario.day.start)
        return cls(
            {name: str(kind) for name, kind in log.kinds.items()}, entities, stays, capacity, start, log.paid_until_s
        )

    def of_entity(self, name: str) -> list[Interval]:
        """Return the intervals of one entity in order of time."""
        return self.entities.get(name, [])

    def __iter__(self) -> Iterator[Interval]:
        """Yield every interval in order of time."""
        order = {name: place for place, name in enumerate(self.kinds)}
        rows = [row for part in self.entities.values() for row in part]
        yield from sorted(rows, key=lambda row: (row.start_s, order[row.entity], row.end_s))


def _interval(kind: str, row: Row, product: str) -> Interval:
    start_s, end_s, entity, state, reason, field, amount = row
    unit = _unit(kind, row, product)
    return Interval(start_s, end_s, entity, str(kind), str(state), str(reason), field, amount, unit)


def _unit(kind: str, row: Row, product: str) -> str:
    """Return the unit of a row's amount; empty when it has none."""
    if kind == Kind.AIRCRAFT:
        return "m2" if row.state == State.WORK else product if row.reason == Reason.FILL else ""
    if kind == Kind.SUPPLY:
        return product if row.reason in (Reason.MIX, Reason.RESTOCK) else ""
    if kind == Kind.POWER:
        return "L" if row.reason == Reason.REFUEL else "Wh" if row.state == State.RUN else ""
    if kind == Kind.CHARGER:
        return "Wh"
    return "m" if kind == Kind.RIG and row.reason == Reason.DRIVE else ""


def _expander(plan: DayPlan) -> Callable[[Sortie], list[Row]]:
    index = {one.name: place for place, one in enumerate(plan.fields)}
    speeds = {aircraft.name: aircraft.ferry_speed_m_per_s for rig in plan.rigs for aircraft, _ in rig.aircraft}

    def expand(sortie: Sortie) -> list[Row]:
        name = sortie.aircraft.split("/", 1)[1].rsplit(" ", 1)[0]
        return expanded_sortie(sortie, plan.profiles[name, index[sortie.field]], speeds[name])

    return expand


def expanded_sortie(sortie: Sortie, profile: WorkProfile, ferry_speed_m_per_s: float) -> list[Row]:
    """Return a flight as rows in true order: take-off, ferry, each pass and the turn after it, ferry, landing."""
    path = profile.path
    first, first_part = path.place(sortie.area_from_m2, ending=False)
    last, last_part = path.place(sortie.area_to_m2, ending=True)
    flight = sortie_rows(sortie)
    if last <= first or sortie.path_m <= 0.0:
        return flight
    passes: list[tuple[float, float]] = []
    totals = path.cumulative_m2
    for index in range(first, last + 1):
        begin = first_part if index == first else 0.0
        share = max(0.0, (last_part if index == last else 1.0) - begin)
        passes.append(
            (share * (path.path_m[index + 1] - path.path_m[index]), share * (totals[index + 1] - totals[index]))
        )
    links = link_seconds(sortie, profile, first, last, ferry_speed_m_per_s)
    length_m, area_m2 = sum(part for part, _ in passes), sortie.area_to_m2 - sortie.area_from_m2
    area_scale = area_m2 / sum(part for _, part in passes)
    rows = [row for row in flight if row.state in (State.TAKE_OFF, State.FERRY_OUT)]
    time = sortie.start_s + sortie.take_off_s + sortie.ferry_out_s
    for (path_m, part_m2), link_s in zip(passes, [*links, 0.0], strict=True):
        until = time + sortie.work_s * path_m / length_m
        rows.append(Row(time, until, sortie.aircraft, State.WORK, Reason.NONE, sortie.field, part_m2 * area_scale))
        time = until
        if link_s > 0.0:
            until = time + link_s
            rows.append(Row(time, until, sortie.aircraft, State.TURN, Reason.NONE, sortie.field, 0.0))
            time = until
    return rows + [row for row in flight if row.state in (State.FERRY_BACK, State.LANDING)]


class AddedKind(NamedTuple):
    """A kind of resource beside the model's own: its name, its entities' kind and states, and what it is waited for.

    ``lost`` are labels of aircraft time.
    """

    name: str
    kind: str
    states: tuple[str, ...]
    lost: tuple[str, ...]


def added_kinds() -> tuple[AddedKind, ...]:
    """Return the kinds of resource that were added to the model's own, in the order of reports."""
    return tuple(AddedKind(one.name, one.kind, one.states, one.lost) for one in resources() if one.kind not in _OWN)
