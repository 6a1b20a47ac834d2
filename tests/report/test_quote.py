"""Quotes: price and days first, the report's digits, every script shaped, and nothing of a scenario runs or loads."""

import datetime
import functools
import html
import io
import json
import re
from html.parser import HTMLParser

import pytest
from fontTools.ttLib import TTFont
from PIL import Image
from stored_support import HOSTILE, SCENARIOS, sample_job, write_folder

from simulator.errors import InputError
from simulator.plan.day_plan import make_plan
from simulator.report import quote_fonts
from simulator.report.answer import answer_lines
from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.html import report_page
from simulator.report.numbers import report_units
from simulator.report.practice import practitioner_lines
from simulator.report.quantities import ROAD, ROAD_SPEED, TANK, TEMPERATURE, quantity_text
from simulator.report.quote import quote_html, quote_map, write_quote
from simulator.report.quote_content import Asked, quote_content
from simulator.report.quote_fonts import REPLACEMENT, fonts_for
from simulator.report.quote_logo import MOST_PIXELS, read_logo
from simulator.report.quote_pdf import quote_pdf
from simulator.report.stored import read_result
from simulator.scenario.loading import load_scenario

DAY = datetime.date(2026, 5, 4)
LONG = "A name that goes on and on, and a word that never endddddddddddddddddddddddddddddddddddddddddddddddd. "
SQUARE = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 2"><rect width="4" height="2"/>{}</svg>'


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_folder(tmp_path_factory.mktemp("quote") / "result")


@pytest.fixture
def stored(folder):
    return read_result(folder)


@functools.cache
def sample_plan(folder, name):
    return make_plan(read_result(folder).scenario_of(name))


def content_of(stored, *names, plans=None, **asked):
    names = names or ("two_packs",)
    plans = plans or {name: sample_plan(stored.folder, name) for name in names}
    return quote_content(stored, plans, Asked(**{"customer": "Hollow Creek Farms", "today": DAY} | asked))


def changed(stored, **changes):
    """Change the scenario of a set, and return its plan."""
    stored.manifest["resolved"]["two_packs"] |= changes
    return {"two_packs": make_plan(stored.scenario_of("two_packs"))}


def section(content, title):
    """Return the rows of a section's tables."""
    found = next(one for one in content.sections if one.title == title)
    return [[cell.text for cell in row] for table in found.tables for row in table.rows]


def pdf_text(content):
    pypdf = pytest.importorskip("pypdf")
    reader = pypdf.PdfReader(io.BytesIO(quote_pdf(content, quote_map(content))[0]))
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def test_first_sheet_says_price_and_days_and_the_last_the_cautions(stored, tmp_path):
    pypdf = pytest.importorskip("pypdf")
    plans = {"three_packs": sample_plan(stored.folder, "three_packs")}
    asked = Asked("Hollow Creek Farms", dealer="A dealer", price=12.5, today=DAY)
    files, message = write_quote(stored, plans, asked, tmp_path / "quote.pdf")
    assert [path.name for path in files] == ["quote.pdf", "quote.html"]
    assert message == ""
    reader = pypdf.PdfReader(files[0])
    sheets = [" ".join(page.extract_text().split()) for page in reader.pages]
    # 12.5 times 80 + 120 + 45: arithmetic
    assert "245 acres in 3 fields: $3,062, at $12.50 for each acre" in sheets[0]
    for words in ("From A dealer", "For Hollow Creek Farms", "valid until 2026-06-03", "work days for the job"):
        assert words in sheets[0], words
    for words in (SIMULATION_NOTE, "12 simulated runs", "the whole job"):
        assert words in sheets[0], words
    for words in ("minutes a charge takes", "power given", "weight to lift", *CAUTIONS, INVENTED_NOTE):
        assert words in " ".join(sheets), words
        assert html.escape(words, quote=False) in files[1].read_text(encoding="utf-8").replace("&#39;", "'")
    assert reader.metadata["/Title"] == "Quote for Hollow Creek Farms"


