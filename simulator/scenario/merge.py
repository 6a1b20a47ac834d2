"""Merging of scenario tables, and values given on the command line."""

from __future__ import annotations

import copy
import difflib
import heapq
import tomllib
from collections.abc import Collection, Mapping
from typing import Any

from simulator.errors import InputError

MOST_KEY_PARTS = 20
LONGEST_SETTING = 20_000
"""Characters of one ``KEY=VALUE``: the TOML reader takes the square of the length for some texts."""
_MOST_SHOWN = 20
_MOST_COMPARED = 500


def deep_merge(base: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """Return ``base`` with ``change`` laid over it key by key, neither altered; a distribution is replaced whole."""
    merged = dict(base)
    for key, value in change.items():
        old = merged.get(key)
        whole = isinstance(value, Mapping) and "dist" in value
        if isinstance(value, Mapping) and isinstance(old, Mapping) and not whole and "dist" not in old:
            merged[key] = deep_merge(old, value)
        else:
            merged[key] = copy.deepcopy(value)
    return merged


def near(name: str, known: Collection[str]) -> str:
    """Return ``; nearest known is 'x'`` in any case of letters; empty when nothing is near."""
    # nobody is helped by a search among thousands, and a hostile file could make it last for hours
    if len(name) > 100 or len(known) > _MOST_COMPARED:
        return ""
    lower = {one.lower(): one for one in reversed(list(known)) if one}
    close = difflib.get_close_matches(name.lower(), lower, n=1, cutoff=0.5)
    return f"; nearest known is {lower[close[0]]!r}" if close else ""


def nearest(name: str, known: Collection[str]) -> str:
    """Return the nearest known name as :func:`near` does or, when nothing is near, the list of known names."""
    if not known:
        return "; none is declared"
    rest = f" and {len(known) - _MOST_SHOWN} more" if len(known) > _MOST_SHOWN else ""
    listed = ", ".join(entry[:80] for entry in heapq.nsmallest(_MOST_SHOWN, known))
    return near(name, known) or f"; known: {listed}{rest}"


def parse_setting(text: str) -> tuple[list[str], Any]:
    """Read ``KEY=VALUE`` of the command line."""
    key, equals, value_text = text.partition("=")
    parts = [part.strip() for part in key.split(".")]
    if len(text) > LONGEST_SETTING or len(parts) > MOST_KEY_PARTS:
        message = (
            f"is longer than {LONGEST_SETTING} characters or {MOST_KEY_PARTS} parts; put it into the scenario file"
        )
        raise InputError.single(f"{text[:60]!r}... {message}", "--set")
    if not equals or not all(parts):
        raise InputError.single(f"got {text[:200]!r}; allowed is KEY=VALUE, such as rig.main.packs.big=4", "--set")
    try:
        value = tomllib.loads(f"value = {value_text.strip()}")["value"]
    except (ValueError, RecursionError):
        # broken TOML is a ValueError, and so is a number of thousands of digits
        value = value_text.strip()
    return parts, value


def apply_setting(raw: dict[str, Any], parts: list[str], value: Any) -> dict[str, Any]:
    """Return a copy of a scenario with one dotted key set; digits step into lists."""
    result = copy.deepcopy(raw)
    place: Any = result
    for depth, part in enumerate(parts):
        last = depth == len(parts) - 1
        where = "--set " + ".".join(parts)
        if isinstance(place, list):
            # ASCII digits only: others look like a number but are none to int()
            if not (part.isascii() and part.isdigit() and len(part) < 10 and int(part) < len(place)):
                raise InputError.single(f"{part!r} is not a place in a list of {len(place)}", where)
            index: Any = int(part)
        elif isinstance(place, dict):
            index = part
            if not last and not isinstance(place.get(part), dict | list):
                place[part] = {}
        else:
            raise InputError.single(f"{'.'.join(parts[:depth])} is a value, not a table", where)
        if last:
            place[index] = value
        else:
            place = place[index]
    return result
