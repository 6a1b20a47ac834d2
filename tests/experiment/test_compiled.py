"""The compiled copy of the model: found only when it is of these sources, refused with a reason, same last digits."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from simulator import compiled
from simulator.compiling import _store
from simulator.errors import InputError

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


@pytest.fixture
def copy(tmp_path, monkeypatch):
    """A copy that is whole, though of empty files."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.delenv(compiled.VARIABLE, raising=False)
    folder = compiled.folder()
    folder.mkdir(parents=True)
    for module in compiled.MODULES:
        compiled.library(folder, module).touch()
    (folder / compiled.CONTENTS).write_text(json.dumps(compiled.contents(folder)))
    return folder


def test_a_whole_copy_is_used(copy):
    one = compiled.MODULES[1]
    assert compiled.Finder().find_spec(one).origin == str(compiled.library(copy, one))


@pytest.mark.parametrize("damage", ["missing", "cut", "more", "no list", "spoilt list"])
def test_a_damaged_copy_is_not_used(copy, damage):
    first = compiled.library(copy, compiled.MODULES[0])
    if damage == "missing":
        first.unlink()
    elif damage == "cut":
        first.write_bytes(b"x")
    elif damage == "more":
        (copy / "other.so").touch()
    elif damage == "no list":
        (copy / compiled.CONTENTS).unlink()
    else:
        (copy / compiled.CONTENTS).write_text("[")
    assert compiled.Finder().find_spec(compiled.MODULES[1]) is None


def test_a_copy_that_does_not_load_is_not_used(copy):
    (copy / "abc__mypyc.so").write_bytes(b"no machine code")
    (copy / compiled.CONTENTS).write_text(json.dumps(compiled.contents(copy)))
    assert compiled.Finder().find_spec(compiled.MODULES[1]) is None
    assert "abc__mypyc" not in sys.modules


def test_without_a_home_the_model_is_interpreted(monkeypatch):
    def no_home():
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setenv("XDG_CACHE_HOME", "relative")
    monkeypatch.delenv(compiled.VARIABLE, raising=False)
    monkeypatch.setattr(compiled.Path, "home", no_home)
    assert compiled.folder() is None
    assert compiled.Finder().find_spec(compiled.MODULES[1]) is None


def test_a_word_for_yes_is_refused(monkeypatch):
    monkeypatch.setenv(compiled.VARIABLE, "yes")
    with pytest.raises(InputError, match="allowed is 0"):
        compiled.Finder().find_spec(compiled.MODULES[1])


def test_a_cache_that_cannot_be_written_is_said_before_compiling(tmp_path):
    (tmp_path / "file").touch()
    done = run("-m", "simulator.cli", "compile", XDG_CACHE_HOME=str(tmp_path / "file"))
    assert done.returncode == 2
    assert "cannot write" in done.stderr
    assert "Traceback" not in done.stderr
    assert "compiling" not in done.stderr


def test_storing_replaces_a_broken_copy_and_leaves_nothing_else(copy, tmp_path):
    build = tmp_path / "build"
    for module in compiled.MODULES:
        parts = module.split(".")
        build.joinpath(*parts[:-1]).mkdir(parents=True, exist_ok=True)
        build.joinpath(*parts[:-1], parts[-1] + ".abi.so").write_text(module)
    (build / "abc__mypyc.so").touch()
    (copy / compiled.CONTENTS).unlink()
    _store(build, copy)
    assert compiled.is_whole(copy)
    assert [path.name for path in copy.parent.iterdir()] == [copy.name]


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
    cache = {} if compiled.is_whole(compiled.folder()) else {"XDG_CACHE_HOME": str(tmp_path)}
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
