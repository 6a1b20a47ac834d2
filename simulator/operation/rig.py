"""What travels together: one rig's aircraft, packs, chargers, crew and supply, put together for a day."""

from __future__ import annotations

import math

from simpy import Environment

from simulator.operation.aircraft import Aircraft
from simulator.operation.charging import ChargingStation
from simulator.operation.crew import Crew
from simulator.operation.launching import Airspace
from simulator.operation.log import DayLog, Kind, Reason, RigEnd, State
from simulator.operation.morning import Morning
from simulator.operation.pace import Pace
from simulator.operation.packs import Pack, PackShelf
from simulator.operation.power import PowerSource
from simulator.operation.refuelling import refuelling, restarting
from simulator.operation.site import Site
from simulator.operation.supply import Supply
from simulator.operation.work import WorkList
from simulator.plan.aircraft import AircraftPlan
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.plan.equipment import PackPlan
from simulator.plan.flight import Flight
from simulator.scenario.streams import DayStreams

_FULL_WH = 1e-3


class Rig:
    """One rig during one day: its parts, each of which keeps its own state."""

    def __init__(
        self,
        env: Environment,
        day: DayPlan,
        plan: RigPlan,
        work: WorkList,
        streams: DayStreams,
        log: DayLog,
        morning: Morning,
    ) -> None:
        self.env, self.day, self.plan, self.work, self.streams, self.log = env, day, plan, work, streams, log
        name, table = plan.name, plan.rig
        self.name, self.tasks, self.place = name, table.crew.tasks, morning.place
        flying, draw = day.scenario.flying, streams.draws
        count = sum([number for _, number in plan.aircraft])
        self.site = Site(env, day.last_landing_s)
        self.aircraft = [
            Aircraft(f"{name}/{one.name} {place}", one, self.site, log)
            for one, number in plan.aircraft
            for place in range(1, number + 1)
        ]
        for one in self.aircraft:
            one.until_failure_s = morning.until_failure_s.get(one.name, math.inf)
        self.airspace = Airspace(count, flying.separation, flying.launch_interval, flying.stop_at == "pass end")
        self.crew = Crew(env, name, table.crew, table.supply.pumps, self.airspace, log)
        # the day begins with loading at the yard; nobody is free for other work before the first field
        self.crew.held_for = Reason.YARD
        self.sources = [PowerSource(env, f"{name}/{point.name}", point, log) for point in plan.power]
        self.packs = [Pack(env, one, pack, morning.pack_wh[one]) for one, pack in plan.pack_types.items()]
        self._morning = morning
        types = [pack for pack, _ in plan.packs]
        classes = [one.name for one, _ in plan.aircraft]
        uses = [*classes, *plan.pack_uses.values()]
        self._types = {one: _by_charge(one, types, table.charge_to) for one in uses}
        """By `pack_use`, the fitting types of pack, first what holds most above its reserve."""
        fullest = max(table.charge_to, table.packs_start_charge)
        self.shelf = PackShelf(env, {one: _most_wh(one, types, fullest) for one in uses})
        self.station = ChargingStation(env, plan, self.sources, types, self.shelf, self.crew, log, streams)
        self.pace = Pace(day, plan, self.aircraft, self.site, work)
        liquid = day.scenario.product.kind == "liquid"
        self.supply = Supply(
            env, f"{name}/supply", table.supply, liquid, self.tasks.mix, self.crew, log,
            self.pace, plan.habits.batch_share, draw(f"mix/{name}", self.tasks.mix.time),
            draw(f"water_trip/{name}", table.supply.water_trip_time), morning.product, morning.water_l,
        )  # fmt: skip
        draw_refuel_s = self.draw_refuel_s = draw(f"refuel/{name}", self.tasks.refuel.time)
        for source in self.sources:
            env.process(refuelling(env, source, self.crew, self.tasks.refuel, draw_refuel_s, log))
            if source.trips:
                draw_restart_s = draw(f"restart/{name}", self.tasks.restart.time)
                env.process(restarting(source, self.crew, self.tasks.restart, draw_restart_s))
        self.supply.mix = morning.mix
        self.paid_until_s = 0.0
        self._swap_mean_s, self._fill_mean_s = self.tasks.swap.time.mean(), self.tasks.fill.time.mean()
        self._check_mean_s = self.tasks.launch_check.time.mean()
        self._name_everything()
        self._mount_first_packs()

    def _name_everything(self) -> None:
        kinds = self.log.kinds
        kinds.update({one.name: Kind.AIRCRAFT for one in self.aircraft})
        kinds.update({pack.name: Kind.PACK for pack in self.packs})
        kinds.update({person.name: Kind.PERSON for person in self.crew.people})
        kinds.update({source.name: Kind.POWER for source in self.sources})
        kinds.update({slot.name: Kind.CHARGER for source in self.sources for slot in source.slots})
        kinds[self.supply.name] = Kind.SUPPLY
        kinds[self.name] = Kind.RIG

    def choose_aircraft(self, field: int) -> None:
        """Choose which aircraft come off the trailer at a field; the others would not help there."""
        unloaded = self.day.work[self.name][field].unloaded
        for (plan, _), number in zip(self.plan.aircraft, unloaded, strict=True):
            alike = sorted([one for one in self.aircraft if one.plan is plan], key=lambda one: one.under_repair)
            for place, one in enumerate(alike):
                one.on_trailer = place >= number

    def most_loads(self, aircraft: AircraftPlan) -> int:
        """Return how many loads are flown on a charge at most, whatever it still holds."""
        return 1 if aircraft.swap_every_landing else self.plan.habits.loads_on_charge

    @property
    def unloaded(self) -> list[Aircraft]:
        """The aircraft that are off the trailer, or come off it."""
        return [one for one in self.aircraft if not one.on_trailer]

    def _mount_first_packs(self) -> None:
        """Put a pack on every aircraft to be flown; the others are ready, or wait for a charger when not charged."""
        left = list(self.packs)
        first = self.work.peek(0.0)
        self.choose_aircraft(self.day.geography.order[0] if first is None else first)
        for one in self.unloaded:
            for pack in left:
                if one.plan.name in pack.plan.fits and pack.above_reserve_wh > 0:
                    left.remove(pack)
                    one.mount(pack, 0.0)
                    break
        for pack in left:
            if pack.energy_wh >= self.station.full_wh(pack) - _FULL_WH:
                self.shelf.ready.append(pack)
            else:
                self.env.process(self.station.recharge(pack))
        for pack in self.packs:
            self.env.process(self.station.cycle(pack))

    def pack_use(self, aircraft: Aircraft, field: int) -> str:
        """Return what a pack must fit: the aircraft's class, or that on a field that not every type can be flown to."""
        return self.plan.pack_uses.get((aircraft.plan.name, field), aircraft.plan.name)

    def mean_flight(self, aircraft: Aircraft, field: int, pack: PackPlan) -> Flight:
        """Return an aircraft's flight over a field by mean times, with a type of pack."""
        return self.day.flights.of(aircraft.plan, self.day.profiles[aircraft.plan.name, field], pack.mass_kg)

    def next_pack(self, aircraft_class: str) -> PackPlan:
        """Return the type of pack that an aircraft class gets next: the fullest ready one, else the soonest charged."""
        types = self._types[aircraft_class]
        if len(types) == 1:
            return types[0]
        ready = [pack for pack in self.shelf.ready if aircraft_class in pack.plan.fits]
        if ready:
            return max(ready, key=lambda pack: pack.above_reserve_wh).plan
        coming = [pack for pack in self.packs if aircraft_class in pack.plan.fits and pack.state is not State.FLOWN]
        soonest = min(coming, key=self.station.lack_s, default=None)
        return types[0] if soonest is None else soonest.plan

    def turnaround_mean_s(self, swap: bool, fill_amount: float) -> float:
        """Return the least mean time from now to take-off."""
        fill_s = self._fill_mean_s + self.supply.fill_s(fill_amount) if fill_amount > 0 else 0.0
        swap_s = self._swap_mean_s if swap else 0.0
        service_s = swap_s + fill_s if self.plan.rig.swap_first else max(swap_s, fill_s)
        return service_s + self._check_mean_s

    def pack_waits(self, aircraft_class: str, start_s: float, end_s: float) -> list[tuple[float, Reason]]:
        """Split a wait for a pack that the day's end cut short, by what has delayed the pack that holds most so far."""
        coming = [one for one in self.packs if aircraft_class in one.plan.fits and one.state is not State.FLOWN]
        if not coming:
            return [(end_s, Reason.TOO_FEW_PACKS)]
        return max(coming, key=lambda pack: pack.above_reserve_wh).waits(start_s, end_s)

    def withdraw(self) -> None:
        """Forget every task, launch, load and pack that is waited for: the day is over."""
        self.crew.withdraw()
        self.supply.withdraw()
        self.shelf.wants.clear()
        self.station.hurry()

    def end(self) -> RigEnd:
        """Close everything that is open in the log and return what is left."""
        now = self.paid_until_s
        self.station.close(now)
        for pack in self.packs:
            if pack.since_s < now:
                self.log.add(pack.since_s, now, pack.name, pack.state)
        self.crew.close(now)
        return RigEnd(
            self.name,
            self.place,
            self.supply.start,
            self.supply.made,
            self.supply.level,
            sum([one.on_board for one in self.aircraft]),
            self.supply.thrown,
            self.supply.mix,
            self.supply.fetched if self.supply.liquid else 0.0,
            sum([source.fuel_burnt_l for source in self.sources]),
            sum([source.bus_wh for source in self.sources]),
            self.station.cycles,
            sum([one.swaps for one in self.aircraft]),
            sum([one.fills for one in self.aircraft]),
            self.site.out_of_reach_m2,
            self._morning.water_l,
            self.supply.stock,
            self._morning.pack_wh,
            {pack.name: pack.energy_wh for pack in self.packs},
            {one.name: one.until_failure_s for one in self.aircraft},
            now,
        )


def _by_charge(aircraft_class: str, types: list[PackPlan], charge_to: float) -> list[PackPlan]:
    fitting = [pack for pack in types if aircraft_class in pack.fits]
    return sorted(fitting, key=lambda pack: -pack.usable_wh(charge_to))


def _most_wh(aircraft_class: str, types: list[PackPlan], fullest: float) -> float:
    return max([pack.usable_wh(fullest) for pack in types if aircraft_class in pack.fits])
