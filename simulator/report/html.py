"""The report: one self-contained page of one result."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from simulator.report import answer_figure, figures
from simulator.report.answer import verdict_text
from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.day_figure import as_called, day_figure, day_span, flight_table, hour_table, resources_of
from simulator.report.day_output import legend_text
from simulator.report.html_inputs import Input, differing, group_words, inputs_of
from simulator.report.html_page import PageFigure, asset, clean, manifest_table, page_figure, render, write
from simulator.report.job_table import job_table
from simulator.report.job_text import hold_text, warning_text
from simulator.report.map_figure import driving_order, map_figure, map_words, visit_table
from simulator.report.numbers import ReportUnits, units_of
from simulator.report.ranking import best_first, called_sets, one_more
from simulator.report.table import DataTable, text_row
from simulator.report.tables import (
    alone_table,
    answer_table,
    one_more_table,
    paired_table,
    per_day_table,
    practice_table,
    resource_table,
    time_table,
)
from simulator.report.writing import plain
from simulator.scenario.units import M2_PER_ACRE, M_PER_FOOT, M_PER_MILE

if TYPE_CHECKING:
    import pandas as pd

    from simulator.report.stored import StoredResult


def write_report(stored: StoredResult, out_html: Path) -> None:
    """Write the report of one result, whole or not at all."""
    write(out_html, report_page(stored))


def report_page(stored: StoredResult) -> str:
    """Return the report of one result as HTML text."""
    document, manifest = clean(stored.document), clean(stored.manifest)
    records = {plain(name): clean(as_called(record)) for name, record in stored.day_records.items()}
    units = units_of(document)
    ranked = [entry for _, entry in best_first(document)]
    called = called_sets(document)
    records = {called[entry["name"]]: records[entry["name"]] for entry in ranked if entry["name"] in records}
    resolved = {called.get(plain(name), plain(name)): table for name, table in (manifest.get("resolved") or {}).items()}
    base: Mapping[str, Any] = next(iter(resolved.values()), {})
    span = day_span(records.values()) if records else None
    return render(
        "report.html.j2",
        title=base.get("title") or document["scenario"],
        warnings=[(called[entry["name"]], text) for entry in ranked if (text := warning_text(document, entry))],
        answer=_answer(document, _named(stored.runs), units),
        job=_job(document),
        maps=[_map(place, name, record, units) for place, (name, record) in enumerate(records.items())],
        sentences=[(called[entry["name"]], hold_text(entry)) for entry in ranked],
        lost=_lost(document, _named(stored.time_use)),
        practice=practice_table(document),
        alone=alone_table(document),
        verdict=verdict_text(document),
        resources=resource_table(document),
        more=_more(document, units),
        days=[_day(place, name, record, span) for place, (name, record) in enumerate(records.items())],
        per_day=per_day_table(document),
        paired=paired_table(document) if len(ranked) > 2 else None,
        days_differ=len({(record["run"], record["work_day"]) for record in records.values()}) > 1,
        replay=_replay(records, units) if records else None,
        set_differences=_differences(resolved),
        input_groups=_input_groups(resolved),
        stopped=document.get("stopped") or "",
        skipped=document.get("skipped") or [],
        notes=base.get("notes") or "",
        cautions=CAUTIONS,
        simulation_note=SIMULATION_NOTE,
        invented_note=INVENTED_NOTE if base.get("invented", True) else "",
        manifest_table=manifest_table(document, manifest),
        script=asset("view.js") + asset("replay.js") if records else "",
    )


def answer_figures(stored: StoredResult) -> list[PageFigure]:
    """Return what a report opens with: the sets ranked, days for the job, and cost."""
    document = clean(stored.document)
    found = [_answer(document, _named(stored.runs), units_of(document)), _job(document)]
    return [one for one in found if one is not None]


def _named(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a table with the names of sets as the page has them."""
    return frame.assign(equipment_set=[plain(name) for name in frame["equipment_set"]])


def _answer(document: Mapping[str, Any], runs: pd.DataFrame, units: ReportUnits) -> PageFigure:
    sets = document["equipment_sets"]
    return page_figure(
        "answer",
        f"{units.heading} a day, best set first",
        legend_text(sets),
        lambda wide: answer_figure.acres_figure(document, runs, units.name, wide),
        answer_table(document),
    )


