"""A quote sheet as a PDF of one or two pages, drawn with matplotlib."""

from __future__ import annotations

import dataclasses
import functools
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from simulator.report.glyphs import FAMILY, Setter
from simulator.report.map_figure import box_of, draw_fields
from simulator.report.palette import AIRCRAFT_LOOKS, INK, QUIET
from simulator.report.quote_content import QuoteContent
from simulator.report.quote_equipment import Pair
from simulator.report.quote_fields import FieldLine
from simulator.report.style import figure_style, new_figure
from simulator.report.writing import wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LETTER_IN, _A4_IN = (8.5, 11.0), (8.27, 11.69)
_MARGIN_IN = 0.75
_LEADING = 1.36
"""Line distance over type size."""
_ACCENT = AIRCRAFT_LOOKS["spraying"].colour
_MAP_IN = 2.4
_SCALES = (1.0, 0.92, 0.84, 0.76, 0.68)
"""Type sizes tried in turn until everything stands on two sheets."""
MOST_SHEETS = 2


@functools.lru_cache(maxsize=50_000)
def _unit_width(text: str, bold: bool) -> float:
    """Return the width of a text set in type of one point, in points, free of any screen's grid."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    font = FontProperties(family=FAMILY, size=100.0, weight="bold" if bold else "normal")
    width, _, _ = text_to_path.get_text_width_height_descent(text, font, ismath=False)
    return float(width) / 100.0


class Sheets:
    """Sheets of paper filled from the top, in inches and points; a new one is begun when a block does not fit."""

    def __init__(self, size_in: tuple[float, float], scale: float = 1.0) -> None:
        self.width_in, self.height_in = size_in
        self.scale = scale
        self.figures: list[Figure] = []
        self.turn()

    def turn(self) -> None:
        """Begin a new sheet."""
        figure = new_figure(self.width_in, self.height_in)
        figure.set_layout_engine("none")
        self.figures.append(figure)
        self.y_in = _MARGIN_IN

    def keep(self, height_in: float) -> None:
        """Begin a new sheet unless so much still fits on this one."""
        if self.room_in < height_in and self.y_in > _MARGIN_IN:
            self.turn()

    def line_in(self, size_pt: float) -> float:
        """Return the height of a line."""
        return size_pt * self.scale * _LEADING / 72.0

    @property
    def inner_in(self) -> float:
        """Width between the margins."""
        return self.width_in - 2 * _MARGIN_IN

    @property
    def room_in(self) -> float:
        """Height left above the bottom margin."""
        return self.height_in - _MARGIN_IN - self.y_in

    def measure_in(self, text: str, size_pt: float, bold: bool = False) -> float:
        """Return the width of a text."""
        return _unit_width(text, bold) * size_pt * self.scale / 72.0

    def wrap(self, text: str, size_pt: float, width_in: float, bold: bool = False) -> list[str]:
        """Break a text into lines of a width."""
        return wrap(" ".join(text.split()), width_in, lambda line: self.measure_in(line, size_pt, bold))

    def put(self, text: str, x_in: float, y_in: float, size_pt: float, bold: bool = False, colour: str = INK) -> None:
        """Write one line, its top at a place from the upper left corner."""
        place = (x_in / self.width_in, 1.0 - y_in / self.height_in)
        weight = "bold" if bold else "normal"
        size = size_pt * self.scale
        self.figures[-1].text(*place, text, fontsize=size, color=colour, va="top", fontweight=weight, parse_math=False)

    def rule(self, y_in: float, width_pt: float = 0.6, colour: str = QUIET) -> None:
        """Draw a line across the page."""
        from matplotlib.lines import Line2D

        level = 1.0 - y_in / self.height_in
        ends = [_MARGIN_IN / self.width_in, 1.0 - _MARGIN_IN / self.width_in]
        self.figures[-1].add_artist(Line2D(ends, [level, level], linewidth=width_pt, color=colour))

    def paragraph(
        self,
        text: str,
        size_pt: float = 9.0,
        bold: bool = False,
        x_in: float | None = None,
        width_in: float | None = None,
        colour: str = INK,
        most_lines: int = 40,
        after_pt: float = 4.0,
    ) -> None:
        """Write a wrapped text below what is there; lines beyond ``most_lines`` end in an ellipsis."""
        left = _MARGIN_IN if x_in is None else x_in
        width = self.inner_in if width_in is None else width_in
        lines = self.wrap(text, size_pt, width, bold)
        if len(lines) > most_lines:
            lines = lines[:most_lines]
            lines[-1] = lines[-1][:-1].rstrip() + "…"
        for line in lines:
            self.put(line, left, self.y_in, size_pt, bold, colour)
            self.y_in += self.line_in(size_pt)
        self.y_in += after_pt * self.scale / 72.0

    def heading(self, text: str, with_in: float = 0.5) -> None:
        """Write a section's heading on the sheet that also takes ``with_in`` of what follows."""
        self.keep(with_in + 2.0 * self.line_in(10.5))
        self.y_in += 5.0 * self.scale / 72.0
        self.paragraph(text, 10.5, bold=True, colour=_ACCENT, after_pt=2.0)

    def pairs(self, rows: Sequence[Pair], x_in: float, width_in: float, label_in: float, size_pt: float = 8.5) -> None:
        """Write label and value side by side, both wrapped."""
        for label, value in rows:
            start = self.y_in
            self.paragraph(label, size_pt, x_in=x_in, width_in=label_in - 0.08, colour=QUIET, most_lines=2, after_pt=0)
            low = self.y_in
            self.y_in = start
            self.paragraph(value, size_pt, x_in=x_in + label_in, width_in=width_in - label_in, most_lines=3, after_pt=0)
            self.y_in = max(low, self.y_in) + 1.2 / 72.0


