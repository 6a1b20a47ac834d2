"""Figures of one day, from its record: lanes of what everybody did, momentary bottleneck, power and packs."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from simulator.report.html_charts import both
from simulator.report.html_parts import Cell, DataTable, LegendEntry, PageFigure, text_row
from simulator.report.html_svg import INK, QUIET, RULE, Svg, clock_axis, shorten, swatch
from simulator.report.numbers import NOTHING, clock_text
from simulator.report.palette import AIRCRAFT_LOOKS, PACK_LOOKS, RESOURCE_LOOKS, Look, look_of, resource_looks

MOST_LANES = 12
"""Lanes of one kind that are drawn; the table tells how many there are."""
_FLOWN = "spray"
"""A whole flight is drawn as spraying: at this scale its parts cannot be told apart."""
MOST_ROWS = 400
"""Rows of a table of intervals."""

Bar = tuple[float, float, Look]


def resources_of(records: Iterable[Mapping[str, Any]]) -> list[str]:
    """Return the names by which days of one result count the resources of their bottlenecks."""
    return max((list(record.get("resources", RESOURCE_LOOKS)) for record in records), key=len, default=[])


def _lanes(record: Mapping[str, Any]) -> list[tuple[str, list[Bar]]]:
    """Return (name, bars) of every lane that is drawn."""
    lanes: list[tuple[str, list[Bar]]] = []

    def lane(name: str, kind: str, intervals: Iterable[tuple[float, float, str, str]]) -> None:
        bars: list[Bar] = []
        for start, end, state, reason in intervals:
            found = look_of(kind, state, reason)
            if found is not None:
                bars.append((start, end, found[1]))
        lanes.append((name, bars))

    for entry in record["aircraft"][:MOST_LANES]:
        states = [
            (start, end, _FLOWN if state == "flight" else state, reason)
            for start, end, state, reason in entry["states"]
        ]
        lane(entry["name"], "aircraft", states)
    for entry in record["packs"][:MOST_LANES]:
        lane(entry["name"], "pack", [(start, end, state, "") for start, end, state in entry["states"]])
    for entry in record["chargers"][:MOST_LANES]:
        lane(entry["name"], "charger", [(start, end, "charge", "") for start, end, _, _ in entry["sessions"]])
    for entry in record["people"][:MOST_LANES]:
        lane(entry["name"], "person", [(start, end, "task", task) for start, end, task, _ in entry["tasks"]])
    for entry in record["rigs"][:MOST_LANES]:
        lane(
            f"{entry['name']} (moves)",
            "rig",
            [(start, end, "move", doing) for start, end, doing, *_ in entry["moves"]],
        )
    for entry in record.get("others", ())[:MOST_LANES]:
        lane(entry["name"], entry["kind"], entry["states"])
    return lanes


def timeline_figure(name: str, record: Mapping[str, Any]) -> PageFigure:
    """Return one day as lanes: aircraft, packs, chargers, people and rigs."""
    lanes = _lanes(record)
    end_s, start_s = record["end_s"], record["day_start_s"]
    drawn = [record.get(kind, ()) for kind in ("aircraft", "packs", "chargers", "people", "rigs", "others")]
    hidden = sum(max(0, len(entries) - MOST_LANES) for entries in drawn)
    label = f"Timeline of one day of {name}: {len(record['sorties'])} flights; lanes for " + ", ".join(
        lane for lane, _ in lanes[:20]
    )

    def draw(width: float) -> Svg:
        stacked = width < 400
        row = 30.0 if stacked else 20.0
        left, right, top = (4.0 if stacked else 150.0), width - 6.0, 4.0
        bottom = top + row * len(lanes)
        svg = Svg(width, bottom + 20, label)
        clock_axis(svg, left, right, top, bottom, start_s, end_s)
        for place, (lane, bars) in enumerate(lanes):
            y = top + row * place + (14 if stacked else 3)
            if stacked:
                svg.text(left, y - 3, shorten(lane, width - 10, 11), "start", 11)
            else:
                svg.text(left - 8, y + 11, shorten(lane, left - 10, 11), "end", 11)
            for look in dict.fromkeys(look for _, _, look in bars):
                spans = [
                    (left + start / end_s * (right - left), left + end / end_s * (right - left))
                    for start, end, its in bars
                    if its == look
                ]
                svg.bars(spans, y, 14, look.colour)
                if look.hatch:
                    for x0, x1 in spans:
                        svg.hatch(x0, y, x1 - x0 if x1 - x0 > 4 else 0, 14)
        return svg

    looks = dict.fromkeys(look for _, bars in lanes for _, _, look in bars)
    words = {AIRCRAFT_LOOKS["spraying"]: "flight", PACK_LOOKS["flown"]: ""}
    legend = tuple(
        LegendEntry(swatch(look.colour, bool(look.hatch)), words.get(look, look.label))
        for look in looks
        if words.get(look, look.label)
    )
    note = f" {hidden} further lanes are left out." if hidden else ""
    return PageFigure(
        "lanes",
        f"{name}: one day in lanes",
        f"A day near the middle (run {record['run']}, work day {record['work_day']}), by the clock.{note}",
        both(draw),
        _flight_table(name, record),
        legend,
    )


def _flight_table(name: str, record: Mapping[str, Any]) -> DataTable:
    unit = record["product_unit"]
    rows = []
    for sortie in record["sorties"][:MOST_ROWS]:
        rows.append(
            text_row(
                clock_text(record["day_start_s"] + sortie["start_s"], with_seconds=True),
                record["aircraft"][sortie["aircraft"]]["name"],
                record["fields"][sortie["field"]]["name"],
                f"{(sortie['end_s'] - sortie['start_s']) / 60:.1f} min",
                f"{sortie['applied']:.1f} {unit}",
                f"{sortie['energy_wh']:.0f} Wh",
            )
        )
    left_out = len(record["sorties"]) - len(rows)
    title = f"Flights of the day, {name}" + (f" (the first {MOST_ROWS}; {left_out} more)" if left_out > 0 else "")
    return DataTable(title, ("take-off", "aircraft", "field", "in the air", "applied", "energy"), tuple(rows))


def bottleneck_figure(name: str, record: Mapping[str, Any]) -> PageFigure:
    """Return who was the momentary bottleneck when, a lane a resource."""
    end_s, start_s = record["end_s"], record["day_start_s"]
    looks = resource_looks(resources_of([record]))
    resources = list(looks)
    held = dict.fromkeys(resources, 0.0)
    for start, end, first, second in record["bottleneck"]:
        for number in (first, second):
            held[resources[number]] += 0.5 * (end - start)
    label = f"Momentary bottleneck over one day of {name}: " + ", ".join(
        f"{resource} {seconds / end_s:.0%}" for resource, seconds in held.items() if seconds > 0
    )

    def draw(width: float) -> Svg:
        left, right, top, row = (76.0 if width < 400 else 100.0), width - 6.0, 4.0, 22.0
        bottom = top + row * len(resources)
        svg = Svg(width, bottom + 20, label)
        clock_axis(svg, left, right, top, bottom, start_s, end_s)
        for place, resource in enumerate(resources):
            y = top + row * place
            svg.text(left - 8, y + 15, resource, "end", 12)
            svg.line(left, y + row, right, y + row, RULE)
            for start, end, first, second in record["bottleneck"]:
                if place not in (first, second):
                    continue
                x, length = left + start / end_s * (right - left), (end - start) / end_s * (right - left)
                svg.rect(x, y + 3, max(length, 0.5), 16, looks[resource].colour)
                if first != second:
                    svg.hatch(x, y + 3, length, 16, 4)
        return svg

    rows = tuple(
        (Cell(resource), Cell(f"{held[resource] / 60:.0f} min"), Cell(f"{held[resource] / end_s:.0%}"))
        for resource in resources
    )
    return PageFigure(
        "moment",
        f"{name}: momentary bottleneck through the day",
        "At each moment the resource that has worked longest without a pause sets the pace. Hatched: the bottleneck is"
        " passing from one resource to another. (Roser, Nakano & Tanaka 2002.)",
        both(draw),
        DataTable(f"Time as momentary bottleneck, {name}", ("resource", "time", "share of the paid day"), rows),
    )


def power_figure(name: str, record: Mapping[str, Any]) -> PageFigure:
    """Return the load of every power point over the day, under what it can give."""
    end_s, start_s = record["end_s"], record["day_start_s"]
    points = record["power"][:MOST_LANES]
    label = f"Power drawn over one day of {name}: " + "; ".join(_power_words(point) for point in points)

    def draw(width: float) -> Svg:
        left, right, row = 34.0, width - 6.0, 130.0
        svg = Svg(width, row * len(points) + 22, label)
        for place, point in enumerate(points):
            top, bottom = row * place + 22, row * (place + 1)
            peak = max([point["capacity_kw"], *(kw for *_, kw in point["load_kw"])]) * 1.12 or 1.0
            clock_axis(svg, left, right, top, bottom, start_s, end_s)
            svg.text(
                left,
                top - 7,
                shorten(f"{point['name']} ({point['kind']}), kW", width - left, 12),
                "start",
                12,
                INK,
                bold=True,
            )
            corners = [(left, bottom)]
            for start, end, kw in point["load_kw"]:
                x0, x1 = (left + time / end_s * (right - left) for time in (start, end))
                y = bottom - kw / peak * (bottom - top)
                if x0 - corners[-1][0] > 0.2:
                    corners += [(corners[-1][0], bottom), (x0, bottom)]
                corners += [(x0, y), (x1, y)]
            corners.append((corners[-1][0], bottom))
            svg.path(corners, "#a63a24", 1.0, "#e6c3b6")
            y = bottom - point["capacity_kw"] / peak * (bottom - top)
            svg.line(left, y, right, y, INK, 1.2, "5 3")
            svg.text(left - 5, y + 4, f"{point['capacity_kw']:.1f}", "end", 11)
            svg.text(left - 5, bottom + 3, "0", "end", 11)
            svg.line(left, bottom, right, bottom, QUIET)
        return svg

    return PageFigure(
        "power",
        f"{name}: power drawn",
        "Mean load between two changes. Dashed: what the source can give here, after derating.",
        both(draw),
        _hourly_table(
            f"Mean power by hour (kW), {name}", record, [(point["name"], point["load_kw"]) for point in points]
        ),
    )


def _hourly_table(
    title: str, record: Mapping[str, Any], series: Sequence[tuple[str, Iterable[Sequence[float]]]]
) -> DataTable:
    end_s, start_s = record["end_s"], record["day_start_s"]
    rows = []
    for hour in range(int(end_s // 3600) + 1):
        low, high = hour * 3600.0, min((hour + 1) * 3600.0, end_s)
        if high <= low:
            continue
        cells = [Cell(clock_text(start_s + low))]
        for _, intervals in series:
            energy = sum(max(0.0, min(end, high) - max(start, low)) * kw for start, end, kw in intervals)
            cells.append(Cell(f"{energy / (high - low):.1f}"))
        rows.append(tuple(cells))
    return DataTable(title, ("hour from", *(entry for entry, _ in series)), tuple(rows))


def charge_at(points: Sequence[Sequence[float]], time_s: float) -> float | None:
    """Return a pack's energy (Wh) at a time, on straight lines between the points of its record."""
    before = None
    for time, energy in points:
        if time >= time_s:
            if before is None or time <= before[0]:
                return energy
            return float(before[1] + (energy - before[1]) * (time_s - before[0]) / (time - before[0]))
        before = (time, energy)
    return float(before[1]) if before is not None else None


