"""A power point: generator or grid, the chargers on it, who gets how much, and the fuel it burns."""

from __future__ import annotations

import math
from collections.abc import Callable

from simulator.operation.kernel import DayClock, Due, call_after
from simulator.operation.log import DayLog, Reason, State
from simulator.operation.packs import Pack
from simulator.operation.plan import PowerPointPlan
from simulator.operation.plan_equipment import ChargerPlan
from simulator.physics.sharing import share_bus

_TINY_WH = 1e-6
_FALL = 0.5
"""While power is short, shares are dealt anew whenever a pack's acceptance has fallen by half."""


class Session:
    """One pack on one slot; ``draw_w`` is the power stored, net of charger and pack losses."""

    __slots__ = (
        "balance_s",
        "capacity_wh",
        "curve",
        "done",
        "draw_w",
        "held_back",
        "limited",
        "lost_share",
        "output_w",
        "pack",
        "shared",
        "slot",
        "slot_w",
        "started_s",
        "started_wh",
        "stored_share",
        "target_wh",
        "terminal_share",
    )

    def __init__(self, pack: Pack, slot: Slot, target_wh: float, balance_s: float, now_s: float) -> None:
        self.pack, self.slot, self.target_wh, self.balance_s = pack, slot, target_wh, balance_s
        self.draw_w = 0.0
        self.held_back = False
        self.limited = False
        self.lost_share = 0.0
        self.started_s, self.started_wh = now_s, pack.energy_wh
        self.done = False
        charger = slot.charger.plan
        self.curve, self.capacity_wh = pack.plan.curve, pack.plan.capacity_wh
        self.slot_w, self.output_w = charger.slot_w, charger.output_w
        self.shared = charger.slots > 1
        # of the power at the bus, what reaches the pack's terminals; of that at the terminals, what is stored
        self.terminal_share, self.stored_share = charger.efficiency, pack.plan.charge_efficiency

    def acceptance_w(self) -> float:
        """Return the most that the pack takes now, at its terminals (W)."""
        return self.curve.acceptance_w(self.pack.energy_wh) / self.stored_share


class Slot:
    """One place on one charger."""

    __slots__ = ("charger", "name", "point", "session", "taken")

    def __init__(self, name: str, charger: Charger, point: PowerPoint) -> None:
        self.name, self.charger, self.point = name, charger, point
        self.taken = False
        self.session: Session | None = None

    def take(self) -> None:
        """Keep the slot for a pack."""
        self.taken = True
        self.charger.taken += 1
        self.point.taken += 1

    def give_back(self) -> None:
        """End the session; the slot is free."""
        self.taken, self.session = False, None
        self.charger.taken -= 1
        self.point.taken -= 1


class Charger:
    """One charger with its slots, and how many of them are taken."""

    __slots__ = ("plan", "slots", "taken")

    def __init__(self, name: str, plan: ChargerPlan, point: PowerPoint) -> None:
        self.plan = plan
        self.taken = 0
        self.slots = [Slot(f"{name}.{place}", self, point) for place in range(1, plan.slots + 1)]


