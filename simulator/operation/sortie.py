"""An aircraft's day: load after load until the field, the list or the day ends."""

from __future__ import annotations

import math
from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from simpy.core import Environment
from simpy.events import Event, Timeout

from simulator.experiment.streams import DayStreams
from simulator.operation.crew import Person
from simulator.operation.flight import Flight, furthest
from simulator.operation.kernel import Signal
from simulator.operation.log import Reason, Sortie, State
from simulator.operation.packs import Pack
from simulator.operation.plan_equipment import AircraftPlan
from simulator.operation.turnaround import Turnaround
from simulator.operation.work import Visit

if TYPE_CHECKING:
    from simulator.operation.move import RigUnit

_MOST_REFUSALS = 30
"""Launches in a row that may come to nothing before the stretch is given up as out of reach."""


@dataclass
class LoadPlan:
    """What the next flight is to do."""

    visit: Visit
    area_from_m2: float
    area_to_m2: float
    fill_amount: float
    swap: bool
    need_wh: float
    product_taken: bool = False
    filled: bool = False


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
        self.env: Environment = rig.env
        self.rig, self.name, self.plan = rig, name, plan
        self.pack: Pack | None = None
        self.load = 0.0
        self.swaps = 0
        self.loads = 0
        self.closed = False
        self.airborne = False
        self.idle = False
        self.under_repair = False
        self.idle_reason = Reason.NO_WORK_HERE
        self.claim: LoadPlan | None = None
        self.turnaround: Turnaround | None = None
        self.work_end_s = 0.0
        self._marked_s = 0.0
        self._hold: Reason | None = None
        self._go: Signal | None = None
        self._pilot: Person | None = None
        self._last_launch_s = -math.inf
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
        self._means: dict[tuple[int, float], Flight] = {}

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
        pack.enter(self.env.now, State.FLOWN, self.rig.log)

    # --- the process ---

    def run(self) -> Generator[Event, object, None]:
        """Fly load after load; the SimPy process of one aircraft."""
        env = self.env
        while True:
            if not self.rig.ready or self.rig.visit is None:
                yield self.rig.next_ready()
                continue
            load = self._plan_load()
            if load is None:
                self.idle = True
                yield self.rig.aircraft_idle(self)
                self.idle = False
                if not self.closed and self._marked_s < env.now:
                    self.mark(env.now, State.WAIT, self.idle_reason)
                continue
            self.claim = load
            self.turnaround = Turnaround(self, load)
            yield self.turnaround.ready
            self.turnaround = None
            self._go = Signal(env)
            self._hold = None
            self.rig.crew.request_launch(self)
            yield self._go
            self._go = None
            if self._hold is not None:
                self.mark(env.now, State.WAIT, self._hold)
            yield from self._fly(load)
            if self._until_failure_s <= 0.0:
                yield from self._repair()

    def _fly(self, load: LoadPlan) -> Generator[Event, object, None]:
        env, visit, pack, pilot = self.env, load.visit, self.pack, self._pilot
        if pack is None or pilot is None:
            raise RuntimeError(f"{self.name}: cleared to take off without a pack or a pilot")
        start = env.now
        flight = Flight(
            self.plan,
            self.rig.profile(self.plan.name, visit.index),
            pack.plan.mass_kg,
            self.plan.unit_kg,
            self._draw_turn(),
            self._draw_take_off(),
            self._draw_landing(),
        )
        factor = self._draw_factor()
        area_from, area_to = load.area_from_m2, load.area_to_m2
        time_left = self.rig.last_landing_s - start
        end = furthest(flight, area_from, area_to, self.load, pack.above_reserve_wh, time_left, factor)
        if end < area_to and self.rig.whole_passes:
            end = min(end, flight.profile.path.whole_passes(area_from, end))
        if end - area_from < min(1.0, 0.5 * (area_to - area_from)):
            self._refuse(load, pilot)
            return
        air = flight.over(area_from, end, self.load, factor)
        self._refusals = 0
        before = pack.energy_wh
        applied = flight.profile.rate * (end - area_from)
        pack.loads_on_charge += 1
        self._last_launch_s = start
        self.rig.last_launch_s = start
        self.work_end_s = start + air.total_s - air.ferry_back_s - air.landing_s
        self.airborne = True
        yield Timeout(env, air.total_s)
        self.airborne = False
        pack.energy_wh = before - air.energy_wh
        self.rig.log.sorties.append(
            Sortie(
                start, self.name, pack.name, visit.plan.name, visit.number, area_from, end,
                air.take_off_s, air.ferry_out_s, air.work_s, air.turn_s, air.ferry_back_s, air.landing_s,
                air.path_m, applied, self.load, air.energy_wh, before, pack.loads_on_charge,
            )
        )  # fmt: skip
        self.load = max(0.0, self.load - applied)
        self._marked_s = env.now
        self._until_failure_s -= air.total_s
        self.claim = None
        visit.settle(end, area_to)
        self.rig.crew.landed(pilot)
        self.rig.after_landing(visit)

    def _refuse(self, load: LoadPlan, pilot: Person) -> None:
        """Nothing can be flown on what is left of the charge or the day: give the stretch back."""
        self._refusals += 1
        self.claim = None
        if self._refusals > _MOST_REFUSALS:
            self._refusals = 0
            load.visit.settle(load.area_to_m2, load.area_to_m2)
            self.rig.out_of_reach(load.visit, load.area_to_m2 - load.area_from_m2)
        else:
            load.visit.settle(load.area_from_m2, load.area_to_m2)
        self.rig.crew.landed(pilot)
        self.rig.after_landing(load.visit)

    def _repair(self) -> Generator[Event, object, None]:
        if self._draw_repair is None or self._draw_between is None:
            return
        self.under_repair = True
        yield Timeout(self.env, self._draw_repair())
        self.under_repair = False
        self._until_failure_s = self._draw_between()
        if not self.closed and self.rig.ready:
            self.mark(self.env.now, State.REPAIR, Reason.BREAKDOWN)
        self.rig.repaired()

    # --- planning a load ---

    def _mean_flight(self, index: int, pack_kg: float) -> Flight:
        flight = self._means.get((index, pack_kg))
        if flight is None:
            profile = self.rig.profile(self.plan.name, index)
            flight = self._means[index, pack_kg] = Flight(self.plan, profile, pack_kg, self.plan.unit_kg)
        return flight

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
        area_from, border = opening
        fresh = self.rig.best_pack(self.plan.name)
        swap, flight, energy, wanted = self._choose_pack(visit, area_from, border, fresh)
        rate = flight.profile.rate
        fill = max(0.0, (wanted - area_from) * rate - self.load)
        time_left = self.rig.last_landing_s - self.env.now - self.rig.turnaround_mean_s(swap, fill)
        load = max(self.load, (wanted - area_from) * rate)
        area_to = furthest(flight, area_from, wanted, load, energy, time_left, 1.0) if time_left > 0 else area_from
        if area_to < wanted:
            return self._shortened(visit, flight, area_from, area_to, wanted, energy, swap)
        return self._claim(visit, flight, area_from, area_to, swap), False

    def _choose_pack(
        self, visit: Visit, area_from: float, border: float, fresh: Pack
    ) -> tuple[bool, Flight, float, float]:
        """Return whether to swap, the mean flight, the energy to plan with, and the end of a full load."""
        spare = 1.0 + self.rig.energy_margin
        pack = self.pack
        if pack is not None and not (self.plan.swap_every_landing and pack.loads_on_charge > 0):
            flight = self._mean_flight(visit.index, pack.plan.mass_kg)
            full = self.plan.capacity(pack.plan.mass_kg)
            wanted = min(border, area_from + full / flight.profile.rate)
            need = flight.over(area_from, wanted, max(self.load, (wanted - area_from) * flight.profile.rate), 1.0).energy_wh
            if need * spare <= pack.above_reserve_wh:
                return False, flight, pack.above_reserve_wh / spare, wanted
        flight = self._mean_flight(visit.index, fresh.plan.mass_kg)
        wanted = min(border, area_from + self.plan.capacity(fresh.plan.mass_kg) / flight.profile.rate)
        energy = fresh.plan.capacity_wh * self.rig.plan.rig.charge_to - fresh.plan.reserve_wh
        return True, flight, energy / spare, wanted

    def _shortened(
        self, visit: Visit, flight: Flight, area_from: float, area_to: float, wanted: float, energy: float, swap: bool
    ) -> tuple[LoadPlan | None, bool]:
        """Handle a load that energy or the clock cuts short."""
        rate = flight.profile.rate
        by_energy = furthest(flight, area_from, wanted, max(self.load, (wanted - area_from) * rate), energy, math.inf, 1.0)
        if by_energy - area_from < 1.0 and wanted - area_from > 1.0:
            visit.claim(area_from, wanted)
            visit.settle(wanted, wanted)
            self.rig.out_of_reach(visit, wanted - area_from)
            return None, True
        least = self.rig.least_load_share * self.plan.capacity(flight.pack_kg) / rate
        if area_to < by_energy and area_to - area_from < min(least, wanted - area_from):
            self.idle_reason = Reason.DAY_END
            return None, False
        return self._claim(visit, flight, area_from, area_to, swap), False

    def _claim(self, visit: Visit, flight: Flight, area_from: float, area_to: float, swap: bool) -> LoadPlan:
        if self.rig.whole_passes:
            area_to = flight.profile.path.whole_passes(area_from, area_to)
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
            self.mark(self.env.now, State.WAIT, self._hold)
            self._hold = reason

    def launch(self, pilot: Person, check_s: float, done: Signal | None) -> None:
        """Clear the aircraft to take off after a check of that length."""
        self._pilot = pilot
        if self._go is None:
            raise RuntimeError(f"{self.name}: cleared without having asked")
        if self._hold is not None:
            self.mark(self.env.now, State.WAIT, self._hold)
            self._hold = None
        if done is None:
            self._go.fire()
            return
        go = self._go

        def checked(_: Event) -> None:
            self.mark(self.env.now, State.LAUNCH_CHECK)
            go.fire()

        done.callbacks.append(checked)
        done.fire(check_s)

    def separation_hold_s(self, now_s: float) -> float:
        """Return the time before which take-off would bring two aircraft too near; at most now when clear."""
        until = now_s
        rig, claim = self.rig, self.claim
        if len(rig.aircraft) < 2 or claim is None:
            return until
        until = max(until, rig.last_launch_s + rig.launch_interval_s)
        if rig.separation_m <= 0.0:
            return until
        path = rig.profile(self.plan.name, claim.visit.index).path
        reach_s = self.plan.take_off_time.mean() + path.stretch(claim.area_from_m2, claim.area_from_m2).out_m / self.plan.ferry_speed_m_per_s
        for other in rig.aircraft:
            theirs = other.claim
            if other is self or not other.airborne or theirs is None or theirs.visit is not claim.visit:
                continue
            profile = rig.profile(other.plan.name, theirs.visit.index)
            passes = math.ceil(rig.separation_m / other.plan.swath_m)
            near_m2 = passes * profile.path.mean_pass_m2
            if not -near_m2 <= claim.area_from_m2 - theirs.area_to_m2 <= near_m2:
                continue
            pass_s = profile.path.mean_pass_m2 / (other.plan.swath_m * profile.speed_m_per_s) + other.plan.turn_time.mean()
            arrive = until + reach_s
            if other.work_end_s - passes * pass_s < arrive < other.work_end_s:
                until = max(until, other.work_end_s - reach_s)
        return until
