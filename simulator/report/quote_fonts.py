"""Which fonts set a text: DejaVu Sans, of matplotlib, and what fonts of the system have what it lacks."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
"""Stands for a sign that no font has; the base font has it."""
_MOST_NAMED = 20
_ODD = ("bold", "slant", "italic", "oblique", "light", "thin", "black", "mono", "color", "condensed")
"""Parts of the names of fonts that go less well with the base font."""

_NEEDED = {"head", "hhea", "hmtx", "maxp", "name", "OS/2", "post"}
"""Tables that a font must have to be put into a PDF."""


@dataclass(frozen=True)
class Fonts:
    """Font files that together set a text, and the signs of it that none of them has."""

    base: Mapping[str, Path]
    further: tuple[Path, ...]
    missing: frozenset[str]

    def settable(self, text: str) -> str:
        """Return a text with every sign that no font has replaced."""
        return "".join(REPLACEMENT if sign in self.missing else sign for sign in unicodedata.normalize("NFC", text))

    @property
    def message(self) -> str:
        """What to say of the signs that no font has; empty when there is none."""
        if not self.missing:
            return ""
        named = [f"{sign} (U+{ord(sign):04X})" for sign in sorted(self.missing)[:_MOST_NAMED]]
        more = f" and {len(self.missing) - _MOST_NAMED} more" if len(self.missing) > _MOST_NAMED else ""
        return (
            f"No font on this computer has {', '.join(named)}{more}: {REPLACEMENT} stands for it in the PDF;"
            " the web page (.html) beside it holds every sign."
        )


def fonts_for(text: str) -> Fonts:
    """Return the fonts for a text, as few as its signs need."""
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    base = {"": folder / "DejaVuSans.ttf", "B": folder / "DejaVuSans-Bold.ttf"}
    missing = {sign for sign in unicodedata.normalize("NFC", text) if _is_drawn(sign)}
    missing -= _signs(base[""]) & _signs(base["B"])
    further: list[Path] = []
    candidates = [base[""], *_system_fonts()] if missing else []
    # the first of those that have most
    while missing & _signs(best := max(candidates, key=lambda path: len(missing & _signs(path)), default=base[""])):
        further.append(best)
        missing -= _signs(best)
    return Fonts(base, tuple(further), frozenset(missing))


def _is_drawn(sign: str) -> bool:
    """Return whether a sign is more than space, control or the choice of another sign's form."""
    unseen = sign.isspace() or unicodedata.category(sign) in ("Cf", "Cc")
    return not (unseen or "VARIATION" in unicodedata.name(sign, ""))


def _system_fonts() -> list[Path]:
    """Return the font files of the system, plain faces without serifs first, in an order that stays."""
    from matplotlib.font_manager import findSystemFonts

    def fitness(path: Path) -> tuple[bool, bool, str, str]:
        name = path.name.lower()
        return any(odd in name for odd in _ODD), "sans" not in name, path.name, str(path)

    return sorted(map(Path, findSystemFonts()), key=fitness)


@cache
def _signs(path: Path) -> frozenset[str]:
    """Return the signs that a font has; none when it cannot be read."""
    from fontTools.ttLib import TTFont, TTLibError

    try:
        with TTFont(path, fontNumber=0, lazy=True) as font:
            drawn = {*font.keys()} >= _NEEDED and not {"glyf", "CFF "}.isdisjoint(font.keys())
            return frozenset(map(chr, font.getBestCmap() or ())) if drawn else frozenset()
    except (TTLibError, OSError, KeyError, AttributeError):
        return frozenset()
