"""The terminal table: fits its width, keeps to supported digits, and lets no foreign text steer the terminal."""

import math
import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stored_support import HOSTILE, sample_document, sample_job, sample_manifest

from simulator.analysis.digits import supported_decimals
from simulator.report.answer import answer_lines
from simulator.report.job_text import job_text
from simulator.report.numbers import (
    clock_seconds,
    clock_text,
    count_text,
    mean_text,
    range_text,
    report_units,
    share_text,
    shared_decimals,
)
from simulator.report.summary import summary_markdown
from simulator.report.text import result_table
from simulator.report.writing import fit, printed_width


def hostile_document():
    document = sample_document()
    document["scenario"] = HOSTILE * 3
    document["equipment_sets"][0]["name"] = HOSTILE
    document["equipment_sets"][0]["bottleneck"]["sentence"] = HOSTILE * 5
    document["equipment_sets"][1]["name"] = "水稻" * 30
    document["paired"][0]["a"] = HOSTILE
    document["stopped"] = HOSTILE
    document["skipped"] = [HOSTILE] * 9
    return document


@pytest.mark.parametrize("width", [60, 72, 80, 100, 160])
@pytest.mark.parametrize("make", [sample_document, hostile_document])
def test_no_line_is_wider_than_the_terminal(width, make):
    for color in (False, True):
        text = result_table(make(), width, color)
        for line in text.split("\n"):
            assert printed_width(line) <= width, line
            assert line == line.rstrip()


def test_widths_out_of_range_are_taken_as_the_nearest_allowed():
    document = sample_document()
    assert result_table(document, 10) == result_table(document, 60)
    assert result_table(document, 900) == result_table(document, 160)


def test_colour_only_when_asked_and_never_from_a_name():
    assert "\x1b" not in result_table(hostile_document(), 80, False)
    assert "\u202e" not in result_table(hostile_document(), 80, False)
    colored = result_table(hostile_document(), 80, True)
    assert "\x1b[1m" in colored
    assert "\x1b[31m" not in colored
    assert re.sub(r"\x1b\[\d*m", "", colored) == result_table(hostile_document(), 80, False)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_table_says_what_the_document_says(units):
    document = sample_document(units)
    text = result_table(document, 160)
    volume = "gal" if units == "us" else "L"
    key, unit = ("acres_per_day", "acres") if units == "us" else ("hectares_per_day", "ha")
    assert f"{unit}/day" in text
    assert "12 runs a set" in text
    for entry in document["equipment_sets"]:
        row = next(line for line in text.split("\n") if line.startswith(f"{entry['name']} "))
        days = entry["full_work_day_acres" if units == "us" else "full_work_day_hectares"]
        for value in (entry[key]["mean"], days["p10"], days["p50"], days["p90"]):
            assert f" {value:.0f} " in row
        fuel = entry["per_day"]["generator_fuel_l"] * (1.0 if units == "metric" else 1 / 3.785411784)
        assert f" {count_text(fuel)} {volume}" in row  # US gallon: NIST SP 811, appendix B
        assert entry["bottleneck"]["sentence"] in " ".join(text.split())
    # each set beside the next in rank, and no other pair
    ranked = [one["name"] for one in sorted(document["equipment_sets"], key=lambda one: -one[key]["mean"])]
    assert re.findall(r"^(\w+ over \w+): ", text, re.M) == [f"{a} over {b}" for a, b in pairwise(ranked)]


def test_table_with_missing_parts():
    document = sample_document()
    entry = document["equipment_sets"][0]
    entry["acres_per_field_hour"] = None
    entry["per_day"]["paid_hours"] = None
    for one in document["equipment_sets"]:
        one["per_day"]["generator_fuel_l"] = 0.0
    document["paired"] = []
    document["stopped"] = "interrupted"
    document["skipped"] = [f"feature {number}: sliver" for number in range(5)]
    text = result_table(document, 100)
    assert "–" in text
    assert "energy" in text
    assert "Differences" not in text
    assert "Stopped early: interrupted." in text
    assert "Left out of the field file: 5" in text
    assert "and 2 more" in text


