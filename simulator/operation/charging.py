"""A pack's way from landing to ready: cool, wait for a slot, plug in, charge, balance."""

from __future__ import annotations

import math

from simpy import Environment, Event
from simpy.events import ProcessGenerator

from simulator.operation.chargers import Charger, Charging, Slot
from simulator.operation.crew import Crew
from simulator.operation.log import DayLog, Reason, State
from simulator.operation.packs import Pack, PackShelf, Want
from simulator.operation.people import Task
from simulator.operation.power import PowerSource
from simulator.plan.day_plan import RigPlan
from simulator.plan.equipment import PackPlan
from simulator.scenario.streams import DayStreams

Place = tuple[PowerSource, Slot]
_FULL_WH = 1e-6
_NEARLY_FULL_WH = 1e-3
_SPARE = 0.1
"""A pack that is taken early holds so much more than the load needs on average, or flights would be cut short."""


class ChargingStation:
    """All chargers of a rig, the packs that wait for a slot (first cooled first served), and the shelf they go to."""

    def __init__(
        self,
        env: Environment,
        rig: RigPlan,
        sources: list[PowerSource],
        packs: list[PackPlan],
        shelf: PackShelf,
        crew: Crew,
        log: DayLog,
        streams: DayStreams,
    ) -> None:
        self.env, self.sources, self.shelf, self.crew, self.log = env, sources, shelf, crew, log
        self.cycles = 0
        self._charge_to, name = rig.rig.charge_to, rig.name
        self._early, self._fed_first = rig.habits.take_early, rig.habits.fed_first
        self._plug_in = rig.rig.crew.tasks.plug_in
        self._draw_plug_in_s = streams.draws(f"plug_in/{name}", self._plug_in.time)
        draws = streams.draws
        self._draw_cooling_s = {one.name: draws(f"cooling/{name}/{one.name}", one.cooling_time) for one in packs}
        self._draw_balance_s = {
            slot.name: draws(f"balance/{slot.name}", slot.charger.plan.balance_time)
            for source in sources
            for slot in source.slots
        }
        self._several_kinds = len({one.fits for one in packs}) > 1
        self._waiting: list[tuple[Pack, Event]] = []
        self._open: dict[str, tuple[Charging, float, float]] = {}

    # --- the process of a pack ---

    def cycle(self, pack: Pack) -> ProcessGenerator:
        """Cool and charge whenever it is brought from an aircraft; the process of one pack, from landing to ready."""
        while True:
            yield pack.brought
            pack.brought = self.env.event()
            pack.enter(self.env.now, State.COOL, self.log)
            cooling_s = self._draw_cooling_s[pack.plan.name]()
            if cooling_s > 0.0:
                yield self.env.timeout(cooling_s)
            yield from self.recharge(pack)

    def recharge(self, pack: Pack) -> ProcessGenerator:
        """Charge a cool pack until it is full, or holds enough for who waits; then it is ready."""
        while pack.energy_wh < self.full_wh(pack) - _FULL_WH:
            pack.enter(self.env.now, State.QUEUE, self.log)
            place = self._take_slot(pack)
            if place is None:
                place = yield self._ask_slot(pack)
            pack.enter(self.env.now, State.WAIT, self.log)
            task_s, table, urgency = self._draw_plug_in_s(), self._plug_in, self.crew.feed_urgency
            yield from self.crew.do(Task(Reason.PLUG_IN, task_s, table.people, table.by, urgency, pack.name))
            yield from self._charge(pack, *place)
            if self._is_enough(pack):
                self._put_on_shelf(pack)
                self._free(*place)
                return
            self._free(*place)
        self._put_on_shelf(pack)

    def _charge(self, pack: Pack, source: PowerSource, slot: Slot) -> ProcessGenerator:
        """Charge a pack that is plugged in, and balance it."""
        charging = slot.charging = Charging(pack, slot, self.full_wh(pack), self.env.event())
        self._open[slot.name] = charging, self.env.now, pack.energy_wh
        balance_s = self._draw_balance_s[slot.name]()
        pack.enter(self.env.now, State.CHARGE, self.log)
        full = source.charge(charging)
        self.hurry()
        yield full
        if balance_s > 0.0:
            yield self.env.timeout(balance_s)
        self._write(slot.name, self.env.now)
        del self._open[slot.name]
        self.cycles += 1

    def _put_on_shelf(self, pack: Pack) -> None:
        pack.loads_on_charge = 0
        pack.enter(self.env.now, State.READY, self.log)
        self._give(pack)

    def _write(self, slot_name: str, end_s: float) -> None:
        """Write a slot's log row."""
        charging, started_s, started_wh = self._open[slot_name]
        stored_wh, pack = charging.pack.energy_wh - started_wh, charging.pack.name
        self.log.add(started_s, end_s, slot_name, State.CHARGE, Reason.NONE, pack, stored_wh)

    def close(self, end_s: float) -> None:
        """Write what is open when the day has ended."""
        for source in self.sources:
            source.settle()
        for slot_name in self._open:
            self._write(slot_name, end_s)

    def _is_enough(self, pack: Pack) -> bool:
        """Tell whether a pack off its charger is ready; False when it was taken early for who has another by now."""
        return pack.energy_wh >= self.full_wh(pack) - _NEARLY_FULL_WH or self.shelf.wanted(pack, pack.energy_wh)

    def full_wh(self, pack: Pack) -> float:
        """Return the charge at which a pack is done."""
        return pack.plan.capacity_wh * self._charge_to

    # --- slots ---

    def has_room(self, pack: Pack) -> bool:
        """Tell whether a pack that is to be charged would find a free slot."""
        return not self._waiting and self._best_place(pack, []) is not None

    def _take_slot(self, pack: Pack) -> Place | None:
        """Keep a free slot for a pack that nobody waits before; None when there is none for it."""
        place = self._best_place(pack, []) if not self._waiting else None
        if place is not None:
            self._keep(*place)
        return place

    def _ask_slot(self, pack: Pack) -> Event:
        """Wait for a slot; the event's value is its source and the slot."""
        given = self.env.event()
        self._waiting.append((pack, given))
        self._hand_out()
        return given

    def _keep(self, source: PowerSource, slot: Slot) -> None:
        slot.taken = True
        slot.charger.taken += 1
        source.taken += 1

    def _free(self, source: PowerSource, slot: Slot) -> None:
        """Give a slot back."""
        slot.taken = False
        slot.charger.taken -= 1
        source.taken -= 1
        self._hand_out()

    def _hand_out(self) -> None:
        """Give free slots to the packs that wait, in order of need."""
        awaited: list[Charger] = []
        left = []
        for pack, given in self._in_order_of_need(self._waiting):
            place = self._best_place(pack, awaited)
            if place is None:
                left.append((pack, given))
                continue
            self._keep(*place)
            given.succeed(place)
        self._waiting = left

    def _in_order_of_need(self, waiting: list[tuple[Pack, Event]]) -> list[tuple[Pack, Event]]:
        """Return the packs in the queue in the order in which they are served, as those on charge are."""
        if len(waiting) < 2:
            return waiting
        return sorted(waiting, key=lambda one: self._need(one[0]))

    def _need(self, pack: Pack) -> tuple[bool, int, float]:
        return not self.shelf.wanted(pack, self.full_wh(pack)), self._rank(pack), self.lack_s(pack)

    def _rank(self, pack: Pack) -> int:
        """Return the place of a pack's kind: which the crew feeds first, or of which fewer lie ready."""
        if self._fed_first:
            return int(self._fed_first not in pack.plan.fits)
        return self.shelf.stock(pack) if self._several_kinds else 0

    def lack_s(self, pack: Pack) -> float:
        """Return the time that a pack lacks to its full charge, with all the power it takes."""
        return pack.plan.curve.time_s(pack.energy_wh, self.full_wh(pack), math.inf)

    def _best_place(self, pack: Pack, awaited: list[Charger]) -> Place | None:
        """Return the free slot for a pack: on an idle charger, else where the pack is done soonest.

        None when no slot is free, or when that is on a charger whose slots are taken: then the pack waits for it, and
        only one pack for each.
        """
        most: tuple[float, PowerSource, Charger] | None = None
        serving: list[tuple[PowerSource, Charger]] = []
        strongest_w = 0.0
        for source in self.sources:
            for charger in source.chargers:
                plan, taken = charger.plan, charger.taken
                if pack.plan.name not in plan.serves:
                    continue
                serving.append((source, charger))
                strongest_w = max(strongest_w, plan.slot_w)
                if taken < plan.slots:
                    share_w = min(plan.slot_w, plan.output_w / (taken + 1))
                    share_w = min(share_w, source.capacity_w * plan.efficiency / (source.taken + 1))
                    if most is None or share_w > most[0]:
                        most = share_w, source, charger
        if most is None:
            return None
        _, of, best = most
        if best.taken > 0 or best.plan.slot_w < strongest_w:
            done_s = math.inf
            for source, charger in serving:
                if charger.taken < charger.plan.slots or charger not in awaited:
                    soon_s = charger.done_in_s(pack, self.full_wh(pack))
                    if soon_s < done_s:
                        of, best, done_s = source, charger, soon_s
            if best.taken == best.plan.slots:
                awaited.append(best)
                return None
        return of, next(one for one in best.slots if not one.taken)

    # --- what aircraft ask ---

    def ask_pack(self, aircraft_class: str, need_wh: float, loads: int) -> Event:
        """Ask for the next pack that fits and holds enough; the event's value is the pack."""
        asked = self.shelf.ask(aircraft_class, need_wh, loads)
        self.hurry()
        return asked

    def take_pack(self, aircraft_class: str, need_wh: float) -> Pack | None:
        """Take a charged pack off the shelf; None when there is none that fits and holds enough."""
        pack = self.shelf.take(aircraft_class, need_wh)
        if pack is not None and self._several_kinds:
            self.hurry()
        return pack

    def _give(self, pack: Pack) -> None:
        waiting = len(self.shelf.wants)
        self.shelf.give(pack)
        if len(self.shelf.wants) < waiting or self._several_kinds:
            self.hurry()

    def hand_on(self, pack: Pack) -> None:
        """Take a pack off an aircraft that does not need it: to whoever waits if it holds enough, else to a charger."""
        if self.shelf.wanted(pack, pack.energy_wh):
            pack.enter(self.env.now, State.READY, self.log)
            self._give(pack)
        else:
            pack.brought.succeed()

    def soonest_s(self, aircraft_class: str) -> float:
        """Return the time until the next charge that fits an aircraft class ends.

        0 when a pack is ready or none charges.
        """
        if self._early or any(aircraft_class in pack.plan.fits for pack in self.shelf.ready):
            return 0.0
        soonest = math.inf
        for source in self.sources:
            source.settle()
            for one in source.on_charge:
                pack = one.pack
                if one.draw_w > 0.0 and aircraft_class in pack.plan.fits:
                    soonest = min(soonest, one.curve.time_s(pack.energy_wh, one.target_wh, one.draw_w))
        return soonest if math.isfinite(soonest) else 0.0

    def hurry(self) -> None:
        """Serve who waits: a pack each, the soonest done first; taken early, it is done at what that one needs."""
        for source in self.sources:
            source.settle()
        free = [one for source in self.sources if source.running for one in source.on_charge]
        done_wh: dict[str, float] = {}
        for want in self.shelf.wants:
            best: Charging | None = None
            best_s = best_wh = 0.0
            for one in free:
                most_wh = self.full_wh(one.pack)
                need_wh = one.pack.plan.reserve_wh + want.need_wh
                if want.aircraft_class not in one.pack.plan.fits or need_wh > most_wh + _FULL_WH:
                    continue
                target_wh = self._taken_at_wh(one, want) if self._early else most_wh
                wait_s = one.time_alone_s(target_wh)
                if best is None or wait_s < best_s:
                    best, best_s, best_wh = one, wait_s, target_wh
            if best is not None:
                free.remove(best)
                done_wh[best.slot.name] = best_wh
        for source in self.sources:
            ranks = [self._rank(one.pack) for one in source.on_charge]
            source.serve(
                [done_wh.get(one.slot.name, self.full_wh(one.pack)) for one in source.on_charge],
                [one.slot.name in done_wh for one in source.on_charge],
                [rank - min(ranks) for rank in ranks],
            )

    def _taken_at_wh(self, charging: Charging, want: Want) -> float:
        """Return the charge at which a pack is taken early: enough for the loads to be flown on it in a row.

        While others wait for its slot or its power, one load is enough, for nothing stands idle then.
        """
        reserve_wh, most_wh = charging.pack.plan.reserve_wh, self.full_wh(charging.pack)
        on_charge = [one for source in self.sources for one in source.on_charge if one is not charging]
        others = self._waiting or any(one.held_back for one in on_charge)
        need_wh = want.need_wh * (1.0 + _SPARE)
        loads = 1 if others else max(1, min(want.loads, math.floor((most_wh - reserve_wh + _FULL_WH) / need_wh)))
        return min(most_wh, reserve_wh + loads * need_wh)