def test_the_report_says_the_same_with_the_same_digits(stored):
    """A quote of all sets holds the very sentences and numbers of the report, on a step of output too."""
    spread = stored.equipment_set("two_packs")["full_work_day_acres"]
    spread |= {"p10": 232.6, "p50": 245.87, "p90": 245.87, "p10_ci95": [None, None]}
    names = ("two_packs", "three_packs", "four_packs")
    content, page = content_of(stored, *names), report_page(stored)
    assert list(content.answers) == answer_lines(stored.document)
    for _, text in content.answers:
        for number in re.findall(r"^(\d+) acres a day \(9 (?:days|runs) in 10 at least (\d+)", text)[0]:
            assert re.search(rf">{number}( ± \d+)?</data>", page)
    alone = content_of(stored, "three_packs")
    assert dict(alone.answers)["three_packs"].rstrip(".") in dict(content.answers)["three_packs"]
    assert "packs" not in dict(alone.answers)["three_packs"]


def test_days_of_a_job_that_is_done_once(stored):
    stored.equipment_set("two_packs")["job"] = sample_job()
    plans = changed(stored, work="once")
    rows = dict(section(content_of(stored, plans=plans), ""))
    assert rows["work days for the job"] == "3.4"
    assert rows["done in nine runs of ten by"] == "16:00 on work day 4"
    stored.equipment_set("two_packs")["job"] |= {"done_share": 0.0}
    content = content_of(stored, plans=plans, price=10.0)
    assert content.price == ("245 acres in 3 fields: no price, as the set cannot do the job.",)
    assert content.answers[0][1].startswith("CANNOT")


def test_days_at_the_pace_of_a_list_gone_through_again(stored):
    pace = stored.equipment_set("two_packs")["acres_per_day"]["mean"]
    assert section(content_of(stored), "")[0] == ["work days for the job", f"about {245.0 / pace:.1f}, at this pace"]


def test_every_field_with_its_own_rate_and_the_whole_job(stored):
    fields = [
        {"name": "east", "area": "80 acre"},
        {"name": "الحقل", "area": "20 acre", "rate": "5 gal/acre", "product": "mix B"},
        *({"name": f"strip {number}", "area": "1 acre"} for number in range(40)),
    ]
    plans = changed(stored, field=fields)
    rows = section(content_of(stored, plans=plans), "Fields")
    assert rows[:2] == [
        ["1", "east", "liquid", "2 gal/acre", "80.0", "160"],
        ["2", "الحقل", "mix B", "5 gal/acre", "20.0", "100"],
    ]
    assert len(rows) == 43
    # 80 and 40 at 2, 20 at 5: arithmetic
    assert rows[-1] == ["", "the whole job", "", "", "140.0", "340"]
    with_others = {**plans, "three_packs": sample_plan(stored.folder, "three_packs")}
    titles = [
        table.title for one in content_of(stored, plans=with_others).sections if one.has_map for table in one.tables
    ]
    assert titles == ["two_packs", "three_packs"]


@pytest.mark.parametrize(
    ("costs", "asked", "says"),
    [
        (None, None, "price to be agreed"),
        ({"currency": "€", "price_per_acre": 14.0}, None, "€3,430, at €14.00 for each acre"),  # 14 times 245
        ({"price_per_acre": 14.0}, 10.0, "$2,450, at $10.00 for each acre"),
        ({"price_per_hour": 200}, None, "at $200.00 for each paid hour"),
    ],
)
def test_prices(stored, costs, asked, says):
    plans = changed(stored, **({} if costs is None else {"costs": costs}))
    content = content_of(stored, plans=plans, price=asked)
    assert len(content.price) == 1
    assert says in content.price[0]


def test_a_price_an_acre_on_a_metric_sheet(stored):
    stored.document["units"] = "metric"
    content = content_of(stored, plans=changed(stored, costs={"price_per_acre": 14.0}, units="metric"))
    assert "at $34.59 for each ha" in content.price[0]  # 14 / 0.40468564224; acre of NIST SP 811, appendix B
    assert content.paper == "a4"


