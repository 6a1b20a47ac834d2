"""Quote sheets: at most two pages, honest digits, nothing cut off, and no word of a scenario that runs or loads."""

from __future__ import annotations

import dataclasses
import datetime
import html
import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from matplotlib.text import Text
from stored_support import HOSTILE, assert_nothing_cut_off, sample_job, sample_manifest, write_folder

from simulator.errors import InputError
from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.glyphs import REPLACEMENT
from simulator.report.numbers import report_units
from simulator.report.quantities import ROAD, ROAD_SPEED, TANK, TEMPERATURE, Kind, quantity_text
from simulator.report.quote import quote_html, write_quote
from simulator.report.quote_content import quote_content
from simulator.report.quote_fields import MOST_FIELDS
from simulator.report.quote_pdf import MOST_SHEETS, pdf_bytes, quote_pages
from simulator.report.stored import StoredResult, read_result

DAY = datetime.date(2026, 5, 4)
LONG = "A name that goes on and on, and a word that never endddddddddddddddddddddddddddddddddddddddddddddddd. "


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_folder(tmp_path_factory.mktemp("quote") / "result")


@pytest.fixture
def stored(folder: Path) -> StoredResult:
    return read_result(folder)


def extreme(stored: StoredResult) -> StoredResult:
    """Return a result in which everything that can be long is very long."""
    table: dict[str, Any] = sample_manifest()["resolved"]["two_packs"]
    rig = table["rig"]["main"]
    table["rig"] = {f"{LONG}{number}": rig for number in range(9)}
    table["title"] = LONG * 3
    stored.manifest["resolved"]["two_packs"] = table
    entry = stored.equipment_set("two_packs")
    entry["bottleneck"]["sentence"] = LONG * 20
    for change in entry["bottleneck"]["one_more"]:
        change |= {"change": LONG * 4, "ci95": [1.0, 3.0]}
    entry["job"] = sample_job()
    ring = [[0.0, 0.0], [400.0, 0.0], [400.0, 90_000.0], [0.0, 90_000.0]]
    fields = [{"name": f"{LONG}{number}", "area_m2": 1e5, "rings": [ring]} for number in range(60)]
    stored.day_records["two_packs"] = {"layout": "given", "fields": fields, "fields_left_out": 7}
    stored.document["title"] = LONG * 3
    return stored


