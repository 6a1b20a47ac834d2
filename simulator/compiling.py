"""Makes the compiled copy of the model: a copy of the sources, mypyc, the C compiler, and the cache."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from simulator.compiled import MODULES, PACKAGE, folder, library
from simulator.errors import InputError

_SETUP = """\
from mypyc.build import mypycify
from setuptools import setup

modules = mypycify(["--config-file=mypy.ini", *{files!r}], opt_level="2", debug_level="0")
for module in modules:
    # warnings of one compiler or another must not stop it; and no machine may fuse a product into a sum, which would
    # change last digits
    module.extra_compile_args = [one for one in module.extra_compile_args if "Werror" not in one and one != "/WX"]
    if {contract}:
        module.extra_compile_args.append("-ffp-contract=off")
setup(name="model", packages=[], ext_modules=modules)
"""
_SETTINGS = "[mypy]\nfollow_imports = silent\nignore_missing_imports = true\nplugins = pydantic.mypy\n"


def compile_model() -> Path:
    """Compile the model and return the folder of the copy.

    Raises
    ------
    InputError
        A tool is missing, or it refused; the message says which and what to do.
    """
    for name in ("mypyc", "setuptools"):
        if importlib.util.find_spec(name) is None:
            raise InputError.single(f"needs {name}: pip install 'acreday[compile]'", file="acreday compile")
    goal = folder()
    with tempfile.TemporaryDirectory(prefix="acreday-compile-") as place:
        build = Path(place)
        shutil.copytree(PACKAGE, build / PACKAGE.name, ignore=shutil.ignore_patterns("__pycache__", "*.so", "*.pyd"))
        files = ["/".join(module.split(".")) + ".py" for module in MODULES]
        (build / "mypy.ini").write_text(_SETTINGS, encoding="utf-8")
        (build / "setup.py").write_text(_SETUP.format(files=files, contract=os.name == "posix"), encoding="utf-8")
        done = subprocess.run(
            [sys.executable, "setup.py", "-q", "build_ext", "--inplace"],
            cwd=build, capture_output=True, text=True, check=False, env={**os.environ, "PYTHONPATH": ""},
        )  # fmt: skip
        if done.returncode != 0:
            last = "\n  ".join((done.stdout + done.stderr).strip().splitlines()[-12:])
            raise InputError.single(
                "the model could not be compiled; it needs a C compiler and Python's headers (on Debian: apt install "
                f"gcc python3-dev), else acreday goes on interpreted. The last lines were:\n  {last}",
                file="acreday compile",
            )
        _store(build, goal)
    return goal


def _store(build: Path, goal: Path) -> None:
    """Bring what was built into the cache at one stroke."""
    goal.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="new-", dir=goal.parent) as place:
        ready = Path(place) / "model"
        ready.mkdir()
        for shared in build.glob("*__mypyc*"):
            shutil.copy2(shared, ready / shared.name)
        for module in MODULES:
            parts = module.split(".")
            (built,) = build.joinpath(*parts[:-1]).glob(parts[-1] + ".*" + library(ready, module).suffix)
            shutil.copy2(built, library(ready, module))
        if goal.exists():
            shutil.rmtree(goal)
        ready.rename(goal)
