"""The house rules as tests: lint, types, layers, words that must not be here, and the README's examples."""

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
from command_line import call, copy_scenarios, shortened

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ["physics", "scenario", "plan", "operation", "analysis", "experiment", "study", "report", "page", "command"]
"""From the ground up; a room may import only rooms below it."""
MAY_USE = {room: set(ROOMS[:place]) for place, room in enumerate(ROOMS)}
MAY_USE["report"].discard("operation")
MAY_USE["page"].discard("operation")


def run(*arguments):
    return subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    "check", [("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy",)], ids=["lint", "format", "types"]
)
def test_a_checker_finds_nothing(check):
    done = run(sys.executable, "-m", *check)
    assert done.returncode == 0, done.stdout


def imports(path, for_types=True):
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
def test_no_room_imports_a_higher_one(room):
    wrong = set()
    for path in (ROOT / "simulator" / room).rglob("*.py"):
        for name in imports(path):
            parts = name.split(".")
            if parts[0] != "simulator" or len(parts) < 2 or parts[1] not in ROOMS or parts[1] == room:
                continue
            if parts[1] not in MAY_USE[room]:
                wrong.add(f"{path.relative_to(ROOT)} imports {'.'.join(parts[:3])}")
    assert not wrong, "\n".join(sorted(wrong))


def test_no_circle_of_files():
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


def test_operation_uses_no_private_name_of_simpy(tmp_path):
    """No private attribute is read but of ``self``, no class is made from SimPy's, and none of its names is taken."""
    rules = ["--select", "SLF001,PLC2701", "--preview"]
    done = run(sys.executable, "-m", "ruff", "check", *rules, "simulator/operation")
    assert done.returncode == 0, done.stdout
    for path in OPERATION:
        nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
        foreign = {
            alias.asname or alias.name
            for node in nodes
            if isinstance(node, ast.Import | ast.ImportFrom)
            for alias in node.names
            if (getattr(node, "module", None) or alias.name).split(".")[0] == "simpy"
        }
        bases = {
            ast.unparse(base).split(".")[0] for node in nodes if isinstance(node, ast.ClassDef) for base in node.bases
        }
        assert not foreign & bases, path.name
    # what the rules see
    bad = tmp_path / "bad.py"
    for line in ("def now(env):\n    return env._now\n", "from simpy.events import _private\n"):
        bad.write_text(line)
        assert run(sys.executable, "-m", "ruff", "check", *rules, str(bad)).returncode == 1


def test_operation_is_small():
    lines = {path.name: len(path.read_text(encoding="utf-8").splitlines()) for path in OPERATION}
    assert not {name: count for name, count in lines.items() if count > 350}
    assert sum(lines.values()) <= 4000


def test_reports_take_nothing_of_the_model_even_for_types():
    texts = {path.name: path.read_text(encoding="utf-8") for path in (ROOT / "simulator/report").rglob("*.py")}
    assert not [name for name, text in texts.items() if "simulator.operation" in text]


@pytest.mark.parametrize(
    ("package", "rooms"),
    [
        ("simpy", {"operation"}),
        ("matplotlib", {"report"}),
        ("jinja2", {"report", "page"}),
        ("tomlkit", {"page"}),
        ("starlette", {"page"}),
        ("uvicorn", {"page"}),
        ("fpdf", {"report"}),
        ("pint", {"scenario"}),
    ],
)
def test_a_package_is_used_in_one_room(package, rooms):
    used = {
        path.relative_to(ROOT / "simulator").parts[0]
        for path in (ROOT / "simulator").rglob("*.py")
        if any(name.split(".")[0] == package for name in imports(path, for_types=False))
    }
    assert used == rooms


def test_nothing_goes_round_the_stream_that_is_cleaned():
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


def test_top_level_holds_only_what_it_may():
    listed = run("git", "ls-files").stdout.split()
    if not listed:
        pytest.skip("not a git checkout")
    allowed = {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", "hatch_build.py"}
    allowed |= {"simulator", "scenarios", "tests", "reports"}
    top = {name.split("/")[0] for name in listed}
    assert {name for name in top if not name.startswith(".")} <= allowed


def test_the_package_holds_every_file_and_no_machine_code(tmp_path):
    asked = {key: value for key, value in os.environ.items() if key != "HATCH_BUILD_HOOKS_ENABLE"}
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(build, cwd=ROOT, env=asked, capture_output=True, check=True)
    (wheel,) = tmp_path.iterdir()
    held = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    sources = (path for path in (ROOT / "simulator").rglob("*") if path.is_file() and path.suffix != ".pyc")
    assert held == {path.relative_to(ROOT).as_posix() for path in sources}
    assert not [name for name in held if name.endswith((".so", ".pyd"))]


def test_what_is_compiled_is_there():
    """A file that was renamed would be interpreted from then on, and nobody would know."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    hook = settings["tool"]["hatch"]["build"]["targets"]["wheel"]["hooks"]["mypyc"]
    assert not [one for one in (*hook["include"], *hook["exclude"]) if not any(ROOT.rglob(one.removeprefix("/")))]


def test_no_machine_path_is_tracked():
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


def readme_blocks(pattern):
    return re.findall(pattern, (ROOT / "README.md").read_text(encoding="utf-8"), flags=re.DOTALL)


def test_readme_examples_run(tmp_path, monkeypatch, capsys):
    """Every line of the README's example blocks runs from a copy of the shipped scenarios, and ends well."""
    copy_scenarios(tmp_path)
    monkeypatch.chdir(tmp_path)
    blocks = readme_blocks(r"<!-- example -->\n```(?:sh|bash)\n(.*?)```")
    lines = [line for block in blocks for line in block.splitlines() if line.strip() and not line.startswith("#")]
    assert lines, "the README has no example block"
    for line in lines:
        assert line.startswith("acreday ")
        assert call(*shortened(line)) == 0, f"{line}\n{capsys.readouterr()}"


def test_readme_python_example_runs(tmp_path):
    blocks = readme_blocks(r"```python\n(.*?)```")
    assert blocks
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    for block in blocks:
        done = subprocess.run([sys.executable, "-c", block], cwd=tmp_path, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
