"""A page on an empty folder; its new jobs have short days, and their processes begin as copies of one that is ready."""

import multiprocessing

import pytest
from page_support import served

from simulator.page import desk, live


@pytest.fixture(scope="session", autouse=True)
def quick():
    whole, copies = desk.starter_text, multiprocessing.get_context("forkserver")
    copies.set_forkserver_preload(
        ["shared_rehearsals", "simulator.experiment.run", "simulator.report.result_folder", "simulator.page.worker"]
    )
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(desk, "starter_text", lambda *told: whole(*told).replace('"18:00"', '"10:00"'))
        patched.setattr(live, "_SPAWN", copies)
        yield


@pytest.fixture
def page(tmp_path):
    found = served(tmp_path)
    yield found
    found.server.close()
