"""The questions of ``acreday new``: in a new user's words, with a number to take for each."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import click

from simulator.command.common import terminal_width
from simulator.command.study_output import filled
from simulator.scenario import units
from simulator.scenario.catalogue import catalogue
from simulator.scenario.starter import Answers, Equipment, FieldGroup, enough_power, fitting, usual
from simulator.scenario.units import UnitError, parse

if TYPE_CHECKING:
    from simulator.scenario.units import Dimension

MOST_SETS = 6
MOST_GROUPS = 10
_ACRES_PER_HECTARE = units.M2_PER_HECTARE / units.M2_PER_ACRE


def ask() -> Answers:
    """Ask, and return what was said."""
    click.echo("A few questions; Enter takes what stands in brackets. Everything can be changed in the file later.")
    click.echo("`acreday classes` shows what the classes of equipment hold.")
    system = click.prompt("Units of the output", type=click.Choice(["us", "metric"]), default="us")
    metric = system == "metric"
    sets: list[Equipment] = []
    count = _number("How many equipment sets to compare (1: yours, and with one more pack)", 1, MOST_SETS, 1)
    while len(sets) < count:
        one = _equipment(f"Set {len(sets) + 1}: " if count > 1 else "", sets[-1] if sets else None)
        if one in sets:
            click.echo("  got the same equipment as an earlier set; allowed is one that differs in an answer at least")
            continue
        sets.append(one)
    groups = [_group(place, metric) for place in range(1, _number("How many kinds of fields", 1, MOST_GROUPS, 1) + 1)]
    from_yard = _quantity("Road from the yard to the first field", "10 km" if metric else "6 mi", units.LENGTH)
    area = "hectare" if metric else "acre"
    price = click.prompt(
        f"Price that you get per {area}, in your currency (0: leave out)", type=click.FloatRange(0.0, 1e6), default=0.0
    )
    purchase = _prices(sets) if price else []
    per_acre = price / (_ACRES_PER_HECTARE if metric else 1.0) if price else None
    return Answers(system, tuple(sets), tuple(groups), from_yard, per_acre, tuple(purchase))


def _number(question: str, least: int, most: int, default: int) -> int:
    return int(click.prompt(question, type=click.IntRange(least, most), default=default))


def _choice(question: str, names: Iterable[str], default: str) -> str:
    """Ask for a class of the catalogue; where there is but one, it is taken."""
    known = list(names)
    if len(known) > 1:
        click.echo(filled(f"one of {', '.join(known)}", terminal_width(), "  ", "  "))
        default = click.prompt(question, type=click.Choice(known), default=default, show_choices=False)
    return default


def _equipment(start: str, before: Equipment | None) -> Equipment:
    before = before or Equipment()
    aircraft = _choice(f"{start}class of the aircraft", catalogue()["aircraft"], before.aircraft_class)
    like = before if aircraft == before.aircraft_class else usual(aircraft)
    number = _number(f"{start}how many aircraft", 1, 20, like.aircraft)
    pack = _choice(f"{start}type of the packs", fitting("pack", "fits", aircraft), like.pack_class)
    packs = _number(f"{start}how many packs", 1, 100, like.packs)
    serving = fitting("charger", "serves", pack)
    charger = _choice(
        f"{start}class of the chargers", serving, like.charger_class if like.charger_class in serving else serving[0]
    )
    chargers = _number(f"{start}how many chargers", 1, 50, like.chargers)
    setting = _quantity(
        f"{start}power that the chargers are set to", f"{like.charger_percent:g} %", units.SHARE, most=1.0
    )
    asked = (charger, chargers, 100.0 * parse(setting, units.SHARE))
    same = asked == (like.charger_class, like.chargers, like.charger_percent)
    sources = [*catalogue()["generator"], *catalogue()["power"]]
    source = _choice(f"{start}generator or mains", sources, like.source if same else enough_power(*asked))
    set_up = _choice(f"{start}how the rig travels", catalogue()["rig"], like.set_up)
    # with the pilot there must be enough to lift the aircraft
    least = max(1, catalogue()["aircraft"][aircraft]["handling_people"] - 1)
    helpers = _number(f"{start}helpers beside the pilot", least, 20, max(least, like.helpers))
    return Equipment(aircraft, number, pack, packs, *asked, source, set_up, helpers)


def _group(place: int, metric: bool) -> FieldGroup:
    start = f"Kind {place}: "
    return FieldGroup(
        _number(f"{start}how many fields", 1, 500, 3),
        _quantity(f"{start}area of one field", "16 ha" if metric else "40 acre", units.AREA),
        _quantity(f"{start}application rate", "20 L/ha" if metric else "2 gal/acre", units.LIQUID_RATE),
        _quantity(f"{start}road from the field before", "3 km" if metric else "2 mi", units.LENGTH),
    )


def _prices(sets: list[Equipment]) -> list[tuple[str, str, float]]:
    found = []
    for kind in ("aircraft", "pack", "charger"):
        for name in sorted({getattr(one, f"{kind}_class") for one in sets}):
            question = f"Price of one {name} (0: leave out)"
            price = click.prompt(question, type=click.FloatRange(0.0, 1e9), default=0.0)
            if price:
                found.append((kind, name, float(price)))
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
