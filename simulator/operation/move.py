"""A rig's day: from the yard to field after field and home again; owns what travels together."""

from __future__ import annotations

import math
from collections.abc import Callable

from simulator.experiment.streams import DayStreams
from simulator.operation.charging import ChargingStation
from simulator.operation.crew import AHEAD, TURNAROUND, Crew, Job
from simulator.operation.kernel import DayClock, Due, Signal, Steps, call_after, wait
from simulator.operation.log import DayLog, Kind, Reason, RigEnd, State
from simulator.operation.packs import Pack, PackPool
from simulator.operation.plan import DayPlan, RigPlan, WorkProfile
from simulator.operation.plan_equipment import AircraftPlan
from simulator.operation.power import PowerPoint, Session
from simulator.operation.sortie import AircraftUnit
from simulator.operation.supply import Supply
from simulator.operation.work import Visit, WorkList

_LOADS_TO_KNOW_THE_PACE = 4
"""Loads an aircraft after which the rig's own pace, not the least cycle, tells how much more is to be mixed."""
_PACE_MARGIN = 1.2
"""Running dry costs a batch's mixing time, a little too much costs a little product."""


class RigUnit:
    """One rig during one day.

    Parameters
    ----------
    clock : DayClock
        Clock.
    day : DayPlan
        The plan.
    plan : RigPlan
        This rig.
    work : WorkList
        Fields, shared with the other rigs.
    streams : DayStreams
        The day's random streams.
    log : DayLog
        The day's log.
    """

    def __init__(
        self, clock: DayClock, day: DayPlan, plan: RigPlan, work: WorkList, streams: DayStreams, log: DayLog
    ) -> None:
        self.clock, self.day, self.plan, self.work, self.log = clock, day, plan, work, log
        name, rig = plan.name, plan.rig
        scenario, tasks = day.scenario, rig.crew.tasks
        self.name, self.tasks = name, tasks
        self.last_landing_s = day.last_landing_s
        flying = scenario.flying
        self.separation_m, self.launch_interval_s = flying.separation, flying.launch_interval
        self.whole_passes = flying.stop_at == "pass end"
        self.energy_margin, self.least_load_share = flying.energy_margin, flying.least_load_share
        self.launches_s: list[float] = []
        self.visit: Visit | None = None
        self.ready = False
        self.closing = False
        self.paid_until_s = 0.0
        self._out_of_reach_m2 = 0.0
        self._next_ready: Signal | None = None
        self._wake: Signal | None = None
        self._begun_s = math.inf
        self._flown = 0
        self._applied = 0.0
        self._refuels: dict[str, Job] = {}
        self._place: int | None = None
        self._leave: Signal | None = None
        self.crew = Crew(clock, name, rig.crew, rig.supply.pumps, log)
        # the day begins with loading at the yard; nobody is free for other work before the first field
        self.crew.held_for = Reason.YARD
        self.pool = PackPool(clock)
        self.points = [
            PowerPoint(clock, f"{name}/{point.name}", point, log, self._charged, self._ask_refuel)
            for point in plan.power
        ]
        draw = streams.draws
        plug_in = draw(f"plug_in/{name}", tasks.plug_in.time)
        cooling = {pack.name: draw(f"cooling/{name}/{pack.name}", pack.cooling_time) for pack, _ in plan.packs}
        balance = {
            slot.name: draw(f"balance/{slot.name}", slot.charger.plan.balance_time)
            for point in self.points
            for slot in point.slots
        }
        self.station = ChargingStation(
            clock, self.points, self.pool, self.crew, log, tasks.plug_in, rig.charge_to, rig.take_partly_charged,
            lambda pack: plug_in(), lambda pack: cooling[pack.plan.name](), lambda slot: balance[slot.name](),
        )  # fmt: skip
        self.supply = Supply(
            clock, f"{name}/supply", rig.supply, scenario.product.kind == "liquid", tasks.mix, self.crew, log,
            self._product_ahead,
            draw(f"mix/{name}", tasks.mix.time), draw(f"water_trip/{name}", rig.supply.water_trip_time),
        )  # fmt: skip
        self._draw_refuel = draw(f"refuel/{name}", tasks.refuel.time)
        self._draw_speed = draw(f"road_speed/{name}", scenario.route.road_speed)
        trailer = rig.trailer
        self._draw_pack_up = draw(f"pack_up/{name}", trailer.pack_up_time)
        self._draw_set_up = draw(f"set_up/{name}", trailer.set_up_time)
        self._draw_relocate = draw(f"relocate/{name}", trailer.relocate_time)
        self._draw_yard = draw(f"yard/{name}", trailer.yard_time)
        self.aircraft: list[AircraftUnit] = []
        self._draw_handling: list[tuple[Callable[[], float], int]] = []
        for aircraft, number in plan.aircraft:
            for count in range(1, number + 1):
                unit = AircraftUnit(self, f"{name}/{aircraft.name} {count}", aircraft, streams)
                self.aircraft.append(unit)
                self._draw_handling.append(
                    (draw(f"handling/{unit.name}", aircraft.handling_time), aircraft.handling_people)
                )
        self.packs = [
            Pack(f"{name}/{pack.name} {count}", pack, pack.capacity_wh * rig.packs_start_charge)
            for pack, number in plan.packs
            for count in range(1, number + 1)
        ]
        self._best_packs = {
            aircraft.name: _best_pack(aircraft.name, self.packs, rig.charge_to) for aircraft, _ in plan.aircraft
        }
        fullest = max(rig.charge_to, rig.packs_start_charge)
        self.pool.most_wh = {
            name: max([pack.capacity_wh * fullest - pack.reserve_wh for pack, _ in plan.packs if name in pack.fits])
            for name in self._best_packs
        }
        self._least_cycles_s: dict[tuple[str, float], float] = {}
        self._swap_first = rig.swap_first
        self.charge_to = rig.charge_to
        self._fill_mean_s = tasks.fill.time.mean()
        self.swap_mean_s = tasks.swap.time.mean()
        self._check_mean_s = tasks.launch_check.time.mean()
        self._register()
        self._mount_first_packs()

    def _register(self) -> None:
        kinds = self.log.kinds
        kinds.update({unit.name: Kind.AIRCRAFT for unit in self.aircraft})
        kinds.update({pack.name: Kind.PACK for pack in self.packs})
        kinds.update({person.name: Kind.PERSON for person in self.crew.people})
        kinds.update({point.name: Kind.POWER for point in self.points})
        kinds.update({slot.name: Kind.CHARGER for point in self.points for slot in point.slots})
        kinds[self.supply.name] = Kind.SUPPLY
        kinds[self.name] = Kind.RIG

    def _mount_first_packs(self) -> None:
        """Put a pack on every aircraft; the others are ready, or wait for a charger when not charged enough."""
        rig = self.plan.rig
        left = list(self.packs)
        for unit in self.aircraft:
            for pack in left:
                if unit.plan.name in pack.plan.fits and pack.above_reserve_wh > 0:
                    left.remove(pack)
                    unit.mount(pack)
                    break
        for pack in left:
            if rig.packs_start_charge >= rig.charge_to - 1e-9:
                self.pool.ready.append(pack)
            else:
                self.station.queue(pack)

    # --- what the aircraft ask ---

    @property
    def field_name(self) -> str:
        """Name of the field the rig stands at; empty on the road."""
        return self.visit.plan.name if self.visit is not None and self.ready else ""

    def until_s(self, visit: Visit) -> float:
        """Return the last landing on a field: the day's, or the field's when it is no longer open before."""
        return min(self.last_landing_s, visit.plan.open_until_s)

    def profile(self, aircraft_class: str, field: int) -> WorkProfile:
        """Return path, rate and speed of an aircraft class on a field."""
        return self.day.profiles[aircraft_class, field]

    def best_pack(self, aircraft_class: str) -> Pack:
        """Return a pack of the fitting type that holds most above its reserve when charged as far as told."""
        return self._best_packs[aircraft_class]

    def pack_waits(self, aircraft_class: str, start_s: float, end_s: float) -> list[tuple[float, float, Reason]]:
        """Split a wait for a pack that the day's end cut short, by what has delayed the pack that holds most so far."""
        coming = [pack for pack in self.packs if aircraft_class in pack.plan.fits and pack.state is not State.FLOWN]
        if not coming:
            return [(start_s, end_s, Reason.TOO_FEW_PACKS)]
        return max(coming, key=lambda pack: pack.above_reserve_wh).waits(start_s, end_s)

    def turnaround_mean_s(self, swap: bool, fill_amount: float) -> float:
        """Return the least mean time from now to take-off."""
        fill = self._fill_mean_s + self.supply.fill_s(fill_amount) if fill_amount > 0 else 0.0
        swap_s = self.swap_mean_s if swap else 0.0
        return (swap_s + fill if self._swap_first else max(swap_s, fill)) + self._check_mean_s

    def next_ready(self) -> Signal:
        """Return the event that the rig next stands ready at a field."""
        if self._next_ready is None:
            self._next_ready = Signal(self.clock)
        return self._next_ready

    def aircraft_idle(self, unit: AircraftUnit) -> Signal:
        """Return the event that an aircraft with nothing to fly waits for, and see whether the rig may leave."""
        if self._wake is None:
            self._wake = Signal(self.clock)
        wake = self._wake
        self.spare_packs()
        self._check_leave()
        return wake

    def spare_packs(self) -> None:
        """Take packs off aircraft that have nothing to fly, or cannot fly, for those that wait for one."""
        for unit in self.aircraft:
            pack = unit.pack
            if pack is None or unit.closed or not (unit.idle or unit.under_repair) or unit.giving:
                continue
            if self.pool.wanted(pack, max(pack.energy_wh, self.station.full_wh(pack))):
                self._take_off_pack(unit, pack)

    def _take_off_pack(self, unit: AircraftUnit, pack: Pack) -> None:
        task = self.tasks.swap

        def begin() -> None:
            if unit.pack is pack and (unit.idle or unit.under_repair):
                unit.pack = None
            else:
                # it flies again: nothing is to be done after all
                unit.giving, job.duration_s = False, 0.0

        def done(_: Job) -> None:
            if unit.giving:
                unit.giving = False
                self.station.hand_on(pack)

        unit.giving = True
        job = Job(Reason.SWAP, 0.5 * self.swap_mean_s, task.people, task.by, TURNAROUND, done, unit.name)
        job.begin = begin
        self.crew.request(job)

    def after_landing(self, visit: Visit) -> None:
        """Wake idle aircraft when work was given back; else see whether the rig may leave."""
        if visit is self.visit and visit.opening() is not None:
            self._wake_idle()
        else:
            self._check_leave()

    def repaired(self) -> None:
        """Note that an aircraft can fly again."""
        self._check_leave()

    def out_of_reach(self, visit: Visit, area_m2: float) -> None:
        """Count area that no charge reaches from the landing zone."""
        self._out_of_reach_m2 += area_m2

    def _wake_idle(self) -> None:
        wake, self._wake = self._wake, None
        if wake is not None:
            wake.fire()

    def _check_leave(self) -> None:
        visit = self.visit
        if self._leave is None or visit is None or self._leave.triggered or visit.active > 0:
            return
        if visit.opening() is None or all(unit.idle and unit.idle_reason is Reason.DAY_END for unit in self.aircraft):
            self._leave.fire()

    def _product_ahead(self) -> float:
        """Return the product (L or kg) that can still be flown from here and is in no tank yet."""
        time_left = self.last_landing_s - self.clock.now
        if time_left <= 0.0 or self.closing:
            return 0.0
        rate = self.visit.plan.rate if self.visit is not None else self.day.fields[0].rate
        flyable = 0.0
        for unit in self.aircraft:
            cycle = self._least_cycle_s(unit.plan, rate)
            flyable += (time_left / cycle + 1.0) * unit.plan.capacity_units
        if self._flown >= _LOADS_TO_KNOW_THE_PACE * len(self.aircraft):
            # what the rig has really flown an hour so far, waits and moves and all, tells better than the least cycle
            pace = self._applied / max(1.0, self.clock.now - self._begun_s)
            spare = sum(unit.plan.capacity_units for unit in self.aircraft)
            flyable = min(flyable, _PACE_MARGIN * pace * time_left + spare)
        here = self.visit.remaining_m2 * rate if self.visit is not None else 0.0
        on_board = sum(unit.load for unit in self.aircraft if unit.claim is None)
        return max(0.0, min(flyable, here + self.work.product_ahead()) - on_board)

    def note_applied(self, amount: float) -> None:
        """Count a flown load and what it has applied (L or kg)."""
        if self._flown == 0:
            self._begun_s = self.clock.now
        self._flown += 1
        self._applied += amount

    def _least_cycle_s(self, plan: AircraftPlan, rate: float) -> float:
        key = plan.name, rate
        cycle_s = self._least_cycles_s.get(key)
        if cycle_s is None:
            spray_s = plan.capacity_units / rate / (plan.swath_m * plan.work_speed_m_per_s)
            cycle_s = self._least_cycles_s[key] = (
                spray_s
                + plan.take_off_time.mean()
                + plan.landing_time.mean()
                + self._fill_mean_s
                + self.supply.fill_s(plan.capacity_units)
                + 1.0
            )
        return cycle_s

    def _charged(self, session: Session) -> None:
        self.station.charged(session)

    def _ask_refuel(self, point: PowerPoint) -> None:
        pending = self._refuels.get(point.name)
        if pending is not None:
            call_after(self.clock, 0.0, lambda _: self.crew.hasten(pending))
            return
        task = self.tasks.refuel
        empty = point.fuel_l <= 1e-6
        job = Job(
            Reason.REFUEL,
            self._draw_refuel(),
            task.people,
            task.by,
            TURNAROUND if empty else AHEAD - 1,
            lambda _: done(),
            point.name,
        )

        def done() -> None:
            del self._refuels[point.name]
            filled = point.end_refuel()
            self.log.add(self.clock.now, self.clock.now, point.name, State.RUN, Reason.REFUEL, "", filled)

        def begin() -> None:
            point.begin_refuel()

        job.begin = begin
        self._refuels[point.name] = job
        call_after(self.clock, 0.0, lambda _: self.crew.request(job))

    # --- the process ---

    def run(self) -> Steps:
        """From the yard to field after field and home: the SimPy process of one rig."""
        yield from self._stage(self._draw_yard(), Reason.YARD)
        first = True
        while True:
            goal = self.work.peek(self.clock.now)
            if goal is None or not self._time_for(goal, first):
                break
            visit = self.work.next_visit(self.clock.now)
            if visit is None:
                break
            if first or goal != self._place:
                if not first:
                    yield from self._pack_up()
                yield from self._drive(goal)
                if self.clock.now >= self.last_landing_s:
                    self.visit = None
                    break
                yield from self._set_up()
            elif not first:
                pass
            first = False
            yield from self._await_opening(visit)
            flown = self._flown
            yield from self._work(visit)
            while not self.closing and visit.opening() is None and visit.next_station():
                yield from self._relocate()
                yield from self._work(visit)
            self.work.note_visit(self._flown > flown)
            if visit.opening() is None and not self.closing:
                self.work.finish()
                if self.work.all_finished:
                    self.log.list_finished_s = self.clock.now
            left_early = visit.opening() is not None and self.until_s(visit) >= self.last_landing_s
            if self.closing or left_early:
                break
            yield from self._seized(Reason.MOVING)
            self._mark_idle()
        yield from self._go_home()

    def _await_opening(self, visit: Visit) -> Steps:
        """Stand by until the field may be flown."""
        start, wait_s = self.clock.now, min(visit.plan.open_from_s, self.last_landing_s) - self.clock.now
        if wait_s > 0.0:
            yield wait(self.clock, wait_s)
            self.log.add(start, self.clock.now, self.name, State.WAIT, Reason.WINDOW)
            for unit in self.aircraft:
                unit.mark(self.clock.now, State.WAIT, Reason.WINDOW)

    def _relocate(self) -> Steps:
        """Shift the landing zone within the field; chargers go on."""
        visit = self.visit
        # before the crew is asked for: an aircraft repaired meanwhile must not plan for the next zone from here
        self.ready = False
        yield from self._seized(Reason.RELOCATE)
        yield from self._stage(self._draw_relocate(), Reason.RELOCATE)
        self.visit = visit

    def _seized(self, why: Reason) -> Steps:
        signal = Signal(self.clock)
        self.crew.seize(why, signal.fire)
        yield signal

    def _stage(self, length_s: float, why: Reason, amount: float = 0.0) -> Steps:
        """Let the whole rig do one thing together."""
        start, here = self.clock.now, self.crew.present
        yield wait(self.clock, length_s)
        now = self.clock.now
        self.log.add(start, now, self.name, State.MOVE, why, "", amount)
        for person in here:
            self.log.add(start, now, person.name, State.TASK, why)
        for unit in self.aircraft:
            unit.mark(now, State.MOVE, why)

    def _handling_s(self) -> float:
        """Return the time to lift all aircraft on or off, side by side as far as people allow."""
        people = len(self.crew.present)
        return sum(draw() / max(1, people // needed) for draw, needed in self._draw_handling)

    def _pack_up(self) -> Steps:
        self.ready = False
        self.visit = None
        if not self.plan.rig.trailer.charge_while_driving:
            for point in self.points:
                point.switch(False)
        yield from self._stage(self._draw_pack_up() + self._handling_s(), Reason.PACK_UP)

    def _drive(self, goal: int | None) -> Steps:
        distance = self.day.geography.distance_m(self._place, goal)
        self._place = goal
        yield from self._stage(distance / self._draw_speed(), Reason.DRIVE, distance)

    def _set_up(self) -> Steps:
        yield from self._stage(self._draw_set_up() + self._handling_s(), Reason.SET_UP)
        for point in self.points:
            if not point.on:
                point.switch(True)

    def _time_for(self, goal: int, first: bool) -> bool:
        """Tell whether a move and one short flight still fit into the day (by mean times)."""
        if self.closing:
            return False
        move_s = 0.0
        if first or goal != self._place:
            trailer = self.plan.rig.trailer
            distance = self.day.geography.distance_m(self._place, goal)
            move_s = (
                distance / self.day.scenario.route.road_speed.mean()
                + trailer.set_up_time.mean()
                + self.plan.pack_up_handling
            )
            if not first:
                move_s += trailer.pack_up_time.mean() + self.plan.pack_up_handling
        rate = self.day.fields[goal].rate
        flight_s = min(self._least_cycle_s(unit.plan, rate) for unit in self.aircraft) * self.least_load_share
        field = self.day.fields[goal]
        begin_s = max(self.clock.now + move_s, field.open_from_s)
        return begin_s + flight_s < self.last_landing_s

    def _work(self, visit: Visit) -> Steps:
        """Fly the field until it is done or the day ends."""
        if self.closing:
            return
        self.visit = visit
        self.ready = True
        self._leave = Signal(self.clock)
        ready, self._next_ready = self._next_ready, None
        self.crew.release()
        self.supply.plan_ahead()
        if ready is not None:
            ready.fire()
        self._wake_idle()
        yield self._leave
        self._leave = None
        self._mark_idle()

    def _mark_idle(self) -> None:
        now = self.clock.now
        for unit in self.aircraft:
            if unit.under_repair:
                unit.mark(now, State.REPAIR, Reason.BREAKDOWN)
            elif unit.idle:
                unit.mark(now, State.WAIT, unit.idle_reason)

    def close(self, _: Due) -> None:
        """Let nothing start any more: the last landing is past."""
        if self.closing:
            return
        self.closing = True
        if self._leave is not None and not self._leave.triggered:
            self._leave.fire()

    def _go_home(self) -> Steps:
        self.closing = True
        self.crew.withdraw()
        self.supply.withdraw()
        for unit in self.aircraft:
            unit.closed = True
        if self.crew.held_for is None or self.crew.held_for is Reason.BREAK:
            yield from self._seized(Reason.MOVING)
        now = self.clock.now
        for unit in self.aircraft:
            if unit.turnaround is not None:
                unit.turnaround.cut(now)
            if unit.under_repair:
                unit.mark(now, State.REPAIR, Reason.BREAKDOWN)
            unit.mark(now, State.WAIT, unit.idle_reason if unit.idle else unit.held_for or Reason.DAY_END)
        if self._place is not None:
            yield from self._pack_up()
            yield from self._drive(None)
        yield from self._stage(self._draw_yard(), Reason.YARD)
        for point in self.points:
            point.switch(False)
        self.paid_until_s = self.clock.now

    def end(self) -> RigEnd:
        """Close everything that is open in the log and return what is left."""
        now = self.paid_until_s
        for point in self.points:
            point.advance()
            for slot in point.slots:
                if slot.session is not None:
                    self.station.close(slot.session, now)
        for pack in self.packs:
            if pack.since_s < now:
                self.log.add(pack.since_s, now, pack.name, pack.state)
        for unit in self.aircraft:
            unit.mark(now, State.DONE, Reason.DAY_END)
        for person in self.crew.people:
            if person.busy:
                self.log.clip(person.name, now)
        return RigEnd(
            self.name,
            self.supply.start,
            self.supply.made,
            self.supply.level,
            sum(unit.load for unit in self.aircraft),
            self.supply.fetched if self.supply.liquid else 0.0,
            sum(point.fuel_burnt_l for point in self.points),
            sum(point.bus_wh for point in self.points),
            self.station.cycles,
            sum(unit.swaps for unit in self.aircraft),
            sum(unit.loads for unit in self.aircraft),
            self._out_of_reach_m2,
            {pack.name: pack.energy_wh for pack in self.packs},
            now,
        )


def _best_pack(aircraft_class: str, packs: list[Pack], charge_to: float) -> Pack:
    """Return a pack of the fitting type that holds most above its reserve when charged as far as told."""
    fitting = [pack for pack in packs if aircraft_class in pack.plan.fits]
    return max(fitting, key=lambda pack: pack.plan.capacity_wh * charge_to - pack.plan.reserve_wh)
