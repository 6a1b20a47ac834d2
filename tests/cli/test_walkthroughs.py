"""Every command of scenarios/README.md runs as it stands there, from a folder with the shipped scenarios, in order."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ACREDAY = str(Path(sys.executable).parent / "acreday")
SHORTENED = {
    "run": 4,
    "payoff": 20,
    "size": 50,
    "compare": 4,
    "fragmentation": 3,
    "sensitivity": 4,
    "hindcast": 20,
    "ladder": 12,
}
"""Commands whose days are cut down here to keep the tests quick; the README's own numbers are for people."""


def sections() -> list[tuple[str, list[str]]]:
    text = (ROOT / "scenarios/README.md").read_text(encoding="utf-8")
    found = []
    for part in re.split(r"^#{2,3} ", text, flags=re.MULTILINE)[1:]:
        title, _, body = part.partition("\n")
        lines = [line.strip() for line in body.splitlines() if line.startswith("    acreday ")]
        if lines:
            found.append((title.strip(), lines))
    return found


def shortened(line: str) -> list[str]:
    words = shlex.split(line)
    days = SHORTENED.get(words[1])
    if days is not None:
        if "--runs" in words:
            words[words.index("--runs") + 1] = str(days)
        else:
            words += ["--runs", str(days)]
    if words[1] == "run":
        words += ["--one-more-runs", "2", "--force"]
    return [ACREDAY, *words[1:]]


def test_readme_has_the_three_users() -> None:
    titles = " ".join(title for title, _ in sections())
    for user in ("owner", "researcher", "dealer"):
        assert user in titles


def cases() -> list[object]:
    """Return the walk-throughs of the three users for the ordinary tests; those by scenario are marked slow."""
    users = ("owner", "researcher", "dealer")
    return [
        pytest.param(title, lines, id=title, marks=[] if any(user in title for user in users) else [pytest.mark.slow])
        for title, lines in sections()
    ]


@pytest.mark.parametrize(("title", "lines"), cases())
def test_walk_through_runs(tmp_path: Path, title: str, lines: list[str]) -> None:
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    shutil.copy(ROOT / "scenarios/fields_willow_basin.geojson", tmp_path / "my_fields.geojson")
    # conservation of these scenarios' days is checked in tests/scenario/test_shipped.py
    environment = {key: value for key, value in os.environ.items() if key != "ACREDAY_VERIFY"}
    for line in lines:
        done = subprocess.run(
            shortened(line), cwd=tmp_path, capture_output=True, text=True, check=False, env=environment, timeout=300
        )
        assert done.returncode == 0, f"{line}\n{done.stdout}\n{done.stderr}"
        assert "Traceback" not in done.stderr
        assert done.stdout.strip() or "report" in line or "quote" in line
