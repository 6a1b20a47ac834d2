"""Conservation of energy: bus, chargers, packs and fuel of one rig, checked from the log."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import TYPE_CHECKING

from simulator.analysis.conservation_parts import (
    SHARE,
    TIME_S,
    Span,
    charger_slots,
    differ,
    find_overlaps,
    intervals,
)
from simulator.operation.log import Reason, RigEnd, Row, Sortie, State

if TYPE_CHECKING:
    from simulator.plan.day_plan import RigPlan
    from simulator.plan.equipment import PackPlan, PowerPointPlan

_ON_CHARGER = (State.CHARGE, State.CHARGE_LIMITED, State.STOPPED)


def energy_violations(rig: RigPlan, rows: dict[str, list[Row]], sorties: list[Sortie], end: RigEnd) -> Iterator[str]:
    """Yield what does not add up in watt-hours and litres of fuel.

    Parameters
    ----------
    rig : RigPlan
        The rig.
    rows : dict
        Log rows by entity.
    sorties : list of Sortie
        The rig's flights in order of time.
    end : RigEnd
        What the rig has left.
    """
    for point in rig.power:
        yield from _power(f"{rig.name}/{point.name}", point, rig, rows)
    yield from _fuel_and_bus(rig, rows, end)
    yield from _packs(rig, rows, sorties, end)


def _power(name: str, point: PowerPointPlan, rig: RigPlan, rows: dict[str, list[Row]]) -> Iterator[str]:
    """Check one power point: the bus against its chargers, and every limit on the way."""
    packs = rig.pack_types
    run = [row for row in rows[name] if row.state is State.RUN and row.reason is Reason.NONE]
    hours = sum(row.end_s - row.start_s for row in run) / 3600.0
    bus = sum(row.amount for row in run)
    into, rounding = 0.0, 0.0
    for charger, slots in charger_slots(name, point).items():
        spans = []
        for slot, plan in slots:
            for row in rows[slot]:
                pack = packs[row.field]
                if row.amount < 0.0:
                    yield f"{slot}: charged {row.amount} Wh"
                into += row.amount / (plan.efficiency * pack.charge_efficiency)
                rounding += SHARE
                spans.append((row.start_s, row.end_s, row.amount / pack.charge_efficiency))
                if (
                    row.amount
                    > plan.slot_w * pack.charge_efficiency * (row.end_s - row.start_s) / 3600.0 * (1 + SHARE) + 1e-6
                ):
                    yield (
                        f"{slot}: {row.amount} Wh stored from {row.start_s:.3f} "
                        f"to {row.end_s:.3f} s is above its {plan.slot_w} W"
                    )
        output = slots[0][1].output_w
        for start, stop, energy in _busy_periods(spans):
            if energy > output * (stop - start) / 3600.0 * (1 + SHARE) + 1e-6:
                yield f"{charger}: {energy} Wh given from {start:.3f} to {stop:.3f} s is above its {output} W"
    if differ(bus, into + point.other_load_w * hours, 1.0 + rounding):
        yield f"{name}: {bus} Wh left the bus; chargers took {into} Wh and other loads {point.other_load_w * hours} Wh"
    for row in run:
        if row.amount > point.capacity_w * (row.end_s - row.start_s) / 3600.0 * (1 + SHARE) + 1e-6:
            yield f"{name}: {row.amount} Wh from {row.start_s:.3f} to {row.end_s:.3f} s is above {point.capacity_w} W"


def _busy_periods(spans: list[tuple[float, float, float]]) -> Iterator[tuple[float, float, float]]:
    """Yield periods in which at least one span is open, with the sum of their amounts."""
    start = stop = total = 0.0
    for first, last, amount in sorted(spans):
        if total and first > stop + TIME_S:
            yield start, stop, total
            total = 0.0
        if not total:
            start, stop = first, last
        stop, total = max(stop, last), total + amount
    if total:
        yield start, stop, total


def _fuel_and_bus(rig: RigPlan, rows: dict[str, list[Row]], end: RigEnd) -> Iterator[str]:
    bus = fuel = 0.0
    for point in rig.power:
        name = f"{rig.name}/{point.name}"
        run = [row for row in rows[name] if row.state is State.RUN and row.reason is Reason.NONE]
        energy = sum(row.amount for row in run)
        bus += energy
        if point.generator is None:
            continue
        burnt = point.generator.fuel.litres(energy / 1000.0, sum(row.end_s - row.start_s for row in run) / 3600.0)
        fuel += burnt
        refuels = [row.amount for row in rows[name] if row.reason is Reason.REFUEL and row.state is State.RUN]
        # the tank may run dry within the second in which the source stops
        second = point.generator.fuel.litres(point.capacity_w / 3.6e6, 1 / 3600.0) * (1 + len(refuels))
        if burnt > point.generator.fuel_tank_l + sum(refuels) + second + SHARE:
            yield f"{name}: burnt {burnt} L of {point.generator.fuel_tank_l} L and {sum(refuels)} L filled in"
        if refuels and max(refuels) > point.generator.fuel_tank_l * (1 + SHARE):
            yield f"{name}: refuelled {max(refuels)} L into a tank of {point.generator.fuel_tank_l} L"
    if differ(bus, end.bus_wh):
        yield f"{rig.name}: {end.bus_wh} Wh at the bus, logged {bus} Wh"
    if differ(fuel, end.fuel_burnt_l):
        yield f"{rig.name}: {end.fuel_burnt_l} L of fuel, by energy and hours {fuel} L"


def _packs(rig: RigPlan, rows: dict[str, list[Row]], sorties: list[Sortie], end: RigEnd) -> Iterator[str]:
    packs = rig.pack_types
    on_slots: dict[str, list[Row]] = defaultdict(list)
    limits: dict[str, float] = {}
    for point in rig.power:
        for slots in charger_slots(f"{rig.name}/{point.name}", point).values():
            for slot, plan in slots:
                limits[slot] = plan.slot_w
                for row in rows[slot]:
                    on_slots[row.field].append(row)
    flown: dict[str, list[Sortie]] = defaultdict(list)
    for sortie in sorties:
        flown[sortie.pack].append(sortie)
    for name in [*on_slots, *flown]:
        if name not in packs:
            yield f"{name}: flown or charged, but no pack of {rig.name}"
    for name, pack in packs.items():
        states = intervals(rows[name])
        places = [(one.start_s, one.end_s) for one in flown[name]]
        yield from find_overlaps(name, places + [(row.start_s, row.end_s) for row in on_slots[name]])
        yield from _inside(
            name, "flown", places, [(row.start_s, row.end_s) for row in states if row.state is State.FLOWN]
        )
        charging = [(row.start_s, row.end_s) for row in states if row.state in _ON_CHARGER]
        yield from _inside(name, "charged", [(row.start_s, row.end_s) for row in on_slots[name]], _joined(charging))
        yield from _charge_course(name, pack, end.pack_start_wh[name], on_slots[name], flown[name], limits, end)


def _inside(name: str, what: str, spans: list[Span], allowed: list[Span]) -> Iterator[str]:
    for start, stop in spans:
        if not any(low - TIME_S <= start and stop <= high + TIME_S for low, high in allowed):
            yield f"{name}: {what} from {start:.6f} to {stop:.6f} s, while its state is another"


def _joined(spans: list[Span]) -> list[Span]:
    joined: list[Span] = []
    for start, stop in sorted(spans):
        if joined and start <= joined[-1][1] + TIME_S:
            joined[-1] = (joined[-1][0], stop)
        else:
            joined.append((start, stop))
    return joined


def _charge_course(
    name: str,
    pack: PackPlan,
    start_wh: float,
    charges: list[Row],
    flown: list[Sortie],
    limits: dict[str, float],
    end: RigEnd,
) -> Iterator[str]:
    """Follow one pack's energy through the day."""
    energy = start_wh
    tolerance = SHARE * pack.capacity_wh
    events: list[tuple[float, Row | Sortie]] = [(row.start_s, row) for row in charges]
    events += [(one.start_s, one) for one in flown]
    for time, event in sorted(events, key=lambda item: item[0]):
        if isinstance(event, Sortie):
            if abs(energy - event.charge_before_wh) > tolerance:
                yield (
                    f"{name}: took off at {time:.3f} s with {event.charge_before_wh} "
                    f"Wh; start, charged and flown give {energy} Wh"
                )
            energy = event.charge_before_wh - event.energy_wh
            if energy < pack.reserve_wh - tolerance:
                yield (
                    f"{name}: landed at {event.end_s:.3f} s with {energy} Wh, below the reserve of {pack.reserve_wh} Wh"
                )
            continue
        before, energy = energy, energy + event.amount
        if energy > pack.capacity_wh + tolerance:
            yield f"{name}: holds {energy} Wh of {pack.capacity_wh} Wh at {event.end_s:.3f} s"
        # a little energy near the end of the charge takes long, so the bound is on what the time allows
        most = pack.curve.energy_after_wh(
            before, event.end_s - event.start_s, limits[event.entity] * pack.charge_efficiency
        )
        if energy > most + tolerance:
            yield f"{name}: charged from {before} to {energy} Wh by {event.end_s:.3f} s; slot and pack allow {most} Wh"
    if abs(energy - end.pack_charge_wh[name]) > tolerance:
        yield f"{name}: ends with {end.pack_charge_wh[name]} Wh; start, charged and flown give {energy} Wh"
