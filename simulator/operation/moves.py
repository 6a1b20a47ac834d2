"""A rig's moves: from the yard to field after field and home, everybody together."""

from __future__ import annotations

from simpy.events import ProcessGenerator

from simulator.operation.log import Reason, State
from simulator.operation.refuelling import top_up
from simulator.operation.rig import Rig
from simulator.operation.work import Visit

AFTER_LAST_LANDING_S = 1e-3
"""The day closes this much after the last allowed landing, so that a landing just then still counts."""


class Moves:
    """The moves of one rig during one day."""

    def __init__(self, rig: Rig) -> None:
        self._rig, self._env, self._site = rig, rig.env, rig.site
        self._place = rig.place
        """Number of the field it stands at; None at the yard."""
        self._at_first, self._shifted = rig.place is None, False
        """Whether it has yet to set up anywhere; whether the landing zone is not the field's first."""
        name, trailer, draw = rig.name, rig.plan.rig.trailer, rig.streams.draws
        self._trailer = trailer
        self._draw_speed = draw(f"road_speed/{name}", rig.day.scenario.route.road_speed)
        self._draw_pack_up_s = draw(f"pack_up/{name}", trailer.pack_up_time)
        self._draw_set_up_s = draw(f"set_up/{name}", trailer.set_up_time)
        self._draw_relocate_s = draw(f"relocate/{name}", trailer.relocate_time)
        self._draw_rinse_s = draw(f"rinse/{name}", rig.plan.rig.supply.rinse_time)
        self._draw_yard_s = draw(f"yard/{name}", trailer.yard_time)
        self._handling = [
            (draw(f"handling/{one.name}", one.plan.handling_time), draw(f"ramp/{one.name}", one.plan.ramp_time))
            for one in rig.aircraft
        ]

    def run(self) -> ProcessGenerator:
        """Drive from the yard to field after field and home; the process of the trailer."""
        rig = self._rig
        yield from self._together(self._draw_yard_s(), Reason.YARD)
        while True:
            goal = rig.work.peek(self._env.now)
            if goal is None or not self._time_for(goal):
                break
            visit = rig.work.next_visit(self._env.now)
            if visit is None:
                break
            if goal != self._place:
                if not self._at_first:
                    yield from self._pack_up()
                yield from self._drive(goal)
                if self._env.now >= rig.day.last_landing_s:
                    break
                rig.choose_aircraft(goal)
                yield from self._set_up()
            elif self._shifted:
                yield from self._together(self._draw_relocate_s(), Reason.RELOCATE)
            self._switch(True)
            self._at_first = self._shifted = False
            if visit.plan.product != rig.supply.mix:
                yield from self._change_mix(visit.plan.product)
            yield from self._await_opening(visit)
            yield from self._work_field(visit)
            left_early = visit.opening() is not None and self._site.until_s(visit) >= rig.day.last_landing_s
            if self._site.closed or left_early:
                break
            yield rig.crew.gather(Reason.MOVING)
            self._mark_rests()
        yield from self._go_home()

    def close_in_time(self) -> ProcessGenerator:
        """Let nothing start after the last landing."""
        yield self._env.timeout(self._rig.day.last_landing_s + AFTER_LAST_LANDING_S)
        self._site.close()

    # --- at a field ---

    def _change_mix(self, mix: str) -> ProcessGenerator:
        """Empty and rinse tank and aircraft where another mix was in them."""
        rig = self._rig
        if rig.supply.mix is None:
            rig.supply.mix = mix
            return
        yield from self._together(self._draw_rinse_s(), Reason.RINSE)
        on_board, now = 0.0, self._env.now
        for one in rig.aircraft:
            if one.on_board > 0.0:
                rig.log.add(now, now, one.name, State.FILL, Reason.FILL, "", -one.on_board)
                on_board += one.on_board
                one.on_board = 0.0
        rig.supply.rinse(mix, on_board)

    def _await_opening(self, visit: Visit) -> ProcessGenerator:
        """Stand by until the field may be flown."""
        start_s = self._env.now
        wait_s = min(visit.plan.open_from_s, self._rig.day.last_landing_s) - start_s
        if wait_s > 0.0:
            # packs are plugged in and breaks are taken meanwhile
            self._rig.crew.release()
            yield self._env.timeout(wait_s)
            yield self._rig.crew.gather(Reason.MOVING)
            now = self._env.now
            self._rig.log.add(start_s, now, self._rig.name, State.WAIT, Reason.WINDOW)
            for one in self._rig.aircraft:
                one.mark(now, State.WAIT, Reason.WINDOW)

    def _work_field(self, visit: Visit) -> ProcessGenerator:
        """Let the aircraft fly the field, from landing zone to landing zone."""
        rig = self._rig
        flown_before = rig.pace.loads_flown
        yield from self._work_zone(visit)
        while not self._site.closed and visit.opening() is None and visit.next_station():
            yield from self._relocate()
            self._shifted = True
            yield from self._work_zone(visit)
        rig.work.note_visit(rig.pace.loads_flown > flown_before)
        if visit.opening() is None and not self._site.closed:
            rig.work.finish(visit)
            if rig.work.all_finished:
                rig.log.list_finished_s = self._env.now

    def _work_zone(self, visit: Visit) -> ProcessGenerator:
        """Let the aircraft fly what the landing zone serves, until it is done or the day ends."""
        if self._site.closed:
            return
        self._rig.supply.arrive()
        left = self._site.open(visit, len(self._rig.unloaded))
        self._rig.crew.release()
        yield left
        self._mark_rests()

    def _relocate(self) -> ProcessGenerator:
        """Shift the landing zone within the field; chargers go on."""
        # before the crew is asked for: an aircraft repaired meanwhile must not plan for the next zone from here
        self._site.is_open = False
        yield self._rig.crew.gather(Reason.RELOCATE)
        yield from self._together(self._draw_relocate_s(), Reason.RELOCATE)

    def _mark_rests(self) -> None:
        for one in self._rig.aircraft:
            one.mark_rest(self._env.now)

    # --- on the way ---

    def _together(self, length_s: float, why: Reason, amount: float = 0.0) -> ProcessGenerator:
        """Let the whole rig do one thing together."""
        rig, start_s, here = self._rig, self._env.now, self._rig.crew.present
        yield self._env.timeout(length_s)
        now = self._env.now
        rig.log.add(start_s, now, rig.name, State.MOVE, why, "", amount)
        for person in here:
            rig.log.add(start_s, now, person.name, State.TASK, why)
        for one in rig.aircraft:
            one.mark(now, State.MOVE, why)

    def _handling_s(self) -> float:
        """Return the time to lift the aircraft on or off, side by side as far as people allow; too few use a ramp."""
        people, time_s = len(self._rig.crew.present), 0.0
        for (draw_lift_s, draw_ramp_s), one in zip(self._handling, self._rig.aircraft, strict=True):
            needed = one.plan.handling_people
            if not one.on_trailer:
                time_s += draw_lift_s() / (people // needed) if people >= needed else draw_ramp_s()
        return time_s

    def _pack_up(self) -> ProcessGenerator:
        """Put everything on the trailer."""
        self._site.is_open, self._site.visit = False, None
        if not self._trailer.charge_while_driving:
            self._switch(False)
        for source in self._rig.sources:
            self._env.process(top_up(self._env, source, self._rig.draw_refuel_s, self._rig.log))
        yield from self._together(self._draw_pack_up_s() + self._handling_s(), Reason.PACK_UP)

    def _drive(self, goal: int | None) -> ProcessGenerator:
        """Drive to a field, or to the yard."""
        distance_m = self._rig.day.geography.distance_m(self._place, goal)
        self._place = goal
        yield from self._together(distance_m / self._draw_speed(), Reason.DRIVE, distance_m)

    def _set_up(self) -> ProcessGenerator:
        """Set up at a field."""
        yield from self._together(self._draw_set_up_s() + self._handling_s(), Reason.SET_UP)

    def _switch(self, on: bool) -> None:
        for source in self._rig.sources:
            if source.on is not on:
                source.switch(on)

    def _time_for(self, goal: int) -> bool:
        """Tell whether a move and one short flight still fit into the day (by mean times)."""
        rig = self._rig
        if self._site.closed:
            return False
        move_s = 0.0
        if goal != self._place:
            distance_m = rig.day.geography.distance_m(self._place, goal)
            handling_s = rig.plan.pack_up_handling
            drive_s = distance_m / rig.day.scenario.route.road_speed.mean()
            move_s = drive_s + self._trailer.set_up_time.mean() + handling_s
            if not self._at_first:
                move_s += self._trailer.pack_up_time.mean() + handling_s
        field = rig.day.fields[goal]
        least_share = rig.day.scenario.flying.least_load_share
        flight_s = min([rig.pace.least_cycle_s(one.plan, field.rate) for one in rig.aircraft]) * least_share
        return max(self._env.now + move_s, field.open_from_s) + flight_s < rig.day.last_landing_s

    def _go_home(self) -> ProcessGenerator:
        """End the day: nothing starts any more, and once all hands are free everything goes back to the yard."""
        rig = self._rig
        self._site.close()
        rig.withdraw()
        if rig.crew.held_for is None or rig.crew.held_for is Reason.BREAK:
            yield rig.crew.gather(Reason.MOVING)
        for one in rig.aircraft:
            if one.process is not None:
                one.process.interrupt("the day is over")
        # they write down what they were about, here; whoever was at work on them waits for nothing more
        yield self._env.timeout(0.0)
        rig.withdraw()
        if self._place is not None and rig.day.scenario.day.overnight == "home":
            yield from self._pack_up()
            yield from self._drive(None)
        yield from self._together(self._draw_yard_s(), Reason.YARD)
        rig.place = self._place
        self._switch(False)
        rig.paid_until_s = self._env.now
