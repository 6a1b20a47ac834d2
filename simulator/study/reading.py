"""Lists, ranges and choices as people type them, each read in one way for every study."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from simulator.errors import InputError, Problem, Problems
from simulator.scenario import units
from simulator.scenario.distributions import Distribution, Uniform
from simulator.scenario.loading import LoadedScenario
from simulator.scenario.units import M2_PER_ACRE, UnitError

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
        found.append((float(match.group(1)), match.group(2), match.group(1).lstrip("+-").isdigit()))
    (first, first_unit, _), (last, last_unit, _) = found
    if first_unit and last_unit and first_unit != last_unit:
        message = f"got the units {first_unit!r} and {last_unit!r}; allowed is the same for both bounds"
        raise InputError.single(message, where)
    if not first < last:
        raise InputError.single(f"got {low!r} to {high!r}; allowed is a low bound below the high one", where)
    unit = first_unit or last_unit
    return InputRange(key, first, last, unit, not unit and all(digits for _, _, digits in found))


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
        message = (
            "no range is declared; allowed is --range KEY=LOW..HIGH, or in the scenario [range] with lines such as "
            '"rig.main.crew.tasks.swap.time" = ["40 s", "90 s"]'
        )
        raise InputError.single(message, "range")
    return tuple(found.values())


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
        found.append((_spread(*numbers) if dots else list(numbers), texts[-1]))
    last = found[-1][1]
    return [f"{number} {unit or last}".strip() for numbers, unit in found for number in numbers]


def _spread(low: str, high: str) -> list[str]:
    """Return the levels of a range: its ends and three between, evenly in ratio (evenly in step from 0 or below)."""
    first, last = float(low), float(high)
    shares = [place / (SPREAD_LEVELS - 1) for place in range(1, SPREAD_LEVELS - 1)]
    inner = [first * (last / first) ** share if first > 0 else first + (last - first) * share for share in shares]
    rounded = [float(f"{value:.2g}") for value in inner]
    return [low, *(f"{value:.10g}" for value in dict.fromkeys(rounded) if first < value < last), high]


@dataclass(frozen=True)
class Choice:
    """One key and the values it may take, as written; several keys joined by ``+`` take the same value."""

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
    parts = re.findall(r"""(?:^|,)((?:"[^"]*"?|'[^']*'?|[^,"'])*)""", rest)
    values = tuple(dict.fromkeys(part.strip() for part in parts))
    if not all(values):
        raise InputError.single(f"got an empty value in {text!r}; allowed is KEY=value,value", option)
    return Choice(key, values)


def parse_choices(texts: Iterable[str], option: str) -> list[Choice]:
    """Read several choices."""
    return [parse_choice(text, option) for text in texts]


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
    return list(itertools.product(*([f"{choice.key}={value}" for value in choice.values] for choice in choices)))


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


def within(value: float, least: float, most: float) -> float:
    """Return a number; ValueError outside its limits."""
    if not least <= value <= most:
        raise ValueError
    return value


def read_numbers(text: str, option: str, least: int = 1) -> list[int]:
    """Read whole numbers with commas between, each of ``least`` or more."""
    allowed = f"are whole numbers of {least} or more, such as 1,4,12"

    def read(part: str) -> float:
        return within(int(part if part.isdigit() else "x"), least, math.inf)

    return [int(one) for one in read_each(text.split(","), option, read, allowed)]


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
    return read_each(
        [text], option, lambda one: within(units.parse(one, units.TIME), 1.0, math.inf), "is at least 1 s"
    )[0]


def read_ratio(value: float, option: str) -> float:
    """Return a length over a width."""
    return read_shares(str(value), option, 0.01, 100.0)[0]


def read_distances(text: str, option: str) -> list[float]:
    """Read lengths with commas between, such as ``0.5,2 mi``, and return metres."""

    def read(level: str) -> float:
        return within(units.parse(level, units.LENGTH), 0.0, 1e6)

    return read_each(read_levels(text, option), option, read, "is 0 to 1000 km")


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
    values = read_each(
        texts, "--rates", lambda text: within(units.parse(text, dimension), least, math.inf), "is above 0"
    )
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
