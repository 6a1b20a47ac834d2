"""Packs, and the shelf from which aircraft take charged ones."""

from __future__ import annotations

from simpy import Environment, Event

from simulator.operation.log import DayLog, Reason, State
from simulator.plan.equipment import PackPlan

DELAYS = {
    State.QUEUE: Reason.CHARGERS_BUSY,
    State.WAIT: Reason.CREW_BUSY,
    State.STOPPED: Reason.MOVING,
}
"""What delays a pack in a state, on its way from landing to charged; short power is counted as it is dealt."""
_ENOUGH_WH = 1e-6
"""A need met but for this much is met."""


class Pack:
    """One pack: its charge and what is happening to it."""

    __slots__ = ("brought", "delays_s", "energy_wh", "loads_on_charge", "name", "plan", "since_s", "state")

    def __init__(self, env: Environment, name: str, plan: PackPlan, energy_wh: float) -> None:
        self.name, self.plan, self.energy_wh = name, plan, energy_wh
        self.brought = env.event()
        """It has been taken off an aircraft, and is to be cooled and charged."""
        self.state = State.READY
        self.since_s = 0.0
        self.loads_on_charge = 0
        self.delays_s: dict[Reason, float] = {}

    @property
    def above_reserve_wh(self) -> float:
        """Energy that may be flown."""
        return self.energy_wh - self.plan.reserve_wh

    def serves(self, aircraft_class: str, need_wh: float) -> bool:
        """Tell whether an aircraft class can fly with it on what it holds."""
        return aircraft_class in self.plan.fits and self.energy_wh - self.plan.reserve_wh >= need_wh - _ENOUGH_WH

    def enter(self, now_s: float, state: State, log: DayLog) -> None:
        """Close the current state in the log and begin another."""
        log.add(self.since_s, now_s, self.name, self.state)
        delay = DELAYS.get(self.state)
        if delay is not None:
            self.delay(delay, now_s - self.since_s)
        if state is State.FLOWN:
            self.delays_s.clear()
        self.state, self.since_s = state, now_s

    def delay(self, reason: Reason, length_s: float) -> None:
        """Note that it will be charged later by that much, and why."""
        self.delays_s[reason] = self.delays_s.get(reason, 0.0) + length_s

    def waits(self, start_s: float, end_s: float) -> list[tuple[float, Reason]]:
        """Split an aircraft's wait for this pack by what had delayed the pack since it was last flown.

        A pack that stood in the queue for a charger would have been ready that much sooner with a free one, so that
        much of the wait is put down to the chargers; likewise for generator power, people and moves. What is left
        would have been waited for with any charger: there are too few packs. Of each part, its end (s) and reason.
        """
        parts: list[tuple[float, Reason]] = []
        at = start_s
        delays_s = self.delays_s
        present = DELAYS.get(self.state)
        if present is not None:
            delays_s = {**delays_s, present: delays_s.get(present, 0.0) + end_s - self.since_s}
        for reason, length in sorted(delays_s.items(), key=lambda item: -item[1]):
            end = min(end_s, at + length)
            if end > at:
                parts.append((end, reason))
                at = end
        if end_s > at or not parts:
            parts.append((end_s, Reason.TOO_FEW_PACKS))
        return parts


class Want:
    """An aircraft's wish for a pack that fits its class and holds enough; the event brings the pack.

    ``loads`` is how many loads in a row it would fly on the pack.
    """

    __slots__ = ("aircraft_class", "loads", "need_wh", "taken")

    def __init__(self, env: Environment, aircraft_class: str, need_wh: float, loads: int) -> None:
        self.aircraft_class, self.need_wh, self.loads = aircraft_class, need_wh, loads
        self.taken: Event = env.event()


class PackShelf:
    """Charged packs of a rig, and the aircraft that wait for one, in order of asking."""

    def __init__(self, env: Environment, most_wh: dict[str, float]) -> None:
        self._env, self._most_wh = env, most_wh
        self.ready: list[Pack] = []
        self.wants: list[Want] = []

    def take(self, aircraft_class: str, need_wh: float) -> Pack | None:
        """Take the fullest ready pack that fits and holds ``need_wh`` above its reserve; None when there is none."""
        best: Pack | None = None
        best_wh, enough_wh = need_wh - _ENOUGH_WH, self._most_wh[aircraft_class] - _ENOUGH_WH
        for pack in self.ready:
            above_wh = pack.energy_wh - pack.plan.reserve_wh
            if (above_wh >= best_wh if best is None else above_wh > best_wh) and aircraft_class in pack.plan.fits:
                best, best_wh = pack, above_wh + _ENOUGH_WH
                if above_wh >= enough_wh:
                    break
        if best is not None:
            self.ready.remove(best)
        return best

    def ask(self, aircraft_class: str, need_wh: float, loads: int) -> Event:
        """Ask for the next pack that fits; the event's value is the pack."""
        want = Want(self._env, aircraft_class, need_wh, loads)
        self.wants.append(want)
        return want.taken

    def give(self, pack: Pack) -> None:
        """Take a charged pack in, or hand it to the aircraft that has waited longest."""
        for want in self.wants:
            if pack.serves(want.aircraft_class, want.need_wh):
                self.wants.remove(want)
                want.taken.succeed(pack)
                return
        self.ready.append(pack)

    def stock(self, pack: Pack) -> int:
        """Return how many packs of its kind lie ready."""
        return sum([one.plan.fits == pack.plan.fits for one in self.ready])

    def wanted(self, pack: Pack, charge_wh: float) -> bool:
        """Tell whether an aircraft waits that could fly its load on this pack with that charge."""
        above_wh = charge_wh - pack.plan.reserve_wh
        fits = pack.plan.fits
        return any(one.aircraft_class in fits and above_wh >= one.need_wh - _ENOUGH_WH for one in self.wants)
