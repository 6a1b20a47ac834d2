"""The report: one self-contained page of one result."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simulator.report import html_charts, html_day_charts
from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.day_output import day_spread, days_key, days_words
from simulator.report.html_inputs import Input, differing, group_words, inputs_of
from simulator.report.html_page import asset, clean, render, write
from simulator.report.html_parts import Cell, DataTable, PageFigure, text_row
from simulator.report.job_table import job_table
from simulator.report.job_text import warning_text
from simulator.report.numbers import (
    ReportUnits,
    quantile_text,
    range_text,
    units_of,
)
from simulator.report.replay import replay_data
from simulator.report.writing import plain
from simulator.scenario.power_balance import power_words

if TYPE_CHECKING:
    from simulator.report.stored import StoredResult


@dataclass(frozen=True)
class Answer:
    """What stands first: one set's answer in words."""

    name: str
    mean: Cell
    interval: str
    least: Cell
    of: str
    sentence: str
    warning: str
    runs: int


@dataclass(frozen=True)
class DayPart:
    """The figures of one set's stored day."""

    name: str
    figures: tuple[PageFigure, ...]


def write_report(stored: StoredResult, out_html: Path) -> None:
    """Write the report of one result.

    Parameters
    ----------
    stored : StoredResult
        A result folder as read back.
    out_html : Path
        File to write; replaced whole or not at all.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    write(out_html, report_page(stored))


def report_page(stored: StoredResult) -> str:
    """Return the report of one result as HTML text; see :func:`write_report`."""
    document, manifest = clean(stored.document), clean(stored.manifest)
    records = {plain(name): clean(record) for name, record in stored.day_records.items()}
    runs = stored.runs.copy()
    runs["equipment_set"] = [plain(name) for name in runs["equipment_set"]]
    units = units_of(document)
    sets = document["equipment_sets"]
    resolved = {plain(name): table for name, table in (manifest.get("resolved") or {}).items()}
    base: Mapping[str, Any] = next(iter(resolved.values()), {})
    more = [html_charts.one_more_figure(place, entry, units) for place, entry in enumerate(sets)]
    parts = [
        DayPart(entry["name"], _day_figures(entry["name"], records[entry["name"]]))
        for entry in sets
        if entry["name"] in records
    ]
    return render(
        "report.html.j2",
        title=base.get("title") or document["scenario"],
        scenario=document["scenario"],
        lang_units=units,
        answers=[_answer(place, entry, document, units) for place, entry in enumerate(sets)],
        job=job_table(document),
        more_figures=[figure for figure in more if figure is not None],
        spread=html_charts.acres_figure(document, runs, units),
        time_use=html_charts.time_use_figure(document),
        per_day=html_charts.per_day_table(document, units),
        resources=html_charts.bottleneck_table(document),
        parts=parts,
        paired=html_charts.paired_figure(document, units),
        replay=replay_data(records, units) if parts else None,
        resource_legend=html_day_charts.resource_legend(records.values()),
        set_differences=_differences(resolved),
        input_groups=_input_groups(resolved),
        stopped=document.get("stopped") or "",
        skipped=document.get("skipped") or [],
        notes=base.get("notes") or "",
        cautions=CAUTIONS,
        simulation_note=SIMULATION_NOTE,
        invented_note=INVENTED_NOTE if base.get("invented", True) else "",
        manifest_table=_manifest_table(document, manifest),
        script=asset("replay.js") if parts else "",
    )


def _day_figures(name: str, record: Mapping[str, Any]) -> tuple[PageFigure, ...]:
    figures = [html_day_charts.timeline_figure(name, record), html_day_charts.bottleneck_figure(name, record)]
    if record["power"]:
        figures.append(html_day_charts.power_figure(name, record))
    if record["packs"]:
        figures.append(html_day_charts.charge_figure(name, record))
    return tuple(figures)


def _answer(place: int, entry: Mapping[str, Any], document: Mapping[str, Any], units: ReportUnits) -> Answer:
    spread, path = day_spread(entry, units), f"equipment_sets.{place}"
    text = range_text(spread["mean"], spread["ci95"])
    mean, _, interval = text.partition(" ")
    return Answer(
        entry["name"],
        Cell(mean, spread["mean"], f"{path}.{units.spread_key}.mean"),
        interval.strip("()"),
        Cell(quantile_text(spread, "p10"), spread["p10"], f"{path}.{days_key(entry, units)}.p10"),
        days_words(entry),
        f"{entry['bottleneck']['sentence']} {power_words(entry.get('power') or [])}".strip(),
        warning_text(document, entry),
        int(entry["runs"]),
    )


def _differences(resolved: Mapping[str, Mapping[str, Any]]) -> DataTable | None:
    rows = differing(resolved)
    if len(resolved) < 2 or not rows:
        return None
    cells = tuple(text_row(key, *values) for key, values in rows)
    return DataTable("What differs between the equipment sets", ("setting", *resolved), cells, numbers=False)


def _input_groups(resolved: Mapping[str, Mapping[str, Any]]) -> list[tuple[str, list[tuple[Input, str]]]]:
    """Return the inputs by heading; the second of each pair is the value, or the values by set where sets differ."""
    if not resolved:
        return []
    by_set = {name: {entry.key: entry for entry in inputs_of(table)} for name, table in resolved.items()}
    groups: dict[str, list[tuple[Input, str]]] = {}
    keys = dict.fromkeys(key for entries in by_set.values() for key in entries)
    for key in keys:
        found = {name: entries[key] for name, entries in by_set.items() if key in entries}
        first = next(iter(found.values()))
        if len(found) == len(by_set) and len({entry.value for entry in found.values()}) == 1:
            text = first.value
        else:
            text = "; ".join(f"{name}: {entry.value}" for name, entry in found.items())
        groups.setdefault(group_words(key), []).append((first, text))
    return list(groups.items())


def _manifest_table(document: Mapping[str, Any], manifest: Mapping[str, Any]) -> DataTable:
    rows = [("scenario", str(document["scenario"])), ("seed", str(document["seed"]))]
    words = {
        "runs": "runs",
        "command": "command",
        "created": "made",
        "duration_s": "seconds it took",
        "scenario_sha256": "scenario, SHA-256",
        "acreday_version": "acreday",
        "engine": "engine",
        "python": "Python",
    }
    for key, label in words.items():
        value = manifest.get(key)
        if isinstance(value, Mapping):
            rows += [(f"{label}: {name}", str(item)) for name, item in value.items()]
        elif value not in (None, ""):
            rows.append((label, str(value)))
    rows += [(f"package {name}", str(value)) for name, value in (manifest.get("packages") or {}).items()]
    rows += [(f"file {name}, SHA-256", str(value)) for name, value in (manifest.get("files") or {}).items()]
    return DataTable("What made this result", ("item", "value"), tuple(text_row(*row) for row in rows), numbers=False)
