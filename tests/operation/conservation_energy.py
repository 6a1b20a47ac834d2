"""Conservation of energy: bus, chargers, packs and fuel of one rig, checked from the log."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator

from conservation_parts import (
    SHARE,
    TIME_S,
    RigDay,
    Span,
    charger_slots,
    differ,
    find_overlaps,
)  # fmt: skip

from simulator.analysis.active_period import active_periods
from simulator.analysis.log_rows import intervals
from simulator.operation.log import Reason, Row, Sortie, State

_ON_CHARGER = (State.CHARGE, State.CHARGE_LIMITED, State.STOPPED)


def _most_wh(power_w: float, start_s: float, stop_s: float) -> float:
    """Return the most that a power can give in a time, with room for rounding."""
    return power_w * (stop_s - start_s) / 3600.0 * (1 + SHARE) + 1e-6


def _running(rows: list[Row]) -> list[Row]:
    return [row for row in rows if row.state is State.RUN and row.reason is Reason.NONE]


def charger_and_bus(its: RigDay) -> Iterator[str]:
    """Check each power point: the bus against its chargers, and every limit on the way."""
    packs = its.rig.pack_types
    for point in its.rig.power:
        name = f"{its.rig.name}/{point.name}"
        into, rounding = 0.0, 0.0
        for charger, slots in charger_slots(name, point).items():
            spans = []
            for slot, plan in slots:
                for start, stop, _, _, _, pack, stored in its.rows[slot]:
                    efficiency = packs[pack].charge_efficiency
                    if stored < 0.0:
                        yield f"{slot}: charged {stored} Wh"
                    into += stored / (plan.efficiency * efficiency)
                    rounding += SHARE
                    spans.append((start, stop, stored / efficiency))
                    if stored > _most_wh(plan.slot_w * efficiency, start, stop):
                        lasts = f"from {start:.3f} to {stop:.3f} s"
                        yield f"{slot}: {stored} Wh stored {lasts} is above its {plan.slot_w} W"
            output = slots[0][1].output_w
            for start, stop, energy in _busy_periods(spans):
                if energy > _most_wh(output, start, stop):
                    yield f"{charger}: {energy} Wh given from {start:.3f} to {stop:.3f} s is above its {output} W"
        run = _running(its.rows[name])
        bus, other = sum(row.amount for row in run), point.other_load_w * sum(row.end_s - row.start_s for row in run)
        if differ(bus, into + other / 3600.0, 1.0 + rounding):
            yield f"{name}: {bus} Wh left the bus; chargers took {into} Wh and other loads {other / 3600.0} Wh"
        for row in run:
            if row.amount > _most_wh(point.capacity_w, row.start_s, row.end_s):
                lasts = f"from {row.start_s:.3f} to {row.end_s:.3f} s"
                yield f"{name}: {row.amount} Wh {lasts} is above {point.capacity_w} W"


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


def fuel_and_bus(its: RigDay) -> Iterator[str]:
    """Check the fuel burnt by energy and hours, what tanks held, and the rig's sums."""
    bus = fuel = 0.0
    for point in its.rig.power:
        name = f"{its.rig.name}/{point.name}"
        run = _running(its.rows[name])
        energy = sum(row.amount for row in run)
        bus += energy
        if point.generator is None:
            continue
        line, tank = point.generator.fuel, point.generator.fuel_tank_l
        burnt = line.litres(energy / 1000.0, sum(row.end_s - row.start_s for row in run) / 3600.0)
        fuel += burnt
        refuels = [row.amount for row in its.rows[name] if row.reason is Reason.REFUEL and row.state is State.RUN]
        # the tank may run dry within the second in which the source stops
        second = line.litres(point.capacity_w / 3.6e6, 1 / 3600.0) * (1 + len(refuels))
        if burnt > tank + sum(refuels) + second + SHARE:
            yield f"{name}: burnt {burnt} L of {tank} L and {sum(refuels)} L filled in"
        if refuels and max(refuels) > tank * (1 + SHARE):
            yield f"{name}: refuelled {max(refuels)} L into a tank of {tank} L"
    if differ(bus, its.end.bus_wh):
        yield f"{its.rig.name}: {its.end.bus_wh} Wh at the bus, logged {bus} Wh"
    if differ(fuel, its.end.fuel_burnt_l):
        yield f"{its.rig.name}: {its.end.fuel_burnt_l} L of fuel, by energy and hours {fuel} L"


