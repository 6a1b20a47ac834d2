"""The next load of an aircraft: which stretch, how much product, and whether a fresh pack is needed for it."""

from __future__ import annotations

import math

from simulator.operation.aircraft import Aircraft
from simulator.operation.log import Reason
from simulator.operation.rig import Rig
from simulator.operation.turnaround import NEAR_THE_END_S
from simulator.operation.work import Load, Visit
from simulator.plan.flight import Flight, furthest, to_pass_end

_ROUNDING_M2 = 1e-3
"""A remainder smaller than this is rounding: it is flown with the load before."""
_PASSES_DIFFER = 1.02
"""A load may be this much larger than planned, for passes are not of one length."""
_ROUNDING = 1e-6
"""Less product than this (L or kg) is not filled in."""


class Limits:
    """What a load is planned within: the flight by mean times, its charge and time, and the end of a full load."""

    __slots__ = ("area_from_m2", "energy_wh", "flight", "swap", "time_s", "wanted_m2")

    def __init__(self, swap: bool, flight: Flight, energy_wh: float, area_from_m2: float, wanted_m2: float) -> None:
        self.swap, self.flight, self.energy_wh = swap, flight, energy_wh
        self.area_from_m2, self.wanted_m2 = area_from_m2, wanted_m2
        self.time_s = 0.0


