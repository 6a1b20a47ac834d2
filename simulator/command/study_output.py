"""What a study says: its sentences and table on the terminal, ``summary.md``, and options that are read alike."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from simulator.errors import InputError
from simulator.scenario.loading import LoadedScenario

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

_LONGEST_CELL = 200
_LEAST = 12
"""Characters that a column of texts is left with at least."""


@dataclass(frozen=True)
class StudyOutput:
    """What a study says and writes."""

    sentences: Sequence[str]
    rows: Sequence[Sequence[str]]
    notes: Sequence[str]
    document: Mapping[str, Any]
    tables: Mapping[str, pd.DataFrame]
    figures: Mapping[str, Callable[[], Figure]]
    runs: Mapping[str, int] = field(default_factory=dict)


def shown(text: str) -> str:
    """Return a text that cannot steer a terminal."""
    from simulator.report.writing import plain

    return plain(text)


def filled(text: str, width: int, first: str = "", later: str = "") -> str:
    """Return a paragraph broken into lines; a number stays with its per cent sign."""
    kept = text.replace(" %", "\N{NO-BREAK SPACE}%")
    broken = textwrap.fill(kept, width, initial_indent=first, subsequent_indent=later)
    return broken.replace("\N{NO-BREAK SPACE}", " ")


def aligned(rows: Sequence[Sequence[str]], width: int) -> str:
    """Return rows as columns: texts left, numbers right; heads and texts are broken where the table is too wide."""
    from simulator.report.writing import plain

    count = len(rows[0])
    right = [all(_numeric(row[place]) for row in rows[1:]) for place in range(count)]
    cells = [[plain(cell, _LONGEST_CELL) for cell in row] for row in rows]
    widths = [max(len(row[place]) for row in cells) for place in range(count)]
    # a column of numbers needs them whole, and the longest word of its head
    least = [
        max(len(text) for text in [*(row[place] for row in cells[1:]), *cells[0][place].split(), ""])
        if side
        else _LEAST
        for place, side in enumerate(right)
    ]
    while sum(widths) + 2 * (count - 1) > width:
        wider = [place for place in range(count) if widths[place] > least[place]]
        if not wider:
            break
        # heads over numbers are broken first, then the widest text
        heads = [place for place in wider if right[place]]
        place = max(heads or wider, key=lambda one: widths[one])
        widths[place] -= 1
    lines = [line for row in cells for line in _broken(row, widths, right)]
    rule = "-" * min(width, sum(widths) + 2 * (count - 1))
    lines.insert(len(_broken(cells[0], widths, right)), rule)
    return "\n".join(lines)


def _broken(row: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> list[str]:
    """Return the lines of one row."""
    parts = [textwrap.wrap(cell, size, break_on_hyphens=False) or [""] for cell, size in zip(row, widths, strict=True)]
    lines = []
    for number in range(max(len(part) for part in parts)):
        texts = [part[number] if number < len(part) else "" for part in parts]
        padded = [
            text.rjust(size) if side else text.ljust(size)
            for text, size, side in zip(texts, widths, right, strict=True)
        ]
        lines.append("  ".join(padded).rstrip())
    return lines


_NUMBER = re.compile(
    r"(never|[-+–]?[$€£]?[\d,.]*( %)?)( to [-+]?[$€£]?[\d,.]+)?( \((no variation seen|[-+\d,. ]+( to [-+\d,. ]+)?"
    r"|at (least|most) [-+\d,.]+)\))?"
)
"""A number, a range or an estimate with its interval."""


def _numeric(text: str) -> bool:
    return _NUMBER.fullmatch(text) is not None


def summary(name: str, loaded: LoadedScenario, output: StudyOutput, seed: int) -> str:
    """Return ``summary.md``: the answer, the table, figures, notes and cautions."""
    from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
    from simulator.report.summary import markdown_text

    head, *body = output.rows
    lines = [f"# {name.capitalize()}: {markdown_text(loaded.base.title or loaded.name, 200)}", ""]
    lines += [f"{markdown_text(text)}\n" for text in output.sentences]
    lines += ["| " + " | ".join(markdown_text(cell) for cell in head) + " |", "|" + " --- |" * len(head)]
    lines += ["| " + " | ".join(markdown_text(cell) for cell in row) + " |" for row in body]
    lines += ["", *(f"![{stem}]({stem}.svg)" for stem in output.figures), ""]
    lines += [f"- {markdown_text(text)}" for text in output.notes]
    lines += ["", "## Cautions", "", SIMULATION_NOTE, *([INVENTED_NOTE] if loaded.base.invented else []), ""]
    lines += [f"- {text}" for text in CAUTIONS]
    lines += [
        "",
        f"Seed {seed}; the resolved scenario and versions are in manifest.json; tables: {', '.join(output.tables)}.",
    ]
    return "\n".join(lines) + "\n"


def cell(value: float, decimals: int = 0) -> str:
    """Return a number for a table; a dash when missing, ``never`` when infinite."""
    if value != value:
        return "–"
    return (
        "never" if value in (float("inf"), float("-inf")) else f"{round(value, decimals) + 0.0:,.{max(0, decimals)}f}"
    )


def read_area(text: str, option: str) -> float:
    """Read an area such as ``"150 acre"`` and return acres."""
    from simulator.scenario.units import AREA, M2_PER_ACRE, UnitError, parse

    try:
        return parse(text, AREA) / M2_PER_ACRE
    except UnitError as error:
        raise InputError.single(str(error), option) from error


def read_job(loaded: LoadedScenario, text: str | None) -> float:
    """Return the area (m2) of the job that a study lays out anew: that of ``--acres``, or of the scenario's fields."""
    from simulator.scenario.units import M2_PER_ACRE

    if text is not None:
        return read_area(text, "--acres") * M2_PER_ACRE
    return sum(site.area_m2 for site in loaded.sets[0].fields.sites)


def never_done(name: str, shares: Iterable[float], what: str) -> list[str]:
    """Say in how many cases a set did not do its job in every run; nothing where it did."""
    short = [share for share in shares if share < 1.0]
    if not short:
        return []
    return [
        f"{name} does not do the job in every run of {len(short)} {what}{'s' * (len(short) > 1)} (in the worst in "
        f"{100 * min(short):.0f} % of them): its output there is that of what it did."
    ]
