"""Makes the compiled copy of the model: a copy of the sources, mypyc, the C compiler, and the cache."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import subprocess
import sys
import tempfile
from contextlib import suppress
from pathlib import Path

from simulator.compiled import CONTENTS, MODULES, PACKAGE, contents, folder, is_whole, library
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
_WHERE = "acreday compile"
_TRIES = 5
_SETTINGS = "[mypy]\nfollow_imports = silent\nignore_missing_imports = true\nplugins = pydantic.mypy\n"


def check_tools() -> Path:
    """Return the folder to compile into, after seeing that what is needed is there.

    Raises
    ------
    InputError
        A tool is missing, or the cache cannot be written.
    """
    for name in ("mypyc", "setuptools"):
        if importlib.util.find_spec(name) is None:
            raise InputError.single(f"needs {name}: pip install 'acreday[compile]'", file=_WHERE)
    goal = folder()
    if goal is None:
        raise InputError.single("no folder for caches is known here; set XDG_CACHE_HOME to one", file=_WHERE)
    try:
        goal.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix="new-", dir=goal.parent):
            pass
    except OSError as error:
        raise InputError.single(
            f"cannot write to {goal.parent}: {error.strerror or error}; set XDG_CACHE_HOME to a folder that can be "
            "written",
            file=_WHERE,
        ) from error
    return goal


def compile_model() -> Path:
    """Compile the model and return the folder of the copy.

    Raises
    ------
    InputError
        A tool is missing, or it refused; the message says which and what to do.
    """
    goal = check_tools()
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
                file=_WHERE,
            )
        try:
            _store(build, goal)
        except OSError as error:
            raise InputError.single(f"cannot write to {goal.parent}: {error.strerror or error}", file=_WHERE) from error
    return goal


def _store(build: Path, goal: Path) -> None:
    """Bring what was built into the cache; whoever looks meanwhile finds a whole copy or none."""
    with tempfile.TemporaryDirectory(prefix="new-", dir=goal.parent) as place:
        ready = Path(place) / "model"
        ready.mkdir()
        for shared in build.glob("*__mypyc*"):
            shutil.copy2(shared, ready / shared.name)
        for module in MODULES:
            parts = module.split(".")
            (built,) = build.joinpath(*parts[:-1]).glob(parts[-1] + ".*" + library(ready, module).suffix)
            shutil.copy2(built, library(ready, module))
        (ready / CONTENTS).write_text(json.dumps(contents(ready), indent=1), encoding="utf-8")
        for number in range(_TRIES):
            # what is there, whole or broken, is moved aside at one stroke; another compiler may come between
            with suppress(OSError):
                goal.rename(Path(place) / f"old {number}")
            try:
                ready.rename(goal)
            except OSError:
                if number == _TRIES - 1 and not is_whole(goal):
                    raise
            else:
                return
