"""How much product a rig can still use: by its least cycle at first, then by its own pace."""

from __future__ import annotations

from simulator.operation.aircraft import Aircraft
from simulator.operation.site import Site
from simulator.operation.work import WorkList
from simulator.plan.aircraft import AircraftPlan
from simulator.plan.day_plan import DayPlan, RigPlan

_LOADS_TO_KNOW_THE_PACE = 4
"""Loads an aircraft after which the rig's own pace, not the least cycle, tells how much more is to be mixed."""
_PACE_MARGIN = 1.2
"""Running dry costs a batch's mixing time, a little too much costs a little product."""
_CYCLE_SPARE_S = 1.0


class Pace:
    """What a rig has flown so far today, and what it can still fly."""

    def __init__(self, day: DayPlan, plan: RigPlan, aircraft: list[Aircraft], site: Site, work: WorkList) -> None:
        self._day, self._rig, self._aircraft, self._site, self._work = day, plan.rig, aircraft, site, work
        self.loads_flown = 0
        self._applied = self._begun_s = 0.0
        self._least_cycles_s: dict[tuple[str, float], float] = {}
        self._capacity = sum([one.plan.capacity_units for one in aircraft])

    def note_flown(self, now_s: float, applied: float) -> None:
        """Count a flown load and what it has applied (L or kg)."""
        if self.loads_flown == 0:
            self._begun_s = now_s
        self.loads_flown += 1
        self._applied += applied

    def product_ahead(self, now_s: float) -> float:
        """Return the product (L or kg) that can still be flown and is in no tank yet."""
        time_left_s = self._day.last_landing_s - now_s
        if time_left_s <= 0.0 or self._site.closed:
            return 0.0
        visit = self._site.visit
        rate = visit.plan.rate if visit is not None else self._day.fields[0].rate
        flyable = 0.0
        for one in self._aircraft:
            flyable += (time_left_s / self.least_cycle_s(one.plan, rate) + 1.0) * one.plan.capacity_units
        own_per_s = self._own_per_s(now_s)
        if own_per_s is not None:
            # what the rig has really flown an hour so far, waits and moves and all, tells better than the least cycle
            flyable = min(flyable, _PACE_MARGIN * own_per_s * time_left_s + self._capacity)
        on_board = sum([one.on_board for one in self._aircraft if one.load is None])
        mix = visit.plan.product if visit is not None else self._day.fields[self._day.geography.order[0]].product
        return max(0.0, min(flyable, self.product_here() + self._work.product_ahead(mix, flyable)) - on_board)

    @property
    def largest_load(self) -> float:
        """The largest load (L or kg) of an aircraft that is off the trailer."""
        return max([one.plan.capacity_units for one in self._aircraft if not one.on_trailer], default=0.0)

    def product_here(self) -> float:
        """Return the product (L or kg) that the field where the rig stands still takes."""
        visit = self._site.visit
        return visit.remaining_m2 * visit.plan.product_per_m2 if visit is not None else 0.0

    def use_per_s(self, now_s: float) -> float:
        """Return the product (L or kg) that is flown a second: by least cycles at first, then by the rig's own pace."""
        own_per_s, visit = self._own_per_s(now_s), self._site.visit
        if own_per_s is not None:
            return own_per_s
        rate = visit.plan.rate if visit is not None else self._day.fields[0].rate
        flying = [one.plan for one in self._aircraft if not one.on_trailer]
        return sum([plan.capacity_units / self.least_cycle_s(plan, rate) for plan in flying])

    def _own_per_s(self, now_s: float) -> float | None:
        """Return the product (L or kg) that the rig has flown a second; None before it has flown enough to tell."""
        if self.loads_flown < _LOADS_TO_KNOW_THE_PACE * len(self._aircraft):
            return None
        return self._applied / max(1.0, now_s - self._begun_s)

    def least_cycle_s(self, plan: AircraftPlan, rate: float) -> float:
        """Return the least time of a full load, fill and flight, at a rate (L/m2 or kg/m2)."""
        cycle_s = self._least_cycles_s.get((plan.name, rate))
        if cycle_s is None:
            cycle_s = self._least_cycles_s[plan.name, rate] = (
                plan.capacity_units / rate / (plan.swath_m * plan.work_speed_m_per_s)
                + plan.take_off_time.mean()
                + plan.landing_time.mean()
                + self._rig.crew.tasks.fill.time.mean()
                + plan.capacity_units / self._flow
                + _CYCLE_SPARE_S
            )
        return cycle_s

    @property
    def _flow(self) -> float:
        liquid = self._day.scenario.product.kind == "liquid"
        return self._rig.supply.pump_flow if liquid else self._rig.supply.dry_flow
