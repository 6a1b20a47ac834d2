"""Packs and the hand-over of a charged pack to the aircraft that waits for it."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

from simulator.operation.kernel import DayClock
from simulator.operation.log import DayLog, Reason, State
from simulator.operation.plan_equipment import PackPlan

DELAYS = {
    State.QUEUE: Reason.CHARGERS_BUSY,
    State.CHARGE_LIMITED: Reason.GENERATOR_LIMITED,
    State.WAIT: Reason.CREW_BUSY,
    State.STOPPED: Reason.MOVING,
}
"""What delays a pack in a state, on its way from landing to charged."""


class Pack:
    """One pack: its charge and what is happening to it.

    Parameters
    ----------
    name : str
        Unique name.
    plan : PackPlan
        Its type.
    energy_wh : float
        Charge at the start of the day.
    """

    __slots__ = ("delays_s", "energy_wh", "loads_on_charge", "name", "plan", "since_s", "state")

    def __init__(self, name: str, plan: PackPlan, energy_wh: float) -> None:
        self.name, self.plan, self.energy_wh = name, plan, energy_wh
        self.state = State.READY
        self.since_s = 0.0
        self.loads_on_charge = 0
        self.delays_s: dict[Reason, float] = {}

    @property
    def above_reserve_wh(self) -> float:
        """Energy that may be flown."""
        return self.energy_wh - self.plan.reserve_wh

    def enter(self, now_s: float, state: State, log: DayLog, amount: float = 0.0) -> None:
        """Close the current state in the log and begin another; ``amount`` belongs to the one closed."""
        log.add(self.since_s, now_s, self.name, self.state, Reason.NONE, "", amount)
        delay = DELAYS.get(self.state)
        if delay is not None and self.state is not State.CHARGE_LIMITED:
            self.delay(delay, now_s - self.since_s)
        if state is State.FLOWN:
            self.delays_s.clear()
        self.state, self.since_s = state, now_s

    def delay(self, reason: Reason, length_s: float) -> None:
        """Note that it will be charged later by that much, and why."""
        self.delays_s[reason] = self.delays_s.get(reason, 0.0) + length_s

    def waits(self, start_s: float, end_s: float) -> list[tuple[float, float, Reason]]:
        """Split an aircraft's wait for this pack by what had delayed the pack since it was last flown.

        A pack that stood in the queue for a charger would have been ready that much sooner with a free one, so that
        much of the wait is put down to the chargers; likewise for generator power, people and moves. What is left
        would have been waited for with any charger: there are too few packs.
        """
        parts: list[tuple[float, float, Reason]] = []
        at = start_s
        delays_s = self.delays_s
        present = DELAYS.get(self.state)
        if present is not None and self.state is not State.CHARGE_LIMITED:
            delays_s = {**delays_s, present: delays_s.get(present, 0.0) + end_s - self.since_s}
        for reason, length in sorted(delays_s.items(), key=lambda item: -item[1]):
            end = min(end_s, at + length)
            if end > at:
                parts.append((at, end, reason))
                at = end
        if end_s > at or not parts:
            parts.append((at, end_s, Reason.TOO_FEW_PACKS))
        return parts


class Hurry(Protocol):
    """What the pool asks of the chargers when somebody waits for less than a full pack."""

    def hurry(self, wants: list[tuple[str, float]]) -> None:
        """Take a pack each off its charger, for aircraft classes and needs (Wh above reserve), once it holds enough."""


class PackPool:
    """Charged packs of a rig, and the aircraft waiting for one, in order of asking.

    Parameters
    ----------
    clock : DayClock
        Clock.
    """

    def __init__(self, clock: DayClock) -> None:
        self._clock = clock
        self.ready: list[Pack] = []
        self.most_wh: dict[str, float] = {}
        """The most above its reserve that a pack for an aircraft class ever holds; no search goes on beyond it."""
        self._waiting: list[tuple[str, float, Callable[[Pack], None]]] = []
        self.chargers: Hurry | None = None

    def take(self, aircraft_class: str, need_wh: float) -> Pack | None:
        """Take the fullest ready pack that fits and holds ``need_wh`` above its reserve; None when there is none."""
        best: Pack | None = None
        best_wh, enough_wh = need_wh - 1e-6, self.most_wh.get(aircraft_class, math.inf) - 1e-6
        for pack in self.ready:
            above_wh = pack.energy_wh - pack.plan.reserve_wh
            if (above_wh >= best_wh if best is None else above_wh > best_wh) and aircraft_class in pack.plan.fits:
                best, best_wh = pack, above_wh + 1e-6
                if above_wh >= enough_wh:
                    break
        if best is not None:
            self.ready.remove(best)
        return best

    def wait(self, aircraft_class: str, need_wh: float, call: Callable[[Pack], None]) -> None:
        """Ask for the next pack that fits; ``call`` gets it when it is ready."""
        self._waiting.append((aircraft_class, need_wh, call))
        self.press()

    def press(self) -> None:
        """Tell the chargers what the waiting aircraft need."""
        if self.chargers is not None:
            self.chargers.hurry([(aircraft_class, need_wh) for aircraft_class, need_wh, _ in self._waiting])

    def offer(self, pack: Pack) -> None:
        """Take a charged pack in, or hand it to the aircraft that has waited longest."""
        for place, (aircraft_class, need_wh, call) in enumerate(self._waiting):
            if aircraft_class in pack.plan.fits and pack.above_reserve_wh >= need_wh - 1e-6:
                del self._waiting[place]
                self.press()
                call(pack)
                return
        self.ready.append(pack)

    def wanted(self, pack: Pack, charge_wh: float) -> bool:
        """Tell whether an aircraft waits that could fly its load on this pack with that charge."""
        above = charge_wh - pack.plan.reserve_wh
        return any(aircraft in pack.plan.fits and above >= need_wh - 1e-6 for aircraft, need_wh, _ in self._waiting)
