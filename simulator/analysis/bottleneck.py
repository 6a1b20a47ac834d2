"""Four views of what holds a set back, brought into a few plain words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from simulator.analysis.digits import NO_VARIATION, supported_decimals
from simulator.analysis.resources import Resource, resources


@dataclass(frozen=True)
class OneMore:
    """What one more, or one larger, of something adds.

    Parameters
    ----------
    change : str
        In plain words ("one more pack (large_pack)").
    resource : str
        Resource that it relieves.
    setting : str
        ``KEY=VALUE`` that makes the change.
    acres_per_day, low, high : float
        Added acres per day (paired difference under common random numbers) and its 95 % interval.
    runs : int
        Pairs of runs behind it.
    """

    change: str
    resource: str
    setting: str
    acres_per_day: float
    low: float
    high: float
    runs: int


@dataclass(frozen=True)
class Bottleneck:
    """What holds a set back.

    Parameters
    ----------
    resource : str
        Name of the resource.
    sentence : str
        In words that a person can act on.
    alike : tuple of str
        Resources that hold it back about as much: what relieving them adds cannot be told from what relieving the
        first adds.
    """

    resource: str
    sentence: str
    alike: tuple[str, ...] = ()

    @property
    def resources(self) -> tuple[str, ...]:
        """The resource and those alike."""
        return (self.resource, *self.alike)


_ROAD = "moves"
_MOSTLY = 0.4
"""Share of aircraft time on the road beyond which moving holds a set back, whatever runs longest in between."""


def _named(name: str) -> Resource:
    return next(resource for resource in resources() if resource.name == name)


def lost_time(time_share: Mapping[str, float]) -> dict[str, float]:
    """Return the share of aircraft time lost to each resource.

    Parameters
    ----------
    time_share : mapping
        Share of aircraft time by state and reason.
    """
    return {
        resource.name: sum((share for label, share in time_share.items() if label in resource.lost), 0.0)
        for resource in resources()
        if resource.lost
    }


def judge(
    time_share: Mapping[str, float],
    active_share: Mapping[str, float],
    one_more: Sequence[OneMore],
    unit: str = "acres",
    per_unit: float = 1.0,
) -> Bottleneck:
    """Name the bottleneck and say why.

    The change that adds most beyond doubt names it, together with those whose interval overlaps its own; when nothing
    was tried or nothing helps beyond doubt, the momentary bottleneck of the active-period method does. Where the views
    disagree, the text says so.

    Parameters
    ----------
    time_share : mapping
        Share of aircraft time by state and reason.
    active_share : mapping
        Share of the day as momentary bottleneck, by resource.
    one_more : sequence of OneMore
        Changes tried; may be empty.
    unit, per_unit : str, float
        Area unit of the sentence, and acres in one of it.
    """
    lost = lost_time(time_share)
    momentary = max(active_share, key=lambda name: active_share[name], default="aircraft")
    road = lost.get(_ROAD, 0.0)
    if road >= _MOSTLY and road > active_share.get(momentary, 0.0):
        momentary = _ROAD
    leaders = _leaders(one_more, lost)
    if not leaders:
        return Bottleneck(momentary, _without_change(momentary, lost, bool(one_more)))
    best, names = leaders[0], [change.resource for change in leaders]
    also = ""
    if momentary == _ROAD and road >= _MOSTLY:
        also = f" The aircraft spend {_percent(road)} of their time {_loss(_ROAD)}."
    elif momentary not in names and not _named(momentary).last_resort:
        running = _percent(active_share[momentary])
        also = f" Most often the longest-running resource is {_inside(momentary)} ({running} of the day)."
    if len(leaders) > 1:
        return Bottleneck(best.resource, _about_equal(leaders, lost, unit, per_unit) + also, tuple(names[1:]))
    share = lost.get(best.resource, 0.0)
    if share >= 0.005:
        why = f"the aircraft spend {_percent(share)} of their time {_loss(best.resource)}"
    elif _named(best.resource).last_resort:
        why = "the rest of the rig keeps up with the aircraft"
    elif _named(best.resource).plural:
        why = "they set the pace although aircraft rarely wait for them"
    else:
        why = "it sets the pace although aircraft rarely wait for it"
    gain = f"{best.change} adds {_gain(best, unit, per_unit, f', {best.runs} runs')}"
    return Bottleneck(best.resource, f"{_verb(best.resource)} this set back: {why}; {gain}.{also}")


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


def _about_equal(leaders: Sequence[OneMore], lost: Mapping[str, float], unit: str, per_unit: float) -> str:
    names = [_named(leaders[0].resource).spoken, *(_inside(change.resource) for change in leaders[1:])]
    verb = "hold" if _named(leaders[-1].resource).plural else "holds"
    runs = min(change.runs for change in leaders)
    gains = [f"{leaders[0].change} adds {_gain(leaders[0], unit, per_unit)}"]
    for change in leaders[1:]:
        value, low, high = _shown(change, per_unit)
        gains.append(f"{change.change} {value} ({low} to {high})")
    worst = max((change.resource for change in leaders), key=lambda name: lost.get(name, 0.0))
    why = ""
    if lost.get(worst, 0.0) >= 0.005:
        why = f" The aircraft spend {_percent(lost[worst])} of their time {_loss(worst)}."
    listed = f"{', '.join(names[:-1])} or {names[-1]}"
    return f"{listed} {verb} this set back, about equally as far as {runs} runs can tell: {', '.join(gains)}.{why}"


def _inside(resource: str) -> str:
    """Return a resource's name as it stands inside a sentence."""
    return _named(resource).spoken.lower()


def _loss(resource: str) -> str:
    """Return what aircraft do that lack a resource."""
    return _named(resource).loss or f"waiting for {_inside(resource)}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _verb(resource: str) -> str:
    return f"{_named(resource).spoken} {'hold' if _named(resource).plural else 'holds'}"


def _shown(change: OneMore, per_unit: float) -> list[str]:
    """Return an amount and the limits of its interval, with the digits that the interval supports."""
    numbers = [number / per_unit for number in (change.acres_per_day, change.low, change.high)]
    half = 0.5 * (numbers[2] - numbers[1])
    decimals = supported_decimals(half) if half > 0 else 1
    return [f"{round(number, decimals) + 0.0:.{max(decimals, 0)}f}" for number in numbers]


def _gain(change: OneMore, unit: str, per_unit: float, runs: str = "") -> str:
    value, low, high = _shown(change, per_unit)
    seen = f"95 % interval {low} to {high}" if change.high > change.low else NO_VARIATION
    return f"{value} {unit} a day ({seen}{runs})"


def _without_change(momentary: str, lost: Mapping[str, float], tried: bool) -> str:
    worst = max(lost, key=lambda name: lost[name])
    tail = "no single addition that was tried adds output beyond doubt" if tried else "no additions were tried"
    text = f"{_verb(momentary)} this set back most often; {tail}."
    if lost[worst] >= 0.01:
        text += f" The largest loss is {_percent(lost[worst])} of aircraft time {_loss(worst)}."
    return text
