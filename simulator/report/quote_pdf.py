"""A quote as a PDF, set by fpdf2; HarfBuzz shapes its text, so that every script joins and runs as it is written."""

from __future__ import annotations

import dataclasses
import datetime
import io
import json
from typing import TYPE_CHECKING, Any

from fpdf import FPDF
from fpdf.enums import TableBordersLayout
from fpdf.fonts import FontFace

from simulator.report.palette import AIRCRAFT_LOOKS, INK, QUIET
from simulator.report.quote_content import QuoteContent, Section
from simulator.report.quote_fonts import Fonts, fonts_for
from simulator.report.style import figure_bytes
from simulator.report.table import DataTable

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ACCENT = AIRCRAFT_LOOKS["spraying"].colour
_MARGIN_MM = 18.0
_LOGO_MM = (45.0, 18.0)
_MAP_MM, _LEAST_MAP_MM = 80.0, 45.0
_KEPT_MM, _ROW_MM = 100.0, 5.3
"""Tables up to this height stand on one sheet."""
_LINE_MM = 1.35 * 25.4 / 72.0
"""Distance of lines for a point of type size."""
_WIDEST = 0.5
"""Part of the sheet's width that a column's text takes at most before it is broken."""


class _Sheets(FPDF):
    """Sheets of paper, each with a foot."""

    def __init__(self, content: QuoteContent, fonts: Fonts) -> None:
        super().__init__(format=content.paper)
        self.type, self.foot = fonts, content.made_by
        for style, path in fonts.base.items():
            self.add_font("base", style, path)
        for number, path in enumerate(fonts.further):
            self.add_font(f"further{number}", fname=path)
        self.set_fallback_fonts([f"further{number}" for number in range(len(fonts.further))], exact_match=False)
        self.set_font("base", size=9)
        self.set_text_shaping(True)
        self.set_margin(_MARGIN_MM)
        self.set_auto_page_break(True, _MARGIN_MM)
        self.set_draw_color(QUIET)
        self.set_line_width(0.1)
        self.set_lang("en")
        self.set_title(f"Quote for {content.customer}")
        self.set_creation_date(datetime.datetime.combine(content.made, datetime.time(), datetime.UTC))
        self.add_page()

    def footer(self) -> None:
        """Write what made the quote, and the number of the sheet."""
        self.set_y(-12.0)
        self.write_line(f"{self.foot}; sheet {self.page_no()} of {{nb}}", 7.0, colour=QUIET)

    def write_line(
        self, text: str, size_pt: float = 9.0, bold: bool = False, colour: str = INK, width_mm: float = 0.0
    ) -> None:
        """Write a paragraph below what is there."""
        self.set_font("base", "B" if bold else "", size_pt)
        self.set_text_color(colour)
        self.multi_cell(
            width_mm, size_pt * _LINE_MM, self.type.settable(text), align="L", new_x="LMARGIN", new_y="NEXT"
        )

    def keep(self, height_mm: float) -> None:
        """Begin a new sheet unless so much still fits on this one."""
        if self.will_page_break(height_mm):
            self.add_page()

    def write_table(self, content: DataTable) -> None:
        """Write a table; its head stands on every sheet that it takes."""
        self.keep(_kept_mm(content))
        if content.title:
            self.write_line(content.title, 9.0, bold=True)
        self.set_font("base", size=8.5)
        self.set_text_color(INK)
        texts = [content.columns, *([cell.text for cell in row] for row in content.rows)]
        rows = [[self.type.settable(text) for text in row] for row in texts]
        natural = [max(map(self.get_string_width, column)) + 4.0 for column in zip(*rows, strict=True)]
        with self.table(
            rows,
            width=self.epw,
            col_widths=[min(width, _WIDEST * self.epw) for width in natural],
            text_align=tuple("LEFT" if place < content.words else "RIGHT" for place in range(len(natural))),
            align="LEFT",
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            headings_style=FontFace(emphasis="BOLD"),
            line_height=8.5 * _LINE_MM,
            padding=(0.6, 1.0),
        ):
            pass
        self.ln(2.0)


def quote_pdf(content: QuoteContent, fields: Figure) -> tuple[bytes, str]:
    """Return a quote as a PDF, the same bytes for the same content, and what to say of signs that no font has."""
    fonts = fonts_for(json.dumps(dataclasses.asdict(content), ensure_ascii=False, default=str))
    pdf = _Sheets(content, fonts)
    _head(pdf, content)
    for section in content.sections:
        _write(pdf, section)
        if section.has_map:
            _draw_map(pdf, content, fields)
    if fonts.message:
        pdf.write_line(fonts.message, 8.0, colour=QUIET)
    return bytes(pdf.output()), fonts.message


def _head(pdf: _Sheets, content: QuoteContent) -> None:
    if content.logo:
        width, height = _LOGO_MM
        place: dict[str, Any] = {"x": pdf.w - _MARGIN_MM - width, "y": _MARGIN_MM, "w": width, "h": height}
        pdf.image(io.BytesIO(content.logo.content), keep_aspect_ratio=True, alt_text=content.dealer or "logo", **place)
    beside = pdf.epw - _LOGO_MM[0] - 5.0
    pdf.write_line("Quote", 17.0, bold=True, colour=_ACCENT, width_mm=beside)
    if content.dealer:
        pdf.write_line(f"From {content.dealer}", 11.0, width_mm=beside)
    pdf.write_line(f"For {content.customer}", 11.0, width_mm=beside)
    pdf.write_line(f"{content.subject}\n{content.dates}", colour=QUIET)
    pdf.ln(2.0)
    for text in (*content.price, *(f"{name}: {text}" for name, text in content.answers)):
        pdf.write_line(text, 11.0, bold=True)
    pdf.ln(2.0)


def _kept_mm(content: DataTable) -> float:
    return min(_KEPT_MM, (len(content.rows) + 2) * _ROW_MM)


def _write(pdf: _Sheets, section: Section) -> None:
    if section.title:
        pdf.keep(12.0 + max([18.0, *map(_kept_mm, section.tables[:1])]))
        pdf.ln(2.0)
        pdf.write_line(section.title, 11.0, bold=True, colour=_ACCENT)
        pdf.ln(0.5)
    for line in section.lines:
        pdf.write_line(line)
        pdf.ln(0.8)
    for point in section.points:
        pdf.write_line(f"• {point}", 8.5)
        pdf.ln(0.5)
    for table in section.tables:
        pdf.write_table(table)


def _draw_map(pdf: _Sheets, content: QuoteContent, fields: Figure) -> None:
    """Draw the map as high as there is room for, or on the next sheet."""
    pdf.keep(_LEAST_MAP_MM)
    wide, high = fields.get_size_inches()
    height = min(pdf.h - _MARGIN_MM - pdf.y - 8.0, _MAP_MM, _MAP_MM * high / wide)
    pdf.image(io.BytesIO(figure_bytes(fields, "png")), h=height, alt_text=content.map_words)
    pdf.write_line(content.map_words, 7.5, colour=QUIET)