def test_equipment_is_the_sets_own_with_its_prices(stored):
    """40 L and 13 kg in gallons and pounds of NIST SP 811, appendix B."""
    item = {"purchase": 1000}
    costs = {"aircraft": {"large": {"purchase": 24000}}, "pack": {"large_pack": item}, "charger": {"fast": item}}
    plans = changed(stored, costs=costs)
    spare = stored.manifest["resolved"]["two_packs"]["aircraft"]["large"]
    stored.manifest["resolved"]["two_packs"]["aircraft"]["spare"] = spare
    rows = section(content_of(stored, plans=plans), "Equipment")
    assert rows[0] == ["40 L aircraft (tank 10.6 gal, swath 30 ft)", "1", "$24,000", "$24,000"]
    assert ["1,800 Wh pack (28.7 lb)", "2", "$1,000", "$2,000"] in rows
    assert ["12 kW generator", "1", "–", "–"] in rows
    assert rows[-1] == ["all that has a price", "", "", "$27,000"]
    assert not any("spare" in cell for row in rows for cell in row)
    stored.manifest["resolved"]["two_packs"]["pack"]["large_pack"]["label"] = ""
    plans = {"two_packs": make_plan(stored.scenario_of("two_packs"))}
    nameless = ["pack (large pack) (1800 Wh, 28.7 lb)", "2", "$1,000", "$2,000"]
    assert nameless in section(content_of(stored, plans=plans), "Equipment")


def test_a_grower_sees_no_keys(stored):
    """A shipped scenario, whose classes and sets have labels: their keys stand nowhere, nor the operator's tables."""
    equipment = load_scenario(SCENARIOS / "third_pack.toml").equipment_set("three_packs")
    content = content_of(stored, "three_packs", plans={"three_packs": make_plan(equipment)})
    page = quote_html(content)
    keys = [*equipment.scenario.aircraft, *equipment.scenario.pack, *equipment.scenario.charger,
            *equipment.scenario.generator]  # fmt: skip
    assert len(keys) >= 4
    assert not [key for key in keys if re.search(rf"\b{key}\b", page)]
    assert not [words for words in ("one more", "hold this set back", "Swap", "utilisation") if words in page]


def test_sets_stand_side_by_side(stored):
    content = content_of(stored, "four_packs", "two_packs")
    columns = {table.columns for one in content.sections for table in one.tables if one.title != "Fields"}
    assert ("", "four_packs", "two_packs") in columns
    assert [name for name, _ in content.answers] == ["four_packs", "two_packs"]
    assert "more than two_packs" in content.answers[0][1] or "told apart from two_packs" in content.answers[0][1]
    assert "three_packs" not in quote_html(content)


def test_what_a_practitioner_checks_is_the_models_own(stored):
    lines = dict(practitioner_lines(sample_plan(stored.folder, "two_packs")))
    assert lines["power given"] == "9.5 kW"
    assert lines["people needed to lift it"] == "2"
    for words in ("acres a load", "loads a charge", "minutes in the air", "minutes a charge takes", "power asked"):
        assert words in lines, words
    assert 0.0 < float(lines["charge left at landing"].removesuffix(" %")) < 100.0


def test_each_rig_has_its_own_line_of_what_a_practitioner_checks():
    plan = make_plan(load_scenario(SCENARIOS / "two_rigs.toml").equipment_set("two_rigs"))
    lines = dict(practitioner_lines(plan))
    assert lines["power asked"] == "9 kW each"
    assert lines["people needed to lift it"] == "2 each"
    plan = make_plan(load_scenario(SCENARIOS / "two_sizes.toml").equipment_set("both"))
    lines = dict(practitioner_lines(plan))
    assert re.fullmatch(r"40 L aircraft: [\d.]+; 20 L aircraft: [\d.]+", lines["acres a load"])
    assert lines["people needed to lift it"] == "40 L aircraft: 2; 20 L aircraft: 1"
    assert lines["power asked"] == "for large: 9 kW; for small: 4.9 kW"


