"""Writing a result folder: everything or nothing, never over an older result unasked."""

from __future__ import annotations

import json
import platform
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simulator import __version__
from simulator.errors import InputError
from simulator.report.writing import safe_cell

if TYPE_CHECKING:
    import pandas as pd

MANIFEST = "manifest.json"
"""The file that makes a folder a result folder."""
_PACKAGES = ("simpy", "numpy", "pandas", "scipy", "matplotlib", "shapely", "pyproj", "pydantic", "pint")


def check_target(folder: Path, force: bool) -> None:
    """Refuse a folder that cannot take a result, before anything is simulated.

    Parameters
    ----------
    folder : Path
        Where the result is to go; need not exist.
    force : bool
        Whether an older result there may be replaced.

    Raises
    ------
    InputError
        It is a file, holds an older result or other files, or cannot be written to.
    """
    name = str(folder)
    if folder.exists() and not folder.is_dir():
        raise InputError.single("is a file; allowed is a folder", "--out", name)
    if folder.is_dir() and any(folder.iterdir()):
        if not (folder / MANIFEST).is_file():
            raise InputError.single(
                "holds other files; allowed is an empty or new folder, or an older result with --force", "--out", name
            )
        if not force:
            raise InputError.single(
                "holds an older result; give --force to replace it, or another --out", "--out", name
            )
    nearest = folder
    while not nearest.exists() and nearest != nearest.parent:
        nearest = nearest.parent
    try:
        with tempfile.NamedTemporaryFile(dir=nearest if nearest.is_dir() else nearest.parent):
            pass
    except OSError as error:
        raise InputError.single(f"cannot be written to: {error.strerror or error}", "--out", name) from error


class ResultFolder:
    """A result folder being written: a hidden sibling first, moved into place whole by :meth:`finish`.

    Parameters
    ----------
    folder : Path
        Where it will be.
    force : bool
        Whether an older result there may be replaced.
    """

    def __init__(self, folder: Path, force: bool = False) -> None:
        check_target(folder, force)
        self.folder = folder
        folder.parent.mkdir(parents=True, exist_ok=True)
        self.path = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
        self.path.chmod(0o755)

    def __enter__(self) -> ResultFolder:
        return self

    def __exit__(self, *_: object) -> None:
        shutil.rmtree(self.path, ignore_errors=True)

    def write_text(self, name: str, text: str) -> None:
        """Write one text file."""
        (self.path / name).write_text(text, encoding="utf-8")

    def write_json(self, name: str, document: Any) -> None:
        """Write one JSON file."""
        self.write_text(name, json.dumps(document, indent=1, allow_nan=False) + "\n")

    def write_table(self, name: str, frame: pd.DataFrame) -> None:
        """Write a table as CSV; text that a spreadsheet would take for a formula is disarmed."""
        safe = frame.copy()
        for column in safe.columns:
            if safe[column].dtype.kind not in "bifu":
                safe[column] = safe[column].map(safe_cell)
        safe.to_csv(self.path / name, index=False, lineterminator="\n")

    def finish(self) -> Path:
        """Move the folder into place and return it.

        Raises
        ------
        InputError
            It cannot be moved there.
        """
        try:
            if self.folder.exists():
                old = Path(tempfile.mkdtemp(prefix=f".{self.folder.name}.old.", dir=self.folder.parent))
                self.folder.replace(old / "result")
                self.path.replace(self.folder)
                shutil.rmtree(old, ignore_errors=True)
            else:
                self.path.replace(self.folder)
        except OSError as error:
            raise InputError.single(
                f"cannot be written: {error.strerror or error}", "--out", str(self.folder)
            ) from error
        return self.folder


def manifest(
    resolved: Mapping[str, Mapping[str, Any]],
    files: Iterable[tuple[str, str]],
    digest: str,
    seed: int,
    days: Mapping[str, int],
    command: str,
    created: str,
    duration_s: float,
) -> dict[str, Any]:
    """Return what is needed to make a result again.

    Parameters
    ----------
    resolved : mapping
        Equipment set to its whole scenario, every default written out.
    files : iterable of (str, str)
        Names of input files and their SHA-256.
    digest : str
        SHA-256 of all that the result depends on, apart from seed and days.
    seed, days, command, created, duration_s
        Seed, days of each set, command line, time of day (ISO 8601) and how long it took.
    """
    packages = {}
    for name in _PACKAGES:
        try:
            packages[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    return {
        "acreday_version": __version__,
        "python": platform.python_version(),
        "packages": packages,
        "engine": "simpy",
        "created": created,
        "duration_s": round(duration_s, 2),
        "command": command,
        "seed": seed,
        "days": dict(days),
        "scenario_sha256": digest,
        "files": dict(files),
        "resolved": {name: dict(table) for name, table in resolved.items()},
    }
