"""Every command of scenarios/README.md runs as it stands there, from a folder with the shipped scenarios, in order."""

import re
import shlex
import shutil

import pytest
from command_line import ROOT, call

SHORTENED = {
    "run": 4, "payoff": 20, "size": 50, "compare": 4, "fragmentation": 3, "sensitivity": 4, "hindcast": 20,
    "ladder": 12,
}  # fmt: skip
"""Commands whose days are cut down here to keep the tests quick; the README's own numbers are for people."""


def sections():
    text = (ROOT / "scenarios/README.md").read_text(encoding="utf-8")
    found = []
    for part in re.split(r"^#{2,3} ", text, flags=re.MULTILINE)[1:]:
        title, _, body = part.partition("\n")
        lines = [line.strip() for line in body.splitlines() if line.startswith("    acreday ")]
        if lines:
            found.append((title.strip(), lines))
    return found


def shortened(line):
    words = shlex.split(line)
    days = SHORTENED.get(words[1])
    if days is not None:
        if "--runs" in words:
            words[words.index("--runs") + 1] = str(days)
        else:
            words += ["--runs", str(days)]
    if words[1] == "run":
        words += ["--one-more-runs", "2", "--force"]
    return words[1:]


USERS = ("owner", "researcher", "dealer")


def test_readme_has_the_three_users():
    titles = " ".join(title for title, _ in sections())
    assert all(user in titles for user in USERS)


def cases():
    """Return the walk-throughs of the three users for the ordinary tests; those by scenario are marked slow."""
    for title, lines in sections():
        ordinary = any(user in title for user in USERS)
        yield pytest.param(lines, id=title, marks=[] if ordinary else [pytest.mark.slow])


@pytest.mark.parametrize("lines", list(cases()))
def test_walk_through_runs(tmp_path, monkeypatch, capsys, lines):
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    shutil.copy(ROOT / "scenarios/fields_willow_basin.geojson", tmp_path / "my_fields.geojson")
    monkeypatch.chdir(tmp_path)
    # conservation of these scenarios' days is checked in tests/scenario/test_shipped.py
    monkeypatch.delenv("ACREDAY_VERIFY", raising=False)
    for line in lines:
        assert call(*shortened(line)) == 0, f"{line}\n{capsys.readouterr()}"
        assert capsys.readouterr().out.strip() or "report" in line or "quote" in line
