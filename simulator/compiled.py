"""The model as machine code: which modules, where the compiled copy lies, and when it is used.

``acreday compile`` translates the modules below by mypyc, from the same source that the interpreter runs, into a folder
of the user's cache. The folder's name is a hash of these sources, of Python's version and of the machine's kind, so a
copy of another version is never found, let alone used; a damaged one is left alone. Results are equal to the last digit
either way.
"""

from __future__ import annotations

import hashlib
import importlib.machinery
import importlib.util
import json
import os
import platform
import sys
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType

from simulator.errors import InputError

VARIABLE = "ACREDAY_COMPILED"
"""Environment variable: ``0`` leaves the compiled copy unused, ``1`` refuses to run without it."""

MODULES = (
    "simulator.physics.charge",
    "simulator.operation.sendable",
    "simulator.operation.kernel",
    "simulator.operation.log",
    "simulator.operation.path",
    "simulator.operation.flight",
    "simulator.operation.plan_equipment",
    "simulator.operation.plan_fields",
    "simulator.operation.plan",
    "simulator.operation.work",
    "simulator.operation.packs",
    "simulator.operation.crew",
    "simulator.operation.power",
    "simulator.operation.charging",
    "simulator.operation.supply",
    "simulator.operation.turnaround",
    "simulator.operation.sortie",
    "simulator.operation.move",
    "simulator.operation.day",
    "simulator.analysis.summary",
)
"""What is compiled: all that a simulated day and its summing up run through."""

CONTENTS = "contents.json"
"""In a compiled copy: the SHA-256 of each of its files."""
PACKAGE = Path(__file__).resolve().parent
_SUFFIX = importlib.machinery.EXTENSION_SUFFIXES[0]


def source(module: str) -> Path:
    """Return the file of a module's source."""
    return PACKAGE.joinpath(*module.split(".")[1:]).with_suffix(".py")


def library(folder: Path, module: str) -> Path:
    """Return the file of a module's machine code."""
    return folder / (module + _SUFFIX)


def cache() -> Path | None:
    """Return the folder that holds compiled copies; None where a user has no place for it."""
    named = Path(os.environ.get("XDG_CACHE_HOME", ""))
    if named.is_absolute():
        return named / "acreday"
    try:
        return Path.home() / ".cache" / "acreday"
    except RuntimeError:
        return None


def digest() -> str:
    """Return a hash of the model's sources."""
    found = hashlib.sha256()
    for module in MODULES:
        found.update(source(module).read_bytes())
    return found.hexdigest()


def folder() -> Path | None:
    """Return where the compiled copy of the present sources lies, or would; None where there is no cache."""
    place = cache()
    kind = f"{digest()} {sys.implementation.cache_tag} {platform.machine()} {sys.platform}"
    return place / f"model-{hashlib.sha256(kind.encode()).hexdigest()[:24]}" if place is not None else None


def contents(place: Path) -> dict[str, str]:
    """Return the SHA-256 of every library in a folder, by its name."""
    return {
        file.name: hashlib.sha256(file.read_bytes()).hexdigest()
        for file in sorted(place.iterdir())
        if file.name != CONTENTS
    }


def is_whole(place: Path) -> bool:
    """Tell whether a folder holds a compiled copy, every file as it was made."""
    try:
        return bool(json.loads((place / CONTENTS).read_text(encoding="utf-8")) == contents(place))
    except (OSError, ValueError):
        return False


def in_use() -> bool:
    """Tell whether this process simulates with the compiled copy."""
    module = sys.modules.get(MODULES[-1]) or importlib.import_module(MODULES[-1])
    return str(getattr(module, "__file__", "")).endswith(_SUFFIX)


class Finder:
    """Lets Python import the compiled copy instead of the sources, all modules or none.

    The choice is made when the first of them is imported, so that commands that simulate nothing pay nothing.
    """

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._chosen = False

    def find_spec(
        self, name: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        """Return the compiled module's specification; None for any other module, or without a compiled copy."""
        if name not in MODULES:
            return None
        if not self._chosen:
            self._chosen = True
            self._folder = _choose()
        if self._folder is None:
            return None
        return importlib.util.spec_from_file_location(name, library(self._folder, name))


def _choose() -> Path | None:
    """Return the compiled copy to use, its shared part loaded; None to interpret."""
    wish = os.environ.get(VARIABLE, "")
    if wish not in ("", "0", "1"):
        raise InputError.single(f"got {wish!r}; allowed is 0 (never), 1 (always) or nothing", file=VARIABLE)
    if wish == "0":
        return None
    found = folder()
    if found is not None and is_whole(found):
        try:
            _load_shared(found)
        except ImportError as error:
            problem = f"the compiled copy cannot be loaded here: {error}"
        else:
            return found
    else:
        problem = "there is no whole compiled copy of this version of the model"
    if wish == "1":
        raise InputError.single(f"is 1, but {problem}: run acreday compile --force", file=VARIABLE)
    return None


def _load_shared(found: Path) -> None:
    for shared in found.glob("*__mypyc*"):
        name = shared.name.split(".", 1)[0]
        spec = importlib.util.spec_from_file_location(name, shared)
        if spec is not None and spec.loader is not None:
            module = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(module)
            sys.modules[name] = module


def activate() -> None:
    """Use the compiled copy, where there is one, for what is imported from now on."""
    if not any(isinstance(finder, Finder) for finder in sys.meta_path):
        sys.meta_path.insert(0, Finder())