class LoadPlanner:
    """Plans the loads of one aircraft."""

    def __init__(self, rig: Rig, aircraft: Aircraft) -> None:
        self._rig, self._aircraft = rig, aircraft
        self.idle_reason = Reason.NO_WORK_HERE
        """Why there is no load."""
        self.late_on: Visit | None = None
        """The field on which a flight has been found to come too late."""
        flying = rig.day.scenario.flying
        self._spare = 1.0 + flying.energy_margin
        self._least_load_share = flying.least_load_share
        self._whole_passes = flying.stop_at == "pass end"
        self._swap_mean_s = rig.tasks.swap.time.mean()
        place = [plan for plan, _ in rig.plan.aircraft].index(aircraft.plan)
        self._load_m2 = [one.load_m2[place] for one in rig.day.work[rig.name]]

    def next_load(self) -> Load | None:
        """Claim the next stretch; None when nothing can be flown, with `idle_reason` set."""
        site = self._rig.site
        while True:
            visit = site.visit
            opening = visit.opening() if visit is not None and not site.closed else None
            if visit is None or opening is None:
                self.idle_reason = Reason.NO_WORK_HERE
                return None
            if self.late_on is visit:
                self.idle_reason = Reason.DAY_END
                return None
            limits = self._limits(visit, *opening)
            limits.time_s = self._time_left_s(visit, limits)
            end_m2 = limits.area_from_m2
            if limits.time_s > 0:
                end_m2 = self._reach_m2(limits, limits.time_s)
            if end_m2 >= limits.wanted_m2:
                return self._claim(visit, limits, end_m2)
            by_energy_m2 = self._reach_m2(limits, math.inf)
            if by_energy_m2 - limits.area_from_m2 < min(1.0, limits.wanted_m2 - limits.area_from_m2):
                amount = self._aircraft.on_board
                if amount > 0.0 and self._rig.supply.keep_room(amount):
                    # no charge carries it from here: it was filled for a fuller pack, and is put back
                    visit.claim(limits.area_from_m2, limits.wanted_m2)
                    return Load(visit, limits.area_from_m2, limits.wanted_m2, -amount, False, 0.0)
                self._give_up(visit, limits)
                continue
            if end_m2 < by_energy_m2 and self._is_too_little(limits, end_m2):
                self.idle_reason = Reason.DAY_END
                return None
            return self._claim(visit, limits, end_m2)

    def _limits(self, visit: Visit, area_from_m2: float, border_m2: float) -> Limits:
        """Return what to plan a load within: on the pack it has if that carries a full load, else on a fresh one."""
        aircraft, pack = self._aircraft, self._aircraft.pack
        if pack is not None and pack.loads_on_charge < self._rig.most_loads(aircraft.plan):
            flight = self._rig.mean_flight(aircraft, visit.index, pack.plan)
            wanted_m2 = self._even_load_end_m2(visit, flight, area_from_m2, border_m2)
            product = max(aircraft.on_board, flight.profile.product(area_from_m2, wanted_m2))
            need_wh = flight.over(area_from_m2, wanted_m2, product, 1.0).energy_wh
            if wanted_m2 > area_from_m2 and need_wh * self._spare <= pack.above_reserve_wh:
                return Limits(False, flight, pack.above_reserve_wh / self._spare, area_from_m2, wanted_m2)
        fresh = self._rig.next_pack(self._rig.pack_use(aircraft, visit.index))
        flight = self._rig.mean_flight(aircraft, visit.index, fresh)
        wanted_m2 = self._even_load_end_m2(visit, flight, area_from_m2, border_m2)
        energy_wh = fresh.usable_wh(self._rig.plan.rig.charge_to)
        return Limits(True, flight, energy_wh / self._spare, area_from_m2, wanted_m2)

    def _even_load_end_m2(self, visit: Visit, flight: Flight, area_from_m2: float, border_m2: float) -> float:
        """Return the end of a load: what is left up to the border is cut evenly, not full, full and a rest."""
        full_m2, least_m2 = self._full_load_m2(visit, flight, area_from_m2), area_from_m2
        if full_m2 <= _ROUNDING_M2:
            return area_from_m2
        if self._whole_passes:
            pass_end_m2 = min(border_m2, flight.profile.path.pass_end(area_from_m2))
            if pass_end_m2 - area_from_m2 > full_m2:
                border_m2 = pass_end_m2  # a load does not reach the end of the pass: it is the pass that is cut evenly
            else:
                least_m2 = pass_end_m2
        left_m2 = border_m2 - area_from_m2
        loads = math.ceil((left_m2 - _ROUNDING_M2) / full_m2)
        return max(least_m2, area_from_m2 + left_m2 / loads) if loads > 1 else border_m2

    def _full_load_m2(self, visit: Visit, flight: Flight, area_from_m2: float) -> float:
        """Return the area of a load filled as far as the crew fills it on a field."""
        aircraft = self._aircraft.plan
        planned_m2 = self._load_m2[visit.index] * _PASSES_DIFFER
        return min(planned_m2, flight.profile.reach_m2(area_from_m2, aircraft.capacity(flight.pack_kg)) - area_from_m2)

    def _time_left_s(self, visit: Visit, limits: Limits) -> float:
        """Return the time left for the flight, after the turnaround; near the day's end, after the wait for a pack.

        A load is filled before its pack comes: it must not be filled for a flight that is too late.
        """
        rig = self._rig
        product = limits.flight.profile.product(limits.area_from_m2, limits.wanted_m2)
        fill = max(0.0, product - self._aircraft.on_board)
        time_left_s = rig.site.until_s(visit) - rig.env.now
        least_s = 0.0
        if limits.swap and time_left_s < NEAR_THE_END_S:
            wait_s = rig.station.soonest_s(rig.pack_use(self._aircraft, visit.index))
            least_s = wait_s + 0.5 * self._swap_mean_s if wait_s > 0.0 else 0.0
        return time_left_s - max(least_s, rig.turnaround_mean_s(limits.swap, fill))

    def _reach_m2(self, limits: Limits, time_s: float) -> float:
        start_m2, wanted_m2, on_board = limits.area_from_m2, limits.wanted_m2, self._aircraft.on_board
        return furthest(limits.flight, start_m2, wanted_m2, on_board, limits.energy_wh, time_s, 1.0, fill=True)

    def _in_step(self, visit: Visit, flight: Flight, start_m2: float, end_m2: float) -> float:
        """Return the end of a load of whole passes: one pass sooner where those after it then begin and end nearer.

        That takes a load more, which the shorter ferry flights of all the others up to the border have to save.
        """
        opening, sooner_m2 = visit.opening(), flight.profile.path.whole_passes(start_m2, end_m2 - _ROUNDING_M2)
        if opening is None or sooner_m2 >= end_m2 - _ROUNDING_M2:
            return end_m2
        load_m2, (_, border_m2) = end_m2 - start_m2, opening

        def flown_s(from_m2: float, to_m2: float) -> float:
            return flight.over(from_m2, to_m2, flight.profile.product(from_m2, to_m2), 1.0).total_s

        after_s = [flown_s(one, min(one + load_m2, border_m2)) for one in (end_m2, sooner_m2)]
        saved_s = (after_s[0] - after_s[1]) * math.floor((border_m2 - end_m2) / load_m2)
        if saved_s <= 0.0:
            return end_m2
        landing_s = flown_s(start_m2, sooner_m2) + flown_s(sooner_m2, end_m2) - flown_s(start_m2, end_m2)
        turnaround_s = self._rig.turnaround_mean_s(False, flight.profile.product(sooner_m2, end_m2))
        return sooner_m2 if saved_s > landing_s + turnaround_s else end_m2

    def _is_too_little(self, limits: Limits, end_m2: float) -> bool:
        """Tell whether the clock leaves so little of a load that it is not worth a flight."""
        flight = limits.flight
        least = self._least_load_share * self._aircraft.plan.capacity(flight.pack_kg)
        return end_m2 < min(flight.profile.reach_m2(limits.area_from_m2, least), limits.wanted_m2)

    def _give_up(self, visit: Visit, limits: Limits) -> None:
        """Count a stretch that no charge reaches from here, and go past it."""
        visit.claim(limits.area_from_m2, limits.wanted_m2)
        visit.settle(limits.wanted_m2, limits.wanted_m2)
        self._rig.site.out_of_reach_m2 += limits.wanted_m2 - limits.area_from_m2

    def _claim(self, visit: Visit, limits: Limits, end_m2: float) -> Load:
        flight, start_m2, on_board = limits.flight, limits.area_from_m2, self._aircraft.on_board
        if self._whole_passes:
            end_m2 = to_pass_end(flight, start_m2, end_m2, on_board, limits.energy_wh, limits.time_s, 1.0, fill=True)
            end_m2 = self._in_step(visit, flight, start_m2, end_m2)
        visit.claim(start_m2, end_m2)
        product = flight.profile.product(start_m2, end_m2)
        need_wh = flight.over(start_m2, end_m2, max(on_board, product), 1.0).energy_wh * self._spare
        self._aircraft.need_wh = need_wh
        fill = product - on_board
        return Load(visit, start_m2, end_m2, fill if fill > _ROUNDING else 0.0, limits.swap, need_wh)
