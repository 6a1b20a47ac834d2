"""How a crew works a field: how full the aircraft fly, and which of them come off the trailer for it.

A crew of experience knows by heart what its hands, eyes, packs, chargers and power keep up with. Here that is worked
out from mean times: every aircraft takes its turn, and the scarcest thing sets the pace.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from simulator.physics.path import FieldPath
from simulator.plan.aircraft import AircraftPlan, lifting_s
from simulator.plan.equipment import ChargerPlan, PackPlan, PowerPointPlan
from simulator.plan.fields import FieldPlan, WorkProfile
from simulator.plan.flight import Airborne, Flight, FlightBook
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_rig import Rig

_SHARES = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5)
"""Loads that are tried, over a full one."""
_LEAST_GAIN = 0.01
"""An aircraft comes off the trailer only if it saves this share of the time at a field."""
_LEAST_GAIN_OF_LESS = 0.005
"""Aircraft are filled a tenth less only if that saves this share of the time."""
_SHARPNESS = 16.0
"""How sharply the scarcest thing alone sets the pace: two that are equally scarce cost 4 % more time than one."""
RESOURCES = ("pilots' watch", "crew", "filling", "chargers", "generator or grid", "packs", "mixing")
"""What a load asks for, in the order of its demands."""
_EYES, _HANDS, _SLOTS, _POWER, _PACKS, _MIXERS = 0, 1, 3, 4, 5, 6
_SAMPLES = 5
_ROUNDS = 30


@dataclass(frozen=True)
class FieldWork:
    """How one rig works one field.

    By aircraft class, how many come off the trailer, and the area (m2) that a full tank covers and that of a load.
    """

    unloaded: tuple[int, ...]
    full_m2: tuple[float, ...]
    load_m2: tuple[float, ...]


class _Times(NamedTuple):
    """Times at a field (s): of the aircraft alone, of what is scarcest, and which that is; of lifting."""

    alone_s: float
    needed_s: float
    scarcest: int
    handling_s: float


class MeanLoad(NamedTuple):
    """One load of one aircraft class with a pack, by mean times; demands in the order of :data:`RESOURCES`."""

    pack: PackPlan
    charger: ChargerPlan
    area_m2: float
    amount: float
    air: Airborne
    usable_wh: float
    """Above the reserve, less the energy margin."""
    reaches: bool
    """Whether one charge carries it."""
    charges: float
    """Charges that it takes: one over the loads flown on one."""
    fill_s: float
    swap_s: float
    """The load's part of a swap."""
    check_s: float
    service_s: float
    charge_w: float
    """Power stored, but for what the pack accepts and the source gives."""
    charge_s: float
    mix_s: float
    trip_s: float
    hands_s: float
    off_s: float
    """From landing until the pack is charged, the load's part of it."""
    cycle_s: float
    demands: tuple[float, ...]


