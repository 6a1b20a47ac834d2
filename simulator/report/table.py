"""One description of a table, written as Markdown, as aligned text, and by the templates as HTML."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from simulator.report.writing import fit, plain, printed_width, wrap

LONGEST_CELL = 200
_SPECIAL = re.compile(r"([\\`*\[\]|#!~])")
_GAP = "  "
_LEAST_FIRST = 24
"""The first column of a printed table is not made narrower than this."""


@dataclass(frozen=True)
class Cell:
    """A text, with the exact number behind it and where that stands in ``result.json`` ("equipment_sets.0.runs")."""

    text: str
    value: float | int | None = None
    path: str = ""


@dataclass(frozen=True)
class DataTable:
    """A table: the first cell of each row is its heading; ``words`` columns from the left hold words."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    words: int = 1

    @property
    def numbers(self) -> bool:
        """Whether there are columns of numbers."""
        return self.words < len(self.columns)

    def markdown(self) -> str:
        """Return the table in Markdown."""
        lines = [_markdown_row(self.columns)]
        lines.append(f"|{' --- |' * self.words}{' ---: |' * (len(self.columns) - self.words)}")
        return "\n".join([*lines, *(_markdown_row([cell.text for cell in row]) for row in self.rows)])

    def fitting(self, width: int, needed: Sequence[str]) -> DataTable:
        """Return the table with the columns that fit a width, those needed most first."""
        wide, kept = self._wide(), [0]
        places = sorted(range(1, len(self.columns)), key=lambda place: self.columns[place] not in needed)
        for place in places:
            if sum(wide[one] + len(_GAP) for one in [*kept, place]) - len(_GAP) <= width:
                kept.append(place)
        kept.sort()
        rows = tuple(tuple(row[place] for place in kept) for row in self.rows)
        return DataTable(self.title, tuple(self.columns[place] for place in kept), rows, self.words)

    def _wide(self) -> list[int]:
        """Return the width of each column: of its cells, and of its head broken in two."""
        return [
            max([_head_width(title) if place else printed_width(title),
                 *(printed_width(row[place].text) for row in self.rows)])
            for place, title in enumerate(self.columns)
        ]  # fmt: skip

    def lines(self, width: int, head: Callable[[str], str] = str, first: Callable[[str], str] = str) -> list[str]:
        """Return the table as text in as few blocks as a width allows, each beginning with the first column.

        Heads, and first cells where room is short, are broken in lines. ``head`` paints the lines of heads, ``first``
        the numbers of the second column.
        """
        first_wide, *others = self._wide()
        short = sum(others) + len(_GAP) * len(others) + first_wide - width
        wide = [min(first_wide, max(_LEAST_FIRST, first_wide - short)) if short > 0 else first_wide]
        wide += [min(one, width - wide[0] - len(_GAP)) for one in others]
        lines: list[str] = []
        rest = list(range(1, len(self.columns)))
        while rest:
            block = [rest.pop(0)]
            while rest and wide[0] + sum(len(_GAP) + wide[place] for place in [*block, rest[0]]) <= width:
                block.append(rest.pop(0))
            heads = [wrap(self.columns[place], wide[place]) for place in [0, *block]]
            deep = max(map(len, heads))
            tops = zip(*([""] * (deep - len(one)) + one for one in heads), strict=True)
            lines += [head(_row_text(texts, [wide[place] for place in [0, *block]])) for texts in tops]
            for row in self.rows:
                called, *more = wrap(row[0].text, wide[0]) or [""]
                texts = [_right(fit(row[place].text, wide[place]), wide[place]) for place in block]
                if block[0] == 1:
                    texts[0] = first(texts[0])
                lines += [_GAP.join([_left(called, wide[0]), *texts]).rstrip(), *(f"  {one}" for one in more)]
            lines.append("")
        return lines


def _head_width(title: str) -> int:
    """Return how wide a head is that is broken into two lines."""
    words = title.split(" ")
    return min(
        max(printed_width(" ".join(words[:cut])), printed_width(" ".join(words[cut:]))) for cut in range(len(words))
    )


def _row_text(texts: Sequence[str], wide: Sequence[int]) -> str:
    first, *others = zip(texts, wide, strict=True)
    return _GAP.join([_left(*first), *(_right(*one) for one in others)]).rstrip()


def _right(text: str, wide: int) -> str:
    return " " * (wide - printed_width(text)) + text


def _left(text: str, wide: int) -> str:
    fitted = fit(text, wide)
    return fitted + " " * (wide - printed_width(fitted))


def text_row(*texts: str) -> tuple[Cell, ...]:
    """Return a row of plain texts."""
    return tuple(map(Cell, texts))


def markdown_text(text: object, longest: int = 2000) -> str:
    """Return a foreign text that Markdown shows as it is: no markup, no HTML, no table border, one line."""
    escaped = plain(text, longest).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    escaped = _SPECIAL.sub(r"\\\1", escaped)
    # an underscore inside a word marks nothing up; at its edge it may
    escaped = re.sub(r"(?<!\w)_|_(?!\w)", r"\\_", escaped)
    # a bare address would become a link
    return re.sub(r"(?i)\b(https?|ftp|mailto|www)([:.])", r"\1&#8203;\2", escaped)


def _markdown_row(texts: Sequence[str]) -> str:
    return f"| {' | '.join(markdown_text(text, LONGEST_CELL) for text in texts)} |"
