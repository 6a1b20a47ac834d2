"""The dealer's price list, one file for all scenarios of a folder; prices that are taken from it stand in the scenario.

So a scenario is whole by itself: the command line, or whoever is handed the file, finds the same prices in it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from simulator.errors import InputError, Problem
from simulator.page.boxes import Box, Boxes, class_words, entry_words
from simulator.page.check import Checked
from simulator.page.choose import class_of
from simulator.page.edit import Change, put
from simulator.page.store import PRICES
from simulator.report.quote_equipment import money
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_costs import Costs, Item
from simulator.study.money import KINDS, item_table, pieces_of

_GENERAL = {
    "price_per_acre": "The customer pays, an acre", "season_days": "Work days in a season", "currency": "Currency",
    "wage_per_hour": "Wage of one, an hour", "fuel_per_litre": "Generator fuel, a litre",
    "grid_per_kwh": "Mains, a kWh", "drive_per_km": "Truck and trailer, a km", "other_per_day": "Other, a work day",
    "interest": "Interest a year",
}  # fmt: skip
_OF_DEALER = list(_GENERAL)[2:]
"""What the price list keeps: the first two are the customer's."""


def read_list(text: str) -> dict[str, Any]:
    """Read a price list: a table ``costs`` as in a scenario, by class; and ``dealer``."""
    try:
        tables = tomllib.loads(text)
        Costs.model_validate(tables.get("costs", {}))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError.single(f"broken TOML: {error}", file=PRICES) from error
    except ValidationError as error:
        found = [Problem(".".join(map(str, one["loc"])), one["msg"], PRICES) for one in error.errors()[:20]]
        raise InputError(found) from error
    return {"costs": tables.get("costs", {}), "dealer": dict(tables.get("dealer", {}))}


def _pieces(checked: Checked) -> list[tuple[str, str, str]]:
    """Return every piece of equipment that may have a price: kind, name, and class."""
    found = {piece for plan in checked.plans for piece in pieces_of(plan.scenario)}
    ordered = sorted(found, key=lambda piece: (KINDS.index(piece[0]), piece[1]))
    return [
        (kind, name, _set_up(checked, name) if kind == "rig" else class_of(checked.tables, kind, name))
        for kind, name in ordered
    ]


def _set_up(checked: Checked, name: str) -> str:
    rigs = ((table.get("rig") or {}).get(name) for table in checked.merged.values())
    return next((str(rig["like"]) for rig in rigs if isinstance(rig, Mapping) and "like" in rig), "")


def price_boxes(boxes: Boxes) -> list[Box]:
    """Return the inputs of wages, fuel, what the customer pays, and so on."""
    return [boxes.box(("costs", key), words) for key, words in _GENERAL.items()]


def price_rows(boxes: Boxes, price_list: Mapping[str, Any]) -> list[tuple[str, Box, Box, str]]:
    """Return every piece of equipment: its words, price, years it lasts, and its price in the list."""
    rows = []
    for kind, name, like in _pieces(boxes.checked):
        words = "Trailer, tank and pump" if kind == "rig" else entry_words(boxes.checked.tables, kind, name)
        words += f" ({class_words(name)})" if kind == "rig" and name != "main" else ""
        place = ("costs", kind, name)
        price = boxes.box((*place, "purchase"), f"Price of one: {words}")
        life = boxes.box((*place, "life_years"), f"Years it lasts: {words}")
        unpriced = [] if price.value else ["not counted until its price is typed"]
        price = replace(price, said=[*price.said, *boxes.said(".".join(place))], remarks=[*price.remarks, *unpriced])
        life = replace(life, usual=life.usual or str(Item.model_fields["life_years"].default))
        listed = str(_item(price_list, kind, name, like).get("purchase", "–"))
        rows.append((words, price, life, f"{listed} (differs)" if listed not in ("–", price.value) else listed))
    return rows


def _item(price_list: Mapping[str, Any], kind: str, name: str, like: str) -> Mapping[str, Any]:
    """Return an item of the price list, by its own name or by its class."""
    entries = price_list["costs"].get(kind) or {}
    return entries.get(name) or entries.get(like) or {}


def take_prices(checked: Checked, price_list: Mapping[str, Any]) -> list[Change]:
    """Return the changes that give a scenario the list's prices for its equipment, wages and fuel."""
    items = {(kind, name): _item(price_list, kind, name, like) for kind, name, like in _pieces(checked)}
    changes = [put(("costs", *piece, key), value) for piece, item in items.items() for key, value in item.items()]
    costs = price_list["costs"]
    return changes + [put(("costs", key), costs[key]) for key in _OF_DEALER if key in costs]


def keep_prices(checked: Checked) -> list[Change]:
    """Return the changes that bring a scenario's prices into the list, by class."""
    costs = checked.tables.get("costs") or {}
    changes = [put(("costs", key), costs[key]) for key in _OF_DEALER if key in costs]
    for kind, name, like in _pieces(checked):
        item = (costs.get(kind) or {}).get(name) or {}
        changes += [put(("costs", kind, like or name, key), value) for key, value in item.items()]
    return changes


def investment(scenario: Scenario) -> str:
    """Return what a set costs to buy, and what of it has no price."""
    items = {} if scenario.costs is None else item_table(scenario.costs)
    pieces = pieces_of(scenario)
    lacking = [class_words(piece[1]) for piece in pieces if piece not in items]
    if scenario.costs is None or len(lacking) == len(pieces):
        return ""
    total = sum(number * items[piece].purchase for piece, number in pieces.items() if piece in items)
    without = f", without {', '.join(lacking)}: no price" if lacking else ""
    return f"Investment {money(total, scenario.costs.currency)}{without}"