def charge_figure(name: str, record: Mapping[str, Any]) -> PageFigure:
    """Return the state of charge of every pack over the day."""
    end_s, start_s = record["end_s"], record["day_start_s"]
    packs = record["packs"][:MOST_LANES]
    lowest = [min(energy for _, energy in pack["charge"]) / pack["capacity_wh"] for pack in packs]
    label = f"State of charge over one day of {name}: " + "; ".join(
        f"{pack['name']}: down to {low:.0%}" for pack, low in zip(packs, lowest, strict=True)
    )

    def draw(width: float) -> Svg:
        left, right, row = 42.0, width - 6.0, 76.0
        svg = Svg(width, row * len(packs) + 22, label)
        for place, pack in enumerate(packs):
            top, bottom = row * place + 20, row * (place + 1) - (0 if place == len(packs) - 1 else 4)
            if place == len(packs) - 1:
                clock_axis(svg, left, right, top, bottom, start_s, end_s)
            capacity = pack["capacity_wh"]
            svg.rect(left, top, right - left, bottom - top, "none", RULE)
            svg.text(left, top - 5, shorten(pack["name"], width - left, 12), "start", 12, INK, bold=True)
            reserve = bottom - pack["reserve_wh"] / capacity * (bottom - top)
            svg.line(left, reserve, right, reserve, "#a63a24", 1, "4 3")
            svg.path(
                [
                    (left + t / end_s * (right - left), bottom - e / capacity * (bottom - top))
                    for t, e in pack["charge"]
                ],
                "#1f5f46",
                1.5,
            )
            svg.text(left - 5, top + 9, "100 %", "end", 11, QUIET)
            svg.text(left - 5, bottom, "0", "end", 11, QUIET)
        return svg

    times = [hour * 3600.0 for hour in range(int(end_s // 3600) + 1)]
    rows = []
    for time in times:
        cells = [Cell(clock_text(start_s + time))]
        for pack in packs:
            energy = charge_at(pack["charge"], time)
            cells.append(Cell(NOTHING if energy is None else f"{energy / pack['capacity_wh']:.0%}"))
        rows.append(tuple(cells))
    hidden = len(record["packs"]) - len(packs)
    return PageFigure(
        "charge",
        f"{name}: state of charge of the packs",
        "Share of what the pack holds when full. Dashed: the reserve, never flown."
        + (f" {hidden} further packs are left out." if hidden else ""),
        both(draw),
        DataTable(f"State of charge by the hour, {name}", ("time", *(pack["name"] for pack in packs)), tuple(rows)),
    )


def resource_legend(records: Collection[Mapping[str, Any]]) -> tuple[LegendEntry, ...]:
    """Return the colours of the resources of some days."""
    looks = resource_looks(resources_of(records))
    return tuple(LegendEntry(swatch(look.colour), name) for name, look in looks.items())


def _power_words(point: Mapping[str, Any]) -> str:
    most = max((kw for *_, kw in point["load_kw"]), default=0.0)
    return f"{point['name']}: up to {most:.1f} of {point['capacity_kw']:.1f} kW"
