"""Figures of many runs: spread of the output, use of time, what one more adds, paired differences."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.report.day_output import day_spread, day_values, days_key, legend_text
from simulator.report.html_parts import Cell, DataTable, LegendEntry, PageFigure
from simulator.report.html_svg import INK, NARROW, PAPER, QUIET, WIDE, Drawing, Svg, shorten, swatch, value_axis
from simulator.report.numbers import NOTHING, ReportUnits, fixed, overspray_text, quantile_text, range_text, share_text
from simulator.report.palette import Look, aircraft_looks, time_use_group

if TYPE_CHECKING:
    import pandas as pd

BAR = "#9fb8a6"
SPREAD_WORDS = (
    "Columns count days. The line under them runs from P10 to P90, with a tick at the median; the diamond is the mean."
)


def look_entry(look: Look) -> LegendEntry:
    """Return the legend entry of a group's look."""
    return LegendEntry(swatch(look.colour, bool(look.hatch)), look.label)


def both(draw: Callable[[float], Svg]) -> Drawing:
    """Draw a figure at desk and at phone width."""
    return Drawing(draw(WIDE).markup(), draw(NARROW).markup())


def acres_figure(document: Mapping[str, Any], runs: pd.DataFrame, units: ReportUnits) -> PageFigure:
    """Return the spread of daily output of every set."""
    sets = document["equipment_sets"]
    spread_rows = [(entry["name"], day_spread(entry, units), day_values(runs, entry, units)) for entry in sets]
    table = DataTable(
        f"{units.area} per day",
        ("equipment set", "runs", "mean", "95 % interval", "P10", "P50", "P90"),
        tuple(_spread_row(place, entry, units) for place, entry in enumerate(sets)),
    )
    return PageFigure(
        "spread",
        f"How {units.area} per day vary from day to day",
        f"{SPREAD_WORDS} {legend_text(sets)}",
        spread_drawing(spread_rows, units.area),
        table,
    )


def spread_drawing(rows: Sequence[tuple[str, Mapping[str, Any], Any]], unit: str) -> Drawing:
    """Draw one strip a set: columns of days, P10 to P90, median and mean."""
    finite = [np.asarray(values, dtype=float)[np.isfinite(np.asarray(values, dtype=float))] for _, _, values in rows]
    pooled = np.concatenate(finite) if finite else np.zeros(1)
    low, high = (float(pooled.min()), float(pooled.max())) if len(pooled) else (0.0, 1.0)
    margin = 0.04 * (high - low) or 0.5 + 0.01 * abs(high)
    low, high = max(0.0, low - margin), high + margin
    label = f"Spread of {unit} per day: " + "; ".join(
        f"{name}: mean {spread['mean']:.4g}, P10 {spread['p10']:.4g}, P90 {spread['p90']:.4g}"
        for name, spread, _ in rows
    )

    def draw(width: float) -> Svg:
        row, left, right, top = 92.0, 8.0, width - 8.0, 6.0
        svg = Svg(width, top + row * len(rows) + 38, label)
        value_axis(svg, left, right, top, top + row * len(rows), low, high, 4 if width < 400 else 8)
        svg.text((left + right) / 2, top + row * len(rows) + 32, f"{unit} per day", "middle", 12, INK)
        bins = 36 if width > 400 else 22
        for place, ((name, spread, _), sample) in enumerate(zip(rows, finite, strict=True)):
            base = top + row * place + 66
            counts, edges = np.histogram(sample, bins=bins, range=(low, high))
            tallest = max(int(counts.max(initial=1)), 1)

            def x(value: float) -> float:
                return left + (value - low) / (high - low) * (right - left)

            for count, begin, end in zip(counts, edges[:-1], edges[1:], strict=True):
                height = 40.0 * float(count) / tallest
                svg.rect(x(float(begin)) + 0.5, base - height, x(float(end)) - x(float(begin)) - 1, height, BAR)
            svg.line(left, base, right, base, QUIET)
            line = base + 12
            svg.line(x(spread["p10"]), line, x(spread["p90"]), line, INK, 2)
            svg.line(x(spread["p50"]), line - 5, x(spread["p50"]), line + 5, INK, 2)
            svg.diamond(x(spread["mean"]), line, 4.5)
            svg.text(left, base - 48, shorten(name, width - 20, 13), "start", 13, INK, bold=True, halo=True)
        return svg

    return both(draw)


