"""``summary.md``: all parts are there, the numbers are the document's, and names cannot mark anything up."""

import re

import pytest
from stored_support import HOSTILE, sample_document, sample_job, sample_manifest

from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.numbers import mean_text
from simulator.report.summary import markdown_text, summary_markdown


def cells(markdown, first):
    """Return the cells of the table row that begins with a cell."""
    row = next(line for line in markdown.split("\n") if line.startswith(f"| {first} |"))
    return [cell.strip() for cell in row.strip("|").split(" | ")]


@pytest.mark.parametrize("units", ["us", "metric"])
def test_summary_holds_the_answer_first_and_every_part(units):
    document = sample_document(units)
    page = summary_markdown(document, sample_manifest())
    assert re.match(r"# Third pack\n\n- \*\*(three|four)_packs\*\*: ", page)
    key = "acres_per_day" if units == "us" else "hectares_per_day"
    for entry in document["equipment_sets"]:
        row = cells(page, entry["name"])
        assert row[1] == mean_text(entry[key]["mean"], entry[key]["ci95"], 0)
        assert row[-1] == "12"
        assert f"(timeline_{entry['name']}.svg)" in page
        assert markdown_text(entry["bottleneck"]["sentence"]) in page
        for change in entry["bottleneck"]["one_more"]:
            assert markdown_text(change["change"]) in page
    for name in ("acres.svg", "time_use.svg", "manifest.json"):
        assert name in page
    for text in (*CAUTIONS, SIMULATION_NOTE, INVENTED_NOTE):
        assert text in page
    assert "seed 11" in page
    assert "command: acreday run third_pack.toml" in page


def test_tables_are_whole():
    page = summary_markdown(sample_document(), sample_manifest())
    block = []
    for line in [*page.split("\n"), ""]:
        if line.startswith("|"):
            block.append(len(re.findall(r"(?<!\\)\|", line)))
        elif block:
            assert len(set(block)) == 1, line
            assert len(block) >= 3
            block = []


def test_time_shares_sum_to_the_whole():
    document = sample_document()
    page = summary_markdown(document, sample_manifest())
    start = page.index("| state | group |")
    rows = page[start:].split("\n\n")[0].split("\n")[2:]
    whole = sum(int(found.group(1)) for row in rows if (found := re.search(r"\| (\d+) % \|", row)))
    assert abs(whole - 100) <= len(rows)  # each share is rounded to a whole per cent


def test_parts_that_do_not_apply_are_left_out():
    document = sample_document()
    document["equipment_sets"] = document["equipment_sets"][:1]
    document["equipment_sets"][0]["bottleneck"]["one_more"] = []
    document["equipment_sets"][0]["acres_per_field_hour"] = None
    document["paired"] = []
    document["invented"] = False
    page = summary_markdown(document, {})
    for absent in ("What one more", "Sets compared", "The whole job", "Left out of", INVENTED_NOTE, "command:"):
        assert absent not in page
    document["skipped"] = [f"feature {number}" for number in range(60)]
    document["stopped"] = "interrupted"
    document["equipment_sets"][0]["job"] = sample_job()
    page = summary_markdown(document, {})
    assert "and 20 more in `result.json`" in page
    assert "**Stopped early:** interrupted." in page
    assert "| two_packs | 3.4 ± 0.1 | day 4 15:30 | day 4 16:00 | $8.40 ± 0.10 | 0 % | 100 % |" in page


def test_names_mark_nothing_up():
    document, manifest = sample_document(), sample_manifest()
    document["title"] = HOSTILE
    document["equipment_sets"][0]["name"] = HOSTILE
    document["equipment_sets"][0]["bottleneck"]["sentence"] = HOSTILE
    document["equipment_sets"][0]["bottleneck"]["one_more"][0]["change"] = "[x](javascript:alert(1))"
    document["paired"][0]["a"] = HOSTILE
    document["skipped"] = [HOSTILE, "![](http://example.org/x.png)"]
    manifest["command"] = f"acreday run {HOSTILE}"
    page = summary_markdown(document, manifest)
    assert "<" not in page.replace("< 1 %", "")
    assert "\x1b" not in page
    assert "](javascript" not in page.replace("\\]", "")
    assert "![](http" not in page
    assert re.findall(r"\]\(([^)]*)\)", page.replace("\\]", "")) == [
        "acres.svg",
        "time_use.svg",
        *re.findall(r"\((timeline_[^)]*)\)", page),
    ]


def test_escaping_on_known_texts():
    assert markdown_text("two_packs") == "two_packs"
    assert markdown_text("_em_ *strong* `code`") == r"\_em\_ \*strong\* \`code\`"
    assert markdown_text("a|b <i> & #1") == r"a\|b &lt;i&gt; &amp; \#1"
    assert markdown_text("line\nbreak\ttab") == "line break tab"
    assert "http:" not in markdown_text("http://example.org")
