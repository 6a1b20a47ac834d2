"""One equipment set from its layers: the scenario, the set's changes, single values, and what entries are ``like``.

Hover minutes and logged loads keep what they were measured with: it is fixed at the layer that gives them, so that a
pack or a class changed by a later layer changes what follows from physics and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from simulator.errors import Problem
from simulator.scenario.merge import apply_setting, deep_merge, nearest

MOST_LIKES = 20
"""Entries that may be chained by ``like``."""
LIKE_TABLES = ("aircraft", "pack", "charger", "generator", "rig")
"""Tables whose entries may start from another entry by ``like``; so may the power points of a rig."""
_NAMES_OF = {"pack": ("fits", "aircraft"), "charger": ("serves", "pack")}
"""Tables whose classes list names, under a key, of another table's entries."""
_PACK, _CLASS = "pack", "aircraft"
_MEASURED: dict[str, tuple[tuple[str, ...], dict[str, tuple[str, tuple[str, ...]]]]] = {
    "hover": (
        ("empty_time", "full_time"),
        {
            "energy": (_PACK, ("energy",)),
            "pack_mass": (_PACK, ("mass",)),
            "empty_mass": (_CLASS, ("empty_mass",)),
            "full_load": (_CLASS, ("tank", "hopper_mass")),
        },
    ),
    "load_log": (
        ("loads",),
        {
            "energy": (_PACK, ("energy",)),
            "health": (_PACK, ("health",)),
            "pack_mass": (_PACK, ("mass",)),
            "empty_mass": (_CLASS, ("empty_mass",)),
            "speed": (_CLASS, ("spray_speed",)),
        },
    ),
}
"""By calibration table: what was measured, and with what: its key, and where it stands (the first that is given)."""

_Tables = Mapping[str, Any]


def merge_set(
    base: _Tables,
    override: _Tables,
    changes: Iterable[tuple[list[str], Any]],
    known: Mapping[str, Mapping[str, Any]],
    problems: list[Problem],
) -> dict[str, Any]:
    """Return a scenario with an equipment set and then single values laid over it, and every ``like`` followed."""
    base = with_calibrations(base, _measured_in(base), known)
    merged = deep_merge(base, override)
    measured = _measured_in(override)
    for name in measured & set(_entries(base, _CLASS)):
        merged[_CLASS][name] = lay_over(base[_CLASS][name], override[_CLASS][name])
    merged = with_calibrations(merged, measured, known)
    for parts, value in changes:
        merged = apply_setting(merged, parts, value)
    merged = resolve_likes(merged, known, problems)
    return with_calibrations(merged, set(_entries(merged, _CLASS)), known, problems)


def lay_over(base: _Tables, change: _Tables) -> dict[str, Any]:
    """Return an aircraft entry with another laid over it; what is measured anew drops what the old came with."""
    for table, (measured, fixed) in _MEASURED.items():
        old, new = base.get(table), change.get(table)
        if isinstance(old, Mapping) and isinstance(new, Mapping) and any(key in new for key in measured):
            base = {**base, table: {key: value for key, value in old.items() if key not in fixed}}
    return deep_merge(base, change)


def with_calibrations(
    raw: _Tables, names: set[str], known: Mapping[str, Mapping[str, Any]], problems: list[Problem] | None = None
) -> dict[str, Any]:
    """Return a scenario in which some aircraft classes say what their calibration was measured with."""
    if not names:
        return dict(raw)
    tables = {table: raw.get(table) for table in (_CLASS, _PACK)}
    whole = resolve_likes(tables, known, [])
    packs = {**known.get(_PACK, {}), **_entries(whole, _PACK)}
    entries = dict(raw[_CLASS])
    for name in sorted(names):
        for table, (_, fixed) in _MEASURED.items():
            calibration = whole[_CLASS][name].get(table)
            if not isinstance(calibration, Mapping) or not isinstance(entries[name].get(table), Mapping):
                continue
            pack = calibration.get("pack")
            # a value that carries a mark of its origin holds its text within
            pack = getattr(pack, "value", pack)
            if problems is not None and isinstance(pack, str) and pack not in packs:
                message = f"got {pack!r}, which is no declared pack type{nearest(pack, list(packs))}"
                problems.append(Problem(f"{_CLASS}.{name}.{table}.pack", message))
            sources = {_PACK: packs.get(pack, {}) if isinstance(pack, str) else {}, _CLASS: whole[_CLASS][name]}
            # a pack that says nothing of its health was a new one
            found = {"health": "100 %"} if "health" in fixed else {}
            found |= {
                key: next(sources[source][place] for place in places if place in sources[source])
                for key, (source, places) in fixed.items()
                if any(place in sources[source] for place in places)
            }
            entries[name] = {**entries[name], table: {**found, **entries[name][table]}}
    return {**raw, _CLASS: entries}


def _entries(raw: _Tables, table: str) -> dict[str, Any]:
    entries = raw.get(table)
    named = entries.items() if isinstance(entries, Mapping) else ()
    return {name: one for name, one in named if isinstance(one, Mapping)}


def _measured_in(raw: _Tables) -> set[str]:
    """Return the aircraft entries that give hover minutes or logged loads themselves."""
    return {
        name
        for name, entry in _entries(raw, _CLASS).items()
        for table, (measured, _) in _MEASURED.items()
        if isinstance(entry.get(table), Mapping) and any(key in entry[table] for key in measured)
    }


def resolve_likes(
    raw: dict[str, Any], catalogue: Mapping[str, Mapping[str, Any]], problems: list[Problem]
) -> dict[str, Any]:
    """Replace every ``like`` by the entry that it names; the entry's own keys win."""
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
    if table not in _NAMES_OF:
        return known
    key, other = _NAMES_OF[table]
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
        merged = lay_over(merged, {key: value for key, value in layer.items() if key != "like"})
    if "like" in entry:
        merged["like"] = entry["like"]
    return merged