def _spread_row(place: int, entry: Mapping[str, Any], units: ReportUnits) -> tuple[Cell, ...]:
    spread, path = day_spread(entry, units), f"equipment_sets.{place}"
    limits = spread["ci95"]
    cells = [Cell(entry["name"]), Cell(str(entry["runs"]), entry["runs"], f"equipment_sets.{place}.runs")]
    mean, _, interval = range_text(spread["mean"], limits).partition(" ")
    cells.append(Cell(mean, spread["mean"], f"{path}.{units.spread_key}.mean"))
    cells.append(Cell(interval.strip("()") or NOTHING))
    path += f".{days_key(entry, units)}"
    cells += [Cell(quantile_text(spread, name), spread[name], f"{path}.{name}") for name in ("p10", "p50", "p90")]
    return tuple(cells)


def time_use_figure(document: Mapping[str, Any]) -> PageFigure:
    """Return where the aircraft's time went, a bar a set."""
    sets = document["equipment_sets"]
    looks = aircraft_looks()
    shares = []
    for entry in sets:
        grouped = dict.fromkeys(looks, 0.0)
        for label, share in entry["time_share"].items():
            grouped[time_use_group(label)] += share
        shares.append(grouped)
    used = [group for group in looks if any(grouped[group] > 0 for grouped in shares)]
    spoken = "; ".join(
        f"{entry['name']}: "
        + ", ".join(f"{looks[group].label} {grouped[group]:.0%}" for group in used if grouped[group] >= 0.005)
        for entry, grouped in zip(sets, shares, strict=True)
    )

    def draw(width: float) -> Svg:
        row, left, right = 54.0, 2.0, width - 2.0
        svg = Svg(width, row * len(sets) + 20, "Share of aircraft time. " + spoken)
        for place, (entry, grouped) in enumerate(zip(sets, shares, strict=True)):
            top = row * place + 20
            svg.text(left, top - 5, shorten(entry["name"], width - 8, 13), "start", 13, INK, bold=True)
            x = left
            for group in used:
                look = looks[group]
                length = grouped[group] * (right - left)
                svg.rect(x, top, length, 26, look.colour)
                if look.hatch:
                    svg.hatch(x, top, length, 26)
                svg.line(x, top, x, top + 26, PAPER)
                if length > 30:
                    svg.rect(x + length / 2 - 14, top + 6, 28, 15, PAPER)
                    svg.text(x + length / 2, top + 18, f"{grouped[group]:.0%}", "middle", 11)
                x += length
        return svg

    labels = list(dict.fromkeys(label for entry in sets for label in entry["time_share"]))
    labels.sort(key=lambda label: list(looks).index(time_use_group(label)))
    rows = []
    for label in labels:
        cells = [Cell(label), Cell(looks[time_use_group(label)].label)]
        for place, entry in enumerate(sets):
            share = entry["time_share"].get(label)
            path = f"equipment_sets.{place}.time_share.{label}"
            cells.append(Cell(share_text(share), share, path) if share is not None else Cell(NOTHING))
        rows.append(tuple(cells))
    legend = tuple(look_entry(looks[group]) for group in used)
    return PageFigure(
        "time",
        "Where the aircraft's time went",
        "Share of the paid day, over all aircraft and all runs. Small shares have no room for a number; the"
        " table has them all.",
        both(draw),
        DataTable(
            "Share of aircraft time by state and reason",
            ("state", "group", *(entry["name"] for entry in sets)),
            tuple(rows),
        ),
        legend,
    )


