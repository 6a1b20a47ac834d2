"""The files that a scenario may name: ordinary ones of the expected kind, in its own folder or where one allows."""

from __future__ import annotations

import codecs
import os
import stat
from dataclasses import dataclass, field
from pathlib import Path

from simulator.errors import InputError
from simulator.scenario.shown import shown

CSV = "a CSV file (.csv)"
BOUNDARIES = "a boundary file (.geojson, .json, .kml, .kmz, .gpkg, or a shapefile: .zip, .shp)"
_ENDINGS = {CSV: (".csv",), BOUNDARIES: (".geojson", ".json", ".kml", ".kmz", ".gpkg", ".zip", ".shp")}


@dataclass(frozen=True)
class ScenarioFolder:
    """Where a scenario's file names lead."""

    path: Path = field(default_factory=Path)
    outside: bool = False
    """Whether they may lead out of the folder: a scenario from somebody else could name any file of the user's."""
    named: frozenset[Path] = frozenset()
    """Files that the user named himself, wherever they are and whatever they are called."""

    def file(self, name: str, kind: str) -> Path:
        """Return the path of a file that a scenario names."""
        if not name.strip() or len(name) > 1000 or not name.isprintable():
            raise InputError.single(f"got {shown(name)}; allowed is the name of a file")
        try:
            path, home = (self.path / name).resolve(), self.path.resolve()
        except (OSError, RuntimeError) as error:
            raise InputError.single(f"got {shown(name)}, which cannot be followed: {error}") from error
        if path in self.named:
            return path
        if not (self.outside or path.is_relative_to(home)):
            message = f"got {shown(name)}, which is not in the scenario's folder; allowed is a file there, or any file"
            raise InputError.single(f"{message} with --allow-files-outside, if you trust the scenario")
        if path.suffix.lower() not in _ENDINGS[kind]:
            raise InputError.single(f"got {shown(name)}; allowed is {kind}")
        return path


def decoded(content: bytes) -> str:
    """Return a file's text: UTF-8, with a byte-order mark or without, or UTF-16 with one, as spreadsheets write it."""
    marked = content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    return content.decode("utf-16" if marked else "utf-8-sig")


def read_ordinary_file(path: Path, most_bytes: int, allowed: str) -> bytes:
    """Read a file that a user names, wherever it is, if it is an ordinary one of a sane size."""
    name = str(path)
    try:
        # without blocking, because opening a pipe would wait for its writer; what is opened is what is looked at
        number = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        try:
            status = os.fstat(number)
            if not stat.S_ISREG(status.st_mode):
                kind = "a folder" if stat.S_ISDIR(status.st_mode) else "a device or pipe"
                message = f"cannot be read: is {kind}, not a regular file; allowed is {allowed}"
                raise InputError.single(message, file=name)
            content = b""
            if status.st_size <= most_bytes:
                with os.fdopen(number, "rb", closefd=False) as handle:
                    # nothing at all comes out of some that call themselves regular, such as the kernel's messages
                    content = handle.read(most_bytes + 1) or b""
        finally:
            os.close(number)
    except OSError as error:
        raise InputError.single(f"cannot be read: {error.strerror or error}", file=name) from error
    except ValueError as error:
        raise InputError.single(f"is not a usable file name: {error}", file=name) from error
    size = max(status.st_size, len(content))
    if size > most_bytes:
        raise InputError.single(
            f"is larger than the limit of {most_bytes / 1e6:g} MB ({size / 1e6:.1f} MB); allowed is {allowed}",
            file=name,
        )
    return content
