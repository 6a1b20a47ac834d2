"""Foreign text made harmless: names and sentences that are shown, and all that goes to a terminal, a pipe or a log."""

from __future__ import annotations

import re
import sys
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO

_MARKS = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Unicode categories that print nothing or steer a terminal, a bidirectional layout or a line."""
_OWN_CODES = re.compile(r"(\r|\x1b\[(?:0|1|2|36)m)")
"""What acreday itself steers a terminal with: the progress line and the colours of a table."""


def plain(text: object, longest: int | None = None) -> str:
    """Return a foreign text on one line, without control and direction marks."""
    joined = "".join(" " if character in "\t\n\r" else character for character in str(text))
    clean = "".join(character for character in joined if unicodedata.category(character) not in _MARKS)
    clean = " ".join(clean.split())
    if longest is not None and len(clean) > longest:
        return clean[: max(1, longest - 1)].rstrip() + "…"
    return clean


def visible(text: str, kept: str = "\n\t") -> str:
    """Return a text with every control and direction mark written out as an escape."""
    if text.isprintable() or (kept == "\n\t" and text.replace("\n", "").replace("\t", "").isprintable()):
        return text
    return "".join(
        character
        if character in kept or unicodedata.category(character) not in _MARKS
        else character.encode("unicode_escape").decode("ascii")
        for character in text
    )


class OutputError(Exception):
    """Standard output or error takes no more: the device is full, or gone."""


class CleanStream:
    """A text stream on which nothing foreign can steer a terminal; what the stream cannot encode is written out."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write a text, cleaned."""
        encoding = self._stream.encoding or "utf-8"
        self._pass(visible(text).encode(encoding, "backslashreplace").decode(encoding))
        return len(text)

    def flush(self) -> None:
        """Hand on what is written."""
        self._pass("", flush=True)

    def _pass(self, text: str, flush: bool = False) -> None:
        try:
            self._stream.write(text)
            if flush:
                self._stream.flush()
        except BrokenPipeError:
            raise
        except OSError as error:
            raise OutputError(f"the output cannot be written: {error.strerror or error}") from error

    def steer(self, text: str) -> None:
        """Write a text in which acreday's own colours and returns to the line's begin stay, and all else is cleaned."""
        for number, part in enumerate(_OWN_CODES.split(text)):
            if number % 2:
                self._pass(part)
            else:
                self.write(part)

    def __getattr__(self, name: str) -> Any:
        """Be the stream in everything else."""
        if name == "buffer":
            raise AttributeError(name)
        return getattr(self._stream, name)


@contextmanager
def clean_output() -> Iterator[None]:
    """Clean all that is written to standard output and standard error meanwhile, by whomever."""
    streams = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (stream and CleanStream(stream) for stream in streams)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = streams


def steer(text: str, stream: Any) -> None:
    """Write a text with acreday's own colours to a stream, cleaned or not."""
    getattr(stream, "steer", stream.write)(text)
    stream.flush()