@pytest.mark.parametrize("system", ["us", "metric"])
def test_a_sheet_has_the_units_it_was_asked_for_and_no_others(stored, system):
    """The scenario mixes both systems; acre, gallon, pound and mile of NIST SP 811, appendix B; 24 °C is 75.2 °F."""
    stored.document["units"] = system
    content = content_of(stored, plans=changed(stored, units=system))
    assumed = dict(section(content, "What was assumed"))
    expected = {"us": ("75 °F", "820 ft", "8 mi", "15 mph"), "metric": ("24 °C", "250 m", "12.9 km", "6.71 m/s")}
    labels = ("Air temperature", "Altitude", "Road to the first field", "Working speed")
    assert tuple(assumed[label] for label in labels) == expected[system]
    other = {"us": r"\d (L|kg|m|km|m/s|L/min|°C|ha)\b", "metric": r"\d (gal|lb|ft|mi|mph|gal/min|°F|acres?)\b"}[system]
    words = [cell.text for one in content.sections for table in one.tables for row in table.rows for cell in row]
    # what a piece is called ("40 L aircraft") is its name, in whatever units
    names = "|".join(map(re.escape, re.findall(r'"label": "([^"]+)"', json.dumps(stored.manifest["resolved"]))))
    words = [re.sub(names, "", text) for text in words]
    assert not [text for text in (*words, *content.price) if re.search(other, text)]


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
        ("2,000 L", TANK, "528 gal", "2,000 L"),
        ("4000 L", TANK, "1,057 gal", "4000 L"),
        ("3 m", None, "3 m", "3 m"),
        (True, None, "yes", "yes"),
        (HOSTILE, TANK, "=1+1", "=1+1"),
    ],
)
def test_quantities_come_in_the_units_of_the_sheet(value, kind, us, metric):
    """Conversions by hand (NIST SP 811, appendix B); what cannot be read stays as written."""
    assert quantity_text(value, report_units("us"), kind).startswith(us)
    assert quantity_text(value, report_units("metric"), kind).startswith(metric)


@pytest.mark.parametrize(("paper", "size_pt"), [("letter", (612, 792)), ("a4", (595, 842))])
def test_long_texts_stay_on_the_paper(stored, paper, size_pt):
    """Everything that can be long is very long: nothing is lost or cut off, on Letter (8.5 by 11 in) and A4."""
    pypdf = pytest.importorskip("pypdf")
    fields = [{"name": f"{LONG[:70]}{number}", "area": "1 acre"} for number in range(40)]
    plans = changed(stored, field=fields)
    stored.equipment_set("two_packs")["bottleneck"]["sentence"] = LONG * 20
    content = content_of(stored, plans=plans, customer=LONG * 4, dealer=LONG * 4, notes=LONG * 30, paper=paper)
    reader = pypdf.PdfReader(io.BytesIO(quote_pdf(content, quote_map(content))[0]))
    places = []
    for sheet in reader.pages:
        assert tuple(round(float(side)) for side in sheet.mediabox[2:]) == size_pt
        sheet.extract_text(visitor_text=lambda _, __, at, *___: places.append((at[4], at[5])))
    assert all(0.0 <= x < size_pt[0] and 0.0 <= y < size_pt[1] for x, y in places)
    text = " ".join(" ".join(sheet.extract_text() for sheet in reader.pages).split())
    assert text.replace(" ", "").count("endddd") > 70
    assert CAUTIONS[-1] in text


def test_same_day_same_bytes_another_day_another_date(stored):
    def made(day):
        content = content_of(stored, today=day)
        return quote_pdf(content, quote_map(content))[0], quote_html(content)

    assert made(DAY) == made(DAY)
    assert made(DAY) != made(DAY + datetime.timedelta(days=1))