def test_the_job_in_words():
    document = sample_document()
    entry = document["equipment_sets"][0]
    assert job_text(document, entry) == ""
    job = entry["job"] = sample_job()
    text = job_text(document, entry)
    # 07:00 and 8.5 h are 15:30: arithmetic
    assert text == (
        "The job of 760 acres takes 3.4 ± 0.1 work days; half of the runs are done by 15:30 on work day 4, nine in"
        " ten by 16:00 on work day 4."
    )
    table = " ".join(result_table(document, 160).split())
    assert "third_pack: 760 acres, 12 runs a set" in table
    assert "3.4 ± 0.1 day 4 15:30 day 4 16:00 $8.40 ± 0.10" in table
    document["units"] = "metric"
    # 760 acres are 307.6 ha, and $ 8.40 an acre $ 20.76 a hectare
    assert "job of 308 ha" in job_text(document, entry)
    assert "$20.76 ± 0.25" in result_table(document, 160)
    document["units"] = "us"
    job |= {"done_share": 0.5, "finish": {"p50": job["finish"]["p50"], "p90": None}, "cost_per_acre": None}
    assert job_text(document, entry).endswith(
        "half of the runs are done by 15:30 on work day 4. Only 50 % of the runs were done within 60 work days."
    )
    del document["day_start_s"]
    assert "done by 8.5 h after the start on work day 4" in job_text(document, entry)


def test_a_set_that_cannot_do_the_job_comes_first():
    document = sample_document()
    entry = document["equipment_sets"][1]
    entry["job"] = sample_job() | {"done_share": 0.0, "finish": {"p50": None, "p90": None}}
    lines = result_table(document, 160).splitlines()
    said = "three_packs: CANNOT DO THE JOB of 760 acres. None of 12 runs was done within 60 work days."
    assert lines[2] == said
    assert lines.count(said) == 1
    assert not any(line.startswith("three_packs: The job of") for line in lines)
    entry["job"] |= {"out_of_reach_acres": 12.0, "unreached_fields": [f"f{place}" for place in range(7)]}
    said = "12 acres of it (in f0, f1, f2, f3, f4 and 2 more) are out of reach of every charge."
    assert result_table(document, 160).splitlines()[2] == f"three_packs: CANNOT DO THE JOB of 760 acres. {said}"
    entry["job"] |= {"done_share": 1.0}
    first = " ".join(result_table(document, 160).splitlines()[2:4])
    assert first.startswith("three_packs: ")
    assert said in " ".join(first.split())


def test_numbers_as_text_on_hand_worked_values():
    # half-width 0.7 supports one decimal, 14 whole numbers, 3.4 whole numbers: the rule of estimates.supported_decimals
    assert mean_text(226.13, [225.43, 226.83]) == "226.1 ± 0.7"
    assert mean_text(226.13, [212.0, 240.0]) == "226 ± 14"
    assert mean_text(226.13, [223.0, 229.8]) == "226 ± 3"
    assert mean_text(1234.0, [1000.0, 1900.0]) == "1200 ± 400"
    assert mean_text(226.13, [None, None]) == "226"
    assert mean_text(5.0, [5.0, 5.0]) == "5.00 (no variation seen)"
    # what rounding leaves of equal days is no interval of fifteen digits
    assert mean_text(226.1, [226.09999999999997, 226.10000000000002]) == "226 (no variation seen)"
    assert range_text(0.0, [0.0, 0.0], sign=True) == "0 (no variation seen)"
    assert range_text(23.09, [22.40, 23.79], sign=True) == "+23.1 (+22.4 to +23.8)"
    assert range_text(-0.04, [-0.9, 0.9], sign=True) == "0.0 (-0.9 to +0.9)"
    # in a comparison all have the digits of the widest interval; a difference from nothing is not rounded to nothing
    assert shared_decimals([[225.43, 226.83], [212.0, 240.0], None], 1) == 0
    assert mean_text(226.13, [225.93, 226.33], 0) == "226 ± 1"
    assert range_text(0.4, [0.2, 0.6], finest=0) == "0.40 (0.20 to 0.60)"
    assert range_text(0.4, [-0.2, 1.0], finest=0) == "0 (0 to 1)"
    assert count_text(44.2) == "44"
    assert count_text(9.94) == "9.9"
    assert count_text(None) == count_text(math.nan) == "–"
    assert share_text(0.001) == "< 1 %"
    assert share_text(0.0) == "0 %"
    assert share_text(0.425) == "42 %"
    assert clock_text(7 * 3600 + 59.6 * 60) == "08:00"
    assert clock_text(25 * 3600) == "01:00"
    assert clock_seconds("07:30") == 27_000


