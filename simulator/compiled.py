"""The model as machine code: which modules, where the compiled copy lies, and when it is used.

``acreday compile`` translates the modules below by mypyc, from the same source that the interpreter runs, into a folder
of the user's cache. The folder's name is a hash of these sources, of Python's version and of the machine's kind, so a
copy of another version is never found, let alone used. Results are equal to the last digit either way.
"""

from __future__ import annotations

import hashlib
import importlib.machinery
import importlib.util
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

PACKAGE = Path(__file__).resolve().parent
_SUFFIX = importlib.machinery.EXTENSION_SUFFIXES[0]


def source(module: str) -> Path:
    """Return the file of a module's source."""
    return PACKAGE.joinpath(*module.split(".")[1:]).with_suffix(".py")


def library(folder: Path, module: str) -> Path:
    """Return the file of a module's machine code."""
    return folder / (module + _SUFFIX)


def cache() -> Path:
    """Return the folder that holds compiled copies."""
    home = os.environ.get("XDG_CACHE_HOME")
    return (Path(home) if home else Path.home() / ".cache") / "acreday"


def folder() -> Path:
    """Return where the compiled copy of the present sources lies, or would."""
    digest = hashlib.sha256(f"{sys.implementation.cache_tag} {platform.machine()} {sys.platform}".encode())
    for module in MODULES:
        digest.update(source(module).read_bytes())
    return cache() / f"model-{digest.hexdigest()[:24]}"


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
    if wish == "0":
        return None
    found = folder()
    if not all(library(found, module).exists() for module in MODULES):
        if wish == "1":
            raise InputError.single(
                "is 1, but there is no compiled copy of this version of the model: run acreday compile", file=VARIABLE
            )
        return None
    for shared in found.glob("*__mypyc*"):
        name = shared.name.split(".", 1)[0]
        spec = importlib.util.spec_from_file_location(name, shared)
        if spec is not None and spec.loader is not None:
            sys.modules[name] = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(sys.modules[name])
    return found


def activate() -> None:
    """Use the compiled copy, where there is one, for what is imported from now on."""
    if not any(isinstance(finder, Finder) for finder in sys.meta_path):
        sys.meta_path.insert(0, Finder())
