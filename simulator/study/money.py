"""Money over years: annuities, payback, and what a piece of equipment costs a year, interest paid at year ends.

Formulas: Grant, Ireson & Leavenworth, *Principles of Engineering Economy*; from memory.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.errors import InputError, Problem, Problems
from simulator.scenario.loading import EquipmentSet
from simulator.scenario.merge import nearest
from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_costs import Costs, Item
from simulator.scenario.units import M2_PER_ACRE

FloatArray = NDArray[np.float64]
KINDS = ("aircraft", "pack", "charger", "generator", "rig")
"""Kinds of equipment that are bought, as the tables of ``costs`` are named."""
Pieces = Counter[tuple[str, str]]
"""How many pieces of equipment there are of each kind and class (or rig)."""


def annuity_factor(interest: float, years: ArrayLike) -> FloatArray:
    """Return the present worth of 1 at the end of each year, (1 - (1 + i)^-n) / i."""
    n = np.asarray(years, dtype=np.float64)
    if not interest >= 0 or bool((n < 0).any()):
        raise ValueError(f"got interest = {interest!r} and years = {years!r}; allowed is at least 0")
    if interest == 0:
        return n.copy()
    return np.asarray(-np.expm1(-n * math.log1p(interest)) / interest)


def payback_years(price: float, yearly: ArrayLike) -> FloatArray:
    """Return when yearly gains have added up to a price, without interest; the last year's gain goes on for ever."""
    gains = np.asarray(yearly, dtype=np.float64)
    if gains.ndim < 1 or gains.shape[-1] < 1 or not price >= 0:
        raise ValueError(f"got gains of shape {gains.shape} and price = {price!r}; allowed is at least a year and 0")
    total = np.cumsum(gains, axis=-1)
    reached = total >= price
    year = np.argmax(reached, axis=-1)
    started = np.concatenate([np.zeros_like(total[..., :1]), total[..., :-1]], axis=-1)
    before, gain = (np.take_along_axis(values, year[..., None], -1)[..., 0] for values in (started, gains))
    mean = gains.mean(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = year + (price - before) / gain
        later = gains.shape[-1] + (price - total[..., -1]) / mean
    result = np.where(reached.any(axis=-1), inside, np.where(mean > 0, later, np.inf))
    return np.asarray(result if price > 0 else np.zeros_like(result))


def life_years(item: Item, cycles_per_year: ArrayLike = 0.0, hours_per_year: ArrayLike = 0.0) -> FloatArray:
    """Return how long one piece lasts: its years, or sooner the cycles or hours that it stands."""
    uses = [np.asarray(use, dtype=np.float64) for use in (cycles_per_year, hours_per_year)]
    life = np.full(np.broadcast_shapes(*(use.shape for use in uses)), item.life_years)
    for limit, use in zip((item.life_cycles, item.life_hours), uses, strict=True):
        if limit is not None:
            life = np.where(use > 0, np.minimum(life, limit / np.where(use > 0, use, 1.0)), life)
    return np.asarray(life)


def yearly_cost(item: Item, life: ArrayLike, interest: float) -> FloatArray:
    """Return the yearly cost of owning one piece, (P - S) / annuity(i, life) + S i + u P: recovery and upkeep."""
    resale = item.resale_share * item.purchase
    recovery = (item.purchase - resale) / annuity_factor(interest, life)
    return np.asarray(recovery + resale * interest + item.upkeep_share * item.purchase)


def pieces_of(scenario: Scenario) -> Pieces:
    """Return all equipment on the rigs that work."""
    found: Pieces = Counter()
    for rig_name in used_rigs(scenario):
        rig = scenario.rig[rig_name]
        for kind, table in (("aircraft", rig.aircraft), ("pack", rig.packs)):
            found.update({(kind, name): number for name, number in table.items()})
        for point in rig.power.values():
            found.update({("charger", name): number for name, number in point.chargers.items()})
            if point.generator is not None:
                found["generator", point.generator] += 1
        found["rig", rig_name] += 1
    return Counter(dict(sorted((+found).items())))


def people_of(scenario: Scenario) -> int:
    """Return the people on the rigs that work."""
    return sum(scenario.rig[name].crew.pilots + scenario.rig[name].crew.helpers for name in used_rigs(scenario))


def item_table(costs: Costs) -> dict[tuple[str, str], Item]:
    """Return every priced item by kind and name."""
    return {(kind, name): item for kind in KINDS for name, item in getattr(costs, kind).items()}


def demand_acres(costs: Costs) -> float | None:
    """Return the acres that can be sold in a season at most; None without a limit."""
    return None if costs.season_demand is None else costs.season_demand / M2_PER_ACRE


def need_costs(equipment: EquipmentSet, question: str, income: bool = True) -> Costs:
    """Return the costs of a set that can answer a question of money."""
    costs = equipment.scenario.costs
    if costs is None:
        raise InputError.single(f"missing; {question} needs the table [costs] (prices, wages, season)", "costs")
    if income and costs.price_per_acre is None and costs.price_per_hour is None:
        message = f"missing; {question} needs costs.price_per_acre or costs.price_per_hour, such as 16.0"
        raise InputError.single(message, "costs.price_per_acre")
    return costs


def need_prices(pieces: Iterable[tuple[str, str]], costs: Costs, question: str) -> None:
    """Refuse equipment without a price."""
    items, problems = item_table(costs), Problems()
    needs = f"missing; {question} needs its price, such as {{ purchase = 1500 }}, or 0 when it is free"
    for kind, name in (piece for piece in pieces if piece not in items):
        priced = [known for other, known in items if other == kind]
        hint = nearest(name, priced) if priced else ""
        problems.found.append(Problem(f"costs.{kind}.{name}", needs + hint))
    problems.refuse()


_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def _more(number: int, noun: str, plural: str) -> str:
    count = abs(number)
    said = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
    return f"{said} {'more' if number > 0 else 'fewer'} {noun if count == 1 else plural}"


def _piece_words(scenario: Scenario, kind: str, name: str, number: int) -> str:
    """Return how many more or fewer of a class: by its label, or its kind and its key in words."""
    table = getattr(scenario, kind)[name]
    label = str(getattr(table, "label", ""))
    noun, of = (label, "") if label else (kind, f" ({name.replace('_', ' ')})")
    return f"{_more(number, noun, noun if noun.endswith('aircraft') else f'{noun}s')}{of}"


def change_words(before: Scenario, after: Scenario) -> str:
    """Return what comes and goes in plain words; empty when no number of pieces or people changes."""
    change = pieces_of(after)
    change.subtract(pieces_of(before))
    words = [
        _piece_words(after if number > 0 else before, kind, name, number)
        for (kind, name), number in sorted(change.items(), key=lambda one: (KINDS.index(one[0][0]), one[0][1]))
        if number
    ]
    people = people_of(after) - people_of(before)
    return " and ".join([*words, *([_more(people, "person", "people")] if people else [])])
