"""The evidence page as text: for a terminal of any width, and as Markdown."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterator

from simulator.analysis.explain import Page, largest_difference
from simulator.analysis.explain_sheet import Line
from simulator.scenario.provenance import Leaf

_NARROW = 72
"""Below this width quantity and arithmetic stand under each other."""

_LEGEND = (
    "Origin of a value: scenario (the file), scenario: equipment_set.NAME (an override of it), catalogue: ENTRY"
    " (invented round numbers of a class, no maker's data), command line, or default (its note gives the source, or"
    " says assumption)."
)
_HOW = (
    "Every line is quantity = arithmetic = result. Numbers are rounded to six digits before they are used further, so a"
    " pocket calculator gives each result as it stands here. ln is the natural logarithm, acos is in radians."
)


def clean(text: str) -> str:
    """Return a foreign text without characters that steer a terminal, on one line."""
    spaced = " ".join(text.split())
    return "".join(character for character in spaced if not unicodedata.category(character).startswith("C"))


def page_text(page: Page, width: int) -> str:
    """Return the page for a terminal.

    Parameters
    ----------
    page : Page
        The page.
    width : int
        Characters in a line, at least 40.

    Returns
    -------
    str
        Lines no longer than ``width`` but for single words that are.
    """
    width = max(40, width)
    out: list[str] = []
    for paragraph in _head(page):
        out += _wrapped(paragraph, width)
    out += ["", "VALUES", *_wrapped(_LEGEND, width)]
    tables: dict[str, list[Leaf]] = {}
    for leaf in page.values:
        tables.setdefault(leaf.key.rpartition(".")[0], []).append(leaf)
    for table, leaves in tables.items():
        out += ["", *_wrapped(f"[{table or 'scenario'}]", width)]
        for leaf in leaves:
            out += _leaf_lines(leaf, table, width)
    out += ["", "ARITHMETIC", *_wrapped(_HOW, width)]
    for section in page.sections:
        out += ["", *_wrapped(section.title, width), "-" * min(width, len(clean(section.title)))]
        column = min(max((len(clean(line.quantity)) for line in section.lines), default=0), max(24, width * 2 // 5))
        for line in section.lines:
            out += _sheet_line(line, column, width)
    out += ["", *_wrapped(_verdict(page), width)]
    return "\n".join(out) + "\n"


def _head(page: Page) -> Iterator[str]:
    yield f"Evidence: {page.scenario}, equipment set {page.equipment_set}, loads worked out on the field {page.field}"
    if page.others:
        yield f"Other equipment sets (--equipment SET): {', '.join(page.others)}"
    if page.invented:
        yield "Places and equipment are invented."


def _verdict(page: Page) -> str:
    count, largest = largest_difference(page)
    return f"{count} of these figures were held against the simulator's own; the largest difference is {largest:.2%}."


def _wrapped(text: str, width: int, first: str = "", later: str = "") -> list[str]:
    return textwrap.wrap(clean(text), width, initial_indent=first, subsequent_indent=later, break_on_hyphens=False) or [
        ""
    ]


def _leaf_value(leaf: Leaf) -> str:
    return f"{leaf.value} ({leaf.inner})" if leaf.inner and leaf.inner != leaf.value else leaf.value


def _leaf_lines(leaf: Leaf, table: str, width: int) -> list[str]:
    name = leaf.key[len(table) + 1 :] if table else leaf.key
    lines = _wrapped(f"{name} = {_leaf_value(leaf)}   [{leaf.origin}]", width, "  ", "      ")
    return lines + (_wrapped(leaf.note, width, "      ", "      ") if leaf.note else [])


def formula_text(line: Line) -> str:
    """Return a line's arithmetic and result as it is shown."""
    result = f"{line.value} {line.unit}".strip()
    return f"{line.formula} = {result}" if line.formula else result


def _sheet_line(line: Line, column: int, width: int) -> list[str]:
    name, text = clean(line.quantity), formula_text(line)
    if line.note:
        text = f"{text}   ({clean(line.note)})"
    if width < _NARROW or len(name) > column:
        return [*_wrapped(name, width), *_wrapped(text, width, "    ", "      ")]
    return _wrapped(text, width, f"{name:<{column}}  ", " " * (column + 4))


def page_markdown(page: Page) -> str:
    """Return the page as Markdown, with one table of values and one of arithmetic for each section.

    Parameters
    ----------
    page : Page
        The page.
    """
    out = [f"# Evidence: {_cell(page.scenario)}, {_cell(page.equipment_set)}", ""]
    out += [f"{_cell(paragraph)}\n" for paragraph in _head(page)]
    out += [
        "## Values",
        "",
        _LEGEND,
        "",
        "| key | value | computed with | origin | note |",
        "| --- | --- | --- | --- | --- |",
    ]
    out += [
        f"| {_code(leaf.key)} | {_cell(leaf.value)} | {_cell(leaf.inner)} | {_cell(leaf.origin)} | {_cell(leaf.note)} |"
        for leaf in page.values
    ]
    out += ["", "## Arithmetic", "", _HOW]
    for section in page.sections:
        out += [
            "",
            f"### {_cell(section.title)}",
            "",
            "| quantity | arithmetic | result | unit | note |",
            "| --- | --- | ---: | --- | --- |",
        ]
        for line in section.lines:
            cells = (_cell(line.quantity), _code(line.formula), _cell(line.value), _cell(line.unit), _cell(line.note))
            out.append(f"| {' | '.join(cells)} |")
    out += ["", _verdict(page)]
    return "\n".join(out) + "\n"


def _cell(text: str) -> str:
    """Return a text that Markdown shows as it is."""
    shown = clean(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    for mark in "\\`*_[]|#":
        shown = shown.replace(mark, "\\" + mark)
    return shown


def _code(text: str) -> str:
    """Return a text as code; a bar would end the table cell, a back-tick the code."""
    shown = clean(text).replace("`", "'").replace("|", "/")
    return f"`{shown}`" if shown else ""