class PowerPoint:
    """Shares what the source can give among packs, max-min fair, and re-plans only when something changes.

    Between changes every pack charges by the closed form of its curve under its share, so energy is exact and the
    source is never asked for more than it can give.

    Parameters
    ----------
    clock : DayClock
        Clock.
    name : str
        Unique name.
    plan : PowerPointPlan
        Its source and chargers.
    log : DayLog
        The day's log.
    charged : callable
        Called with the session whose pack has reached its target.
    ask_refuel : callable
        Called when the tank is at its refuelling level, and again when it is empty.
    """

    def __init__(
        self,
        clock: DayClock,
        name: str,
        plan: PowerPointPlan,
        log: DayLog,
        charged: Callable[[Session], None],
        ask_refuel: Callable[[PowerPoint], None],
    ) -> None:
        self.clock, self.name, self.plan, self.log = clock, name, plan, log
        self._charged, self._ask_refuel = charged, ask_refuel
        self.chargers = [
            Charger(f"{name}/{charger.name} {number}", charger, self)
            for charger, count in plan.chargers
            for number in range(1, count + 1)
        ]
        self.slots = [slot for charger in self.chargers for slot in charger.slots]
        self.sessions: list[Session] = []
        self.taken = 0
        self.on = False
        self.refuelling = False
        self.asked = 0
        self.fuel_l = plan.generator.fuel_tank_l if plan.generator is not None else math.inf
        self.fuel_burnt_l = 0.0
        self.bus_wh = 0.0
        self._since_s = clock.now
        self._bus_w = 0.0
        self._dealt_short = False
        self._dealt_running = False
        self._wake: Due | None = None
        self._generator, self._other_load_w = plan.generator, plan.other_load_w
        self._capacity_w = plan.capacity_w - plan.other_load_w

    @property
    def running(self) -> bool:
        """True while the source gives power."""
        return self.on and not self.refuelling and self.fuel_l > 1e-9

    def switch(self, on: bool) -> None:
        """Turn the source on or off (set-up, pack-up)."""
        self.replan(lambda: setattr(self, "on", on))

    def begin_refuel(self) -> None:
        """Stop for refuelling."""
        self.replan(lambda: setattr(self, "refuelling", True))

    def end_refuel(self) -> float:
        """Run again with a full tank; return the litres filled in."""
        generator = self.plan.generator
        if generator is None:
            return 0.0
        self.advance()
        filled = generator.fuel_tank_l - self.fuel_l
        self.fuel_l, self.refuelling, self.asked = generator.fuel_tank_l, False, 0
        self.replan()
        return filled

    def start(self, session: Session) -> None:
        """Put a pack on charge."""
        self.advance()
        self.sessions.append(session)
        self.replan()

    def advance(self) -> None:
        """Bring energies and fuel up to now under the current shares."""
        now = self.clock.now
        span = now - self._since_s
        if span <= 0.0:
            return
        bus_wh = 0.0
        for session in self.sessions:
            if session.limited:
                session.pack.delay(Reason.GENERATOR_LIMITED, session.lost_share * span)
            draw_w = session.draw_w
            if draw_w > 0.0:
                pack = session.pack
                before = pack.energy_wh
                after = session.curve.energy_after_wh(before, span, draw_w)
                if after > session.capacity_wh:
                    after = session.capacity_wh
                pack.energy_wh = after
                bus_wh += (after - before) / (session.terminal_share * session.stored_share)
        # what the shares were dealt on: the tank may have run dry since
        if self._dealt_running:
            bus_wh += self._other_load_w * span / 3600.0
            self.log.add(self._since_s, now, self.name, State.RUN, Reason.NONE, "", bus_wh)
            if self._generator is not None:
                burnt = self._generator.fuel.litres(bus_wh / 1000.0, span / 3600.0)
                self.fuel_burnt_l += burnt
                self.fuel_l = max(0.0, self.fuel_l - burnt)
        else:
            why = Reason.REFUEL if self.refuelling else Reason.FUEL if self.on else Reason.MOVING
            self.log.add(self._since_s, now, self.name, State.STOPPED, why)
        self.bus_wh += bus_wh
        self._since_s = now

    def replan(self, change: Callable[[], object] | None = None) -> None:
        """Settle the past, make a change, deal shares anew and set the next wake-up."""
        self.advance()
        if change is not None:
            change()
        self._finish_ready()
        self._deal()
        self._set_wake()
        generator = self._generator
        if generator is not None and self.on and not self.refuelling:
            # asked once at the refuelling level, and again, as urgent, when the tank is empty
            level = 2 if self.fuel_l <= 1e-9 else 1 if self.fuel_l <= generator.refuel_at_l + 1e-9 else 0
            if level > self.asked:
                self.asked = level
                self._ask_refuel(self)

    def _finish_ready(self) -> None:
        sessions = self.sessions
        finished = [session for session in sessions if session.pack.energy_wh >= session.target_wh - _TINY_WH]
        for session in finished:
            sessions.remove(session)
            session.done = True
            self._charged(session)

    def _deal(self) -> None:
        """Give every session its share of the source."""
        running = self._dealt_running = self.running
        if running and self._deal_plenty():
            return
        now = self.clock.now
        grid: list[list[float]] = []
        holders: list[list[Session]] = []
        limits: list[float] = []
        for charger in self.chargers:
            held = [slot.session for slot in charger.slots if slot.session is not None and not slot.session.done]
            plan = charger.plan
            holders.append(held)
            limits.append(plan.output_w / plan.efficiency)
            grid.append([min(session.acceptance_w(), plan.slot_w) / plan.efficiency for session in held])
        capacity = max(0.0, self._capacity_w) if running else 0.0
        wanted = sum(min(limit, sum(demands)) for limit, demands in zip(limits, grid, strict=True))
        short = wanted > capacity + 1e-6
        shares = share_bus(capacity, limits, grid)
        self._bus_w = 0.0
        self._dealt_short = False
        for held, given, demands in zip(holders, shares, grid, strict=True):
            for session, share, demand in zip(held, given, demands, strict=True):
                session.draw_w = share * session.slot.charger.plan.efficiency * session.pack.plan.charge_efficiency
                session.held_back = share < demand - 1e-6
                session.limited = short and session.held_back and self.on
                self._dealt_short = self._dealt_short or session.held_back
                session.lost_share = 1.0 - share / demand if session.limited else 0.0
                self._bus_w += share
                state = State.CHARGE if running and not session.limited else State.CHARGE_LIMITED
                if not self.on:
                    state = State.STOPPED
                if session.pack.state is not state:
                    session.pack.enter(now, state, self.log)

    def _deal_plenty(self) -> bool:
        """Give every session all that it takes when nothing limits it but itself; False when something else does."""
        sessions = self.sessions
        many = len(sessions) > 1
        total_w = 0.0
        for session in sessions:
            given = session.acceptance_w()
            if given > session.slot_w:
                given = session.slot_w
            if given > session.output_w + 1e-9 or (many and session.shared):
                return False
            session.draw_w = given * session.stored_share
            total_w += given / session.terminal_share
        if total_w > self._capacity_w:
            return False
        now = self.clock.now
        for session in sessions:
            session.held_back = session.limited = False
            session.lost_share = 0.0
            if session.pack.state is not State.CHARGE:
                session.pack.enter(now, State.CHARGE, self.log)
        self._bus_w, self._dealt_short = total_w, False
        return True

    def _set_wake(self) -> None:
        soonest = math.inf
        short = self._dealt_short
        for session in self.sessions:
            curve, energy, draw = session.curve, session.pack.energy_wh, session.draw_w
            if draw <= 0.0:
                continue
            full_s = curve.time_s(energy, session.target_wh, draw)
            if full_s < soonest:
                soonest = full_s
            if short and not session.held_back:
                soonest = min(soonest, curve.seconds_until_acceptance(energy, draw, draw * _FALL))
        generator = self._generator
        if generator is not None and self.running:
            # power only falls until the next change, so this time cannot come too late
            hourly = generator.fuel.litres((self._bus_w + self._other_load_w) / 1000.0, 1.0)
            level = self.fuel_l if self.asked else self.fuel_l - generator.refuel_at_l
            if hourly > 0.0:
                soonest = min(soonest, max(1.0, level / hourly * 3600.0))
        if math.isinf(soonest):
            self._wake = None
            return
        self._wake = call_after(self.clock, max(soonest, 1e-3), self._woken)

    def _woken(self, event: Due) -> None:
        if event is self._wake:
            self.replan()
