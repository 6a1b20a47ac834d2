"""Four views of what holds a set back, brought into one plain sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from simulator.analysis.digits import supported_decimals
from simulator.analysis.summary import WAIT_RESOURCE


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
    days : int
        Pairs of days behind it.
    """

    change: str
    resource: str
    setting: str
    acres_per_day: float
    low: float
    high: float
    days: int


@dataclass(frozen=True)
class Bottleneck:
    """What holds a set back.

    Parameters
    ----------
    resource : str
        Name of the resource.
    sentence : str
        One sentence that a person can act on.
    """

    resource: str
    sentence: str


_LOSS_WORDS = {
    "packs": "waiting for a charged pack because there are too few packs",
    "chargers": "waiting for a charged pack because the chargers are busy",
    "generator": "waiting for a charged pack because the power supply is too small",
    "crew": "waiting for people",
    "mix supply": "waiting for mix or the fill pump",
    "moves": "on the road, packing up and setting up",
}
_MOSTLY = 0.4
"""Share of aircraft time on the road beyond which moving holds a set back, whatever runs longest in between."""
_NAMES = {
    "packs": "Packs",
    "chargers": "Chargers",
    "generator": "The power supply",
    "crew": "The crew",
    "mix supply": "Mixing and filling",
    "moves": "Moving between fields",
    "aircraft": "The aircraft itself",
}


def lost_time(time_share: Mapping[str, float]) -> dict[str, float]:
    """Return the share of aircraft time lost to each resource.

    Parameters
    ----------
    time_share : mapping
        Share of aircraft time by state and reason.
    """
    lost: dict[str, float] = dict.fromkeys(_LOSS_WORDS, 0.0)
    for label, share in time_share.items():
        resource = WAIT_RESOURCE.get(label)
        if resource is not None:
            lost[resource] += share
    return lost


def judge(
    time_share: Mapping[str, float],
    active_share: Mapping[str, float],
    one_more: Sequence[OneMore],
    unit: str = "acres",
    per_unit: float = 1.0,
) -> Bottleneck:
    """Name the bottleneck and say why.

    The change that adds most beyond doubt names it; when nothing was tried or nothing helps beyond doubt, the momentary
    bottleneck of the active-period method does. Where the views disagree the sentence says so.

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
    helpful = [change for change in one_more if change.low > 0.0]
    momentary = max(active_share, key=lambda name: active_share[name], default="aircraft")
    if lost["moves"] >= _MOSTLY and lost["moves"] > active_share.get(momentary, 0.0):
        momentary = "moves"
    best = max(helpful, key=lambda change: change.acres_per_day, default=None)
    # a further aircraft adds output in most sets; it is named only when nothing cheaper stands in the way
    cheaper = [change for change in helpful if change.resource != "aircraft"]
    waited = sum(share for resource, share in lost.items() if resource != "moves")
    if best is not None and best.resource == "aircraft" and cheaper and waited > 0.05:
        best = max(cheaper, key=lambda change: change.acres_per_day)
    if best is None:
        return Bottleneck(momentary, _without_change(momentary, lost, bool(one_more)))
    gain = f"{best.change} adds {_gain(best, unit, per_unit)}"
    share = lost.get(best.resource, 0.0)
    if share >= 0.005:
        why = f"the aircraft spend {share:.0%} of their time {_LOSS_WORDS[best.resource]}"
    elif best.resource == "aircraft":
        why = "the rest of the rig keeps up with the aircraft"
    else:
        plural = best.resource in ("packs", "chargers")
        pace = "they set the pace although aircraft rarely wait for them" if plural else "it sets the pace"
        why = pace if plural else f"{pace} although aircraft rarely wait for it"
    also = ""
    if momentary not in (best.resource, "aircraft"):
        name, share_now = _NAMES[momentary].lower(), active_share[momentary]
        also = f" Most often the longest-running resource is {name} ({share_now:.0%} of the day)."
    return Bottleneck(best.resource, f"{_verb(best.resource)} this set back: {why}; {gain}.{also}")


def _verb(resource: str) -> str:
    name = _NAMES[resource]
    return f"{name} hold" if resource in ("packs", "chargers") else f"{name} holds"


def _gain(change: OneMore, unit: str, per_unit: float) -> str:
    value, low, high = (number / per_unit for number in (change.acres_per_day, change.low, change.high))
    half = 0.5 * (high - low)
    decimals = supported_decimals(half) if half > 0 else 1
    shown = [f"{round(number, decimals):.{max(decimals, 0)}f}" for number in (value, low, high)]
    return f"{shown[0]} {unit} a day (95 % interval {shown[1]} to {shown[2]}, {change.days} days)"


def _without_change(momentary: str, lost: Mapping[str, float], tried: bool) -> str:
    worst = max(lost, key=lambda name: lost[name])
    tail = "no single addition that was tried adds output beyond doubt" if tried else "no additions were tried"
    text = f"{_verb(momentary)} this set back most often; {tail}."
    if lost[worst] >= 0.01:
        text += f" The largest loss is {lost[worst]:.0%} of aircraft time {_LOSS_WORDS[worst]}."
    return text
