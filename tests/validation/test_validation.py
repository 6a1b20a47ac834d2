"""The validation page: its numbers are those of the model, its sums are right, and its words fit its numbers."""

import math
import re
from itertools import pairwise
from pathlib import Path

import pytest
import validation_page as made
from validation_check import Check, between, work_rate_formula_s_per_ha
from validation_numbers import validate_model
from validation_page import ROWS, band_text, number_text, outcome, range_keys, read_numbers, validation_page

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "reports" / "validation.md"
DAYS = 5
STANDARD_ERRORS = 5.0
PRINTED = 1e-3
"""Numbers of the page have four significant digits."""


@pytest.fixture(scope="module")
def checks():
    return validate_model(DAYS, seed=77)


@pytest.fixture(scope="module")
def by_key(checks):
    return {check.key: check for check in checks}


# --- the page ---


def test_page_is_up_to_date(checks):
    """Another seed and fewer days give the page's numbers within standard errors."""
    text = PAGE.read_text("utf-8")
    page_days = int(re.search(r"(\d+) simulated days", text).group(1))
    page = read_numbers(text)
    assert list(page) == [check.key for check in checks if check.row is None] + [
        check.key for check in checks if check.row is not None
    ]
    # spread of a day from the page's many days: six days know their own spread too poorly
    off = {}
    for check in checks:
        mean, error = page[check.key]
        room = STANDARD_ERRORS * error * math.sqrt(1.0 + page_days / DAYS) + PRINTED * abs(mean)
        if abs(check.simulated - mean) > room:
            off[check.key] = (check.simulated, mean, room)
    assert off == {}


def test_page_says_every_row_and_every_miss(checks):
    text = validation_page(checks, DAYS, 77, "the command")
    for row in ROWS:
        result = outcome(row.number, checks)
        assert f"### {row.number}. {row.title}\n" in text
        assert all(f"{key}" in text for key in result.misses)
        assert bool(row.why_not) is not result.held
        assert row.miss or not result.misses
    assert "not explained yet" not in text
    assert "nan" not in text


def test_rows_are_the_twenty_one_in_order(checks):
    assert [row.number for row in ROWS] == list(range(1, 22))
    assert {check.row for check in checks} <= {None, *range(22)}
    assert len({check.key for check in checks}) == len(checks)


def test_files_named_on_the_page_exist():
    named = set(re.findall(r"tests/[a-z_/]+\.py", PAGE.read_text("utf-8")))
    assert len(named) > 10
    assert all((ROOT / name).is_file() for name in named)


# --- formulas ---


def test_work_rate_worked_example():
    """Baltin 1959 (formula from memory); the worked numbers are arithmetic of this project, term by term."""
    common = {"rate_l_ha": 20.0, "load_l": 40.0, "ferry_m_s": 8.0, "swath_m": 8.0, "pass_m": 300.0, "field_ha": 8.0}
    nothing = {"load_s": 0.0, "spray_m_s": 1e12, "turn_s": 0.0, "ferry_m": 0.0, "between_m": 0.0}
    terms = {"load_s": (180.0, 90.0), "spray_m_s": (6.0, 208.33), "turn_s": (6.0, 25.0), "ferry_m": (150.0, 18.75),
             "between_m": (2000.0, 31.25)}  # fmt: skip
    for key, (value, term) in terms.items():
        assert work_rate_formula_s_per_ha(**common, **{**nothing, key: value}) == pytest.approx(term, abs=0.005)
    whole = work_rate_formula_s_per_ha(**common, **{key: value for key, (value, _) in terms.items()})
    assert whole == pytest.approx(373.33, abs=0.005)
    assert 3600.0 / whole == pytest.approx(9.643, abs=5e-4)


def test_the_model_meets_the_formulas(checks, by_key):
    assert [check.key for check in checks if check.row is None and check.verdict != "agrees"] == []
    # work rate: 34 whole passes for 33.3, less 5 turns of 6 s not flown (one of 33, and what the fraction counts)
    exact = 373.0 + 1.0 / 3.0 + ((34 - 100.0 / 3.0) * 50.0 - (100.0 / 3.0 - 32) * 6.0) / 8.0
    assert by_key["work rate"].simulated == pytest.approx(exact, rel=1e-6)
    # US Army TM 5-3740-218-13P and Mesa County, stationary calibration: mph x ft / 495 is acres a minute
    assert by_key["flow"].simulated == pytest.approx(1.818, abs=5e-4)
    assert by_key["capacity, 15 mph"].simulated == pytest.approx(54.55, abs=5e-3)
    # Progressive Forage, field efficiency page: 30 ft at 5 mph
    assert by_key["capacity, 5 mph"].simulated == pytest.approx(18.2, abs=0.05)
    for key, share in (("turns, 100 m", 0.735), ("turns, 300 m", 0.893), ("turns, 1000 m", 0.965)):
        assert by_key[key].low == pytest.approx(share, abs=5e-4)


# --- measurements: what the page's words rest on ---


@pytest.mark.parametrize(
    ("key", "contained"),
    [("1 share", False), ("0 10 L", True), ("2 spray", True), ("2 ground", False), ("3", True), ("5 flown", True),
     ("5 field", True), ("6", True), ("9", True),
     ("18 cost 1000", True), ("18 cost 4000", True), ("20 pace", True), ("21 minutes", True)],
)  # fmt: skip
def test_ranges_contain_the_measurement_or_are_told_as_a_miss(checks, key, contained):
    assert between(checks, key) is contained


