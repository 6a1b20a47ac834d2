"""Time and energy of a flight over a stretch of a path, and how far a load, a charge or the clock carries it."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from simulator.physics.flight import cubic_mean, cubic_value
from simulator.plan.aircraft import AircraftPlan
from simulator.plan.fields import WorkProfile

_MOST_KNOWN = 2_000
"""Stretches that one aircraft class on one field keeps in memory."""
_STEPS = 40
_CLOSE_M2 = 0.5
_CLOSE_SHARE = 2e-3
"""Search ends within this area, or this share of the limit."""


class Airborne(NamedTuple):
    """A flight's parts (s, in order of flight), its path and its energy at the pack."""

    take_off_s: float
    ferry_out_s: float
    work_s: float
    turn_s: float
    ferry_back_s: float
    landing_s: float
    total_s: float
    path_m: float
    energy_wh: float


_NO_FLIGHT = Airborne(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


class Flight:
    """One aircraft with one pack type on one field: gives time and energy of any stretch."""

    def __init__(
        self,
        aircraft: AircraftPlan,
        profile: WorkProfile,
        pack_kg: float,
        unit_kg: float,
        turn_s: float | None = None,
        take_off_s: float | None = None,
        landing_s: float | None = None,
    ) -> None:
        self.aircraft, self.profile, self.pack_kg, self.unit_kg = aircraft, profile, pack_kg, unit_kg
        self.turn_s = aircraft.turn_time.mean() if turn_s is None else turn_s
        self.take_off_s = aircraft.take_off_time.mean() if take_off_s is None else take_off_s
        self.landing_s = aircraft.landing_time.mean() if landing_s is None else landing_s
        self._known: dict[tuple[float, float, float], Airborne] = {}
        self._from_m2 = self._to_m2 = self._load = math.nan
        self._last = _NO_FLIGHT

    def over(self, area_from_m2: float, area_to_m2: float, load: float, factor: float) -> Airborne:
        """Return time and energy of flying a stretch.

        Days of one plan fly the same stretches again and again, so what was worked out is kept, up to a limit.

        The stretch is by area from the start of the path, the load is what is on board at take-off (L or kg), and the
        factor multiplies every duration.
        """
        air = self.plain(area_from_m2, area_to_m2, load)
        if factor == 1.0:
            return air
        times_s = [length_s * factor for length_s in air[:7]]
        return tuple.__new__(Airborne, (*times_s, air.path_m, air.energy_wh * factor))

    def plain(self, area_from_m2: float, area_to_m2: float, load: float) -> Airborne:
        """Return time and energy of flying a stretch at a factor of 1; both are in proportion to it."""
        # who plans a load or a launch asks for the same stretch again at once
        if area_from_m2 == self._from_m2 and area_to_m2 == self._to_m2 and load == self._load:
            return self._last
        key = (area_from_m2, area_to_m2, load)
        air = self._known.get(key)
        if air is None:
            if len(self._known) >= _MOST_KNOWN:
                self._known.clear()
            air = self._known[key] = self._work_out(area_from_m2, area_to_m2, load)
        self._from_m2, self._to_m2, self._load, self._last = area_from_m2, area_to_m2, load, air
        return air

    def _work_out(self, area_from_m2: float, area_to_m2: float, load: float) -> Airborne:
        aircraft, profile = self.aircraft, self.profile
        path_m, turns, gap_m, out_m, back_m = profile.path.stretch(area_from_m2, area_to_m2)
        ferry = aircraft.ferry_speed_m_per_s
        take_off, landing = self.take_off_s, self.landing_s
        out, back = out_m / ferry, back_m / ferry
        work = path_m / profile.speed_m_per_s
        turn = turns * self.turn_s + gap_m / ferry
        full_kg = aircraft.empty_kg + self.pack_kg + load * self.unit_kg
        end_kg = full_kg - profile.product(area_from_m2, area_to_m2) * self.unit_kg
        joule = (
            take_off * cubic_value(aircraft.hover_power, full_kg)
            + out * cubic_value(aircraft.ferry_power, full_kg)
            + (work + turn) * cubic_mean(profile.spray_power, full_kg, end_kg)
            + back * cubic_value(aircraft.ferry_power, end_kg)
            + landing * cubic_value(aircraft.hover_power, end_kg)
        )
        total = take_off + out + work + turn + back + landing
        return Airborne(take_off, out, work, turn, back, landing, total, path_m, joule / 3600.0)


class FlightBook:
    """Flights by mean times, each of which remembers what was worked out; it stays behind when a plan is sent."""

    __slots__ = ("_flights",)

    def __init__(self) -> None:
        self._flights: dict[tuple[str, WorkProfile, float], Flight] = {}

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickle as an empty book."""
        return FlightBook, ()

    def of(self, aircraft: AircraftPlan, profile: WorkProfile, pack_kg: float) -> Flight:
        """Return the flight of an aircraft class over a field with a pack of that mass."""
        key = (aircraft.name, profile, pack_kg)
        flight = self._flights.get(key)
        if flight is None:
            flight = self._flights[key] = Flight(aircraft, profile, pack_kg, aircraft.unit_kg)
        return flight


def furthest(
    flight: Flight,
    area_from_m2: float,
    area_to_m2: float,
    load: float,
    energy_wh: float,
    time_s: float,
    factor: float,
    *,
    fill: bool = False,
) -> float:
    """Return how far along its path a flight can spray and still land within its energy and time.

    Stretch and result are by area from the start of the path: the result is ``area_to_m2`` when all can be flown,
    ``area_from_m2`` when nothing can. It is found by a search over flights that were each computed whole, so the flight
    returned is always within energy (Wh above the reserve) and time (s until the last landing). With ``fill`` the load
    is still being planned: a shorter stretch takes off with less, though never with less than ``load`` (L or kg).
    """
    profile = flight.profile
    wanted = profile.product(area_from_m2, area_to_m2) if fill else 0.0
    whole = flight.plain(area_from_m2, area_to_m2, max(load, wanted))
    over = max(
        whole.energy_wh * factor / energy_wh if energy_wh > 0.0 else math.inf,
        whole.total_s * factor / time_s if time_s > 0.0 else math.inf,
    )
    if over <= 1.0:
        return area_to_m2
    low, high = area_from_m2, area_to_m2
    least = flight.plain(area_from_m2, low, load)
    if least.energy_wh * factor >= energy_wh or least.total_s * factor >= time_s:
        if not 0.0 < load < wanted:
            return area_from_m2
        # what is on board must be carried anyway: to spray it all may take less than to bring it all back
        low = profile.reach_m2(area_from_m2, load)
        least = flight.plain(area_from_m2, low, load)
        if least.energy_wh * factor >= energy_wh or least.total_s * factor >= time_s:
            return area_from_m2
    under = max(least.energy_wh * factor / energy_wh, least.total_s * factor / time_s)
    # use of the tighter limit is nearly linear in area: aim by the secant, a little short, and halve when that stalls
    for step in range(_STEPS):
        if high - low < _CLOSE_M2 or 1.0 - under < _CLOSE_SHARE:
            break
        share = (1.0 - under) / (over - under) if step % 3 < 2 and math.isfinite(over) else 0.5
        middle = low + (high - low) * min(max(share * 0.9995, 0.01), 0.99)
        carried = max(load, profile.product(area_from_m2, middle)) if fill else load
        part = flight.plain(area_from_m2, middle, carried)
        used = max(part.energy_wh * factor / energy_wh, part.total_s * factor / time_s)
        if used <= 1.0:
            low, under = middle, used
        else:
            high, over = middle, used
    return low


def to_pass_end(
    flight: Flight,
    area_from_m2: float,
    area_to_m2: float,
    load: float,
    energy_wh: float,
    time_s: float,
    factor: float,
    *,
    fill: bool = False,
) -> float:
    """Return the last pass end within a stretch from which the flight gets home; ``area_to_m2`` when there is none.

    A pass may end far from the landing zone, so stopping earlier can cost more than it saves; the one before ends at
    the near side. Parameters are those of :func:`furthest`, whose result the stretch is.
    """
    profile, path = flight.profile, flight.profile.path
    end = area_to_m2
    for _ in range(2):
        end = min(end, path.whole_passes(area_from_m2, end))
        if end >= area_to_m2:
            return area_to_m2
        carried = max(load, profile.product(area_from_m2, end)) if fill else load
        air = flight.over(area_from_m2, end, carried, factor)
        if air.energy_wh <= energy_wh and air.total_s <= time_s:
            return end
        end -= 1e-3 * path.mean_pass_m2
    return area_to_m2
