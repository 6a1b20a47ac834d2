"""Which signs the type of a PDF can set; the others are replaced where everybody sees it, never by empty boxes."""

from __future__ import annotations

import functools
import unicodedata

FAMILY = "DejaVu Sans"
"""The type of figures and PDFs: it comes with matplotlib and covers Latin, Greek, Cyrillic and many signs."""
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
"""Stands for a sign that the type lacks; the type has it."""


@functools.cache
def _covered() -> frozenset[int]:
    """Return the code points that both the plain and the bold face have."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    faces = [get_font(findfont(FontProperties(family=FAMILY, weight=weight))) for weight in ("normal", "bold")]
    plain, bold = (frozenset(face.get_charmap()) for face in faces)
    return plain & bold


def settable(sign: str) -> bool:
    """Return whether a sign can be set: the type has it, and it is not written from right to left.

    Signs written from right to left would come out in the wrong order and, in Arabic, unjoined.
    """
    if unicodedata.bidirectional(sign) in ("R", "AL"):
        return False
    return sign.isspace() or ord(sign) in _covered()


def settable_text(text: str) -> tuple[str, int]:
    """Return a text with every sign that cannot be set replaced, and how many were."""
    signs, replaced = [], 0
    for sign in unicodedata.normalize("NFC", text):
        if settable(sign):
            signs.append(sign)
            continue
        folded = unicodedata.normalize("NFKC", sign)
        if all(settable(one) for one in folded):
            signs.append(folded)
        else:
            signs.append(REPLACEMENT)
            replaced += 1
    return "".join(signs), replaced


class Setter:
    """Makes texts settable and counts what had to be replaced."""

    def __init__(self) -> None:
        self.replaced = 0

    def __call__(self, text: str) -> str:
        """Return a text that can be set."""
        done, count = settable_text(text)
        self.replaced += count
        return done

    @property
    def footnote(self) -> str:
        """What to say of the signs replaced; empty when none was."""
        if not self.replaced:
            return ""
        signs = "1 sign" if self.replaced == 1 else f"{self.replaced} signs"
        return (
            f"“{REPLACEMENT}” stands for {signs} that the type of this sheet lacks;"
            " the web page (.html) that was written with it shows all as given."
        )
