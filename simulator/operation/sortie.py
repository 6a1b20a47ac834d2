"""An aircraft's day: load after load until the field, the list or the day ends."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from simulator.experiment.streams import DayStreams
from simulator.operation.crew import Person
from simulator.operation.flight import Airborne, Flight, furthest, to_pass_end
from simulator.operation.kernel import DayClock, Signal, Steps, wait
from simulator.operation.log import Reason, Sortie, State
from simulator.operation.packs import Pack
from simulator.operation.plan_equipment import AircraftPlan
from simulator.operation.turnaround import Turnaround
from simulator.operation.work import Visit

if TYPE_CHECKING:
    from simulator.operation.move import RigUnit

_TRACE = 1e-9
"""Less product than this (L or kg) is rounding, not a load."""
_SLIVER_M2 = 1.0
"""A remainder smaller than this is not worth a flight: it is given up and counted as out of reach."""
_ROUNDING_M2 = 1e-3
"""A remainder smaller than this is rounding: it is flown with the load before."""
_MOST_REFUSALS = 30
"""Launches in a row that may come to nothing before the stretch is given up as out of reach."""
_NEAR_THE_END_S = 5400.0
"""Within this time of the last landing the wait for a pack counts when a load is planned."""


class LoadPlan:
    """What the next flight is to do, and how far its fill has come."""

    __slots__ = (
        "area_from_m2",
        "area_to_m2",
        "fill_amount",
        "filled",
        "need_wh",
        "product_taken",
        "swap",
        "visit",
    )

    def __init__(
        self,
        visit: Visit,
        area_from_m2: float,
        area_to_m2: float,
        fill_amount: float,
        swap: bool,
        need_wh: float,
    ) -> None:
        self.visit, self.area_from_m2, self.area_to_m2 = visit, area_from_m2, area_to_m2
        self.fill_amount, self.swap, self.need_wh = fill_amount, swap, need_wh
        self.product_taken = False
        self.filled = False


class AircraftUnit:
    """One aircraft on a rig.

    Parameters
    ----------
    rig : RigUnit
        Its rig.
    name : str
        Unique name.
    plan : AircraftPlan
        Its class.
    streams : DayStreams
        The day's random streams.
    """

    def __init__(self, rig: RigUnit, name: str, plan: AircraftPlan, streams: DayStreams) -> None:
        self.clock: DayClock = rig.clock
        self.rig, self.name, self.plan = rig, name, plan
        self.pack: Pack | None = None
        self.load = 0.0
        self.swaps = 0
        self.loads = 0
        self.closed = False
        self.cleared = False
        self.idle = False
        self.under_repair = False
        self.giving = False
        self.idle_reason = Reason.NO_WORK_HERE
        self.claim: LoadPlan | None = None
        self.turnaround: Turnaround | None = None
        self.work_begin_s = 0.0
        self.work_end_s = 0.0
        self._marked_s = 0.0
        self._hold: Reason | None = None
        self._go: Signal | None = None
        self._pilot: Person | None = None
        self._flight: Flight | None = None
        self._air: Airborne | None = None
        self._factor = 1.0
        self._end_m2 = 0.0
        self._took_off_s = 0.0
        self._late_on: Visit | None = None
        self.check_s = 0.0
        self._refusals = 0
        tasks = rig.tasks
        self.draw_swap = streams.draws(f"swap/{name}", tasks.swap.time)
        self.draw_fill = streams.draws(f"fill/{name}", tasks.fill.time)
        self.draw_launch_check = streams.draws(f"launch_check/{name}", tasks.launch_check.time)
        self._draw_factor = streams.draws(f"flight_time/{name}", plan.flight_time_factor)
        self._draw_turn = streams.draws(f"turn/{name}", plan.turn_time)
        self._draw_take_off = streams.draws(f"take_off/{name}", plan.take_off_time)
        self._draw_landing = streams.draws(f"landing/{name}", plan.landing_time)
        self._draw_repair: Callable[[], float] | None = None
        self._draw_between: Callable[[], float] | None = None
        self._until_failure_s = math.inf
        if plan.breakdown is not None:
            self._draw_between = streams.draws(f"breakdown/{name}", plan.breakdown.airborne_time_between)
            self._draw_repair = streams.draws(f"repair/{name}", plan.breakdown.repair_time)
            self._until_failure_s = self._draw_between()
        times = (plan.turn_time, plan.take_off_time, plan.landing_time)
        self._fixed_times = all(time.is_constant for time in times)

    # --- log ---

    def mark(self, end_s: float, state: State, reason: Reason = Reason.NONE, start_s: float | None = None) -> None:
        """Log the state since the last mark; what lies before ``start_s`` unaccounted is a fault and raises."""
        if start_s is not None and abs(start_s - self._marked_s) > 1e-6:
            raise RuntimeError(f"{self.name}: log gap at {self._marked_s}, next state starts at {start_s}")
        if end_s > self._marked_s:
            self.rig.log.add(self._marked_s, end_s, self.name, state, reason, self.rig.field_name)
            self._marked_s = end_s

    @property
    def marked_s(self) -> float:
        """Time up to which the aircraft's states are logged."""
        return self._marked_s

    def mount(self, pack: Pack) -> None:
        """Put a pack on."""
        self.pack = pack
        pack.enter(self.clock.now, State.FLOWN, self.rig.log)

    # --- the process ---

    def run(self) -> Steps:
        """Fly load after load; the process of one aircraft."""
        clock = self.clock
        while True:
            if not self.rig.ready or self.rig.visit is None:
                yield self.rig.next_ready()
                continue
            load = self._plan_load()
            if load is None:
                self.idle = True
                yield self.rig.aircraft_idle(self)
                self.idle = False
                if not self.closed and self._marked_s < clock.now:
                    self.mark(clock.now, State.WAIT, self.idle_reason)
                continue
            self.claim = load
            turnaround = self.turnaround = Turnaround(self, load)
            yield turnaround.ready
            self.turnaround = None
            self._draw_flight(load)
            yield self._ask_launch()
            while self._weather_has_turned():
                yield self._ask_launch()
            air = self._air
            if air is None:
                continue
            yield self._take_off(air)
            self._land(load, air)
            if self._until_failure_s <= 0.0:
                yield self._begin_repair()
                self._end_repair()

    def _draw_flight(self, load: LoadPlan) -> None:
        """Draw the times of the coming flight."""
        if self.pack is None:
            raise RuntimeError(f"{self.name}: ready to take off without a pack")
        profile = self.rig.profile(self.plan.name, load.visit.index)
        pack_kg = self.pack.plan.mass_kg
        if self._fixed_times:
            self._flight = profile.mean_flight(self.plan, pack_kg, self.plan.unit_kg)
        else:
            times = self._draw_turn(), self._draw_take_off(), self._draw_landing()
            self._flight = Flight(self.plan, profile, pack_kg, self.plan.unit_kg, *times)
        self._factor, self.check_s = self._draw_factor(), self.draw_launch_check()
        self._hold = None

    def _ask_launch(self) -> Signal:
        """Ask to be cleared; the event happens once the flight is fixed, or once none is possible any more."""
        self._air = None
        go = self._go = Signal(self.clock)
        self.rig.crew.request_launch(self)
        return go

    def _weather_has_turned(self) -> bool:
        """Tell whether the weather stopped the flight during its launch check: the clearance is then given back."""
        self._go = None
        pilot = self._pilot
        if self._air is None or pilot is None or not self.rig.crew.weather_stopped:
            return False
        self.cleared = False
        self._pilot = None
        self.rig.crew.landed(pilot)
        return True

    def _take_off(self, air: Airborne) -> Signal:
        """Begin the flight; the event is its landing."""
        if self.pack is None or self._pilot is None or self._flight is None:
            raise RuntimeError(f"{self.name}: cleared to take off without a pack or a pilot")
        self._took_off_s = self.clock.now
        self._refusals = 0
        self.pack.loads_on_charge += 1
        return wait(self.clock, air.total_s)

    def _land(self, load: LoadPlan, air: Airborne) -> None:
        visit, pack, pilot, flight = load.visit, self.pack, self._pilot, self._flight
        if pack is None or pilot is None or flight is None:
            raise RuntimeError(f"{self.name}: landed without a pack or a pilot")
        rig, area_from, end, before = self.rig, load.area_from_m2, self._end_m2, pack.energy_wh
        applied = flight.profile.rate * (end - area_from)
        self.cleared = False
        pack.energy_wh = before - air.energy_wh
        rig.log.sorties.append(
            Sortie(
                self._took_off_s, self.name, pack.name, visit.plan.name, visit.number, area_from, end,
                air.take_off_s, air.ferry_out_s, air.work_s, air.turn_s, air.ferry_back_s, air.landing_s,
                air.path_m, applied, self.load, air.energy_wh, before, pack.loads_on_charge,
            )
        )  # fmt: skip
        left = self.load - applied
        self.load = left if left > _TRACE else 0.0
        rig.note_applied(applied)
        self._marked_s = self.clock.now
        self._until_failure_s -= air.total_s
        self.claim = None
        if 0.0 < load.area_to_m2 - end < _SLIVER_M2:
            rig.out_of_reach(visit, load.area_to_m2 - end)
            end = load.area_to_m2
        visit.settle(end, load.area_to_m2)
        rig.crew.landed(pilot)
        rig.after_landing(visit)

    def _refuse(self, load: LoadPlan, late: bool) -> None:
        """Nothing can be flown on what is left of the charge or the day: give the stretch back."""
        self.claim = None
        self._late_on = load.visit if late else None
        self._refusals += not late
        if self._refusals > _MOST_REFUSALS:
            self._refusals = 0
            load.visit.settle(load.area_to_m2, load.area_to_m2)
            self.rig.out_of_reach(load.visit, load.area_to_m2 - load.area_from_m2)
        else:
            load.visit.settle(load.area_from_m2, load.area_to_m2)
        self.rig.after_landing(load.visit)

    def _begin_repair(self) -> Signal:
        """Begin a repair; the event is its end."""
        if self._draw_repair is None:
            raise RuntimeError(f"{self.name}: a breakdown without a repair time")
        self.under_repair = True
        self.rig.spare_packs()
        return wait(self.clock, self._draw_repair())

    def _end_repair(self) -> None:
        self.under_repair = False
        if self._draw_between is not None:
            self._until_failure_s = self._draw_between()
        if not self.closed and self.rig.ready:
            self.mark(self.clock.now, State.REPAIR, Reason.BREAKDOWN)
        self.rig.repaired()

    # --- planning a load ---

    def _mean_flight(self, index: int, pack_kg: float) -> Flight:
        return self.rig.profile(self.plan.name, index).mean_flight(self.plan, pack_kg, self.plan.unit_kg)

    def _plan_load(self) -> LoadPlan | None:
        """Choose the next stretch and load; None when nothing can be flown, with ``idle_reason`` set."""
        while True:
            load, again = self._try_load()
            if not again:
                return load

    def _try_load(self) -> tuple[LoadPlan | None, bool]:
        """Plan a load; the flag asks for another try, past a stretch that was out of reach."""
        visit = self.rig.visit
        opening = visit.opening() if visit is not None and not self.closed else None
        if visit is None or opening is None:
            self.idle_reason = Reason.NO_WORK_HERE
            return None, False
        if self._late_on is visit:
            self.idle_reason = Reason.DAY_END
            return None, False
        area_from, border = opening
        fresh = self.rig.best_pack(self.plan.name)
        swap, flight, energy, wanted = self._choose_pack(visit, area_from, border, fresh)
        rate = flight.profile.rate
        fill = max(0.0, (wanted - area_from) * rate - self.load)
        time_left = self.rig.until_s(visit) - self.clock.now
        # a load is filled before its pack comes: near the day's end it must not be filled for a flight that is too late
        wait_s = self.rig.station.soonest_s(self.plan.name) if swap and time_left < _NEAR_THE_END_S else 0.0
        least_s = wait_s + 0.5 * self.rig.swap_mean_s if wait_s > 0.0 else 0.0
        time_left -= max(least_s, self.rig.turnaround_mean_s(swap, fill))
        area_to = area_from
        if time_left > 0:
            area_to = furthest(flight, area_from, wanted, self.load, energy, time_left, 1.0, fill=True)
        if area_to < wanted:
            return self._shortened(visit, flight, area_from, area_to, wanted, energy, time_left, swap)
        return self._claim(visit, flight, area_from, area_to, swap, energy, time_left), False

    def _choose_pack(
        self, visit: Visit, area_from: float, border: float, fresh: Pack
    ) -> tuple[bool, Flight, float, float]:
        """Return whether to swap, the mean flight, the energy to plan with, and the end of a full load."""
        spare = 1.0 + self.rig.energy_margin
        pack = self.pack
        if pack is not None and not (self.plan.swap_every_landing and pack.loads_on_charge > 0):
            flight = self._mean_flight(visit.index, pack.plan.mass_kg)
            full = self.plan.capacity(pack.plan.mass_kg)
            wanted = _to_border(border, area_from + full / flight.profile.rate)
            need = flight.over(
                area_from, wanted, max(self.load, (wanted - area_from) * flight.profile.rate), 1.0
            ).energy_wh
            if need * spare <= pack.above_reserve_wh:
                return False, flight, pack.above_reserve_wh / spare, wanted
        flight = self._mean_flight(visit.index, fresh.plan.mass_kg)
        wanted = _to_border(border, area_from + self.plan.capacity(fresh.plan.mass_kg) / flight.profile.rate)
        energy = fresh.plan.capacity_wh * self.rig.charge_to - fresh.plan.reserve_wh
        return True, flight, energy / spare, wanted

    def _shortened(
        self,
        visit: Visit,
        flight: Flight,
        area_from: float,
        area_to: float,
        wanted: float,
        energy: float,
        time_left: float,
        swap: bool,
    ) -> tuple[LoadPlan | None, bool]:
        """Handle a load that energy or the clock cuts short."""
        rate = flight.profile.rate
        by_energy = furthest(flight, area_from, wanted, self.load, energy, math.inf, 1.0, fill=True)
        if by_energy - area_from < 1.0 and wanted - area_from > 1.0:
            if self._unload():
                return None, True
            visit.claim(area_from, wanted)
            visit.settle(wanted, wanted)
            self.rig.out_of_reach(visit, wanted - area_from)
            return None, True
        least = self.rig.least_load_share * self.plan.capacity(flight.pack_kg) / rate
        if area_to < by_energy and area_to - area_from < min(least, wanted - area_from):
            self.idle_reason = Reason.DAY_END
            return None, False
        return self._claim(visit, flight, area_from, area_to, swap, energy, time_left), False

    def _unload(self) -> bool:
        """Put a load back that no charge carries from here; what was filled for a fuller pack may be too much now.

        That is rare, and its time is not counted. False when there is no load, or no room for it.
        """
        amount = self.load
        if amount <= 0.0 or not self.rig.supply.take_back(amount):
            return False
        self.load = 0.0
        now = self.clock.now
        self.rig.log.add(now, now, self.name, State.FILL, Reason.FILL, "", -amount)
        return True

    def _claim(
        self,
        visit: Visit,
        flight: Flight,
        area_from: float,
        area_to: float,
        swap: bool,
        energy: float,
        time_left: float,
    ) -> LoadPlan:
        if self.rig.whole_passes:
            area_to = to_pass_end(flight, area_from, area_to, self.load, energy, time_left, 1.0, fill=True)
        visit.claim(area_from, area_to)
        product = flight.profile.rate * (area_to - area_from)
        need = flight.over(area_from, area_to, max(self.load, product), 1.0).energy_wh * (1.0 + self.rig.energy_margin)
        fill = product - self.load
        return LoadPlan(visit, area_from, area_to, fill if fill > 1e-6 else 0.0, swap, need)

    # --- launching ---

    def hold(self, reason: Reason) -> None:
        """Note why the aircraft, ready to fly, stays on the ground."""
        if self._hold is None:
            self._hold = reason
        elif self._hold is not reason:
            self.mark(self.clock.now, State.WAIT, self._hold)
            self._hold = reason

    def _end_hold(self) -> None:
        if self._hold is not None:
            self.mark(self.clock.now, State.WAIT, self._hold)
            self._hold = None

    @property
    def held_for(self) -> Reason | None:
        """Why the aircraft, ready to fly, stays on the ground; None when it does not."""
        return self._hold

    def prepare(self, now_s: float) -> bool:
        """Fix the flight that begins after the launch check; False when charge or day allow none any more."""
        load, flight, pack, go = self.claim, self._flight, self.pack, self._go
        if load is None or flight is None or pack is None or go is None:
            raise RuntimeError(f"{self.name}: cleared without having asked")
        self._end_hold()
        start, area_from, area_to = now_s + self.check_s, load.area_from_m2, load.area_to_m2
        time_left, energy = self.rig.until_s(load.visit) - start, pack.above_reserve_wh
        least = min(1.0, 0.5 * (area_to - area_from))
        end = furthest(flight, area_from, area_to, self.load, energy, time_left, self._factor)
        if end < area_to and self.rig.whole_passes:
            end = to_pass_end(flight, area_from, end, self.load, energy, time_left, self._factor)
        if end - area_from < least:
            untimed = furthest(flight, area_from, area_to, self.load, energy, math.inf, self._factor)
            self._refuse(load, late=untimed - area_from >= least)
            go.fire()
            return False
        air = flight.over(area_from, end, self.load, self._factor)
        self._air, self._end_m2 = air, end
        self.work_begin_s = start + air.take_off_s + air.ferry_out_s
        self.work_end_s = start + air.total_s - air.ferry_back_s - air.landing_s
        rig = self.rig
        rig.launches_s = sorted([start, *(one for one in rig.launches_s if one > now_s - rig.launch_interval_s)])
        self.cleared = True
        return True

    def launch(self, pilot: Person) -> None:
        """Take off, watched by a pilot; the launch check is over."""
        if self._go is None:
            raise RuntimeError(f"{self.name}: cleared without having asked")
        self._pilot = pilot
        if self.check_s > 0.0:
            self.mark(self.clock.now, State.LAUNCH_CHECK)
        self._go.fire()

    def clear_from_s(self, now_s: float) -> float:
        """Return the time before which a clearance would bring two aircraft too near; ``now_s`` when it is clear."""
        rig, claim, flight = self.rig, self.claim, self._flight
        if len(rig.aircraft) < 2 or claim is None or flight is None:
            return now_s
        until = now_s + self.check_s
        for launch_s in rig.launches_s:
            if abs(until - launch_s) < rig.launch_interval_s:
                until = launch_s + rig.launch_interval_s
        if rig.separation_m > 0.0:
            out_m = flight.profile.path.stretch(claim.area_from_m2, claim.area_from_m2).out_m
            reach_s = (flight.take_off_s + out_m / self.plan.ferry_speed_m_per_s) * self._factor
            for other in rig.aircraft:
                if other is not self and other.cleared:
                    until = max(until, other.work_near_until_s(claim, until + reach_s) - reach_s)
        return max(now_s, until - self.check_s)

    def work_near_until_s(self, claim: LoadPlan, arrive_s: float) -> float:
        """Return from when, at ``arrive_s`` or later, another may begin its stretch without coming too near."""
        mine, flight = self.claim, self._flight
        if mine is None or flight is None or mine.visit is not claim.visit:
            return arrive_s
        path = flight.profile.path
        near_m2 = math.ceil(self.rig.separation_m / self.plan.swath_m) * path.mean_pass_m2
        begin_s, end_s, from_m2 = self.work_begin_s, self.work_end_s, mine.area_from_m2
        if arrive_s < begin_s:
            # it is on its way: the other lets it begin first when they would meet
            if not claim.area_from_m2 - near_m2 < from_m2 < claim.area_to_m2 + near_m2:
                return arrive_s
            arrive_s = begin_s
        s_per_m2 = (end_s - begin_s) / (self._end_m2 - from_m2)
        comes_s = begin_s + (claim.area_from_m2 - near_m2 - from_m2) * s_per_m2
        leaves_s = min(end_s, begin_s + (claim.area_from_m2 + near_m2 - from_m2) * s_per_m2)
        return leaves_s if comes_s < arrive_s < leaves_s else arrive_s


def _to_border(border_m2: float, area_to_m2: float) -> float:
    """Return the end of a full load, or the border when no more than rounding would be left before it."""
    return border_m2 if area_to_m2 > border_m2 - _ROUNDING_M2 else area_to_m2
