"""An aircraft's day: load after load until the field, the list or the day ends."""

from __future__ import annotations

import math
from collections.abc import Callable

from simpy import Interrupt
from simpy.events import ProcessGenerator

from simulator.operation.aircraft import Aircraft
from simulator.operation.launching import Launch
from simulator.operation.loads import LoadPlanner
from simulator.operation.log import Reason, Sortie, State
from simulator.operation.rig import Rig
from simulator.operation.turnaround import Turnaround, lend_packs, send_used_pack
from simulator.operation.work import Load
from simulator.plan.flight import Airborne, Flight

_TRACE = 1e-9
"""Less product than this (L or kg) is rounding, not a load."""
_SLIVER_M2 = 1.0
"""A remainder smaller than this is not worth a flight: it is given up and counted as out of reach."""
_MOST_REFUSALS = 30
"""Launches in a row that may come to nothing before the stretch is given up as out of reach."""


class Sorties:
    """The sorties of one aircraft during one day."""

    def __init__(self, rig: Rig, aircraft: Aircraft) -> None:
        self._rig, self._env, self._aircraft = rig, rig.env, aircraft
        self._planner = LoadPlanner(rig, aircraft)
        self._turnaround: Turnaround | None = None
        self._launch: Launch | None = None
        self._refusals = 0
        name, plan, draws = aircraft.name, aircraft.plan, rig.streams.draws
        self._draw_swap_s = draws(f"swap/{name}", rig.tasks.swap.time)
        self._draw_fill_s = draws(f"fill/{name}", rig.tasks.fill.time)
        self._draw_check_s = draws(f"launch_check/{name}", rig.tasks.launch_check.time)
        self._draw_factor = draws(f"flight_time/{name}", plan.flight_time_factor)
        times = {"turn": plan.turn_time, "take_off": plan.take_off_time, "landing": plan.landing_time}
        self._draw_times_s = [draws(f"{purpose}/{name}", time) for purpose, time in times.items()]
        self._fixed_times = all(time.is_constant for time in times.values())
        self._draw_between_s: Callable[[], float] = lambda: math.inf
        self._draw_repair_s: Callable[[], float] = lambda: 0.0
        if plan.breakdown is not None:
            self._draw_between_s = draws(f"breakdown/{name}", plan.breakdown.airborne_time_between)
            self._draw_repair_s = draws(f"repair/{name}", plan.breakdown.repair_time)
        if math.isinf(aircraft.until_failure_s):
            aircraft.until_failure_s = self._draw_between_s()

    def run(self) -> ProcessGenerator:
        """Fly load after load until the day is over; the process of one aircraft."""
        try:
            while True:
                if self._aircraft.on_trailer or not self._rig.site.is_open:
                    yield self._rig.site.opened
                    continue
                load = self._planner.next_load()
                if load is None:
                    yield from self._rest()
                    continue
                yield from self._fly(load) if load.fill_amount >= 0.0 else self._put_back(load)
                if self._aircraft.until_failure_s <= 0.0:
                    yield from self._repair()
        except Interrupt:
            self._end_day()

    def _fly(self, load: Load) -> ProcessGenerator:
        """Make ready, take off and land."""
        aircraft, crew = self._aircraft, self._rig.crew
        aircraft.load = load
        self._turnaround = Turnaround(self._rig, aircraft, load, self._draw_swap_s, self._draw_fill_s)
        yield from self._turnaround.run()
        self._turnaround = None
        flight, factor, check_s = self._draw_flight(load), self._draw_factor(), self._draw_check_s()
        until_s, pack = self._rig.site.until_s(load.visit), aircraft.flown_with()
        while True:
            launch = self._launch = Launch(
                aircraft.name, load, flight, aircraft.on_board, pack.above_reserve_wh, until_s, factor, check_s
            )
            crew.ask_launch(launch)
            if launch.decided is not None:
                yield launch.decided
            aircraft.mark_waits([*launch.holds, (self._env.now, launch.blocked)])
            self._launch = None
            if launch.air is None:
                self._refuse(load, launch.late)
                return
            if check_s > 0.0:
                yield self._env.timeout(check_s)
                crew.end_check(launch)
                aircraft.mark(self._env.now, State.LAUNCH_CHECK)
            if not self._rig.airspace.weather_stopped:
                break
            crew.end_watch(launch, flown=False)
        self._refusals = 0
        pack.loads_on_charge += 1
        took_off_s = self._env.now
        yield self._env.timeout(launch.air.total_s)
        self._land(launch, launch.air, took_off_s)

    def _put_back(self, load: Load) -> ProcessGenerator:
        """Put back a load that no charge carries from here, as it was filled in, and leave its stretch."""
        self._aircraft.load = load
        self._turnaround = Turnaround(self._rig, self._aircraft, load, self._draw_swap_s, self._draw_fill_s)
        yield from self._turnaround.run()
        self._turnaround = None
        self._refuse(load, late=False)

    def _draw_flight(self, load: Load) -> Flight:
        """Return the coming flight, with its own times where they vary."""
        aircraft = self._aircraft
        plan, pack = aircraft.plan, aircraft.flown_with().plan
        if self._fixed_times:
            return self._rig.mean_flight(aircraft, load.visit.index, pack)
        profile = self._rig.day.profiles[plan.name, load.visit.index]
        return Flight(plan, profile, pack.mass_kg, plan.unit_kg, *[draw() for draw in self._draw_times_s])

    def _land(self, launch: Launch, air: Airborne, took_off_s: float) -> None:
        """Log the flight, settle its stretch, and let the pilot look away."""
        aircraft, load, pack, rig = self._aircraft, launch.load, self._aircraft.flown_with(), self._rig
        visit, end_m2 = load.visit, launch.end_m2
        applied = launch.flight.profile.product(load.area_from_m2, end_m2)
        rig.log.sorties.append(
            Sortie(
                took_off_s, aircraft.name, pack.name, visit.plan.name, visit.number, load.area_from_m2, end_m2,
                air.take_off_s, air.ferry_out_s, air.work_s, air.turn_s, air.ferry_back_s, air.landing_s, air.path_m,
                applied, aircraft.on_board, air.energy_wh, pack.energy_wh, pack.loads_on_charge,
            )
        )  # fmt: skip
        pack.energy_wh -= air.energy_wh
        left = aircraft.on_board - applied
        aircraft.on_board = left if left > _TRACE else 0.0
        aircraft.load = None
        aircraft.landed(self._env.now)
        rig.pace.note_flown(self._env.now, applied)
        aircraft.until_failure_s -= air.total_s
        if 0.0 < load.area_to_m2 - end_m2 < _SLIVER_M2:
            rig.site.out_of_reach_m2 += load.area_to_m2 - end_m2
            end_m2 = load.area_to_m2
        visit.settle(end_m2, load.area_to_m2)
        rig.crew.end_watch(launch)
        rig.site.after_landing(visit)

    def _refuse(self, load: Load, late: bool) -> None:
        """Nothing can be flown on what is left of the charge or the day: give the stretch back."""
        visit, site = load.visit, self._rig.site
        self._aircraft.load = None
        self._planner.late_on = visit if late else None
        self._refusals += not late
        if self._refusals > _MOST_REFUSALS:
            self._refusals = 0
            visit.settle(load.area_to_m2, load.area_to_m2)
            site.out_of_reach_m2 += load.area_to_m2 - load.area_from_m2
        else:
            visit.settle(load.area_from_m2, load.area_to_m2)
        site.after_landing(visit)

    def _rest(self) -> ProcessGenerator:
        """Stand by while there is nothing to fly, and let others have the pack."""
        aircraft, site = self._aircraft, self._rig.site
        work_back = site.rest(aircraft.name, self._planner.idle_reason)
        lend_packs(self._rig)
        send_used_pack(self._rig, aircraft)
        yield work_back
        aircraft.mark_rest(self._env.now)
        del site.idle[aircraft.name]

    def _repair(self) -> ProcessGenerator:
        """Repair a breakdown, and let others have the pack meanwhile."""
        aircraft, site = self._aircraft, self._rig.site
        aircraft.under_repair = True
        lend_packs(self._rig)
        yield self._env.timeout(self._draw_repair_s())
        if site.is_open:
            aircraft.mark_rest(self._env.now)
        aircraft.under_repair = False
        aircraft.until_failure_s = self._draw_between_s()

    def _end_day(self) -> None:
        """Log what it was waiting for when the day was called off, and give its stretch back for the next day."""
        aircraft, now = self._aircraft, self._env.now
        if aircraft.load is not None:
            aircraft.load.visit.settle(aircraft.load.area_from_m2, aircraft.load.area_to_m2)
            aircraft.load = None
        if self._turnaround is not None:
            self._turnaround.cut()
        if self._launch is not None:
            aircraft.mark_waits([*self._launch.holds, (now, self._launch.blocked or Reason.DAY_END)])
        aircraft.mark_rest(now)
        aircraft.mark(now, State.WAIT, Reason.DAY_END)
