"""The power source of a set of chargers, generator or grid: who gets how much when, and the fuel it burns."""

from __future__ import annotations

import math

from simpy import Environment, Event, Interrupt
from simpy.events import ProcessGenerator

from simulator.operation.chargers import Charger, Charging, Given, in_order_of_need
from simulator.operation.log import DayLog, Reason, State
from simulator.physics.sharing import serve_in_order
from simulator.plan.equipment import PowerPointPlan

_TINY_WH = 1e-6
_EMPTY_L = 1e-9
_TINY_W = 1e-6
_NEAR_S = 1e-3
"""The time at which a pack's turn comes is found to so much."""


class PowerSource:
    """Gives what the source has to packs in order of need, and deals anew only when something changes.

    Between changes every pack that gets all it takes charges by the closed form of its curve, and what these leave of
    their charger or of the source goes to the next, so energy is exact and the source is never asked for more than it
    can give. Whoever changes something deals at once; the process
    :meth:`dealing` sleeps until the next change that comes by itself.
    """

    def __init__(self, env: Environment, name: str, plan: PowerPointPlan, log: DayLog) -> None:
        self.env, self.name, self.log = env, name, log
        named = [
            (f"{name}/{charger.name} {number}", charger)
            for charger, count in plan.chargers
            for number in range(1, count + 1)
        ]
        self.chargers = [Charger(name, place, charger) for place, (name, charger) in enumerate(named)]
        self._limits_w = [one.plan.output_w / one.plan.efficiency for one in self.chargers]
        self._leasts_w = [one.plan.least_w / one.plan.efficiency for one in self.chargers]
        self.slots = [slot for charger in self.chargers for slot in charger.slots]
        self.on_charge: list[Charging] = []
        self.taken = 0
        self.capacity_w = plan.capacity_w
        self.on = False
        self.refuelling = False
        self.fuel_l = plan.generator.fuel_tank_l if plan.generator is not None else math.inf
        self.fuel_burnt_l = 0.0
        self.bus_wh = 0.0
        self.low, self.dry, self.tripped = env.event(), env.event(), env.event()
        """Fuel has fallen to the refuelling level; the tank is empty; too much was plugged in."""
        self.trips = plan.trips
        self._generator, self._other_load_w = plan.generator, plan.other_load_w
        self._for_chargers_w = plan.capacity_w - plan.other_load_w
        self._since_s = env.now
        self._bus_w = 0.0
        self._dealt_short = self._dealt_running = False
        self._dealt_w = 0.0
        self._served: list[Charging] = []
        """Packs on charge in the order in which they were dealt their part."""
        self._due_s = self._wakes_s = math.inf
        """When something next changes by itself, and when the process wakes."""
        self._dealing = env.process(self.dealing())

    # --- the process ---

    def dealing(self) -> ProcessGenerator:
        """Deal anew when a pack is full, takes much less, or fuel runs low; interrupted when that comes sooner."""
        while True:
            sleep_s = self._due_s - self.env.now
            self._wakes_s = self._due_s
            try:
                yield self.env.event() if math.isinf(sleep_s) else self.env.timeout(sleep_s)
            except Interrupt:
                continue
            if self.env.now >= self._due_s:
                self._deal()

    def _note_next_change(self) -> None:
        """Work out when something next changes by itself, and wake the process if it would sleep beyond that."""
        self._due_s = self.env.now + self._next_change_s()
        if self._due_s < self._wakes_s:
            self._wakes_s = self._due_s
            self._dealing.interrupt()

    def _next_change_s(self) -> float:
        """Return the time until something changes by itself; infinite when nothing does."""
        soonest = math.inf
        for one in self.on_charge:
            if one.draw_w > 0.0:
                soonest = min(soonest, one.curve.time_s(one.pack.energy_wh, one.target_wh, one.draw_w))
        if self._dealt_short and math.isfinite(soonest):
            soonest = self._next_turn_s(soonest)
        generator = self._generator
        if generator is not None and self.running:
            # power only falls until the next change, so this time cannot come too late
            hourly = generator.fuel.litres((self._bus_w + self._other_load_w) / 1000.0, 1.0)
            level = self.fuel_l if self.low.triggered else self.fuel_l - generator.refuel_at_l
            if hourly > 0.0:
                soonest = min(soonest, max(1.0, level / hourly * 3600.0))
        return max(soonest, 1e-3)

    def _next_turn_s(self, latest_s: float) -> float:
        """Return when the rest that is left is enough for who gets it, or for the next; at latest the time given."""
        soon_s, late_s = 0.0, latest_s
        if not self._turn_has_come(late_s):
            return latest_s
        while late_s - soon_s > _NEAR_S:
            middle_s = 0.5 * (soon_s + late_s)
            if self._turn_has_come(middle_s):
                late_s = middle_s
            else:
                soon_s = middle_s
        return late_s

    def _turn_has_come(self, span_s: float) -> bool:
        """Tell whether after a time one is done, gets all it takes from the rest, or could be plugged in."""
        left_w, drawn_w = self._dealt_w, [0.0] * len(self.chargers)
        for one, (energy_wh, _) in zip(self._served, self._gone_on(span_s), strict=True):
            number, given = one.slot.charger.number, one.given
            room_w = min(left_w, self._limits_w[number] - drawn_w[number])
            wanted_w = one.takes_w(energy_wh) / one.terminal_share
            if given is Given.ALL:
                taken_w = min(one.draw_w / one.stored_share / one.terminal_share, wanted_w)
            elif given is Given.NOTHING:
                if not one.unplugged and room_w > _TINY_W and room_w + drawn_w[number] >= self._leasts_w[number]:
                    return True
                taken_w = 0.0
            else:
                if energy_wh >= one.target_wh or room_w >= wanted_w:
                    return True
                taken_w = room_w
            left_w -= taken_w
            drawn_w[number] += taken_w
        return False

    def _gone_on(self, span_s: float) -> list[tuple[float, float]]:
        """Return what each pack served holds after a time, and what it has drawn from the source by then (Wh)."""
        hours, all_wh, by_charger_wh = span_s / 3600.0, 0.0, [0.0] * len(self.chargers)
        gone = []
        for one in self._served:
            energy_wh, bus_wh, number = one.pack.energy_wh, 0.0, one.slot.charger.number
            stored_share = one.terminal_share * one.stored_share
            if one.given is Given.ALL:
                if one.draw_w > 0.0:
                    energy_wh = min(one.curve.energy_after_wh(energy_wh, span_s, one.draw_w), one.capacity_wh)
            elif one.given is not Given.NOTHING:
                rest_wh = min(self._dealt_w * hours - all_wh, self._limits_w[number] * hours - by_charger_wh[number])
                most_wh = one.curve.energy_after_wh(energy_wh, span_s, one.slot_w * one.stored_share)
                energy_wh = max(energy_wh, min(energy_wh + rest_wh * stored_share, most_wh))
            bus_wh = (energy_wh - one.pack.energy_wh) / stored_share
            all_wh += bus_wh
            by_charger_wh[number] += bus_wh
            gone.append((energy_wh, bus_wh))
        return gone

    # --- what changes the deal ---

    @property
    def fuel_share(self) -> float:
        """Return how full the fuel tank is; 1 for a grid supply."""
        return 1.0 if self._generator is None else self.fuel_l / self._generator.fuel_tank_l

    @property
    def running(self) -> bool:
        """True while the source gives power."""
        return self.on and not self.refuelling and self.fuel_l > _EMPTY_L and not self.tripped.triggered

    def switch(self, on: bool) -> None:
        """Turn the source on or off (set-up, pack-up)."""
        self.settle()
        self.on = on
        self._deal()

    def stop_to_refuel(self) -> None:
        """Stop the generator for refuelling."""
        self.settle()
        self.refuelling = True
        self._deal()

    def refuelled(self) -> float:
        """Run again with a full tank; return the litres filled in."""
        self.settle()
        full_l = self._generator.fuel_tank_l if self._generator is not None else self.fuel_l
        filled, self.fuel_l, self.refuelling = full_l - self.fuel_l, full_l, False
        self.low = self.env.event() if self.low.triggered else self.low
        self.dry = self.env.event() if self.dry.triggered else self.dry
        self._deal()
        return filled

    def restart(self) -> None:
        """Run again after an overload."""
        self.settle()
        self.tripped = self.env.event()
        self._deal()

    def charge(self, charging: Charging) -> Event:
        """Put a pack on charge; the event is that it holds its target."""
        self.settle()
        self.on_charge.append(charging)
        self._deal()
        return charging.full

    def serve(self, targets_wh: list[float], waited_for: list[bool], ranks: list[int]) -> None:
        """Set at what charge each pack on charge is done, which are waited for, and their ranks."""
        changed = False
        for one, target_wh, waited, rank in zip(self.on_charge, targets_wh, waited_for, ranks, strict=True):
            changed = changed or abs(target_wh - one.target_wh) > _TINY_WH
            changed = changed or (self._dealt_short and (waited is not one.waited_for or rank != one.rank))
            one.target_wh, one.waited_for, one.rank = target_wh, waited, rank
        if changed:
            self._deal()

    # --- energy and fuel up to now ---

    def settle(self) -> None:
        """Bring energies and fuel up to now under the shares as they were dealt."""
        now = self.env.now
        span_s = now - self._since_s
        if span_s <= 0.0:
            return
        bus_wh = 0.0
        for one, (energy_wh, drawn_wh) in zip(self._served, self._gone_on(span_s), strict=True):
            if one.limited:
                wanted_wh = one.wanted_before_w * span_s / 3600.0
                lost = 1.0 if one.unplugged or wanted_wh <= 0.0 else max(0.0, 1.0 - drawn_wh / wanted_wh)
                one.pack.delay(Reason.GENERATOR_LIMITED, lost * span_s)
            one.pack.energy_wh = energy_wh
            bus_wh += drawn_wh
        if self._dealt_running:
            # as the shares were dealt: the tank may have run dry since
            bus_wh += self._other_load_w * span_s / 3600.0
            self.log.add(self._since_s, now, self.name, State.RUN, Reason.NONE, "", bus_wh)
            if self._generator is not None:
                burnt_l = self._generator.fuel.litres(bus_wh / 1000.0, span_s / 3600.0)
                self.fuel_burnt_l += burnt_l
                self.fuel_l = max(0.0, self.fuel_l - burnt_l)
        else:
            why = Reason.REFUEL if self.refuelling else Reason.FUEL if self.on else Reason.MOVING
            why = Reason.OVERLOAD if self.on and self.tripped.triggered else why
            self.log.add(self._since_s, now, self.name, State.STOPPED, why)
        self.bus_wh += bus_wh
        self._since_s = now

    # --- dealing ---

    def _deal(self) -> None:
        """Take full packs off, give every other its share of the source, and see to the fuel."""
        self.settle()
        full = [one for one in self.on_charge if one.pack.energy_wh >= one.target_wh - _TINY_WH]
        for one in full:
            self.on_charge.remove(one)
            one.slot.charging = None
            one.full.succeed()
        if self.trips and self.running:
            self._mind_overload()
        self._dealt_running = self.running
        if not (self._dealt_running and self._deal_plenty()):
            self._deal_shares()
        generator = self._generator
        if generator is not None and self.on and not self.refuelling:
            if self.fuel_l <= generator.refuel_at_l + _EMPTY_L and not self.low.triggered:
                self.low.succeed()
            if self.fuel_l <= _EMPTY_L and not self.dry.triggered:
                self.dry.succeed()
        self._note_next_change()

    def _deal_plenty(self) -> bool:
        """Give every pack all that it takes when nothing limits it but itself; False when something else does."""
        many = len(self.on_charge) > 1
        total_w = 0.0
        for one in self.on_charge:
            given_w = one.takes_w(one.pack.energy_wh)
            if one.unplugged or given_w > one.output_w + 1e-9 or (many and one.shares_charger):
                return False
            one.draw_w = given_w * one.stored_share
            total_w += given_w / one.terminal_share
        if total_w > self._for_chargers_w:
            return False
        for one in self.on_charge:
            one.held_back = one.limited = False
            one.given = Given.ALL
            if one.pack.state is not State.CHARGE:
                one.pack.enter(self.env.now, State.CHARGE, self.log)
        self._served = list(self.on_charge)
        self._bus_w, self._dealt_short = total_w, False
        return True

    def _deal_shares(self) -> None:
        """Set the chargers so that together they fit the source; with the source stopped, nobody gets anything."""
        ones = self._served = in_order_of_need(self.on_charge)
        wanted_w = [one.wanted_w() for one in ones]
        capacity_w = max(0.0, self._for_chargers_w) if self._dealt_running else 0.0
        places = [one.slot.charger.number for one in ones]
        shares_w = serve_in_order(capacity_w, self._limits_w, self._leasts_w, list(zip(places, wanted_w, strict=True)))
        short = self._asked_w(ones) > capacity_w + _TINY_W
        drawn_w = [0.0] * len(self.chargers)
        self._dealt_w, self._bus_w, self._dealt_short = capacity_w, 0.0, False
        for one, place, share_w, demand_w in zip(ones, places, shares_w, wanted_w, strict=True):
            one.draw_w, one.wanted_before_w = share_w * one.terminal_share * one.stored_share, demand_w
            one.held_back = one.unplugged or share_w < demand_w - _TINY_W
            one.limited = (short or one.unplugged) and one.held_back and self.on
            one.given = Given.NOTHING
            if not one.held_back:
                one.given = Given.ALL
            elif not one.unplugged and drawn_w[place] + share_w >= self._leasts_w[place]:
                one.given = Given.REST
            self._dealt_short = self._dealt_short or one.held_back
            drawn_w[place] += share_w
            self._bus_w += share_w
            state = State.CHARGE if self._dealt_running and not one.limited else State.CHARGE_LIMITED
            if not self.on:
                state = State.STOPPED
            if one.pack.state is not state:
                one.pack.enter(self.env.now, state, self.log)

    def _asked_w(self, ones: list[Charging]) -> float:
        """Return what packs ask for together, as far as their chargers pass it on."""
        by_charger_w = [0.0] * len(self.chargers)
        for one in ones:
            by_charger_w[one.slot.charger.number] += one.wanted_w()
        return sum([min(limit, wanted) for limit, wanted in zip(self._limits_w, by_charger_w, strict=True)])

    def _mind_overload(self) -> None:
        """Stop where the chargers at their settings ask for more than there is; what was plugged in last comes off.

        It is plugged in again once there is power for it.
        """
        limit_w = self._for_chargers_w + 1e-6
        if self._asked_w(self.on_charge) > limit_w:
            for one in reversed(self.on_charge):
                one.unplugged = one.unplugged or self._asked_w(self.on_charge) > limit_w
            self.tripped.succeed()
            return
        for one in self.on_charge:
            if one.unplugged:
                one.unplugged = False
                one.unplugged = self._asked_w(self.on_charge) > limit_w
