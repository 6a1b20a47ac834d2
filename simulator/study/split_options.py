"""Reading the factors of a fragmentation study from text."""

from __future__ import annotations

from collections.abc import Sequence

from simulator.errors import InputError, Problem
from simulator.scenario import units
from simulator.scenario.units import UnitError
from simulator.study.design import read_levels

Span = tuple[float, float]


def read_numbers(text: str, option: str, least: int) -> list[int]:
    """Read whole numbers with commas between.

    Raises
    ------
    InputError
        One is no whole number, or below ``least``.
    """
    problems, numbers = [], []
    for part in text.split(","):
        if not part.strip().isdigit() or int(part) < least:
            message = f"got {part.strip()!r}; allowed are whole numbers of {least} or more, such as 1,4,12"
            problems.append(Problem(option, message))
        else:
            numbers.append(int(part))
    if problems:
        raise InputError(problems)
    return numbers


def read_shares(text: str, option: str, least: float, most: float) -> list[float]:
    """Read plain numbers with commas between.

    Raises
    ------
    InputError
        One is no number, or out of range.
    """
    problems, values = [], []
    for part in text.split(","):
        try:
            value = float(part)
        except ValueError:
            value = float("nan")
        if not least <= value <= most:
            problems.append(Problem(option, f"got {part.strip()!r}; allowed are numbers from {least:g} to {most:g}"))
        values.append(value)
    if problems:
        raise InputError(problems)
    return values


def read_distances(text: str, option: str) -> list[float]:
    """Read lengths with commas between, such as ``0.5,2 mi``, and return metres.

    Raises
    ------
    InputError
        One is no length, or negative.
    """
    problems, values = [], []
    for level in read_levels(text, option):
        try:
            value = units.parse(level, units.LENGTH)
            if not 0.0 <= value <= 1e6:
                problems.append(Problem(option, f"got {level!r}; allowed is 0 to 1000 km"))
            values.append(value)
        except UnitError as error:
            problems.append(Problem(option, str(error)))
    if problems:
        raise InputError(problems)
    return values


def read_bounds(
    numbers: Sequence[int], shapes: Sequence[float], distances_m: Sequence[float], inequalities: Sequence[float]
) -> tuple[tuple[int, int], Span, Span, Span]:
    """Return the least and the largest of each factor: the bounds of a Latin hypercube."""
    return (
        (min(numbers), max(numbers)),
        (min(shapes), max(shapes)),
        (min(distances_m), max(distances_m)),
        (min(inequalities), max(inequalities)),
    )
