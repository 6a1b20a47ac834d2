"""Inputs, ranges, lists and choices as people type them, each read in one way for every study."""

from __future__ import annotations

import itertools
import math
import re
import typing
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from simulator.errors import InputError, Problem, Problems
from simulator.scenario import units
from simulator.scenario.distributions import Distribution, Uniform
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.toml_text import distribution_table, toml_value
from simulator.scenario.types import Drawn, Quantity
from simulator.scenario.units import M2_PER_ACRE, Dimension, UnitError

_BOUND = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")
MOST_SETS = 1000
"""Combinations that a sizing may have."""
SPREAD_LEVELS = 5
"""Levels that a range ``LOW..HIGH`` stands for."""


@dataclass(frozen=True)
class InputRange:
    """What an input may be: any value between two bounds in a unit, each as likely; only whole numbers if ``whole``."""

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


def make_range(key: str, low: object, high: object, where: str) -> InputRange:
    """Return a range from its two bounds; a bound without a unit takes the other's."""
    found = []
    for bound in (low, high):
        match = None if isinstance(bound, bool) else _BOUND.match(str(bound))
        if match is None or not math.isfinite(float(match.group(1))):
            example = 'allowed is two bounds such as "40 s" and "90 s", or 2 and 4'
            raise InputError.single(f"got {bound!r}; {example}", where)
        found.append(match.groups())
    (first, first_unit), (last, last_unit) = found
    if first_unit and last_unit and first_unit != last_unit:
        message = f"got the units {first_unit!r} and {last_unit!r}; allowed is the same for both bounds"
        raise InputError.single(message, where)
    if not float(first) < float(last):
        raise InputError.single(f"got {low!r} to {high!r}; allowed is a low bound below the high one", where)
    unit = first_unit or last_unit
    whole = not unit and all(number.lstrip("+-").isdigit() for number in (first, last))
    return InputRange(key, float(first), float(last), unit, whole)


def read_range(text: str, where: str = "--range") -> InputRange:
    """Read ``KEY=LOW..HIGH``, such as ``rig.main.crew.tasks.swap.time=40..90 s``."""
    key, equals, bounds = text.partition("=")
    low, dots, high = bounds.partition("..")
    if not (equals and dots and key.strip()):
        message = f"got {text!r}; allowed is KEY=LOW..HIGH, such as rig.main.crew.tasks.swap.time=40..90 s"
        raise InputError.single(message, where)
    return make_range(key.strip(), low.strip(), high.strip(), f"{where} {key.strip()}")


def ranges_of(loaded: LoadedScenario, texts: Iterable[str] = ()) -> tuple[InputRange, ...]:
    """Return the ranges that the scenario declares in its table ``range``; those given as texts replace them."""
    declared: Mapping[str, Any] = getattr(loaded.base, "range", None) or {}
    found: dict[str, InputRange] = {}
    problems = Problems()
    for key, bounds in declared.items():
        with problems.of():
            found[key] = make_range(key, bounds[0], bounds[1], f"range.{key}")
    for text in texts:
        with problems.of():
            one = read_range(text)
            found[one.key] = one
    problems.refuse()
    if not found:
        allowed = "--range KEY=LOW..HIGH, or in the scenario [range] with lines such as"
        example = '"rig.main.crew.tasks.swap.time" = ["40 s", "90 s"]'
        raise InputError.single(f"no range is declared; allowed is {allowed} {example}", "range")
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
    for mark in marks:
        if isinstance(mark, Quantity | Drawn):
            return mark.dimension
        found = _dimension(typing.get_args(mark)) if typing.get_args(mark) else None
        if found is not None:
            return found
    return None


def setting_at(equipment: EquipmentSet, one: InputRange, share: float) -> str:
    """Return the ``KEY=VALUE`` that puts an input at a share of its range; a drawn one keeps its shape, scaled."""
    value, dimension = locate(equipment, one.key)
    text = one.text(share)
    if isinstance(value, Distribution) and not value.is_constant and dimension is not None and value.mean() > 0:
        where, allowed = f"--range {one.key}", "is 0 or more"
        (target,) = read_each([text], where, lambda part: within(units.parse(part, dimension), 0.0), allowed)
        return f"{one.key}={toml_value(distribution_table(value.scaled(target / value.mean()), dimension.unit, 12))}"
    return f"{one.key}={text if not one.unit else toml_value(text)}"


