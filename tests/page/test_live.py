"""Live answers: the numbers of `acreday run` to the last digit, and nothing that happens there harms the page."""

import json
import multiprocessing
import os
import signal

import pytest
from command_line import call
from page_support import PRICES, pid_of, plain_text, said, served, wait_for

from simulator.errors import InputError
from simulator.page.live import Live
from simulator.page.uploads import check_boundaries


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """A job of which the answer is decided: page and key."""
    page = served(tmp_path_factory.mktemp("jobs"))
    page.server.store.write_prices(PRICES)
    key = page.new(price="14")
    opened(page, key)
    assert "not decided" in next(iter(said(page.client.post(f"/quote/{key}", json={"customer": "Miller"})).values()))
    phase(page, key, "ready")
    yield page, key
    page.server.close()


def phase(page, key, *wanted):
    return wait_for(lambda: (found := page.server.live.answer(key)).phase in wanted and found)


def opened(page, key):
    assert page.client.get(f"/job/{key}").status_code == 200


def test_page_and_command_line_give_the_same_numbers(done, tmp_path):
    page, key = done
    document = page.server.live.answer(key).document
    path = page.server.store.path(key)
    out = tmp_path / "by_command"
    assert call("run", str(path), "--runs", "4", "--out", str(out), "--quiet", "--workers", "1") == 0
    assert json.loads(json.dumps(document)) == json.loads((out / "result.json").read_text())
    stored = page.server.live.result_folder(key)
    for name in ("result.json", "runs.csv", "time_use.csv", "bottleneck.csv"):
        assert (stored / name).read_bytes() == (out / name).read_bytes(), name
    assert "Acres a day, best set first" in plain_text(page.client.get(f"/charts/{key}").text)
    report = page.client.get(f"/report/{key}?save")
    assert report.headers["content-disposition"].startswith('attachment; filename="North farm report.html"')
    assert "script-src 'sha256-" in report.headers["content-security-policy"]


def test_a_quote_is_made_by_the_command(done):
    page, key = done
    asked = {"customer": "Miller & Söhne", "dealer": "A dealer", "sets": ["tank_20_l", "tank_40_l"], "valid_days": "30"}
    made = page.client.post(f"/quote/{key}", json=asked)
    assert made.status_code == 200, made.text
    assert page.client.get(made.json()["address"]).content.startswith(b"%PDF")
    assert 'value="A dealer"' in page.client.get(f"/job/{key}").text
    refused = said(page.client.post(f"/quote/{key}", json={**asked, "valid_days": "never"}))
    assert "never" in " ".join(refused.values())
    assert page.client.get(f"/quote/{key}?file=../x.pdf").status_code == 404


def test_a_study_is_asked_in_the_background(done):
    page, key = done
    ask = {"study": "crossover", "from": "tank_20_l", "to": "tank_40_l", "sizes": "40 acre", "rates": "2 gal/acre"}
    assert page.client.post(f"/study/{key}", json={**ask, "sizes": "40 stones"}).status_code == 200
    assert page.client.post(f"/study/{key}", json=ask).status_code == 200
    finished = wait_for(lambda: (found := page.server.handing.studies(key)) and "running" not in str(found) and found)
    good, bad = finished
    assert (good["phase"], bad["phase"]) == ("done", "failed")
    assert "40 stones" in bad["said"]
    assert good["sentences"]
    assert good["sentences"][0] in plain_text(page.client.get(f"/job/{key}").text)
    assert page.client.get(f"/study/{key}?place=1&save").headers["content-disposition"]
    assert page.client.get(f"/study/{key}?place=0").status_code == 404
    size = {"study": "size", "from": "tank_20_l", "target": "100 acre", "kind": "within", "packs_from": "3",
            "packs_to": "2", "chargers_from": "1", "chargers_to": "1"}  # fmt: skip
    for wrong in (size, {**size, "packs_from": "2", "kind": "x"}, {**ask, "from": "x"}, {**ask, "study": "x"},
                  {**ask, "to": "tank_20_l"}):  # fmt: skip
        assert page.client.post(f"/study/{key}", json=wrong).status_code == 422


def test_an_edit_ends_the_old_simulation_and_undo_brings_its_numbers_back(done):
    page, key = done
    first = phase(page, key, "ready")
    numbers, digest = first.document, first.digest
    assert page.edit(key, action="set", at=["product", "rate"], typed="5").status_code == 200
    assert page.server.live.answer(key).old
    assert "Old numbers" in page.client.get(f"/job/{key}").text
    assert page.client.post(f"/do/{key}", json={"action": "undo", "version": page.version(key)}).status_code == 200
    now = page.server.live.answer(key)
    assert (now.phase, now.digest) == ("ready", digest)
    assert now.document is numbers
    # what the answer does not depend on leaves it as it is
    assert page.edit(key, action="set", at=["costs", "currency"], typed="").status_code == 200
    assert page.server.live.answer(key).phase == "ready"


def test_a_killed_simulation_is_said_and_gone_on_with(page):
    page.server.live.runs = 5000
    key = page.new()
    opened(page, key)
    wait_for(lambda: page.server.live.answer(key).document)
    os.kill(pid_of(page.server, key), signal.SIGKILL)
    broken = phase(page, key, "broken")
    assert "ended by itself" in page.client.get(f"/job/{key}").text
    done = broken.done
    assert page.client.post(f"/do/{key}", json={"action": "again"}).status_code == 200
    # finished runs were kept: the first word of its progress is beyond nothing
    again = wait_for(lambda: (found := page.server.live.answer(key)).phase == "running" and found.done and found)
    assert again.done > 0
    assert done > 0
    assert page.client.post(f"/do/{key}", json={"action": "stop"}).status_code == 200
    assert phase(page, key, "stopped").document is not None
    assert pid_of(page.server, key) is None


def test_what_the_physics_refuses_is_said(page):
    key = page.new()
    path = page.server.store.path(key)
    path.write_text(path.read_text().replace("40 acre", "40 gallons"))
    opened(page, key)
    assert page.server.live.answer(key).phase == "refused"
    assert pid_of(page.server, key) is None


def test_several_jobs_are_simulated_at_once_but_not_all(page, monkeypatch):
    page.server.live.runs = 5000
    monkeypatch.setattr("simulator.page.live.MOST_AT_ONCE", 2)
    keys = [page.new(name=f"farm {number}") for number in range(3)]
    for key in keys:
        opened(page, key)
    phases = [page.server.live.answer(key).phase for key in keys]
    assert phases == ["stopped", "running", "running"]


def test_an_end_leaves_no_process_and_no_folder(tmp_path, monkeypatch):
    monkeypatch.setattr("simulator.page.live._SPAWN", multiprocessing.get_context("spawn"))
    live = Live(tmp_path / "work", workers=1)
    live.warm()
    process = live._spare.process
    live.close()
    process.join(20.0)
    assert not process.is_alive()
    assert not (tmp_path / "work").exists()


def test_a_dropped_file_that_takes_too_long_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("simulator.page.uploads.MOST_S", 0.0)
    with pytest.raises(InputError, match=r"land\.geojson: takes more than"):
        check_boundaries(b"{}", "land.geojson", tmp_path)
    assert list(tmp_path.iterdir()) == []
