"""The inputs behind a result: every value, what it means and where it came from, and what differs between results."""

from __future__ import annotations

import re
import types
import typing
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from simulator.scenario.catalogue import catalogue
from simulator.scenario.schema import Scenario
from simulator.scenario.types import bare_type

_SOURCE = re.compile(r"^(.*?)[;.,:]\s*\(?((?:source|assumption)s?\b.*)$", re.IGNORECASE | re.DOTALL)
_LEFT_OUT = ("name", "title", "notes", "equipment_set", "like")


@dataclass(frozen=True)
class Input:
    """One value of a scenario."""

    key: str
    value: str
    meaning: str
    origin: str


def inputs_of(resolved: Mapping[str, Any]) -> list[Input]:
    """Return every value of a resolved scenario, in the schema's order."""
    return list(_walk(resolved, Scenario, {}, ""))


def _walk(
    table: Mapping[str, Any],
    model: type[BaseModel],
    defaults: Mapping[str, Any],
    where: str,
    like: str = "",
    class_values: Mapping[str, Any] = types.MappingProxyType({}),
) -> Iterator[Input]:
    if isinstance(table.get("like"), str):
        like = table["like"]
        class_values = catalogue().get(where.split(".")[-3:][0], {}).get(like, {})
    fields = model.model_fields
    for name, value in table.items():
        if name in _LEFT_OUT and (not where or name == "like"):
            continue
        key = f"{where}{name}"
        info = fields.get(name)
        if info is None:
            yield Input(key, value_text(value), "", "scenario")
            continue
        default = defaults.get(name, info.default)
        inner = bare_type(info.annotation)[0]
        if isinstance(value, Mapping) and isinstance(inner, type) and issubclass(inner, BaseModel):
            known = class_values.get(name, {})
            yield from _walk(value, inner, default if isinstance(default, Mapping) else {}, f"{key}.", like, known)
            continue
        element = bare_type(typing.get_args(inner)[-1])[0] if typing.get_args(inner) else None
        if isinstance(element, type) and issubclass(element, BaseModel):
            items = (
                value.items() if isinstance(value, Mapping) else enumerate(value, 1) if isinstance(value, list) else ()
            )
            found = False
            for place, item in items:
                if isinstance(item, Mapping):
                    found = True
                    yield from _walk(item, element, {}, f"{key}.{place}.")
            if found:
                continue
        meaning, source = split_source(info.description or "")
        known = class_values.get(name)
        # of a class's names a scenario keeps those that it declares
        kept = isinstance(value, list) and isinstance(known, list) and all(one in known for one in value)
        if name in class_values and (kept or known == value):
            origin = f"catalogue class {like} (invented)"
        elif name not in ("field",) and value == default:
            origin = f"default: {source or 'assumption'}"
        else:
            origin = "scenario"
        yield Input(key, value_text(value), meaning, origin)


def split_source(description: str) -> tuple[str, str]:
    """Split a key's description into what it means and its source ("assumption" where there is none)."""
    found = _SOURCE.match(description)
    if found is None:
        return description, ""
    return found.group(1).strip() + ".", found.group(2).strip().rstrip(".)")


def value_text(value: Any) -> str:
    """Return a scenario value as text: a distribution on one line, lists with commas."""
    if isinstance(value, Mapping):
        if "dist" in value:
            rest = ", ".join(f"{key} {value_text(item)}" for key, item in value.items() if key != "dist")
            return f"{value['dist']}: {rest}" if rest else str(value["dist"])
        return ", ".join(f"{key} {value_text(item)}" for key, item in value.items()) or "none"
    if isinstance(value, list | tuple):
        return ", ".join(value_text(item) for item in value) or "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def differing(columns: Mapping[str, Mapping[str, Any]]) -> list[tuple[str, list[str]]]:
    """Return the keys whose values are not the same in every column, with a value a column ("–" where it is absent)."""
    flat = [{entry.key: entry.value for entry in inputs_of(table)} for table in columns.values()]
    keys = list(dict.fromkeys(key for entries in flat for key in entries))
    rows = [(key, [entries.get(key, "–") for entries in flat]) for key in keys]
    return [(key, values) for key, values in rows if len(set(values)) > 1 and key != "label"]


GROUP_WORDS = {
    "day": "The day", "weather": "Air and weather", "product": "Product", "field": "Fields",
    "field_file": "Fields from a file", "yard": "Yard", "route": "Driving", "flying": "Rules of flying",
    "aircraft": "Aircraft", "pack": "Packs", "charger": "Chargers", "generator": "Generators", "rig": "Rigs and crew",
}  # fmt: skip


def group_words(key: str) -> str:
    """Return the heading that a dotted key belongs under."""
    return GROUP_WORDS.get(key.split(".", 1)[0], "The run") if "." in key else "The run"