def one_more_figure(place: int, entry: Mapping[str, Any], units: ReportUnits) -> PageFigure | None:
    """Return what one more of each adds to one set; None when nothing was tried."""
    changes = entry["bottleneck"].get("one_more") or []
    if not changes:
        return None
    factor = units.per_acre
    rows = [
        (change["change"], change["acres_per_day"] * factor, [limit * factor for limit in change["ci95"]])
        for change in changes
    ]
    title = f"{entry['name']}: what one more, or one larger, would add"
    cells = tuple(
        (
            Cell(change["change"]),
            Cell(
                range_text(value, limits, sign=True),
                change["acres_per_day"],
                f"equipment_sets.{place}.bottleneck.one_more.{number}.acres_per_day",
            ),
            Cell(_verdict(limits)),
            Cell(str(change.get("runs", "")), change.get("runs")),
        )
        for number, (change, (_, value, limits)) in enumerate(zip(changes, rows, strict=True))
    )
    return PageFigure(
        f"more-{place}",
        title,
        f"Added {units.area} a day with its 95 % interval, same draws with and without the change.",
        interval_drawing(rows, f"added {units.area} per day", title),
        DataTable(title, ("change", f"{units.area} per day added (95 % interval)", "beyond doubt?", "runs"), cells),
    )


def _verdict(limits: Sequence[float]) -> str:
    if limits[0] > 0:
        return "adds"
    return "takes away" if limits[1] < 0 else "not told apart from nothing"


def interval_drawing(rows: Sequence[tuple[str, float, Sequence[float]]], axis: str, label: str) -> Drawing:
    """Draw a value with its interval on each row, and a rule at zero."""
    numbers = [number for _, value, limits in rows for number in (value, *limits)] + [0.0]
    low, high = min(numbers), max(numbers)
    margin = 0.06 * (high - low) or 1.0
    low, high = low - margin, high + margin
    spoken = (
        label
        + ": "
        + "; ".join(f"{name} {value:+.3g} ({limits[0]:+.3g} to {limits[1]:+.3g})" for name, value, limits in rows)
    )

    def draw(width: float) -> Svg:
        stacked = width < 400
        row = 38.0 if stacked else 26.0
        left, right, top = (8.0 if stacked else 250.0), width - 12.0, 6.0
        bottom = top + row * len(rows)
        svg = Svg(width, bottom + 38, spoken)
        value_axis(svg, left, right, top, bottom, low, high, 4 if stacked else 7)

        def x(value: float) -> float:
            return left + (value - low) / (high - low) * (right - left)

        svg.line(x(0.0), top, x(0.0), bottom, INK, 1.2)
        for place, (name, value, limits) in enumerate(rows):
            y = top + row * (place + 0.5) + (8 if stacked else 0)
            colour = "#1f5f46" if limits[0] > 0 else "#a63a24" if limits[1] < 0 else QUIET
            if stacked:
                svg.text(left, y - 10, shorten(name, width - 16), "start", 12, halo=True)
            else:
                svg.text(left - 10, y + 4, shorten(name, left - 14), "end", 12)
            svg.line(x(limits[0]), y, x(limits[1]), y, colour, 2)
            for limit in limits:
                svg.line(x(limit), y - 4, x(limit), y + 4, colour, 2)
            svg.diamond(x(value), y, 4.5, colour if limits[0] > 0 else PAPER)
        svg.text((left + right) / 2, bottom + 32, axis, "middle", 12)
        return svg

    return both(draw)


def paired_figure(document: Mapping[str, Any], units: ReportUnits) -> PageFigure | None:
    """Return every pair of sets compared run by run; None when there is but one set."""
    pairs = document.get("paired") or []
    if not pairs:
        return None
    factor = units.per_acre
    rows = [
        (f"{pair['a']} less {pair['b']}", pair["difference"] * factor, [limit * factor for limit in pair["ci95"]])
        for pair in pairs
    ]
    cells = tuple(
        (
            Cell(name),
            Cell(range_text(value, limits, sign=True), pair["difference"], f"paired.{place}.difference"),
            Cell(share_text(pair["a_wins_share"]), pair["a_wins_share"], f"paired.{place}.a_wins_share"),
        )
        for place, (pair, (name, value, limits)) in enumerate(zip(pairs, rows, strict=True))
    )
    title = "Equipment sets against each other, run by run"
    columns = (
        "pair",
        f"{units.area} per day more (95 % interval)",
        "runs in which the first is ahead (a tie counts half)",
    )
    return PageFigure(
        "paired",
        title,
        f"Difference in {units.area} a day on the same random draws, with its 95 % interval.",
        interval_drawing(rows, f"{units.area} per day", title),
        DataTable(title, columns, cells),
    )


