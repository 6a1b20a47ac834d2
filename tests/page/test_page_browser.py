"""The planning page in a real browser: the dealer's whole way, and what may go wrong on it."""

import json
import os
import signal
import threading
import tomllib
from contextlib import suppress
from types import SimpleNamespace

import pytest
import uvicorn
from browser_support import SCENARIOS, axe_source, outside_requests, set_width
from page_support import PRICES, SECRET, SEVENTEEN, pid_of, wait_for

from simulator.page.app import Server
from simulator.page.safety import Guard
from simulator.page.serve import hosts_of, open_socket

WIDTHS = (360, 1366)


@pytest.fixture(scope="module")
def site(driver, tmp_path_factory):
    """A server of an empty folder, and its address."""
    folder = tmp_path_factory.mktemp("jobs")
    listening = open_socket("127.0.0.1", 0)
    port = listening.getsockname()[1]
    server = Server(folder, workers=1, runs=3)
    server.store.write_prices(PRICES)
    config = uvicorn.Config(
        Guard(server.app(), SECRET, hosts_of("127.0.0.1", port)),
        log_level="error",
        lifespan="off",
        timeout_graceful_shutdown=1,
    )
    running = uvicorn.Server(config)
    server.ending = lambda: running.should_exit
    thread = threading.Thread(target=running.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    server.live.warm()
    address = f"http://127.0.0.1:{port}"
    driver.get(f"{address}/?secret={SECRET}")
    wait_for(lambda: "new job" in driver.page_source)
    yield SimpleNamespace(server=server, address=address, folder=folder)
    running.should_exit = True
    thread.join(10.0)
    server.close()


@pytest.fixture(autouse=True)
def quiet(driver, site):
    """No test may leave an error in the console, or have asked for anything elsewhere."""
    driver.get_log("browser")
    driver.get_log("performance")
    yield
    asked = [url for url in outside_requests(driver) if not url.startswith((site.address, "blob:"))]
    assert asked == []
    # refusals are answered with codes of their own, which the browser notes
    told = [one["message"] for one in driver.get_log("browser") if " 422 " not in one["message"]]
    assert [one for one in told if " 409 " not in one and " 404 " not in one and " 401 " not in one] == []


def find(driver, selector):
    return wait_for(lambda: driver.find_elements("css selector", selector))[0]


def press(driver, selector):
    """Click what may be replaced at any time."""
    wait_for(
        lambda: driver.execute_script(
            "return [document.querySelector(arguments[0])].map((one) => one && (one.click(), true))[0]", selector
        )
    )


def text_of(driver, selector):
    return driver.execute_script("return document.querySelector(arguments[0])?.textContent || ''", selector)


def shows(driver, selector, words):
    return wait_for(lambda: words in text_of(driver, selector))


def box(driver, *at, give="one"):
    """Return the input of a place of the scenario, or what a script says of it: another may be in its place next."""
    script = (
        "const one = [...document.querySelectorAll('input[data-at], select[data-at]')].find((one) => "
        f"JSON.stringify(JSON.parse(one.dataset.at)) === arguments[0]); return one && [{give}]"
    )
    (found,) = wait_for(lambda: driver.execute_script(script, json.dumps(at, separators=(",", ":"))))
    return found


def type_in(driver, value, *at, end="\t"):
    from selenium.common.exceptions import StaleElementReferenceException
    from selenium.webdriver.common.keys import Keys

    def typed():
        # an answer may put another input in its place at any moment
        with suppress(StaleElementReferenceException):
            element = box(driver, *at)
            driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)
            element.send_keys(Keys.CONTROL, "a", Keys.NULL, value, end)
            return True

    wait_for(typed)


def new_job(driver, site, name):
    driver.get(f"{site.address}/")
    find(driver, "#new-name").send_keys(name)
    find(driver, "#new-customer").send_keys("Miller")
    find(driver, "#new button.main").click()
    wait_for(lambda: "/job/" in driver.current_url)
    return f"Miller/{name}"


def paste(driver, text, *at):
    pasting = (
        "(() => {{ const data = new DataTransfer(); data.setData('text/plain', {}); one.focus();"
        "const event = {{clipboardData: data, bubbles: true, cancelable: true}};"
        "one.dispatchEvent(new ClipboardEvent('paste', event)) }})()"
    )
    box(driver, *at, give=pasting.format(json.dumps(text)))


def answered(driver, site, key):
    def decided():
        answer = site.server.live.answer(key)
        return answer.phase == "ready" and answer.digest == site.server.desk.open(key).checked.digest

    wait_for(decided)
    shows(driver, "#answer .now-line", "Decided.")
    wait_for(lambda: driver.find_elements("css selector", "#charts svg"))


