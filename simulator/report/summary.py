"""``summary.md``: the answer of a result folder in Markdown, with the numbers beside the pictures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from simulator.report.answer import answer_lines, verdict_text
from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.day_output import legend_text
from simulator.report.job_table import job_table
from simulator.report.job_text import hold_text, warning_text
from simulator.report.numbers import shown_name, units_of
from simulator.report.ranking import best_first, one_more, paired
from simulator.report.table import markdown_text as markdown_text
from simulator.report.tables import (
    alone_table,
    answer_table,
    one_more_table,
    paired_table,
    per_day_table,
    resource_table,
    time_table,
)
from simulator.report.writing import file_stem

_LONGEST_NAME = 80
_SKIPPED_SHOWN = 40


def summary_markdown(document: Mapping[str, Any], manifest: Mapping[str, Any]) -> str:
    """Return the summary page of a result folder, which refers to the folder's figures by relative name."""
    shown = units_of(document)
    sets = [entry for _, entry in best_first(document)]
    parts = [
        f"# {markdown_text(report_title(document, manifest))}",
        markdown_text(verdict_text(document)),
        _answer(document),
        f"![{shown.area} per day of every set](acres.svg)",
        *_job(document),
        answer_table(document).markdown(),
        f"{markdown_text(legend_text(sets))} A field hour is an hour with the rig set up at a field.",
        per_day_table(document).markdown(),
        "Means a work day. Paid hours include the road and the yard.",
        *_paired(document),
        "## Where the aircraft's time goes",
        "![hours of the aircraft by activity](time_use.svg)",
        time_table(document).markdown(),
        "## What holds each set back",
        *(f"**{_name(entry)}**: {markdown_text(hold_text(entry))}" for entry in sets),
        *(f"{table.title}:\n\n{table.markdown()}" for table in [alone_table(document)] if table),
        resource_table(document).markdown(),
        *(["## What one more of each would add", one_more_table(document).markdown()] if one_more(document) else []),
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


def _answer(document: Mapping[str, Any]) -> str:
    return "\n".join(f"- **{markdown_text(name)}**: {markdown_text(text)}" for name, text in answer_lines(document))


def _paired(document: Mapping[str, Any]) -> list[str]:
    if not paired(document):
        return []
    note = "*First ahead in* is the share of runs in which the first set did more a day; a tie counts half."
    return ["## Sets compared on the same random draws", paired_table(document).markdown(), note]


def _job(document: Mapping[str, Any]) -> list[str]:
    table = job_table(document)
    if table is None:
        return []
    told = [(entry, warning_text(document, entry)) for entry in document["equipment_sets"]]
    lines = "\n".join(f"- **{_name(entry)}**: {markdown_text(text)}" for entry, text in told if text)
    return ["## The whole job", lines, f"{table.title}.", table.markdown()]


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
    return markdown_text(shown_name(entry), _LONGEST_NAME)


def _address(entry: Mapping[str, Any]) -> str:
    return quote(file_stem(entry["name"]))


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