def test_pdf_says_the_answer_and_stays_on_two_pages(stored: StoredResult, tmp_path: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    files = write_quote(stored, "three_packs", "Hollow Creek Farms", tmp_path / "quote.pdf", price=12.5, today=DAY)
    assert [path.name for path in files] == ["quote.pdf", "quote.html"]
    reader = pypdf.PdfReader(files[0])
    assert len(reader.pages) <= MOST_SHEETS
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    spread = stored.equipment_set("three_packs")["full_work_day_acres"]
    found = re.search(r"Half of full days reach ([\d.]+) acres or more; nine in ten reach ([\d.]+) acres", text)
    assert found is not None
    assert float(found.group(1)) == pytest.approx(spread["p50"], rel=0.02)
    assert float(found.group(2)) == pytest.approx(spread["p10"], rel=0.02)
    for words in (
        "Hollow Creek Farms",
        "From 12 simulated runs",
        "3 packs",
        "east bench",
        "2026-06-03",
        "$ 12.50",
        "2 gal/acre",
    ):
        assert words in text, words
    for words in (*CAUTIONS, SIMULATION_NOTE, INVENTED_NOTE):
        assert words in text, words
    assert reader.metadata["/Title"].endswith("for Hollow Creek Farms")
    assert "/CreationDate" not in reader.metadata


def test_same_day_same_bytes_another_day_another_date(stored: StoredResult) -> None:
    def made(day: datetime.date) -> tuple[bytes, str]:
        content = quote_content(stored, "two_packs", "Somebody", today=day)
        return pdf_bytes(quote_pages(content), content.title), quote_html(content)

    assert made(DAY) == made(DAY)
    assert made(DAY) != made(DAY + datetime.timedelta(days=1))


@pytest.mark.parametrize("metric", [False, True])
def test_extremes_fit_on_two_sheets_within_the_margins(stored: StoredResult, metric: bool) -> None:
    stored = extreme(stored)
    stored.document["units"] = "metric" if metric else "us"
    content = quote_content(stored, "two_packs", LONG * 4, notes=LONG * 30, today=DAY)
    figures = quote_pages(content)
    assert len(figures) == MOST_SHEETS
    for figure in figures:
        assert_nothing_cut_off(figure)
        figure.set_dpi(1200)  # a screen's grid widens text; paper has none
        box = figure.get_tightbbox()
        assert box.x0 >= 0.70
        assert box.x1 <= figure.get_figwidth() - 0.70
        assert box.y0 >= 0.45
    words = " ".join(text.get_text() for figure in figures for text in figure.texts)
    assert "Real days differ by" in words[-900:]  # the last paragraph came onto the sheet
    assert len(content.fields) < MOST_FIELDS
    assert "7 further fields" in content.fields_note


def test_html_is_self_contained_and_says_the_same(stored: StoredResult) -> None:
    content = quote_content(stored, "two_packs", "Hollow Creek Farms", today=DAY)
    page = quote_html(content)
    for words in (content.answer, content.limits[0], SIMULATION_NOTE, *content.more):
        assert html.escape(words, quote=False) in page.replace("&#39;", "'")
    assert "default-src 'none'" in page.replace("&#39;", "'")
    assert not re.search(r"(src|href)\s*=\s*[\"'][^#]", page)
    assert page.count("<path") >= 2
    assert "placed for drawing only" in page


class Tags(HTMLParser):
    """Collects tags and attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.add(tag)
        self.found.update(name for name, _ in attrs)


def test_hostile_names_are_inert(tmp_path: Path) -> None:
    stored = read_result(write_folder(tmp_path / "r", {"two_packs": HOSTILE}))
    entry = stored.equipment_set(HOSTILE)
    entry["bottleneck"]["sentence"] = HOSTILE
    entry["bottleneck"]["one_more"][0]["change"] = HOSTILE
    stored.document["title"] = HOSTILE
    table = stored.manifest["resolved"][HOSTILE]
    table["product"]["rate"] = HOSTILE
    table["rig"] = {HOSTILE: table["rig"]["main"]}
    stored.day_records[HOSTILE]["fields"][0]["name"] = HOSTILE
    content = quote_content(stored, HOSTILE, HOSTILE, notes=HOSTILE, today=DAY)
    tags = Tags()
    tags.feed(quote_html(content))
    assert "script" not in tags.found
    assert not [name for name in tags.found if name.startswith("on")]
    assert "\x1b" not in quote_html(content)
    pdf_bytes(quote_pages(content), content.title)


@pytest.mark.parametrize(
    "table", [None, {}, {"rig": 5, "field": "x", "crew": []}, {"rig": {"main": {"aircraft": ["x"], "power": {"a": 1}}}}]
)
def test_odd_scenario_tables_do_no_harm(stored: StoredResult, table: Any) -> None:
    stored.manifest["resolved"]["two_packs"] = table
    stored.day_records.clear()
    content = quote_content(stored, "two_packs", "Somebody", today=DAY)
    for figure in quote_pages(content):
        figure.draw_without_rendering()
    quote_html(content)
    assert content.equipment
    assert content.price == [("Price", "to be agreed")]


def test_fields_come_from_the_scenario_without_a_record(stored: StoredResult) -> None:
    stored.day_records.clear()
    content = quote_content(stored, "two_packs", "Somebody", today=DAY)
    assert [(one.name, one.area) for one in content.fields] == [
        ("east bench", "80.0 acres"),
        ("creek quarter", "120.0 acres"),
        ("mill piece", "45.0 acres"),
    ]
    assert content.fields_note == "3 fields, 245.0 acres together."
    assert content.outlines == []


def test_price_blocks(stored: StoredResult) -> None:
    stored.day_records.clear()
    table = stored.manifest["resolved"]["two_packs"]

    def price(given: float | None = None) -> dict[str, str]:
        return dict(quote_content(stored, "two_packs", "Somebody", price=given, today=DAY).price)

    assert price() == {"Price": "to be agreed"}
    table["costs"] = {"currency": "€", "price_per_acre": 14.0}
    assert price()["Price per acre"] == "€ 14.00"
    assert price()["Fields listed, 245 acres"] == "about € 3,430"  # 14 times 245: arithmetic
    assert price(10.0)["Price per acre"] == "€ 10.00"
    stored.document["units"] = "metric"
    assert price()["Price per ha"] == "€ 34.59"  # 14 / 0.40468564224; acre of NIST SP 811, appendix B
    stored.document["units"] = "us"
    table["costs"] = {"price_per_hour": 200}
    assert price()["Price per rig hour"] == "$ 200.00"
    table["costs"] = {"price_per_acre": "cheap", "currency": HOSTILE}
    assert price() == {"Price": "to be agreed"}


def test_what_one_more_adds_is_only_told_beyond_doubt(stored: StoredResult) -> None:
    hold = stored.equipment_set("two_packs")["bottleneck"]
    hold["one_more"] = [
        {"change": "one more pack", "acres_per_day": 5.0, "ci95": [4.0, 6.0]},
        {"change": "one more helper", "acres_per_day": 7.0, "ci95": [-1.0, 15.0]},
        {"change": "one more charger", "acres_per_day": 9.0, "ci95": [None, None]},
    ]
    assert quote_content(stored, "two_packs", "A", today=DAY).more == ["one more pack: +5.0 (+4.0 to +6.0) acres a day"]
    hold["one_more"] = hold["one_more"][1:]
    assert "beyond doubt" in quote_content(stored, "two_packs", "A", today=DAY).more[0]
    hold["one_more"] = []
    assert "not simulated" in quote_content(stored, "two_packs", "A", today=DAY).more[0]


def test_equipment_is_counted_by_class(stored: StoredResult) -> None:
    rows = dict(quote_content(stored, "three_packs", "A", today=DAY).equipment)
    # 40 / 3.785411784 and 13 / 0.45359237; gallon and pound of NIST SP 811, appendix B
    assert rows["1 aircraft"] == "large (tank 10.6 gal (40 L), swath 30 ft)"
    assert rows["3 packs"] == "large_pack (1800 Wh, 28.7 lb)"
    assert rows["1 generator"] == "twelve (12 kW)"
    assert rows["1 charger"].startswith("fast (8 kW")
    assert rows["crew"] == "pilots: 1, helpers: 1"


def test_a_sheet_has_the_units_it_was_asked_for(stored: StoredResult) -> None:
    """The scenario mixes both systems; acre, gallon, pound and mile of NIST SP 811, appendix B; 24 °C is 75.2 °F."""
    metric_words = re.compile(r"\d (L|kg|m|km|m/s|L/min|°C)\b")

    def sheet(system: str) -> tuple[dict[str, str], dict[str, str]]:
        stored.document["units"] = system
        content = quote_content(stored, "three_packs", "A", today=DAY)
        return dict(content.equipment), dict(content.assumptions)

    equipment, assumed = sheet("us")
    assert assumed["Air temperature"] == "75 °F"
    assert assumed["Altitude"] == "820 ft"
    assert assumed["Way from the yard"] == "8 mi"
    for text in (*equipment.values(), *assumed.values()):
        assert not metric_words.search(text.replace("(40 L)", "")), text
    equipment, assumed = sheet("metric")
    assert equipment["1 aircraft"] == "large (tank 40 L, swath 9.14 m)"
    assert assumed["Air temperature"] == "24 °C"
    assert assumed["Application rate"] == "18.7 L/ha"
    assert assumed["Way from the yard"] == "12.9 km"
    assert assumed["Working speed, large"] == "6.71 m/s"
    for text in (*equipment.values(), *assumed.values()):
        assert not re.search(r"\d (gal|lb|ft|mi|mph|gal/min|°F)\b", text.replace("(200 gal)", "")), text


@pytest.mark.parametrize(
    ("value", "kind", "us", "metric"),
    [
        ("0 degC", TEMPERATURE, "32 °F", "0 °C"),
        ("212 degF", TEMPERATURE, "212 °F", "100 °C"),
        ({"dist": "normal", "mean": "40 km/h", "sd": "5 km/h"}, ROAD_SPEED, "24.9 mph on average (normal)", "40 km/h"),
        ({"dist": "uniform", "low": "10 mph", "high": "20 mph"}, ROAD_SPEED, "10 mph to 20 mph (uniform)", "16.1 km/h"),
        ("15mph", ROAD_SPEED, "15mph", "24.1 km/h"),
        ("5 min", ROAD, "5 min", "5 min"),
        ("many L", TANK, "many L", "many L"),
        ("2,000 L", TANK, "528 gal (2,000 L)", "2,000 L"),
        ("4000 L", TANK, "1,057 gal (4000 L)", "4000 L"),
        ("3 m", None, "3 m", "3 m"),
        (True, None, "yes", "yes"),
        (HOSTILE, TANK, "=1+1", "=1+1"),
    ],
)
def test_quantities_come_in_the_units_of_the_sheet(value: Any, kind: Kind | None, us: str, metric: str) -> None:
    """Conversions by hand (NIST SP 811, appendix B); what cannot be read stays as written."""
    assert quantity_text(value, report_units("us"), kind).startswith(us)
    assert quantity_text(value, report_units("metric"), kind).startswith(metric)


def test_a_headline_on_a_step_is_true_of_the_days(stored: StoredResult) -> None:
    """Most days end on the same fields: as many days as said reach the number, though it had to be rounded."""
    values = [200.46] * 4 + [245.87] * 8
    stored.runs.loc[stored.runs["equipment_set"] == "two_packs", "full_day_acres"] = values
    stored.equipment_set("two_packs")["acres_per_day"] |= {"mean": 230.7, "ci95": [216.0, 246.0]}
    spread = stored.equipment_set("two_packs")["full_work_day_acres"]
    spread |= {"p10": 200.46, "p50": 245.87, "p90": 245.87}
    spread |= {"p10_ci95": [None, None], "p50_ci95": [200.46, 245.87], "p90_ci95": [None, None]}
    content = quote_content(stored, "two_packs", "A", today=DAY)
    found = re.fullmatch(
        r"Half of full days reach (\d+) acres or more; nine in ten reach (\d+) acres or more.", content.answer
    )
    assert found is not None, content.answer
    half, most = (float(text) for text in found.groups())
    assert sum(value >= half for value in values) >= 6
    assert sum(value >= most for value in values) >= 0.9 * 12
    assert half == 245.0  # not 246, which no day reaches
    assert "output goes in steps" in content.details[0]
    spread |= {"p10": 245.87}
    assert quote_content(stored, "two_packs", "A", today=DAY).answer == (
        "Nine full days in ten reach 245 acres or more; half of them do no better."
    )
    stored.runs.loc[stored.runs["equipment_set"] == "two_packs", "full_day_acres"] = [
        200.0 + 3.7 * n for n in range(12)
    ]
    assert "steps" not in quote_content(stored, "two_packs", "A", today=DAY).details[0]


def test_signs_that_the_type_lacks_are_replaced_and_said(stored: StoredResult) -> None:
    """No box: every sign on the sheets is in the type; the footnote counts those that were not; the page has them."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    faces = [get_font(findfont(FontProperties(family="DejaVu Sans", weight=one))) for one in ("normal", "bold")]
    customer, arabic = "\N{CJK UNIFIED IDEOGRAPH-6771}\N{CJK UNIFIED IDEOGRAPH-4EAC} farms", "\N{ARABIC LETTER AIN}"
    wide = "\N{FULLWIDTH LATIN CAPITAL LETTER A}"
    content = quote_content(stored, "two_packs", customer, notes=f"{arabic} Ürün {wide}° Ж", today=DAY)
    words = " ".join(text.get_text() for figure in quote_pages(content) for text in figure.findobj(Text))
    for face in faces:
        assert not {sign for sign in words if not sign.isspace()} - {chr(code) for code in face.get_charmap()}
    assert f"For {REPLACEMENT * 2} farms" in words
    assert f"{REPLACEMENT} Ürün A° Ж" in words
    assert "stands for 3 signs that the type of this sheet lacks" in words
    assert customer in quote_html(content)
    assert arabic in quote_html(content)
    ordinary = quote_content(stored, "two_packs", "Müller & Söhne", today=DAY)
    words = " ".join(text.get_text() for figure in quote_pages(ordinary) for text in figure.findobj(Text))
    assert REPLACEMENT not in words
    assert "lacks" not in words


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"set_name": "six_packs"}, "no equipment set of this result"),
        ({"customer": " \n\x1b"}, "got no name"),
        ({"valid_days": 0}, "allowed is 1 to 3650"),
        ({"valid_days": 10**9}, "allowed is 1 to 3650"),
        ({"price": -1.0}, "allowed is a price"),
        ({"price": float("nan")}, "allowed is a price"),
        ({"out_pdf": Path("quote.txt")}, "ends in .pdf"),
        ({"out_pdf": Path("no/such/folder/quote.pdf")}, "cannot be written"),
    ],
)
def test_bad_requests_are_refused(stored: StoredResult, tmp_path: Path, change: dict[str, Any], message: str) -> None:
    given: dict[str, Any] = {
        "set_name": "two_packs",
        "customer": "A",
        "out_pdf": Path("quote.pdf"),
        "today": DAY,
    } | change
    given["out_pdf"] = tmp_path / given["out_pdf"]
    with pytest.raises(InputError, match=re.escape(message)):
        write_quote(stored, **given)
    assert list(tmp_path.iterdir()) == []


def test_a_content_is_plain_data(stored: StoredResult) -> None:
    content = quote_content(stored, "two_packs", "A", today=DAY)
    json.dumps(dataclasses.asdict(content), default=str)
    assert io.BytesIO(pdf_bytes(quote_pages(content), "x")).read(5) == b"%PDF-"
