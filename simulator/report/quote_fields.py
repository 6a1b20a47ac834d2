"""The fields of a quote: every one with its area, product and rate, and the whole job; and where they lie."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from simulator.analysis.day_layout import field_records, lay_out
from simulator.analysis.digits import fixed
from simulator.plan.day_plan import DayPlan
from simulator.report.map_figure import PLACED
from simulator.report.quantities import DRY_RATE, LIQUID_RATE, amount_text
from simulator.report.quote_equipment import Offered
from simulator.report.table import DataTable, text_row
from simulator.report.writing import plain
from simulator.scenario.units import M2_PER_ACRE

_MOST_DRAWN = 200


def field_tables(sets: Sequence[Offered]) -> list[DataTable]:
    """Return the list of fields; one for each equipment set that has others."""
    tables = [_field_table(one) for one in sets]
    if all(table == tables[0] for table in tables):
        return tables[:1]
    return [replace(table, title=one.name) for table, one in zip(tables, sets, strict=True)]


def _field_table(one: Offered) -> DataTable:
    plan, shown = one.plan, one.shown
    liquid = plan.scenario.product.kind == "liquid"
    kind = LIQUID_RATE if liquid else DRY_RATE
    unit, per_unit = (shown.volume, shown.per_litre) if liquid else (shown.mass, shown.per_kilogram)

    def row(number: str, name: str, product: str, rate: str, area_m2: float, amount: float) -> Any:
        # field areas are inputs and have no interval
        area = fixed(area_m2 / M2_PER_ACRE * shown.per_acre, 1, comma=",")
        return text_row(number, name, product, rate, area, fixed(amount * per_unit, 0, comma=","))

    rows = [
        row(
            str(number),
            plain(field.name, 80),
            plain(field.product, 80) or plan.scenario.product.kind,
            amount_text(field.rate, shown, kind),
            field.area_m2,
            field.area_m2 * field.rate,
        )
        for number, field in enumerate(plan.fields, 1)
    ]
    rows.append(
        row("", "the whole job", "", "", plan.list_m2, sum(field.area_m2 * field.rate for field in plan.fields))
    )
    return DataTable("", ("no.", "field", "product", "rate", shown.area, unit), tuple(rows), words=4)


def outlines(plan: DayPlan) -> tuple[Sequence[Mapping[str, Any]], str]:
    """Return the fields as they are drawn, in the order of the list, and how the map is to be read."""
    used = range(min(len(plan.fields), _MOST_DRAWN))
    layout = lay_out(plan, used)
    words = "Fields where they lie, north up, numbered as in the list." if layout.given else PLACED
    left_out = len(plan.fields) - len(used)
    return field_records(plan, used, layout), words + (f" {left_out} further fields are not drawn." if left_out else "")