@pytest.mark.parametrize("clock", ["", "7", "24:00", "12:60", "aa:bb", "-1:00"])
def test_impossible_clock_times_are_refused(clock):
    with pytest.raises(ValueError, match="allowed is such as '07:00'"):
        clock_seconds(clock)


def test_units_are_known_by_name_only():
    assert report_units("metric").per_acre == pytest.approx(0.40468564224)  # NIST SP 811, appendix B
    assert report_units("us").per_kilogram == pytest.approx(2.2046226, rel=1e-7)  # NIST SP 811, appendix B
    with pytest.raises(ValueError, match="allowed is"):
        report_units("imperial")


@given(st.floats(-1e6, 1e6), st.floats(1e-2, 1e6))
def test_mean_is_never_written_finer_than_its_interval(mean, half):
    text = mean_text(mean, [mean - half, mean + half])
    value, _, width = text.partition(" ± ")
    decimals = len(value.partition(".")[2])
    assert decimals <= max(0, supported_decimals(half * 1.0001) + 1)
    assert abs(float(value) - mean) <= 0.51 * 10.0 ** -supported_decimals(half * 0.9999)
    assert len(width.replace(".", "").strip("0")) <= 2


@given(st.text(max_size=60), st.integers(3, 40))
def test_fit_never_passes_its_width_nor_carries_controls(text, width):
    shown = fit(text, width)
    assert printed_width(shown) <= width
    assert not any(ord(character) < 32 or character in "\x7f\u202e\u2028" for character in shown)


def test_a_tie_is_said_to_count_half():
    """Ties count half in a_wins_share: on the terminal, where there is a pair, and in the summary."""
    document = sample_document()
    words = "a run in which both did the same counts half"
    assert words in " ".join(result_table(document, 60).split())
    assert "a tie counts half" in summary_markdown(document, sample_manifest())
    document["paired"] = []
    assert words not in " ".join(result_table(document, 60).split())
    assert "a tie counts half" not in summary_markdown(document, sample_manifest())


def test_sets_that_are_alike_stand_in_the_order_of_their_cost() -> None:
    document = sample_document()
    two, three = document["equipment_sets"][:2]
    document["equipment_sets"], document["paired"] = (
        [two, three],
        [{"a": "two_packs", "b": "three_packs", "difference": -0.4, "ci95": [-1.0, 0.2], "a_wins_share": 0.4}],
    )
    two["acres_per_day"] |= {"mean": three["acres_per_day"]["mean"] - 0.4}
    assert [name for name, _ in answer_lines(document)] == ["three_packs", "two_packs"]
    for entry, cost in ((two, 7.0), (three, 8.0)):
        entry["job"] = sample_job() | {"cost_per_acre": {"mean": cost, "ci95": [cost - 0.1, cost + 0.1]}}
    lines = answer_lines(document)
    assert [name for name, _ in lines] == ["two_packs", "three_packs"]
    assert "hardly told apart from three_packs, and costs less" in lines[0][1]
    document["paired"][0]["ci95"] = [-4.0, -3.0]
    document["paired"][0]["difference"] = -3.5
    assert [name for name, _ in answer_lines(document)] == ["three_packs", "two_packs"]


def test_a_bad_day_is_of_what_the_mean_is_of() -> None:
    document = sample_document()
    entry = document["equipment_sets"][0]
    assert "9 days in 10 at least" in dict(answer_lines(document))["two_packs"]
    for one in document["equipment_sets"]:
        one["job"] = sample_job()
    assert f"9 runs in 10 at least {entry['acres_per_day']['p10']:.0f})" in dict(answer_lines(document))["two_packs"]
    entry["job"] = document["equipment_sets"][1]["job"] = document["equipment_sets"][2]["job"] = None
    document["equipment_sets"][1]["full_work_day_acres"]["p10"] = 999.0
    assert "9 runs in 10 at least" in dict(answer_lines(document))["two_packs"]
