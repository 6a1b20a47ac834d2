"""A dealer's logo: read once, bounded, checked, and made harmless before it stands on a sheet."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import NamedTuple

from simulator.errors import InputError
from simulator.report.writing import plain
from simulator.scenario.files import read_ordinary_file

LARGEST_BYTES, MOST_PIXELS, MOST_SHAPES = 2_000_000, 25_000_000, 5_000
_SHOWN_PIXELS = (1200, 600)
_SHAPES = {"svg", "g", "path", "rect", "circle", "ellipse", "line", "polyline", "polygon"}
_SHAPES |= {"defs", "title", "desc", "linearGradient", "radialGradient", "stop"}
"""Elements of SVG that draw what they say themselves, and draw nothing else."""


class Logo(NamedTuple):
    """A picture's type (``image/png``, ``image/svg+xml``) and content."""

    kind: str
    content: bytes

    @property
    def address(self) -> str:
        """The picture as an address that holds it."""
        return f"data:{self.kind};base64,{base64.b64encode(self.content).decode()}"


def read_logo(path: Path) -> Logo:
    """Return a logo from a PNG, JPEG or SVG file, told apart by content; anything else is an `InputError`."""
    content = read_ordinary_file(path, LARGEST_BYTES, "a picture (PNG, JPEG or SVG)")
    if content.lstrip()[:1] != b"<":
        return _raster(content, str(path))
    problem = _svg_problem(content)
    if problem:
        raise InputError.single(problem, "--logo", str(path))
    return Logo("image/svg+xml", content)


def _raster(content: bytes, name: str) -> Logo:
    """Return a picture of pixels drawn anew, without what else its file may hold."""
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(io.BytesIO(content), formats=("PNG", "JPEG")) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                message = f"got {picture.width} by {picture.height} pixels; allowed are {MOST_PIXELS:,} in all"
                raise InputError.single(message, "--logo", name)
            drawn = picture.convert("RGBA")
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, SyntaxError, ValueError) as error:
        raise InputError.single("is no picture; allowed is a sound PNG, JPEG or SVG file", "--logo", name) from error
    drawn.thumbnail(_SHOWN_PIXELS)
    stream = io.BytesIO()
    drawn.save(stream, format="PNG")
    return Logo("image/png", stream.getvalue())


def _svg_problem(content: bytes) -> str:
    """Return what is wrong with an SVG file: what it holds besides shapes, or refers to outside itself."""
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import ParseError, fromstring
    from fpdf import FPDF
    from fpdf.errors import FPDFException

    try:
        nodes = list(fromstring(content, forbid_dtd=True).iter())
    except (ParseError, DefusedXmlException, ValueError) as error:
        return f"is no SVG that can be read ({type(error).__name__}); allowed is plain XML without document type"
    names = [str(node.tag).rpartition("}")[2] for node in nodes]
    if names[0] != "svg" or len(nodes) > MOST_SHAPES:
        return f"got {len(nodes)} elements in <{names[0][:40]}>; allowed are {MOST_SHAPES} in <svg>"
    strange = sorted(set(names) - _SHAPES)
    if strange:
        return f"holds <{strange[0][:40]}>; allowed are {', '.join(sorted(_SHAPES))} (save text as paths), or a PNG"
    links = [node for node in nodes for key in node.attrib if key.endswith(("href", "src"))]
    if links or any("url(" in text.replace("url(#", "") for node in nodes for text in node.attrib.values()):
        return "refers to something by href or url; allowed are shapes that say all themselves"
    try:
        trial = FPDF()
        trial.add_page()
        trial.image(io.BytesIO(content), w=10.0, h=10.0)
    except (ArithmeticError, AttributeError, LookupError, RuntimeError, TypeError, ValueError, FPDFException) as error:
        return f"cannot be drawn ({plain(error, 80)}); allowed are sound shapes, or a PNG"
    return ""
