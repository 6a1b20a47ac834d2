"""``summary.md``: the answer of a result folder in Markdown, with the numbers beside the pictures."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.day_output import day_spread, days_words, legend_text
from simulator.report.job_table import job_table
from simulator.report.job_text import warning_text
from simulator.report.numbers import (
    NOTHING,
    ReportUnits,
    count_text,
    hours_text,
    mean_text,
    overspray_text,
    product_unit,
    quantile_range_text,
    range_text,
    share_text,
    units_of,
)
from simulator.report.palette import aircraft_looks, resource_looks, time_use_group
from simulator.report.writing import file_stem, plain
from simulator.scenario.power_balance import power_words

_SPECIAL = re.compile(r"([\\`*\[\]|#!~])")
_LONGEST_NAME = 80
_SKIPPED_SHOWN = 40


def markdown_text(text: object, longest: int = 2000) -> str:
    """Return a foreign text that Markdown shows as it is: no markup, no HTML, no table border, one line."""
    escaped = plain(text, longest).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    escaped = _SPECIAL.sub(r"\\\1", escaped)
    # an underscore inside a word marks nothing up; at its edge it may
    escaped = re.sub(r"(?<!\w)_|_(?!\w)", r"\\_", escaped)
    # a bare address would become a link
    return re.sub(r"(?i)\b(https?|ftp|mailto|www)([:.])", r"\1&#8203;\2", escaped)


def summary_markdown(document: Mapping[str, Any], manifest: Mapping[str, Any]) -> str:
    """Return the summary page of a result folder.

    Parameters
    ----------
    document : mapping
        ``result.json``.
    manifest : mapping
        ``manifest.json``; missing entries are left out.

    Returns
    -------
    str
        Markdown that refers to the folder's figures by relative name.
    """
    shown = units_of(document)
    sets = document["equipment_sets"]
    parts = [
        f"# {markdown_text(report_title(document, manifest))}",
        *_answer(sets, shown),
        *_job(document),
        _table(sets, shown),
        f"![{shown.area} per day of every set](acres.svg)",
        *_paired(document, shown),
        "## Where the aircraft's time goes",
        "![share of the aircraft's time by activity](time_use.svg)",
        _time_use(sets),
        "## What holds each set back",
        *(
            f"**{_name(entry)}**: {markdown_text(entry['bottleneck']['sentence'])}"
            f" {markdown_text(power_words(entry.get('power') or []))}".rstrip()
            for entry in sets
        ),
        _views(sets),
        *_one_more(sets, shown),
        "## One median day",
        *(f"![timeline of a median day of {_name(entry)}](timeline_{_address(entry)}.svg)" for entry in sets),
        *_left_out(document),
        *_notes(document),
        "## What was assumed",
        "Every number that the simulation used stands in `manifest.json` under `resolved`, defaults included;"
        " `acreday explain SCENARIO` prints each with where it came from and what it implies.",
        *([INVENTED_NOTE] if is_invented(document, manifest) else []),
        "## Cautions",
        "\n".join(f"- {caution}" for caution in CAUTIONS),
        f"**{SIMULATION_NOTE}**",
        _made_by(document, manifest),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _notes(document: Mapping[str, Any]) -> list[str]:
    """Return what was mended or assumed in reading files."""
    notes = document.get("notes") or []
    return ["## Notes on the input", "\n".join(f"- {markdown_text(text, 400)}" for text in notes[:50])] if notes else []


def report_title(document: Mapping[str, Any], manifest: Mapping[str, Any]) -> str:
    """Return the scenario's title, or its name when it has none."""
    if document.get("title"):
        return str(document["title"])
    for table in (manifest.get("resolved") or {}).values():
        if isinstance(table, Mapping) and table.get("title"):
            return str(table["title"])
    return str(document["scenario"])


def is_invented(document: Mapping[str, Any], manifest: Mapping[str, Any]) -> bool:
    """Return whether a result's places and equipment are invented."""
    if document.get("invented"):
        return True
    tables = (manifest.get("resolved") or {}).values()
    return any(isinstance(table, Mapping) and table.get("invented") for table in tables)


