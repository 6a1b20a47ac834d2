"""The questions of ``acreday new``: in a new user's words, with a number to take for each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from simulator.scenario import units
from simulator.scenario.starter import Answers, Equipment, FieldGroup
from simulator.scenario.units import UnitError, parse

if TYPE_CHECKING:
    from simulator.scenario.units import Dimension

MOST_SETS = 6
MOST_GROUPS = 10
_ACRES_PER_HECTARE = units.M2_PER_HECTARE / units.M2_PER_ACRE


def ask() -> Answers:
    """Ask, and return what was said."""
    click.echo("A few questions; Enter takes the number in brackets. Everything can be changed in the file later.")
    system = click.prompt("Units of the output", type=click.Choice(["us", "metric"]), default="us")
    metric = system == "metric"
    sets: list[Equipment] = []
    count = _number("How many equipment sets to compare (1: yours, and with one more pack)", 1, MOST_SETS, 1)
    while len(sets) < count:
        one = _equipment(f"Set {len(sets) + 1}: " if count > 1 else "", sets[-1] if sets else None)
        if one in sets:
            click.echo("  got the same equipment as an earlier set; allowed is one that differs in a number at least")
            continue
        sets.append(one)
    groups = [_group(place, metric) for place in range(1, _number("How many kinds of fields", 1, MOST_GROUPS, 1) + 1)]
    from_yard = _quantity("Road from the yard to the first field", "10 km" if metric else "6 mi", units.LENGTH)
    area = "hectare" if metric else "acre"
    price = click.prompt(
        f"Price that you get per {area}, in your currency (0: leave out)", type=click.FloatRange(0.0, 1e6), default=0.0
    )
    purchase = _prices(sorted({one.tank_l for one in sets})) if price else []
    per_acre = price / (_ACRES_PER_HECTARE if metric else 1.0) if price else None
    return Answers(system, tuple(sets), tuple(groups), from_yard, per_acre, tuple(purchase))


def _number(question: str, least: int, most: int, default: int) -> int:
    return int(click.prompt(question, type=click.IntRange(least, most), default=default))


def _equipment(start: str, before: Equipment | None) -> Equipment:
    tank = int(
        click.prompt(
            f"{start}tank of the aircraft, litres (class)", type=click.Choice(["20", "40"]),
            default=str(before.tank_l if before else 40),
        )
    )  # fmt: skip
    like = before or Equipment()
    small = tank == 20 and (before is None or before.tank_l != 20)
    kilowatts = 7.2 if small else like.generator_kw
    number: dict[str, Any] = {
        "aircraft": _number(f"{start}how many aircraft", 1, 20, like.aircraft),
        "packs": _number(f"{start}how many packs", 1, 100, 2 if small else like.packs),
        "chargers": _number(f"{start}how many chargers", 1, 50, like.chargers),
        "charger_percent": 100.0 * parse(
            _quantity(f"{start}power that the chargers are set to", f"{like.charger_percent:g} %", units.SHARE, 1.0),
            units.SHARE,
        ),
        "generator_kw": click.prompt(f"{start}generator, kW", type=click.FloatRange(0.5, 500.0), default=kilowatts),
        "helpers": _number(f"{start}helpers beside the pilot", 1, 20, like.helpers),
    }  # fmt: skip
    return Equipment(tank, **number)


def _group(place: int, metric: bool) -> FieldGroup:
    start = f"Kind {place}: "
    return FieldGroup(
        _number(f"{start}how many fields", 1, 500, 3),
        _quantity(f"{start}area of one field", "16 ha" if metric else "40 acre", units.AREA),
        _quantity(f"{start}application rate", "20 L/ha" if metric else "2 gal/acre", units.LIQUID_RATE),
        _quantity(f"{start}road from the field before", "3 km" if metric else "2 mi", units.LENGTH),
    )


def _prices(tanks: list[int]) -> list[tuple[str, int, float]]:
    found = []
    for tank in tanks:
        for kind in ("aircraft", "pack", "charger"):
            question = f"Price of one {kind} of the {tank} L class (0: leave out)"
            price = click.prompt(question, type=click.FloatRange(0.0, 1e9), default=0.0)
            if price:
                found.append((kind, tank, float(price)))
    return found


def _quantity(question: str, default: str, dimension: Dimension, most: float = float("inf")) -> str:
    """Ask for a number with its unit until it can be read."""
    while True:
        answer = str(click.prompt(question, default=default)).strip()
        try:
            if 0.0 < parse(answer, dimension) <= most:
                return answer
            click.echo(f"  got {answer!r}; allowed is more than zero, such as {default!r}")
        except UnitError as error:
            click.echo(f"  {error}")
