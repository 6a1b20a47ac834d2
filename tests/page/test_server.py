"""The server: who may ask, what is refused and where it is said, conflicts, and every wish of the page."""

import json
import re
import tomllib
from pathlib import Path

import pytest
from page_support import HOST, SECRET, SEVENTEEN, plain_text, said
from starlette.testclient import TestClient

from simulator.page.field_map import field_map
from simulator.page.safety import MOST_BYTES, Guard, new_secret

WILLOW = Path(__file__).resolve().parents[2] / "scenarios" / "fields_willow_basin.geojson"


def stranger(page, **headers):
    return TestClient(Guard(page.server.app(), SECRET, {HOST}), base_url=f"http://{HOST}", headers=headers)


def test_nothing_is_shown_without_the_secret(page):
    key = page.new()
    client = stranger(page)
    for path in ("/", f"/job/{key}", f"/file/{key}", f"/events/{key}"):
        answer = client.get(path)
        assert answer.status_code == 401
        assert "North farm" not in answer.text
    assert client.get("/?secret=wrong").status_code == 403
    assert client.post("/enter", content="secret=wrong", headers={"Origin": f"http://{HOST}"}).status_code == 403
    assert client.get("/").status_code == 401
    # typed on a tablet, with capitals and a space
    entered = client.post("/enter", content=f"secret={SECRET.upper()}+", headers={"Origin": f"http://{HOST}"})
    assert entered.status_code == 200
    cookie = entered.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "North farm" in client.get("/").text


def test_secrets_differ_and_can_be_typed():
    made = {new_secret() for _ in range(50)}
    assert len(made) == 50
    assert all(len(one) == 19 and one.count("-") == 3 for one in made)


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.example:8380"},
        {"Host": "127.0.0.1:1"},
        {"Origin": "http://evil.example"},
        {"Origin": f"https://{HOST}"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site", "Origin": "null"},
    ],
)
def test_another_site_may_ask_for_nothing(page, headers):
    key = page.new()
    before = page.version(key)
    answer = page.client.post(f"/do/{key}", json={"action": "remove"}, headers=headers)
    assert answer.status_code in (403, 421)
    assert page.version(key) == before