def sound(driver, *widths):
    """Say what axe-core finds, and whether anything is wider than the page, light and dark."""
    driver.execute_script(axe_source())
    for width in widths or WIDTHS:
        set_width(driver, width)
        for scheme in ("light", "dark"):
            feature = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
            driver.execute_cdp_cmd("Emulation.setEmulatedMedia", feature)
            found = driver.execute_async_script(
                "const done = arguments[0];"
                "axe.run(document, {iframes: false}).then((found) => done(found.violations.map("
                "(one) => one.id + ': ' + one.nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(' | '))))"
            )
            assert found == [], f"{width} px, {scheme}"
        wide, room = driver.execute_script(
            "const all = document.documentElement; return [all.scrollWidth, all.clientWidth]"
        )
        assert wide <= room, f"{wide} px wide at {width} px"
    set_width(driver, 1366)


def test_the_dealers_way_from_an_empty_folder_to_a_quote(driver, site):
    driver.get(f"{site.address}/")
    shows(driver, "main", "holds no job yet")
    sound(driver)
    key = new_job(driver, site, "River land")
    paste(driver, SEVENTEEN, "field", 0, "name")
    shows(driver, "[data-part=fields]", "17 fields, 683.0 acres")
    assert text_of(driver, "[data-part=equipment]").count("acres a load") == 2
    type_in(driver, "$21,000", "costs", "aircraft", "tank_20_l", "purchase")
    wait_for(lambda: site.server.desk.open(key).checked.tables["costs"]["aircraft"]["tank_20_l"]["purchase"] == 21000)
    answered(driver, site, key)
    assert "40 L aircraft" in text_of(driver, ".answers")
    assert "20 L aircraft" in text_of(driver, ".answers")
    assert "The job takes" in text_of(driver, ".answers")
    wait_for(lambda: "for each acre" in text_of(driver, ".answers"))
    assert "Investment $" in text_of(driver, "[data-part=equipment]")
    find(driver, "#quote-dealer").send_keys("A dealer")
    driver.execute_script("document.querySelector('#quote button.main').click()")
    link = find(driver, "#quote-link")
    begins = driver.execute_async_script(
        "fetch(arguments[0].href).then((one) => one.text()).then((text) => arguments[1](text.slice(0, 4)))", link
    )
    assert begins == "%PDF"
    # the whole report, in its own frame
    driver.execute_script("document.getElementById('whole-report').open = true")
    driver.switch_to.frame(find(driver, "#whole-report iframe"))
    shows(driver, "h1", "River land")
    assert find(driver, "#replay").is_displayed()
    driver.switch_to.default_content()
    sound(driver)


def test_a_bad_value_stays_where_it_was_typed_and_is_not_written(driver, site):
    key = new_job(driver, site, "Bad values")
    before = site.server.store.read(key).content
    type_in(driver, "40 gallons", "field", 0, "area")
    said = f"#{box(driver, 'field', 0, 'area', give='one.id')}-said"
    shows(driver, said, "which is not an area")
    assert box(driver, "field", 0, "area", give="one.value") == "40 gallons"
    assert box(driver, "field", 0, "area", give="one.getAttribute('aria-invalid')") == "true"
    assert site.server.store.read(key).content == before
    # what is saved elsewhere leaves it there
    type_in(driver, "3", "product", "rate")
    wait_for(lambda: "3 gal/acre" in site.server.store.read(key).content)
    shows(driver, "#status", "Saved.")
    assert box(driver, "field", 0, "area", give="one.value") == "40 gallons"
    assert "which is not an area" in text_of(driver, said)
    sound(driver)
    type_in(driver, "50", "field", 0, "area")
    wait_for(lambda: "50 acre" in site.server.store.read(key).content)
    wait_for(lambda: text_of(driver, said) == "")


def test_values_typed_one_after_the_other_are_all_kept(driver, site):
    from selenium.webdriver.common.action_chains import ActionChains

    key = new_job(driver, site, "Fast typing")
    # over the prices of the price list: the first is selected here, the others by the tab key
    box(driver, "costs", "aircraft", "tank_20_l", "purchase", give="(one.focus(), one.select())")
    prices = ["17000", "5", "29000", "5", "1250", "5", "1950", "5"]
    for text in prices:
        # key by key, while saved answers and the first numbers come in
        for sign in f"{text}\t":
            ActionChains(driver).send_keys(sign).pause(0.08).perform()
    wait_for(lambda: "1950" in site.server.store.read(key).content)
    shows(driver, "#status", "Saved.")
    costs = tomllib.loads(site.server.store.read(key).content)["costs"]
    told = [costs[kind][name][of] for kind, name in KINDS for of in ("purchase", "life_years")]
    assert told == [float(text) for text in prices]
    assert driver.find_element("id", "conflict").get_attribute("hidden") is not None
    # nothing half typed was ever saved
    earlier = [path.read_text(encoding="utf-8") for path in (site.folder / "bin").rglob("*.toml")]
    found = {costs.get(kind, {}).get(name, {}).get(of) for kind, name in KINDS for of in ("purchase", "life_years")
             for costs in [tomllib.loads(text).get("costs", {}) for text in earlier]}  # fmt: skip
    listed = tomllib.loads(PRICES)["costs"]
    assert found <= {None, *map(float, prices), *(listed[kind][name]["purchase"] for kind, name in KINDS)}


