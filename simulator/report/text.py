"""The short answer on a terminal: aligned tables that fit its width, with colour only when asked for."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

from simulator.report.day_output import day_spread, legend_text
from simulator.report.html_parts import DataTable
from simulator.report.job_table import job_table
from simulator.report.job_text import job_area, warning_text
from simulator.report.numbers import (
    NOTHING,
    ReportUnits,
    count_text,
    hours_text,
    mean_text,
    overspray_text,
    quantile_text,
    range_text,
    share_text,
    units_of,
)
from simulator.report.writing import plain
from simulator.scenario.power_balance import power_words

NARROWEST, WIDEST = 60, 160
_BOLD, _DIM, _ACCENT, _OFF = "\x1b[1m", "\x1b[2m", "\x1b[36m", "\x1b[0m"
_LONGEST_NAME = 24
_GAP = "  "
_SKIPPED_SHOWN = 3

Column = tuple[str, Callable[[Mapping[str, Any]], str]]


def printed_width(text: str) -> int:
    """Return how many terminal cells a text takes: wide characters take two, combining ones none."""
    bare = re.sub(r"\x1b\[\d*m", "", text)
    return sum(
        0 if unicodedata.combining(character) else 2 if unicodedata.east_asian_width(character) in "WF" else 1
        for character in bare
    )


def fit(text: object, width: int) -> str:
    """Return a foreign text on one line of at most ``width`` cells, an ellipsis for what is cut."""
    clean = plain(text)
    if printed_width(clean) <= width:
        return clean
    kept = ""
    for character in clean:
        if printed_width(kept + character) > width - 1:
            break
        kept += character
    return kept + "…"


def _wrap(text: str, width: int, first: str = "", later: str = "") -> list[str]:
    """Wrap a paragraph by printed width; a number stays with its per cent sign."""
    words = text.replace(" %", "\N{NO-BREAK SPACE}%").split(" ")
    lines, line, started = list[str](), first, False
    while words:
        word = words.pop(0)
        trial = f"{line} {word}" if started else line + word
        if printed_width(trial) <= width:
            line, started = trial, True
        elif started:
            lines.append(line)
            line, started = later, False
            words.insert(0, word)
        else:  # a word longer than a line is broken
            kept = 1
            while printed_width(line + word[: kept + 1]) <= width:
                kept += 1
            lines.append(line + word[:kept])
            line = later
            words.insert(0, word[kept:])
    lines += [line] if started else []
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def result_table(document: Mapping[str, Any], width: int = 80, color: bool = False) -> str:
    """Return the answer of a result as text.

    Parameters
    ----------
    document : mapping
        ``result.json`` with ``units`` ("us" by default) and ``day_start`` when known.
    width : int
        Cells of a line; taken as 60 when less and 160 when more.
    color : bool
        Whether to use terminal colours.

    Returns
    -------
    str
        Without a line end after the last line.
    """
    width = min(max(width, NARROWEST), WIDEST)
    shown = units_of(document)
    sets = document["equipment_sets"]
    paint = _painter(color)
    runs = sorted({int(entry["runs"]) for entry in sets})
    count = f"{runs[0]} runs" if len(runs) == 1 else f"{runs[0]} to {runs[-1]} runs"
    table = job_table(document, chances=False)
    area = f"{job_area(document)}, " if table else ""
    head = f"{fit(document['scenario'], width - 45)}: {area}{count} a set, seed {document['seed']}"
    lines = [paint(head, _BOLD), ""]
    warned = {entry["name"]: warning_text(document, entry) for entry in sets}
    for name, text in warned.items():
        lines += [paint(line, _BOLD) for line in _wrap(f"{fit(name, _LONGEST_NAME)}: {text}", width)] if text else []
    lines += [""] if any(warned.values()) else []
    lines += _tables(sets, _columns(table, shown, sets), width, paint)
    done = " Half done, 9 in 10 done: when that share of runs has done the job." if table else ""
    legend = f"± is half a 95 % interval. {legend_text(sets)}{done} Field h is time set up at the fields."
    lines += [paint(line, _DIM) for line in _wrap(legend, width)]
    for entry in sets:
        lines += ["", *_sentence(entry, width, paint)]
    lines += _paired(document, shown, width, paint)
    lines += _remarks(document, width)
    return "\n".join(line.rstrip() for line in lines)


def _painter(color: bool) -> Callable[[str, str], str]:
    return (lambda text, code: f"{code}{text}{_OFF}") if color else (lambda text, code: text)


def _columns(table: DataTable | None, shown: ReportUnits, sets: Sequence[Mapping[str, Any]]) -> list[Column]:
    def daily(name: str, scale: float = 1.0) -> Callable[[Mapping[str, Any]], str]:
        def text(entry: Mapping[str, Any]) -> str:
            value = entry["per_day"].get(name)
            return count_text(None if value is None else value * scale)

        return text

    def hourly(entry: Mapping[str, Any]) -> str:
        rate = entry.get("acres_per_field_hour")
        if rate is None:
            return NOTHING
        limits = [None if limit is None else limit * shown.per_acre for limit in rate["ci95"]]
        return mean_text(rate["mean"] * shown.per_acre, limits)

    def percentile(name: str, entry: Mapping[str, Any]) -> str:
        return quantile_text(day_spread(entry, shown), name)

    columns: list[Column] = [
        (
            f"{shown.area}/day",
            lambda entry: mean_text(entry[shown.spread_key]["mean"], entry[shown.spread_key]["ci95"]),
        ),
        *((name.upper(), partial(percentile, name)) for name in ("p10", "p50", "p90")),
        *_job_columns(table),
        (f"{shown.area}/field h", hourly),
        ("sorties", daily("sorties")),
        ("loads", daily("loads")),
        ("swaps", daily("pack_swaps")),
        ("charges", daily("charge_cycles")),
        (f"fuel {shown.volume}", daily("generator_fuel_l", shown.per_litre)),
        ("paid h", lambda entry: hours_text(entry["per_day"].get("paid_hours"))),
    ]
    if any(entry["per_day"].get("overspray") for entry in sets):
        columns.append(("overspray", lambda entry: overspray_text(entry, shown)))
    if not any(entry["per_day"].get("generator_fuel_l") for entry in sets):
        place = next(index for index, (title, _) in enumerate(columns) if title.startswith("fuel"))
        columns[place] = ("grid kWh", daily("energy_kwh"))
    return columns


def _job_columns(table: DataTable | None) -> list[Column]:
    if table is None:
        return []
    rows = {row[0].text: [cell.text for cell in row] for row in table.rows}

    def text(place: int, entry: Mapping[str, Any]) -> str:
        return rows[entry["name"]][place]

    return [(title, partial(text, place)) for place, title in enumerate(table.columns) if place]


def _tables(
    sets: Sequence[Mapping[str, Any]], columns: Sequence[Column], width: int, paint: Callable[[str, str], str]
) -> list[str]:
    """Lay columns out in as few blocks as the width allows, each beginning with the set's name."""
    names = [fit(entry["name"], _LONGEST_NAME) for entry in sets]
    first = max(printed_width(name) for name in [*names, "set"])
    cells = [(title, [text(entry) for entry in sets]) for title, text in columns]
    lines: list[str] = []
    while cells:
        block: list[tuple[str, list[str], int]] = []
        used = first
        while cells:
            title, texts = cells[0]
            wide = max(printed_width(text) for text in [title, *texts])
            if block and used + len(_GAP) + wide > width:
                break
            used += len(_GAP) + wide
            block.append((title, texts, wide))
            cells.pop(0)
        heads = _GAP.join(["set".ljust(first), *(title.rjust(wide) for title, _, wide in block)])
        lines.append(paint(heads, _DIM))
        for row, name in enumerate(names):
            padded = name + " " * (first - printed_width(name))
            texts = [texts[row].rjust(wide) for _, texts, wide in block]
            if block[0][0] == columns[0][0]:
                texts[0] = paint(texts[0], _BOLD)
            lines.append(_GAP.join([padded, *texts]))
        lines.append("")
    return lines


