"""The tables of a result, each described once; terminal, Markdown and HTML write the same."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from simulator.report.day_output import PERCENTILES, day_spread, days_key, output_texts
from simulator.report.numbers import (
    NOTHING,
    ReportUnits,
    count_text,
    hours_text,
    mean_text,
    product_unit,
    share_text,
    shared_decimals,
    shown_name,
    units_of,
)
from simulator.report.palette import aircraft_looks, resource_looks, time_use_group
from simulator.report.ranking import all_sets, best_first, one_more, paired, scaled
from simulator.report.table import Cell, DataTable, text_row
from simulator.report.writing import fit, plain
from simulator.scenario.units import M_PER_MILE

Document = Mapping[str, Any]
Limits = Sequence[float | None]
PER_DAY: dict[str, tuple[str, str, str]] = {
    "sorties": ("sorties", "sorties", ""),
    "loads": ("loads", "loads", ""),
    "pack_swaps": ("pack swaps", "swaps", ""),
    "charge_cycles": ("charges", "charges", ""),
    "moves": ("drives (the yard's too)", "", ""),
    "fields_finished": ("fields finished", "", ""),
    "drive_km": ("road driven", "", "road"),
    "applied": ("product applied", "", "product"),
    "mixed": ("product made ready", "", "product"),
    "left_over": ("product left over", "", "product"),
    "overspray": ("product outside the field or twice (part of what is applied)", "overspray", "product"),
    "water_fetched_l": ("water fetched", "", "volume"),
    "energy_kwh": ("energy from the supply", "energy", "kWh"),
    "generator_fuel_l": ("generator fuel", "fuel", "volume"),
    "paid_hours": ("paid hours of the rigs", "paid", "h"),
    "crew_hours": ("paid hours of people", "", "h"),
    "field_hours": ("hours at the fields", "", "h"),
}
"""Key in ``per_day``, words, words on a terminal (none: left out there), and kind of unit."""
_TERMINAL = ("sorties", "loads", "pack_swaps", "charge_cycles", "generator_fuel_l", "paid_hours", "overspray")
FIELD_WORDS = "on a field of"
_FAR = 5.0
"""What a resource could do alone is not shown where it is beyond so many times the output of every set."""


def area_texts(document: Document, entry: Document) -> dict[str, str]:
    """Return a set's areas a day as they are written wherever the result is shown, alone or beside other sets."""
    sets = all_sets(document)
    texts = output_texts(sets, units_of(document))
    return next(text for one, text in zip(sets, texts, strict=True) if one["name"] == entry["name"])


def answer_table(document: Document, terminal: bool = False) -> DataTable:
    """Return the output of each set, best first; for a terminal with what a day takes, in few words."""
    shown = units_of(document)
    ranked, rows, factor = best_first(document), [], shown.per_acre
    key = days_key(all_sets(document), shown)
    rates = [entry.get("acres_per_field_hour") for _, entry in ranked]
    rate_decimals = shared_decimals([scaled(rate["ci95"], factor) for rate in rates if rate], 1)
    for (place, entry), rate in zip(ranked, rates, strict=True):
        spread, texts, path = (
            day_spread(entry, all_sets(document), shown),
            area_texts(document, entry),
            f"equipment_sets.{place}",
        )
        cells = [Cell(fit(shown_name(entry), 34 if terminal else 80))]
        cells.append(Cell(texts["interval"], spread["mean"], f"{path}.{shown.spread_key}.mean"))
        cells += [Cell(texts[name], spread[name], f"{path}.{key}.{name}") for name in PERCENTILES]
        limits = None if rate is None else scaled(rate["ci95"], factor)
        pace = NOTHING if rate is None else mean_text(rate["mean"] * factor, limits, rate_decimals)
        rows.append((*cells, Cell(pace), Cell(str(entry["runs"]), entry["runs"], f"{path}.runs")))
    columns = ("set", f"{shown.area}/day", "P10", "P50", "P90", f"{shown.area}/field h", "runs")
    return DataTable(f"{shown.area} per day", columns, tuple(rows))


