"""Landing to ready: pack swap and fill, side by side or one after the other, and what was waited for in between."""

from __future__ import annotations

import math
from collections.abc import Callable

from simpy.events import ProcessGenerator

from simulator.operation.aircraft import Aircraft
from simulator.operation.log import Reason, State
from simulator.operation.packs import Pack
from simulator.operation.people import TURNAROUND, Task
from simulator.operation.rig import Rig
from simulator.operation.work import Load
from simulator.scenario.schema_rig import Task as TaskTable

NEAR_THE_END_S = 5400.0
"""Within this time of the last landing the wait for a pack counts when a load is planned."""


class Part:
    """A stretch of work on an aircraft, or of waiting for it."""

    __slots__ = ("end_s", "reason", "start_s", "state")

    def __init__(self, start_s: float, end_s: float, state: State, reason: Reason) -> None:
        self.start_s, self.end_s, self.state, self.reason = start_s, end_s, state, reason


class Line:
    """One line of work on an aircraft, swap or fill: parts without a gap from its start to ``at_s``."""

    __slots__ = ("at_s", "done", "parts", "state", "task", "waiting_for")

    def __init__(self, start_s: float, state: State, waiting_for: Reason) -> None:
        self.at_s, self.state, self.waiting_for = start_s, state, waiting_for
        self.parts: list[Part] = []
        self.task: Task | None = None
        self.done = False

    def wait(self, end_s: float, reason: Reason) -> None:
        """Note a wait up to a time."""
        self._add(end_s, State.WAIT, reason)

    def end_task(self, now_s: float) -> None:
        """Note the task that has ended (or is cut short): what it waited for, then the task."""
        task, self.task = self.task, None
        if task is None:
            return
        start_s = task.start_s if task.started else now_s
        for end_s, reason in task.holds:
            self.wait(min(end_s, start_s), reason)
        self.wait(start_s, task.blocked)
        self._add(now_s, self.state, Reason.NONE)

    def _add(self, end_s: float, state: State, reason: Reason) -> None:
        if end_s > self.at_s:
            self.parts.append(Part(self.at_s, end_s, state, reason))
            self.at_s = end_s


class Turnaround:
    """One aircraft between landing and ready."""

    def __init__(
        self,
        rig: Rig,
        aircraft: Aircraft,
        load: Load,
        draw_swap_s: Callable[[], float],
        draw_fill_s: Callable[[], float],
    ) -> None:
        self._rig, self._env, self._aircraft, self._load = rig, rig.env, aircraft, load
        self._draw_swap_s, self._draw_fill_s = draw_swap_s, draw_fill_s
        self._pack_use = rig.pack_use(aircraft, load.visit.index)
        self._swap_first = rig.plan.rig.swap_first
        self._product_taken = False
        now = rig.env.now
        self._swap = Line(now, State.SWAP, Reason.CREW_BUSY) if load.swap else None
        self._fill = Line(now, State.FILL, Reason.NO_MIX) if load.fill_amount != 0.0 else None

    def run(self) -> ProcessGenerator:
        """Make the aircraft ready for its next flight."""
        swap, fill = self._swap, self._fill
        if swap is not None and fill is not None and self._swap_first:
            yield self._env.process(self._one_after_the_other(swap, fill))
        else:
            swapped = self._env.process(self._swapping(swap)) if swap is not None else None
            filled = self._env.process(self._filling(fill)) if fill is not None else None
            if swapped is not None:
                yield swapped
            if filled is not None:
                yield filled
        self._write(self._env.now)

    def _one_after_the_other(self, swap: Line, fill: Line) -> ProcessGenerator:
        yield from self._swapping(swap)
        fill.at_s = self._env.now
        yield from self._filling(fill)

    def _swapping(self, line: Line) -> ProcessGenerator:
        """Take the used pack off and put a charged one on."""
        rig, aircraft, need_wh, use = self._rig, self._aircraft, self._load.need_wh, self._pack_use
        task_s = self._draw_swap_s()
        pack = rig.station.take_pack(use, need_wh)
        if pack is None:
            if aircraft.pack is not None:
                # the used pack comes off meanwhile: it may be the very one that is waited for
                task_s *= 0.5
                yield from self._hands(line, rig.tasks.swap, Reason.SWAP, task_s)
                self._send_to_charge()
            pack = rig.station.take_pack(use, need_wh)
        if pack is None:
            line.waiting_for = Reason.TOO_FEW_PACKS
            asked_s = self._env.now
            asked = rig.station.ask_pack(use, need_wh, self._loads_in_a_row())
            lend_packs(rig)
            pack = yield asked
            for end_s, reason in pack.waits(asked_s, self._env.now):
                line.wait(end_s, reason)
        yield from self._hands(line, rig.tasks.swap, Reason.SWAP, task_s)
        self._send_to_charge()
        aircraft.mount(pack, self._env.now)
        aircraft.swaps += 1
        line.done = True

    def _loads_in_a_row(self) -> int:
        """Return how many loads are to be flown on a pack: what the field and the day still hold; one at the end."""
        rig, load = self._rig, self._load
        if self._aircraft.plan.swap_every_landing or rig.site.until_s(load.visit) - rig.env.now < NEAR_THE_END_S:
            return 1
        return 1 + math.floor(load.visit.remaining_m2 / (load.area_to_m2 - load.area_from_m2))

    def _send_to_charge(self) -> None:
        used, self._aircraft.pack = self._aircraft.pack, None
        if used is not None:
            used.brought.succeed()

    def _filling(self, line: Line) -> ProcessGenerator:
        """Fill the product in, once it stands ready; or put back what is on board."""
        supply, aircraft, amount = self._rig.supply, self._aircraft, self._load.fill_amount
        if amount > 0.0 and not supply.take(amount):
            yield supply.ask(amount)
            line.wait(self._env.now, Reason.NO_MIX)
        self._product_taken = True
        task_s = self._draw_fill_s() + supply.fill_s(abs(amount))
        yield from self._hands(line, self._rig.tasks.fill, Reason.FILL, task_s, pump=True)
        self._product_taken = False
        aircraft.on_board += amount
        aircraft.fills += amount > 0.0
        now = self._env.now
        self._rig.log.add(now, now, aircraft.name, State.FILL, Reason.FILL, "", amount)
        line.done = True

    def _hands(self, line: Line, table: TaskTable, kind: Reason, task_s: float, pump: bool = False) -> ProcessGenerator:
        """Have people do a task on the aircraft."""
        crew = self._rig.crew
        task = line.task = Task(kind, task_s, table.people, table.by, TURNAROUND, self._aircraft.name, pump)
        granted = crew.ask(task)
        if granted is not None:
            yield granted
        yield self._env.timeout(task_s)
        if pump:
            self._rig.supply.pumped(self._load.fill_amount)
        crew.finish(task)
        line.end_task(self._env.now)

    def cut(self) -> None:
        """Close an unfinished turnaround at the day's end; product that is in no aircraft yet goes back."""
        now, swap, fill = self._env.now, self._swap, self._fill
        if self._product_taken:
            self._rig.supply.put_back(self._load.fill_amount)
        if swap is not None and not swap.done:
            if swap.task is None and swap.waiting_for is Reason.TOO_FEW_PACKS:
                for end_s, reason in self._rig.pack_waits(self._pack_use, swap.at_s, now):
                    swap.wait(end_s, reason)
            swap.end_task(now)
            swap.wait(now, swap.waiting_for)
        if fill is not None and not fill.done and not (swap is not None and not swap.done and self._swap_first):
            fill.end_task(now)
            fill.wait(now, fill.waiting_for)
        self._write(now)

    def _write(self, end_s: float) -> None:
        """Log the aircraft's states since landing: service before waiting, and of waits the one that lasted."""
        swap, fill = self._swap, self._fill
        if swap is None or fill is None:
            one = swap if swap is not None else fill
            parts = one.parts if one is not None else []
        elif self._swap_first:
            parts = swap.parts + fill.parts
        elif fill.at_s > swap.at_s:
            parts = overlay(fill.parts, swap.parts)
        else:
            parts = overlay(swap.parts, fill.parts)
        for part in parts:
            self._aircraft.mark(min(part.end_s, end_s), part.state, part.reason)


