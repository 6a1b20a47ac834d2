"""Colours and hatches of every state and resource, the same in all figures, for colour-blind readers and for print.

The colours are our own choice: green for flying, blue for the ground crew's work, warm and hatched for waiting, grey
for the road, breaks and idleness. Distances are checked as simulated for red-green blindness (Machado, Oliveira &
Fernandes 2009, *A physiologically-based model for simulation of color vision deficiency*).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from zlib import crc32

from simulator.analysis.day_rows import added_kinds

INK = "#22282b"
PAPER = "#ffffff"
QUIET = "#4b5459"
MARK = "#b8401c"
"""Diamonds of means; losses."""
GAIN = "#12503f"
"""Gains, and the first of several sets."""
_SERIES = ((GAIN, "o", "-"), (MARK, "s", "--"), ("#3b56a5", "^", "-."), ("#ee9a2e", "D", ":"),
           ("#9c79b8", "v", "-"), ("#6b3a14", "P", "--"))  # fmt: skip


def series(place: int) -> dict[str, Any]:
    """Return how matplotlib draws one of several sets: told apart by colour, mark and line."""
    return dict(zip(("color", "marker", "linestyle"), _SERIES[place % len(_SERIES)], strict=True))


@dataclass(frozen=True)
class Look:
    """How a group of states is drawn."""

    label: str
    colour: str
    hatch: str = ""


AIRCRAFT_LOOKS: dict[str, Look] = {
    "spraying": Look("spraying", "#12503f"),
    "turning": Look("turning", "#46a58e"),
    "ferry": Look("ferry", "#8fcfc0"),
    "take-off and landing": Look("take-off and landing", "#dcefb4"),
    "service": Look("swap, fill, launch check", "#3b56a5"),
    "wait packs": Look("waiting: too few packs", "#b8401c", "////"),
    "wait chargers": Look("waiting: chargers busy", "#ee9a2e", "\\\\\\\\"),
    "wait generator": Look("waiting: power supply too small", "#f7dc6f", "xxx"),
    "wait crew": Look("waiting: crew or pilot busy", "#a988c4", "..."),
    "wait mix": Look("waiting: mix or pump", "#6b3a14", "|||"),
    "wait other": Look("waiting: other", "#dcc19c", "---"),
    "repair": Look("repair", "#c02f6b", "+++"),
    "moving": Look("moving", "#5f6672"),
    "pause": Look("breaks and weather", "#a9b4c6"),
    "done": Look("finished for the day", "#f4f4f6"),
}
"""Groups of aircraft states in the order of the day's worth: stacked bars and legends keep it."""

PACK_LOOKS: dict[str, Look] = {
    "flown": Look("pack in an aircraft", "#12503f"),
    "cool": Look("pack cooling", "#8fcfc0"),
    "queue": Look("pack waiting for a charger", "#ee9a2e", "\\\\\\\\"),
    "plug": Look("pack waiting to be plugged in", "#a988c4", "..."),
    "charge": Look("charging", "#3b56a5"),
    "limited": Look("charging, held back by the supply", "#f7dc6f", "xxx"),
    "stopped": Look("charger stopped", "#5f6672"),
    "ready": Look("pack ready", "#dde3ea"),
}
"""Groups of pack and charger states."""

WORK_LOOKS: dict[str, Look] = {
    "service": AIRCRAFT_LOOKS["service"],
    "supply": Look("mixing, refuelling, fetching", "#8a6236"),
    "moving": AIRCRAFT_LOOKS["moving"],
    "pause": AIRCRAFT_LOOKS["pause"],
    "power": Look("power drawn", "#3b56a5"),
}
"""Groups of crew tasks, rig moves and the power supply."""

RESOURCE_LOOKS: dict[str, Look] = {
    "aircraft": Look("aircraft", "#12503f"),
    "packs": Look("packs", "#b8401c", "////"),
    "chargers": Look("chargers", "#ee9a2e", "\\\\\\\\"),
    "generator": Look("power supply", "#f7dc6f", "xxx"),
    "crew": Look("crew", "#a988c4", "..."),
    "mix supply": Look("mix and fill", "#6b3a14", "|||"),
    "moves": Look("moves", "#5f6672"),
}
"""Resources that can hold a set back, coloured as the waiting that they cause."""

