"""Designed experiments: ranges of inputs, full grids and Latin hypercubes over them."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel

from simulator.errors import InputError, Problem
from simulator.scenario import units
from simulator.scenario.distributions import Distribution
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.toml_text import distribution_table, toml_value
from simulator.scenario.types import Drawn, Quantity
from simulator.scenario.units import Dimension, UnitError

FloatArray = NDArray[np.float64]
_BOUND = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")


@dataclass(frozen=True)
class InputRange:
    """What an input may be: any value between two bounds, each as likely."""

    key: str
    low: float
    high: float
    unit: str
    whole: bool = False

    def value(self, share: float) -> float:
        """Return the value at a share (0 to 1) of the range; whole numbers get equal parts of it."""
        if self.whole:
            return min(self.high, self.low + math.floor(share * (self.high - self.low + 1.0)))
        return self.low + share * (self.high - self.low)

    def text(self, share: float) -> str:
        """Return the value at a share of the range as a scenario writes it, without quotes."""
        value = self.value(share)
        return f"{value:.0f}" if self.whole else f"{value:.10g} {self.unit}".strip()

    @property
    def width(self) -> float:
        """Width of the range, in its unit."""
        return self.high - self.low


def make_range(key: str, low: object, high: object, where: str) -> InputRange:
    """Return a range from its two bounds; a bound without a unit takes the other's."""
    example = 'allowed is two bounds such as "40 s" and "90 s", or 2 and 4'
    found = []
    for bound in (low, high):
        match = None if isinstance(bound, bool) else _BOUND.match(str(bound))
        if match is None or not math.isfinite(float(match.group(1))):
            raise InputError.single(f"got {bound!r}; {example}", where)
        found.append((float(match.group(1)), match.group(2), match.group(1)))
    (first, first_unit, first_text), (last, last_unit, last_text) = found
    if first_unit and last_unit and first_unit != last_unit:
        message = f"got the units {first_unit!r} and {last_unit!r}; allowed is the same for both bounds"
        raise InputError.single(message, where)
    if not first < last:
        raise InputError.single(f"got {low!r} to {high!r}; allowed is a low bound below the high one", where)
    unit = first_unit or last_unit
    whole = not unit and first_text.lstrip("+-").isdigit() and last_text.lstrip("+-").isdigit()
    return InputRange(key, first, last, unit, whole)


def read_range(text: str, where: str = "--range") -> InputRange:
    """Read ``KEY=LOW..HIGH``, such as ``rig.main.crew.tasks.swap.time=40..90 s``."""
    key, equals, bounds = text.partition("=")
    low, dots, high = bounds.partition("..")
    if not (equals and dots and key.strip()):
        message = f"got {text!r}; allowed is KEY=LOW..HIGH, such as rig.main.crew.tasks.swap.time=40..90 s"
        raise InputError.single(message, where)
    return make_range(key.strip(), low.strip(), high.strip(), f"{where} {key.strip()}")


SPREAD_LEVELS = 5
"""Levels that a range ``LOW..HIGH`` stands for."""


def read_levels(text: str, where: str) -> list[str]:
    """Read a list of levels: ``10,20,40 acre`` gives each level with the unit, ``10..160 acre`` five levels.

    A level without a unit takes the last one's.
    """
    wrong = InputError.single(
        f"got {text!r}; allowed is a list such as 10,20,40 acre, or a range such as 10..160 acre for five levels", where
    )
    found: list[tuple[list[str], str]] = []
    for part in text.split(","):
        low, dots, high = part.partition("..")
        matches = [_BOUND.match(bound) for bound in ((low, high) if dots else (part,))]
        if not all(matches):
            raise wrong
        numbers, texts = zip(*((match.group(1), match.group(2)) for match in matches if match), strict=True)
        # a unit stands behind the whole range
        if dots and (texts[0] not in ("", texts[1]) or not float(numbers[0]) < float(numbers[1])):
            raise wrong
        found.append((spread_levels(*numbers) if dots else list(numbers), texts[-1]))
    last = found[-1][1]
    return [f"{number} {unit or last}".strip() for numbers, unit in found for number in numbers]


