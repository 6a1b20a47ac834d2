"""One day's log as a table, one row an interval, with every flight in its single passes and turns."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from simulator.operation.log import Kind, Reason, Row, Sortie, State, sortie_rows
from simulator.report.numbers import clock_text

if TYPE_CHECKING:
    import pandas as pd

    from simulator.operation.day import SimulatedDay
    from simulator.operation.plan import DayPlan
    from simulator.operation.plan_fields import WorkProfile

COLUMNS = (
    "start_s", "end_s", "clock_start", "clock_end", "entity", "kind", "activity", "reason", "field", "amount", "unit",
)  # fmt: skip


def expanded_sortie(sortie: Sortie, profile: WorkProfile, ferry_speed_m_per_s: float) -> list[Row]:
    """Return a flight as rows in true order: take-off, ferry, each pass and the turn after it, ferry, landing.

    Time, area and their sums are those of the flight: passes share the spraying time by length, turns are equal once
    the flying across gaps is taken out.

    Parameters
    ----------
    sortie : Sortie
        The flight.
    profile : WorkProfile
        Its class's work on its field.
    ferry_speed_m_per_s : float
        Speed across gaps.
    """
    path = profile.path
    first, first_part = path.place(sortie.area_from_m2, ending=False)
    last, last_part = path.place(sortie.area_to_m2, ending=True)
    flight = sortie_rows(sortie)
    if last <= first or sortie.path_m <= 0.0:
        return flight
    passes: list[tuple[float, float]] = []
    links: list[tuple[int, float]] = []
    totals = path.cumulative_m2
    for index in range(first, last + 1):
        begin = first_part if index == first else 0.0
        end = last_part if index == last else 1.0
        share = max(0.0, end - begin)
        length = path.path_m[index + 1] - path.path_m[index]
        passes.append((share * length, share * (totals[index + 1] - totals[index])))
        if index < last:
            link = path.stretch(totals[index], totals[index + 2])
            links.append((link.turns, link.gap_m))
    # the day's flight time factor shows in how long the spraying took against its mean
    factor = sortie.work_s * profile.speed_m_per_s / sortie.path_m
    gap_s = [gap_m / ferry_speed_m_per_s * factor for _, gap_m in links]
    turns = sum(number for number, _ in links)
    turn_s = max(0.0, sortie.turn_s - sum(gap_s)) / turns if turns else 0.0
    link_s = [gap + number * turn_s for gap, (number, _) in zip(gap_s, links, strict=True)]
    scale = sortie.turn_s / sum(link_s) if sum(link_s) > 0.0 else 0.0
    length_m, area_m2 = sum(part for part, _ in passes), sortie.area_to_m2 - sortie.area_from_m2
    area_scale = area_m2 / sum(part for _, part in passes)
    rows = [row for row in flight if row.state in (State.TAKE_OFF, State.FERRY_OUT)]
    time = sortie.start_s + sortie.take_off_s + sortie.ferry_out_s
    for number, (path_m, part_m2) in enumerate(passes):
        until = time + sortie.work_s * path_m / length_m
        rows.append(Row(time, until, sortie.aircraft, State.WORK, Reason.NONE, sortie.field, part_m2 * area_scale))
        time = until
        if number < len(links) and link_s[number] > 0.0:
            until = time + link_s[number] * scale
            rows.append(Row(time, until, sortie.aircraft, State.TURN, Reason.NONE, sortie.field, 0.0))
            time = until
    return rows + [row for row in flight if row.state in (State.FERRY_BACK, State.LANDING)]


@dataclass(frozen=True)
class DayRows:
    """All intervals of a day by entity, in order of time.

    Parameters
    ----------
    kinds : dict
        Entity to kind.
    entities : dict
        Entity to its rows.
    stays : dict
        Rig to (field, start, end) of its flights.
    day_start_s : float or None
        Start of the day after midnight; None when not known.
    paid_until_s : float
        End of the paid day.
    product_unit : str
        ``"L"`` or ``"kg"``; empty when not known.
    """

    kinds: dict[str, Kind]
    entities: dict[str, list[Row]]
    stays: dict[str, list[tuple[str, float, float]]] = field(default_factory=dict)
    day_start_s: float | None = None
    paid_until_s: float = 0.0
    product_unit: str = ""

    @classmethod
    def of(cls, day: SimulatedDay, plan: DayPlan | None) -> DayRows:
        """Collect a day's rows.

        Parameters
        ----------
        day : SimulatedDay
            The day.
        plan : DayPlan or None
            Its plan; without it, spraying and turning of a flight are one row each.
        """
        entities: dict[str, list[Row]] = defaultdict(list)
        stays: dict[str, list[tuple[str, float, float]]] = defaultdict(list)
        for row in day.log.rows:
            entities[row.entity].append(row)
        expand = _expander(plan)
        for sortie in day.log.sorties:
            entities[sortie.aircraft] += expand(sortie)
            stays[sortie.aircraft.split("/", 1)[0]].append((sortie.field, sortie.start_s, sortie.end_s))
        for rows in entities.values():
            rows.sort(key=lambda row: (row.start_s, row.end_s))
        start = None if plan is None else float(plan.scenario.day.start)
        unit = "" if plan is None else "L" if plan.scenario.product.kind == "liquid" else "kg"
        return cls(day.log.kinds, dict(entities), dict(stays), start, day.log.paid_until_s, unit)

    def of_entity(self, name: str) -> list[Row]:
        """Return the rows of one entity in order of time."""
        return self.entities.get(name, [])

    def __iter__(self) -> Iterator[tuple[Kind, Row]]:
        """Yield every row with its entity's kind, in order of time."""
        order = {name: place for place, name in enumerate(self.kinds)}
        rows = [row for part in self.entities.values() for row in part]
        rows.sort(key=lambda row: (row.start_s, order.get(row.entity, 0), row.end_s))
        for row in rows:
            yield self.kinds[row.entity], row


