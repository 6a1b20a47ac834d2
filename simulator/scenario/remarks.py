"""What a scenario may say but should not pass without a word: valid numbers that no rig of today would have."""

from __future__ import annotations

from simulator.errors import Problem, Problems
from simulator.scenario.power_balance import power_balances
from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_equipment import Aircraft
from simulator.scenario.units import LITRE_PER_GALLON, M2_PER_ACRE, M2_PER_HECTARE, M_PER_FOOT, M_PER_MILE

_M_PER_S_PER_MPH = M_PER_MILE / 3600.0
MOST_RATE_L_PER_M2 = 30.0 * LITRE_PER_GALLON / M2_PER_ACRE
"""More liquid than this is remarked on: unmanned aircraft spray 1 to 10 gal/acre; assumption."""
MOST_WIND_M_PER_S = 10.0 * _M_PER_S_PER_MPH
"""More wind than this is remarked on; source: 3-10 mph, label and extension guidance."""
LEAST_SWATH_M = 1.0
"""A narrower swath is remarked on: rotors alone span more; assumption."""
MOST_SPEED_M_PER_S = 40.0 * _M_PER_S_PER_MPH
"""A higher speed of a loaded multirotor is remarked on; assumption."""
LEAST_FLIGHT_S = 120.0
"""A pack that hovers a full aircraft for less is remarked on; assumption."""


def remarks(scenario: Scenario) -> list[Problem]:
    """Return remarks on a valid scenario: strong wind, absurd rates, short power, and equipment that flies absurdly."""
    found = Problems(most=1000)
    wind = scenario.weather.wind_speed
    if wind > MOST_WIND_M_PER_S:
        text = "more than 10 mph, beyond what labels and extension guidance allow for spraying; ground speed is held"
        found.add("weather.wind_speed", f"{wind / _M_PER_S_PER_MPH:.3g} mph is {text}")
    for key, rate in _rates(scenario):
        if rate > MOST_RATE_L_PER_M2:
            text = f"{_gallons(rate)} is more than 30 gal/acre, far beyond what is flown; is the unit right?"
            found.add(key, text)
    for balance in power_balances(scenario):
        if balance.asked_w > balance.given_w * 1.001:
            asked, given = f"{balance.asked_w / 1000:.3g} kW", f"{balance.given_w / 1000:.3g} kW"
            text = f"its chargers and other load ask {asked}, and the source gives {given} continuously here"
            set_to = "the chargers are set so that together they fit, the pack needed first in full"
            found.add(f"rig.{balance.rig}.power.{balance.point}", f"{text}: {set_to}")
    used = used_rigs(scenario)
    for name in sorted({name for rig in used for name, number in scenario.rig[rig].aircraft.items() if number}):
        _aircraft(scenario, name, scenario.aircraft[name], found)
    return found.found


def _rates(scenario: Scenario) -> list[tuple[str, float]]:
    """Return every rate of liquid with its key, L/m2."""
    if scenario.product.kind != "liquid":
        return []
    rates = [(f"field.{place}.rate", field.rate) for place, field in enumerate(scenario.field)]
    return [(key, rate) for key, rate in [("product.rate", scenario.product.rate), *rates] if rate is not None]


def _gallons(rate: float) -> str:
    return f"{rate * M2_PER_ACRE / LITRE_PER_GALLON:.3g} gal/acre ({rate * M2_PER_HECTARE:.3g} L/ha)"


def _aircraft(scenario: Scenario, name: str, aircraft: Aircraft, found: Problems) -> None:
    where, spreading = f"aircraft.{name}", scenario.product.kind == "granules"
    swath_key = "spread_swath" if spreading and aircraft.spread_swath is not None else "swath"
    speed_key = "spread_speed" if spreading and aircraft.spread_speed is not None else "spray_speed"
    swath = getattr(aircraft, swath_key)
    if swath < LEAST_SWATH_M:
        feet = f"{swath:.3g} m ({swath / M_PER_FOOT:.3g} ft)"
        found.add(f"{where}.{swath_key}", f"{feet} is less than 1 m, narrower than the rotors; is the unit right?")
    if not spreading and aircraft.tank is not None:
        _load(scenario, name, aircraft, aircraft.tank, found)
    for key in (speed_key, "ferry_speed"):
        speed = getattr(aircraft, key)
        if speed > MOST_SPEED_M_PER_S:
            shown = f"{speed:.3g} m/s ({speed / _M_PER_S_PER_MPH:.3g} mph)"
            found.add(
                f"{where}.{key}", f"{shown} is more than 40 mph, faster than loaded multirotors fly; is the unit right?"
            )
    hover = aircraft.hover
    time_s = (hover.full_time if hover.full_time is not None else hover.empty_time) if hover is not None else None
    if hover is None or time_s is None:
        return
    power_w = hover.energy * hover.usable_share * 3600.0 / time_s
    for pack_name, pack in scenario.pack.items():
        flight_s = pack.energy * (1.0 - pack.reserve) * 3600.0 / power_w
        if name in pack.fits and flight_s < LEAST_FLIGHT_S:
            text = f"lasts about {flight_s:.0f} s of hovering above its reserve, less than 2 min"
            asked = "most of each flight is take-off and landing; are energy, reserve and hover times right?"
            found.add(f"pack.{pack_name}", f"{text}: {asked}")


def _load(scenario: Scenario, name: str, aircraft: Aircraft, tank_l: float, found: Problems) -> None:
    """Remark on a tank that cannot be lifted full, and on rates that the pumps cannot give at full speed."""
    packs = [pack.mass for pack in scenario.pack.values() if name in pack.fits]
    full_kg = aircraft.empty_mass + min(packs, default=0.0) + tank_l * scenario.product.density
    most_kg, most_flow = aircraft.take_off_mass_max, aircraft.flow_max
    if most_kg is not None and full_kg > most_kg:
        heavy = f"a full tank makes {full_kg:.4g} kg with the lightest pack, {full_kg - most_kg:.3g} kg more than"
        text = f"take_off_mass_max ({most_kg:.4g} kg): it is never flown full; are tank and masses right?"
        found.add(f"aircraft.{name}.tank", f"{heavy} {text}")
    for key, rate in _rates(scenario):
        needed = rate * aircraft.spray_speed * aircraft.swath
        if most_flow is not None and needed > most_flow * 1.001:
            mph = most_flow / (rate * aircraft.swath) / _M_PER_S_PER_MPH
            takes = f"{_gallons(rate)} at the speed and swath of aircraft.{name} takes {needed * 60:.3g} L/min"
            found.add(key, f"{takes}, and its pumps give {most_flow * 60:.3g} L/min: it flies at {mph:.3g} mph instead")