def read_levels(text: str, where: str) -> list[str]:
    """Read ``10,20,40 acre`` or ``10..160 acre`` (five levels) as levels with their unit, that of the last if none."""
    allowed = "allowed is a list such as 10,20,40 acre, or a range such as 10..160 acre for five levels"
    found: list[tuple[list[str], str]] = []
    for part in text.split(","):
        low, dots, high = part.partition("..")
        matches = [match for bound in ((low, high) if dots else (part,)) if (match := _BOUND.match(bound))]
        numbers, texts = [match.group(1) for match in matches], [match.group(2) for match in matches]
        # a unit stands behind the whole range
        ranged = len(numbers) == 2 and texts[0] in ("", texts[1]) and float(numbers[0]) < float(numbers[1])
        if not (ranged if dots else numbers):
            raise InputError.single(f"got {text!r}; {allowed}", where)
        found.append((_spread(*numbers) if dots else numbers, texts[-1]))
    last = found[-1][1]
    return [f"{number} {unit or last}".strip() for numbers, unit in found for number in numbers]


def _spread(low: str, high: str) -> list[str]:
    """Return the levels of a range: its ends and three between, evenly in ratio (evenly in step from 0 or below)."""
    first, last = float(low), float(high)
    shares = [place / (SPREAD_LEVELS - 1) for place in range(1, SPREAD_LEVELS - 1)]
    inner = [first * (last / first) ** share if first > 0 else first + (last - first) * share for share in shares]
    rounded = [float(f"{value:.2g}") for value in inner]
    return [low, *(f"{value:.10g}" for value in dict.fromkeys(rounded) if first < value < last), high]


def parse_choice(text: str, option: str = "choose") -> list[str]:
    """Read ``KEY=LOW..HIGH`` (whole numbers) or ``KEY=value,value`` (one with a comma in quotes) as a setting each.

    Several keys joined by ``+`` take the same value.
    """

    def wrong(got: str, allowed: str) -> InputError:
        return InputError.single(f"got {got}; allowed is {allowed}", option)

    key, equals, rest = (part.strip() for part in text.partition("="))
    if not equals or not rest or not all(part.strip() for part in key.split(".")):
        raise wrong(f"{text!r}", "KEY=LOW..HIGH or KEY=value,value, such as rig.main.packs.big=2..5")
    low, dots, high = rest.partition("..")
    if dots:
        if not all(end.strip().isdecimal() and len(end) < 7 for end in (low, high)):
            raise wrong(f"{rest!r} for {key}", "two whole numbers such as 2..5")
        if not 0 <= int(high) - int(low) < MOST_SETS:
            raise wrong(f"{rest!r} for {key}", f"a low number, then a high one, at most {MOST_SETS} apart")
        return [f"{key}={number}" for number in range(int(low), int(high) + 1)]
    parts = re.findall(r"""(?:^|,)((?:"[^"]*"?|'[^']*'?|[^,"'])*)""", rest)
    values = dict.fromkeys(part.strip() for part in parts)
    if not all(values):
        raise wrong(f"an empty value in {text!r}", "KEY=value,value")
    return [f"{key}={value}" for value in values]


def parse_choices(texts: Iterable[str], option: str) -> list[str]:
    """Check several choices, which :func:`combinations` reads."""
    return [text for text in texts if parse_choice(text, option)]


def combinations(choices: Iterable[str]) -> list[tuple[str, ...]]:
    """Return the settings of every combination, the last choice changing quickest."""
    read = [parse_choice(text) for text in choices]
    if not read:
        raise InputError.single("missing; allowed is at least one choice such as rig.main.packs.big=2..5", "choose")
    keys = [settings[0].partition("=")[0] for settings in read]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise InputError([Problem("choose", f"got {key} more than once; allowed is one choice a key") for key in twice])
    total = math.prod(map(len, read))
    if total > MOST_SETS:
        allowed = f"allowed is {MOST_SETS} at most: narrow the choices"
        raise InputError.single(f"got {total} combinations; {allowed}", "choose")
    return list(itertools.product(*read))


def read_each(parts: Iterable[str], option: str, read: Callable[[str], float], allowed: str) -> list[float]:
    """Read numbers, and name all at once that cannot be read or are not what is allowed."""
    values, problems = [], Problems()
    for part in parts:
        with problems.of():
            try:
                values.append(read(part.strip()))
            except UnitError as error:
                raise InputError.single(str(error), option) from error
            except ValueError as error:
                raise InputError.single(f"got {part.strip()!r}; allowed {allowed}", option) from error
    problems.refuse()
    return values


