"""Where every value of an equipment set comes from: the scenario, a catalogue entry, the command line or a default.

The merge that loads a scenario is run once more over tables whose values carry a mark of their origin, so the answer
cannot drift from what loading does, and a key that is new in the schema appears here without a line of code.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from simulator.scenario.catalogue import catalogue
from simulator.scenario.distributions import Distribution
from simulator.scenario.field_list import fields_given
from simulator.scenario.layers import LIKE_TABLES, merge_set
from simulator.scenario.loading import EquipmentSet
from simulator.scenario.merge import apply_setting, parse_setting
from simulator.scenario.schema import Scenario
from simulator.scenario.types import Drawn, Quantity, bare_type, item_of, table_of
from simulator.scenario.validate import fill_defaults

DEFAULT = "default"
SCENARIO = "scenario"
NOT_GIVEN = "none"

_ASSUMED = re.compile(r"[;,.]?\s*\b(?:an )?assumptions?\b(?:\s*\([^)]*\))?[^.]*?(?:\.(?!\d)|$)", re.IGNORECASE)
_SAYS_SOURCE = re.compile(r"\b(?:assumptions?|source)\b", re.IGNORECASE)


@dataclass(frozen=True)
class Leaf:
    """One value of a scenario."""

    key: str
    value: str
    """As written, with its unit; ``"none"`` when it is not given and has no default."""
    inner: str
    """In the unit that the model computes with; of a drawn quantity the mean; empty with nothing to convert."""
    origin: str
    """``"scenario"``, ``"scenario: equipment_set.NAME"``, ``"scenario: KEY"`` (by ``like``), ``"catalogue: ENTRY"``,
    ``"command line (--set)"``, ``"command line (--fields)"`` or ``"default"``; several are joined by ``" + "``."""
    note: str


@dataclass(frozen=True)
class _Marked:
    """A value and where it was written."""

    value: Any
    origin: str
    place: str

    def __str__(self) -> str:
        """Return the value: the merge tells names by their text."""
        return str(self.value)


def provenance(
    equipment: EquipmentSet, raw: Mapping[str, Any], settings: Iterable[str] = (), fields: str | Path | None = None
) -> tuple[Leaf, ...]:
    """Return every value of an equipment set with its origin."""
    tree = fill_defaults(_marked_merge(equipment.name, raw, settings, fields))
    return tuple(_leaves(tree, Scenario, (), equipment.scenario, "", "", ""))


def _marked_merge(
    name: str, raw: Mapping[str, Any], settings: Iterable[str], fields: str | Path | None
) -> dict[str, Any]:
    """Repeat the merge of loading over marked values; see ``simulator.scenario.loading``."""
    changes = [(*parse_setting(text), "command line (--set)") for text in settings]
    if fields is not None:
        changes += [(*change, "command line (--fields)") for change in fields_given(fields)]
    marked = [(parts, _mark(value, origin, ".".join(parts))) for parts, value, origin in changes]
    base = _mark({key: value for key, value in raw.items() if key != "equipment_set"}, SCENARIO)
    overrides = _mark({"equipment_set": raw.get("equipment_set") or {}}, f"scenario: equipment_set.{name}")
    for parts, value in marked:
        if parts[0] == "equipment_set":
            overrides = apply_setting(overrides, parts, value)
    entries = {
        table: {entry: _mark(content, f"catalogue: {entry}", f"{table}.{entry}") for entry, content in known.items()}
        for table, known in catalogue().items()
    }
    single = [change for change in marked if change[0][0] != "equipment_set"]
    return merge_set(base, overrides["equipment_set"].get(name, {}), single, entries, [])


def _mark(value: Any, origin: str, place: str = "") -> Any:
    if isinstance(value, Mapping):
        return {
            # the merge reads ``like`` itself, so it stays bare
            key: item
            if key == "like" and isinstance(item, str)
            else _mark(item, origin, f"{place}.{key}" if place else key)
            for key, item in value.items()
        }
    if isinstance(value, list) and value:
        return [_mark(item, origin, f"{place}.{index}") for index, item in enumerate(value)]
    return None if value is None else _Marked(value, origin, place)


def _leaves(
    node: Any, annotation: Any, metadata: tuple[Any, ...], instance: Any, key: str, note: str, table: str
) -> Iterator[Leaf]:
    metadata = (*metadata, *bare_type(annotation)[1])
    model = table_of(annotation)
    if isinstance(node, Mapping) and model is not None:
        yield from _table(node, model, instance, key, note or table)
    elif (isinstance(node, Mapping) and node and "dist" not in node) or (
        isinstance(node, list) and any(isinstance(child, Mapping) for child in node)
    ):
        item = item_of(annotation)
        for name, child in node.items() if isinstance(node, Mapping) else enumerate(node):
            yield from _leaves(child, item, metadata, _step(instance, name), f"{key}.{name}", note, table)
    else:
        origin = _origin(node, key)
        text = _sourced(note, table) if origin == DEFAULT else _meaning(note)
        yield Leaf(key, _value_text(_plain(node)), _inner_text(instance, metadata), origin, text)


def _table(node: Mapping[str, Any], model: type[BaseModel], instance: Any, key: str, about: str) -> Iterator[Leaf]:
    for name, field in model.model_fields.items():
        if name == "equipment_set" and not key:
            continue
        place = f"{key}.{name}" if key else name
        note = field.description or ""
        if name not in node:
            yield Leaf(place, NOT_GIVEN, "", DEFAULT, _sourced(note, about))
        else:
            yield from _leaves(
                node[name], field.annotation, tuple(field.metadata), _step(instance, name), place, note, about
            )


def _step(instance: Any, name: str | int) -> Any:
    """Return a part of the validated scenario; None where the schema keeps it in another shape."""
    if isinstance(instance, BaseModel):
        return getattr(instance, str(name), None)
    if isinstance(instance, Mapping):
        return instance.get(name)
    if isinstance(instance, list | tuple) and isinstance(name, int) and name < len(instance):
        return instance[name]
    return None


def _origin(node: Any, key: str) -> str:
    if key.rpartition(".")[2] == "like" and key.split(".")[0] in LIKE_TABLES and isinstance(node, str):
        return SCENARIO
    origins = list(dict.fromkeys(_origin_of(mark, key) for mark in _marks(node)))
    return " + ".join(origins) if origins else DEFAULT


def _origin_of(mark: Any, key: str) -> str:
    if not isinstance(mark, _Marked):
        return DEFAULT
    if mark.origin != SCENARIO or mark.place == key or mark.place.startswith(f"{key}."):
        return mark.origin
    # reached by ``like``: name the entry that holds it
    return f"{SCENARIO}: {'.'.join(mark.place.split('.')[:2])}"


def _marks(node: Any) -> Iterator[Any]:
    if isinstance(node, Mapping | list):
        for item in node.values() if isinstance(node, Mapping) else node:
            yield from _marks(item)
    elif node is not None:
        yield node


def _plain(node: Any) -> Any:
    """Take the marks off."""
    if isinstance(node, Mapping):
        return {key: _plain(item) for key, item in node.items()}
    if isinstance(node, list):
        return [_plain(item) for item in node]
    return node.value if isinstance(node, _Marked) else node


def _value_text(value: Any) -> str:
    if value is None or value in ({}, [], ""):
        return NOT_GIVEN
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        parts = ", ".join(f"{name} {_value_text(item)}" for name, item in value.items() if name != "dist")
        return f"{value.get('dist', 'table')}: {parts}"
    if isinstance(value, list):
        shown = [_value_text(item) for item in value]
        return ", ".join(shown) if len(shown) <= 12 else f"{', '.join(shown[:12])} and {len(shown) - 12} more"
    return str(value)


def _inner_text(instance: Any, metadata: tuple[Any, ...]) -> str:
    dimension = next((mark.dimension for mark in metadata if isinstance(mark, Quantity | Drawn)), None)
    if dimension is None:
        return ""
    if isinstance(instance, Distribution):
        prefix, value = "" if instance.is_constant else "mean ", instance.mean()
    elif isinstance(instance, int | float) and not isinstance(instance, bool):
        prefix, value = "", float(instance)
    else:
        return ""
    return f"{prefix}{value:.6g} {dimension.symbol}".strip()


def _sourced(note: str, table: str) -> str:
    """Return what a default is and where it comes from: what its key leaves unsaid stands with its table."""
    return note if not table or _SAYS_SOURCE.search(note) else f"{note} {table}".strip()


def _meaning(note: str) -> str:
    """Return what a key means, without the word that only its default is an assumption."""
    return _ASSUMED.sub("", note).strip()
