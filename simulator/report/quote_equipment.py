"""The equipment and the assumptions of a quote, in the quote's units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from simulator.analysis.digits import fixed
from simulator.plan.day_plan import DayPlan
from simulator.report.numbers import NOTHING, ReportUnits
from simulator.report.quantities import (
    FLYING_SPEED,
    HOPPER,
    LIQUID_FLOW,
    MASS,
    ROAD,
    ROAD_SPEED,
    TANK,
    TEMPERATURE,
    WIDTH,
    Kind,
    amount_text,
    quantity_text,
)
from simulator.report.table import DataTable, text_row
from simulator.report.writing import plain
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.money import item_table, pieces_of
from simulator.study.words import leading

Table = Mapping[str, Any]
Pair = tuple[str, str]


class Offered(NamedTuple):
    """An equipment set that is offered: its plan, its scenario as a table, its entry of the result."""

    name: str
    plan: DayPlan
    resolved: Table
    entry: Table
    shown: ReportUnits

    @property
    def area(self) -> float:
        """Area of all fields in the quote's unit."""
        return self.plan.list_m2 / M2_PER_ACRE * self.shown.per_acre


_TOLD: dict[str, tuple[tuple[str, str, Kind | None], ...]] = {
    "liquid": (("tank", "tank {}", TANK), ("swath", "swath {}", WIDTH)),
    "granules": (("hopper_mass", "hopper {}", HOPPER), ("spread_swath", "swath {}", WIDTH)),
    "pack": (("energy", "{}", None), ("mass", "{}", MASS)),
    "charger": (("output_power", "{}", None), ("setting", "set to {}", None), ("slots", "slots: {}", None)),
    "generator": (("rated_power", "{}", None),),
}
"""What tells a class, by kind of equipment, or of product for aircraft."""


def money(amount: float, currency: str, decimals: int = 0) -> str:
    """Return an amount of money."""
    return f"{leading(currency)}{fixed(amount, decimals, comma=',')}"


def sub(table: Any, *keys: str) -> Any:
    """Return what stands under nested keys; an empty table when something is missing."""
    for key in keys:
        table = table.get(key) if isinstance(table, Mapping) else None
    return {} if table is None else table


def equipment_table(one: Offered) -> DataTable:
    """Return what works in a set, and no more, with the prices that the scenario has."""
    scenario, rows, total, unpriced = one.plan.scenario, [], 0.0, False
    prices = item_table(scenario.costs) if scenario.costs else {}
    currency = scenario.costs.currency if scenario.costs else ""
    for (kind, name), number in pieces_of(scenario).items():
        text, item = _described(one, kind, name), prices.get((kind, name))
        if kind == "rig":
            crew = scenario.rig[name].crew
            text += f", with pilots: {crew.pilots}, helpers: {crew.helpers}"
        price = number * item.purchase if item else 0.0
        total, unpriced = total + price, unpriced or item is None
        paid = [money(item.purchase, currency), money(price, currency)] if item else [NOTHING, NOTHING]
        rows.append([kind, text, str(number), *paid])
    mains = [point.grid_power for rig in one.plan.rigs for point in rig.rig.power.values() if point.grid_power]
    rows += [["mains", f"{power_w / 1000.0:.3g} kW", "1", NOTHING, NOTHING] for power_w in mains]
    rows.append(["", "all that has a price" if unpriced else "all", "", "", money(total, currency)])
    rows = rows if prices else [row[:3] for row in rows[:-1]]
    columns = ("equipment", "class", "number", "each", "price")[: len(rows[0])]
    return DataTable(one.name, columns, tuple(text_row(*row) for row in rows), words=2)


def _described(one: Offered, kind: str, name: str) -> str:
    values, product = sub(one.resolved, kind, name), one.plan.scenario.product.kind
    told = _TOLD.get(product if kind == "aircraft" else kind, ())
    words = [form.format(quantity_text(values[key], one.shown, what)) for key, form, what in told if values.get(key)]
    if kind == "rig" and product == "liquid":
        words = [f"mix tank {quantity_text(sub(values, 'supply', 'mix_tank'), one.shown, TANK)}"]
    return plain(name, 60) + (f" ({', '.join(words)})" if words else "")


_Wanted = tuple[tuple[str, tuple[str, ...], Kind | None], ...]
_ASSUMED: _Wanted = (
    ("Day starts", ("day", "start"), None),
    ("Last landing", ("day", "last_landing"), None),
    ("Flying window", ("day", "window"), None),
    ("Road speed", ("route", "road_speed"), ROAD_SPEED),
    ("Air temperature", ("weather", "air_temperature"), TEMPERATURE),
    ("Altitude", ("weather", "altitude"), WIDTH),
)
_OF_KIND: dict[str, _Wanted] = {
    "aircraft": (("Working speed", ("spray_speed",), FLYING_SPEED),),
    "pack": (("Charge kept", ("reserve",), None),),
    "rig": (
        ("Swap of a pack", ("crew", "tasks", "swap", "time"), None),
        ("Fill, besides pumping", ("crew", "tasks", "fill", "time"), None),
        ("Fill pump", ("supply", "pump_flow"), LIQUID_FLOW),
        ("Set up at a field", ("trailer", "set_up_time"), None),
        ("Pack up at a field", ("trailer", "pack_up_time"), None),
    ),
}


def _found(table: Table, wanted: _Wanted, shown: ReportUnits) -> list[Pair]:
    return [
        (label, quantity_text(found, shown, kind)) for label, keys, kind in wanted if (found := sub(table, *keys)) != {}
    ]


def assumption_lines(one: Offered) -> list[Pair]:
    """Return what was assumed of day, weather, and of the set's own equipment and tasks."""
    rows = _found(one.resolved, _ASSUMED, one.shown)
    work = {"repeat": "fields are gone through again until the day ends", "once": "each field once"}
    geography = one.plan.geography
    road = amount_text(geography.distance_m(None, geography.order[0]), one.shown, ROAD)
    rows += [("Road to the first field", road), ("Work", work[one.plan.scenario.work])]
    pieces = pieces_of(one.plan.scenario)
    for kind, name in pieces:
        several = sum(other == kind for other, _ in pieces) > 1
        found = _found(sub(one.resolved, kind, name), _OF_KIND.get(kind, ()), one.shown)
        rows += [(f"{label}, {plain(name, 40)}" if several else label, text) for label, text in found]
    return [*rows, ("Weather stops", weather_words(one.plan))]


def weather_words(plan: DayPlan) -> str:
    """Return what stops take-offs."""
    weather = plan.scenario.weather
    if weather.file is not None:
        return "from an hourly weather file"
    return "none assumed" if weather.stoppages is None else "drawn at random"