class WorkPlanner:
    """Works out how a rig's crew works its fields."""

    def __init__(
        self,
        scenario: Scenario,
        rig: Rig,
        aircraft: tuple[tuple[AircraftPlan, int], ...],
        packs: tuple[tuple[PackPlan, int], ...],
        points: tuple[PowerPointPlan, ...],
        flights: FlightBook,
    ) -> None:
        self._scenario, self._rig, self._aircraft, self._packs = scenario, rig, aircraft, packs
        self._slots = [(one, count) for point in points for one, count in point.chargers]
        self._given_w = sum(point.capacity_w - point.other_load_w for point in points)
        self._flights, self._liquid = flights, scenario.product.kind == "liquid"
        crew, self._day_s = rig.crew, scenario.day.last_landing_s
        self._people = crew.pilots + crew.helpers
        self._eyes = crew.pilots * crew.aircraft_per_pilot
        self._hands = crew.helpers + (crew.pilots if crew.pilot_helps else 0)

    def plan(self, field: FieldPlan, profiles: list[WorkProfile], move_s: float) -> FieldWork:
        """Return how the crew works a field, with the time of the move to it, without lifting.

        Aircraft fly full, unless charging is scarcer than anything else: a lighter load takes less for each area.
        """
        pairs = [(one, profile) for (one, _), profile in zip(self._aircraft, profiles, strict=True)]
        full_m2 = tuple(one.capacity(self._pack(one).mass_kg) / profile.product_per_m2 for one, profile in pairs)
        if self._rig.unload == "all":
            counts = tuple(number for _, number in self._aircraft)
            return FieldWork(counts, full_m2, tuple(self.load(one, profile, 1.0).area_m2 for one, profile in pairs))
        best_s, best = math.inf, FieldWork((), (), ())
        for share in _SHARES:
            loads = [self.load(one, profile, share) for one, profile in pairs]
            counts, time_s, scarcest = self._unload(loads, field.area_m2, move_s)
            if not time_s < best_s * (1.0 - _LEAST_GAIN_OF_LESS):
                break
            best_s, best = time_s, FieldWork(counts, full_m2, tuple(one.area_m2 for one in loads))
            if scarcest not in (_SLOTS, _POWER):
                break
        return best

    # --- a load ---

    def load(
        self, aircraft: AircraftPlan, profile: WorkProfile, share: float, pack: PackPlan | None = None
    ) -> MeanLoad:
        """Return a load of a share of a full one on a field, with the pack that holds most unless one is given."""
        rig, tasks = self._rig, self._rig.crew.tasks
        pack = pack or self._pack(aircraft)
        usable_wh = pack.usable_wh(rig.charge_to) / (1.0 + self._scenario.flying.energy_margin)
        flight = self._flights.of(aircraft, profile, pack.mass_kg)
        full_m2 = aircraft.capacity(pack.mass_kg) * share / profile.product_per_m2
        for area_m2 in self._sizes_m2(full_m2, profile.path):
            air = _mean_flight(flight, profile.path, area_m2)
            if air.energy_wh <= usable_wh:
                break
        reaches, factor = air.energy_wh <= usable_wh, aircraft.flight_time_factor.mean()
        air = Airborne._make((*(part_s * factor for part_s in air[:7]), air.path_m, air.energy_wh * factor))
        flown_s, energy_wh = air.total_s, air.energy_wh
        amount = area_m2 * profile.product_per_m2
        charges = 1.0 if aircraft.swap_every_landing else 1.0 / max(1, math.floor(usable_wh / energy_wh + 1e-9))
        supply = rig.supply
        fill_s = tasks.fill.time.mean() + amount / (supply.pump_flow if self._liquid else supply.dry_flow)
        swap_s, check_s = tasks.swap.time.mean() * charges, tasks.launch_check.time.mean()
        service_s = swap_s + fill_s if rig.swap_first else max(swap_s, fill_s)
        charged_wh = energy_wh / charges
        slots = [(one, count) for one, count in self._slots if pack.name in one.serves]
        charger = max([one for one, _ in slots], key=lambda one: one.slot_w)
        power_w = min(charger.slot_w, charger.output_w) * pack.charge_efficiency
        end_wh = pack.capacity_wh * rig.charge_to
        charge_s = pack.curve.time_s(end_wh - charged_wh, end_wh, power_w)
        if rig.take_partly_charged:
            # it leaves before its charging slows down
            charge_s = charged_wh / min(power_w, pack.curve.cc_power_w) * 3600.0
        plug_s = tasks.plug_in.time.mean()
        mix_s, trip_s = self._supply_s(amount)
        hands_s = (
            swap_s * tasks.swap.people + fill_s * tasks.fill.people + plug_s * charges * tasks.plug_in.people
            + mix_s * tasks.mix.people + trip_s * supply.water_trip_people
        )  # fmt: skip
        off_s = (pack.cooling_time.mean() + plug_s + charge_s) * charges
        cycle_s = flown_s + service_s + check_s
        slot_s = (plug_s + charge_s + charger.balance_time.mean()) * charges
        bus_wh = energy_wh / (pack.charge_efficiency * charger.efficiency)
        demands = (flown_s + check_s, hands_s, fill_s, slot_s, bus_wh * 3600.0, cycle_s + off_s, mix_s)
        return MeanLoad(
            pack, charger, area_m2, amount, air, usable_wh, reaches, charges, fill_s, swap_s, check_s, service_s,
            power_w, charge_s, mix_s, trip_s, hands_s, off_s, cycle_s, demands,
        )  # fmt: skip

    def _pack(self, aircraft: AircraftPlan) -> PackPlan:
        fitting = [one for one, _ in self._packs if aircraft.name in one.fits and aircraft.capacity(one.mass_kg)]
        return max(fitting, key=lambda one: one.usable_wh(self._rig.charge_to))

    def _sizes_m2(self, full_m2: float, path: FieldPath) -> Iterator[float]:
        """Yield areas of a load, evenly cut, from the largest down: of the field, or whole passes and parts of one."""
        whole, pass_m2 = path.area_m2, path.mean_pass_m2
        if self._scenario.flying.stop_at == "pass end":
            passes = math.floor(full_m2 / pass_m2)
            yield from (min(whole, number * pass_m2) for number in range(passes, max(0, passes - _ROUNDS), -1))
            whole = pass_m2
        least = max(1, math.ceil(whole / full_m2 - 1e-6))
        yield from (whole / number for number in range(least, least + _ROUNDS))

    def _supply_s(self, amount: float) -> tuple[float, float]:
        """Return the time of mixing and of water trips that an amount of product takes."""
        supply = self._rig.supply
        if not self._liquid:
            return 0.0, 0.0
        water = amount * supply.water_share
        mix_s = self._rig.crew.tasks.mix.time.mean() * amount / supply.largest_batch + water / supply.transfer_flow
        return mix_s, supply.water_trip_time.mean() * max(0.0, water / supply.nurse_water)

    def _capacities(self, classes: set[str]) -> list[float]:
        """Return what there is of each resource; morning charge is spread over the day."""
        fitting = [(pack, number) for pack, number in self._packs if classes & set(pack.fits)]
        start = min(self._rig.packs_start_charge, self._rig.charge_to)
        stock_wh = sum(number * max(0.0, pack.capacity_wh * start - pack.reserve_wh) for pack, number in fitting)
        names = {pack.name for pack, _ in fitting}
        slots = sum(count * one.slots for one, count in self._slots if names & set(one.serves))
        return [
            self._eyes,
            self._hands,
            self._rig.supply.pumps,
            slots,
            self._given_w + stock_wh * 3600.0 / self._day_s,
            sum(number for _, number in fitting),
            1.0,
        ]

    def most_per_s(self, load: MeanLoad, aircraft: AircraftPlan, number: int) -> dict[str, float]:
        """Return the loads a second that each resource allows by itself, were only these aircraft flown."""
        given, demands = self._capacities({aircraft.name}), list(load.demands)
        demands[_HANDS] += self._watching(number) * demands[_EYES]
        most = {"aircraft": number / load.cycle_s}
        for name, capacity, demand in zip(RESOURCES, given, demands, strict=True):
            most[name] = capacity / demand if demand > 0.0 else math.inf
        # what packs and tank hold in the morning is flown beside what is charged and mixed
        charged = (given[_POWER] - self._given_w) / demands[_POWER]
        most[RESOURCES[_SLOTS]] += charged
        most[RESOURCES[_PACKS]] += charged
        mixed = self._rig.supply.mix_tank * self._rig.supply.start_mixed
        most[RESOURCES[_MIXERS]] += mixed / load.amount / self._day_s
        return most

    def _watching(self, flying: int) -> float:
        """Return the hands that a flight takes: a pilot who watches has none free.

        Flights of several aircraft overlap by half, as far as he may watch.
        """
        at_once = 0.5 + 0.5 * min(self._rig.crew.aircraft_per_pilot, flying)
        return 1.0 / at_once if self._rig.crew.pilot_helps else 0.0

    # --- the crew at a field ---

    def _unload(self, loads: list[MeanLoad], area_m2: float, move_s: float) -> tuple[tuple[int, ...], float, int]:
        """Return how many aircraft of each class to unload, the time that the field then takes, and what is scarcest.

        Lifting is part of the time; every aircraft takes its turn, the scarcest sets the pace.
        """
        counts, best_s, scarcest = tuple([0] * len(loads)), math.inf, -1
        while True:
            tries = []
            for place, (_, most) in enumerate(self._aircraft):
                if counts[place] < most:
                    more = tuple(count + (place == other) for other, count in enumerate(counts))
                    times = self._parts(more, loads, area_m2, move_s)
                    both_s = (times.alone_s**_SHARPNESS + times.needed_s**_SHARPNESS) ** (1.0 / _SHARPNESS)
                    tries.append((both_s + 2.0 * times.handling_s, more, times.scarcest))
            if not tries or not min(tries)[0] < best_s * (1.0 - _LEAST_GAIN):
                return counts, best_s, scarcest
            best_s, counts, scarcest = min(tries)

    def _parts(self, counts: tuple[int, ...], loads: list[MeanLoad], area_m2: float, move_s: float) -> _Times:
        flown = ((entry, count) for (entry, _), count in zip(self._aircraft, counts, strict=True))
        handling_s = lifting_s(flown, self._people)
        road_s = move_s + 2.0 * handling_s if self._rig.trailer.charge_while_driving else 0.0
        flying = [
            (count, one, entry.name)
            for count, one, (entry, _) in zip(counts, loads, self._aircraft, strict=True)
            if count
        ]
        # what each class needs of its own packs and chargers, and all of everything together
        watching = self._watching(sum(counts))
        groups = [{name} for _, _, name in flying]
        if len(groups) > 1:
            groups.append(set().union(*groups))
        capacities = [self._capacities(group) for group in groups]
        least_s = turn_s = min(one.cycle_s for _, one, _ in flying)
        alone_s, needed_s, scarcest = 0.0, 0.0, -1
        for _ in range(_ROUNDS):
            paces = [(count / max(turn_s, one.cycle_s), one, name) for count, one, name in flying]
            field_s = area_m2 / sum(pace * one.area_m2 for pace, one, _ in paces)
            over, scarcest = 0.0, 0
            for group, given in zip(groups, capacities, strict=True):
                for place, capacity in enumerate(given):
                    # chargers and power go on while the rig is on the road
                    span_s = field_s + (road_s if place in (_SLOTS, _POWER) else 0.0)
                    used = sum(pace * one.demands[place] for pace, one, name in paces if name in group) * field_s
                    if place == _SLOTS:
                        # what the packs hold in the morning need not be charged
                        drawn = sum(pace * one.demands[_POWER] for pace, one, name in paces if name in group)
                        used *= max(0.0, 1.0 - (given[_POWER] - self._given_w) / max(drawn, 1e-9))
                    if place == _HANDS:
                        eyes = sum(pace * one.demands[_EYES] for pace, one, name in paces if name in group)
                        used += watching * eyes * field_s
                    share = used / max(capacity * span_s, 1e-9)
                    if share > over:
                        over, scarcest = share, place
            alone_s, needed_s = alone_s or field_s, field_s * over
            if over <= 1.0 + 1e-6:
                break
            turn_s = max(turn_s, least_s) * over
        rounds = math.ceil(area_m2 / sum(count * one.area_m2 for count, one, _ in flying) - 1e-6)
        alone_s = max(alone_s, rounds * least_s)
        return _Times(alone_s, needed_s, scarcest if needed_s > alone_s else -1, handling_s)


def _mean_flight(flight: Flight, path: FieldPath, area_m2: float) -> Airborne:
    """Return the mean of a field's loads, each of that area."""
    number = max(1, math.ceil(path.area_m2 / area_m2 - 1e-6))
    starts_m2 = [int((place + 0.5) * number / _SAMPLES) * area_m2 for place in range(min(number, _SAMPLES))]
    ends_m2 = [min(start_m2 + area_m2, path.area_m2) for start_m2 in starts_m2]
    flown = [
        flight.over(start_m2, end_m2, flight.profile.product(start_m2, end_m2), 1.0)
        for start_m2, end_m2 in zip(starts_m2, ends_m2, strict=True)
    ]
    return Airborne(*(sum(part) / len(flown) for part in zip(*flown, strict=True)))
