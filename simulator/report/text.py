"""The short answer on a terminal: aligned tables that fit its width, with colour only when asked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from simulator.report.answer import answer_lines, verdict_text
from simulator.report.day_output import legend_text
from simulator.report.job_table import job_table
from simulator.report.job_text import hold_text, job_area
from simulator.report.numbers import shown_name, units_of
from simulator.report.ranking import best_first, paired
from simulator.report.tables import alone_table, practice_table, terminal_table
from simulator.report.writing import fit, plain, wrap

NARROWEST, WIDEST = 60, 160
_BOLD, _DIM, _ACCENT, _OFF = "\x1b[1m", "\x1b[2m", "\x1b[36m", "\x1b[0m"
_LONGEST_NAME = 60
_NEEDED = ("P10", "work days", "9 in 10 done", "cost/acre", "cost/ha")
"""Columns that come before others where not all fit."""
_SKIPPED_SHOWN = 3

Paint = Callable[[str, str], str]


def result_table(document: Mapping[str, Any], width: int = 80, color: bool = False) -> str:
    """Return the answer of a result as text, without a line end after the last line."""
    width = min(max(width, NARROWEST), WIDEST)
    sets = [entry for _, entry in best_first(document)]
    paint: Paint = (lambda text, code: f"{code}{text}{_OFF}") if color else (lambda text, code: text)
    runs = sorted({int(entry["runs"]) for entry in sets})
    count = f"{runs[0]} runs" if len(runs) == 1 else f"{runs[0]} to {runs[-1]} runs"
    area = job_area(document)
    head = (
        f"{fit(document['scenario'], width - 45)}: {area + ', ' if area else ''}{count} a set, seed {document['seed']}"
    )
    lines = [paint(head, _BOLD), ""]
    lines += wrap(verdict, width) if (verdict := plain(verdict_text(document))) else []
    for name, text in answer_lines(document):
        lines += [paint(line, _BOLD) for line in wrap(f"{fit(name, _LONGEST_NAME)}: {text}", width, later="  ")]
    lines += [""]
    whole = terminal_table(document, job_table(document, chances=False))
    table = whole.fitting(width, (whole.columns[1], *_NEEDED))
    lines += table.lines(width, lambda text: paint(text, _DIM), lambda text: paint(text, _BOLD))
    done = " 9 in 10 done: when that share of runs has done the job." if area else ""
    more = "" if len(table.columns) == len(whole.columns) else " summary.md has more columns."
    field = " Field h is time set up at the fields." if any("field h" in one for one in table.columns) else ""
    legend = f"± is half a 95 % interval. {legend_text(sets)}{done}{field}{more}"
    lines += [paint(line, _DIM) for line in wrap(legend, width)]
    for entry in sets:
        lines += ["", *_led(fit(shown_name(entry), _LONGEST_NAME), hold_text(entry), width, paint)]
    for table_of in (alone_table, practice_table):
        if found := table_of(document):
            lines += ["", *(paint(line, _BOLD) for line in wrap(found.title, width))]
            lines += found.lines(width, lambda text: paint(text, _DIM))[:-1]
    lines += _paired(document, width, paint)
    lines += _remarks(document, width)
    return "\n".join(line.rstrip() for line in lines)


def _led(name: str, text: str, width: int, paint: Paint) -> list[str]:
    """Return a text led by a name in colour."""
    first, *rest = wrap(f"{name}: {plain(text)}", width, later="  ")
    painted = first.startswith(f"{name}:")
    return [paint(f"{name}:", _ACCENT) + first[len(name) + 1 :] if painted else first, *rest]


def _paired(document: Mapping[str, Any], width: int, paint: Paint) -> list[str]:
    pairs, shown = paired(document), units_of(document)
    if not pairs:
        return []
    lines = ["", paint("Differences on the same random draws (95 % interval)", _BOLD)]
    for one in pairs:
        text = f"{plain(one.name, 60)}: {one.text} {shown.area}/day; ahead in {one.note} of runs"
        lines += wrap(text, width, later="  ")
    legend = f"ahead: did more {shown.area} a day; a run in which both did the same counts half."
    return lines + [paint(line, _DIM) for line in wrap(legend, width)]


def _remarks(document: Mapping[str, Any], width: int) -> list[str]:
    lines: list[str] = []
    if document.get("stopped"):
        lines += ["", *wrap(f"Stopped early: {plain(document['stopped'])}.", width)]
    for text in (document.get("notes") or [])[:_SKIPPED_SHOWN]:
        lines += wrap(f"Note: {plain(str(text))}", width, later="  ")
    skipped = document.get("skipped") or []
    if skipped:
        lines += ["", f"Left out of the field file: {len(skipped)}"]
        for text in skipped[:_SKIPPED_SHOWN]:
            lines += wrap(plain(text, 300), width, first="  ", later="    ")
        if len(skipped) > _SKIPPED_SHOWN:
            lines.append(f"  and {len(skipped) - _SKIPPED_SHOWN} more, listed in the result folder")
    return lines
