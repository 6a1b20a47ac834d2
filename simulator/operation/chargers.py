"""Chargers, their slots, and a pack on charge."""

from __future__ import annotations

from simpy import Event

from simulator.operation.packs import Pack
from simulator.plan.equipment import ChargerPlan


class Charging:
    """One pack on one slot; ``draw_w`` is the power stored, net of charger and pack losses."""

    def __init__(self, pack: Pack, slot: Slot, target_wh: float, full: Event) -> None:
        self.pack, self.slot, self.target_wh, self.full = pack, slot, target_wh, full
        self.draw_w = self.lost_share = 0.0
        self.held_back = self.limited = False
        self.curve, self.capacity_wh = pack.plan.curve, pack.plan.capacity_wh
        charger = slot.charger.plan
        self.slot_w, self.output_w = charger.slot_w, charger.output_w
        self.shares_charger = charger.slots > 1
        # of the power at the bus, what reaches the pack's terminals; of that at the terminals, what is stored
        self.terminal_share, self.stored_share = charger.efficiency, pack.plan.charge_efficiency

    def acceptance_w(self) -> float:
        """Return the most that the pack takes now, at its terminals (W)."""
        return self.curve.acceptance_w(self.pack.energy_wh) / self.stored_share


class Slot:
    """One place on one charger."""

    __slots__ = ("charger", "charging", "name", "taken")

    def __init__(self, name: str, charger: Charger) -> None:
        self.name, self.charger = name, charger
        self.taken = False
        self.charging: Charging | None = None


class Charger:
    """One charger with its slots."""

    __slots__ = ("plan", "slots", "taken")

    def __init__(self, name: str, plan: ChargerPlan) -> None:
        self.plan, self.taken = plan, 0
        self.slots = [Slot(f"{name}.{place}", self) for place in range(1, plan.slots + 1)]