def pack_energy(its: RigDay) -> Iterator[str]:
    """Check that each pack is in one place at a time, and follow its energy through the day."""
    rig, packs = its.rig, its.rig.pack_types
    on_slots: dict[str, list[Row]] = defaultdict(list)
    limits: dict[str, float] = {}
    for point in rig.power:
        for slots in charger_slots(f"{rig.name}/{point.name}", point).values():
            for slot, plan in slots:
                limits[slot] = plan.slot_w
                for row in its.rows[slot]:
                    on_slots[row.field].append(row)
    flown: dict[str, list[Sortie]] = defaultdict(list)
    for sortie in its.sorties:
        flown[sortie.pack].append(sortie)
    yield from (
        f"{name}: flown or charged, but no pack of {rig.name}" for name in [*on_slots, *flown] if name not in packs
    )
    for name in packs:
        states, charges = intervals(its.rows[name]), _spans(on_slots[name])
        flights = [(one.start_s, one.end_s) for one in flown[name]]
        yield from find_overlaps(name, flights + charges)
        charging = _spans([row for row in states if row.state in _ON_CHARGER])
        for what, spans, allowed in (
            ("flown", flights, _spans([row for row in states if row.state is State.FLOWN])),
            ("charged", charges, active_periods(charging, 0.0, math.inf)),
        ):
            for start, stop in spans:
                if not any(low - TIME_S <= start and stop <= high + TIME_S for low, high in allowed):
                    yield f"{name}: {what} from {start:.6f} to {stop:.6f} s, while its state is another"
        yield from _charge_course(
            its, name, sorted([*on_slots[name], *flown[name]], key=lambda one: one.start_s), limits
        )


def _spans(rows: list[Row]) -> list[Span]:
    return [(row.start_s, row.end_s) for row in rows]


def _charge_course(its: RigDay, name: str, events: list[Row | Sortie], limits: dict[str, float]) -> Iterator[str]:
    """Follow one pack's energy through the charges and flights of a day."""
    pack, energy, ended = its.rig.pack_types[name], its.end.pack_start_wh[name], its.end.pack_charge_wh[name]
    capacity, tolerance = pack.capacity_wh, SHARE * pack.capacity_wh
    for one in events:
        if isinstance(one, Sortie):
            if abs(energy - one.charge_before_wh) > tolerance:
                took_off = f"{name}: took off at {one.start_s:.3f} s with {one.charge_before_wh} Wh"
                yield f"{took_off}; start, charged and flown give {energy} Wh"
            energy = one.charge_before_wh - one.energy_wh
            if energy < pack.reserve_wh - tolerance:
                below = f"below the reserve of {pack.reserve_wh} Wh"
                yield f"{name}: landed at {one.end_s:.3f} s with {energy} Wh, {below}"
            continue
        before, energy = energy, energy + one.amount
        if energy > capacity + tolerance:
            yield f"{name}: holds {energy} Wh of {capacity} Wh at {one.end_s:.3f} s"
        # a little energy near the end of the charge takes long, so the bound is on what the time allows
        stored_w = limits[one.entity] * pack.charge_efficiency
        most = pack.curve.energy_after_wh(before, one.end_s - one.start_s, stored_w)
        if energy > most + tolerance:
            yield f"{name}: charged from {before} to {energy} Wh by {one.end_s:.3f} s; slot and pack allow {most} Wh"
    if abs(energy - ended) > tolerance:
        yield f"{name}: ends with {ended} Wh; start, charged and flown give {energy} Wh"
