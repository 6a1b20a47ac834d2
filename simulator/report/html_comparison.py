"""Several results side by side: spreads, differences from the first, and what changed in the inputs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError
from simulator.experiment.estimates import independent_interval, paired_interval
from simulator.report.answer import lead_text
from simulator.report.answer_figure import SpreadRow, spread_figure
from simulator.report.cautions import CAUTIONS, SIMULATION_NOTE
from simulator.report.day_output import (
    PERCENTILES,
    bad_text,
    day_spread,
    day_values,
    finest_decimals,
    legend_text,
    output_texts,
)
from simulator.report.figures import interval_figure
from simulator.report.folder import INPUT_COPY
from simulator.report.html_inputs import differing
from simulator.report.html_page import PageFigure, clean, page_figure, render, write
from simulator.report.job_text import hold_text, limit_text
from simulator.report.numbers import ReportUnits, shown_name, units_of
from simulator.report.ranking import Interval
from simulator.report.table import Cell, DataTable, text_row
from simulator.report.tables import per_day_table
from simulator.report.writing import plain

if TYPE_CHECKING:
    from simulator.report.stored import StoredResult


class _Column:
    """One equipment set of one result."""

    def __init__(
        self, heading: str, document: Mapping[str, Any], entry: Mapping[str, Any], stored: StoredResult
    ) -> None:
        self.heading, self.entry = heading, clean(entry)
        self.seed = document["seed"]
        self.runs = stored.runs[stored.runs["equipment_set"] == entry["name"]].set_index("run")
        self._stored = stored, entry
        self.resolved = clean((stored.manifest.get("resolved") or {}).get(entry["name"], {}))

    def days(self, sets: Sequence[Mapping[str, Any]], units: ReportUnits) -> NDArray[np.float64]:
        """Return the output of the days that percentiles are of."""
        stored, entry = self._stored
        return day_values(stored.runs, entry, sets, units)


def write_comparison(results: Sequence[StoredResult], out_html: Path) -> None:
    """Write a page that sets two or more results side by side, in the units of the first."""
    write(out_html, comparison_page(results))


def comparison_page(results: Sequence[StoredResult]) -> str:
    """Return the page of several results as HTML text; see :func:`write_comparison`."""
    if len(results) < 2:
        raise InputError.single(f"got {len(results)} result; allowed is two or more to set side by side", "compare")
    units = units_of(results[0].document)
    columns = _columns(results)
    entries = [{**column.entry, "name": column.heading, "label": column.heading} for column in columns]
    changed = differing({column.heading: column.resolved for column in columns})
    heads = ("setting", *(column.heading for column in columns))
    rows = tuple(text_row(key, *values) for key, values in changed)
    return render(
        "comparison.html.j2",
        title="Results side by side",
        warning=_FIELDS_DIFFER if _fields_differ(results, [key for key, _ in changed]) else "",
        answer=_answer(columns, units),
        answers=[(column.heading, hold_text(column.entry)) for column in columns],
        spread=_spread(columns, entries, units),
        difference=_differences(columns, units),
        inputs=DataTable("Settings that are not the same in all", heads, rows, len(heads)) if changed else None,
        per_day=per_day_table({"units": units.name, "equipment_sets": entries}, ranking=False),
        cautions=CAUTIONS,
        simulation_note=SIMULATION_NOTE,
    )


_FIELDS_DIFFER = (
    "These results are not of the same fields: what differs in output may come of the fields, not of the equipment."
)


def _fields_differ(results: Sequence[StoredResult], changed: Sequence[str]) -> bool:
    """Tell whether results are of different fields, by their settings or by the files that hold them."""
    files = [
        {name: digest for name, digest in (stored.manifest.get("files") or {}).items() if name.startswith(INPUT_COPY)}
        for stored in results
    ]
    return any(key.split(".")[0] in ("field", "field_file") for key in changed) or any(one != files[0] for one in files)


def _answer(columns: Sequence[_Column], units: ReportUnits) -> list[tuple[str, str]]:
    """Return the output of each set of each result, and by how much it differs from the first."""
    sets, first = [column.entry for column in columns], columns[0]
    texts = output_texts(sets, units)
    said = []
    for column, text in zip(columns, texts, strict=True):
        words = f"{text['mean']} {units.area} a day ({bad_text(sets, text)})"
        if column is not first:
            difference = _compared(column, first, units)
            told = difference.verdict in ("adds", "takes away")
            words += f", {lead_text(difference if told else None, first.heading)}"
        said.append((column.heading, f"{words}."))
    return said


def _spread(columns: Sequence[_Column], entries: Sequence[Mapping[str, Any]], units: ReportUnits) -> PageFigure:
    rows = []
    for column in columns:
        spread = day_spread(column.entry, entries, units)
        rows.append(
            SpreadRow(column.entry, column.heading, spread, column.days(entries, units), limit_text(column.entry))
        )
    table = DataTable(
        f"{units.area} per day",
        ("result and set", "runs", "mean ± half its 95 % interval", *map(str.upper, PERCENTILES)),
        tuple(
            (
                Cell(column.heading),
                Cell(str(column.entry["runs"]), column.entry["runs"]),
                Cell(text["interval"], column.entry[units.spread_key]["mean"]),
                *(Cell(text[name], day_spread(column.entry, entries, units)[name]) for name in PERCENTILES),
            )
            for column, text in zip(columns, output_texts([column.entry for column in columns], units), strict=True)
        ),
    )
    title = f"{units.heading} a day side by side"
    return page_figure("spread", title, legend_text(entries), lambda wide: spread_figure(rows, units, wide), table)


def _columns(results: Sequence[StoredResult]) -> list[_Column]:
    names = [plain(stored.document["scenario"]) for stored in results]
    columns = []
    for place, stored in enumerate(results):
        name = names[place] if names.count(names[place]) == 1 else f"{names[place]} ({place + 1})"
        for entry in stored.document["equipment_sets"]:
            columns.append(_Column(f"{name}: {shown_name(entry)}", stored.document, entry, stored))
    return columns


def _compared(column: _Column, base: _Column, units: ReportUnits) -> Interval:
    """Return by how much a column is ahead of another; run by run where both used the same seed."""
    name, finest = "acres" if units.name == "us" else "hectares", finest_decimals([column.entry, base.entry], units)
    shared = np.intersect1d(base.runs.index, column.runs.index)
    if column.seed == base.seed and len(shared) >= 2:
        pair = paired_interval(column.runs.loc[shared, name], base.runs.loc[shared, name])
        return Interval(column.heading, pair.mean, (pair.low, pair.high), f"same draws, {len(shared)} runs", "", finest)
    apart = independent_interval(column.runs[name], base.runs[name])
    return Interval(column.heading, apart.mean, (apart.low, apart.high), "independent runs", "", finest)


def _differences(columns: Sequence[_Column], units: ReportUnits) -> PageFigure:
    first = columns[0]
    found = [_compared(column, first, units) for column in columns[1:]]
    title = f"Output compared with {first.heading}"
    heads = ("result and set", f"{units.area} per day more (95 % interval)", "compared by")
    rows = tuple((Cell(one.name), Cell(one.text, one.value), Cell(one.note)) for one in found)
    return page_figure(
        "difference",
        title,
        f"Difference in {units.area} a day with its 95 % interval. Filled: beyond doubt.",
        lambda wide: interval_figure([("", found)], f"{units.area} a day more", wide),
        DataTable(title, heads, rows),
    )
