"""Tables and paragraphs of studies on a terminal: nothing is cut off, numbers stay whole, lines fit."""

import pytest

from simulator.command.study_output import aligned, filled

HEAD = ["set", "case", "mean acres", "acres/day"]
ROWS = [
    ["large", "12 x 2:1, 1 mi, uneven 0.5", "20.0", "198.8 (196.8 to 200.8)"],
    ["a set with a long name", "24 x 2:1, 1 mi, uneven 0.5", "10.0", "140.0 (140.0 to 140.0)"],
]


def test_a_table_that_fits_is_left_as_it_is():
    lines = aligned([HEAD, *ROWS], 120).split("\n")
    assert len(lines) == 4
    assert set(lines[1]) == {"-"}
    assert "12 x 2:1, 1 mi, uneven 0.5" in lines[2]


@pytest.mark.parametrize("width", [60, 66, 72, 80])
def test_a_narrow_terminal_breaks_labels_and_cuts_nothing(width):
    """Every letter of every cell is still there, no line is too wide, and intervals stay on one line."""
    text = aligned([HEAD, *ROWS], width)
    every = [cell for row in (HEAD, *ROWS) for cell in row]
    assert "…" not in text
    assert all(len(line) <= width for line in text.split("\n"))
    letters = [sorted("".join(one.split()).replace("-", "")) for one in (text, "".join(every))]
    assert letters[0] == letters[1]
    for row in ROWS:
        assert row[3] in text


def test_heads_are_broken_before_labels():
    wide = ["change at its low end, acres/day"] + ["x"] * 3
    lines = aligned([wide, ["1.5 (1.0 to 2.0)", "fill time", "a", "b"]], 40).split("\n")
    assert lines[-1].split() == ["1.5", "(1.0", "to", "2.0)", "fill", "time", "a", "b"]
    assert len(lines) > 3


def test_numbers_are_never_broken_even_if_the_line_gets_too_wide():
    text = aligned([["a", "b", "c"], ["1,000,000 (900,000 to 1,100,000)"] * 3], 60)
    assert text.split("\n")[-1].count("1,000,000 (900,000 to 1,100,000)") == 3


@pytest.mark.parametrize(
    ("cell", "right"),
    [
        ("–", True), ("never", True), ("1,234.5", True), ("-3", True), ("+2.0 (1.0 to 3.0)", True), ("97 %", True),
        ("120 to 150", True), ("4 (no variation seen)", True), ("4 (at least 3)", True), ("$5,000", True),
        ("", True), ("27,700 (27,100 to 28,200)", True), ("-19 (-22 to -16)", True),
        ("12 x 2:1, 1 mi", False), ("2 gal/acre", False), ("20 s to 60 s", False), ("33 s", False), ("3 packs", False),
    ],
)  # fmt: skip
def test_numbers_stand_right_and_labels_left(cell, right):
    """A label that begins with a digit is no number."""
    last = aligned([["a head that is quite long"], [cell]], 80).split("\n")[-1]
    width = len("a head that is quite long")
    assert last == (cell.rjust(width) if right else cell).rstrip()


def test_a_number_stays_with_its_per_cent_sign():
    text = "a border holds at 95 % and another one at 90 %, as far as anybody knows"
    for width in range(12, 60):
        found = filled(text, width, "- ", "  ")
        assert not any(line.strip().startswith("%") for line in found.split("\n"))
        assert " ".join(found[2:].split()) == text
        assert "\N{NO-BREAK SPACE}" not in found
