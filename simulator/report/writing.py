"""Writing files whole or not at all, and text that is safe in a cell or on a terminal, measured and broken in lines."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from simulator.clean import plain as plain
from simulator.experiment.disk import sync_folder

_FORMULA = re.compile(r"'*[=+\-@\t\r\n]")


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Let a file be written under another name, then force it to the disk and move it into place.

    A reader finds the old content or the new one, never a part, and so does who looks after a power loss.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", suffix=".part", dir=path.parent)
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        sync_file(temporary)
        temporary.chmod(0o666 & ~_umask())
        temporary.replace(path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def sync_file(path: Path) -> None:
    """Force what was written to a file to the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_atomically(path: Path, content: bytes) -> None:
    """Write a file so that a reader finds the old content or the new one, never a part; see :func:`whole_file`."""
    with whole_file(path) as temporary:
        temporary.write_bytes(content)


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def safe_cell(value: object) -> object:
    """Return a table cell that no spreadsheet takes for a formula: before ``= + - @``, tab and line end goes ``'``."""
    return f"'{value}" if isinstance(value, str) and _FORMULA.match(value) else value


def plain_cell(value: str) -> str:
    """Return what :func:`safe_cell` was given."""
    return value[1:] if value.startswith("'") and _FORMULA.match(value) else value


def file_stem(name: str) -> str:
    """Return a set's name as a safe part of a file name; a name that had to be changed gets a mark of its own."""
    kept = "".join(letter if letter.isalnum() or letter in "-_" else "_" for letter in name)[:60]
    return kept if kept == name else f"{kept}_{hashlib.sha256(name.encode(errors='replace')).hexdigest()[:6]}"


def printed_width(text: str) -> int:
    """Return how many terminal cells a text takes: wide characters take two, combining ones none."""
    bare = re.sub(r"\x1b\[\d*m", "", text)
    return sum(
        0 if unicodedata.combining(sign) else 2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in bare
    )


def fit(text: object, width: int) -> str:
    """Return a foreign text on one line of at most ``width`` cells, an ellipsis for what is cut."""
    clean = plain(text)
    if printed_width(clean) <= width:
        return clean
    while printed_width(clean) > width - 1:
        clean = clean[:-1]
    return clean + "…"


def wrap(
    text: str, width: float, measure: Callable[[str], float] = printed_width, first: str = "", later: str = ""
) -> list[str]:
    """Break a paragraph into lines no wider than ``width`` by a measure; a number stays with its per cent sign.

    The first line begins with ``first``, the others with ``later``; a word longer than a line is broken anywhere.
    """
    words = text.replace(" %", "\N{NO-BREAK SPACE}%").split(" ")
    lines, line, started = list[str](), first, False
    while words:
        word = words.pop(0)
        trial = f"{line} {word}" if started else line + word
        if measure(trial) <= width:
            line, started = trial, True
        elif started:
            lines.append(line)
            line, started = later, False
            words.insert(0, word)
        else:
            kept = 1
            while kept < len(word) and measure(line + word[: kept + 1]) <= width:
                kept += 1
            lines.append(line + word[:kept])
            line = later
            words[:0] = [word[kept:]] if word[kept:] else []
    lines += [line] if started else []
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]
