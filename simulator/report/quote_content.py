"""What a quote sheet says, before any layout: answer, equipment, fields, assumptions, price, cautions."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError
from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.day_output import day_spread, day_values, has_days
from simulator.report.job_text import job_text
from simulator.report.map_figure import PLACED
from simulator.report.numbers import (
    ReportUnits,
    fixed,
    hours_text,
    quantile_text,
    range_text,
    units_of,
)
from simulator.report.quote_equipment import Pair, assumption_lines, equipment_lines, sub
from simulator.report.quote_fields import FieldLine, drawn_fields, field_lines
from simulator.report.stored import StoredResult
from simulator.report.summary import is_invented, report_title
from simulator.report.writing import plain
from simulator.scenario.power_balance import power_words

_MOST_CHANGES = 3
_LONGEST_NOTE = 900


@dataclass(frozen=True)
class QuoteContent:
    """A quote sheet's text, each already one clean line or paragraph."""

    title: str
    customer: str
    subject: str
    set_name: str
    made: datetime.date
    valid_until: datetime.date
    answer: str
    details: list[str]
    limits: list[str]
    more: list[str]
    equipment: list[Pair]
    assumptions: list[Pair]
    price: list[Pair]
    fields: list[FieldLine]
    fields_note: str
    outlines: list[list[list[list[float]]]]
    map_note: str
    notes: str
    cautions: tuple[str, ...]
    simulation_note: str
    invented_note: str
    made_by: str
    metric: bool


def quote_content(
    stored: StoredResult,
    set_name: str,
    customer: str,
    price: float | None = None,
    valid_days: int = 30,
    notes: str = "",
    today: datetime.date | None = None,
) -> QuoteContent:
    """Return what a quote sheet says of one equipment set.

    Raises
    ------
    InputError
        No such set, no customer, or a number out of range.
    """
    entry = stored.equipment_set(set_name)
    who = plain(customer, 120)
    if not who:
        raise InputError.single("got no name; allowed is the customer's name", "customer")
    if isinstance(valid_days, bool) or not 1 <= valid_days <= 3650:
        raise InputError.single(f"got {valid_days}; allowed is 1 to 3650 days", "valid-days")
    if price is not None and not (math.isfinite(price) and 0.0 <= price <= 1e9):
        raise InputError.single(f"got {price}; allowed is a price from 0 to 1e9", "price")
    shown = units_of(stored.document)
    table = _resolved(stored, set_name)
    record = stored.day_records.get(set_name, {})
    fields, fields_note, area = field_lines(record, table, shown)
    made = datetime.date.today() if today is None else today
    stepped = has_days(entry) and is_stepped(day_values(stored.runs, entry, shown))
    given = "Fields where they lie, north up." if record.get("layout") == "given" else PLACED
    return QuoteContent(
        title="Expected output of a spraying rig",
        customer=who,
        subject=plain(report_title(stored.document, stored.manifest), 200),
        set_name=plain(set_name, 80),
        made=made,
        valid_until=made + datetime.timedelta(days=valid_days),
        answer=job_text(stored.document, entry) or _days(entry, shown),
        details=_details(stored.document, entry, shown, stepped),
        limits=[plain(entry["bottleneck"]["sentence"], 1200)],
        more=_more(entry, shown),
        equipment=equipment_lines(table, shown),
        assumptions=assumption_lines(table, shown),
        price=_price(table, entry, price, area, shown),
        fields=fields,
        fields_note=fields_note,
        outlines=[one["rings"] for one in drawn_fields(record)],
        map_note=given,
        notes=plain(notes, _LONGEST_NOTE),
        cautions=CAUTIONS,
        simulation_note=SIMULATION_NOTE,
        invented_note=INVENTED_NOTE if is_invented(stored.document, stored.manifest) else "",
        made_by=_made_by(stored),
        metric=shown.name == "metric",
    )


def _resolved(stored: StoredResult, set_name: str) -> Mapping[str, Any]:
    tables = stored.manifest.get("resolved")
    table = tables.get(set_name) if isinstance(tables, Mapping) else None
    return table if isinstance(table, Mapping) else {}


def _made_by(stored: StoredResult) -> str:
    manifest = stored.manifest
    words = [f"acreday {plain(manifest.get('acreday_version', '?'), 20)}", f"seed {stored.document['seed']}"]
    if isinstance(manifest.get("scenario_sha256"), str):
        words.append(f"scenario {plain(manifest['scenario_sha256'], 13)}")
    if isinstance(manifest.get("created"), str):
        words.append(f"simulated {plain(manifest['created'][:10])}")
    return "; ".join(words)


