"""What the evidence page is made of: figures of the model with their units, in sheets."""

from __future__ import annotations

from dataclasses import dataclass, field

from simulator.plan.aircraft import AircraftPlan
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.plan.equipment import PackPlan
from simulator.plan.field_work import MeanLoad, WorkPlanner
from simulator.plan.fields import WorkProfile
from simulator.scenario.distributions import Distribution
from simulator.scenario.units import KG_PER_POUND, LITRE_PER_GALLON, M2_PER_ACRE, M2_PER_HECTARE

_US = {"m2": (M2_PER_ACRE, "acre"), "L": (LITRE_PER_GALLON, "gal"), "kg": (KG_PER_POUND, "lb")}
_METRIC = {"m2": (M2_PER_HECTARE, "ha")}


@dataclass(frozen=True)
class Line:
    """One figure; the note says where it stands or comes from, and what it means."""

    quantity: str
    value: float
    unit: str
    note: str


@dataclass
class Sheet:
    """One section of the page, in US customary or metric units."""

    title: str
    metric: bool
    lines: list[Line] = field(default_factory=list)

    def add(self, quantity: str, value: float, unit: str = "", note: str = "") -> None:
        """Write a figure."""
        self.lines.append(Line(quantity, float(value), unit, note))

    def drawn(self, quantity: str, drawn: Distribution, key: str, note: str = "") -> None:
        """Write the mean of a time (s) that may be drawn."""
        said = key if drawn.is_constant else f"{key}; mean of what is drawn"
        self.add(quantity, drawn.mean(), "s", f"{said}; {note}" if note else said)

    def put(self, quantity: str, value: float, unit: str, note: str = "") -> None:
        """Write an area (m2), volume (L) or mass (kg), also one an hour and the like, in the page's units."""
        base, slash, per = unit.partition("/")
        size, name = (_METRIC if self.metric else _US).get(base, (1.0, base))
        self.add(quantity, value / size, name + slash + per, note)

    def rate(self, quantity: str, value: float, unit: str, note: str = "") -> None:
        """Write an application rate (L/m2 or kg/m2) as on the label."""
        area = _METRIC["m2"] if self.metric else _US["m2"]
        self.put(quantity, value * area[0], f"{unit}/{area[1]}", note)


@dataclass(frozen=True)
class Case:
    """One aircraft class with one pack type on the field that is shown: a load by mean times."""

    aircraft: AircraftPlan
    number: int
    pack: PackPlan
    profile: WorkProfile
    load: MeanLoad
    charged_wh: float
    """Energy of a pack off its charger."""
    most_per_s: dict[str, float]
    """Loads a second that each resource allows by itself."""

    @property
    def name(self) -> str:
        """Return what is flown with what."""
        return f"{self.aircraft.name} with {self.pack.name}"

    @property
    def loads(self) -> int:
        """Return the loads on one charge."""
        return round(1.0 / self.load.charges)

    @property
    def left_wh(self) -> float:
        """Return the energy of a pack when it comes off the aircraft, by mean use."""
        return self.charged_wh - self.load.air.energy_wh / self.load.charges


def cases_of(plan: DayPlan, rig: RigPlan, index: int) -> list[Case]:
    """Return the loads of a rig on a field, as full as its crew fills them there, each aircraft with each pack."""
    planner = WorkPlanner(plan.scenario, rig.rig, rig.aircraft, rig.packs, rig.power, plan.flights)
    work = plan.work[rig.name][index]
    found = []
    for place, (aircraft, number) in enumerate(rig.aircraft):
        profile = plan.profiles[aircraft.name, index]
        share = 1.0
        if work.load_m2:
            best = planner.load(aircraft, profile, 1.0).pack
            planned = work.load_m2[place] * profile.product_per_m2
            share = min(1.0, planned / aircraft.capacity(best.mass_kg) * (1.0 + 1e-9))
        for pack, _ in rig.packs:
            if aircraft.name in pack.fits and aircraft.capacity(pack.mass_kg) > 0.0:
                load = planner.load(aircraft, profile, share, pack)
                charged_wh = pack.capacity_wh * rig.rig.charge_to
                most = planner.most_per_s(load, aircraft, number)
                found.append(Case(aircraft, number, pack, profile, load, charged_wh, most))
    return found
