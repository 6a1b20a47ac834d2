"""Landing to ready: pack swap and fill, side by side or one after the other, and what was waited for in between."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulator.operation.crew import TURNAROUND, Job
from simulator.operation.kernel import Signal
from simulator.operation.log import Reason, State
from simulator.operation.packs import Pack

if TYPE_CHECKING:
    from simulator.operation.sortie import AircraftUnit, LoadPlan

Part = tuple[float, float, State, Reason]


class _Branch:
    """One line of work on the aircraft: intervals without a gap from its start to ``at_s``."""

    __slots__ = ("at_s", "done", "job", "parts", "waiting_for")

    def __init__(self, start_s: float) -> None:
        self.at_s = start_s
        self.parts: list[Part] = []
        self.job: Job | None = None
        self.waiting_for = Reason.CREW_BUSY
        self.done = False

    def wait(self, end_s: float, reason: Reason) -> None:
        if end_s > self.at_s:
            self.parts.append((self.at_s, end_s, State.WAIT, reason))
            self.at_s = end_s

    def serve(self, end_s: float, state: State) -> None:
        if end_s > self.at_s:
            self.parts.append((self.at_s, end_s, state, Reason.NONE))
            self.at_s = end_s

    def end_job(self, job: Job, now_s: float, state: State) -> None:
        """Record a finished task: the wait for people before it, and the task."""
        self._held(job, job.start_s if job.start_s is not None else now_s)
        self.serve(now_s, state)
        self.job = None

    def _held(self, job: Job, until_s: float) -> None:
        for end_s, reason in job.holds:
            self.wait(min(end_s, until_s), reason)
        self.wait(until_s, job.blocked)

    def cut(self, now_s: float, state: State) -> None:
        """Close what is open at the day's end."""
        if self.done:
            return
        if self.job is not None:
            if self.job.start_s is not None:
                self.end_job(self.job, now_s, state)
            else:
                self._held(self.job, now_s)
        else:
            self.wait(now_s, self.waiting_for)