def _sentence(entry: Mapping[str, Any], width: int, paint: Callable[[str, str], str]) -> list[str]:
    name = fit(entry["name"], _LONGEST_NAME)
    power = power_words(entry.get("power") or [])
    wrapped = _wrap(f"{name}: {plain(entry['bottleneck']['sentence'])} {plain(power)}".rstrip(), width, later="  ")
    if wrapped and wrapped[0].startswith(f"{name}:"):
        wrapped[0] = paint(f"{name}:", _ACCENT) + wrapped[0][len(name) + 1 :]
    return wrapped


def _paired(document: Mapping[str, Any], shown: ReportUnits, width: int, paint: Callable[[str, str], str]) -> list[str]:
    pairs = document.get("paired") or []
    if not pairs:
        return []
    lines = ["", paint("Differences on the same random draws (95 % interval)", _BOLD)]
    for pair in pairs:
        first, second = fit(pair["a"], _LONGEST_NAME), fit(pair["b"], _LONGEST_NAME)
        limits = [None if limit is None else limit * shown.per_acre for limit in pair["ci95"]]
        amount = range_text(pair["difference"] * shown.per_acre, limits, sign=True)
        ahead = f"{first} ahead in {share_text(pair['a_wins_share'])} of runs"
        lines += _wrap(f"{first} less {second}: {amount} {shown.area}/day; {ahead}", width, later="  ")
    legend = "ahead: did more acres a day; a run in which both did the same counts half."
    return lines + [paint(line, _DIM) for line in _wrap(legend, width)]


def _remarks(document: Mapping[str, Any], width: int) -> list[str]:
    lines: list[str] = []
    if document.get("stopped"):
        lines += ["", *_wrap(f"Stopped early: {plain(document['stopped'])}.", width)]
    for text in (document.get("notes") or [])[:_SKIPPED_SHOWN]:
        lines += _wrap(f"Note: {plain(str(text))}", width, first="", later="  ")
    skipped = document.get("skipped") or []
    if skipped:
        lines += ["", f"Left out of the field file: {len(skipped)}"]
        for text in skipped[:_SKIPPED_SHOWN]:
            lines += _wrap(plain(text, 300), width, first="  ", later="    ")
        if len(skipped) > _SKIPPED_SHOWN:
            lines.append(f"  and {len(skipped) - _SKIPPED_SHOWN} more, listed in the result folder")
    return lines
