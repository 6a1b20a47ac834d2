"""Writing a result folder: everything or nothing, never over an older result unasked."""

from __future__ import annotations

import fcntl
import os
import platform
import re
import shlex
import shutil
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simulator.errors import InputError
from simulator.experiment.disk import disk_problem, sync_folder
from simulator.experiment.engine import engine
from simulator.report.own_files import (
    MANIFEST,
    WRITTEN,
    foreign_files,
    json_bytes,
    names_text,
    own_manifest,
    sha256_of,
    whose,
)
from simulator.report.writing import safe_cell, sync_file
from simulator.version import __version__

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from simulator.scenario.loading import LoadedScenario

_OLDER = "result"
"""Name of an older result within the hidden folder where it waits until the new one is in its place."""
INPUT_COPY = "input_"
"""How the names of copied input files begin, whatever their kind."""
_REMEDY = "no result is written: free space there, then give the command again"
_PACKAGES = ("simpy", "numpy", "pandas", "scipy", "matplotlib", "shapely", "pyproj", "pydantic", "pint")


def check_target(folder: Path, force: bool, same: Mapping[str, Any] | None = None) -> None:
    """Refuse a folder that cannot take a result, before anything is simulated.

    An older result that a crash left aside while it was being replaced is put back first.
    """
    name = str(folder)
    try:
        _put_back(folder)
        _sweep(folder)
        _check_free(folder, name, force, same)
    except (OSError, RuntimeError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or error
        raise InputError.single(f"cannot be written to: {reason}", "--out", name) from error
    except ValueError as error:
        raise InputError.single(f"is not a usable name: {error}", "--out") from error


def _check_free(folder: Path, name: str, force: bool, same: Mapping[str, Any] | None) -> None:
    if "\0" in name:
        raise ValueError("it holds a NUL")
    here = folder.resolve()
    if here == Path.cwd() or here in Path.cwd().parents:
        raise InputError.single(
            "is the folder that you are in, or above it; allowed is a folder of its own", "--out", name
        )
    if folder.exists() and not folder.is_dir():
        raise InputError.single("is a file; allowed is a folder", "--out", name)
    if folder.is_dir() and any(folder.iterdir()):
        _check_replaceable(folder, name)
        mine = same is not None and same.items() <= (own_manifest(folder) or {}).items()
        if not force and not mine:
            message = f"holds an older result{whose(folder)}; give --force to replace it, or another --out"
            raise InputError.single(message, "--out", name)
    nearest = folder
    while not nearest.exists() and nearest != nearest.parent:
        nearest = nearest.parent
    with tempfile.NamedTemporaryFile(dir=nearest if nearest.is_dir() else nearest.parent):
        pass
    # the name must leave room for the marks of the hidden sibling, and of the unfinished result
    if len(here.name.encode(errors="replace")) > 200:
        raise InputError.single("has too long a name; allowed are 200 bytes", "--out", name)


def _check_replaceable(folder: Path, name: str, since: str = "") -> None:
    """Refuse a folder that holds anything but what its manifest lists as written by acreday."""
    foreign = foreign_files(folder)
    if not foreign:
        return
    message = f"holds other files{since}, which are never replaced: {names_text(foreign)}"
    own = own_manifest(folder)
    if own is not None and WRITTEN not in own:
        message = f"holds a result{whose(folder)}; its manifest does not list its files, so none of them is replaced"
    raise InputError.single(f"{message}; move them away, or give another --out", "--out", name)


def _put_back(folder: Path) -> None:
    """Put back an older result whose replacement a crash cut short, when nothing stands in its place."""
    target = folder.resolve()
    if os.path.lexists(target):
        return
    for entry in _siblings(target, "old"):
        older = entry / _OLDER
        # another run may hold it, or have put it back just now
        with suppress(OSError), _held(entry):
            if older.is_symlink() or not older.is_dir() or own_manifest(older) is None:
                continue
            older.replace(target)
            entry.rmdir()
            sync_folder(target.parent)
            return


def _sweep(folder: Path) -> None:
    """Remove results that were being written when their run was killed; one that is being written is held."""
    for entry in _siblings(folder.resolve(), "new"):
        with suppress(OSError), _held(entry):
            shutil.rmtree(entry, ignore_errors=True)


def _siblings(target: Path, mark: str) -> list[Path]:
    """Return the hidden folders beside a result that were made for it, the newest first."""
    # eight letters of tempfile's: a folder of a longer name that begins alike is another's
    pattern = re.compile(re.escape(f".{target.name}.{mark}.") + "[a-z0-9_]{8}")
    found: list[Path] = []
    with suppress(OSError):
        found = [one for one in target.parent.iterdir() if pattern.fullmatch(one.name) and not one.is_symlink()]
        found.sort(key=lambda one: one.stat().st_mtime_ns, reverse=True)
    return found


@contextmanager
def _held(folder: Path) -> Iterator[None]:
    """Hold a folder so that no other run takes it for one that a crash left; the lock ends with the process."""
    handle = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise
        except OSError:
            # some file systems cannot lock a folder
            pass
        yield
    finally:
        os.close(handle)


class ResultFolder:
    """A result folder being written: a hidden sibling first, moved into place whole by :meth:`finish`.

    The remedy is what to do when the disk is full.
    """

    def __init__(
        self, folder: Path, force: bool = False, same: Mapping[str, Any] | None = None, remedy: str = _REMEDY
    ) -> None:
        check_target(folder, force, same)
        self.folder, self._remedy = folder, remedy
        # a link is followed: it stays, and the result goes where it leads
        self._target = folder.resolve()
        try:
            self._target.parent.mkdir(parents=True, exist_ok=True)
            self.path = Path(tempfile.mkdtemp(prefix=f".{self._target.name}.new.", dir=self._target.parent))
            self.path.chmod(0o755)
            self._hold = ExitStack()
            self._hold.enter_context(_held(self.path))
        except OSError as error:
            raise InputError.single(f"cannot be written: {error.strerror or error}", "--out", str(folder)) from error

    def __enter__(self) -> ResultFolder:
        return self

    def __exit__(self, *_: object) -> None:
        shutil.rmtree(self.path, ignore_errors=True)
        self._hold.close()

    @contextmanager
    def _writing(self, name: str) -> Iterator[Path]:
        """Turn a full or broken disk into a message that says which file failed and what to do."""
        try:
            yield self.path / name
        except OSError as error:
            raise disk_problem(error, str(self.folder / name), self._remedy) from error

    def write_bytes(self, name: str, content: bytes) -> None:
        """Write one file."""
        with self._writing(name) as path:
            path.write_bytes(content)

    def write_text(self, name: str, text: str) -> None:
        """Write one text file."""
        self.write_bytes(name, text.encode())

    def write_json(self, name: str, document: Any) -> None:
        """Write one JSON file."""
        self.write_bytes(name, json_bytes(document))

    def write_manifest(self, document: Mapping[str, Any]) -> None:
        """Write the manifest last of all, with the names and checksums of all other files."""
        written = {path.name: sha256_of(path) for path in sorted(self.path.iterdir())}
        self.write_json(MANIFEST, {**document, WRITTEN: written})

    def write_table(self, name: str, *frames: pd.DataFrame, parts: Iterable[pd.DataFrame] = ()) -> None:
        """Write a table as CSV, whole or from its parts."""
        with self._writing(name) as path:
            write_csv(path, [*frames] or parts)

    def write_figure(self, stem: str, figure: Figure, forms: Sequence[str] = ("svg", "png")) -> None:
        """Write a figure in some forms."""
        from simulator.report.style import figure_bytes

        for form in forms:
            self.write_bytes(f"{stem}.{form}", figure_bytes(figure, form))

    def finish(self) -> Path:
        """Force the files to the disk, move the folder into place and return it."""
        for path in sorted(self.path.iterdir()):
            try:
                sync_file(path)
            except OSError as error:
                raise disk_problem(error, str(self.folder / path.name), self._remedy) from error
        sync_folder(self.path)
        try:
            if self._target.exists():
                self._replace_older()
            else:
                self.path.replace(self._target)
                sync_folder(self._target.parent)
        except OSError as error:
            raise InputError.single(
                f"cannot be written: {error.strerror or error}", "--out", str(self.folder)
            ) from error
        return self.folder

    def _replace_older(self) -> None:
        """Move an older result aside, this one into its place, and delete the older; after a failure it is back."""
        aside = Path(tempfile.mkdtemp(prefix=f".{self._target.name}.old.", dir=self._target.parent))
        older = aside / _OLDER
        with _held(aside):
            try:
                self._target.replace(older)
                # here, where nobody puts anything any more: it may have changed while runs were simulated
                if any(older.iterdir()):
                    _check_replaceable(older, str(self.folder), " since this run began")
                self.path.replace(self._target)
                # before the older one goes
                sync_folder(self._target.parent)
            except BaseException:
                with suppress(OSError):
                    if older.exists() and not self._target.exists():
                        older.replace(self._target)
                    aside.rmdir()
                raise
            # by another name: what a crash leaves of it from here on must not be put back
            older.replace(aside / "replaced")
        shutil.rmtree(aside, ignore_errors=True)


def write_csv(path: Path, frames: Iterable[pd.DataFrame]) -> None:
    """Write a table as CSV from its parts, so that memory does not grow with it; the same bytes as from the whole.

    Texts that a spreadsheet would take for a formula are disarmed.
    """
    with path.open("w", encoding="utf-8", newline="") as stream:
        for number, frame in enumerate(frames):
            # a column of texts holds few different ones
            safe = {
                column: frame[column].map({text: _cell(text) for text in frame[column].unique()})
                for column in frame.columns
                if frame[column].dtype.kind not in "bifu"
            }
            frame.assign(**safe).to_csv(stream, index=False, header=number == 0, lineterminator="\n")


def _cell(value: object) -> object:
    """Return a safe cell; a lone carriage return, which the writer would not quote, would begin a row of its own."""
    return safe_cell(value.replace("\r\n", "\n").replace("\r", "\n") if isinstance(value, str) else value)


def manifest(
    loaded: LoadedScenario,
    seed: int,
    runs: Mapping[str, int],
    begun_s: float,
    tables: Mapping[str, Mapping[str, Any]] | None = None,
    files: Iterable[tuple[str, str]] = (),
    command: str = "",
) -> dict[str, Any]:
    """Return what is needed to make a result again; ``begun_s`` (``time.monotonic()``) is when the command began."""
    packages = {}
    for name in _PACKAGES:
        with suppress(metadata.PackageNotFoundError):
            packages[name] = metadata.version(name)
    resolved = {entry.name: entry.resolved for entry in loaded.sets} if tables is None else tables
    return {
        "acreday_version": __version__,
        "python": platform.python_version(),
        "packages": packages,
        "engine": engine(),
        "created": datetime.now(UTC).isoformat(timespec="seconds"),
        "duration_s": round(time.monotonic() - begun_s, 2),
        "command": command or shlex.join(["acreday", *sys.argv[1:]]),
        "seed": seed,
        "runs": dict(runs),
        "scenario_sha256": loaded.digest(),
        "files": dict(files),
        "resolved": {name: dict(table) for name, table in resolved.items()},
    }
