"""Choices to size over: ``KEY=2..5`` and ``KEY=a,b``, and all their combinations."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from simulator.errors import InputError, Problem

MOST_SETS = 1000
"""Combinations that a sizing may have."""


@dataclass(frozen=True)
class Choice:
    """One key and the values it may take, as written."""

    key: str
    values: tuple[str, ...]


def parse_choice(text: str, option: str = "choose") -> Choice:
    """Read ``KEY=LOW..HIGH`` (whole numbers) or ``KEY=value,value``; a value with a comma stands in quotes."""
    key, equals, rest = text.partition("=")
    key, rest = key.strip(), rest.strip()
    if not equals or not key or not rest or not all(part.strip() for part in key.split(".")):
        raise InputError.single(
            f"got {text!r}; allowed is KEY=LOW..HIGH or KEY=value,value, such as rig.main.packs.big=2..5", option
        )
    low, dots, high = rest.partition("..")
    if dots:
        if not (low.strip().isdecimal() and high.strip().isdecimal() and len(low) < 7 and len(high) < 7):
            raise InputError.single(f"got {rest!r} for {key}; allowed is two whole numbers such as 2..5", option)
        first, last = int(low), int(high)
        if not 0 <= last - first < MOST_SETS:
            raise InputError.single(
                f"got {rest!r} for {key}; allowed is a low number, then a high one, at most {MOST_SETS} apart", option
            )
        return Choice(key, tuple(str(number) for number in range(first, last + 1)))
    values = tuple(dict.fromkeys(part.strip() for part in _split(rest)))
    if not all(values):
        raise InputError.single(f"got an empty value in {text!r}; allowed is KEY=value,value", option)
    return Choice(key, values)


def _split(text: str) -> list[str]:
    parts, quote, current = [], "", ""
    for letter in text:
        if letter == "," and not quote:
            parts.append(current)
            current = ""
            continue
        if letter in "\"'":
            quote = "" if quote == letter else (quote or letter)
        current += letter
    return [*parts, current]


def combinations(choices: Sequence[Choice]) -> list[tuple[str, ...]]:
    """Return the settings of every combination, the last choice changing quickest."""
    if not choices:
        raise InputError.single("missing; allowed is at least one choice such as rig.main.packs.big=2..5", "choose")
    keys = [choice.key for choice in choices]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise InputError([Problem("choose", f"got {key} more than once; allowed is one choice a key") for key in twice])
    total = math.prod(len(choice.values) for choice in choices)
    if total > MOST_SETS:
        raise InputError.single(
            f"got {total} combinations; allowed is {MOST_SETS} at most: narrow the choices", "choose"
        )
    written = [[f"{choice.key}={value}" for value in choice.values] for choice in choices]
    return [tuple(entry) for entry in itertools.product(*written)]
