"""How a page is made: foreign content made clean, figures embedded, the template filled, the file written.

A page loads nothing: pictures, style and script stand in it, and its content security policy allows only those by hash.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from simulator.errors import InputError
from simulator.report.style import svg_markup
from simulator.report.table import DataTable, text_row
from simulator.report.writing import plain, write_atomically

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ROWS_SPOKEN = 30


@dataclass(frozen=True)
class PageFigure:
    """A figure drawn for desk and phone, with what is to be known of it and the table of its numbers."""

    title: str
    caption: str
    wide: Markup
    narrow: Markup
    table: DataTable


def page_figure(name: str, title: str, caption: str, draw: Callable[[bool], Figure], table: DataTable) -> PageFigure:
    """Draw a figure wide and narrow; its table is what is read out to who cannot see it."""
    spoken = "; ".join(", ".join(cell.text for cell in row) for row in table.rows[:_ROWS_SPOKEN])
    words = f"{caption} {', '.join(table.columns)}: {spoken}"
    wide, narrow = (
        Markup(svg_markup(draw(kind == "wide"), f"{name}-{kind}", title, words, kind)) for kind in ("wide", "narrow")
    )
    return PageFigure(title, caption, wide, narrow, table)


def clean(value: Any) -> Any:
    """Return foreign content with every text, and every key, on one line and without control marks."""
    if isinstance(value, Mapping):
        return {plain(key): clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [clean(item) for item in value]
    return plain(value) if isinstance(value, str) else value


def _anchor(text: str) -> str:
    """Return a text as it may stand in an ``id``."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "part"


@cache
def environment() -> Environment:
    """Return what fills the templates of pages: everything that is put in is escaped."""
    environment = Environment(
        loader=PackageLoader("simulator.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["anchor"] = _anchor
    return environment


@cache
def asset(name: str) -> str:
    """Return the text of a file of the templates' folder."""
    return resources.files("simulator.report").joinpath("templates", name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"


def render(template: str, **context: Any) -> str:
    """Return a page made of a template, with its style, its script and the policy that allows only those."""
    style = asset("report.css")
    script = str(context.pop("script", ""))
    rules = [
        "default-src 'none'",
        f"style-src {_hash(style)}",
        "img-src data:",
        "base-uri 'none'",
        "form-action 'none'",
    ]
    rules.append(f"script-src {_hash(script)}" if script else "script-src 'none'")
    return (
        environment()
        .get_template(template)
        .render(policy="; ".join(rules), style=Markup(style), script=Markup(script), **context)
    )


def write(path: Path, text: str) -> None:
    """Write a page, whole or not at all."""
    try:
        write_atomically(path, text.encode("utf-8"))
    except OSError as error:
        raise InputError.single(f"cannot be written: {error.strerror or error}", "--out", str(path)) from error


_MADE = {
    "runs": "runs", "command": "command", "created": "made", "duration_s": "seconds it took",
    "scenario_sha256": "scenario, SHA-256", "acreday_version": "acreday", "engine": "engine", "python": "Python",
}  # fmt: skip


def manifest_table(document: Mapping[str, Any], manifest: Mapping[str, Any]) -> DataTable:
    """Return what made a result, as a table."""
    rows = [("scenario", str(document["scenario"])), ("seed", str(document["seed"]))]
    for key, label in _MADE.items():
        value = manifest.get(key)
        if isinstance(value, Mapping):
            rows += [(f"{label}: {name}", str(item)) for name, item in value.items()]
        elif value not in (None, ""):
            rows.append((label, str(value)))
    rows += [(f"package {name}", str(value)) for name, value in (manifest.get("packages") or {}).items()]
    rows += [(f"file {name}, SHA-256", str(value)) for name, value in (manifest.get("files") or {}).items()]
    return DataTable("What made this result", ("item", "value"), tuple(text_row(*row) for row in rows), words=2)