def bottleneck_table(document: Mapping[str, Any]) -> DataTable:
    """Return utilisation and share as momentary bottleneck, by resource and set."""
    sets = document["equipment_sets"]
    resources = list(dict.fromkeys(name for entry in sets for name in entry["utilisation"]))
    columns = ["resource"]
    for entry in sets:
        columns += [f"{entry['name']}: busy", f"{entry['name']}: bottleneck"]
    rows = []
    for name in resources:
        cells = [Cell(name)]
        for place, entry in enumerate(sets):
            busy, held = entry["utilisation"].get(name), entry["bottleneck"]["active_period_share"].get(name)
            cells.append(Cell(share_text(busy), busy, f"equipment_sets.{place}.utilisation.{name}"))
            cells.append(Cell(share_text(held), held, f"equipment_sets.{place}.bottleneck.active_period_share.{name}"))
        rows.append(tuple(cells))
    return DataTable(
        "Busy share of each resource, and share of the day as momentary bottleneck", tuple(columns), tuple(rows)
    )


PER_DAY: tuple[tuple[str, str, str], ...] = (
    ("sorties", "sorties", ""),
    ("loads", "loads", ""),
    ("pack_swaps", "pack swaps", ""),
    ("charge_cycles", "charges", ""),
    ("moves", "drives (the yard's too)", ""),
    ("fields_finished", "fields finished", ""),
    ("drive_km", "road driven", "road"),
    ("applied", "product applied", "product"),
    ("mixed", "product made ready", "product"),
    ("left_over", "product left over", "product"),
    ("overspray", "product outside the field or twice (part of what is applied)", "product"),
    ("water_fetched_l", "water fetched", "volume"),
    ("energy_kwh", "energy from the supply", "kWh"),
    ("generator_fuel_l", "generator fuel", "volume"),
    ("paid_hours", "paid hours of the rigs", "h"),
    ("crew_hours", "paid hours of people", "h"),
    ("field_hours", "hours at the fields", "h"),
)
"""Key in ``per_day``, words, and kind of unit."""
KM_PER_MILE = 1.609344


def per_day_table(document: Mapping[str, Any], units: ReportUnits) -> DataTable:
    """Return what an average day takes, by set."""
    sets = document["equipment_sets"]
    rows = []
    for key, words, kind in PER_DAY:
        if not any(key in entry["per_day"] for entry in sets):
            continue
        cells = [Cell(words)]
        for place, entry in enumerate(sets):
            value = entry["per_day"].get(key)
            factor, unit = _unit(kind, entry, units)
            if value is None or not math.isfinite(value):
                cells.append(Cell(NOTHING))
                continue
            shown = value * factor
            text = fixed(shown, 0 if abs(shown) >= 9.95 else 1) + (f" {unit}" if unit else "")
            text = overspray_text(entry, units).replace(" %", "\N{NO-BREAK SPACE}%") if key == "overspray" else text
            cells.append(Cell(text, value, f"equipment_sets.{place}.per_day.{key}"))
        rows.append(tuple(cells))
    return DataTable(
        "What the crew would notice on an average day", ("per day", *(entry["name"] for entry in sets)), tuple(rows)
    )


def _unit(kind: str, entry: Mapping[str, Any], units: ReportUnits) -> tuple[float, str]:
    if kind == "road":
        return (1.0 / KM_PER_MILE, "mi") if units.name == "us" else (1.0, "km")
    if kind == "product" and entry.get("product_unit") == "kg":
        return units.per_kilogram, units.mass
    if kind in ("product", "volume"):
        return units.per_litre, units.volume
    return 1.0, kind