def terminal_table(document: Document, job: DataTable | None) -> DataTable:
    """Return one table of output, job and what a day takes, a row a set, best first."""
    answer, shown = answer_table(document, terminal=True), units_of(document)
    jobs = {} if job is None else {row[0].text: row[1:] for row in job.rows}
    sets = [entry for _, entry in best_first(document)]
    keys = [key for key in _TERMINAL if any(entry["per_day"].get(key) for entry in sets)]
    if "generator_fuel_l" not in keys:
        keys.insert(min(4, len(keys)), "energy_kwh")
    rows = [
        (*row[:-1], *jobs.get(shown_name(entry), ()), *(Cell(_daily(entry, key, shown)) for key in keys))
        for row, entry in zip(answer.rows, sets, strict=True)
    ]
    heads = (*answer.columns[:-1], *(() if job is None else job.columns[1:]), *(PER_DAY[key][1] for key in keys))
    return DataTable(answer.title, heads, tuple(rows))


def per_day_table(document: Document, ranking: bool = True) -> DataTable:
    """Return what an average day takes, a column a set, best first or in their own order."""
    shown, ranked = units_of(document), best_first(document) if ranking else [*enumerate(document["equipment_sets"])]
    sets, rows = [entry for _, entry in ranked], []
    for key, (words, _, _) in PER_DAY.items():
        if any(entry["per_day"].get(key) for entry in sets):
            values = [entry["per_day"].get(key) for entry in sets]
            rows.append(
                (Cell(words), *_each(ranked, values, f"per_day.{key}", [_daily(entry, key, shown) for entry in sets]))
            )
    return DataTable("An average work day", ("a day", *map(shown_name, sets)), tuple(rows))


_Ranked = Sequence[tuple[int, Mapping[str, Any]]]


def _each(sets: _Ranked, values: Sequence[float | None], path: str, texts: Sequence[str] = ()) -> list[Cell]:
    """Return a cell for every set, of values that stand at a path of each; by default as shares."""
    written = texts or [share_text(value) for value in values]
    return [
        Cell(text) if value is None else Cell(text, value, f"equipment_sets.{place}.{path}")
        for (place, _), value, text in zip(sets, values, written, strict=True)
    ]


def _daily(entry: Mapping[str, Any], key: str, shown: ReportUnits) -> str:
    """Return one number of an average day with its unit; overspray with its part of what is applied."""
    value, kind = entry["per_day"].get(key), PER_DAY[key][2]
    if value is None or not math.isfinite(value):
        return NOTHING
    factor, unit = 1.0, kind
    if kind == "road":
        factor, unit = (1000.0 / M_PER_MILE, "mi") if shown.name == "us" else (1.0, "km")
    elif kind == "product":
        factor, unit = product_unit(entry, shown)
    elif kind == "volume":
        factor, unit = shown.per_litre, shown.volume
    text = hours_text(value) if kind == "h" else count_text(value * factor)
    text = f"{text} {unit}" if unit else text
    applied = entry["per_day"].get("applied")
    return f"{text} ({share_text(value / applied)})" if key == "overspray" and applied else text


def time_table(document: Document) -> DataTable:
    """Return the share of aircraft time by state and reason, a column a set."""
    ranked, looks = best_first(document), aircraft_looks()
    sets = [entry for _, entry in ranked]
    labels = list(dict.fromkeys(label for entry in sets for label in entry["time_share"]))
    labels.sort(key=lambda label: list(looks).index(time_use_group(label)))
    rows = []
    for label in labels:
        cells = _each(ranked, [entry["time_share"].get(label) for entry in sets], f"time_share.{label}")
        rows.append((Cell(label), Cell(looks[time_use_group(label)].label), *cells))
    columns = ("state", "group", *map(shown_name, sets))
    return DataTable("Share of aircraft time by state and reason", columns, tuple(rows), words=2)


def practice_table(document: Document) -> DataTable | None:
    """Return what a practitioner checks first, a column a set; None where a result has none."""
    sets = [entry for _, entry in best_first(document) if entry.get("practice")]
    return amounts_table([(shown_name(entry), entry["practice"]) for entry in sets])


