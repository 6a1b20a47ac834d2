"""Scenario table of money: what equipment costs, what work earns, and how long a season is."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from simulator.scenario import units
from simulator.scenario.schema_equipment import Share
from simulator.scenario.types import Quantity, Table, fail, may, maybe, must

Money = Annotated[float, Field(ge=0.0, le=1e9, allow_inf_nan=False)]
"""Plain number in the scenario's currency."""
Days = Annotated[float, Quantity(units.NUMBER, above=0.0, most=366.0)]
Years = Annotated[float, Quantity(units.NUMBER, above=0.0, most=50.0)]


class Item(Table):
    """What one piece of equipment costs over its life."""

    purchase: Money = must("Price of one.")
    life_years: Years = may("5", "Years until it is replaced; assumption.")
    life_cycles: Annotated[float, Quantity(units.NUMBER, above=0.0)] | None = maybe(
        "Charge cycles until it is replaced (packs); none: years alone. Source: the maker, or battery notes.",
    )
    life_hours: Annotated[float, Quantity(units.NUMBER, above=0.0)] | None = maybe(
        "Running or airborne hours until it is replaced; none: years alone. Assumption."
    )
    resale_share: Share = may("20 %", "Part of the price got back at the end of life; assumption.")
    upkeep_share: Share = may("5 %", "Upkeep a year over the price; assumption.")


class Costs(Table):
    """Money: all in one currency."""

    currency: Annotated[str, Field(pattern=r"^[A-Za-z$€£]{1,5}$")] = may(
        "$", "Sign or code of the currency; assumption."
    )
    price_per_acre: Money | None = maybe("What the customer pays an acre; none: price_per_hour. Assumption.")
    price_per_hour: Money | None = maybe("What the customer pays a paid rig hour; none: price_per_acre. Assumption.")
    wage_per_hour: Money = may(25.0, "Cost of one person and hour; assumption.")
    fuel_per_litre: Money = may(1.0, "Generator fuel; assumption.")
    grid_per_kwh: Money = may(0.15, "Energy of a grid supply; assumption.")
    drive_per_km: Money = may(0.6, "Truck and trailer; assumption.")
    other_per_day: Money = may(0.0, "Insurance, licence and the like, a work day; assumption.")
    season_days: Days = may("45", "Work days in a season; assumption.")
    season_demand: Annotated[float, Quantity(units.AREA, above=0.0)] | None = maybe(
        "Most that can be sold in a season; none: no cap. Assumption."
    )
    interest: Share = may("8 %", "Interest a year; assumption.")
    horizon_years: Years = may("5", "Years that a purchase is judged over; assumption.")
    aircraft: dict[str, Item] = may({}, "By aircraft class. Assumption: not priced.")
    pack: dict[str, Item] = may({}, "By pack type. Assumption: not priced.")
    charger: dict[str, Item] = may({}, "By charger class. Assumption: not priced.")
    generator: dict[str, Item] = may({}, "By generator class. Assumption: not priced.")
    rig: dict[str, Item] = may({}, "By rig: trailer, mix tank, pump. Assumption: not priced.")
    pump: Item | None = maybe("A faster fill pump, for asking what to buy next; none: not priced. Assumption.")
    pay: Literal["paid hours", "field hours"] = may("paid hours", "Hours that wages are paid for; assumption.")

    @model_validator(mode="after")
    def _one_price(self) -> Costs:
        if self.price_per_acre is not None and self.price_per_hour is not None:
            raise fail("both price_per_acre and price_per_hour are given; allowed is one of them")
        return self