def quote_pages(content: QuoteContent) -> list[Figure]:
    """Return the sheets of a quote: the answer with equipment and fields, then price, assumptions and cautions."""
    size = _A4_IN if content.metric else _LETTER_IN
    setter = Setter()
    content = _settable(content, setter)
    with figure_style():
        for scale in _SCALES:
            page = Sheets(size, scale)
            _answer(page, content)
            if len(page.figures) == 1:
                page.turn()
            _terms(page, content, setter.footnote)
            if len(page.figures) <= MOST_SHEETS and page.room_in >= 0.0:
                break
        figures = page.figures[:MOST_SHEETS]
        for number, figure in enumerate(figures):
            foot = f"Sheet {number + 1} of {len(figures)}. {content.made_by}"
            place = (_MARGIN_IN / page.width_in, 0.5 / page.height_in)
            figure.text(*place, page.wrap(foot, 7.0, page.inner_in)[0], fontsize=7.0, color=QUIET, parse_math=False)
    return figures


def _settable(content: QuoteContent, setter: Setter) -> QuoteContent:
    """Return a content in which every sign can be set."""

    def each(value: Any) -> Any:
        if isinstance(value, str):
            return setter(value)
        if isinstance(value, FieldLine):
            return FieldLine(value.number, setter(value.name), value.area)
        if isinstance(value, list | tuple):
            return type(value)(each(item) for item in value)
        return value

    return dataclasses.replace(content, **{key: each(value) for key, value in vars(content).items()})


def _answer(page: Sheets, content: QuoteContent) -> None:
    page.paragraph(content.title, 17.0, bold=True, colour=_ACCENT, after_pt=2)
    page.paragraph(f"For {content.customer}", 11.0, most_lines=2, after_pt=1)
    subject = f"Equipment set “{content.set_name}” of: {content.subject}"
    page.paragraph(subject, 9.0, colour=QUIET, most_lines=3, after_pt=1)
    dates = f"{content.made.isoformat()}; holds until {content.valid_until.isoformat()}"
    page.paragraph(dates, 9.0, colour=QUIET, after_pt=4)
    page.rule(page.y_in, 1.2, _ACCENT)
    page.y_in += 0.12
    page.paragraph(content.answer, 13.0, bold=True, after_pt=5)
    for line in content.details:
        page.paragraph(line, 9.0, most_lines=3, after_pt=3)
    page.paragraph(content.simulation_note, 9.0, bold=True, after_pt=3)
    page.heading("What limits it")
    for line in content.limits:
        page.paragraph(line, 9.0, most_lines=9)
    page.heading("What one more would add (95 % interval)")
    for line in content.more:
        page.paragraph(line, 9.0, most_lines=2, after_pt=1)
    page.heading("Equipment", (len(content.equipment) + 1) * page.line_in(8.5))
    page.pairs(content.equipment, _MARGIN_IN, page.inner_in, 1.7)
    _fields(page, content)


