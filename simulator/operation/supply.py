"""Product at the rig: mixing batches, fetching water or granules, and handing loads to the fill pump."""

from __future__ import annotations

import math
from collections.abc import Callable

from simpy import Environment, Event
from simpy.events import ProcessGenerator

from simulator.operation.crew import Crew
from simulator.operation.log import DayLog, Reason, State
from simulator.operation.pace import Pace
from simulator.operation.people import AHEAD, TURNAROUND, Task
from simulator.scenario.schema_rig import Supply as SupplyTable
from simulator.scenario.schema_rig import Task as TaskTable

_TINY = 1e-9
_ROUNDING_SHARE = 1e-6
"""Less than this share of the mix tank is rounding."""
_LEAST_AHEAD = 0.1
"""No batch below this share of the mix tank is begun ahead of need: it would take people for next to nothing."""


_LEAST_SOONER = 0.5
"""A batch is made smaller, to be ready sooner, where that saves this share of the time of measuring and rinsing."""


class Supply:
    """Mix tank and water for liquids, tender for granules.

    Mixing keeps ahead of need but never beyond what can still be flown, so little is left over.
    """

    def __init__(
        self,
        env: Environment,
        name: str,
        table: SupplyTable,
        liquid: bool,
        mix: TaskTable,
        crew: Crew,
        log: DayLog,
        pace: Pace,
        batch_share: float,
        draw_mix_s: Callable[[], float],
        draw_trip_s: Callable[[], float],
        start: float,
        water_l: float,
    ) -> None:
        self.env, self.name, self.liquid, self.crew, self.log = env, name, liquid, crew, log
        self._table, self._mix = table, mix
        self._pace = pace
        self._draw_mix_s, self._draw_trip_s = draw_mix_s, draw_trip_s
        self._full = table.mix_tank if liquid else table.dry_stock
        self._flow = table.pump_flow if liquid else table.dry_flow
        self._largest = batch_share * table.largest_batch
        self.level = self.start = start
        """Product that stands ready and is promised to nobody."""
        self.stock = water_l
        self.mix: str | None = None
        """Name of the mix in the tank; None until the first field says it."""
        self.made = self.fetched = self.thrown = 0.0
        self._promised = self._coming = 0.0
        self._trip_mean_s = table.water_trip_time.mean()
        self._bridged = False
        """Whether the batch before was only to bridge the time of mixing a full one."""
        self._orders: list[tuple[float, Event]] = []
        self._mixing: Task | None = None
        self._trip: Task | None = None
        self._changed = env.event()
        env.process(self.keeping_ahead())

    # --- the processes ---

    def keeping_ahead(self) -> ProcessGenerator:
        """See to it that product stands ready: begin a batch or a trip when it is due; the process of the supply."""
        while True:
            yield self._changed
            self._changed = self.env.event()
            self._see_ahead()

    def _mix_batch(self, task: Task, granted: Event | None, amount: float) -> ProcessGenerator:
        """Mix a batch; the process of one."""
        if granted is not None:
            yield granted
        yield self.env.timeout(task.duration_s)
        self._mixing, self._coming = None, 0.0
        self.level += amount
        self.made += amount
        self.stock -= amount * self._table.water_share
        self.log.add(task.start_s, self.env.now, self.name, State.RUN, Reason.MIX, "", amount)
        self._serve()
        self.crew.finish(task)

    def _fetch(self, task: Task, granted: Event | None) -> ProcessGenerator:
        """Drive for water or granules, and come back full; the process of one trip."""
        if granted is not None:
            yield granted
        yield self.env.timeout(task.duration_s)
        self._trip = None
        if self.liquid:
            fetched = self._table.nurse_water - self.stock
            self.stock = self._table.nurse_water
        else:
            fetched = max(0.0, self._full - self.level - self._promised)
            self.level += fetched
            self.made += fetched
        self.fetched += fetched
        self.log.add(task.start_s, self.env.now, self.name, State.RUN, Reason.RESTOCK, "", fetched)
        self._serve()
        self.crew.finish(task)

    # --- what aircraft ask ---

    def take(self, amount: float) -> bool:
        """Take a load if it stands ready and nobody waits before; False otherwise."""
        if self._orders or self.level < amount - _TINY:
            return False
        self._promise(amount)
        if not self._in_plenty:
            self.change()
        return True

    def ask(self, amount: float) -> Event:
        """Ask for a load; the event is that it stands ready."""
        ready = self.env.event()
        self._orders.append((amount, ready))
        # at once, so that who mixes is asked for before those who have just become free are handed on
        self._see_ahead()
        return ready

    def pumped(self, amount: float) -> None:
        """Note that a load is in an aircraft: only now has its place in the tank become free. Below 0 it is back."""
        self._promised = max(0.0, self._promised - abs(amount))
        if amount < 0.0:
            self.level -= amount
            self._serve()
        elif self._orders:
            self.change()

    def put_back(self, amount: float) -> None:
        """Take back a load that stood ready but was not filled in; below 0, give up the room kept for one."""
        self._promised -= abs(amount)
        self.level += max(0.0, amount)

    def keep_room(self, amount: float) -> bool:
        """Keep room for a load that is to come back out of an aircraft; False when there is none."""
        if amount > self._full - self.level - self._promised - self._coming:
            return False
        self._promised += amount
        return True

    def rinse(self, mix: str, from_aircraft: float) -> None:
        """Throw away what is left in the tank, and what comes out of aircraft, for another mix."""
        left = self.level + from_aircraft
        self.thrown += left
        self.level, self.mix = 0.0, mix
        self.log.add(self.env.now, self.env.now, self.name, State.RUN, Reason.RINSE, "", -left)

    def withdraw(self) -> None:
        """Forget every order that waits: the day is over."""
        self._orders.clear()

    def fill_s(self, amount: float) -> float:
        """Return the time (s) that pumping or pouring an amount takes."""
        return amount / self._flow

    def arrive(self) -> None:
        """Say that the rig stands ready at a field: what is waited for now is bridged again."""
        self._bridged = False
        self.change()

    def change(self) -> None:
        """Say that what stands ready, is asked for, or can still be flown has changed."""
        if not self._changed.triggered:
            self._changed.succeed()

    def _promise(self, amount: float) -> None:
        self.level = max(0.0, self.level - amount)
        self._promised += amount

    def _serve(self) -> None:
        """Hand out what stands ready, in order of asking."""
        while self._orders and self.level >= self._orders[0][0] - _TINY:
            amount, ready = self._orders.pop(0)
            self._promise(amount)
            ready.succeed()
        self.change()

    # --- when what is due ---

    @property
    def _in_plenty(self) -> bool:
        """True while neither a batch nor a trip can be due."""
        if not self.liquid:
            return self.level >= 0.1 * self._full
        water_in_plenty = self.stock >= 0.5 * self._table.nurse_water
        return water_in_plenty and not self._is_low

    @property
    def _is_low(self) -> bool:
        """True when what stands ready has come down to where mixing begins, rounding aside."""
        return self.level <= (self._table.mix_at + _ROUNDING_SHARE) * self._full

    def _needed(self) -> float:
        """Return the product asked for and still to be flown, beyond what stands ready."""
        return sum([amount for amount, _ in self._orders]) + self._pace.product_ahead(self.env.now) - self.level

    def _see_ahead(self) -> None:
        """Begin the batch or the trip that is due, and hasten what an aircraft waits for."""
        urgency = TURNAROUND if self._orders else AHEAD
        batch = self._next_batch() if self.liquid else 0.0
        if batch > 0.0:
            task_s = self._draw_mix_s() + batch * self._table.water_share / self._table.transfer_flow
            task = self._mixing = Task(Reason.MIX, task_s, self._mix.people, self._mix.by, urgency, self.name)
            self._coming = batch
            self.env.process(self._mix_batch(task, self.crew.ask(task), batch))
        elif self._mixing is None and self._trip_is_due():
            people = self._table.water_trip_people
            trip_s = self._draw_trip_s()
            task = self._trip = Task(Reason.RESTOCK, trip_s, people, "anyone", urgency, self.name, away=True)
            self.env.process(self._fetch(task, self.crew.ask(task)))
        under_way = self._mixing if self._mixing is not None else self._trip
        if self._orders and under_way is not None:
            self.crew.hasten(under_way)

    def _next_batch(self) -> float:
        """Return the size of a batch to begin now: no more than is needed, fits, and has water; 0 for none."""
        tank = self._table.mix_tank
        waiting = bool(self._orders)
        if self._mixing is not None or not (waiting or self._is_low):
            return 0.0
        room = tank - self.level - self._promised
        size = min(self._largest, self._needed(), room, self.stock / self._table.water_share)
        bridging = math.inf
        if (waiting or self.level < self._pace.largest_load) and not self._bridged:
            bridging = self._bridging_batch()
        elif not waiting:
            size = min(size, self._batch_before_the_move())
        least = _TINY if waiting else min(_LEAST_AHEAD * tank, self._pace.largest_load)
        if min(size, bridging) <= max(least, _ROUNDING_SHARE * tank):
            return 0.0
        self._bridged = bridging < size
        return min(size, bridging)

    def _bridging_batch(self) -> float:
        """Return the size of a batch that is waited for: it lasts until the next, a full one, is mixed alongside.

        With nobody to spare for that it is a full one, and where it would be ready hardly sooner: to mix again would
        cost more than is saved.
        """
        if self._mix.by == "pilot" or self._mix.people >= len(self.crew.people):
            return self._largest
        mix_s, per_unit_s = self._mix.time.mean(), self._table.water_share / self._table.transfer_flow
        asked = sum([amount for amount, _ in self._orders])
        next_s = mix_s + self._largest * per_unit_s
        bridging = max(self._pace.use_per_s(self.env.now) * next_s, asked, self._pace.largest_load) - self.level
        return bridging if (self._largest - bridging) * per_unit_s > _LEAST_SOONER * mix_s else self._largest

    def _batch_before_the_move(self) -> float:
        """Return the size of a batch ahead of need that is mixed before the rig moves on, or that is needed here."""
        here = self._pace.product_here()
        left_s = here / max(self._pace.use_per_s(self.env.now), 1e-9) - self._mix.time.mean()
        return max(here - self.level, left_s * self._table.transfer_flow / self._table.water_share)

    def _trip_is_due(self) -> bool:
        """Tell whether to drive now: what is left lasts no longer than the trip, or makes no batch that is due."""
        if self._trip is not None:
            return False
        if self.liquid:
            left, needed = self.stock / self._table.water_share, self._needed()
            if needed <= _TINY or left >= needed - 1e-6:
                return False
            lasts_s = (left + max(0.0, self.level)) / max(self._pace.use_per_s(self.env.now), 1e-9)
            nearly_out = left < 0.5 * self._table.nurse_water and lasts_s < self._trip_mean_s
            return nearly_out or left <= _TINY or (bool(self._orders) and left < self._orders[0][0] - self.level)
        if self._full - self.level - self._promised <= _TINY:
            return False
        return bool(self._orders) or (
            self.level < 0.1 * self._full and self._pace.product_ahead(self.env.now) > self.level
        )