def test_run_length_shape_needs_a_crew_that_follows_the_work(by_key):
    """Frontiers productivity study: rising to runs of 1500 m, then flat or slightly falling."""
    assert [by_key[f"1 100 {run} m"].verdict for run in (500, 1500, 3500)] == ["agrees"] * 3
    assert by_key["1 at 500 m"].verdict == "agrees"
    assert by_key["1 at 1500 m"].verdict == "below"


def test_verdicts_that_the_words_of_the_page_rest_on(by_key):
    """Row 11 measured less energy a hectare for the larger aircraft; the page says the catalogue has it reversed."""
    wanted = {"11 20 L": "below", "11 40 L": "above"}
    wanted |= {f"4 {litres} L field": said for litres, said in ((10, "below"), (20, "agrees"), (40, "above"))}
    wanted |= {f"4 {litres} L paid": "below" for litres in (10, 20, 40)}
    # Ohio State University Extension FABE-540: three charged packs, fast charging; each pack more shortens waits
    wanted |= {f"12 packs {packs}": "agrees" for packs in (1, 2, 3)}
    assert {key: by_key[key].verdict for key in wanted} == wanted


@pytest.mark.parametrize("keys", [[f"12 packs {n}" for n in (1, 2, 3)], [f"16 plots {n}" for n in (1, 6, 30)]])
def test_waits_shrink_with_packs_and_the_gain_of_a_better_aircraft_as_fields_scatter(by_key, keys):
    for fewer, more in pairwise(by_key[key] for key in keys):
        error = math.hypot(fewer.standard_error, more.standard_error)
        assert fewer.simulated - more.simulated > STANDARD_ERRORS * error
    assert by_key[keys[-1]].simulated < 0.3


def test_arithmetic_in_the_rows():
    """Row 18: a line through both costs. Row 19: thrust falls to 0.7 squared. Row 10: width times efficiency."""
    fixed = (12.27 - 7.39) / (1 / 1000 - 1 / 4000)
    each = 12.27 - fixed / 1000
    assert (round(fixed), round(each, 2), round(fixed / (16 - each))) == (6507, 5.76, 636)
    airframe_kg = (0.49 * 16 - 4) / (1 - 0.49)
    assert airframe_kg == pytest.approx(7.5, abs=0.05)
    width_m = 1e4 / (20 * 60 * 5)
    assert width_m == pytest.approx(1.67, abs=0.005)
    assert all(number in ROWS[17].held for number in ("$6507", "$5.76", "636"))


# --- parts ---


def _check(low, high, simulated, error=0.0, key="3 a", end="", tolerance=0.0):
    return Check(key, "what", "ha/h", low, high, simulated, error, tolerance, end)


@pytest.mark.parametrize(
    ("check", "verdict"),
    [
        (_check(1.0, 2.0, 1.5), "agrees"),
        (_check(1.0, 2.0, 2.1), "above"),
        (_check(1.0, 2.0, 0.9), "below"),
        (_check(1.0, 2.0, 2.1, error=0.04), "agrees"),
        (_check(1.0, 2.0, 2.1, error=0.03), "above"),
        (_check(1.0, 2.0, 0.9, tolerance=0.1), "agrees"),
        (_check(0.0, math.inf, 99.0), "agrees"),
        (_check(1.0, 2.0, 9.0, end="low"), "low end"),
    ],
)
def test_verdict(check, verdict):
    assert check.verdict == verdict


def test_a_range_needs_two_ends_and_is_a_miss_when_outside():
    low, high = _check(4.0, 4.0, 3.0, key="3 low", end="low"), _check(4.0, 4.0, 5.0, key="3 high", end="high")
    outside = [low, _check(4.0, 4.0, 3.9, key="3 high", end="high")]
    assert between([low, high], "3")
    assert not between(outside, "3")
    assert range_keys([low, high]) == ["3"]
    assert outcome(3, outside).misses == ("3",)
    assert outcome(7, outside).held is False
    with pytest.raises(ValueError, match="got 1 ends of '3'"):
        between([low], "3")


def test_numbers_survive_the_page():
    sent = [_check(1.0, 2.0, 0.000123456, 1e-7), _check(1.0, 2.0, 12345.6, 0.0, key="work rate")]
    got = read_numbers(validation_page(sent, 10, 1, "the command"))
    assert got["3 a"] == pytest.approx((0.000123456, 1e-7), rel=1e-3)
    assert got["work rate"] == pytest.approx((12345.6, 0.0), rel=1e-3)
    assert (band_text(1.0, 1.0), band_text(1.0, 2.0), band_text(0.3, math.inf)) == ("1", "1 to 2", "above 0.3")
    assert number_text(0.0) == "0"


def test_the_command_writes_the_page(tmp_path, monkeypatch, checks, capsys):
    with pytest.raises(SystemExit):
        made.main(["--days", "3"])
    assert "--days: got 3; allowed is 4 or more" in capsys.readouterr().err
    asked = []
    monkeypatch.setattr(made, "validate_model", lambda *given: asked.append(given) or checks)
    made.main(["--days", "9", "--seed", "5", "--out", str(tmp_path / "page.md")])
    assert asked == [(9, 5)]
    text = (tmp_path / "page.md").read_text("utf-8")
    assert "validation_page.py --days 9 --seed 5`" in text
    assert read_numbers(text).keys() == {check.key for check in checks}
    assert f"{len(checks)} numbers" in capsys.readouterr().out
