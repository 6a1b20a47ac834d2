"""The compiled copy of the model: found only when it is of these sources, refused with a reason, same last digits."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from simulator import compiled

ROOT = Path(__file__).resolve().parents[2]
SCENARIO = "scenarios/third_pack.toml"


def run(*arguments, **variables):
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'tests' / 'operation'}", **variables},
        capture_output=True,
        text=True,
        check=False,
    )


def test_every_module_that_is_compiled_has_a_source():
    assert all(compiled.source(module).is_file() for module in compiled.MODULES)


def test_a_changed_source_has_another_folder(tmp_path, monkeypatch):
    before = compiled.folder()
    copy = tmp_path / "simulator"
    shutil.copytree(compiled.PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(compiled, "PACKAGE", copy)
    assert compiled.folder() == before
    with (copy / "operation" / "crew.py").open("a") as file:
        file.write("# a change\n")
    assert compiled.folder() != before


def test_other_modules_and_a_missing_copy_are_left_to_python(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.delenv(compiled.VARIABLE, raising=False)
    finder = compiled.Finder()
    assert finder.find_spec("simulator.report.html") is None
    assert finder.find_spec(compiled.MODULES[0]) is None


def test_half_a_copy_is_not_used(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.delenv(compiled.VARIABLE, raising=False)
    folder = compiled.folder()
    folder.mkdir(parents=True)
    for module in compiled.MODULES[1:]:
        compiled.library(folder, module).touch()
    assert compiled.Finder().find_spec(compiled.MODULES[1]) is None
    compiled.library(folder, compiled.MODULES[0]).touch()
    assert compiled.Finder().find_spec(compiled.MODULES[1]).origin == str(compiled.library(folder, compiled.MODULES[1]))


def test_insisting_without_a_copy_is_an_error_with_the_way_out(tmp_path):
    done = run(
        "-m", "simulator.cli", "run", SCENARIO, "--days", "2", "--out", str(tmp_path / "out"),
        XDG_CACHE_HOME=str(tmp_path), ACREDAY_COMPILED="1",
    )  # fmt: skip
    assert done.returncode == 2
    assert "run acreday compile" in done.stderr
    assert "Traceback" not in done.stderr


def test_without_mypyc_the_command_says_what_to_install(tmp_path):
    code = (
        "import importlib.util as u; known = u.find_spec; "
        "u.find_spec = lambda name, *rest: None if name == 'mypyc' else known(name, *rest); "
        "from simulator.cli import main; main(['compile'])"
    )
    done = run("-c", code, XDG_CACHE_HOME=str(tmp_path))
    assert done.returncode == 2
    assert "pip install 'acreday[compile]'" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.slow
def test_without_a_c_compiler_the_command_says_so(tmp_path):
    done = run("-m", "simulator.cli", "compile", XDG_CACHE_HOME=str(tmp_path), CC=str(tmp_path / "none"))
    assert done.returncode == 2
    assert "needs a C compiler" in done.stderr
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.rglob("*.so"))


@pytest.mark.slow
def test_compiled_days_equal_interpreted_ones_to_the_last_digit(tmp_path):
    cache = {} if compiled.folder().exists() else {"XDG_CACHE_HOME": str(tmp_path)}
    done = run("-m", "simulator.cli", "compile", **cache)
    if done.returncode != 0 and "needs a C compiler" in done.stderr and shutil.which("cc") is None:
        pytest.skip("no C compiler here")
    assert done.returncode == 0, done.stderr
    results = {}
    for wish in ("0", "1"):
        done = run("tests/experiment/days_digest.py", "150", ACREDAY_COMPILED=wish, **cache)
        assert done.returncode == 0, done.stderr[-3000:]
        kind, days, digest = done.stdout.split()
        results[kind] = (int(days), digest)
    assert set(results) == {"interpreted", "compiled"}
    assert results["interpreted"] == results["compiled"]
    assert results["compiled"][0] > 200