class Turnaround:
    """One aircraft between landing and ready.

    Parameters
    ----------
    unit : AircraftUnit
        The aircraft.
    load : LoadPlan
        What the next flight needs.
    """

    def __init__(self, unit: AircraftUnit, load: LoadPlan) -> None:
        self.unit, self.load = unit, load
        clock, rig = unit.clock, unit.rig
        self.clock, self.rig = clock, rig
        self.start_s = clock.now
        self.ready = Signal(clock)
        self._swap_first = rig.plan.rig.swap_first
        self._swap = _Branch(self.start_s) if load.swap else None
        self._fill = _Branch(self.start_s) if load.fill_amount > 0.0 else None
        self._half_swap_s = 0.0
        self._asked_pack_s = 0.0
        self._incoming: Pack | None = None
        if self._swap is not None:
            self._begin_swap()
        if self._fill is not None and not (self._swap is not None and self._swap_first):
            self._begin_fill()
        if self._swap is None and self._fill is None:
            self.ready.fire()

    # --- swap ---

    def _begin_swap(self) -> None:
        unit, task = self.unit, self.rig.tasks.swap
        whole_s = unit.draw_swap()
        pack = self.rig.pool.take(unit.plan.name, self.load.need_wh)
        if pack is not None:
            duration, call = whole_s, self._swapped
            self._incoming = pack
        elif unit.pack is not None:
            duration, call = 0.5 * whole_s, self._taken_off
            self._half_swap_s = 0.5 * whole_s
        else:
            self._half_swap_s = whole_s
            self._await_pack()
            return
        self._request(Job(Reason.SWAP, duration, task.people, task.by, TURNAROUND, call, unit.name))

    def _request(self, job: Job) -> None:
        if self._swap is not None:
            self._swap.job = job
        self.rig.crew.request(job)

    def _taken_off(self, job: Job) -> None:
        unit, now = self.unit, self.clock.now
        if self._swap is not None:
            self._swap.end_job(job, now, State.SWAP)
        self._give_used()
        if unit.closed:
            return
        self._await_pack()

    def _give_used(self) -> None:
        used, self.unit.pack = self.unit.pack, None
        if used is not None:
            self.rig.station.bring(used)

    def _await_pack(self) -> None:
        self._asked_pack_s = self.clock.now
        unit, pool = self.unit, self.rig.pool
        if self._swap is not None:
            self._swap.waiting_for = Reason.TOO_FEW_PACKS
        pack = pool.take(unit.plan.name, self.load.need_wh)
        if pack is not None:
            self._got_pack(pack)
        else:
            pool.wait(unit.plan.name, self.load.need_wh, self._got_pack)
            self.rig.spare_packs()

    def _got_pack(self, pack: Pack) -> None:
        now = self.clock.now
        if self._swap is not None:
            for _, end, reason in pack.waits(self._asked_pack_s, now):
                self._swap.wait(end, reason)
        self._incoming = pack
        task = self.rig.tasks.swap
        self._request(
            Job(Reason.SWAP, self._half_swap_s, task.people, task.by, TURNAROUND, self._swapped, self.unit.name)
        )

    def _swapped(self, job: Job) -> None:
        now, branch = self.clock.now, self._swap
        if branch is None or self._incoming is None:
            return
        branch.end_job(job, now, State.SWAP)
        branch.done = True
        self._give_used()
        self.unit.mount(self._incoming)
        self.unit.swaps += 1
        self._incoming = None
        if self._fill is not None and self._swap_first:
            self._fill.at_s = now
            if not self.unit.closed:
                self._begin_fill()
        self._check_ready()

    # --- fill ---

    def _begin_fill(self) -> None:
        if self._fill is not None:
            self._fill.waiting_for = Reason.NO_MIX
        self.rig.supply.request(self.load.fill_amount, self._product_ready)

    def _product_ready(self) -> None:
        branch, unit, task = self._fill, self.unit, self.rig.tasks.fill
        if branch is None:
            return
        branch.wait(self.clock.now, Reason.NO_MIX)
        duration = unit.draw_fill() + self.rig.supply.fill_s(self.load.fill_amount)
        self.load.product_taken = True
        branch.job = Job(Reason.FILL, duration, task.people, task.by, TURNAROUND, self._filled, unit.name, pump=True)
        self.rig.crew.request(branch.job)

    def _filled(self, job: Job) -> None:
        branch, unit, now = self._fill, self.unit, self.clock.now
        if branch is None:
            return
        branch.end_job(job, now, State.FILL)
        branch.done = True
        self.load.filled = True
        self.rig.supply.pumped(self.load.fill_amount)
        unit.load += self.load.fill_amount
        unit.loads += 1
        self.rig.log.add(now, now, unit.name, State.FILL, Reason.FILL, "", self.load.fill_amount)
        self._check_ready()

    # --- both ---

    def _check_ready(self) -> None:
        swap, fill = self._swap, self._fill
        if (swap is None or swap.done) and (fill is None or fill.done) and not self.unit.closed:
            self.write(self.clock.now)
            self.ready.fire()

    def cut(self, now_s: float) -> None:
        """Close an unfinished turnaround at the day's end; product that is in no aircraft yet goes back."""
        if self.ready.triggered:
            return
        if self.load.product_taken and not self.load.filled:
            self.load.product_taken = False
            self.rig.supply.put_back(self.load.fill_amount)
        swap = self._swap
        if swap is not None:
            if swap.job is None and not swap.done and swap.waiting_for is Reason.TOO_FEW_PACKS:
                for _, end_s, reason in self.rig.pack_waits(self.unit.plan.name, swap.at_s, now_s):
                    swap.wait(end_s, reason)
            swap.cut(now_s, State.SWAP)
        if self._fill is not None and not (self._swap is not None and not self._swap.done and self._swap_first):
            self._fill.cut(now_s, State.FILL)
        self.write(now_s)

    def write(self, end_s: float) -> None:
        """Write the aircraft's states since landing: service before waiting, and of waits the one that lasted."""
        unit, swap, fill = self.unit, self._swap, self._fill
        if swap is None or fill is None:
            one = swap if swap is not None else fill
            parts = one.parts if one is not None else []
        elif self._swap_first:
            parts = swap.parts + fill.parts
        elif fill.at_s > swap.at_s:
            parts = _overlay(fill.parts, swap.parts)
        else:
            parts = _overlay(swap.parts, fill.parts)
        for start, end, state, reason in parts:
            unit.mark(min(end, end_s), state, reason, start)


def _overlay(last: list[Part], other: list[Part]) -> list[Part]:
    """Lay the services of the branch that ended first over the waits of the one that ended last."""
    services = [part for part in other if part[2] is not State.WAIT]
    if not services or all(part[2] is not State.WAIT for part in last):
        return last
    merged: list[Part] = []
    for part in last:
        if part[2] is not State.WAIT:
            merged.append(part)
            continue
        at, end = part[0], part[1]
        for start, finish, state, reason in services:
            low, high = max(start, at), min(finish, end)
            if high <= low:
                continue
            if low > at:
                merged.append((at, low, part[2], part[3]))
            merged.append((low, high, state, reason))
            at = high
        if end > at:
            merged.append((at, end, part[2], part[3]))
    return merged
