"""The report: one self-contained page of one result, and a page that sets several results side by side.

A page loads nothing: pictures, style and script stand in it, and its content security policy allows only those by hash.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from simulator.errors import InputError
from simulator.report import html_charts, html_day_charts
from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.html_inputs import Input, differing, group_words, inputs_of
from simulator.report.html_parts import Cell, DataTable, PageFigure, text_row
from simulator.report.numbers import (
    ReportUnits,
    finishing_text,
    quantile_text,
    range_text,
    units_of,
)
from simulator.report.replay import replay_data
from simulator.report.writing import plain, write_atomically

if TYPE_CHECKING:
    from simulator.report.stored import StoredResult


@dataclass(frozen=True)
class Answer:
    """What stands first: one set's answer in words."""

    name: str
    mean: Cell
    interval: str
    least: Cell
    sentence: str
    finishing: str
    days: int


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
    _write(out_html, report_page(stored))


def report_page(stored: StoredResult) -> str:
    """Return the report of one result as HTML text; see :func:`write_report`."""
    document, manifest = _clean(stored.document), _clean(stored.manifest)
    records = {plain(name): _clean(record) for name, record in stored.day_records.items()}
    days = stored.days.copy()
    days["equipment_set"] = [plain(name) for name in days["equipment_set"]]
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
    return _render(
        "report.html.j2",
        title=base.get("title") or document["scenario"],
        scenario=document["scenario"],
        lang_units=units,
        answers=[_answer(place, entry, document, units) for place, entry in enumerate(sets)],
        more_figures=[figure for figure in more if figure is not None],
        spread=html_charts.acres_figure(document, days, units),
        time_use=html_charts.time_use_figure(document),
        per_day=html_charts.per_day_table(document, units),
        resources=html_charts.bottleneck_table(document),
        parts=parts,
        paired=html_charts.paired_figure(document, units),
        replay=replay_data(records, units) if parts else None,
        resource_legend=html_day_charts.resource_legend(),
        set_differences=_differences(resolved),
        input_groups=_input_groups(resolved),
        stopped=document.get("stopped") or "",
        skipped=document.get("skipped") or [],
        notes=base.get("notes") or "",
        cautions=CAUTIONS,
        simulation_note=SIMULATION_NOTE,
        invented_note=INVENTED_NOTE if base.get("invented", True) else "",
        manifest_table=_manifest_table(document, manifest),
        script=_asset("replay.js") if parts else "",
    )


def _day_figures(name: str, record: Mapping[str, Any]) -> tuple[PageFigure, ...]:
    figures = [html_day_charts.timeline_figure(name, record), html_day_charts.bottleneck_figure(name, record)]
    if record["power"]:
        figures.append(html_day_charts.power_figure(name, record))
    if record["packs"]:
        figures.append(html_day_charts.charge_figure(name, record))
    return tuple(figures)


def _answer(place: int, entry: Mapping[str, Any], document: Mapping[str, Any], units: ReportUnits) -> Answer:
    spread = entry[units.spread_key]
    path = f"equipment_sets.{place}.{units.spread_key}"
    text = range_text(spread["mean"], spread["ci95"])
    mean, _, interval = text.partition(" ")
    return Answer(
        entry["name"],
        Cell(mean, spread["mean"], f"{path}.mean"),
        interval.strip("()"),
        Cell(quantile_text(spread, "p10"), spread["p10"], f"{path}.p10"),
        entry["bottleneck"]["sentence"],
        finishing_text(document, entry),
        int(entry["days"]),
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
        "days": "days",
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


# --- several results ---


def write_comparison(results: Sequence[StoredResult], out_html: Path) -> None:
    """Write a page that sets several results side by side: what changed in the inputs and in the output.

    Parameters
    ----------
    results : sequence of StoredResult
        At least two.
    out_html : Path
        File to write; replaced whole or not at all.

    Raises
    ------
    InputError
        Fewer than two results, or the file cannot be written.
    """
    _write(out_html, comparison_page(results))


def comparison_page(results: Sequence[StoredResult]) -> str:
    """Return the page of several results as HTML text; see :func:`write_comparison`."""
    if len(results) < 2:
        raise InputError.single(f"got {len(results)} result; allowed is two or more to set side by side", "compare")
    from simulator.report.html_comparison import comparison_context

    return _render("comparison.html.j2", **comparison_context(results))


# --- page making ---


def clean(value: Any) -> Any:
    """Return foreign content with every text, and every key, on one line and without control marks."""
    if isinstance(value, Mapping):
        return {plain(key): clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [clean(item) for item in value]
    return plain(value) if isinstance(value, str) else value


_clean = clean


def anchor(text: str) -> str:
    """Return a text as it may stand in an ``id``."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "part"


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("simulator.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["anchor"] = anchor
    return environment


@cache
def _asset(name: str) -> str:
    return resources.files("simulator.report").joinpath("templates", name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"


def _render(template: str, **context: Any) -> str:
    style = _asset("report.css")
    script = str(context.pop("script", ""))
    rules = ["default-src 'none'", f"style-src {_hash(style)}", "base-uri 'none'", "form-action 'none'"]
    rules.append(f"script-src {_hash(script)}" if script else "script-src 'none'")
    return (
        _environment()
        .get_template(template)
        .render(policy="; ".join(rules), style=Markup(style), script=Markup(script), **context)
    )


def _write(path: Path, text: str) -> None:
    try:
        write_atomically(path, text.encode("utf-8"))
    except OSError as error:
        raise InputError.single(f"cannot be written: {error.strerror or error}", "--out", str(path)) from error