_FLYING = {
    "take-off": "take-off and landing", "landing": "take-off and landing", "ferry out": "ferry",
    "ferry back": "ferry", "spray": "spraying", "turn": "turning", "swap": "service", "fill": "service",
    "launch check": "service", "repair": "repair", "move": "moving", "done": "done", "break": "pause",
}  # fmt: skip
_WAITS = {
    "too few packs": "wait packs", "chargers busy": "wait chargers", "generator limited": "wait generator",
    "crew busy": "wait crew", "pilot busy": "wait crew", "pump busy": "wait mix", "no mix": "wait mix",
    "moving": "moving", "yard": "moving", "relocate": "moving", "break": "pause", "weather": "pause",
    "breakdown": "repair", "list done": "done", "day end": "done",
}  # fmt: skip
_PACKS = {
    "flown": "flown", "cool": "cool", "queue": "queue", "wait": "plug", "charge": "charge",
    "charge limited": "limited", "stopped": "stopped", "ready": "ready",
}  # fmt: skip
_MOVES = ("yard", "drive", "pack up", "set up", "relocate", "moving")
_SUPPLY = ("mix", "refuel", "restart", "restock")


SPARE = (("#7ab0f5", "oo"), ("#14195c", "**"), ("#f0e442", "OO"), ("#6a3fd0", "++"), ("#101417", "//||"))
"""Colours and hatches of what has no look of its own, told apart from all above and from one another."""


def _spare(name: str) -> tuple[str, str]:
    """Return colour and hatch by place among what was added to the model, or by letters when it is not known here."""
    added = [
        part for kind in added_kinds() for part in (kind.name, *(f"{kind.name}: {one}" for one in kind.states[1:]))
    ]
    return SPARE[(added.index(name) if name in added else crc32(name.encode())) % len(SPARE)]


def resource_looks(names: Iterable[str]) -> dict[str, Look]:
    """Return the look of each resource: first those above, in their order, then what was added."""
    wanted = list(names)
    known = {name: look for name, look in RESOURCE_LOOKS.items() if name in wanted}
    return known | {name: Look(name, *_spare(name)) for name in wanted if name not in known}


def aircraft_looks() -> dict[str, Look]:
    """Return the groups of aircraft states, with a group of waiting for each resource that was added."""
    looks: dict[str, Look] = {}
    for group, look in AIRCRAFT_LOOKS.items():
        if group == "wait other":
            for kind in added_kinds():
                if kind.lost:
                    looks[f"wait {kind.name}"] = Look(f"waiting: {kind.name}", *_spare(kind.name))
        looks[group] = look
    return looks


def time_use_group(label: str) -> str:
    """Return the group of a row of ``time_use.csv`` (``"wait: crew busy"``); unknown ones count as other waiting."""
    for kind in added_kinds():
        if label in kind.lost:
            return f"wait {kind.name}"
    state, _, reason = label.partition(": ")
    return (_WAITS.get(reason) if state == "wait" else _FLYING.get(state)) or "wait other"


def look_of(kind: str, state: str, reason: str) -> tuple[str, Look] | None:
    """Return the group and look of one interval of a timeline; None when it is not drawn."""
    if kind == "aircraft":
        group = time_use_group(f"{state}: {reason}" if state in ("wait", "move") else state)
        return f"aircraft {group}", aircraft_looks()[group]
    if kind in ("pack", "charger"):
        group = _PACKS.get(state, "")
        return (f"pack {group}", PACK_LOOKS[group]) if group else None
    if kind in ("person", "rig", "supply"):
        if "break" in (state, reason):
            return "aircraft pause", WORK_LOOKS["pause"]
        if reason in _MOVES:
            return "aircraft moving", WORK_LOOKS["moving"]
        return (
            ("work supply", WORK_LOOKS["supply"]) if reason in _SUPPLY else ("aircraft service", WORK_LOOKS["service"])
        )
    if kind in ("power", "weather"):
        return None
    name, first = next(((one.name, one.states[0]) for one in added_kinds() if one.kind == kind), (kind, state))
    group = f"{name}: {state}"
    return group, Look(group, *_spare(name if state == first else group))


def linear(colour: str) -> tuple[float, float, float]:
    """Return the linear red, green and blue, 0 to 1, of ``#rrggbb``."""
    parts = [int(colour[place : place + 2], 16) / 255.0 for place in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return red, green, blue


def luminance(colour: str) -> float:
    """Return relative luminance, 0 to 1, of ``#rrggbb`` (W3C, Web Content Accessibility Guidelines 2.1)."""
    red, green, blue = linear(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    """Return the contrast ratio, 1 to 21, of two colours (W3C, Web Content Accessibility Guidelines 2.1)."""
    high, low = sorted((luminance(first), luminance(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def text_on(colour: str) -> str:
    """Return dark or light, whichever reads better on a colour."""
    return INK if contrast(INK, colour) >= contrast(PAPER, colour) else PAPER