def _expander(plan: DayPlan | None) -> Any:
    if plan is None:
        return sortie_rows
    index = {one.name: place for place, one in enumerate(plan.fields)}
    speeds = {aircraft.name: aircraft.ferry_speed_m_per_s for rig in plan.rigs for aircraft, _ in rig.aircraft}

    def expand(sortie: Sortie) -> list[Row]:
        name = sortie.aircraft.split("/", 1)[1].rsplit(" ", 1)[0]
        return expanded_sortie(sortie, plan.profiles[name, index[sortie.field]], speeds[name])

    return expand


def _unit(kind: Kind, row: Row, product: str) -> str:
    """Return the unit of a row's amount; empty when it has none."""
    if kind is Kind.AIRCRAFT:
        return "m2" if row.state is State.WORK else product if row.reason is Reason.FILL else ""
    if kind is Kind.SUPPLY:
        return product if row.reason in (Reason.MIX, Reason.RESTOCK) else ""
    if kind is Kind.POWER:
        return "L" if row.reason is Reason.REFUEL else "Wh" if row.state is State.RUN else ""
    if kind is Kind.CHARGER:
        return "Wh"
    return "m" if kind is Kind.RIG and row.reason is Reason.DRIVE else ""


def day_frame(day: SimulatedDay, plan: DayPlan | None = None) -> pd.DataFrame:
    """Return a day's log as a table.

    Parameters
    ----------
    day : SimulatedDay
        The day.
    plan : DayPlan, optional
        Its plan: gives clock times, the unit of product, and flights in single passes and turns.

    Returns
    -------
    pandas.DataFrame
        One row an interval in order of time: ``start_s``, ``end_s`` (s from the start of the day), ``clock_start``,
        ``clock_end`` (None without a plan), ``entity``, ``kind``, ``activity``, ``reason``, ``field`` (of a person's
        task or a charge: what it was done to), ``amount``, ``unit`` (m2 sprayed, L or kg filled and mixed, Wh from the
        supply or into a pack, L of fuel, m driven; empty where an amount has no meaning).
    """
    import pandas as pd

    rows = DayRows.of(day, plan)
    records = []
    for kind, row in rows:
        clocks: list[str | None] = [None, None]
        if rows.day_start_s is not None:
            clocks = [clock_text(rows.day_start_s + time, with_seconds=True) for time in (row.start_s, row.end_s)]
        texts = (row.entity, kind.value, row.state.value, row.reason.value, row.field)
        records.append((row.start_s, row.end_s, *clocks, *texts, row.amount, _unit(kind, row, rows.product_unit)))
    return pd.DataFrame.from_records(records, columns=list(COLUMNS))