def within(value: float, least: float, most: float = math.inf) -> float:
    """Return a number; ValueError outside its limits."""
    if not least <= value <= most:
        raise ValueError
    return value


def read_numbers(text: str, option: str, least: int = 1) -> list[int]:
    """Read whole numbers with commas between, each of ``least`` or more."""
    allowed = f"are whole numbers of {least} or more, such as 1,4,12"
    read = read_each(text.split(","), option, lambda part: within(int(part if part.isdigit() else "x"), least), allowed)
    return [int(one) for one in read]


def read_shares(text: str, option: str, least: float, most: float) -> list[float]:
    """Read plain numbers with commas between, from ``least`` to ``most``."""
    allowed = f"are numbers from {least:g} to {most:g}"
    return read_each(text.split(","), option, lambda part: within(float(part), least, most), allowed)


def read_share(text: str, option: str) -> float:
    """Read ``1%`` or ``0.01``."""
    cleaned = text.strip()
    try:
        value = float(cleaned[:-1]) / 100.0 if cleaned.endswith("%") else float(cleaned)
    except ValueError:
        value = -1.0
    if not 0.0 < value < 1.0:
        raise InputError.single(f"got {text!r}; allowed is a share such as 1% or 0.01", option)
    return value


def read_budget(text: str, option: str) -> float:
    """Read ``30s`` or ``5 min`` as seconds."""
    return read_each([text], option, lambda one: within(units.parse(one, units.TIME), 1.0), "is at least 1 s")[0]


def read_ratio(value: float, option: str) -> float:
    """Return a length over a width."""
    return read_shares(str(value), option, 0.01, 100.0)[0]


def read_distances(text: str, option: str) -> list[float]:
    """Read lengths with commas between, such as ``0.5,2 mi``, and return metres."""
    levels = read_levels(text, option)
    return read_each(levels, option, lambda one: within(units.parse(one, units.LENGTH), 0.0, 1e6), "is 0 to 1000 km")


def read_areas(texts: Iterable[str], option: str) -> list[float]:
    """Read areas such as ``"150 acre"`` and return acres."""
    return read_each(texts, option, lambda text: units.parse(text, units.AREA) / M2_PER_ACRE, "")


def read_area(text: str, option: str) -> float:
    """Read one area and return acres."""
    return read_areas([text], option)[0]


def read_field_sizes(text: str, option: str) -> list[float]:
    """Read a list or range of areas and return square metres."""
    return [acres * M2_PER_ACRE for acres in read_areas(read_levels(text, option), option)]


def parse_rates(loaded: LoadedScenario, texts: Sequence[str]) -> tuple[str, list[float]]:
    """Return the key of the application rate and the rates in its inner unit."""
    liquid = loaded.base.product.kind == "liquid"
    dimension = units.LIQUID_RATE if liquid else units.DRY_RATE
    if not texts:
        raise InputError.single(f"got none; allowed is at least one, such as {dimension.example!r}", "--rates")
    least = math.nextafter(0.0, 1.0)
    values = read_each(texts, "--rates", lambda text: within(units.parse(text, dimension), least), "is above 0")
    return ("product.rate" if liquid else "product.dry_rate"), values


def read_workable_days(text: str, option: str) -> float | Distribution:
    """Read ``40`` or ``30..50`` (any number between is as likely)."""
    low, dots, high = text.partition("..")
    try:
        values = [within(float(one), 1e-9, 366.0) for one in ((low, high) if dots else (low,))]
        if values != sorted(set(values)):
            raise ValueError
    except ValueError as error:
        allowed = "allowed is a number such as 40, or a range such as 30..50"
        raise InputError.single(f"got {text!r}; {allowed}", option) from error
    return Uniform(values[0], values[1]) if dots else values[0]


def read_work_days(text: str, option: str) -> int:
    """Read ``4 days`` or ``4``."""
    number, _, word = text.strip().partition(" ")
    if not number.isdecimal() or len(number) > 5 or int(number) < 1 or word.strip() not in ("", "day", "days"):
        raise InputError.single(f"got {text!r}; allowed is a number of work days such as '4 days'", option)
    return int(number)


def read_job(loaded: LoadedScenario, acres: float | None) -> float:
    """Return the area (m2) of the job that a study lays out anew: that given, or of the scenario's fields."""
    return sum(site.area_m2 for site in loaded.sets[0].fields.sites) if acres is None else acres * M2_PER_ACRE
