"""Clearance for take-off: weather, distance in time and place to the others in the air, and what can still be flown."""

from __future__ import annotations

import math

from simpy import Event

from simulator.operation.log import Reason
from simulator.operation.people import Person, Wish
from simulator.operation.work import Load
from simulator.plan.flight import Airborne, Flight, furthest, to_pass_end


class Launch(Wish):
    """An aircraft that is ready to take off: its load and flight, and the flight as fixed once it is cleared."""

    def __init__(
        self,
        aircraft: str,
        load: Load,
        flight: Flight,
        on_board: float,
        energy_wh: float,
        until_s: float,
        factor: float,
        check_s: float,
    ) -> None:
        self.blocked, self.holds = Reason.NONE, []
        self.aircraft, self.load, self.flight, self.on_board = aircraft, load, flight, on_board
        self.energy_wh, self.until_s, self.factor, self.check_s = energy_wh, until_s, factor, check_s
        self.decided: Event | None = None
        self.pilot: Person | None = None
        self.air: Airborne | None = None
        """The flight, once cleared; None while it waits, and when charge or day allow none any more."""
        self.late = False
        """True when no time is left, False when it is the charge that does not suffice."""
        self.end_m2 = load.area_from_m2
        self.start_s = self.work_begin_s = self.work_end_s = 0.0

    def watched_by(self) -> Person:
        """Return the pilot whose eyes are on the aircraft."""
        if self.pilot is None:
            raise RuntimeError(f"{self.aircraft}: in the air without a pilot")
        return self.pilot


class Airspace:
    """Who is in the air over a rig's field."""

    def __init__(self, aircraft: int, separation_m: float, launch_interval_s: float, whole_passes: bool) -> None:
        self.weather_stopped = False
        alone = aircraft < 2
        self._separation_m = 0.0 if alone else separation_m
        self._launch_interval_s = 0.0 if alone else launch_interval_s
        self._whole_passes = whole_passes
        self._launches_s: list[float] = []
        self._cleared: list[Launch] = []

    def enter(self, launch: Launch, now_s: float) -> bool:
        """Fix the flight that begins after the launch check; False when charge or day allow none any more."""
        load, flight, factor = launch.load, launch.flight, launch.factor
        area_from, area_to = load.area_from_m2, load.area_to_m2
        start_s = now_s + launch.check_s
        time_left_s, energy = launch.until_s - start_s, launch.energy_wh
        least = min(1.0, 0.5 * (area_to - area_from))
        end = furthest(flight, area_from, area_to, launch.on_board, energy, time_left_s, factor)
        if end < area_to and self._whole_passes:
            end = to_pass_end(flight, area_from, end, launch.on_board, energy, time_left_s, factor)
        if end - area_from < least:
            untimed = furthest(flight, area_from, area_to, launch.on_board, energy, math.inf, factor)
            launch.late = untimed - area_from >= least
            return False
        air = launch.air = flight.over(area_from, end, launch.on_board, factor)
        launch.end_m2, launch.start_s = end, start_s
        launch.work_begin_s = start_s + air.take_off_s + air.ferry_out_s
        launch.work_end_s = start_s + air.total_s - air.ferry_back_s - air.landing_s
        self._cleared.append(launch)
        if self._launch_interval_s > 0.0:
            recent = [one for one in self._launches_s if one > now_s - self._launch_interval_s]
            self._launches_s = sorted([start_s, *recent])
        return True

    def leave(self, launch: Launch, flown: bool) -> None:
        """Note a landing, or a clearance given back, which keeps no other aircraft on the ground any more."""
        self._cleared.remove(launch)
        if not flown and launch.start_s in self._launches_s:
            self._launches_s.remove(launch.start_s)

    def clear_from_s(self, launch: Launch, now_s: float) -> float:
        """Return the time before which a clearance would bring two aircraft too near; ``now_s`` when it is clear."""
        until = now_s + launch.check_s
        for launch_s in self._launches_s:
            if abs(until - launch_s) < self._launch_interval_s:
                until = launch_s + self._launch_interval_s
        if self._separation_m > 0.0 and self._cleared:
            flight, area_from = launch.flight, launch.load.area_from_m2
            out_m = flight.profile.path.stretch(area_from, area_from).out_m
            reach_s = (flight.take_off_s + out_m / flight.aircraft.ferry_speed_m_per_s) * launch.factor
            for other in self._cleared:
                until = max(until, self._near_until_s(other, launch.load, until + reach_s) - reach_s)
        return max(now_s, until - launch.check_s)

    def _near_until_s(self, other: Launch, load: Load, arrive_s: float) -> float:
        """Return from when, at ``arrive_s`` or later, a stretch may be begun without coming too near another."""
        if other.load.visit is not load.visit:
            return arrive_s
        flight, from_m2 = other.flight, other.load.area_from_m2
        near_m2 = math.ceil(self._separation_m / flight.aircraft.swath_m) * flight.profile.path.mean_pass_m2
        begin_s, end_s = other.work_begin_s, other.work_end_s
        if arrive_s < begin_s:
            # it is on its way: the other lets it begin first when they would meet
            if not load.area_from_m2 - near_m2 < from_m2 < load.area_to_m2 + near_m2:
                return arrive_s
            arrive_s = begin_s
        s_per_m2 = (end_s - begin_s) / (other.end_m2 - from_m2)
        comes_s = begin_s + (load.area_from_m2 - near_m2 - from_m2) * s_per_m2
        leaves_s = min(end_s, begin_s + (load.area_from_m2 + near_m2 - from_m2) * s_per_m2)
        return leaves_s if comes_s < arrive_s < leaves_s else arrive_s
