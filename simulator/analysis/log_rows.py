"""A day's log as rows: by entity, and flights among them; and what aircraft are called in it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from simulator.operation.log import DayLog, Reason, Row, Sortie, State
from simulator.plan.aircraft import AircraftPlan
from simulator.plan.day_plan import RigPlan


def rows_by_entity(log: DayLog) -> dict[str, list[Row]]:
    """Return the intervals of each entity, in the order of the log; of one that has none, an empty list."""
    rows: dict[str, list[Row]] = defaultdict(list)
    for row in log.rows:
        rows[row.entity].append(row)
    return rows


def sortie_rows(sortie: Sortie) -> list[Row]:
    """Return a flight as six rows in order; spraying stands before turning, whatever their true alternation."""
    rows = []
    time = sortie.start_s
    area = sortie.area_to_m2 - sortie.area_from_m2
    for state, length, amount in (
        (State.TAKE_OFF, sortie.take_off_s, 0.0),
        (State.FERRY_OUT, sortie.ferry_out_s, 0.0),
        (State.WORK, sortie.work_s, area),
        (State.TURN, sortie.turn_s, 0.0),
        (State.FERRY_BACK, sortie.ferry_back_s, 0.0),
        (State.LANDING, sortie.landing_s, 0.0),
    ):
        if length > 0.0 or amount:
            rows.append(Row(time, time + length, sortie.aircraft, state, Reason.NONE, sortie.field, amount))
        time += length
    return rows


def intervals(rows: Iterable[Row]) -> list[Row]:
    """Return the rows that last, in order of time."""
    return sorted(row for row in rows if row.end_s > row.start_s)


def aircraft_units(rig: RigPlan) -> dict[str, AircraftPlan]:
    """Return the aircraft of a rig by the names they have in the log."""
    return {f"{rig.name}/{plan.name} {count}": plan for plan, number in rig.aircraft for count in range(1, number + 1)}
