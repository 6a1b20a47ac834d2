"""Drawing inline SVG: a few marks, axes, colours that stay apart for colour-blind readers and in grey print."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

INK = "#22261f"
QUIET = "#5f5c4f"
RULE = "#cfc9b6"
PAPER = "#fffdf7"
EDGE = "#6f6b5c"
WIDE, NARROW = 700, 328
"""Widths (user units = CSS pixels at full size) of the two drawings of every figure: desk and phone."""


@dataclass(frozen=True)
class Drawing:
    """The two drawings of one figure and what they say to somebody who cannot see them."""

    wide: Markup
    narrow: Markup


class Svg:
    """An SVG under construction; every text is escaped.

    Parameters
    ----------
    width, height : float
        User units.
    label : str
        What the picture shows, for screen readers.
    """

    def __init__(self, width: float, height: float, label: str) -> None:
        self.width, self.height, self.label = width, height, label
        self._parts: list[Markup] = []

    def rect(self, x: float, y: float, width: float, height: float, fill: str, stroke: str = "none") -> None:
        """Add a rectangle."""
        if width > 0 and height > 0:
            self._parts.append(
                Markup('<rect x="{}" y="{}" width="{}" height="{}" fill="{}" stroke="{}"/>').format(
                    _n(x), _n(y), _n(width), _n(height), fill, stroke
                )
            )

    def line(
        self, x1: float, y1: float, x2: float, y2: float, stroke: str = INK, width: float = 1.0, dash: str = ""
    ) -> None:
        """Add a straight line."""
        dashed = Markup(' stroke-dasharray="{}"').format(dash) if dash else ""
        self._parts.append(
            Markup('<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="{}" stroke-width="{}"{}/>').format(
                _n(x1), _n(y1), _n(x2), _n(y2), stroke, _n(width), dashed
            )
        )

    def path(
        self, points: Sequence[tuple[float, float]], stroke: str = INK, width: float = 1.5, fill: str = "none"
    ) -> None:
        """Add a line through points."""
        if points:
            text = "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in points)
            self._parts.append(
                Markup('<path d="{}" fill="{}" stroke="{}" stroke-width="{}" stroke-linejoin="round"/>').format(
                    text, fill, stroke, _n(width)
                )
            )

    def diamond(self, x: float, y: float, size: float, fill: str = PAPER) -> None:
        """Add a diamond around a point."""
        around = [(x - size, y), (x, y - size), (x + size, y), (x, y + size), (x - size, y)]
        self.path(around, INK, 1.5, fill)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        anchor: str = "start",
        size: float = 12,
        fill: str = INK,
        bold: bool = False,
        halo: bool = False,
    ) -> None:
        """Add a text with its baseline at ``y``; a halo keeps rules from running through it."""
        weight = Markup(' font-weight="bold"') if bold else Markup("")
        if halo:
            weight += Markup(' paint-order="stroke" stroke="{}" stroke-width="4"').format(PAPER)
        self._parts.append(
            Markup('<text x="{}" y="{}" text-anchor="{}" font-size="{}" fill="{}"{}>{}</text>').format(
                _n(x), _n(y), anchor, _n(size), fill, weight, escape(text)
            )
        )

    def bars(self, spans: Sequence[tuple[float, float]], y: float, height: float, fill: str) -> None:
        """Add many bars of one lane and colour as one element; spans are (left, right)."""
        if spans:
            shapes = "".join(f"M{_n(x0)} {_n(y)}H{_n(max(x1, x0 + 0.4))}v{_n(height)}H{_n(x0)}z" for x0, x1 in spans)
            self._parts.append(Markup('<path d="{}" fill="{}"/>').format(shapes, fill))

    def hatch(self, x: float, y: float, width: float, height: float, step: float = 5.0) -> None:
        """Lay thin slanted lines over a rectangle: waiting stays readable in grey."""
        if width <= 0 or height <= 0:
            return
        lines = []
        offset = -height
        while offset < width:
            start = max(0.0, offset)
            end = min(width, offset + height)
            if end > start:
                lines.append(
                    f"M{_n(x + start)} {_n(y + height - start + offset)}L{_n(x + end)} {_n(y + height - end + offset)}"
                )
            offset += step
        self._parts.append(
            Markup('<path d="{}" fill="none" stroke="{}" stroke-width="1"/>').format("".join(lines), PAPER)
        )

    def markup(self) -> Markup:
        """Return the finished element."""
        return Markup(
            '<svg viewBox="0 0 {w} {h}" width="{w}" height="{h}" role="img" aria-label="{label}" class="{css}">{body}'
            "</svg>"
        ).format(
            w=_n(self.width),
            h=_n(self.height),
            label=self.label,
            css="wide" if self.width > NARROW else "narrow",
            body=Markup("").join(self._parts),
        )


def _n(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")


def swatch(colour: str, hatched: bool = False) -> Markup:
    """Return a small colour sample for a legend."""
    lines = (
        Markup('<path d="M0 12L12 0M6 12L12 6M0 6L6 0" stroke="{}" stroke-width="1"/>').format(PAPER) if hatched else ""
    )
    return Markup(
        '<svg viewBox="0 0 12 12" width="12" height="12" aria-hidden="true">'
        '<rect x=".5" y=".5" width="11" height="11" fill="{}" stroke="{}"/>{}</svg>'
    ).format(colour, EDGE, lines)


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return round numbers within a range, at steps of 1, 2 or 5 times a power of ten."""
    if not high > low:
        return [low]
    raw = (high - low) / max(most, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= raw * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    return [count * step for count in range(first, math.floor(high / step + 1e-9) + 1)]


def tick_text(value: float, step: float) -> str:
    """Return a tick label with the decimals that its step needs."""
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    return f"{value + 0.0:.{decimals}f}"


def shorten(text: str, width: float, size: float = 12.0) -> str:
    """Cut a text to about a width; the table below the figure has it whole."""
    longest = max(3, int(width / (0.56 * size)))
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"


def value_axis(
    svg: Svg, left: float, right: float, top: float, bottom: float, low: float, high: float, most: int
) -> None:
    """Draw faint vertical rules and their numbers under a plot."""
    marks = ticks(low, high, most)
    step = marks[1] - marks[0] if len(marks) > 1 else max(abs(high - low), 1.0)
    for mark in marks:
        x = left + (mark - low) / (high - low) * (right - left)
        svg.line(x, top, x, bottom, RULE)
        svg.text(x, bottom + 14, tick_text(mark, step), "middle", 11, QUIET)


def clock_axis(svg: Svg, left: float, right: float, top: float, bottom: float, start_s: float, length_s: float) -> None:
    """Draw faint vertical rules at whole hours of the clock, with their times."""
    hours = length_s / 3600.0
    room = max(1.0, (right - left) / 46.0)
    every = next((step for step in (1, 2, 3, 4, 6, 12, 24) if hours / step <= room), 24)
    first = math.ceil(start_s / 3600.0 - 1e-9)
    for hour in range(first, math.floor((start_s + length_s) / 3600.0) + 1):
        if hour % every:
            continue
        x = left + (hour * 3600.0 - start_s) / length_s * (right - left)
        svg.line(x, top, x, bottom, RULE)
        svg.text(x, bottom + 14, f"{hour % 24:02d}:00", "middle", 11, QUIET)