def _job(document: Mapping[str, Any]) -> PageFigure | None:
    table = job_table(document)
    if table is None:
        return None
    title = " and ".join(
        heading.split(" for ")[0].lower() for heading, _ in answer_figure.job_panels(document)
    ).capitalize()
    return page_figure("job", title, "", partial(answer_figure.job_figure, document), table)


def _map(place: int, name: str, record: Mapping[str, Any], units: ReportUnits) -> tuple[str, PageFigure]:
    title = f"{name}: run {record['run']}, work day {record['work_day']}"
    draw = partial(map_figure, record, units)
    return name, page_figure(f"map-{place}", title, map_words(record), draw, visit_table(name, record, units))


def _lost(document: Mapping[str, Any], time_use: pd.DataFrame) -> PageFigure:
    return page_figure(
        "lost",
        "Time lost, hours a day",
        "What is not flying or serving the aircraft: waiting, the road, repairs, breaks and weather.",
        lambda wide: figures.time_use_figure(time_use, called_sets(document), wide, lost=True),
        time_table(document),
    )


def _more(document: Mapping[str, Any], units: ReportUnits) -> PageFigure | None:
    if not one_more(document):
        return None
    caption = f"Added {units.area} a day with 95 % interval, on the same draws. Filled: beyond doubt."
    draw = partial(figures.one_more_figure, document)
    return page_figure("added", "One more, or one larger, of each", caption, draw, one_more_table(document))


def _day(
    place: int, name: str, record: Mapping[str, Any], span: tuple[float, float] | None
) -> tuple[str, PageFigure, DataTable]:
    figure = page_figure(
        f"day-{place}",
        f"{name}: a day near the middle (run {record['run']}, work day {record['work_day']})",
        "The line in a pack's lane is its charge, full at the top; dashed: the reserve, never flown. What has worked"
        " longest without a pause sets the pace (Roser, Nakano & Tanaka 2002). Power under what the source can give.",
        lambda wide: day_figure(record, wide=wide, span=span),
        flight_table(name, record),
    )
    return name, figure, hour_table(name, record)


def _differences(resolved: Mapping[str, Mapping[str, Any]]) -> DataTable | None:
    rows = differing(resolved)
    if len(resolved) < 2 or not rows:
        return None
    cells = tuple(text_row(key, *values) for key, values in rows)
    columns = ("setting", *resolved)
    return DataTable("What differs between the equipment sets", columns, cells, words=len(columns))


def _input_groups(resolved: Mapping[str, Mapping[str, Any]]) -> list[tuple[str, list[tuple[Input, str]]]]:
    """Return the inputs by heading; the second of each pair is the value, or the values by set where sets differ."""
    by_set = {name: {entry.key: entry for entry in inputs_of(table)} for name, table in resolved.items()}
    groups: dict[str, list[tuple[Input, str]]] = {}
    for key in dict.fromkeys(key for entries in by_set.values() for key in entries):
        found = {name: entries[key] for name, entries in by_set.items() if key in entries}
        first = next(iter(found.values()))
        if len(found) == len(by_set) and len({entry.value for entry in found.values()}) == 1:
            text = first.value
        else:
            text = "; ".join(f"{name}: {entry.value}" for name, entry in found.items())
        groups.setdefault(group_words(key), []).append((first, text))
    return list(groups.items())


def _replay(records: Mapping[str, Mapping[str, Any]], units: ReportUnits) -> Markup:
    """Return the records by set and the settings of the replay as JSON in which no text can end its data block."""
    us = units.name == "us"
    scales = [("mi", 1.0 / M_PER_MILE), ("ft", 1.0 / M_PER_FOOT)] if us else [("km", 0.001), ("m", 1.0)]
    content = {
        "area_unit": units.area,
        "area_per_m2": units.per_acre / M2_PER_ACRE,
        "scales": scales,
        "resources": resources_of(records.values()),
        "records": [
            {
                **record,
                "equipment_set": name,
                "numbers": [number for _, number in sorted(driving_order(record).items())],
            }
            for name, record in records.items()
        ],
    }
    text = json.dumps(content, separators=(",", ":"), allow_nan=False)
    for mark, escape in (("<", "\\u003c"), (">", "\\u003e"), ("&", "\\u0026")):
        text = text.replace(mark, escape)
    return Markup(text)
