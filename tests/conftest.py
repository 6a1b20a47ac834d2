"""Settings of every test run.

Each simulated day is checked for conservation. Hypothesis keeps no examples on disk, and takes the same ones each time:
new ones are for the fuzz and soak runs.
"""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

os.environ.setdefault("ACREDAY_VERIFY", "conservation_job:verify_run")
# for commands that run in processes of their own
os.environ["PYTHONPATH"] = os.pathsep.join(
    filter(None, [str(Path(__file__).parent / "operation"), os.environ.get("PYTHONPATH")])
)

settings.register_profile(
    "acreday",
    deadline=None,
    database=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.load_profile("acreday")


@pytest.fixture(scope="module")
def driver(tmp_path_factory):
    """A headless browser."""
    from browser_support import start_browser

    driver = start_browser(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()
