"""Every command of scenarios/README.md runs as it stands there, from a folder with the shipped scenarios, in order.

But for the planning page, which runs until it is stopped (tests/page/test_serve.py).
"""

import re
import shutil

import pytest
from command_line import ROOT, call, copy_scenarios, shortened


def sections():
    text = (ROOT / "scenarios/README.md").read_text(encoding="utf-8")
    found = []
    for part in re.split(r"^#{2,3} ", text, flags=re.MULTILINE)[1:]:
        title, _, body = part.partition("\n")
        lines = [line.strip() for line in body.splitlines() if re.match("    acreday (?!page )", line)]
        if lines:
            found.append((title.strip(), lines))
    return found


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
    copy_scenarios(tmp_path)
    shutil.copy(ROOT / "scenarios/fields_willow_basin.geojson", tmp_path / "my_fields.geojson")
    monkeypatch.chdir(tmp_path)
    for line in lines:
        assert call(*shortened(line)) == 0, f"{line}\n{capsys.readouterr()}"
        assert capsys.readouterr().out.strip() or "report" in line or "quote" in line