def _name(entry: Mapping[str, Any]) -> str:
    return markdown_text(entry["name"], _LONGEST_NAME)


def _address(entry: Mapping[str, Any]) -> str:
    return quote(file_stem(entry["name"]))


def _answer(sets: Sequence[Mapping[str, Any]], shown: ReportUnits) -> list[str]:
    lines = []
    for entry in sets:
        spread = day_spread(entry, shown)
        lines.append(
            f"- **{_name(entry)}: {mean_text(spread['mean'], spread['ci95'])} {shown.area} a day**"
            f" (95 % interval of the mean, {entry['runs']} runs); nine {days_words(entry)} in ten reach"
            f" {quantile_range_text(spread, 'p10')} {shown.area} or more."
        )
    return ["\n".join(lines)]


def _grid(head: Sequence[str], rows: Sequence[Sequence[str]], words: int = 1) -> str:
    """Return a table whose first ``words`` columns hold words, the others numbers."""
    lines = [f"| {' | '.join(head)} |", f"|{' --- |' * words}{' ---: |' * (len(head) - words)}"]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in rows)])


def _table(sets: Sequence[Mapping[str, Any]], shown: ReportUnits) -> str:
    head = [
        "Set", f"{shown.area}/day", "P10", "P50", "P90", f"{shown.area}/field hour", "Sorties", "Loads", "Pack swaps",
        "Charges", f"Fuel, {shown.volume}", "Energy, kWh", "Left over", "Overspray", "Paid hours", "Runs",
    ]  # fmt: skip
    rows = []
    for entry in sets:
        spread, daily, rate = day_spread(entry, shown), entry["per_day"], entry.get("acres_per_field_hour")
        fuel, left = daily.get("generator_fuel_l"), daily.get("left_over")
        scale, unit = product_unit(entry, shown)
        hourly = NOTHING
        if rate is not None:
            limits = [None if limit is None else limit * shown.per_acre for limit in rate["ci95"]]
            hourly = mean_text(rate["mean"] * shown.per_acre, limits)
        row = [_name(entry), mean_text(spread["mean"], spread["ci95"])]
        row += [quantile_range_text(spread, name) for name in ("p10", "p50", "p90")]
        row.append(hourly)
        row += [count_text(daily.get(name)) for name in ("sorties", "loads", "pack_swaps", "charge_cycles")]
        row += [count_text(None if fuel is None else fuel * shown.per_litre), count_text(daily.get("energy_kwh"))]
        row.append(NOTHING if left is None else f"{count_text(left * scale)} {unit}")
        row += [overspray_text(entry, shown), hours_text(daily.get("paid_hours")), str(entry["runs"])]
        rows.append(row)
    note = (
        f"{legend_text(sets)} Counts are means a work day. A field hour is an hour with the rig set up at"
        " a field; paid hours include the road and the yard. Overspray is product that falls outside the field or"
        " twice, and its part of what is applied."
    )
    return f"{_grid(head, rows)}\n\n{note}"


def _paired(document: Mapping[str, Any], shown: ReportUnits) -> list[str]:
    pairs = document.get("paired") or []
    if not pairs:
        return []
    rows = []
    for pair in pairs:
        limits = [None if limit is None else limit * shown.per_acre for limit in pair["ci95"]]
        amount = range_text(pair["difference"] * shown.per_acre, limits, sign=True)
        names = [markdown_text(pair[key], _LONGEST_NAME) for key in ("a", "b")]
        rows.append(
            [f"{names[0]} less {names[1]}", amount, share_text(pair["a_wins_share"]), str(pair.get("runs", NOTHING))]
        )
    head = ["Pair", f"Difference, {shown.area}/day (95 % interval)", "First ahead in", "Runs"]
    note = "*First ahead in* is the share of runs in which the first set did more a day; a tie counts half."
    return ["## Sets compared on the same random draws", _grid(head, rows), note]


