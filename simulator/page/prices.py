"""The dealer's price list, one file for all scenarios of a folder; prices that are taken from it stand in the scenario.

So a scenario is whole by itself: the command line, or whoever is handed the file, finds the same prices in it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pydantic import ValidationError

from simulator.errors import InputError, Problem
from simulator.page.boxes import Box, Boxes, class_words, entry_words
from simulator.page.choose import class_of
from simulator.page.edit import Change, put
from simulator.page.store import PRICES
from simulator.report.quote_equipment import money
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_costs import Costs, Item
from simulator.study.money import KINDS, item_table, pieces_of

_GENERAL = {
    "currency": "Currency", "price_per_acre": "The customer pays, an acre", "wage_per_hour": "Wage of one, an hour",
    "fuel_per_litre": "Generator fuel, a litre", "grid_per_kwh": "Mains, a kWh",
    "drive_per_km": "Truck and trailer, a km", "other_per_day": "Other, a work day",
    "season_days": "Work days in a season", "interest": "Interest a year",
}  # fmt: skip
_GENERAL_LISTED = (
    "currency",
    "wage_per_hour",
    "fuel_per_litre",
    "grid_per_kwh",
    "drive_per_km",
    "other_per_day",
    "interest",
)


@dataclass(frozen=True)
class PriceRow:
    """One piece of equipment: its price here, and that of the list."""

    words: str
    price: Box
    life: Box
    listed: str
    differs: bool


def read_list(text: str) -> dict[str, Any]:
    """Read a price list: a table ``costs`` as in a scenario, by class; and ``dealer``."""
    try:
        tables = tomllib.loads(text)
        costs = tables.get("costs", {})
        Costs.model_validate(costs)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError.single(f"broken TOML: {error}", file=PRICES) from error
    except ValidationError as error:
        raise InputError(
            [Problem(".".join(map(str, one["loc"])), one["msg"], PRICES) for one in error.errors()[:20]]
        ) from error
    return {"costs": dict(costs), "dealer": dict(tables.get("dealer", {}))}


def priced(checked_tables: Mapping[str, Any], scenarios: Sequence[Scenario]) -> list[tuple[str, str]]:
    """Return every piece of equipment that has a price, by kind and name; those of classes by their kind."""
    found = dict.fromkeys(piece for scenario in scenarios for piece in pieces_of(scenario))
    return sorted(found, key=lambda piece: (KINDS.index(piece[0]), piece[1]))


def _listed(price_list: Mapping[str, Any], tables: Mapping[str, Any], kind: str, name: str) -> Mapping[str, Any]:
    """Return an item of the price list, by its own name or by its class."""
    entries = (price_list.get("costs") or {}).get(kind) or {}
    like = class_of(tables, kind, name) if kind != "rig" else _rig_class(tables, name)
    found = entries.get(name) or entries.get(like) or {}
    return found if isinstance(found, Mapping) else {}


def _rig_class(tables: Mapping[str, Any], name: str) -> str:
    rigs = [(tables.get("rig") or {}).get(name, {})]
    rigs += [(one.get("rig") or {}).get(name, {}) for one in (tables.get("equipment_set") or {}).values()]
    return next((str(rig["like"]) for rig in rigs if isinstance(rig, Mapping) and "like" in rig), "")


def price_boxes(boxes: Boxes) -> list[Box]:
    """Return the inputs of wages, fuel, what the customer pays, and so on."""
    return [boxes.box(("costs", key), words) for key, words in _GENERAL.items()]


def price_rows(boxes: Boxes, price_list: Mapping[str, Any]) -> list[PriceRow]:
    """Return the price of every piece of equipment of the sets, beside that of the list."""
    checked, rows = boxes.checked, []
    for kind, name in priced(checked.tables, [one.scenario for one in checked.plans]):
        words = "Trailer, tank and pump" if kind == "rig" else entry_words(checked.tables, kind, name)
        words = f"{words} ({class_words(name)})" if kind == "rig" and name != "main" else words
        listed = str(_listed(price_list, checked.tables, kind, name).get("purchase", ""))
        price = boxes.box(("costs", kind, name, "purchase"), f"Price of one: {words}")
        life = boxes.box(("costs", kind, name, "life_years"), f"Years it lasts: {words}")
        price = replace(price, said=[*price.said, *boxes.said(f"costs.{kind}.{name}")])
        life = replace(life, usual=life.usual or str(Item.model_fields["life_years"].default))
        rows.append(PriceRow(words, price, life, listed, bool(listed) and _differ(price.value, listed)))
    return rows


def _differ(price: str, listed: str) -> bool:
    try:
        return float(price) != float(listed)
    except ValueError:
        return True


def take_prices(
    tables: Mapping[str, Any], scenarios: Sequence[Scenario], price_list: Mapping[str, Any]
) -> list[Change]:
    """Return the changes that give a scenario the list's prices for its equipment, wages and fuel."""
    changes = []
    for kind, name in priced(tables, scenarios):
        item = _listed(price_list, tables, kind, name)
        if item:
            changes += [put(("costs", kind, name, key), value) for key, value in item.items()]
    costs = price_list.get("costs") or {}
    changes += [put(("costs", key), costs[key]) for key in _GENERAL_LISTED if key in costs]
    return changes


def keep_prices(tables: Mapping[str, Any], scenarios: Sequence[Scenario]) -> list[Change]:
    """Return the changes that bring a scenario's prices into the list, by class."""
    costs = tables.get("costs") or {}
    changes = [put(("costs", key), costs[key]) for key in _GENERAL_LISTED if key in costs]
    for kind, name in priced(tables, scenarios):
        item = (costs.get(kind) or {}).get(name)
        if isinstance(item, Mapping):
            like = class_of(tables, kind, name) if kind != "rig" else _rig_class(tables, name)
            changes += [put(("costs", kind, like or name, key), value) for key, value in item.items()]
    return changes


def investment(scenario: Scenario) -> str:
    """Return what a set costs to buy, or what of it has no price."""
    if scenario.costs is None:
        return ""
    items, pieces = item_table(scenario.costs), pieces_of(scenario)
    lacking = [name for (kind, name) in pieces if (kind, name) not in items]
    if len(lacking) == len(pieces):
        return ""
    total = sum(number * items[piece].purchase for piece, number in pieces.items() if piece in items)
    text = f"Investment {money(total, scenario.costs.currency)}"
    return f"{text}, without {', '.join(map(class_words, lacking))}: no price" if lacking else text
