"""Merging of scenario tables: named overrides, ``like`` entries, and values given on the command line."""

from __future__ import annotations

import copy
import difflib
import heapq
import tomllib
from collections.abc import Mapping
from typing import Any

from simulator.errors import InputError, Problem

MOST_LIKES = 20
"""Entries that may be chained by ``like``."""
MOST_KEY_PARTS = 20
LONGEST_SETTING = 20_000
"""Characters of one ``KEY=VALUE``: the TOML reader takes the square of the length for some texts."""
_MOST_SHOWN = 20
_MOST_COMPARED = 500
LIKE_TABLES = ("aircraft", "pack", "charger", "generator", "rig")
"""Tables whose entries may start from another entry by ``like``; so may the power points of a rig."""
_NAMES_OF = {"pack": ("fits", "aircraft"), "charger": ("serves", "pack")}
"""Tables whose classes list names, under a key, of another table's entries."""


def deep_merge(base: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """Return ``base`` with ``change`` laid over it, neither altered.

    Tables merge key by key; anything else, and a table that declares a distribution, replaces what stood there.
    """
    merged = dict(base)
    for key, value in change.items():
        old = merged.get(key)
        whole = isinstance(value, Mapping) and "dist" in value
        if isinstance(value, Mapping) and isinstance(old, Mapping) and not whole and "dist" not in old:
            merged[key] = deep_merge(old, value)
        else:
            merged[key] = copy.deepcopy(value)
    return merged


def nearest(name: str, known: list[str] | tuple[str, ...]) -> str:
    """Return ``; nearest known is 'x'`` or, when nothing is near, the list of known names."""
    # nobody is helped by a search among thousands, and a hostile file could make it last for hours
    few = len(name) <= 100 and len(known) <= _MOST_COMPARED
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.5) if few else []
    if close:
        return f"; nearest known is {close[0]!r}"
    if not known:
        return "; none is declared"
    names = [entry[:80] for entry in heapq.nsmallest(_MOST_SHOWN, known)]
    rest = f" and {len(known) - _MOST_SHOWN} more" if len(known) > _MOST_SHOWN else ""
    return f"; known: {', '.join(names)}{rest}"


def resolve_likes(
    raw: dict[str, Any], catalogue: Mapping[str, Mapping[str, Any]], problems: list[Problem]
) -> dict[str, Any]:
    """Replace every ``like`` by the entry that it names; the entry's own keys win.

    Parameters
    ----------
    raw : dict
        Scenario as read.
    catalogue : mapping
        Table name to entries; power points are under ``power``.
    problems : list of Problem
        Receives unknown names and circles.
    """
    resolved = dict(raw)
    for table in LIKE_TABLES:
        known = _declared_names(table, catalogue.get(table, {}), raw)
        if table in raw:
            resolved[table] = _followed(table, raw[table], known, problems)
    rigs = resolved.get("rig")
    for name, rig in rigs.items() if isinstance(rigs, dict) else ():
        if isinstance(rig, dict) and "power" in rig:
            rig["power"] = _followed(f"rig.{name}.power", rig["power"], catalogue.get("power", {}), problems)
    return resolved


def _declared_names(table: str, known: Mapping[str, Any], raw: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return classes whose lists of names hold those alone that the scenario declares, where it declares any."""
    key, other = _NAMES_OF.get(table, ("", ""))
    declared = raw.get(other)
    if not isinstance(declared, dict):
        return known
    return {
        name: {**entry, key: [one for one in entry[key] if str(one) in declared] or entry[key]}
        for name, entry in known.items()
    }


def _followed(place: str, entries: Any, known: Mapping[str, Any], problems: list[Problem]) -> Any:
    """Return a table with the ``like`` of each entry replaced by what it names, there or in the catalogue."""
    if not isinstance(entries, dict):
        return entries
    sources = {**known, **{name: entry for name, entry in entries.items() if isinstance(entry, dict)}}
    return {
        name: _follow(f"{place}.{name}.like", name, entry, sources, known, problems)
        if isinstance(entry, dict)
        else entry
        for name, entry in entries.items()
    }


def _follow(
    where: str,
    name: str,
    entry: dict[str, Any],
    sources: Mapping[str, Any],
    catalogue: Mapping[str, Any],
    problems: list[Problem],
) -> dict[str, Any]:
    chain, seen, current = [entry], {name}, entry
    while isinstance(current.get("like"), str):
        like = current["like"]
        in_catalogue = like in seen and like in catalogue and current is not catalogue[like]
        if like in seen and not in_catalogue:
            problems.append(Problem(where, f"got {like!r}, which leads back to itself"))
            break
        if len(chain) > MOST_LIKES:
            problems.append(Problem(where, f"leads over more than {MOST_LIKES} other entries"))
            break
        source = catalogue[like] if in_catalogue else sources.get(like)
        if not isinstance(source, dict):
            others = [one for one in sources if one != name or one in catalogue]
            problems.append(Problem(where, f"got {like!r}, which is unknown{nearest(like, others)}"))
            break
        seen.add(like)
        chain.append(source)
        current = source
    merged: dict[str, Any] = {}
    for layer in reversed(chain):
        merged = deep_merge(merged, {key: value for key, value in layer.items() if key != "like"})
    if "like" in entry:
        merged["like"] = entry["like"]
    return merged


def parse_setting(text: str) -> tuple[list[str], Any]:
    """Read ``KEY=VALUE`` of the command line.

    Parameters
    ----------
    text : str
        Dotted key and a TOML value; text that is no TOML value is taken as a string.

    Returns
    -------
    (list of str, object)
        Parts of the key, and the value.

    Raises
    ------
    InputError
        No ``=``, an empty key, or a text too long or too deep to be a setting.
    """
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
    """Return a copy of a scenario with one dotted key set; digits step into lists.

    Raises
    ------
    InputError
        The key runs through something that is neither a table nor a list.
    """
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
