"""The report page: one file, the numbers of the result, foreign texts as texts, inputs with their sources."""

import base64
import copy
import hashlib
import json
import re
from html.parser import HTMLParser

import pytest
from browser_support import HOSTILE, SCENARIOS, hostile_stored, make_stored, third_pack_stored

from simulator.errors import InputError
from simulator.report.html import report_page, write_report
from simulator.report.html_comparison import comparison_page, write_comparison
from simulator.report.html_inputs import differing, inputs_of, split_source


@pytest.fixture(scope="module")
def stored():
    return third_pack_stored()


@pytest.fixture(scope="module")
def page(stored):
    return report_page(stored)


class _Numbers(HTMLParser):
    """Collects every number that names its place in the result, and every element name with its attributes."""

    def __init__(self):
        super().__init__()
        self.numbers, self.elements = [], []

    def handle_starttag(self, tag, attrs):
        named = dict(attrs)
        self.elements.append((tag, named))
        if tag == "data" and "data-path" in named:
            self.numbers.append((named["data-path"], float(named["value"])))


def parsed(page):
    parser = _Numbers()
    parser.feed(page)
    return parser


def look_up(document, path):
    """Follow a dotted path; keys may hold dots, so the longest key that fits is taken."""
    if not path:
        return document
    if isinstance(document, list):
        head, _, rest = path.partition(".")
        return look_up(document[int(head)], rest)
    key = max((key for key in document if path == key or path.startswith(key + ".")), key=len)
    return look_up(document[key], path[len(key) + 1 :])


def test_every_number_is_the_one_in_the_result(stored, page):
    numbers = parsed(page).numbers
    assert len(numbers) > 120
    for path, value in numbers:
        assert value == look_up(stored.document, path), path


def test_every_set_has_its_answer_first(stored, page):
    answer = page[page.index('id="answer"') : page.index('id="map"')]
    ranked = sorted(stored.document["equipment_sets"], key=lambda entry: -entry["acres_per_day"]["mean"])
    places = [answer.index(f">{entry['label']}</text>") for entry in ranked]
    assert places == sorted(places)
    for entry in ranked:
        assert f"Limited by: {entry['bottleneck']['short']}." in answer


def test_nothing_is_loaded_from_anywhere(page):
    for tag, attributes in parsed(page).elements:
        assert tag not in ("link", "img", "iframe", "object", "embed", "base", "form")
        assert "src" not in attributes
        assert "style" not in attributes, "the content security policy would refuse it"
        assert not any(name.startswith("on") for name in attributes)
        if "href" in attributes:
            assert attributes["href"].startswith("#")
    style = page[page.index("<style>") : page.index("</style>")]
    assert "url(" not in style
    assert "@import" not in style


