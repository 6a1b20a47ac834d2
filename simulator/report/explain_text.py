"""The evidence page as text: for a terminal of any width, and as Markdown."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from simulator.analysis.explain import Page
from simulator.analysis.explain_sheet import Line, Sheet
from simulator.report.practice import plain_amount
from simulator.report.writing import plain
from simulator.scenario.provenance import Leaf

SCREENS = 72
"""Lines of the short page at most: three screens."""
_NARROW = 72
"""Below this width a quantity and its figure stand under each other."""

_LEGEND = (
    "Origin of a value: scenario (the file), scenario: equipment_set.NAME (an override of it), catalogue: ENTRY"
    " (invented round numbers of a class, no maker's data), command line, or default (its note gives the source, or"
    " says assumption)."
)
_HOW = "What the model makes of these values, with mean times; each figure is the model's own."


def page_text(page: Page, width: int, everything: bool = False) -> str:
    """Return the page for a terminal."""
    width = max(40, width)
    out = [line for paragraph in _head(page) for line in _wrapped(paragraph, width)]
    out += _sheet_lines(page.checks, width, plainly=True)
    if not everything:
        more = ["", *_wrapped("Every value with its origin, and what the model makes of it: --all.", width)]
        if len(out) + len(more) > SCREENS:
            out = [*out[: SCREENS - len(more) - 1], "..."]
        return "\n".join([*out, *more]) + "\n"
    out += ["", "VALUES", *_wrapped(_LEGEND, width)]
    tables: dict[str, list[Leaf]] = {}
    for leaf in page.values:
        tables.setdefault(leaf.key.rpartition(".")[0], []).append(leaf)
    for table, leaves in tables.items():
        out += ["", *_wrapped(f"[{table or 'scenario'}]", width)]
        for leaf in leaves:
            out += _leaf_lines(leaf, table, width)
    out += ["", "FIGURES", *_wrapped(_HOW, width), *_sheet_lines(page.sections, width)]
    return "\n".join(out) + "\n"


def _head(page: Page) -> Iterator[str]:
    yield f"Evidence: {page.scenario}, equipment set {page.equipment_set}, loads worked out on the field {page.field}"
    if page.others:
        yield f"Other equipment sets (--equipment SET): {', '.join(page.others)}"
    if page.invented:
        yield "Places and equipment are invented."


def _wrapped(text: str, width: int, first: str = "", later: str = "") -> list[str]:
    bare = plain(text) if not first.strip() else text
    return textwrap.wrap(bare, width, initial_indent=first, subsequent_indent=later, break_on_hyphens=False) or [""]


def _leaf_lines(leaf: Leaf, table: str, width: int) -> list[str]:
    name = leaf.key[len(table) + 1 :] if table else leaf.key
    value = f"{leaf.value} ({leaf.inner})" if leaf.inner and leaf.inner != leaf.value else leaf.value
    lines = _wrapped(f"{name} = {value}   [{leaf.origin}]", width, "  ", "      ")
    return lines + (_wrapped(leaf.note, width, "      ", "      ") if leaf.note else [])


def figure_text(line: Line) -> str:
    """Return a figure with four digits, whole from 1000 on."""
    return f"{line.value:.0f}" if abs(line.value) >= 1000.0 else f"{line.value:.4g}"


def _sheet_lines(sheets: tuple[Sheet, ...], width: int, plainly: bool = False) -> Iterator[str]:
    for sheet in sheets:
        yield ""
        yield from _wrapped(sheet.title, width)
        column = max((len(plain(line.quantity)) for line in sheet.lines), default=0)
        for line in sheet.lines:
            amount = plain_amount(line.value) if plainly else figure_text(line)
            name, text = plain(line.quantity), f"{amount} {line.unit}".rstrip()
            if line.note:
                text += f" ({plain(line.note)})"
            if width < _NARROW or column > width // 2:
                yield from [*_wrapped(name, width, "  ", "    "), *_wrapped(text, width, "      ", "        ")]
            else:
                yield from _wrapped(text, width, f"  {name:<{column}}  ", " " * (column + 6))


def page_markdown(page: Page) -> str:
    """Return the whole page as Markdown: what to check, the values, and a table for each section."""
    out = [f"# Evidence: {_cell(page.scenario)}, {_cell(page.equipment_set)}", ""]
    out += [f"{_cell(paragraph)}\n" for paragraph in _head(page)]
    out += ["## What to check", *_sheet_tables(page.checks), "", "## Values", "", _LEGEND, ""]
    out += ["| key | value | computed with | origin | note |", "| --- | --- | --- | --- | --- |"]
    out += [
        f"| {_code(leaf.key)} | {_cell(leaf.value)} | {_cell(leaf.inner)} | {_cell(leaf.origin)} | {_cell(leaf.note)} |"
        for leaf in page.values
    ]
    return "\n".join([*out, "", "## Figures", "", _HOW, *_sheet_tables(page.sections)]) + "\n"


def _sheet_tables(sheets: tuple[Sheet, ...]) -> Iterator[str]:
    for sheet in sheets:
        yield from ("", f"### {_cell(sheet.title)}", "")
        if sheet.lines:
            yield from ("| quantity | value | unit | note |", "| --- | ---: | --- | --- |")
        for line in sheet.lines:
            yield f"| {_cell(line.quantity)} | {figure_text(line)} | {_cell(line.unit)} | {_cell(line.note)} |"


def _cell(text: str) -> str:
    """Return a text that Markdown shows as it is."""
    shown = plain(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    for mark in "\\`*_[]|#":
        shown = shown.replace(mark, "\\" + mark)
    return shown


def _code(text: str) -> str:
    """Return a text as code; a bar would end the table cell, a back-tick the code."""
    shown = plain(text).replace("`", "'").replace("|", "/")
    return f"`{shown}`" if shown else ""
