"""Product at the rig: mixing batches, fetching water or granules, and handing a load to the fill task."""

from __future__ import annotations

from collections.abc import Callable

from simulator.operation.crew import AHEAD, TURNAROUND, Crew, Job
from simulator.operation.kernel import DayClock
from simulator.operation.log import DayLog, Reason, State
from simulator.scenario.schema_rig import Supply as SupplyTable
from simulator.scenario.schema_rig import Task

_TINY = 1e-9
_LEAST_AHEAD = 0.1
"""No batch below this share of the mix tank is begun ahead of need: it would take people for next to nothing."""


class _Order:
    """A load asked for; ``call`` runs when it stands ready."""

    __slots__ = ("amount", "call")

    def __init__(self, amount: float, call: Callable[[], None]) -> None:
        self.amount, self.call = amount, call


class Supply:
    """Mix tank and water for liquids, tender for granules.

    Mixing keeps ahead of need but never beyond what can still be flown, so little is left over.

    Parameters
    ----------
    clock : DayClock
        Clock.
    name : str
        Unique name.
    table : SupplyTable
        Sizes and flows.
    liquid : bool
        Whether the product must be mixed.
    mix, trip_s : Task and callable
        Mixing task; draws the length of a trip for water or granules.
    crew : Crew
        People.
    log : DayLog
        The day's log.
    product_ahead : callable
        Returns the product (L or kg) that can still be flown and is not yet in any tank.
    draw_mix_s : callable
        Draws the duration of mixing, without transfer.
    """

    def __init__(
        self,
        clock: DayClock,
        name: str,
        table: SupplyTable,
        liquid: bool,
        mix: Task,
        crew: Crew,
        log: DayLog,
        product_ahead: Callable[[], float],
        draw_mix_s: Callable[[], float],
        draw_trip_s: Callable[[], float],
    ) -> None:
        self.clock, self.name, self.table, self.liquid, self.mix_task = clock, name, table, liquid, mix
        self.crew, self.log, self._ahead = crew, log, product_ahead
        self._draw_mix_s, self._draw_trip_s = draw_mix_s, draw_trip_s
        self.start = table.mix_tank * table.start_mixed if liquid else table.dry_stock
        self.level = self.start
        self.stock = table.nurse_water if liquid else 0.0
        self.made = 0.0
        self.fetched = 0.0
        self._promised = 0.0
        self._coming = 0.0
        self._orders: list[_Order] = []
        self._mixing: Job | None = None
        self._trip: Job | None = None
        self._water_share = table.water_share
        self._flow = table.pump_flow if liquid else table.dry_flow
        self._mix_at = table.mix_at * table.mix_tank
        self._largest = min(table.batch, table.mix_tank) if table.batch is not None else table.mix_tank

    def request(self, amount: float, call: Callable[[], None]) -> None:
        """Ask for a load; ``call`` runs when the product stands ready for it (now, if it does)."""
        self._orders.append(_Order(amount, call))
        self._serve()

    def put_back(self, amount: float) -> None:
        """Take back a load that stood ready but was not filled in."""
        self._promised -= amount
        self.level += amount

    def take_back(self, amount: float) -> bool:
        """Take a load back out of an aircraft, if there is room for it."""
        full = self.table.mix_tank if self.liquid else self.table.dry_stock
        if amount > full - self.level - self._promised - self._coming:
            return False
        self.level += amount
        self._serve()
        return True

    def pumped(self, amount: float) -> None:
        """Note that a load is in an aircraft: only now has its place in the tank become free."""
        self._promised = max(0.0, self._promised - amount)
        if self._orders:
            self.plan_ahead()

    def withdraw(self) -> None:
        """Forget every order that waits: the day is over."""
        self._orders.clear()

    def fill_s(self, amount: float) -> float:
        """Return the time (s) that pumping or pouring an amount takes."""
        return amount / self._flow

    def _serve(self) -> None:
        while self._orders and self.level >= self._orders[0].amount - _TINY:
            order = self._orders.pop(0)
            self.level = max(0.0, self.level - order.amount)
            self._promised += order.amount
            order.call()
        self.plan_ahead()

    def plan_ahead(self) -> None:
        """Start the next batch or trip when it is due."""
        if self.liquid:
            self._plan_mix()
        else:
            self._plan_stock()

    def _plan_mix(self) -> None:
        waiting = bool(self._orders)
        if self._mixing is not None:
            if waiting:
                self.crew.hasten(self._mixing)
            return
        if not waiting and self.level > self._mix_at:
            self._plan_trip(waiting)
            return
        ordered = sum(order.amount for order in self._orders)
        wanted = ordered + self._ahead() - self.level
        room = self.table.mix_tank - self.level - self._promised
        size = min(self._largest, wanted, room, self.stock / self.table.water_share)
        least = _TINY if waiting else _LEAST_AHEAD * self.table.mix_tank
        if size <= max(least, 1e-6 * self.table.mix_tank):
            self._plan_trip(waiting)
            return
        duration = self._draw_mix_s() + size * self.table.water_share / self.table.transfer_flow
        task = self.mix_task

        def done(job: Job) -> None:
            self._mixing = None
            self._coming = 0.0
            self.level += size
            self.made += size
            self.stock -= size * self.table.water_share
            if job.start_s is not None:
                self.log.add(job.start_s, self.clock.now, self.name, State.RUN, Reason.MIX, "", size)
            self._serve()

        self._coming = size
        self._mixing = Job(
            Reason.MIX, duration, task.people, task.by, TURNAROUND if waiting else AHEAD, done, self.name
        )
        self.crew.request(self._mixing)

    def _plan_trip(self, urgent: bool) -> None:
        """Fetch water when less than a batch, and less than is still needed, is left."""
        if self._trip is not None:
            if urgent:
                self.crew.hasten(self._trip)
            return
        left = self.stock / self._water_share
        if left >= self._largest - 1e-6:
            return
        need = sum([order.amount for order in self._orders]) + self._ahead() - self.level
        if left >= need - 1e-6 or need <= _TINY:
            return
        self._start_trip(urgent, self._full_stock)

    def _plan_stock(self) -> None:
        if self._trip is not None:
            if self._orders:
                self.crew.hasten(self._trip)
            return
        if self.table.dry_stock - self.level - self._promised <= _TINY:
            return
        ordered = sum(order.amount for order in self._orders)
        if self._orders or (self.level < 0.1 * self.table.dry_stock and self._ahead() > self.level):
            self._start_trip(ordered > 0, self._full_tender)

    def _start_trip(self, urgent: bool, arrive: Callable[[], None]) -> None:
        def done(job: Job) -> None:
            self._trip = None
            before = self.fetched
            arrive()
            if job.start_s is not None:
                self.log.add(
                    job.start_s, self.clock.now, self.name, State.RUN, Reason.RESTOCK, "", self.fetched - before
                )
            self._serve()

        people = self.table.water_trip_people
        self._trip = Job(
            Reason.RESTOCK,
            self._draw_trip_s(),
            people,
            "anyone",
            TURNAROUND if urgent else AHEAD,
            done,
            self.name,
            away=True,
        )
        self.crew.request(self._trip)

    def _full_stock(self) -> None:
        self.fetched += self.table.nurse_water - self.stock
        self.stock = self.table.nurse_water

    def _full_tender(self) -> None:
        added = max(0.0, self.table.dry_stock - self.level - self._promised)
        self.fetched += added
        self.made += added
        self.level += added
