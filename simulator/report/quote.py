"""The quote sheet of one equipment set: a PDF to print and the same as one self-contained HTML page."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

from simulator.errors import InputError
from simulator.report.quote_content import QuoteContent, quote_content
from simulator.report.quote_pdf import pdf_bytes, quote_pages
from simulator.report.stored import StoredResult
from simulator.report.writing import write_atomically


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

    Parameters
    ----------
    stored : StoredResult
        Result folder.
    set_name : str
        Equipment set.
    customer : str
        For whom.
    out_pdf : Path
        File to write; the HTML page has the same name with ``.html``.
    price : float, optional
        Price per acre (per hectare on a metric sheet) in place of the scenario's.
    valid_days : int
        Days that the quote holds.
    notes : str
        Words of one's own.
    today : datetime.date, optional
        Date of the sheet; today by default. The same date and result give the same bytes.

    Returns
    -------
    list of Path
        The files.

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
    """Return a quote sheet as one HTML page that loads nothing and runs nothing.

    Parameters
    ----------
    content : QuoteContent
        What to say.
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("simulator.report", "templates"), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template("quote.html.j2").render(quote=content, map=_map_view(content))


def _map_view(content: QuoteContent) -> dict[str, Any] | None:
    """Return outlines as SVG paths in a box 300 wide, y down; None without outlines."""
    if not content.rings:
        return None
    xs = [x for _, ring in content.rings for x, _ in ring]
    ys = [y for _, ring in content.rings for _, y in ring]
    scale = 300.0 / max(max(xs) - min(xs), max(ys) - min(ys), 1.0)
    listed = {one.number for one in content.fields}
    paths, labels = [], {}
    for number, ring in content.rings:
        points = [((x - min(xs)) * scale + 6, (max(ys) - y) * scale + 6) for x, y in ring]
        paths.append("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + "Z")
        if number in listed and number not in labels:
            across, down = zip(*points, strict=True)
            labels[number] = (f"{0.5 * (min(across) + max(across)):.1f}", f"{0.5 * (min(down) + max(down)):.1f}")
    width, height = (max(xs) - min(xs)) * scale + 12, (max(ys) - min(ys)) * scale + 12
    return {"width": f"{width:.0f}", "height": f"{height:.0f}", "paths": paths, "labels": labels}