def test_scripts_are_shaped(stored):
    """Arabic joins: the sheet's font holds the final form of reh (U+FEAE) for a word written with the letter itself."""
    pypdf = pytest.importorskip("pypdf")
    content = content_of(stored, dealer="مزارع بر")
    data, message = quote_pdf(content, quote_map(content))
    assert message == ""
    assert "مزارع بر" in quote_html(content)
    fonts = pypdf.PdfReader(io.BytesIO(data)).pages[0]["/Resources"]["/Font"].values()
    files = [font["/DescendantFonts"][0]["/FontDescriptor"]["/FontFile2"].get_data() for font in fonts]
    base = TTFont(fonts_for("").base[""])
    final = _outline(base, base.getBestCmap()[0xFEAE])
    embedded = [TTFont(io.BytesIO(file)) for file in files]
    assert final in [_outline(font, name) for font in embedded for name in font.getGlyphOrder()]


def _outline(font, name):
    return list(font["glyf"][name].getCoordinates(font["glyf"])[0])


def test_signs_that_no_font_has_are_named(stored, monkeypatch):
    monkeypatch.setattr(quote_fonts, "_system_fonts", list)
    content = content_of(stored, customer="東京 farms", notes="Ürün Ж नम\N{VARIATION SELECTOR-16}")
    message = quote_pdf(content, quote_map(content))[1]
    assert "京 (U+4EAC), 東 (U+6771)" in message
    assert "न (U+0928)" in message
    assert "Ж" not in message
    assert "U+FE0F" not in message
    text = pdf_text(content)
    assert f"For {REPLACEMENT}{REPLACEMENT} farms" in text
    assert "(U+6771)" in text
    assert "東京 farms" in quote_html(content)


def test_a_font_of_the_system_that_has_the_signs_is_used(tmp_path, monkeypatch):
    base = fonts_for("").base[""]
    with TTFont(base) as font:
        for table in font["cmap"].tables:
            table.cmap = {0x6771: "A", 0x4EAC: "B"} if table.isUnicode() else {}
        font.save(tmp_path / "some.ttf")
    (tmp_path / "broken.ttf").write_bytes(b"\0\1\0\0 no font")
    candidates = [tmp_path / "broken.ttf", base, tmp_path / "some.ttf"]
    monkeypatch.setattr(quote_fonts, "_system_fonts", lambda: candidates)
    found = fonts_for("東京 A")
    assert found.further == (tmp_path / "some.ttf",)
    assert found.message == ""


class Tags(HTMLParser):
    """Collects tags and attributes."""

    def __init__(self):
        super().__init__()
        self.found = set()

    def handle_starttag(self, tag, attrs):
        self.found.add(tag)
        self.found.update(name for name, _ in attrs)


def test_hostile_names_are_inert(tmp_path):
    stored = read_result(write_folder(tmp_path / "r", {"two_packs": HOSTILE}))
    entry = stored.equipment_set(HOSTILE)
    entry["bottleneck"]["sentence"] = HOSTILE
    entry["bottleneck"]["one_more"][0]["change"] = HOSTILE
    stored.document["title"] = HOSTILE
    plans = {HOSTILE: make_plan(stored.scenario_of(HOSTILE))}
    content = content_of(stored, plans=plans, customer=HOSTILE, dealer=HOSTILE, notes=HOSTILE)
    page, tags = quote_html(content), Tags()
    tags.feed(page)
    assert "script" not in tags.found
    assert not [name for name in tags.found if name.startswith("on")]
    assert not re.search(r"(src|href)\s*=\s*[\"'][^#]", page)
    assert "default-src 'none'" in page.replace("&#39;", "'")
    assert "\x1b" not in page
    assert "alert(1)" in pdf_text(content)


@pytest.mark.parametrize("table", [None, {}, {"rig": 5, "field": "x"}, {"rig": {"main": {"aircraft": ["x"]}}}])
def test_a_scenario_that_is_not_valid_is_refused(stored, table):
    resolved = stored.manifest["resolved"]
    resolved["two_packs"] = table if table is None else resolved["two_packs"] | table if table else {}
    with pytest.raises(InputError, match=r"allowed|missing"):
        stored.scenario_of("two_packs")
    with pytest.raises(InputError, match="no equipment set of this result"):
        stored.scenario_of("six_packs")


