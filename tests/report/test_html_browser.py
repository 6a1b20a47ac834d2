"""The report in a real browser: quiet console, no network, a replay that runs, phone width, accessible, inert names."""

import json

import pytest
from browser_support import (
    SCENARIOS,
    axe_source,
    hostile_stored,
    make_stored,
    outside_requests,
    set_width,
    third_pack_stored,
)
from click.testing import CliRunner

from simulator.cli import group
from simulator.report.html import write_report
from simulator.report.html_comparison import write_comparison
from simulator.report.html_study import write_study

WIDTHS = (360, 768, 1280)
PAGES = ("third_pack", "willow_basin", "hostile", "comparison", "study")


@pytest.fixture(scope="module")
def results(driver):
    """Asks for the browser first, so that nothing is simulated where it is missing."""
    return {
        "third_pack": third_pack_stored(),
        "willow_basin": make_stored(SCENARIOS / "willow_basin.toml", runs=3, settings=["units=metric"]),
        "hostile": hostile_stored(),
    }


@pytest.fixture(scope="module")
def pages(results, tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    for name, stored in results.items():
        write_report(stored, folder / f"{name}.html")
    write_comparison([results["third_pack"], results["hostile"]], folder / "comparison.html")
    sources = [str(SCENARIOS / one) for one in ("third_pack.toml", "stopwatch_times.csv")]
    assert CliRunner().invoke(group, ["fit", *sources, "--quiet", "--out", str(folder / "fit")]).exit_code == 0
    write_study(folder / "fit", folder / "study.html")
    return {name: (folder / f"{name}.html").as_uri() for name in PAGES}


def open_page(driver, pages, name, width=1280):
    driver.get_log("browser")
    driver.get_log("performance")
    set_width(driver, width)
    driver.get(pages[name])


def unfold(driver):
    driver.execute_script("document.querySelectorAll('details').forEach((part) => { part.open = true; })")


def time_s(driver):
    """Seconds after midnight that the clock shows."""
    return float(driver.execute_script("return document.getElementById('replay').dataset.timeS"))


def cursors(driver):
    """Return where the cursor stands in the lanes of every day, each in its own figure's units."""
    return driver.execute_script(
        "return [...document.querySelectorAll('.cursor')].map((line) => +line.getAttribute('x1'))"
    )


def scrub_to(driver, seconds):
    driver.execute_script(
        "const range = document.getElementById('replay-scrub'); range.value = arguments[0];"
        "range.dispatchEvent(new Event('input'))",
        seconds,
    )


LABELS = {"two_packs": "2 packs", "four_packs": "4 packs", "one_aircraft": "1 aircraft"}
"""Of the shipped scenarios' sets."""


def choose_set(driver, name, view=0):
    from selenium.webdriver.support.ui import Select

    Select(driver.find_elements("css selector", ".view .set")[view]).select_by_visible_text(LABELS.get(name, name))


def map_pixels(driver, view=0):
    return driver.execute_script("return document.querySelectorAll('.map')[arguments[0]].toDataURL()", view)


@pytest.mark.parametrize("name", PAGES)
def test_console_is_quiet_and_nothing_is_asked_for(driver, pages, name):
    open_page(driver, pages, name)
    assert driver.get_log("browser") == []
    assert outside_requests(driver) == []


@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_wider_than_the_page(driver, pages, name):
    open_page(driver, pages, name)
    unfold(driver)
    for width in WIDTHS:
        set_width(driver, width)
        wide, room = driver.execute_script(
            "return [document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert wide <= room, f"at {width} px"


@pytest.mark.parametrize("name", ["third_pack", "willow_basin"])
def test_the_replay_runs_and_stops(driver, pages, name):
    from selenium.webdriver.support.ui import WebDriverWait

    open_page(driver, pages, name)
    button = driver.find_element("id", "replay-play")
    before, picture = time_s(driver), map_pixels(driver)
    button.click()
    WebDriverWait(driver, 20).until(lambda driver: time_s(driver) > before + 300)
    assert button.text == "Pause"
    button.click()
    stopped = time_s(driver)
    assert button.text == "Play"
    assert map_pixels(driver) != picture
    assert driver.execute_script(
        "return new Promise((done) => setTimeout(() => done(document.getElementById('replay').dataset.timeS), 300))"
    ) == str(stopped)
    assert driver.get_log("browser") == []


@pytest.mark.parametrize("name", ["third_pack", "willow_basin"])
def test_scrubbing_shows_the_time_chosen(driver, pages, results, name):
    chosen, record = next(iter(results[name].day_records.items()))
    open_page(driver, pages, name)
    choose_set(driver, chosen)
    flight = record["sorties"][len(record["sorties"]) // 2]
    middle = round(0.5 * (flight["start_s"] + flight["end_s"]), -1)
    middle += record["day_start_s"]
    scrub_to(driver, middle)
    assert time_s(driver) == middle
    clock = driver.find_element("id", "replay-clock").text
    hours, minutes, seconds = (int(part) for part in clock.split(":"))
    assert hours * 3600 + minutes * 60 + seconds == middle
    aircraft = driver.find_elements("css selector", ".view .aircraft li")[flight["aircraft"]]
    assert record["fields"][flight["field"]]["name"] in aircraft.text
    assert driver.find_element("id", "replay-scrub").get_attribute("aria-valuetext") == clock


def test_at_the_end_of_the_day_everything_flown_is_done(driver, pages, results):
    open_page(driver, pages, "third_pack")
    record = results["third_pack"].day_records["two_packs"]
    choose_set(driver, "two_packs")
    scrub_to(driver, record["day_start_s"] + record["end_s"] + 10)
    done = float(driver.find_element("css selector", ".done").text.split(" ")[0])
    assert done == pytest.approx(record["totals"]["acres"], abs=0.51)


def test_keys_and_choices_work(driver, pages):
    from selenium.webdriver.common.keys import Keys
    from selenium.webdriver.support.ui import Select

    open_page(driver, pages, "third_pack")
    scrub_to(driver, 30600)
    scrub = driver.find_element("id", "replay-scrub")
    scrub.send_keys(Keys.ARROW_RIGHT)
    assert time_s(driver) == 30610
    driver.find_element("id", "replay-on").send_keys(Keys.ENTER)
    assert time_s(driver) == 30910
    driver.find_element("id", "replay-back").send_keys(Keys.SPACE)
    assert time_s(driver) == 30610
    whole = map_pixels(driver)
    Select(driver.find_element("css selector", ".where")).select_by_index(1)
    assert map_pixels(driver) != whole
    choose_set(driver, "four_packs")
    assert len(driver.find_elements("css selector", ".view:first-child .packs li")) == 4


def test_two_sets_run_side_by_side_on_one_clock(driver, pages, results):
    open_page(driver, pages, "third_pack")
    records = results["third_pack"].day_records
    assert len({(one["run"], one["work_day"]) for one in records.values()}) == 1
    for view, name in enumerate(("two_packs", "four_packs")):
        choose_set(driver, name, view)
    scrub_to(driver, 1e9)
    done = [float(one.text.split(" ")[0]) for one in driver.find_elements("css selector", ".done")]
    assert done == [pytest.approx(records[name]["totals"]["acres"], abs=0.51) for name in ("two_packs", "four_packs")]
    choose_set(driver, "none", 1)
    assert len([one for one in driver.find_elements("css selector", ".map") if one.is_displayed()]) == 1


def test_one_cursor_moves_in_replay_and_lanes_which_zoom(driver, pages):
    from selenium.webdriver.support.ui import Select

    open_page(driver, pages, "third_pack")
    scrub_to(driver, 30600)
    before = cursors(driver)
    scrub_to(driver, 34200)
    assert len(before) == 6
    assert all(old < new for old, new in zip(before, cursors(driver), strict=True))
    Select(driver.find_element("id", "replay-zoom")).select_by_value("1")
    x0, x1, *_, begin, until = map(
        float, driver.find_element("css selector", "svg.wide[data-clock]").get_attribute("data-clock").split()
    )
    assert cursors(driver)[0] == pytest.approx(0.5 * (x0 + x1))
    # the lanes show an hour about the cursor: a quarter of their width to the right lies a quarter of an hour later
    lanes = driver.find_element("css selector", "svg.wide[data-clock]")
    driver.execute_script(
        "const svg = arguments[0], point = new DOMPoint(arguments[1], 50).matrixTransform(svg.getScreenCTM());"
        "svg.dispatchEvent(new PointerEvent('pointerdown', {clientX: point.x, clientY: point.y}))",
        lanes,
        x0 + 0.75 * (x1 - x0),
    )
    assert time_s(driver) == pytest.approx(34200 + 900, abs=1)
    assert begin < 34200 < until


def test_reduced_motion_moves_in_single_steps(driver, pages):
    from selenium.webdriver.support.ui import WebDriverWait

    reduce = {"features": [{"name": "prefers-reduced-motion", "value": "reduce"}]}
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", reduce)
    try:
        open_page(driver, pages, "third_pack")
        scrub_to(driver, 30600)
        button = driver.find_element("id", "replay-play")
        button.click()
        WebDriverWait(driver, 20).until(lambda driver: time_s(driver) > 30600)
        button.click()
        assert (time_s(driver) - 30600) % 300 == 0
    finally:
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def test_without_script_the_lanes_stand_in(driver, pages):
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        open_page(driver, pages, "third_pack")
        assert not driver.find_element("id", "replay").is_displayed()
        assert "needs JavaScript" in driver.find_element("tag name", "noscript").text
        lanes = [svg for svg in driver.find_elements("css selector", "#day svg.wide") if svg.is_displayed()]
        assert len(lanes) >= 1
    finally:
        driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


@pytest.mark.parametrize("name", PAGES)
def test_no_accessibility_fault(driver, pages, name):
    source = axe_source()
    open_page(driver, pages, name, 1280 if name == "willow_basin" else 360)
    unfold(driver)
    driver.execute_script(source)
    found, passed = driver.execute_async_script(
        "const done = arguments[0];"
        "axe.run({resultTypes: ['violations']}).then((report) => done([report.violations, report.passes.length]))"
    )
    assert passed > 10
    faults = [(one["id"], one["help"], [node["html"][:160] for node in one["nodes"][:3]]) for one in found]
    assert faults == [], json.dumps(faults, indent=1)


@pytest.mark.parametrize("name", ["hostile", "comparison"])
def test_names_that_look_like_script_stay_names(driver, pages, name):
    open_page(driver, pages, name)
    unfold(driver)
    if name != "comparison":
        scrub_to(driver, 30600)
        driver.find_element("id", "replay-on").click()
    assert driver.execute_script("return window.hit") is None
    assert driver.find_elements("css selector", "img, [onload], [onerror]") == []
    assert "window.hit=1" in driver.find_element("tag name", "body").text
    assert driver.get_log("browser") == []
