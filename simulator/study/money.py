"""Money over years: annuities, present value, payback, and what a piece of equipment costs a year.

Formulas are those of engineering economics (Grant, Ireson & Leavenworth, *Principles of Engineering Economy*; from
memory). Interest is a share a year, paid at year ends; times are in years; amounts are in the scenario's currency.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.errors import InputError, Problem
from simulator.scenario.loading import EquipmentSet
from simulator.scenario.merge import nearest
from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_costs import Costs, Item

FloatArray = NDArray[np.float64]
KINDS = ("aircraft", "pack", "charger", "generator", "rig")
"""Kinds of equipment that are bought, as the tables of ``costs`` are named."""


def annuity_factor(interest: float, years: ArrayLike) -> FloatArray:
    """Return the present worth of 1 at the end of each year, (1 - (1 + i)^-n) / i."""
    n = np.asarray(years, dtype=np.float64)
    if not interest >= 0 or bool((n < 0).any()):
        raise ValueError(f"got interest = {interest!r} and years = {years!r}; allowed is at least 0")
    if interest == 0:
        return n.copy()
    factor: FloatArray = -np.expm1(-n * math.log1p(interest)) / interest
    return factor


def net_present_value(flows: ArrayLike, interest: float) -> float:
    """Return the worth today of a row of cash flows, the first paid today and the others at year ends."""
    values = np.asarray(flows, dtype=np.float64)
    if values.ndim != 1 or not interest > -1:
        raise ValueError(f"got flows of shape {values.shape} and interest {interest!r}; allowed is a row and above -1")
    return float((values * (1.0 + interest) ** -np.arange(len(values), dtype=np.float64)).sum())


def payback_years(price: float, yearly: ArrayLike) -> FloatArray:
    """Return when yearly gains have added up to a price, without interest; the last year's gain goes on for ever."""
    gains = np.asarray(yearly, dtype=np.float64)
    if gains.ndim < 1 or gains.shape[-1] < 1 or not price >= 0:
        raise ValueError(f"got gains of shape {gains.shape} and price = {price!r}; allowed is at least a year and 0")
    total = np.cumsum(gains, axis=-1)
    reached = total >= price
    year = np.argmax(reached, axis=-1)
    before = np.take_along_axis(np.concatenate([np.zeros_like(total[..., :1]), total], axis=-1), year[..., None], -1)[
        ..., 0
    ]
    gain = np.take_along_axis(gains, year[..., None], -1)[..., 0]
    mean = gains.mean(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = year + (price - before) / gain
        later = gains.shape[-1] + (price - total[..., -1]) / mean
    result = np.where(reached.any(axis=-1), inside, np.where(mean > 0, later, np.inf))
    return np.asarray(result if price > 0 else np.zeros_like(result))


def life_years(item: Item, cycles_per_year: ArrayLike = 0.0, hours_per_year: ArrayLike = 0.0) -> FloatArray:
    """Return how long one piece lasts: its years, or sooner the cycles or hours that it stands."""
    cycles, hours = np.broadcast_arrays(
        np.asarray(cycles_per_year, dtype=np.float64), np.asarray(hours_per_year, dtype=np.float64)
    )
    life = np.full(cycles.shape, item.life_years)
    for limit, use in ((item.life_cycles, cycles), (item.life_hours, hours)):
        if limit is not None:
            life = np.where(use > 0, np.minimum(life, limit / np.where(use > 0, use, 1.0)), life)
    return np.asarray(life)


def yearly_cost(item: Item, life: ArrayLike, interest: float) -> FloatArray:
    """Return the equivalent uniform yearly cost of owning one piece: capital recovery and upkeep.

    (P - S) / annuity(i, life) + S i + u P, with price P, resale S and upkeep share u.
    """
    resale = item.resale_share * item.purchase
    factor = annuity_factor(interest, life)
    cost: FloatArray = (item.purchase - resale) / factor + resale * interest + item.upkeep_share * item.purchase
    return cost


@dataclass(frozen=True)
class Piece:
    """Equipment of one class that a set owns."""

    kind: str
    name: str
    number: int


def pieces_of(scenario: Scenario) -> tuple[Piece, ...]:
    """Return all equipment on the rigs that work, by kind and class."""
    counts: dict[tuple[str, str], int] = {}

    def add(kind: str, name: str, number: int) -> None:
        if number:
            counts[kind, name] = counts.get((kind, name), 0) + number

    for rig_name in used_rigs(scenario):
        rig = scenario.rig[rig_name]
        for kind, table in (("aircraft", rig.aircraft), ("pack", rig.packs)):
            for name, number in table.items():
                add(kind, name, number)
        for point in rig.power.values():
            for name, number in point.chargers.items():
                add("charger", name, number)
            if point.generator is not None:
                add("generator", point.generator, 1)
        add("rig", rig_name, 1)
    return tuple(Piece(kind, name, number) for (kind, name), number in sorted(counts.items()))


def people_of(scenario: Scenario) -> int:
    """Return the people on the rigs that work."""
    return sum(scenario.rig[name].crew.pilots + scenario.rig[name].crew.helpers for name in used_rigs(scenario))


def item_table(costs: Costs) -> dict[tuple[str, str], Item]:
    """Return every priced item by kind and name."""
    tables: dict[str, Mapping[str, Item]] = {
        "aircraft": costs.aircraft,
        "pack": costs.pack,
        "charger": costs.charger,
        "generator": costs.generator,
        "rig": costs.rig,
    }
    return {(kind, name): item for kind, table in tables.items() for name, item in table.items()}


def need_costs(equipment: EquipmentSet, question: str, income: bool = True) -> Costs:
    """Return the costs of a set that can answer a question of money."""
    costs = equipment.scenario.costs
    if costs is None:
        raise InputError.single(f"missing; {question} needs the table [costs] (prices, wages, season)", "costs")
    if income and costs.price_per_acre is None and costs.price_per_hour is None:
        message = f"missing; {question} needs costs.price_per_acre or costs.price_per_hour, such as 16.0"
        raise InputError.single(message, "costs.price_per_acre")
    return costs


def need_prices(pieces: Sequence[Piece], costs: Costs, question: str) -> None:
    """Refuse equipment without a price."""
    items = item_table(costs)
    problems = []
    for piece in pieces:
        if (piece.kind, piece.name) not in items:
            priced = [name for kind, name in items if kind == piece.kind]
            where = f"costs.{piece.kind}.{piece.name}"
            hint = nearest(piece.name, priced) if priced else ""
            message = f"missing; {question} needs its price, such as {{ purchase = 1500 }}, or 0 when it is free{hint}"
            problems.append(Problem(where, message))
    if problems:
        raise InputError(problems)


@dataclass(frozen=True)
class Purchase:
    """What a change buys and sells."""

    bought: tuple[tuple[Piece, Item], ...]
    sold: tuple[tuple[Piece, Item], ...]
    words: str

    @property
    def price(self) -> float:
        """Cash needed today: prices of what is bought less resale of what goes."""
        spent = sum(piece.number * item.purchase for piece, item in self.bought)
        return spent - sum(piece.number * item.purchase * item.resale_share for piece, item in self.sold)


_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def _more(number: int, word: str, name: str) -> str:
    count = abs(number)
    said = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
    noun = word if count == 1 or word.endswith("aircraft") else f"{word}s" if word != "person" else "people"
    return f"{said} {'more' if number > 0 else ('less' if count == 1 and not name else 'fewer')} {noun}" + (
        f" ({name})" if name else ""
    )


def piece_changes(before: Scenario, after: Scenario) -> list[Piece]:
    """Return how many pieces of each class come (positive) or go (negative)."""
    old = {(piece.kind, piece.name): piece.number for piece in pieces_of(before)}
    new = {(piece.kind, piece.name): piece.number for piece in pieces_of(after)}
    keys = sorted(set(old) | set(new), key=lambda key: (KINDS.index(key[0]), key[1]))
    changed = [Piece(*key, new.get(key, 0) - old.get(key, 0)) for key in keys]
    return [piece for piece in changed if piece.number]


def change_words(before: Scenario, after: Scenario) -> str:
    """Return what comes and goes in plain words; empty when no number of pieces or people changes."""
    words = [_more(piece.number, piece.kind, piece.name) for piece in piece_changes(before, after)]
    people = people_of(after) - people_of(before)
    if people:
        words.append(_more(people, "person", ""))
    return " and ".join(words)


def purchase_of(before: Scenario, after: Scenario, costs: Costs, question: str) -> Purchase:
    """Return what turns one set into another."""
    changes = piece_changes(before, after)
    need_prices(changes, costs, question)
    items = item_table(costs)
    paired = [(piece, items[piece.kind, piece.name]) for piece in changes]
    return Purchase(
        tuple((piece, item) for piece, item in paired if piece.number > 0),
        tuple((Piece(piece.kind, piece.name, -piece.number), item) for piece, item in paired if piece.number < 0),
        change_words(before, after),
    )
