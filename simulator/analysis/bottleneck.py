"""Four views of what holds a set back, brought into a few plain words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from simulator.analysis.digits import NO_VARIATION, fixed, range_decimals
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
    """What holds a set back; those alike do so about as much, as far as what was tried can tell.

    ``short`` is what the sentence names, in the order in which it does.
    """

    resource: str
    sentence: str
    alike: tuple[str, ...] = ()
    short: str = ""

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
    acres_per_day: float = 0.0,
) -> Bottleneck:
    """Name what adds most beyond doubt, and what may add as much; or else where most time is lost.

    Additions to a set that does ten or more a day are whole acres (or hectares).
    """
    lost = lost_time(time_share)
    worst = max(lost, key=lambda name: lost[name])
    first = _first(lost, time_share)
    leaders = _leaders(one_more, lost)
    if not leaders:
        momentary = max(active_share, key=lambda name: active_share[name], default="aircraft")
        named = _ROAD if lost[_ROAD] >= _MUCH else worst if lost[worst] >= _LITTLE else momentary
        tail = "Nothing tried gets more done beyond doubt." if one_more else "No additions were tried."
        text = " ".join(part for part in (first, tail, "" if first else _spent(worst, lost)) if part)
        return Bottleneck(named, text, short=_short(lost, time_share, [named]))
    gains = _gains(leaders, unit, 0 if acres_per_day >= 10.0 * unit.acres else 1)
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
    spent = "" if first and most == _ROAD else _spent(most, lost)
    text = " ".join(part for part in (text, spent, _last_resort(one_more, leaders, unit)) if part)
    return Bottleneck(names[0], text, tuple(names[1:]), _short(lost, time_share, names))


def _last_resort(one_more: Sequence[OneMore], leaders: Sequence[OneMore], unit: AreaUnit) -> str:
    """Say what adds more than what is named, but is a purchase of another size."""
    best = max((change for change in one_more if change.low > 0.0), key=lambda change: change.acres_per_day)
    if best.resource in [leader.resource for leader in leaders] or best.acres_per_day <= leaders[0].acres_per_day:
        return ""
    what, kit, _ = best.change.partition(" with ")
    return f"{what[:1].upper()}{what[1:]}{' and kit' if kit else ''} would add {_shown(best, unit, 0)[0]}."


def _short(lost: Mapping[str, float], time_share: Mapping[str, float], names: Sequence[str]) -> str:
    """Return what a sentence names: road and weather where they are said first, then resources."""
    much = [words for words in (_ROAD, "weather") if words in _much(lost, time_share)]
    then = " or ".join(_named(name).inside for name in names if name not in much)
    first = " and ".join(_named(name).inside if name == _ROAD else name for name in much)
    return ", then ".join(part for part in (first, then) if part)


def _much(lost: Mapping[str, float], time_share: Mapping[str, float]) -> dict[str, float]:
    """Return the shares of aircraft time that road and weather take, where that is much."""
    taken = {_ROAD: lost.get(_ROAD, 0.0), "weather": time_share.get(label(State.WAIT, Reason.WEATHER), 0.0)}
    return {name: share for name, share in taken.items() if share >= _MUCH}


def _first(lost: Mapping[str, float], time_share: Mapping[str, float]) -> str:
    """Return what is said first where the road or the weather takes much of the aircraft's time."""
    much = _much(lost, time_share)
    words = {_ROAD: "Moving between fields", "weather": "weather" if _ROAD in much else "Weather"}
    taken = " and ".join(f"{words[name]} takes {_percent(share)}" for name, share in much.items())
    return f"{taken} of the aircraft's time." if taken else ""


def _spent(resource: str, lost: Mapping[str, float]) -> str:
    """Say what part of their time aircraft lose to a resource; empty when it is little."""
    share, one = lost.get(resource, 0.0), _named(resource)
    loss = one.loss or f"waiting for {one.inside}"
    return f"The aircraft spend {_percent(share)} of their time {loss}." if share >= _LITTLE else ""


def _gains(leaders: Sequence[OneMore], unit: AreaUnit, finest: int) -> str:
    """Return what the best changes add, in words."""
    runs = f", {leaders[0].runs} runs" if len(leaders) == 1 else ""
    gains = [f"{leaders[0].change} adds {_gain(leaders[0], unit, finest, runs)}"]
    for change in leaders[1:]:
        value, low, high = _shown(change, unit, finest)
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


def _shown(change: OneMore, unit: AreaUnit, finest: int) -> list[str]:
    """Return an amount and the limits of its interval, with the digits that the interval supports."""
    value, low, high = (number / unit.acres for number in (change.acres_per_day, change.low, change.high))
    decimals = range_decimals(low, high, finest) if high > low else 1
    return [fixed(number, decimals) for number in (value, low, high)]


def _gain(change: OneMore, unit: AreaUnit, finest: int, runs: str = "") -> str:
    value, low, high = _shown(change, unit, finest)
    seen = f"95 % interval {low} to {high}" if change.high > change.low else NO_VARIATION
    return f"{value} {unit.name} a day ({seen}{runs})"
