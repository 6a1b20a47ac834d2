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
from simulator.scenario.types import called
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
    "charger": (("output_power", "{}", None),),
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
        item = prices.get((kind, name))
        price = number * item.purchase if item else 0.0
        total, unpriced = total + price, unpriced or item is None
        paid = [money(item.purchase, currency), money(price, currency)] if item else [NOTHING, NOTHING]
        rows.append([_described(one, kind, name), str(number), *paid])
    mains = [point.grid_power for rig in one.plan.rigs for point in rig.rig.power.values() if point.grid_power]
    rows += [[f"mains of {power_w / 1000.0:.3g} kW", "1", NOTHING, NOTHING] for power_w in mains]
    rows.append(["all that has a price" if unpriced else "all", "", "", money(total, currency)])
    rows = rows if prices else [row[:2] for row in rows[:-1]]
    columns = ("equipment", "number", "each", "price")[: len(rows[0])]
    return DataTable(one.name, columns, tuple(text_row(*row) for row in rows))


def _described(one: Offered, kind: str, name: str) -> str:
    """Return what people call a piece, and what tells it that its name does not say."""
    if kind == "rig":
        return _rig_words(one, name)
    values, product = sub(one.resolved, kind, name), one.plan.scenario.product.kind
    label = called(getattr(one.plan.scenario, kind)[name], name, kind)
    told = _TOLD.get(product if kind == "aircraft" else kind, ())
    words = [form.format(quantity_text(values[key], one.shown, what)) for key, form, what in told if values.get(key)]
    words = [text for text in words if text.replace(",", "") not in label.replace(",", "")]
    return plain(label, 80) + (f" ({', '.join(words)})" if words else "")


def _rig_words(one: Offered, name: str) -> str:
    """Return a vehicle with what stands on it and who works there."""
    rig = one.plan.scenario.rig[name]
    words = [f"{count} {noun}{'s' * (count > 1)}" for count, noun in
             ((rig.crew.pilots, "pilot"), (rig.crew.helpers, "helper")) if count]  # fmt: skip
    if one.plan.scenario.product.kind == "liquid":
        words.insert(0, f"mix tank of {amount_text(rig.supply.mix_tank, one.shown, TANK)}")
    named = f" {plain(name.replace('_', ' '), 60)}" if len(one.plan.rigs) > 1 else ""
    return f"vehicle and trailer{named}: {', '.join(words)}"


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
}


def _found(table: Table, wanted: _Wanted, shown: ReportUnits) -> list[Pair]:
    return [
        (label, quantity_text(found, shown, kind)) for label, keys, kind in wanted if (found := sub(table, *keys)) != {}
    ]


def assumption_lines(one: Offered) -> list[Pair]:
    """Return what was assumed of day, weather, and of the set's own equipment."""
    rows = _found(one.resolved, _ASSUMED, one.shown)
    work = {"repeat": "fields are gone through again until the day ends", "once": "each field once"}
    geography = one.plan.geography
    road = amount_text(geography.distance_m(None, geography.order[0]), one.shown, ROAD)
    rows += [("Road to the first field", road), ("Work", work[one.plan.scenario.work])]
    pieces = pieces_of(one.plan.scenario)
    for kind, name in pieces:
        several = sum(other == kind for other, _ in pieces) > 1
        found = _found(sub(one.resolved, kind, name), _OF_KIND.get(kind, ()), one.shown)
        of = f", {plain(called(getattr(one.plan.scenario, kind)[name], name, kind), 40)}" if several and found else ""
        rows += [(f"{label}{of}", text) for label, text in found]
    return [*rows, ("Weather stops", weather_words(one.plan))]


def weather_words(plan: DayPlan) -> str:
    """Return what stops take-offs."""
    weather = plan.scenario.weather
    if weather.file is not None:
        return "from an hourly weather file"
    return "none assumed" if weather.stoppages is None else "drawn at random"
