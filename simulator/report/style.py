"""The look of figures, and saving them: the same bytes for the same figure, whole files or none, text as text."""

from __future__ import annotations

import contextlib
import functools
import io
import math
import re
import warnings
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Sequence
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

from simulator.report.writing import write_atomically

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_Given = ParamSpec("_Given")
_Made = TypeVar("_Made")
RASTER_DPI = 160
WIDE_IN, NARROW_IN = 7.6, 3.6
"""Widths of a figure for a desk and for a phone; type keeps its size."""
FONTS = "'DejaVu Sans', Verdana, Geneva, sans-serif"
"""The type of figures, pages and quotes; Verdana is as wide, where the first is missing."""
CLOCK = "clock"
"""Group id of a figure whose first axes run by the clock: its page's script is told where they lie."""
_SVG = "http://www.w3.org/2000/svg"
_LINK = "{http://www.w3.org/1999/xlink}href"
_REFERENCE = re.compile(r"url\(#([^)]+)\)")
_LONG_NUMBER = re.compile(r"-?\d+\.\d{3,}")


@contextlib.contextmanager
def figure_style() -> Iterator[None]:
    """Draw in the project's style, whatever the user's own matplotlib settings; they come back afterwards."""
    import matplotlib.style

    sheet = resources.files("simulator.report").joinpath("acreday.mplstyle")
    with resources.as_file(sheet) as path, matplotlib.style.context(path, after_reset=True), warnings.catch_warnings():
        # a name in a script that the font lacks shows boxes; that is no reason to talk over a progress bar
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def styled(make: Callable[_Given, _Made]) -> Callable[_Given, _Made]:
    """Make a function that draws do so in the project's style."""

    @functools.wraps(make)
    def wrapped(*args: _Given.args, **kwargs: _Given.kwargs) -> _Made:
        with figure_style():
            return make(*args, **kwargs)

    return wrapped


def new_figure(width_in: float, height_in: float) -> Figure:
    """Return an empty figure, in inches, that pyplot knows nothing of."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def settle(figure: Figure) -> Figure:
    """Lay a figure out once and for all, so that texts made late (ticks) also follow the style it was drawn in."""
    figure.draw_without_rendering()
    figure.set_layout_engine("none")
    return figure


def put_beside(axes: Axes, text: str, at: Sequence[float], offset_pt: Sequence[float] = (4, 0), **style: Any) -> None:
    """Write a small text some points from a place; an x of infinity is the right edge."""
    edge = at[0] == math.inf
    style = dict[str, Any](fontsize=7.5, va="center", annotation_clip=False) | style
    where: Any = ("axes fraction", "data") if edge else "data"
    place = (1.0 if edge else float(at[0]), float(at[1]))
    axes.annotate(text, place, xycoords=where, xytext=(offset_pt[0], offset_pt[1]), textcoords="offset points", **style)


def put_left(axes: Axes, text: str, level: float, **style: Any) -> None:
    """Write a text from the left edge on, at a level of the data."""
    axes.text(0.0, level, text, transform=axes.get_yaxis_transform(), **style)


def thousands(value: float, _: object = None) -> str:
    """Return a whole number with its thousands parted, as the ticks of an axis are written."""
    return f"{value:,.0f}".replace("-", "\N{MINUS SIGN}")


def svg_markup(figure: Figure, name: str, title: str = "", words: str = "", kind: str = "") -> str:
    """Return a figure as an SVG element that can stand in a page beside others.

    Its ids begin with ``name``; it has no fixed size, and no style that a content security policy would refuse. The
    title and words are read out to who cannot see it; ``kind`` is its class.
    """
    stream = io.StringIO()
    with figure_style():
        figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
    root = ET.fromstring(stream.getvalue())
    for parent in [*root.iter()]:
        for child in [*parent]:
            if child.tag.endswith(("metadata", "}style")):
                parent.remove(child)
        style = parent.attrib.pop("style", "")
        parent.attrib.update(
            (key.strip(), value.strip()) for key, _, value in (part.partition(":") for part in style.split(";")) if key
        )
        parent.attrib.pop("font-family", None)
        if _LINK in parent.attrib:
            parent.set("href", parent.attrib.pop(_LINK))
    values = [value for node in root.iter() for value in node.attrib.values()]
    used = {found for value in values for found in _REFERENCE.findall(value)}
    used |= {value[1:] for value in values if value.startswith("#")}
    for node in root.iter():
        for key, value in [*node.attrib.items()]:
            if key == "id":
                node.attrib.pop("id")
                if value in used:
                    node.set("id", f"{name}-{value}")
            elif key == "href":
                node.set(key, f"#{name}-{value[1:]}")
            elif key == "transform" and value.startswith("rotate(-0 "):
                node.attrib.pop(key)
            else:
                value = _REFERENCE.sub(rf"url(#{name}-\1)", value.replace("\n", ""))
                node.set(key, _LONG_NUMBER.sub(lambda number: f"{float(number[0]):.2f}".rstrip("0").rstrip("."), value))
    for key in ("width", "height", "version"):
        root.attrib.pop(key, None)
    root.attrib.update({"font-family": FONTS, "stroke-linejoin": "round"})
    if kind:
        root.set("class", kind)
    if figure.get_gid() == CLOCK:
        (width, height), axes = 72.0 * figure.get_size_inches(), figure.axes[0]
        box, span = axes.get_position(), axes.get_xlim()
        edges = (width * box.x0, width * box.x1, height * (1 - box.y1), height * (1 - box.y0), *span)
        root.set("data-clock", " ".join(f"{edge:.2f}" for edge in edges))
    if title:
        for place, (tag, text) in enumerate((("title", title), ("desc", words))):
            said = ET.Element(f"{{{_SVG}}}{tag}", {"id": f"{name}-{tag}"})
            said.text = text
            root.insert(place, said)
        root.attrib.update({"role": "img", "aria-labelledby": f"{name}-title {name}-desc"})
    for node in root.iter():
        if not node.tag.endswith(("}text", "}tspan", "}title", "}desc")):
            node.text = node.tail = None
    ET.register_namespace("", _SVG)
    return ET.tostring(root, encoding="unicode")


def figure_bytes(figure: Figure, form: str) -> bytes:
    """Return a figure as the content of an ``svg``, ``png`` or ``pdf`` file; the same figure gives the same bytes."""
    metadata: dict[str, dict[str, Any]] = {
        "svg": {},
        "png": {"Software": None},
        "pdf": {"CreationDate": None, "Producer": None, "Creator": None},
    }
    if form not in metadata:
        raise ValueError(f"got format {form!r}; allowed is one of {sorted(metadata)}")
    if form == "svg":
        return f'<?xml version="1.0" encoding="utf-8"?>\n{svg_markup(figure, "figure")}\n'.encode()
    stream = io.BytesIO()
    with figure_style():
        figure.savefig(stream, format=form, dpi=RASTER_DPI, metadata=metadata[form])
    return stream.getvalue()


def save_figure(figure: Figure, stem: Path, formats: Sequence[str] = ("svg", "png")) -> list[Path]:
    """Write a figure in some formats under a path without ending, and return the files."""
    contents = {stem.with_name(f"{stem.name}.{form}"): figure_bytes(figure, form) for form in formats}
    for path, content in contents.items():
        write_atomically(path, content)
    return list(contents)