_STEPPED = 0.25
"""Share of days with the very output of another day from which output goes in steps."""


def is_stepped(output: NDArray[np.float64]) -> bool:
    """Return whether many days end on the same output, as they do where days end on whole passes, loads and fields."""
    values = output[np.isfinite(output)]
    if len(values) < 4:
        return False
    size = max(float(np.abs(values).max()), 1e-12)
    _, counts = np.unique(np.round(values / size, 7), return_counts=True)
    return float(counts[counts > 1].sum()) >= _STEPPED * len(values)


def _reached(spread: Mapping[str, Any], name: str) -> str:
    """Return a percentile as text that is not more than the percentile itself, so that as many days do reach it."""
    text, value = quantile_text(spread, name), float(spread[name])
    if float(text) <= value * (1 + 1e-9):
        return text
    decimals = len(text.partition(".")[2])
    return fixed(math.floor(value * 10.0**decimals) / 10.0**decimals, decimals)


def _days(entry: Mapping[str, Any], shown: ReportUnits) -> str:
    spread, of = day_spread(entry, shown), "full days" if has_days(entry) else "jobs"
    half, most, unit = (
        _reached(spread, "p50"),
        _reached(spread, "p10"),
        f"{shown.area}{'' if has_days(entry) else ' a day'}",
    )
    if half == most:
        return f"Nine {of} in ten reach {most} {unit} or more; half of them do no better."
    return f"Half of {of} reach {half} {unit} or more; nine in ten reach {most} {unit} or more."


def _details(document: Mapping[str, Any], entry: Mapping[str, Any], shown: ReportUnits, stepped: bool) -> list[str]:
    spread = entry[shown.spread_key]
    text = (
        f"From {entry['runs']} simulated runs of the job. Mean {range_text(spread['mean'], spread['ci95'])}"
        f" {shown.area} a day, with its 95 % interval."
    )
    if stepped:
        text += " Days end on whole passes, loads and fields, so output goes in steps and many days do just the same."
    lines = [_days(entry, shown), text] if job_text(document, entry) else [text]
    if entry.get("power"):
        lines.append(power_words(entry["power"]))
    hours = entry["per_day"].get("paid_hours")
    if hours is not None:
        lines.append(
            f"A day has {hours_text(hours)} paid hours from the yard and back, with the road, setting up and breaks."
        )
    return lines


def _more(entry: Mapping[str, Any], shown: ReportUnits) -> list[str]:
    changes = entry["bottleneck"].get("one_more") or []
    if not changes:
        return ["What one more of anything would add was not simulated."]
    sure = [change for change in changes if change["ci95"][0] is not None and change["ci95"][0] > 0.0]
    if not sure:
        return ["No single addition that was tried adds output beyond doubt."]
    lines = []
    for change in sorted(sure, key=lambda one: -one["acres_per_day"])[:_MOST_CHANGES]:
        limits = [None if limit is None else limit * shown.per_acre for limit in change["ci95"]]
        amount = range_text(change["acres_per_day"] * shown.per_acre, limits, sign=True)
        lines.append(f"{plain(change['change'], 200)}: {amount} {shown.area} a day")
    return lines


def _price(
    table: Mapping[str, Any], entry: Mapping[str, Any], price: float | None, area: float | None, shown: ReportUnits
) -> list[Pair]:
    costs = sub(table, "costs")
    currency = plain(costs.get("currency", "$"), 5) if isinstance(costs, Mapping) else "$"

    def money(amount: float, decimals: int = 0) -> str:
        return f"{currency} {fixed(amount, decimals, comma=',')}"

    per_area = price
    hourly = None
    if per_area is None and isinstance(costs, Mapping):
        listed = _money(costs.get("price_per_acre"))
        per_area = None if listed is None else listed / shown.per_acre
        hourly = _money(costs.get("price_per_hour"))
    if per_area is not None:
        rows = [(f"Price per {shown.area_one}", money(per_area, 2))]
        if area is not None:
            rows.append((f"Fields listed, {fixed(area, 0, comma=',')} {shown.area}", f"about {money(per_area * area)}"))
        return [*rows, ("Taxes and product", "as agreed; not part of this price")]
    if hourly is not None:
        rows = [("Price per rig hour", money(hourly, 2))]
        hours = entry["per_day"].get("paid_hours")
        if hours is not None:
            rows.append((f"A day of {hours_text(hours)} h", f"about {money(hourly * round(hours, 1))}"))
        return [*rows, ("Taxes and product", "as agreed; not part of this price")]
    return [("Price", "to be agreed")]


def _money(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1e9:
        return None
    return float(value)