def _time_use(sets: Sequence[Mapping[str, Any]]) -> str:
    looks = aircraft_looks()
    totals: list[dict[str, float]] = []
    for entry in sets:
        groups = dict.fromkeys(looks, 0.0)
        for label, share in entry["time_share"].items():
            groups[time_use_group(label)] += share or 0.0
        totals.append(groups)
    used = [group for group in looks if any(groups[group] > 0.0 for groups in totals)]
    head = ["Aircraft time", *(_name(entry) for entry in sets)]
    rows = [[looks[group].label, *(share_text(groups[group]) for groups in totals)] for group in used]
    return _grid(head, rows)


def _views(sets: Sequence[Mapping[str, Any]]) -> str:
    head = [
        "Resource",
        *(f"{_name(entry)}: busy / momentary bottleneck" for entry in sets),
    ]
    rows = []
    for resource, look in resource_looks(name for entry in sets for name in entry["utilisation"]).items():
        cells = []
        for entry in sets:
            busy, held = entry["utilisation"].get(resource), entry["bottleneck"]["active_period_share"].get(resource)
            cells.append(f"{share_text(busy)} / {share_text(held)}")
        rows.append([look.label, *cells])
    return _grid(head, rows)


def _one_more(sets: Sequence[Mapping[str, Any]], shown: ReportUnits) -> list[str]:
    rows = []
    for entry in sets:
        for change in entry["bottleneck"].get("one_more") or []:
            limits = [None if limit is None else limit * shown.per_acre for limit in change["ci95"]]
            amount = range_text(change["acres_per_day"] * shown.per_acre, limits, sign=True)
            name = _name(entry)
            rows.append([name, markdown_text(change["change"], 200), amount, str(change.get("runs", NOTHING))])
    if not rows:
        return []
    head = ["Set", "Change", f"Added {shown.area}/day (95 % interval)", "Runs"]
    return ["## What one more of each would add", _grid(head, rows, words=2)]


def _job(document: Mapping[str, Any]) -> list[str]:
    table = job_table(document)
    if table is None:
        return []
    rows = [[markdown_text(cell.text, _LONGEST_NAME) for cell in row] for row in table.rows]
    told = [(entry, warning_text(document, entry)) for entry in document["equipment_sets"]]
    lines = "\n".join(f"- **{_name(entry)}**: {markdown_text(text)}" for entry, text in told if text)
    return ["## The whole job", lines, f"{table.title}.", _grid(table.columns, rows)]


def _left_out(document: Mapping[str, Any]) -> list[str]:
    skipped = document.get("skipped") or []
    parts = []
    if document.get("stopped"):
        parts.append(f"**Stopped early:** {markdown_text(document['stopped'])}.")
    if skipped:
        lines = [f"- {markdown_text(text, 400)}" for text in skipped[:_SKIPPED_SHOWN]]
        if len(skipped) > _SKIPPED_SHOWN:
            lines.append(f"- and {len(skipped) - _SKIPPED_SHOWN} more in `result.json`")
        parts += ["## Left out of the field file", "\n".join(lines)]
    return parts


def _made_by(document: Mapping[str, Any], manifest: Mapping[str, Any]) -> str:
    words = [f"acreday {markdown_text(manifest.get('acreday_version', '?'), 40)}", f"seed {document['seed']}"]
    for key, label in (
        ("python", "Python"),
        ("engine", "engine"),
        ("created", "made"),
        ("scenario_sha256", "scenario SHA-256"),
    ):
        if manifest.get(key):
            words.append(f"{label} {markdown_text(manifest[key], 80)}")
    if manifest.get("command"):
        command = manifest["command"]
        line = " ".join(map(str, command)) if isinstance(command, list | tuple) else str(command)
        words.append(f"command: {markdown_text(line, 400)}")
    return f"---\n\n{'; '.join(words)}. Details: `manifest.json`."
