"""The house rules as tests: lint, types, layers, words that must not be here, and the README's examples."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ["physics", "scenario", "operation", "analysis", "experiment", "study", "report", "command"]
"""From the ground up; a room may import only rooms below it (scenario may use physics; see the exceptions)."""
MAY_USE = {
    "physics": set(),
    "scenario": {"physics"},
    "operation": {"physics", "scenario", "experiment.streams"},
    "analysis": {"physics", "scenario", "operation"},
    "experiment": {"physics", "scenario", "operation", "analysis"},
    "study": {"physics", "scenario", "operation", "analysis", "experiment"},
    "report": {"physics", "scenario", "operation", "analysis", "experiment", "study"},
    "command": {"physics", "scenario", "operation", "analysis", "experiment", "study", "report"},
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


def imports(path: Path) -> set[str]:
    names = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            node.body = []  # imported for types only
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return names


@pytest.mark.parametrize("room", ROOMS)
def test_no_room_imports_a_higher_one(room: str) -> None:
    wrong = []
    for path in (ROOT / "simulator" / room).rglob("*.py"):
        for name in imports(path):
            parts = name.split(".")
            if parts[0] != "simulator" or len(parts) < 2 or parts[1] not in ROOMS or parts[1] == room:
                continue
            if parts[1] not in MAY_USE[room] and ".".join(parts[1:3]) not in MAY_USE[room]:
                wrong.append(f"{path.relative_to(ROOT)} imports {name}")
    assert not wrong


@pytest.mark.parametrize(
    ("package", "rooms"),
    [("simpy", {"operation"}), ("matplotlib", {"report"}), ("jinja2", {"report"}), ("pint", {"scenario"})],
)
def test_a_package_is_used_in_one_room(package: str, rooms: set[str]) -> None:
    used = {
        path.relative_to(ROOT / "simulator").parts[0]
        for path in (ROOT / "simulator").rglob("*.py")
        if any(name.split(".")[0] == package for name in imports(path))
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
        "simulator",
        "scenarios",
        "tests",
        "reports",
    }
    top = {name.split("/")[0] for name in listed}
    assert {name for name in top if not name.startswith(".")} <= allowed


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
