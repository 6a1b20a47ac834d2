"""Which model simulates: told from what is loaded, and its sources from any others."""

import shutil
from types import FunctionType

from simulator.experiment import engine
from simulator.operation.day import simulate


def test_the_form_is_told_from_what_is_loaded():
    assert engine.engine() == f"simpy, {'interpreted' if isinstance(simulate, FunctionType) else 'compiled'}"


def test_a_changed_source_has_another_digest(tmp_path):
    copy = tmp_path / "simulator"
    shutil.copytree(engine.PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    found = [engine.digest(copy)]
    for change in (
        lambda: (copy / "report" / "text.py").unlink(),
        lambda: (copy / "operation" / "more.py").touch(),
        lambda: (copy / "physics" / "pack.py").open("a").write("# a change\n"),
    ):
        change()
        found.append(engine.digest(copy))
    assert found[0] == found[1] == engine.digest()
    assert len(set(found)) == 3
