"""What a study says: its sentences and table on the terminal, and ``summary.md``."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from simulator.scenario.loading import LoadedScenario
    from simulator.study.answer import Answer

_LONGEST_CELL = 200
_LEAST = 12
"""Characters that a column of texts is left with at least."""


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


def summary(loaded: LoadedScenario, answer: Answer, seed: int) -> str:
    """Return ``summary.md``: the answer, the table, the figure, notes and cautions."""
    from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
    from simulator.report.table import DataTable, markdown_text, text_row

    head, *body = answer.rows
    table = DataTable("", tuple(head), tuple(text_row(*row) for row in body), words=len(head))
    lines = [f"# {answer.study.capitalize()}: {markdown_text(loaded.base.title or loaded.name, 200)}", ""]
    lines += [f"{markdown_text(text)}\n" for text in answer.sentences]
    lines += [table.markdown(), "", f"![{answer.study}]({answer.study}.svg)", ""]
    lines += [f"- {markdown_text(text)}" for text in answer.remarks]
    lines += ["", "## Cautions", "", SIMULATION_NOTE, *([INVENTED_NOTE] if loaded.base.invented else []), ""]
    lines += [f"- {text}" for text in CAUTIONS]
    tables = ", ".join(answer.tables)
    lines += ["", f"Seed {seed}; the resolved scenario and versions are in manifest.json; tables: {tables}."]
    return "\n".join(lines) + "\n"