def test_a_page_elsewhere_may_not_read(page):
    answer = page.client.get(
        f"/file/{page.new()}", headers={"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}
    )
    assert answer.status_code == 403
    del page.client.headers["Origin"]
    assert page.client.post("/new", json={}).status_code == 403


def test_policy_allows_own_files_only(page):
    answer = page.client.get(f"/job/{page.new()}")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert "<script>" not in answer.text
    assert " style=" not in answer.text
    assert " onclick" not in answer.text
    assert answer.headers["cache-control"] == "no-store"


def test_bodies_are_bounded(page):
    key = page.new()
    large = json.dumps({"version": "x", "action": "set", "at": ["title"], "typed": "x" * MOST_BYTES})
    assert page.client.post(f"/edit/{key}", content=large).status_code == 413

    def in_pieces():
        for _ in range(20):
            yield b"x" * 100_000

    assert page.client.post(f"/edit/{key}", content=in_pieces()).status_code == 413
    for broken in (b"", b"[]", b"{", b"[" * 100_000, b"\xff"):
        assert page.client.post(f"/edit/{key}", content=broken).status_code == 422


@pytest.mark.parametrize("hostile", ["<img src=x onerror=alert(1)>", '"><script>alert(1)</script>', "{{ 7 * 7 }}"])
def test_text_stays_text(page, hostile):
    key = page.new()
    assert page.edit(key, action="set", at=["field", 0, "name"], typed=hostile).status_code == 200
    assert (
        page.edit(key, action="set", at=["equipment_set", "tank_20_l", "label"], typed=hostile[:50]).status_code == 200
    )
    text = page.client.get(f"/job/{key}").text
    assert "<img src=x" not in text
    assert "<script>alert" not in text
    assert page.tables(key)["field"][0]["name"] == hostile


def test_a_new_job_is_the_commented_scenario_and_valid(page):
    key = page.new(price="14")
    content = page.server.store.read(key).content
    tables = tomllib.loads(content)
    assert content.startswith("# A scenario made from answers")
    assert tables["work"] == "once"
    assert list(tables["equipment_set"]) == ["tank_20_l", "tank_40_l"]
    assert tables["costs"]["price_per_acre"] == 14
    assert page.client.get(f"/job/{key}").status_code == 200
    assert said(page.client.post("/new", json={"name": "..", "classes": ["tank_20_l"]}))["name"]
    assert "classes" in said(page.client.post("/new", json={"name": "a", "classes": ["no_class"]}))


def test_a_bad_value_is_said_at_its_place_and_not_written(page):
    key = page.new()
    before = page.version(key)
    found = said(page.edit(key, action="set", at=["field", 0, "area"], typed="40 gallons"))
    assert "got '40 gallons', which is not an area" in found["field.0.area"]
    found = said(page.edit(key, action="set", at=["weather", "altitde"], typed="3"))
    assert "nearest known is 'altitude'" in found["weather.altitde"]
    found = said(
        page.edit(
            key, action="set", at=["equipment_set", "tank_20_l", "charger", "charger_6_kw", "setting"], typed="900"
        )
    )
    assert list(found) == ["equipment_set.tank_20_l.charger.charger_6_kw.setting"]
    for wish in ({"action": "no such"}, {"action": "set", "at": "field", "typed": "x"},
                 {"action": "take", "at": ["day"]}, {"action": "set", "at": ["title"], "typed": "a\0b"}):  # fmt: skip
        assert page.edit(key, **wish).status_code == 422
    assert page.version(key) == before


def test_a_file_that_is_wrong_is_shown_and_may_be_mended_step_by_step(page):
    key = page.new()
    path = page.server.store.path(key)
    text = path.read_text().replace('area = "40 acre"', 'area = "40 gallons"').replace("07:00", "25:00")
    path.write_text(text)
    shown = plain_text(page.client.get(f"/job/{key}").text)
    assert "which is not an area" in shown
    assert page.edit(key, action="set", at=["field", 0, "area"], typed="40").status_code == 200
    assert page.edit(key, action="set", at=["day", "start"], typed="7:00").status_code == 200
    assert page.server.desk.open(key).checked.problems == ()
    path.write_text("name = [")
    assert "broken TOML" in page.client.get(f"/job/{key}").text
    assert page.edit(key, action="set", at=["title"], typed="x").status_code == 422


def test_what_changed_elsewhere_is_noticed_and_mine_kept_as_a_copy(page):
    key = page.new()
    page.client.get(f"/job/{key}")
    seen = page.version(key)
    path = page.server.store.path(key)
    path.write_text(path.read_text().replace("40 acre", "55 acre"))
    wish = {"action": "set", "at": ["field", 0, "area"], "typed": "70"}
    assert page.edit(key, at_version=seen, **wish).status_code == 409
    assert page.client.post(f"/do/{key}", json={"action": "undo", "version": seen}).status_code == 409
    assert page.tables(key)["field"][0]["area"] == "55 acre"
    copy = page.edit(key, at_version=seen, as_copy=True, **wish).json()["key"]
    assert page.tables(copy)["field"][0]["area"] == "70 acre"
    assert page.tables(key)["field"][0]["area"] == "55 acre"


def test_equipment_is_chosen_counted_copied_and_undone(page):
    key = page.new()
    packs = ["equipment_set", "tank_20_l", "rig", "main", "packs", "pack_1300_wh"]
    assert page.edit(key, action="step", at=packs, by=1).status_code == 200
    chosen = {"set": "tank_20_l", "rig": "main", "kind": "aircraft", "old": "tank_20_l", "typed": "tank_50_l"}
    assert page.edit(key, action="choose", **chosen).status_code == 200
    table = page.tables(key)["equipment_set"]["tank_20_l"]
    assert table["rig"]["main"]["aircraft"] == {"tank_50_l": 1}
    assert list(table["rig"]["main"]["packs"].values()) == [3]
    assert table["label"] == "50 L aircraft"
    assert page.edit(key, action="copy set", set="tank_20_l").status_code == 200
    assert list(page.tables(key)["equipment_set"])[-1] == "50_l_aircraft_copy"
    assert page.edit(key, action="take", at=["equipment_set", "tank_20_l"]).status_code == 200
    assert page.client.post(f"/do/{key}", json={"action": "undo", "version": page.version(key)}).status_code == 200
    assert "tank_20_l" in page.tables(key)["equipment_set"]
    settings = ["rig.main.packs.pack_2200_wh=4", "rig.main.crew.helpers=2"]
    more = {"action": "one more", "set": "tank_20_l", "settings": settings, "change": "one more pack"}
    assert page.edit(key, **more).status_code == 200
    made = list(page.tables(key)["equipment_set"].values())[-1]
    assert made["label"] == "50 L aircraft, one more pack"
    assert made["rig"]["main"]["packs"] == {"pack_2200_wh": 4}
    assert made["rig"]["main"]["crew"]["helpers"] == 2


@pytest.mark.parametrize("name", ["third_pack", "two_sizes", "two_rigs", "willow_basin", "granules", "whole_job"])
def test_shipped_scenarios_can_be_opened_and_changed(page, name):
    source = WILLOW.with_name(f"{name}.toml")
    page.server.store.folder.joinpath(source.name).write_text(source.read_text())
    page.server.store.folder.joinpath(WILLOW.name).write_text(WILLOW.read_text())
    text = page.client.get(f"/job/{name}").text
    assert "cannot be simulated as it stands" not in text
    # every number that has a plus button can be made one more
    steps = {
        json.dumps(json.loads(at.replace("&#34;", '"')))
        for at in re.findall(r'class="step" data-at="([^"]*)" data-by="1"', text)
    }
    assert steps
    for at in sorted(steps)[:8]:
        answer = page.edit(name, action="step", at=json.loads(at), by=1)
        assert answer.status_code in (200, 422), answer.text
    comments = [line for line in source.read_text().splitlines() if line.startswith("#")]
    kept = page.server.store.read(name).content
    assert all(line in kept for line in comments)


def test_a_boundary_file_becomes_the_fields(page):
    key = page.new()
    address = f"/upload/{key}?name=land.geojson&version={page.version(key)}"
    answer = page.client.post(address, content=WILLOW.read_bytes())
    assert answer.status_code == 200, answer.text
    assert "from a file" in answer.json()["parts"]["fields"]
    assert page.tables(key)["field_file"] == {"path": "land.geojson"}
    assert "field" not in page.tables(key)
    bad = page.client.post(f"/upload/{key}?name=x.geojson&version={page.version(key)}", content=b"{}")
    assert bad.status_code == 422
    assert page.edit(key, action="table").status_code == 200
    assert len(page.tables(key)["field"]) >= 5


def test_fields_of_a_file_have_landing_zones_and_rates_of_their_own(page):
    key = page.new()
    address = f"/upload/{key}?name=land.geojson&version={page.version(key)}"
    assert page.client.post(address, content=WILLOW.read_bytes()).status_code == 200
    plan = page.server.desk.open(key).checked.plans[0]
    name = plan.fields[2].name
    zone_x, zone_y = field_map(plan)["fields"][2]["zone"]
    before = plan.fields[2].stations[0]
    assert page.edit(key, action="zone", place=2, x=zone_x + 40.0, y=zone_y - 10.0).status_code == 200
    assert page.edit(key, action="set", at=["field_file", "rates", name], typed="5").status_code == 200
    field = page.server.desk.open(key).checked.plans[0].fields[2]
    assert field.stations[0].x_m == pytest.approx(before.x_m + 40.0, abs=0.2)
    assert field.stations[0].y_m == pytest.approx(before.y_m + 10.0, abs=0.2)
    assert field.rate == pytest.approx(2.5 * plan.fields[2].rate)
    found = said(page.edit(key, action="set", at=["field_file", "rates", name[:-1]], typed="5"))
    assert f"nearest known is '{name}'" in next(iter(found.values()))
    # another file begins without them
    address = f"/upload/{key}?name=other.geojson&version={page.version(key)}"
    assert page.client.post(address, content=WILLOW.read_bytes().replace(b"Willow", b"Other")).status_code == 200
    assert list(page.tables(key)["field_file"]) == ["path"]


def test_a_csv_table_becomes_the_fields(page):
    key = page.new()
    address = f"/upload/{key}?name=fields.csv&version={page.version(key)}"
    assert page.client.post(address, content=b"name,acres,rate\na,40,3 gal/acre\nb,20,\n").status_code == 200
    assert page.tables(key)["field"] == [
        {"name": "a", "area": "40 acre", "rate": "3 gal/acre"},
        {"name": "b", "area": "20 acre"},
    ]
    address = f"/upload/{key}?name=fields.csv&version={page.version(key)}"
    found = said(page.client.post(address, content=b"name,size\na,40\n"))
    assert "allowed is" in " ".join(found.values())


def test_a_landing_zone_goes_where_it_is_dragged(page):
    key = page.new()
    field = page.server.desk.open(key)
    path = field_map(field.checked.plans[0])["fields"][1]["path"]
    left = float(path[1:].split(",")[0])
    bottom = max(float(pair.split(",")[1]) for pair in path.strip("MZ").split(" L"))
    assert page.edit(key, action="zone", place=1, x=left + 30.0, y=bottom - 50.0).status_code == 200
    assert page.tables(key)["field"][0]["landing_zone"] == ["30 m", "50 m"]


def test_prices_go_from_job_to_list_and_to_the_next_job(page):
    first = page.new()
    for kind, name, price in (("aircraft", "tank_40_l", "24,000"), ("pack", "pack_1800_wh", "2000")):
        assert page.edit(first, action="set", at=["costs", kind, name, "purchase"], typed=price).status_code == 200
    assert page.client.post(f"/do/{first}", json={"action": "keep prices"}).status_code == 200
    second = page.new("South farm")
    assert page.tables(second)["costs"]["aircraft"]["tank_40_l"] == {"purchase": 24000}
    page.edit(second, action="set", at=["costs", "pack", "pack_1800_wh", "purchase"], typed="1")
    assert "(differs)" in page.client.get(f"/job/{second}").text
    assert page.edit(second, action="take prices").status_code == 200
    assert page.tables(second)["costs"]["pack"]["pack_1800_wh"]["purchase"] == 2000
    assert "Investment $30,000" in plain_text(page.client.get(f"/job/{second}").text)


def test_a_job_is_copied_renamed_and_removed(page):
    key = page.new()
    copy = page.client.post(f"/do/{key}", json={"action": "copy"}).json()["key"]
    assert copy == "Miller/North farm 2"
    moved = page.client.post(f"/do/{copy}", json={"action": "rename", "customer": "Olsen", "name": "Ærø øst"}).json()[
        "key"
    ]
    assert moved == "Olsen/Ærø øst"
    assert page.client.get(f"/job/{moved}").status_code == 200
    assert page.client.get(f"/file/{moved}").headers["content-disposition"].endswith("%C3%86r%C3%B8%20%C3%B8st.toml")
    assert page.client.post(f"/do/{moved}", json={"action": "remove"}).status_code == 200
    assert [entry.key for entry in page.server.store.entries()] == [key]
    assert page.client.get(f"/job/{moved}").status_code == 404


def test_seventeen_fields_in_metric_units(page):
    key = page.new(units="metric")
    rows = SEVENTEEN.replace("\t2\t", "\t20\t")
    assert page.edit(key, action="paste", row=0, column="name", text=rows).status_code == 200
    assert page.tables(key)["field"][0]["area"] == "80 ha"
    assert "740" not in plain_text(page.client.get(f"/job/{key}").text).split("fields,")[0]


def test_a_list_with_headings_takes_the_place_of_all_fields(page):
    key = page.new()
    wish = {"action": "paste", "row": 0, "column": "name"}
    assert page.edit(key, **wish, text=SEVENTEEN).status_code == 200
    assert page.edit(key, **wish, text="Field\tAcres\tRoad mi\nriver\t41\t2\n").status_code == 200
    assert page.tables(key)["field"] == [{"name": "river", "area": "41 Acres", "drive_distance": "2 mi"}]
    assert "got 3 columns" in said(page.edit(key, **wish, text="river\t41\t2\n"))["field"]
    assert "missing" in said(page.edit(key, **wish, text="Field\tAcres\nriver\t\n"))["field.0.area"]


def cards(page, key):
    return page.client.get(f"/job/{key}").text.split('<section class="set" aria-label="')[1:]


def test_a_remark_stands_quietly_at_the_set_that_it_concerns(page):
    key = page.new()
    charger = ["equipment_set", "tank_20_l", "rig", "main", "power", "main", "chargers"]
    power = page.server.desk.open(key).checked.merged["tank_20_l"]["rig"]["main"]["power"]
    charger[5] = next(iter(power))
    name = next(iter(power[charger[5]]["chargers"]))
    assert page.edit(key, action="set", at=[*charger, name], typed="4").status_code == 200
    assert page.edit(key, action="set", at=["product", "rate"], typed="30 gal/acre").status_code == 200
    of_20, of_40 = (plain_text(card) for card in cards(page, key)[:2])
    assert "its chargers and other load ask" in of_20
    assert "its chargers and other load ask" not in of_40
    assert of_20.count("its pumps give") == of_40.count("its pumps give") == 1
    text = page.client.get(f"/job/{key}").text
    assert plain_text(text).count("its chargers and other load ask") == 1
    assert plain_text(text).count("its pumps give") == 2
    assert 'class="wrong"' not in text


def test_a_larger_generator_of_a_new_set_has_its_own_name_and_price(page):
    key = page.new()
    for kind, name, price in (("aircraft", "tank_20_l", "14000"), ("generator", "generator_10_kw", "3000")):
        assert page.edit(key, action="set", at=["costs", kind, name, "purchase"], typed=price).status_code == 200
    settings = ["generator.generator_10_kw.rated_power=12500W", "generator.generator_10_kw.fuel_tank=37.5L"]
    more = {"action": "one more", "set": "tank_20_l", "settings": settings, "change": "a 12.5 kW generator"}
    assert page.edit(key, **more).status_code == 200
    tables = page.tables(key)
    made = list(tables["equipment_set"])[-1]
    assert tables["generator"]["generator_12_5_kw"] == {
        "label": "12.5 kW generator", "rated_power": "12.5 kW", "fuel": "petrol", "fuel_tank": "37.5L",
    }  # fmt: skip
    assert "generator" not in tables["equipment_set"][made]
    opened = page.server.desk.open(key).checked
    assert opened.merged[made]["rig"]["main"]["power"]["main"]["generator"] == "generator_12_5_kw"
    assert opened.merged["tank_20_l"]["rig"]["main"]["power"]["main"]["generator"] == "generator_10_kw"
    card = cards(page, key)[2]
    assert re.search(r'value="generator_12_5_kw" selected>12.5 kW generator<', card)
    assert "Investment $14,000, without" in plain_text(card)
    prices = page.client.get(f"/job/{key}").text.partition('id="prices"')[2]
    row = plain_text(prices.partition('<th scope="row">12.5 kW generator</th>')[2].partition("</tr>")[0])
    assert "not counted until its price is typed" in row
    # the list has a price of the smaller one, which is not taken for it
    assert page.client.post(f"/do/{key}", json={"action": "keep prices"}).status_code == 200
    assert page.edit(key, action="take prices").status_code == 200
    assert "generator_12_5_kw" not in page.tables(key)["costs"]["generator"]
    assert page.edit(key, **more).status_code == 200
    assert list(page.tables(key)["generator"]).count("generator_12_5_kw") == 1
    assert "generator_12_5_kw_2" not in page.tables(key)["generator"]
