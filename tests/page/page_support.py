"""A folder that the page serves, and ways to ask it."""

import json
import re
import time
from types import SimpleNamespace

from starlette.testclient import TestClient

from simulator.page.app import Server
from simulator.page.safety import Guard

HOST = "127.0.0.1:8380"
SECRET = "abcd-efgh-jkmn-pqrs"
AREAS = (80, 12, 45, 8, 120, 30, 18, 60, 25, 5, 90, 40, 15, 33, 70, 10, 22)
SEVENTEEN = "".join(
    f"piece {number}\t{area}\t\t{shape}\t2\t{road}\n"
    for number, (area, shape, road) in enumerate(zip(AREAS, [2, 1, 3] * 6, [2, 0.5, 4, 1] * 5, strict=False), 1)
)
"""Mixed fields as they come out of a spreadsheet: name, acres, none alike, length over width, gal/acre, miles."""

PRICES = """
[costs]
wage_per_hour = 28
aircraft = { tank_20_l = { purchase = 14000 }, tank_40_l = { purchase = 24000 } }
pack = { pack_1300_wh = { purchase = 1400 }, pack_1800_wh = { purchase = 2000 } }
charger = { charger_6_kw = { purchase = 1200 }, charger_8_kw = { purchase = 1600 } }
generator = { generator_10_kw = { purchase = 3000 }, generator_12_kw = { purchase = 3500 } }
rig = { main = { purchase = 9000 } }
"""
"""A price list of two classes, invented."""


def served(folder, runs=4):
    """Return a server of a folder, a client that is let in, and what is asked most."""
    server = Server(folder, workers=1, runs=runs)
    client = TestClient(
        Guard(server.app(), SECRET, {HOST}), base_url=f"http://{HOST}", headers={"Origin": f"http://{HOST}"}
    )
    assert client.get(f"/?secret={SECRET}").status_code == 200

    def new(name="North farm", customer="Miller", classes=("tank_20_l", "tank_40_l"), **more):
        answer = client.post("/new", json={"name": name, "customer": customer, "classes": list(classes), **more})
        assert answer.status_code == 200, answer.text
        return answer.json()["key"]

    def version(key):
        return server.store.read(key).version

    def edit(key, at_version=None, **wish):
        return client.post(f"/edit/{key}", json={"version": at_version or version(key), **wish})

    def tables(key):
        import tomllib

        return tomllib.loads(server.store.read(key).content)

    return SimpleNamespace(server=server, client=client, new=new, edit=edit, version=version, tables=tables)


def wait_for(found, most_s=180.0):
    """Return what a function finds once it finds something."""
    end = time.monotonic() + most_s
    while time.monotonic() < end:
        if value := found():
            return value
        time.sleep(0.1)
    raise AssertionError("it never came")


def said(answer):
    """Return the places and messages of a refusal."""
    assert answer.status_code == 422, answer.text
    return {one["where"]: one["message"] for one in answer.json()["problems"]}


def plain_text(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def box_value(part, dotted):
    """Return what the input of a dotted key shows in a part of the page."""
    place = json.dumps(dotted).replace('"', "&#34;")
    found = re.search(rf'<input id="[^"]*" data-at="{re.escape(place)}"[^>]* value="([^"]*)"', part)
    return found[1] if found else None


def pid_of(server, key):
    """Return the process that simulates a scenario; None when none does."""
    work = server.live._work.get(key)
    return work.process.pid if work else None
