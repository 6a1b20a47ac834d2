"""The quote of one or several equipment sets: a PDF to print, and the same as one self-contained HTML page."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from simulator.errors import InputError
from simulator.plan.day_plan import DayPlan
from simulator.report.html_page import render, write
from simulator.report.map_figure import box_of, draw_fields
from simulator.report.quote_content import Asked, QuoteContent, quote_content
from simulator.report.stored import StoredResult
from simulator.report.style import NARROW_IN, new_figure, settle, styled, svg_markup
from simulator.report.writing import write_atomically

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def write_quote(
    stored: StoredResult, plans: Mapping[str, DayPlan], asked: Asked, out_pdf: Path
) -> tuple[list[Path], str]:
    """Write a quote as PDF, and as HTML beside it; return the files, and what to say of signs that no font has."""
    from simulator.report.quote_pdf import quote_pdf

    if out_pdf.suffix.lower() != ".pdf":
        raise InputError.single(f"got {out_pdf.name!r}; allowed is a name that ends in .pdf", "--out")
    content = quote_content(stored, plans, asked)
    data, message = quote_pdf(content, quote_map(content))
    files = [out_pdf, out_pdf.with_suffix(".html")]
    page = quote_html(content)
    try:
        write_atomically(out_pdf, data)
    except OSError as error:
        raise InputError.single(f"cannot be written: {error.strerror or error}", "--out", str(out_pdf)) from error
    write(files[1], page)
    return files, message


def quote_html(content: QuoteContent) -> str:
    """Return a quote as one HTML page that loads nothing and runs nothing."""
    picture = svg_markup(quote_map(content), "map", "The fields, numbered as in the list", content.map_words)
    return render("quote.html.j2", quote=content, map=Markup(picture), title=f"Quote for {content.customer}")


@styled
def quote_map(content: QuoteContent) -> Figure:
    """Draw the fields of a quote to scale with the numbers of the list."""
    left, bottom, right, top = box_of([ring for one in content.outlines for ring in one["rings"]])
    wide, high = max(right - left, 1.0), max(top - bottom, 1.0)
    figure = new_figure(NARROW_IN, NARROW_IN * min(1.0, max(high / wide, 0.25)))
    axes = figure.add_subplot()
    draw_fields(axes, content.outlines, {place: place + 1 for place in range(len(content.outlines))})
    axes.set_xlim(left - 0.01 * wide, right + 0.01 * wide)
    axes.set_ylim(bottom - 0.01 * high, top + 0.01 * high)
    return settle(figure)
