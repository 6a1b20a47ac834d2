"""Results to show, and a real browser to show them in."""

import functools
import json
import os
import shutil
import tomllib
from pathlib import Path
from types import SimpleNamespace

import pytest

from simulator import load_scenario, run, simulate_day
from simulator.analysis.day_record import day_record
from simulator.experiment.run import make_plans

ROOT = Path(__file__).resolve().parents[2]
SCENARIOS = ROOT / "scenarios"
HOSTILE = ("<img src=x onerror=window.hit=1>", "</script><script>window.hit=1</script>", '"><svg onload=window.hit=1>')
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


def make_stored(source, runs=4, one_more_runs=0, settings=(), folder=None):
    """Return a result of mornings as it is read back from its folder: documents pass through JSON once."""
    loaded = load_scenario(source, ["day.last_landing=10:30", *settings], folder=folder)
    result = run(loaded, runs=runs, one_more_runs=one_more_runs)
    document = result.to_json() | {"units": loaded.base.units, "day_start_s": loaded.base.day.start}
    manifest = {
        "acreday_version": "0.1.0",
        "python": "3.11",
        "packages": {"simpy": "4.1"},
        "engine": "simpy",
        "created": "2026-01-01T00:00:00+00:00",
        "duration_s": 1.5,
        "command": "acreday run scenario.toml",
        "seed": result.seed,
        "runs": {entry.name: entry.runs for entry in result.sets},
        "scenario_sha256": loaded.digest(),
        "files": {},
        "resolved": {entry.name: entry.resolved for entry in loaded.sets},
    }
    records = {plan.name: day_record(plan, simulate_day(loaded, plan.name)) for plan in make_plans(loaded)}
    return SimpleNamespace(
        document=json.loads(json.dumps(document, allow_nan=False)),
        runs=result.runs,
        time_use=result.time_use,
        bottleneck=result.bottleneck,
        manifest=json.loads(json.dumps(manifest, allow_nan=False)),
        day_records=json.loads(json.dumps(records, allow_nan=False)),
    )


@functools.cache
def third_pack_stored():
    return make_stored(SCENARIOS / "third_pack.toml", runs=6, one_more_runs=2)


@functools.cache
def hostile_stored():
    """Return a result whose every free text tries to become markup or script."""
    table = tomllib.loads((SCENARIOS / "third_pack.toml").read_text(encoding="utf-8"))
    table["title"] = table["notes"] = HOSTILE[1] + HOSTILE[0]
    for place, field in enumerate(table["field"]):
        field["name"] = HOSTILE[place]
    table["equipment_set"] = {HOSTILE[0]: {}, HOSTILE[1]: {"rig": {"main": {"packs": {"large_pack": 3}}}}}
    return make_stored(table, runs=3, folder=SCENARIOS)


def missing(reason):
    """Skip where a tool is missing, except in continuous integration, where it must be there."""
    if os.environ.get("CI"):
        pytest.fail(f"{reason}; continuous integration must install it")
    pytest.skip(reason)


def start_browser(profile):
    """Return a headless Chromium with an own profile, logging its console and its network."""
    browser = shutil.which("chromium")
    service = shutil.which("chromedriver")
    if browser is None or service is None:
        missing("chromium and its driver are not installed (Debian packages chromium, chromium-driver)")
    try:
        from selenium import webdriver
    except ImportError:
        missing("selenium is not installed")
    options = webdriver.ChromeOptions()
    options.binary_location = browser
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return webdriver.Chrome(options=options, service=webdriver.ChromeService(service))


def axe_source():
    """Return axe-core's script, from the folder in AXE_CORE or from node_modules at the repository's root."""
    folder = Path(os.environ.get("AXE_CORE") or ROOT / "node_modules" / "axe-core")
    script = folder / "axe.min.js"
    if not script.is_file():
        missing("axe-core is not installed (npm install axe-core, or AXE_CORE=its folder)")
    return script.read_text(encoding="utf-8")


def set_width(driver, width):
    """Give the page a width in CSS pixels."""
    size = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": False}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


def outside_requests(driver):
    """Return every address that was asked for, other than files and data in the page."""
    asked = []
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            asked.append(message["params"]["request"]["url"])
    return [url for url in asked if not url.startswith(("file:///", "data:", "about:"))]
