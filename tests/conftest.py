"""Settings of every test run.

Each simulated day is checked for conservation. Hypothesis keeps no examples on disk, and takes the same ones each time:
new ones are for the fuzz and soak runs. Of several test processes, one has all tests that share what is dear to make.
"""

import atexit
import importlib
import os
import random
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

os.environ.setdefault("ACREDAY_VERIFY", "conservation_job:verify_run")
# for commands that run in processes of their own
os.environ["PYTHONPATH"] = os.pathsep.join(
    filter(None, [str(Path(__file__).parent / "operation"), os.environ.get("PYTHONPATH")])
)
if "ACREDAY_TEST_REHEARSALS" not in os.environ:
    os.environ["ACREDAY_TEST_REHEARSALS"] = tempfile.mkdtemp(prefix="acreday_rehearsals_")
    atexit.register(shutil.rmtree, os.environ["ACREDAY_TEST_REHEARSALS"], ignore_errors=True)
    # the same in all test processes, or none would know another's plans
    os.environ.setdefault("PYTHONHASHSEED", str(random.randrange(2**32)))
shared_rehearsals = importlib.import_module("shared_rehearsals")

settings.register_profile(
    "acreday",
    deadline=None,
    database=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.load_profile("acreday")

QUICK_ROOMS = ("report", "analysis", "scenario")
"""Tests for which it is no matter how well a crew has learnt: it rehearses shortly."""
WHOLE_ROOMS = ("report", "page", "validation", "experiment")
"""Tests of one process: they share results, a server, a browser."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    from xdist.scheduler import LoadScopeScheduling

    class ByWhatIsShared(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            file = nodeid.partition("::")[0]
            room = file.split("/")[-2]
            return room if room in WHOLE_ROOMS else file if room == "study" else nodeid

    return ByWhatIsShared(config, log)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item):
    quick = item.path.parent.name in QUICK_ROOMS
    shared_rehearsals.rehearsal._HEATS = shared_rehearsals.QUICK if quick else shared_rehearsals.FULL


@pytest.fixture(scope="module")
def driver(tmp_path_factory):
    """A headless browser."""
    from browser_support import start_browser

    driver = start_browser(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()