def spread_levels(low: str, high: str) -> list[str]:
    """Return the levels of a range: its ends and three between, evenly in ratio (evenly in step from 0 or below)."""
    first, last = float(low), float(high)
    shares = [place / (SPREAD_LEVELS - 1) for place in range(1, SPREAD_LEVELS - 1)]
    inner = [first * (last / first) ** share if first > 0 else first + (last - first) * share for share in shares]
    rounded = [float(f"{value:.2g}") for value in inner]
    between = [f"{value:.10g}" for value in dict.fromkeys(rounded) if first < value < last]
    return [low, *between, high]


def ranges_of(loaded: LoadedScenario, texts: Iterable[str] = ()) -> tuple[InputRange, ...]:
    """Return the ranges that the scenario declares in its table ``range``; those given as texts replace them."""
    declared: Mapping[str, Any] = getattr(loaded.base, "range", None) or {}
    found: dict[str, InputRange] = {}
    problems: list[Problem] = []
    for key, bounds in declared.items():
        try:
            found[key] = make_range(key, bounds[0], bounds[1], f"range.{key}")
        except InputError as error:
            problems += error.problems
    for text in texts:
        try:
            one = read_range(text)
            found[one.key] = one
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    if not found:
        message = (
            "no range is declared; allowed is --range KEY=LOW..HIGH, or in the scenario [range] with lines such as "
            '"rig.main.crew.tasks.swap.time" = ["40 s", "90 s"]'
        )
        raise InputError.single(message, "range")
    return tuple(found.values())


def locate(equipment: EquipmentSet, key: str) -> tuple[Any, Dimension | None]:
    """Return what stands at a dotted key of a set, and its kind of quantity; None where nothing does or it is none."""
    place: Any = equipment.scenario
    dimension: Dimension | None = None
    for part in key.split("."):
        dimension = None
        if isinstance(place, BaseModel):
            field = type(place).model_fields.get(part)
            if field is None:
                return None, None
            dimension = _dimension([*field.metadata, field.annotation])
            place = getattr(place, part)
        elif isinstance(place, dict) and part in place:
            place = place[part]
        elif isinstance(place, list) and part.isdigit() and int(part) < len(place):
            place = place[int(part)]
        else:
            return None, None
    return place, dimension


def _dimension(marks: Iterable[Any]) -> Dimension | None:
    import typing

    for mark in marks:
        if isinstance(mark, Quantity | Drawn):
            return mark.dimension
        found = _dimension(typing.get_args(mark)) if typing.get_args(mark) else None
        if found is not None:
            return found
    return None


def setting_at(equipment: EquipmentSet, one: InputRange, share: float) -> str:
    """Return the ``KEY=VALUE`` that puts an input at a share of its range.

    A fixed quantity takes the value. A drawn one keeps its shape and is scaled so that its mean is the value: its
    coefficient of variation stays, and so do the random numbers behind it.
    """
    value, dimension = locate(equipment, one.key)
    text = one.text(share)
    if isinstance(value, Distribution) and not value.is_constant and dimension is not None and value.mean() > 0:
        try:
            target = units.parse(text, dimension)
        except UnitError as error:
            raise InputError.single(str(error), f"--range {one.key}") from error
        if target < 0:
            raise InputError.single(f"got {text}; allowed is 0 or more", f"--range {one.key}")
        return f"{one.key}={toml_value(distribution_table(value.scaled(target / value.mean()), dimension.unit, 12))}"
    return f"{one.key}={text if not one.unit else toml_value(text)}"


def full_grid(levels: Mapping[str, Sequence[Any]]) -> list[dict[str, Any]]:
    """Return every combination of the levels, the last factor changing fastest."""
    empty = [name for name, values in levels.items() if not len(values)]
    if empty:
        raise ValueError(f"got no level of {', '.join(empty)}; allowed is at least one")
    return [dict(zip(levels, combination, strict=True)) for combination in itertools.product(*levels.values())]


def latin_hypercube(factors: int, points: int, seed: int) -> FloatArray:
    """Return a Latin hypercube: each of the equal slices of each factor holds one point.

    Source: McKay, Beckman & Conover 1979, Technometrics 21:239-245; made by ``scipy.stats.qmc``.
    """
    if factors < 1 or points < 1:
        raise ValueError(f"got {factors} factors and {points} points; allowed is at least one of each")
    from scipy.stats import qmc

    sampler = qmc.LatinHypercube(d=factors, rng=np.random.default_rng(seed))
    return np.asarray(sampler.random(points), dtype=np.float64)
