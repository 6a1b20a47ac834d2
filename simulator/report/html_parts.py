"""What a page is made of: figures with their tables, and cells that keep the exact number beside the rounded text."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from simulator.report.html_svg import Drawing


@dataclass(frozen=True)
class Cell:
    """A table cell.

    Parameters
    ----------
    text : str
        What is read.
    value : float or None
        The exact number behind it, in the unit of ``result.json``.
    path : str
        Where the number stands in ``result.json`` ("equipment_sets.0.runs"); empty when it is not there.
    """

    text: str
    value: float | int | None = None
    path: str = ""


@dataclass(frozen=True)
class DataTable:
    """A table: the first cell of each row is its heading."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    numbers: bool = True


@dataclass(frozen=True)
class LegendEntry:
    """A colour and what it stands for."""

    sample: Markup
    text: str


@dataclass(frozen=True)
class PageFigure:
    """A figure: drawings for desk and phone, caption, legend and table."""

    name: str
    title: str
    caption: str
    drawing: Drawing
    table: DataTable
    legend: tuple[LegendEntry, ...] = field(default=())


def text_row(*texts: str) -> tuple[Cell, ...]:
    """Return a row of plain texts."""
    return tuple(Cell(text) for text in texts)
