"""From landing to charged: cooling, the queue for a slot, plugging in, and the charge itself."""

from __future__ import annotations

import math
from collections.abc import Callable

from simulator.operation.crew import Crew, Job
from simulator.operation.kernel import DayClock, call_after
from simulator.operation.log import DayLog, Reason, State
from simulator.operation.packs import Pack, PackPool
from simulator.operation.power import PowerPoint, Session, Slot
from simulator.scenario.schema_rig import Task


class ChargingStation:
    """All chargers of a rig and the packs that wait for them, first cooled first served.

    Parameters
    ----------
    clock : DayClock
        Clock.
    points : list of PowerPoint
        Power points with their chargers.
    pool : PackPool
        Receives charged packs.
    crew : Crew
        Plugs packs in.
    log : DayLog
        The day's log.
    plug_in : Task
        The plug-in task.
    charge_to : float
        Share of capacity at which a pack is done.
    take_partly_charged : bool
        Whether waiting aircraft may take a pack early.
    draw_plug_in_s, draw_cooling_s, draw_balance_s : callable
        Durations for a pack (cooling: of its type).
    """

    def __init__(
        self,
        clock: DayClock,
        points: list[PowerPoint],
        pool: PackPool,
        crew: Crew,
        log: DayLog,
        plug_in: Task,
        charge_to: float,
        take_partly_charged: bool,
        draw_plug_in_s: Callable[[Pack], float],
        draw_cooling_s: Callable[[Pack], float],
        draw_balance_s: Callable[[Slot], float],
    ) -> None:
        self.clock, self.points, self.pool, self.crew, self.log, self.plug_in = clock, points, pool, crew, log, plug_in
        self._charge_to, self._partly = charge_to, take_partly_charged
        self._draw_plug_in_s, self._draw_cooling_s, self._draw_balance_s = (
            draw_plug_in_s,
            draw_cooling_s,
            draw_balance_s,
        )
        self._queue: list[Pack] = []
        self.cycles = 0
        if take_partly_charged:
            pool.chargers = self

    def bring(self, pack: Pack) -> None:
        """Take in a used pack: it cools first."""
        pack.enter(self.clock.now, State.COOL, self.log)
        cooling_s = self._draw_cooling_s(pack)
        if cooling_s > 0.0:
            call_after(self.clock, cooling_s, lambda _: self.queue(pack))
        else:
            self.queue(pack)

    def queue(self, pack: Pack) -> None:
        """Take in a cool pack: it waits for a slot."""
        if pack.energy_wh >= self.full_wh(pack) - 1e-6:
            self._ready(pack)
            return
        pack.enter(self.clock.now, State.QUEUE, self.log)
        self._queue.append(pack)
        self._assign()

    def _assign(self) -> None:
        place = 0
        while place < len(self._queue):
            pack = self._queue[place]
            slot = self._free_slot(pack)
            if slot is None:
                place += 1
                continue
            del self._queue[place]
            self._plug(pack, slot)

    def _free_slot(self, pack: Pack) -> Slot | None:
        """Return the free slot whose charger and source have most to give one pack more."""
        best: Slot | None = None
        most_w = 0.0
        pack_type = pack.plan.name
        for point in self.points:
            if point.taken == len(point.slots):
                continue
            for charger in point.chargers:
                plan = charger.plan
                if charger.taken == plan.slots or pack_type not in plan.serves:
                    continue
                share_w = plan.output_w / (charger.taken + 1)
                if plan.slot_w < share_w:
                    share_w = plan.slot_w
                source_w = point.plan.capacity_w * plan.efficiency / (point.taken + 1)
                if source_w < share_w:
                    share_w = source_w
                if best is None or share_w > most_w:
                    for slot in charger.slots:
                        if not slot.taken:
                            best, most_w = slot, share_w
                            break
        return best

    def _plug(self, pack: Pack, slot: Slot) -> None:
        slot.take()
        pack.enter(self.clock.now, State.WAIT, self.log)

        def plugged(_: Job) -> None:
            session = Session(pack, slot, self.full_wh(pack), self._draw_balance_s(slot), self.clock.now)
            slot.session = session
            pack.enter(self.clock.now, State.CHARGE, self.log)
            slot.point.start(session)
            self.pool.press()

        task = self.plug_in
        duration = self._draw_plug_in_s(pack)
        self.crew.request(
            Job(Reason.PLUG_IN, duration, task.people, task.by, self.crew.feed_priority, plugged, pack.name)
        )

    def charged(self, session: Session) -> None:
        """Balance a pack that has reached its target, then free the slot and hand the pack on."""
        if session.balance_s > 0.0:
            call_after(self.clock, session.balance_s, lambda _: self._release(session))
        else:
            self._release(session)

    def _release(self, session: Session) -> None:
        slot, pack, now = session.slot, session.pack, self.clock.now
        self.close(session, now)
        slot.give_back()
        self.cycles += 1
        self._ready(pack)
        self._assign()

    def close(self, session: Session, now_s: float) -> None:
        """Write the slot's log row up to now."""
        stored = session.pack.energy_wh - session.started_wh
        self.log.add(session.started_s, now_s, session.slot.name, State.CHARGE, Reason.NONE, session.pack.name, stored)

    def _ready(self, pack: Pack) -> None:
        if pack.energy_wh < self.full_wh(pack) - 1e-3 and not self.pool.wanted(pack, pack.energy_wh):
            # it was taken off early for an aircraft that has got another meanwhile
            self.queue(pack)
            return
        pack.loads_on_charge = 0
        pack.enter(self.clock.now, State.READY, self.log)
        self.pool.offer(pack)

    def full_wh(self, pack: Pack) -> float:
        """Return the charge at which a pack is done."""
        return pack.plan.capacity_wh * self._charge_to

    def soonest_s(self, aircraft_class: str) -> float:
        """Return the time until the next charge that fits an aircraft class ends.

        0 when a pack is ready or none charges.
        """
        if self._partly or any(aircraft_class in pack.plan.fits for pack in self.pool.ready):
            return 0.0
        soonest = math.inf
        for point in self.points:
            point.advance()
            for session in point.sessions:
                pack = session.pack
                if session.draw_w > 0.0 and aircraft_class in pack.plan.fits:
                    soonest = min(soonest, pack.plan.curve.time_s(pack.energy_wh, session.target_wh, session.draw_w))
        return soonest if math.isfinite(soonest) else 0.0

    def hand_on(self, pack: Pack) -> None:
        """Take a pack off an aircraft that does not need it: to whoever waits if it holds enough, else to a charger."""
        if self.pool.wanted(pack, pack.energy_wh):
            pack.enter(self.clock.now, State.READY, self.log)
            self.pool.offer(pack)
        else:
            self.bring(pack)

    def hurry(self, wants: list[tuple[str, float]]) -> None:
        """Set the target of every charge anew: a pack each for who waits, at what that one needs.

        Else the full charge.
        """
        free = [session for point in self.points for session in point.sessions]
        if not free:
            return
        targets = {id(session): self.full_wh(session.pack) for session in free}
        for point in self.points:
            point.advance()
        for aircraft_class, need_wh in wants:
            best: Session | None = None
            best_s = 0.0
            for session in free:
                pack = session.pack
                need = pack.plan.reserve_wh + need_wh
                if session.draw_w <= 0.0 or aircraft_class not in pack.plan.fits or need > self.full_wh(pack) + 1e-6:
                    continue
                wait_s = pack.plan.curve.time_s(pack.energy_wh, min(need, self.full_wh(pack)), session.draw_w)
                if best is None or wait_s < best_s:
                    best, best_s = session, wait_s
            if best is not None:
                free.remove(best)
                targets[id(best)] = min(best.pack.plan.reserve_wh + need_wh, self.full_wh(best.pack))
        for point in self.points:
            changed = False
            for session in point.sessions:
                target = targets[id(session)]
                changed = changed or abs(target - session.target_wh) > 1e-6
                session.target_wh = target
            if changed:
                # a pack that already holds enough is handed over at once, after whoever asked has stored the request
                call_after(self.clock, 0.0, lambda _, point=point: point.replan())  # type: ignore[misc]