def test_the_policy_names_exactly_the_style_and_the_script(page):
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page).group(1).replace("&#39;", "'")
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL).group(1)
    script = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    assert len(script) == 1
    for text, kind in ((style, "style-src"), (script[0], "script-src")):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{kind} 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_ids_stand_once_and_every_figure_has_a_table_and_a_text(page):
    elements = parsed(page).elements
    ids = [attributes["id"] for _, attributes in elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    figures = page.split("<figure>")[1:]
    assert len(figures) > 7
    for figure in figures:
        body = figure[: figure.index("</figure>")]
        assert "<table" in body
        assert len(re.findall(r"<title id=[^>]*>[^<]{4,}</title><desc id=[^>]*>[^<]{10,}</desc>", body)) == 2
        assert re.search(r"<svg[^>]* (width|height)=", body) is None
    values = [value for _, named in elements for value in named.values() if value]
    used = {found for value in values for found in re.findall(r"^#(\S+)$|^url\(#(\S+)\)$", value)}
    assert {link or picture for link, picture in used if not re.fullmatch("[0-9a-f]{6}", link)} <= set(ids)


def test_the_same_result_gives_the_same_page(stored, page):
    assert report_page(stored) == page


def test_metric_pages_give_hectares_and_litres(stored):
    metric = make_stored(SCENARIOS / "third_pack.toml", settings=["units=metric"])
    text = report_page(metric)
    entry = metric.document["equipment_sets"][0]
    numbers = dict(parsed(text).numbers)
    assert numbers["equipment_sets.0.hectares_per_day.mean"] == entry["hectares_per_day"]["mean"]
    assert "acres_per_day.mean" not in text
    results = text[: text.index('id="assumptions"')]
    assert re.search(r"\d gal<", results) is None
    assert re.search(r"\d L<", results) is not None


def test_a_result_without_day_records_or_additions_still_makes_a_page(stored):
    from types import SimpleNamespace

    bare = SimpleNamespace(**{**vars(stored), "day_records": {}, "manifest": {}})
    text = report_page(bare)
    assert "<script" not in text
    assert "script-src &#39;none&#39;" in text


def test_hostile_names_stay_text():
    text = report_page(hostile_stored())
    for tag, attributes in parsed(text).elements:
        assert tag != "img"
        assert not any(name.startswith("on") for name in attributes)
    assert len(re.findall("<script", text)) == 2
    data = re.search(r'<script type="application/json" id="replay-data">(.*?)</script>', text, re.DOTALL).group(1)
    assert {field["name"] for field in json.loads(data)["records"][0]["fields"]} == set(HOSTILE)


def test_writing_where_nothing_can_be_written_says_so(stored, page, tmp_path, monkeypatch):
    monkeypatch.setattr("simulator.report.html.report_page", lambda _: page)
    target = tmp_path / "none" / "report.html"
    with pytest.raises(InputError, match="cannot be written"):
        write_report(stored, target)
    with pytest.raises(InputError, match="two or more"):
        write_comparison([stored], tmp_path / "both.html")


def test_a_comparison_says_what_does_most_and_what_changed(stored):
    other = make_stored(SCENARIOS / "third_pack.toml", runs=6, settings=["generator.twelve.rated_power=9 kW"])
    text = comparison_page([stored, other])
    changed = text[text.index('id="inputs"') :]
    assert "generator.twelve.rated_power" in changed
    assert "9 kW" in changed
    assert "swath" not in changed
    assert "same draws, 6 runs" in text
    # every set beside the first, and beside no other
    said = dict(re.findall(r"<dt>(third_pack \(\d\): [^<]+)</dt><dd>([^<]*)</dd>", text)[:6])
    assert len(said) == 6
    first, *others = said
    assert "than" not in said[first]
    assert all(f" {first}" in said[name] for name in others)
    assert "not of the same fields" not in text


def test_a_comparison_of_different_fields_warns(stored):
    other = make_stored(SCENARIOS / "third_pack.toml", settings=["field.0.area=30 acre"])
    assert "not of the same fields" in comparison_page([stored, other])
    moved = copy.deepcopy(stored)
    moved.manifest["files"] = {"input_fields.geojson": "ab"}
    assert "not of the same fields" in comparison_page([stored, moved])


def test_a_comparison_has_the_units_of_its_first_result(stored):
    """Fuel in gallons on a US page, in litres on a metric one (US gallon of NIST SP 811, appendix B)."""
    litres = stored.document["equipment_sets"][0]["per_day"]["generator_fuel_l"]
    for name, unit, scale in (("us", "gal", 1 / 3.785411784), ("metric", "L", 1.0)):
        first = copy.deepcopy(stored)
        first.document["units"] = name
        text = comparison_page([first, stored])
        value, amount, shown = re.search(
            r'generator fuel</th><td><data value="([^"]+)"[^>]*>([\d.]+) (\w+)<', text
        ).groups()
        assert shown == unit
        assert float(value) == litres
        assert float(amount) == pytest.approx(litres * scale, abs=0.5 if litres * scale >= 9.95 else 0.051)


def test_inputs_tell_where_each_value_came_from(stored):
    resolved = stored.manifest["resolved"]["two_packs"]
    found = {entry.key: entry for entry in inputs_of(resolved)}
    assert found["rig.main.packs"].origin == "scenario"
    assert found["aircraft.large.swath"].origin == "catalogue class tank_40_l (invented)"
    assert found["rig.main.trailer.pack_up_time"].origin == "default: assumption"
    assert found["route.detour_factor"].origin.startswith("default: source: 4/pi")
    assert found["rig.main.crew.tasks.swap.time"].value == "lognormal: mean 60 s, cv 0.25"
    assert all(entry.meaning for entry in found.values())


def test_differing_inputs_of_the_sets(stored):
    rows = differing(stored.manifest["resolved"])
    assert [key for key, _ in rows] == ["rig.main.packs"]


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("Average speed; assumption.", ("Average speed.", "assumption")),
        ("Rate. Source: the product label.", ("Rate.", "Source: the product label")),
        ("Name.", ("Name.", "")),
    ],
)
def test_a_description_is_split_from_its_source(text, parts):
    assert split_source(text) == parts
