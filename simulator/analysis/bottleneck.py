"""Four views of what holds a set back, brought into a few plain words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from simulator.analysis.digits import NO_VARIATION, fixed, supported_decimals
from simulator.analysis.resources import Resource, label, resources
from simulator.operation.log import Reason, State
from simulator.scenario.units import AreaUnit, area_unit


@dataclass(frozen=True)
class OneMore:
    """What one more, or one larger, of something adds to acres a day: a paired difference and its 95 % interval."""

    document: ClassVar = ("change", "acres_per_day", "ci95=limits", "resource", "setting", "runs")
    change: str
    resource: str
    setting: str
    acres_per_day: float
    low: float
    high: float
    runs: int

    @property
    def limits(self) -> tuple[float, float]:
        """The interval."""
        return self.low, self.high


@dataclass(frozen=True)
class Bottleneck:
    """What holds a set back; those alike do so about as much, as far as what was tried can tell."""

    resource: str
    sentence: str
    alike: tuple[str, ...] = ()

    @property
    def resources(self) -> tuple[str, ...]:
        """The resource and those alike."""
        return (self.resource, *self.alike)


_ACRES = area_unit("us")
_ROAD = "moves"
_MUCH = 0.25
"""Share of aircraft time on the road, or under weather, beyond which that is said first, whatever else may help."""
_LITTLE = 0.01
"""A smaller share of aircraft time is not spoken of."""


def _named(name: str) -> Resource:
    return next(resource for resource in resources() if resource.name == name)


def lost_time(time_share: Mapping[str, float]) -> dict[str, float]:
    """Return the share of aircraft time lost to each resource."""
    return {
        resource.name: sum((share for label, share in time_share.items() if label in resource.lost), 0.0)
        for resource in resources()
        if resource.lost
    }


def judge(
    time_share: Mapping[str, float],
    active_share: Mapping[str, float],
    one_more: Sequence[OneMore],
    unit: AreaUnit = _ACRES,
) -> Bottleneck:
    """Name what adds most beyond doubt, and what may add as much; or else where most time is lost."""
    lost = lost_time(time_share)
    worst = max(lost, key=lambda name: lost[name])
    first = _first(lost, time_share)
    leaders = _leaders(one_more, lost)
    if not leaders:
        momentary = max(active_share, key=lambda name: active_share[name], default="aircraft")
        named = _ROAD if lost[_ROAD] >= _MUCH else worst if lost[worst] >= _LITTLE else momentary
        tail = "Nothing that was tried gets more done beyond doubt." if one_more else "No additions were tried."
        return Bottleneck(named, " ".join(part for part in (first, tail, "" if first else _spent(worst, lost)) if part))
    gains = _gains(leaders, unit)
    names = [change.resource for change in leaders]
    holders = [_named(name) for name in names]
    if first:
        text = f"{first} Of what was tried, {gains}."
    elif len(leaders) == 1:
        text = f"{holders[0].spoken} {holders[0].holds} this set back: {gains}."
    else:
        first_ones = ", ".join([holders[0].spoken, *(one.inside for one in holders[1:-1])])
        alike = f"about equally as far as {min(change.runs for change in leaders)} runs can tell"
        text = f"{first_ones} or {holders[-1].inside} {holders[-1].holds} this set back, {alike}: {gains}."
    most = max(names, key=lambda name: lost.get(name, 0.0))
    return Bottleneck(names[0], f"{text} {_spent(most, lost)}".rstrip(), tuple(names[1:]))


def _first(lost: Mapping[str, float], time_share: Mapping[str, float]) -> str:
    """Return what is said first where the road or the weather takes much of the aircraft's time."""
    road, weather = lost.get(_ROAD, 0.0), time_share.get(label(State.WAIT, Reason.WEATHER), 0.0)
    if road >= _MUCH:
        more = f" and weather {_percent(weather)}" if weather >= _MUCH else ""
        return f"Moving between fields takes {_percent(road)}{more} of the aircraft's time."
    return f"Weather takes {_percent(weather)} of the aircraft's time." if weather >= _MUCH else ""


def _spent(resource: str, lost: Mapping[str, float]) -> str:
    """Say what part of their time aircraft lose to a resource; empty when it is little."""
    share, one = lost.get(resource, 0.0), _named(resource)
    loss = one.loss or f"waiting for {one.inside}"
    return f"The aircraft spend {_percent(share)} of their time {loss}." if share >= _LITTLE else ""


def _gains(leaders: Sequence[OneMore], unit: AreaUnit) -> str:
    """Return what the best changes add, in words."""
    runs = f", {leaders[0].runs} runs" if len(leaders) == 1 else ""
    gains = [f"{leaders[0].change} adds {_gain(leaders[0], unit, runs)}"]
    for change in leaders[1:]:
        value, low, high = _shown(change, unit)
        gains.append(f"{change.change} {value} ({low} to {high})")
    return ", ".join(gains)


def _leaders(one_more: Sequence[OneMore], lost: Mapping[str, float]) -> list[OneMore]:
    """Return the change that adds most beyond doubt, then the best of each other resource that may add as much."""
    helpful = [change for change in one_more if change.low > 0.0]
    # a further aircraft adds output in most sets; it is named only when nothing cheaper stands in the way
    cheaper = [change for change in helpful if not _named(change.resource).last_resort]
    waited = sum(share for resource, share in lost.items() if resource != _ROAD)
    ranked = sorted(cheaper if cheaper and waited > 0.05 else helpful, key=lambda change: -change.acres_per_day)
    leaders: list[OneMore] = []
    for change in ranked:
        new = change.resource not in [leader.resource for leader in leaders]
        if new and (not leaders or change.high >= leaders[0].low):
            leaders.append(change)
    return leaders


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _shown(change: OneMore, unit: AreaUnit) -> list[str]:
    """Return an amount and the limits of its interval, with the digits that the interval supports."""
    numbers = [number / unit.acres for number in (change.acres_per_day, change.low, change.high)]
    half = 0.5 * (numbers[2] - numbers[1])
    decimals = supported_decimals(half) if half > 0 else 1
    return [fixed(number, decimals) for number in numbers]


def _gain(change: OneMore, unit: AreaUnit, runs: str = "") -> str:
    value, low, high = _shown(change, unit)
    seen = f"95 % interval {low} to {high}" if change.high > change.low else NO_VARIATION
    return f"{value} {unit.name} a day ({seen}{runs})"