def amounts_table(sets: Sequence[tuple[str, Sequence[Sequence[str]]]]) -> DataTable | None:
    """Return what a practitioner checks first of named sets, each a list of what it is and how much.

    Sets of which the same is said share a column.
    """
    said: dict[tuple[tuple[str, str], ...], list[str]] = {}
    for name, lines in sets:
        said.setdefault(tuple((plain(words), plain(amount, 200)) for words, amount in lines), []).append(name)
    amounts = list(map(dict, said))
    every = dict.fromkeys(words for one in amounts for words in one)
    where, fields = "", {one.get(FIELD_WORDS) for one in amounts}
    if len(fields) == 1 and None not in fields:
        where = f" {FIELD_WORDS} {fields.pop()}"
        every.pop(FIELD_WORDS)
    rows = tuple(text_row(words, *(one.get(words, NOTHING) for one in amounts)) for words in every)
    names = [", ".join(group) for group in said.values()] if len(said) > 1 or len(sets) == 1 else ["every set"]
    title = f"What to check first: one load{where}, by mean times, without waiting"
    return DataTable(title, ("", *names), rows) if rows else None


def alone_table(document: Document) -> DataTable | None:
    """Return the area a day that each resource could do if it never waited, a row a set; None where it is not known."""
    shown, sets = units_of(document), [entry for _, entry in best_first(document)]
    bounds = [entry["bottleneck"].get("alone_acres_per_day") or {} for entry in sets]
    near = [
        name
        for entry, one in zip(sets, bounds, strict=True)
        for name, area in one.items()
        if area < _FAR * entry["acres_per_day"]["mean"]
    ]
    looks, rows = resource_looks(near), []
    for entry, alone in zip(sets, bounds, strict=True):
        done = entry["acres_per_day"]["mean"]
        areas = [alone.get(name) for name in looks] + [done, min(alone.values(), default=done) - done]
        cells = [NOTHING if area is None else count_text(max(0.0, area) * shown.per_acre) for area in areas]
        rows.append(text_row(shown_name(entry), *cells))
    heads = [look.label for look in looks.values()]
    title = f"{shown.heading} a day that each could do if it never waited for another"
    return DataTable(title, ("set", *heads, "done", "waits cost"), tuple(rows)) if heads else None


def resource_table(document: Document) -> DataTable:
    """Return how busy each resource is, and how much of the day it sets the pace, by set."""
    ranked = best_first(document)
    sets, rows = [entry for _, entry in ranked], []
    for name, look in resource_looks(name for entry in sets for name in entry["utilisation"]).items():
        busy = _each(ranked, [entry["utilisation"].get(name) for entry in sets], f"utilisation.{name}")
        shares = [entry["bottleneck"]["active_period_share"].get(name) for entry in sets]
        held = _each(ranked, shares, f"bottleneck.active_period_share.{name}")
        rows.append((Cell(look.label), *(cell for pair in zip(busy, held, strict=True) for cell in pair)))
    heads = [head for entry in sets for head in (f"{shown_name(entry)}: busy", f"{shown_name(entry)}: sets the pace")]
    return DataTable(
        "Busy share of each resource, and share of the day in which it sets the pace", ("resource", *heads), tuple(rows)
    )


def one_more_table(document: Document) -> DataTable:
    """Return what one more of each adds as a table."""
    area, per_acre = units_of(document).area, units_of(document).per_acre
    rows = tuple(
        (Cell(name), Cell(one.name), Cell(one.text, one.value / per_acre, one.path), Cell(one.verdict), Cell(one.note))
        for name, group in one_more(document)
        for one in group
    )
    columns = ("set", "change", f"{area} a day added (95 % interval)", "beyond doubt?", "runs")
    return DataTable("What one more, or one larger, of each would add", columns, rows, words=2)


def paired_table(document: Document) -> DataTable:
    """Return the sets compared with the next as a table."""
    rows = tuple((Cell(one.name), Cell(one.text), Cell(one.note)) for one in paired(document))
    columns = ("sets", f"{units_of(document).area} a day more (95 % interval)", "first ahead in")
    return DataTable("Each set and the next, run by run on the same random draws; a tie counts half", columns, rows)
