"""A working directory with one scenario, and one with its result."""

import contextlib
import shutil

import pytest
from command_line import RUN, call

from simulator.scenario.starter import starter_text


@pytest.fixture
def folder(tmp_path, monkeypatch):
    (tmp_path / "mine.toml").write_text(starter_text("mine"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="session")
def _made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made")
    (folder / "mine.toml").write_text(starter_text("mine"), encoding="utf-8")
    with contextlib.chdir(folder):
        assert call(*RUN, "--runs", "2") == 0
    return folder / "out"


@pytest.fixture
def with_result(folder, _made):
    """Return the directory with a result of two runs in ``out``."""
    shutil.copytree(_made, folder / "out")
    return folder