def _fields(page: Sheets, content: QuoteContent) -> None:
    list_in = (len(content.fields) + 3) * page.line_in(8.5)
    map_in = min(_MAP_IN, _MAP_IN * map_height(content))
    page.heading("Fields", max(list_in, map_in + 0.2))
    top = page.y_in
    left_in = page.inner_in - (_MAP_IN + 0.3 if content.outlines else 0.0)
    for one in content.fields:
        name = page.wrap(f"{one.number}  {one.name}", 8.5, left_in - 1.1)
        page.put(name[0] + ("…" if len(name) > 1 else ""), _MARGIN_IN, page.y_in, 8.5)
        page.put(one.area, _MARGIN_IN + left_in - page.measure_in(one.area, 8.5), page.y_in, 8.5)
        page.y_in += page.line_in(8.5)
    page.y_in += 2.0 / 72.0
    if content.fields_note:
        page.paragraph(content.fields_note, 8.5, width_in=left_in, colour=QUIET, most_lines=5)
    if content.outlines:
        _map(page, content, top, map_in)
        page.y_in = max(page.y_in, top + map_in + 0.2)


def _terms(page: Sheets, content: QuoteContent, footnote: str) -> None:
    page.heading("Price", len(content.price) * page.line_in(9.0))
    page.pairs(content.price, _MARGIN_IN, page.inner_in, 2.6, 9.0)
    page.paragraph(f"This sheet holds until {content.valid_until.isoformat()}.", 9.0)
    if content.notes:
        page.heading("Notes")
        page.paragraph(content.notes, 9.0, most_lines=12)
    half = (len(content.assumptions) + 1) // 2
    page.heading("What was assumed", half * page.line_in(8.0))
    start, column = page.y_in, page.inner_in / 2
    page.pairs(content.assumptions[:half], _MARGIN_IN, column - 0.15, 1.45, 8.0)
    low = page.y_in
    page.y_in = start
    page.pairs(content.assumptions[half:], _MARGIN_IN + column, column, 1.45, 8.0)
    page.y_in = max(low, page.y_in)
    page.paragraph("All other numbers stand with the simulation's result and are given on request.", 8.0, colour=QUIET)
    page.heading("Cautions")
    for caution in content.cautions:
        page.paragraph(f"• {caution}", 8.0, after_pt=1.5)
    page.y_in += 4 / 72
    if content.invented_note:
        page.paragraph(content.invented_note, 8.5)
    if footnote:
        page.paragraph(footnote, 8.0, colour=QUIET)
    page.paragraph(content.simulation_note, 8.5, bold=True)


def map_height(content: QuoteContent) -> float:
    """Return the map's height over its width, a quarter to one; 0 without a map."""
    if not content.outlines:
        return 0.0
    left, bottom, right, top = box_of([ring for rings in content.outlines for ring in rings])
    return min(1.0, max((top - bottom) / max(right - left, 1.0), 0.25))


def draw_map(axes: Axes, content: QuoteContent) -> None:
    """Draw the fields' outlines to scale, those that are listed with their numbers."""
    listed = {one.number for one in content.fields}
    numbers = {place: place + 1 if place + 1 in listed else 0 for place in range(len(content.outlines))}
    draw_fields(axes, [{"rings": rings} for rings in content.outlines], numbers)
    left, bottom, right, top = box_of([ring for rings in content.outlines for ring in rings])
    axes.set_xlim(left - 0.01 * (right - left + 1.0), right + 0.01 * (right - left + 1.0))
    axes.set_ylim(bottom - 0.01 * (top - bottom + 1.0), top + 0.01 * (top - bottom + 1.0))


def _map(page: Sheets, content: QuoteContent, top_in: float, height_in: float) -> None:
    """Draw the map at the right margin."""
    left = page.width_in - _MARGIN_IN - _MAP_IN
    bottom = page.height_in - top_in - height_in
    place = (left / page.width_in, bottom / page.height_in, _MAP_IN / page.width_in, height_in / page.height_in)
    draw_map(page.figures[-1].add_axes(place), content)
    for number, line in enumerate(page.wrap(content.map_note, 7.0, _MAP_IN)[:2]):
        page.put(line, left, top_in + height_in + 0.03 + number * page.line_in(7.0), 7.0, colour=QUIET)


def pdf_bytes(figures: Sequence[Figure], title: str) -> bytes:
    """Return sheets as one PDF, the same bytes for the same sheets."""
    from matplotlib.backends.backend_pdf import PdfPages

    stream = io.BytesIO()
    nothing = {"CreationDate": None, "ModDate": None, "Producer": None, "Creator": None}
    with figure_style(), PdfPages(stream, metadata={"Title": title, **nothing}) as pages:
        for figure in figures:
            pages.savefig(figure)
    return stream.getvalue()