@pytest.mark.parametrize(
    ("asked", "out", "message"),
    [
        ({"customer": " \n\x1b"}, "quote.pdf", "got no name"),
        ({"price": -1.0}, "quote.pdf", "allowed is a price"),
        ({"price": float("nan")}, "quote.pdf", "allowed is a price"),
        ({}, "quote.txt", "ends in .pdf"),
        ({}, "no/such/folder/quote.pdf", "cannot be written"),
    ],
)
def test_bad_requests_are_refused(stored, tmp_path, asked, out, message):
    plans = {"two_packs": sample_plan(stored.folder, "two_packs")}
    with pytest.raises(InputError, match=re.escape(message)):
        write_quote(stored, plans, Asked(**{"customer": "A", "today": DAY} | asked), tmp_path / out)
    assert list(tmp_path.iterdir()) == []


def picture(path, form):
    Image.new("RGB", (40, 20), "green").save(path, format=form, comment="made at home")
    return path


@pytest.mark.parametrize("form", ["PNG", "JPEG", "SVG"])
def test_a_logo_stands_on_both_sheets(stored, tmp_path, form):
    pypdf = pytest.importorskip("pypdf")
    path = tmp_path / "logo"
    path.write_text(SQUARE.format(""), encoding="utf-8") if form == "SVG" else picture(path, form)
    logo = read_logo(path)
    assert logo.kind == ("image/svg+xml" if form == "SVG" else "image/png")
    assert b"made at home" not in logo.content
    bare, content = content_of(stored), content_of(stored, logo=logo, dealer="A & B")
    assert f'src="{logo.address}" alt="A &amp; B"' in quote_html(content)
    sizes = [len(quote_pdf(one, quote_map(one))[0]) for one in (bare, content)]
    assert sizes[1] > sizes[0]
    if form != "SVG":
        sheet = pypdf.PdfReader(io.BytesIO(quote_pdf(content, quote_map(content))[0])).pages[0]
        assert [image.image.size for image in sheet.images if image.image.size == (40, 20)]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is no picture"),
        (b"GIF89a not one of them", "is no picture"),
        (b"\x89PNG\r\n\x1a\n cut short", "is no picture"),
        (b" " * 2_000_001, "2"),
        (b"<svg", "is no SVG that can be read"),
        (b'<!DOCTYPE svg [<!ENTITY a "b">]><svg>&a;</svg>', "is no SVG that can be read"),
        (SQUARE.format("<script>alert(1)</script>").encode(), "holds <script>"),
        (SQUARE.format('<image href="/etc/passwd"/>').encode(), "holds <image>"),
        (SQUARE.format('<use href="#a"/>').encode(), "holds <use>"),
        (SQUARE.format('<rect fill="url(http://example.org/a)"/>').encode(), "refers to something"),
        (SQUARE.format('<linearGradient href="file:///etc/passwd"/>').encode(), "refers to something"),
        (SQUARE.format("<g/>" * 6000).encode(), "elements"),
        (b"<html/>", "elements in <html>"),
        (SQUARE.format('<path d="M nonsense"/>').encode(), "cannot be drawn"),
        (SQUARE.format('<rect width="wide" height="2"/>').encode(), "cannot be drawn"),
    ],
)
def test_a_logo_that_is_none_is_refused(tmp_path, content, message):
    (tmp_path / "logo").write_bytes(content)
    with pytest.raises(InputError, match=re.escape(message)):
        read_logo(tmp_path / "logo")


def test_a_logo_too_large_to_draw_is_refused_before_it_is_drawn(tmp_path):
    Image.new("1", (MOST_PIXELS // 1000, 1001)).save(tmp_path / "logo.png")
    with pytest.raises(InputError, match="pixels"):
        read_logo(tmp_path / "logo.png")
