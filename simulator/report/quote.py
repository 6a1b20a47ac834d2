"""The quote sheet of one equipment set: a PDF to print and the same as one self-contained HTML page."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from simulator.errors import InputError
from simulator.report.html_page import render
from simulator.report.quote_content import QuoteContent, quote_content
from simulator.report.quote_pdf import draw_map, map_height, pdf_bytes, quote_pages
from simulator.report.stored import StoredResult
from simulator.report.style import NARROW_IN, new_figure, settle, styled, svg_markup
from simulator.report.writing import write_atomically

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def write_quote(
    stored: StoredResult,
    set_name: str,
    customer: str,
    out_pdf: Path,
    price: float | None = None,
    valid_days: int = 30,
    notes: str = "",
    today: datetime.date | None = None,
) -> list[Path]:
    """Write a quote sheet as PDF, and as HTML beside it.

    Raises
    ------
    InputError
        No such set, no customer, a number out of range, or a file that cannot be written.
    """
    content = quote_content(stored, set_name, customer, price, valid_days, notes, today)
    if out_pdf.suffix.lower() != ".pdf":
        raise InputError.single(f"got {out_pdf.name!r}; allowed is a name that ends in .pdf", "--out")
    files = {
        out_pdf: pdf_bytes(quote_pages(content), f"{content.title} for {content.customer}"),
        out_pdf.with_suffix(".html"): quote_html(content).encode("utf-8"),
    }
    for path, data in files.items():
        try:
            write_atomically(path, data)
        except OSError as error:
            raise InputError.single(f"cannot be written: {error.strerror or error}", "--out", str(path)) from error
    return list(files)


def quote_html(content: QuoteContent) -> str:
    """Return a quote sheet as one HTML page that loads nothing and runs nothing."""
    picture = ""
    if content.outlines:
        picture = svg_markup(quote_map(content), "map", "The fields, numbered as in the list", content.map_note)
    return render("quote.html.j2", quote=content, map=Markup(picture), title=f"{content.title} for {content.customer}")


@styled
def quote_map(content: QuoteContent) -> Figure:
    """Draw the fields of a quote."""
    figure = new_figure(NARROW_IN, NARROW_IN * map_height(content))
    draw_map(figure.add_subplot(), content)
    return settle(figure)
