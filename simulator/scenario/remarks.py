"""What a scenario may say but should not pass without a word: valid numbers that no rig of today would have."""

from __future__ import annotations

from simulator.errors import Problem
from simulator.scenario.power_balance import asked_w, given_w
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
    found = []
    if scenario.weather.wind_speed > MOST_WIND_M_PER_S:
        text = "more than 10 mph, beyond what labels and extension guidance allow for spraying; ground speed is held"
        speed = scenario.weather.wind_speed / _M_PER_S_PER_MPH
        found.append(Problem("weather.wind_speed", f"{speed:.3g} mph is {text}"))
    for key, rate in _rates(scenario):
        if rate > MOST_RATE_L_PER_M2:
            text = f"{_gallons(rate)} is more than 30 gal/acre, far beyond what is flown; is the unit right?"
            found.append(Problem(key, text))
    for rig in used_rigs(scenario):
        found += _power(scenario, rig)
    flown = {name for rig in used_rigs(scenario) for name, number in scenario.rig[rig].aircraft.items() if number}
    for name in sorted(flown):
        found += _aircraft(scenario, name, scenario.aircraft[name])
    return found


def _rates(scenario: Scenario) -> list[tuple[str, float]]:
    """Return every rate of liquid with its key, L/m2."""
    if scenario.product.kind != "liquid":
        return []
    rates = [(f"field.{place}.rate", field.rate) for place, field in enumerate(scenario.field)]
    return [(key, rate) for key, rate in [("product.rate", scenario.product.rate), *rates] if rate is not None]


def _gallons(rate: float) -> str:
    return f"{rate * M2_PER_ACRE / LITRE_PER_GALLON:.3g} gal/acre ({rate * M2_PER_HECTARE:.3g} L/ha)"


def _power(scenario: Scenario, rig: str) -> list[Problem]:
    """Remark on chargers that together ask for more than their source gives."""
    found = []
    for name, point in scenario.rig[rig].power.items():
        asked, given = asked_w(scenario, point), given_w(scenario, point)
        if asked > given * 1.001:
            text = (
                f"its chargers and other load ask {asked / 1000:.3g} kW, and the source gives {given / 1000:.3g} kW "
                "continuously here: the chargers are set so that together they fit, the pack needed first in full"
            )
            found.append(Problem(f"rig.{rig}.power.{name}", text))
    return found


def _load(scenario: Scenario, name: str, aircraft: Aircraft) -> list[Problem]:
    """Remark on a tank that cannot be lifted full, and on rates that the pumps cannot give at full speed."""
    found: list[Problem] = []
    if scenario.product.kind != "liquid" or aircraft.tank is None:
        return found
    packs = [pack.mass for pack in scenario.pack.values() if name in pack.fits]
    full_kg = aircraft.empty_mass + min(packs, default=0.0) + aircraft.tank * scenario.product.density
    most_kg = aircraft.take_off_mass_max
    if most_kg is not None and full_kg > most_kg:
        text = (
            f"a full tank makes {full_kg:.4g} kg with the lightest pack, {full_kg - most_kg:.3g} kg more than "
            f"take_off_mass_max ({most_kg:.4g} kg): it is never flown full; are tank and masses right?"
        )
        found.append(Problem(f"aircraft.{name}.tank", text))
    for key, rate in _rates(scenario):
        needed = rate * aircraft.spray_speed * aircraft.swath
        if aircraft.flow_max is not None and needed > aircraft.flow_max * 1.001:
            slower = aircraft.flow_max / (rate * aircraft.swath) / _M_PER_S_PER_MPH
            text = (
                f"{_gallons(rate)} at the speed and swath of aircraft.{name} takes {needed * 60:.3g} L/min, and its "
                f"pumps give {aircraft.flow_max * 60:.3g} L/min: it flies at {slower:.3g} mph instead"
            )
            found.append(Problem(key, text))
    return found


def _aircraft(scenario: Scenario, name: str, aircraft: Aircraft) -> list[Problem]:
    found = []
    spreading = scenario.product.kind == "granules"
    swath_key = "spread_swath" if spreading and aircraft.spread_swath is not None else "swath"
    speed_key = "spread_speed" if spreading and aircraft.spread_speed is not None else "spray_speed"
    swath = getattr(aircraft, swath_key)
    if swath < LEAST_SWATH_M:
        feet = f"{swath:.3g} m ({swath / M_PER_FOOT:.3g} ft)"
        found.append(
            Problem(
                f"aircraft.{name}.{swath_key}", f"{feet} is less than 1 m, narrower than the rotors; is the unit right?"
            )
        )
    found += _load(scenario, name, aircraft)
    for key in (speed_key, "ferry_speed"):
        speed = getattr(aircraft, key)
        if speed > MOST_SPEED_M_PER_S:
            shown = f"{speed:.3g} m/s ({speed / _M_PER_S_PER_MPH:.3g} mph)"
            text = f"{shown} is more than 40 mph, faster than loaded multirotors fly; is the unit right?"
            found.append(Problem(f"aircraft.{name}.{key}", text))
    hover = aircraft.hover
    if hover is None:
        return found
    time_s = hover.full_time if hover.full_time is not None else hover.empty_time
    if time_s is None:
        return found
    power_w = hover.energy * hover.usable_share * 3600.0 / time_s
    for pack_name, pack in scenario.pack.items():
        flight_s = pack.energy * (1.0 - pack.reserve) * 3600.0 / power_w
        if name in pack.fits and flight_s < LEAST_FLIGHT_S:
            text = (
                f"lasts about {flight_s:.0f} s of hovering above its reserve, less than 2 min: most of each flight is "
                "take-off and landing; are energy, reserve and hover times right?"
            )
            found.append(Problem(f"pack.{pack_name}", text))
    return found
