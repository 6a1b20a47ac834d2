"""Chargers, their slots, and a pack on charge."""

from __future__ import annotations

from enum import IntEnum

from simpy import Event

from simulator.operation.packs import Pack
from simulator.plan.equipment import ChargerPlan


class Given(IntEnum):
    """What a pack on charge gets."""

    ALL = 0
    """What it accepts, and its slot gives."""
    REST = 1
    """What those before it in the order of need leave, which grows while they take less and less."""
    NOTHING = 2


class Charging:
    """One pack on one slot."""

    def __init__(self, pack: Pack, slot: Slot, target_wh: float, full: Event) -> None:
        self.pack, self.slot, self.target_wh, self.full = pack, slot, target_wh, full
        self.given = Given.NOTHING
        self.draw_w = self.wanted_before_w = 0.0
        """Stored power as it was dealt, and what it would have drawn from the source then."""
        self.held_back = self.limited = self.waited_for = False
        self.rank = 0
        """After those waited for, packs of a lower rank are served first."""
        self.unplugged = False
        """Whether it waits, off its charger, for power on a source that trips."""
        self.curve, self.capacity_wh = pack.plan.curve, pack.plan.capacity_wh
        charger = slot.charger.plan
        self.slot_w, self.output_w = charger.slot_w, charger.output_w
        self.shares_charger = charger.slots > 1
        # of the power at the bus, what reaches the pack's terminals; of that at the terminals, what is stored
        self.terminal_share, self.stored_share = charger.efficiency, pack.plan.charge_efficiency

    def takes_w(self, energy_wh: float) -> float:
        """Return the most that it takes at its terminals, holding an energy (W)."""
        return min(self.curve.acceptance_w(energy_wh) / self.stored_share, self.slot_w)

    def wanted_w(self) -> float:
        """Return what it would draw from the source now (W)."""
        return 0.0 if self.unplugged else self.takes_w(self.pack.energy_wh) / self.terminal_share

    def time_alone_s(self, target_wh: float | None = None) -> float:
        """Return the time until it is done, or holds a charge, were it alone on its source."""
        power_w = min(self.slot_w, self.output_w) * self.stored_share
        return self.curve.time_s(self.pack.energy_wh, self.target_wh if target_wh is None else target_wh, power_w)


def in_order_of_need(charging: list[Charging]) -> list[Charging]:
    """Return the packs on charge in the order in which they are served.

    First those waited for, then those of the kind that is fed first, by default that of which fewest lie ready, then
    the soonest done.
    """
    return sorted(charging, key=_need)


def _need(one: Charging) -> tuple[bool, int, float]:
    return not one.waited_for, one.rank, one.time_alone_s()


class Slot:
    """One place on one charger."""

    __slots__ = ("charger", "charging", "name", "taken")

    def __init__(self, name: str, charger: Charger) -> None:
        self.name, self.charger = name, charger
        self.taken = False
        self.charging: Charging | None = None


class Charger:
    """One charger with its slots."""

    __slots__ = ("number", "plan", "slots", "taken")

    def __init__(self, name: str, number: int, plan: ChargerPlan) -> None:
        self.plan, self.number, self.taken = plan, number, 0
        self.slots = [Slot(f"{name}.{place}", self) for place in range(1, plan.slots + 1)]

    def done_in_s(self, pack: Pack, full_wh: float) -> float:
        """Return the time until a pack would be full here, after those it charges now, were it alone on its source."""
        plan = self.plan
        power_w = min(plan.slot_w, plan.output_w) * pack.plan.charge_efficiency
        own_s = pack.plan.curve.time_s(pack.energy_wh, full_wh, power_w)
        # one that is being plugged in counts like this one
        before_s = [one.charging.time_alone_s() if one.charging else own_s for one in self.slots if one.taken]
        done_s = max(own_s, (sum(before_s) + own_s) * min(1.0, plan.slot_w / plan.output_w))
        return done_s if self.taken < plan.slots else max(done_s, min(before_s) + own_s)