def overlay(last: list[Part], other: list[Part]) -> list[Part]:
    """Lay the services of the line that ended first over the waits of the one that ended last."""
    services = [part for part in other if part.state is not State.WAIT]
    if not services or all(part.state is not State.WAIT for part in last):
        return last
    merged: list[Part] = []
    for part in last:
        if part.state is not State.WAIT:
            merged.append(part)
            continue
        at_s = part.start_s
        for one in services:
            low_s, high_s = max(one.start_s, at_s), min(one.end_s, part.end_s)
            if high_s <= low_s:
                continue
            if low_s > at_s:
                merged.append(Part(at_s, low_s, part.state, part.reason))
            merged.append(Part(low_s, high_s, one.state, one.reason))
            at_s = high_s
        if part.end_s > at_s:
            merged.append(Part(at_s, part.end_s, part.state, part.reason))
    return merged


def lend_packs(rig: Rig) -> None:
    """Take packs off aircraft that have nothing to fly, or cannot fly, for those that wait for one."""
    if not rig.shelf.wants or rig.site.closed:
        return
    for one in rig.aircraft:
        pack = one.pack
        if pack is None or not one.rests or one.giving:
            continue
        if rig.shelf.wanted(pack, max(pack.energy_wh, rig.station.full_wh(pack))):
            one.giving = True
            rig.env.process(_give_pack(rig, one, pack))


def _give_pack(rig: Rig, lender: Aircraft, pack: Pack) -> ProcessGenerator:
    """Take a pack off an aircraft and hand it on, unless the aircraft flies again before somebody comes to do it."""
    table = rig.tasks.swap
    task_s = 0.5 * table.time.mean()
    task = Task(Reason.SWAP, task_s, table.people, table.by, TURNAROUND, lender.name)
    granted = rig.crew.ask(task)
    if granted is not None:
        yield granted
    if lender.pack is not pack or not lender.rests:
        rig.crew.finish(task)
        lender.giving = False
        return
    lender.pack = None
    yield rig.env.timeout(task_s)
    lender.giving = False
    rig.station.hand_on(pack)
    rig.crew.finish(task)


def send_used_pack(rig: Rig, aircraft: Aircraft) -> None:
    """Take a used pack off an aircraft that has nothing to fly, when a charger is free for it.

    One that carries a further load stays on as long as a charged one is ready, for it is not needed sooner, and where
    there is no other to fly meanwhile.
    """
    pack = aircraft.pack
    if pack is None or aircraft.giving or rig.site.closed or pack.energy_wh >= rig.station.full_wh(pack) - 1.0:
        return
    fresh = pack.loads_on_charge < rig.most_loads(aircraft.plan)
    carries_more = fresh and pack.above_reserve_wh >= aircraft.need_wh
    others = [one for one in rig.packs if aircraft.plan.name in one.plan.fits and one.state is not State.FLOWN]
    ready = any(one.state is State.READY for one in others)
    if not (carries_more and (ready or not others)) and rig.station.has_room(pack):
        aircraft.giving = True
        rig.env.process(_give_pack(rig, aircraft, pack))
