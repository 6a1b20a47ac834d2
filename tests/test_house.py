"""The house rules as tests: lint, types, layers, words that must not be here, and the README's examples."""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
import simpy

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ["physics", "scenario", "plan", "operation", "analysis", "experiment", "study", "report", "command"]
"""From the ground up; a room may import only rooms below it."""
MAY_USE = {
    "physics": set(),
    "scenario": {"physics"},
    "plan": {"physics", "scenario"},
    "operation": {"physics", "scenario", "plan"},
    "analysis": {"physics", "scenario", "plan", "operation"},
    "experiment": {"physics", "scenario", "plan", "operation", "analysis"},
    "study": {"physics", "scenario", "plan", "operation", "analysis", "experiment"},
    "report": {"physics", "scenario", "plan", "analysis", "experiment", "study"},
    "command": {"physics", "scenario", "plan", "operation", "analysis", "experiment", "study", "report"},
}


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True, check=False)


def test_ruff_finds_nothing() -> None:
    done = run(sys.executable, "-m", "ruff", "check", ".")
    assert done.returncode == 0, done.stdout


def test_code_is_formatted() -> None:
    done = run(sys.executable, "-m", "ruff", "format", "--check", ".")
    assert done.returncode == 0, done.stdout


def test_types_are_strict() -> None:
    done = run(sys.executable, "-m", "mypy")
    assert done.returncode == 0, done.stdout


def imports(path: Path, for_types: bool = True) -> set[str]:
    """Return what a file imports, also within functions; of ``from a import b``, ``a.b`` too."""
    names = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if not for_types and isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            node.body = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are absolute here"
            names.update([str(node.module), *(f"{node.module}.{alias.name}" for alias in node.names)])
    return names


@pytest.mark.parametrize("room", ROOMS)
def test_no_room_imports_a_higher_one(room: str) -> None:
    wrong = set()
    for path in (ROOT / "simulator" / room).rglob("*.py"):
        for name in imports(path):
            parts = name.split(".")
            if parts[0] != "simulator" or len(parts) < 2 or parts[1] not in ROOMS or parts[1] == room:
                continue
            if parts[1] not in MAY_USE[room]:
                wrong.add(f"{path.relative_to(ROOT)} imports {'.'.join(parts[:3])}")
    assert not wrong, "\n".join(sorted(wrong))


def test_no_circle_of_files() -> None:
    files = {}
    for path in (ROOT / "simulator").rglob("*.py"):
        parts = path.relative_to(ROOT).with_suffix("").parts
        files[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    below = {name: imports(path) & files.keys() - {name} for name, path in files.items()}
    grown = True
    while grown:  # until each name has all that it reaches
        grown = False
        for name, reached in below.items():
            more = reached.union(*(below[other] for other in reached))
            grown |= more != reached
            below[name] = more
    circles = {" <-> ".join(sorted(other for other in below[name] if name in below[other])) for name in files} - {""}
    assert not circles, "\n".join(circles)


OPERATION = sorted((ROOT / "simulator" / "operation").glob("*.py"))


PUBLIC = {"_replace", "_asdict", "_fields", "_make"}
"""What every named tuple offers under such names lest they clash with its fields."""


def is_private(name: str) -> bool:
    return name.startswith("_") and not name.startswith("__") and name not in PUBLIC


def private_names_of_simpy() -> set[str]:
    folder = Path(simpy.__file__).parent
    nodes = [node for path in folder.rglob("*.py") for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))]
    return {node.attr for node in nodes if isinstance(node, ast.Attribute) and is_private(node.attr)}


def private_uses(tree: ast.Module, of_simpy: set[str]) -> list[str]:
    """Return where a file reads a private attribute of what it has not defined.

    A file's own are those of ``self``, ``cls`` and its classes; a class made from one of SimPy's has SimPy's too.
    """
    classes = [node for node in ast.walk(tree) if isinstance(node, ast.ClassDef)]
    foreign = {
        alias.asname or alias.name.split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
        if (node.module or "" if isinstance(node, ast.ImportFrom) else alias.name).split(".")[0] == "simpy"
    }
    found = []
    for one in classes:  # in order: a base stands before what is made from it
        if any(ast.unparse(base).split("[")[0].split(".")[0] in foreign for base in one.bases):
            foreign.add(one.name)
            found += [node for node in ast.walk(one) if isinstance(node, ast.Attribute) and node.attr in of_simpy]
    own = {"self", "cls", *(one.name for one in classes)}
    found += [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute)
        and is_private(node.attr)
        and not (isinstance(node.value, ast.Name) and node.value.id in own)
    ]
    return sorted({f"line {node.lineno}: {ast.unparse(node)}" for node in found})