KINDS = (("aircraft", "tank_20_l"), ("aircraft", "tank_40_l"), ("pack", "pack_1300_wh"), ("pack", "pack_1800_wh"))


def test_by_keyboard_alone(driver, site):
    from selenium.webdriver.common.keys import Keys

    key = new_job(driver, site, "Keys")
    packs = "[aria-label='Set: 20 L aircraft'] [aria-label='One more: Number of packs']"
    driver.execute_script("arguments[0].focus()", find(driver, packs))
    driver.switch_to.active_element.send_keys(Keys.ENTER)
    wait_for(lambda: "pack_1300_wh = 3" in site.server.store.read(key).content)
    shows(driver, "#status", "Saved.")
    driver.execute_script("document.getElementById('zone-1').focus()")
    driver.switch_to.active_element.send_keys(Keys.ARROW_LEFT, Keys.ARROW_UP, Keys.ENTER)
    shows(driver, "#status", "Saved.")
    wait_for(lambda: "landing_zone" in site.server.store.read(key).content)
    # a typed value is meant by Enter, and the focus stays
    type_in(driver, "home land", "field", 0, "name", end=Keys.ENTER)
    wait_for(lambda: "home land" in site.server.store.read(key).content)
    assert driver.execute_script("return document.activeElement.dataset.at") == '["field", 0, "name"]'


def test_files_are_dropped(driver, site):
    new_job(driver, site, "Drawn")
    drop = (
        "const data = new DataTransfer(); data.items.add(new File([arguments[0]], arguments[1]));"
        "document.getElementById('drop').dispatchEvent(new DragEvent('drop', {dataTransfer: data, bubbles: true}))"
    )
    driver.execute_script(drop, "no map at all", "land.geojson")
    shows(driver, "#drop-said", "land.geojson")
    sound(driver, 360)
    driver.execute_script(drop, (SCENARIOS / "fields_willow_basin.geojson").read_text(), "land.geojson")
    shows(driver, "[data-part=fields]", "from a file")
    assert len(driver.find_elements("css selector", ".field-map .field")) >= 5
    assert text_of(driver, "#drop-said") == ""
    sound(driver)


def test_a_file_changed_on_the_disk_is_noticed(driver, site):
    key = new_job(driver, site, "Two hands")
    path = site.server.store.path(key)
    path.write_text(path.read_text().replace("40 acre", "55 acre"))
    shows(driver, "#status", "Changed elsewhere")
    assert box(driver, "field", 0, "area", give="one.value") == "55 acre"
    # while something is being typed nothing is taken away
    type_in(driver, "70", "field", 0, "area", end="")
    path.write_text(path.read_text().replace("55 acre", "60 acre"))
    wait_for(lambda: find(driver, "#conflict").is_displayed())
    sound(driver)
    type_in(driver, "71", "field", 0, "area")
    wait_for(lambda: find(driver, "#keep-mine").is_displayed())
    find(driver, "#keep-mine").click()
    wait_for(lambda: "mine" in driver.current_url)
    assert "71 acre" in site.server.store.read(f"{key} (mine)").content
    assert "60 acre" in path.read_text()


def test_two_tabs_do_not_spoil_each_others_work(driver, site):
    key = new_job(driver, site, "Two tabs")
    first = driver.current_window_handle
    driver.switch_to.new_window("tab")
    driver.get(f"{site.address}/job/{key}")
    type_in(driver, "66", "field", 0, "area")
    wait_for(lambda: "66 acre" in site.server.store.read(key).content)
    driver.close()
    driver.switch_to.window(first)
    wait_for(lambda: box(driver, "field", 0, "area", give="one.value") == "66 acre")


def test_reload_and_kill_during_a_run(driver, site):
    site.server.live.runs = 5000
    try:
        key = new_job(driver, site, "Long")
        shows(driver, ".known", "So far")
        pid = pid_of(site.server, key)
        driver.refresh()
        shows(driver, ".known", "So far")
        assert pid_of(site.server, key) == pid
        sound(driver, 360)
        os.kill(pid, signal.SIGKILL)
        shows(driver, "#answer .now-line", "ended by itself")
        sound(driver, 1366)
        press(driver, "#run-again")
        wait_for(lambda: pid_of(site.server, key) not in (None, pid))
        shows(driver, ".known", "So far")
        # a change marks the old numbers
        type_in(driver, "4", "product", "rate")
        wait_for(lambda: "4 gal/acre" in site.server.store.read(key).content)
        press(driver, "#run-stop")
        shows(driver, "#answer .now-line", "Stopped")
    finally:
        site.server.live.runs = 3


def test_a_stranger_sees_a_door(driver, site):
    driver.delete_all_cookies()
    driver.get(f"{site.address}/")
    shows(driver, "main", "The secret that acreday showed")
    sound(driver)
    find(driver, "#secret").send_keys(SECRET.upper(), "\n")
    shows(driver, "main", "A new job")
    assert "secret" not in driver.current_url
