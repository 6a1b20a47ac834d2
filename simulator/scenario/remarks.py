"""What a scenario may say but should not pass without a word: valid numbers that no rig of today would have."""

from __future__ import annotations

from simulator.errors import Problem
from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_equipment import Aircraft
from simulator.scenario.units import M_PER_FOOT, M_PER_MILE

_M_PER_S_PER_MPH = M_PER_MILE / 3600.0
MOST_WIND_M_PER_S = 10.0 * _M_PER_S_PER_MPH
"""More wind than this is remarked on; source: 3-10 mph, label and extension guidance."""
LEAST_SWATH_M = 1.0
"""A narrower swath is remarked on: rotors alone span more; assumption."""
MOST_SPEED_M_PER_S = 40.0 * _M_PER_S_PER_MPH
"""A higher speed of a loaded multirotor is remarked on; assumption."""
LEAST_FLIGHT_S = 120.0
"""A pack that hovers a full aircraft for less is remarked on; assumption."""


def remarks(scenario: Scenario) -> list[Problem]:
    """Return remarks on a valid scenario: strong wind, and equipment that flies in an absurd way.

    Parameters
    ----------
    scenario : Scenario
        A scenario without problems.
    """
    found = []
    if scenario.weather.wind_speed > MOST_WIND_M_PER_S:
        text = "more than 10 mph, beyond what labels and extension guidance allow for spraying; ground speed is held"
        speed = scenario.weather.wind_speed / _M_PER_S_PER_MPH
        found.append(Problem("weather.wind_speed", f"{speed:.3g} mph is {text}"))
    flown = {name for rig in used_rigs(scenario) for name, number in scenario.rig[rig].aircraft.items() if number}
    for name in sorted(flown):
        found += _aircraft(scenario, name, scenario.aircraft[name])
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
    for key in (speed_key, "ferry_speed"):
        speed = getattr(aircraft, key)
        if speed > MOST_SPEED_M_PER_S:
            shown = f"{speed:.3g} m/s ({speed / _M_PER_S_PER_MPH:.3g} mph)"
            text = f"{shown} is more than 40 mph, faster than loaded multirotors fly; is the unit right?"
            found.append(Problem(f"aircraft.{name}.{key}", text))
    hover = aircraft.hover
    if hover is None or hover.pack not in scenario.pack:
        return found
    time_s = hover.full_time if hover.full_time is not None else hover.empty_time
    if time_s is None:
        return found
    power_w = scenario.pack[hover.pack].energy * hover.usable_share * 3600.0 / time_s
    for pack_name, pack in scenario.pack.items():
        flight_s = pack.energy * (1.0 - pack.reserve) * 3600.0 / power_w
        if name in pack.fits and flight_s < LEAST_FLIGHT_S:
            text = (
                f"lasts about {flight_s:.0f} s of hovering above its reserve, less than 2 min: most of each flight is "
                "take-off and landing; are energy, reserve and hover times right?"
            )
            found.append(Problem(f"pack.{pack_name}", text))
    return found
