"""Writing TOML: a scenario table, or a part of one, as text that loads again."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import Any

from simulator.scenario.distributions import KINDS, WITHOUT_UNIT, Distribution

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def quantity_text(value: float, unit: str, digits: int = 6) -> str:
    """Return a number with its unit, as a scenario writes it."""
    return f"{value:.{digits}g} {unit}".strip()


def distribution_table(distribution: Distribution, unit: str, digits: int = 6) -> dict[str, Any]:
    """Return the scenario table of a distribution."""
    table: dict[str, Any] = {"dist": next(name for name, kind in KINDS.items() if type(distribution) is kind)}
    for name, value in distribution.parameters().items():
        if isinstance(value, tuple):
            table[name] = [quantity_text(one, unit, digits) for one in value]
        elif name in WITHOUT_UNIT:
            table[name] = float(f"{value:.{digits}g}")
        elif math.isfinite(value):
            table[name] = quantity_text(value, unit, digits)
    return table


def toml_key(key: str) -> str:
    """Return a key bare where TOML allows it, else in quotes."""
    return key if _BARE.fullmatch(key) else toml_value(key)


def toml_value(value: Any) -> str:
    """Return a value as TOML; tables become inline tables."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for DEL, which TOML wants escaped
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, int | float):
        if isinstance(value, float) and not math.isfinite(value):
            return {math.inf: "inf", -math.inf: "-inf"}.get(value, "nan")
        return repr(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(item) for item in value) + "]"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{toml_key(str(key))} = {toml_value(item)}" for key, item in value.items()) + " }"
    raise ValueError(f"got {type(value).__name__}; allowed is text, number, truth value, list or table")


def toml_document(table: Mapping[str, Any], notes: Mapping[str, str] | None = None) -> str:
    """Return a whole TOML document."""
    lines: list[str] = []
    _write(table, (), notes or {}, lines)
    return "\n".join(lines).strip("\n") + "\n"


def _inline(value: Any) -> bool:
    return not isinstance(value, Mapping) or "dist" in value


def _is_list_of_tables(value: Any) -> bool:
    return isinstance(value, list) and len(value) > 0 and all(isinstance(item, Mapping) for item in value)


def _write(table: Mapping[str, Any], place: tuple[str, ...], notes: Mapping[str, str], lines: list[str]) -> None:
    lists = {key: value for key, value in table.items() if not place and _is_list_of_tables(value)}
    own = {key: value for key, value in table.items() if _inline(value) and key not in lists}
    if place and (own or not table):
        lines.append("")
        lines += [f"# {line}" for line in notes.get(".".join(place), "").splitlines()]
        lines.append(f"[{'.'.join(toml_key(part) for part in place)}]")
    for key, value in own.items():
        note = notes.get(".".join((*place, key)), "")
        lines += [f"# {line}" for line in note.splitlines()]
        lines.append(f"{toml_key(key)} = {toml_value(value)}")
    for key, items in lists.items():
        for number, item in enumerate(items):
            lines.append("")
            lines += [f"# {line}" for line in notes.get(key, "").splitlines() if number == 0]
            lines.append(f"[[{toml_key(key)}]]")
            lines += [f"{toml_key(name)} = {toml_value(value)}" for name, value in item.items()]
    for key, value in table.items():
        if not _inline(value):
            _write(value, (*place, key), notes, lines)