@pytest.mark.parametrize("path", OPERATION, ids=lambda path: path.stem)
def test_operation_uses_no_private_name_of_simpy(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert not private_uses(tree, private_names_of_simpy())
    taken = [alias.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for alias in node.names]
    assert not [name for name in taken if is_private(name)]


def test_private_names_are_found() -> None:
    """The check above sees what it is to see, and nothing else."""
    text = """
import simpy
from simpy.events import Event
class Own:
    def good(self, other):
        self._queue = Own._count
        return self.__class__, other.queue
    def bad(self, env):
        return env._now, self.env._eid
class Due(Event):
    def good(self):
        return self._mine
    def bad(self):
        self._ok = True
class Later(Due):
    def bad(self):
        self._value = 1
class Clock(simpy.Environment):
    def bad(self):
        return self._queue
"""
    found = private_uses(ast.parse(text), private_names_of_simpy())
    seen = {one.split(": ")[1] for one in found}
    assert seen == {"env._now", "self.env._eid", "self._ok", "self._value", "self._queue"}


def test_operation_is_small() -> None:
    lines = {path.name: len(path.read_text(encoding="utf-8").splitlines()) for path in OPERATION}
    assert not {name: count for name, count in lines.items() if count > 350}
    assert sum(lines.values()) <= 4000


def test_reports_take_nothing_of_the_model_even_for_types() -> None:
    wrong = [
        path.name
        for path in (ROOT / "simulator" / "report").rglob("*.py")
        if "simulator.operation" in path.read_text(encoding="utf-8")
    ]
    assert not wrong


@pytest.mark.parametrize(
    ("package", "rooms"),
    [
        ("simpy", {"operation"}),
        ("matplotlib", {"report"}),
        ("jinja2", {"report"}),
        ("fpdf", {"report"}),
        ("pint", {"scenario"}),
    ],
)
def test_a_package_is_used_in_one_room(package: str, rooms: set[str]) -> None:
    used = {
        path.relative_to(ROOT / "simulator").parts[0]
        for path in (ROOT / "simulator").rglob("*.py")
        if any(name.split(".")[0] == package for name in imports(path, for_types=False))
    }
    assert used == rooms


def test_nothing_goes_round_the_stream_that_is_cleaned() -> None:
    """Everything printed passes `simulator.clean`: no other way to the process's own streams may be taken."""
    pattern = re.compile(
        r"\bprint\(|stdout\.write|stderr\.write|__stdout__|__stderr__|os\.write\(|(stdout|stderr)\.buffer"
    )
    wrong = [
        str(path.relative_to(ROOT))
        for path in (ROOT / "simulator").rglob("*.py")
        if path.name != "clean.py" and pattern.search(path.read_text(encoding="utf-8"))
    ]
    assert not wrong


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom simulator.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit as stop:\n    assert stop.code == 0\n"
        "heavy = {'pandas', 'matplotlib', 'scipy', 'numpy', 'simpy', 'pydantic', 'pint'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = run(sys.executable, "-c", code)
    assert done.returncode == 0, done.stderr


def test_top_level_holds_only_what_it_may() -> None:
    listed = run("git", "ls-files").stdout.split()
    if not listed:
        pytest.skip("not a git checkout")
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "LICENSE",
        "pyproject.toml",
        "hatch_build.py",
        "simulator",
        "scenarios",
        "tests",
        "reports",
    }
    top = {name.split("/")[0] for name in listed}
    assert {name for name in top if not name.startswith(".")} <= allowed


def test_the_package_holds_every_file_and_no_machine_code(tmp_path: Path) -> None:
    asked = {key: value for key, value in os.environ.items() if key != "HATCH_BUILD_HOOKS_ENABLE"}
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(build, cwd=ROOT, env=asked, capture_output=True, check=True)
    (wheel,) = tmp_path.iterdir()
    held = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    sources = (path for path in (ROOT / "simulator").rglob("*") if path.is_file() and path.suffix != ".pyc")
    assert held == {path.relative_to(ROOT).as_posix() for path in sources}
    assert not [name for name in held if name.endswith((".so", ".pyd"))]


def test_what_is_compiled_is_there() -> None:
    """A file that was renamed would be interpreted from then on, and nobody would know."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    hook = settings["tool"]["hatch"]["build"]["targets"]["wheel"]["hooks"]["mypyc"]
    assert not [one for one in (*hook["include"], *hook["exclude"]) if not any(ROOT.rglob(one.removeprefix("/")))]


def test_no_machine_path_is_tracked() -> None:
    listed = run("git", "ls-files").stdout.split()
    pattern = re.compile(r"/(?:work|tmp|root|farm)/")
    wrong = [
        name
        for name in listed
        if Path(name).suffix in {".py", ".md", ".toml", ".txt", ".csv", ".json", ".geojson", ".html", ".j2", ".svg"}
        and (ROOT / name).is_file()
        and pattern.search((ROOT / name).read_text(encoding="utf-8", errors="replace"))
    ]
    assert not wrong


def readme_commands() -> list[str]:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"<!-- example -->\n```(?:sh|bash)\n(.*?)```", text, flags=re.DOTALL)
    return [line for block in blocks for line in block.splitlines() if line.strip() and not line.startswith("#")]


def test_readme_examples_run(tmp_path: Path) -> None:
    """Every line of the README's example blocks runs from a copy of the shipped scenarios, and ends well."""
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    command = Path(sys.executable).parent / "acreday"
    lines = readme_commands()
    assert lines, "the README has no example block"
    for line in lines:
        assert line.startswith("acreday "), line
        done = subprocess.run(
            line.replace("acreday ", f"{command} ", 1),
            shell=True,
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, f"{line}\n{done.stdout}\n{done.stderr}"
        assert "Traceback" not in done.stderr


def test_readme_python_example_runs(tmp_path: Path) -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```python\n(.*?)```", text, flags=re.DOTALL)
    assert blocks
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    for block in blocks:
        done = subprocess.run([sys.executable, "-c", block], cwd=tmp_path, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
