"""Figures: numbers drawn equal the tables, nothing is cut off, names are inert, files are the same bytes every time."""

import itertools
import re
import subprocess
import sys
import xml.etree.ElementTree as ET

import matplotlib as mpl
import pandas as pd
import pytest
from colour_vision import VISION, difference
from stored_support import HOSTILE, assert_nothing_cut_off, renamed_tables, sample_document, sample_job, sample_result

from simulator.analysis.resources import resource_names, time_labels
from simulator.report.answer_figure import acres_figure, job_figure
from simulator.report.figures import bottleneck_figure, one_more_figure, paired_figure, time_use_figure
from simulator.report.palette import (
    AIRCRAFT_LOOKS,
    INK,
    PACK_LOOKS,
    PAPER,
    RESOURCE_LOOKS,
    WORK_LOOKS,
    contrast,
    text_on,
    time_use_group,
)
from simulator.report.style import figure_bytes, save_figure

FAMILIES = {"aircraft": AIRCRAFT_LOOKS, "packs": PACK_LOOKS, "resources": RESOURCE_LOOKS, "work": WORK_LOOKS}


def many_sets(count):
    """Return a document and tables with the sample's sets repeated under long and short names."""
    document, tables = sample_document(), renamed_tables(sample_result(), {})
    entries = document["equipment_sets"]
    chosen = []
    frames = {name: [] for name in tables}
    for number in range(count):
        source = entries[number % len(entries)]
        name = f"set_{number}" if number % 2 else f"set {number} with a name that goes on and on and says it all again"
        chosen.append(source | {"name": name})
        for key, frame in tables.items():
            frames[key].append(frame[frame["equipment_set"] == source["name"]].assign(equipment_set=name))
    document["equipment_sets"] = chosen
    return document, {key: pd.concat(parts, ignore_index=True) for key, parts in frames.items()}


def test_colour_measures_on_known_values():
    # black on white has contrast 21: W3C, Web Content Accessibility Guidelines 2.1, definition of contrast ratio
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    # black and white are 100 apart in lightness and equal otherwise: CIE 1976 L*a*b*
    assert difference("#000000", "#ffffff") == pytest.approx(100.0, abs=0.01)
    # Machado, Oliveira & Fernandes 2009: rows sum to 1, so greys look the same to everybody
    for rows in VISION.values():
        for row in rows:
            assert sum(row) == pytest.approx(1.0, abs=2e-6)
    # the pair that red-green blindness confuses is nearer for such eyes
    assert difference("#cc0000", "#4d7a00", "deuteranopia") < 0.6 * difference("#cc0000", "#4d7a00")


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("vision", VISION)
def test_colours_stay_apart(family, vision):
    looks = {(look.colour, look.hatch): name for name, look in FAMILIES[family].items()}
    for (first, second), names in zip(
        itertools.combinations(looks, 2), itertools.combinations(looks.values(), 2), strict=True
    ):
        apart = difference(first[0], second[0], vision)
        # 2.3 is a just noticeable difference in CIE 1976 (from memory): plain neighbours have four times as much, and
        # where hatches differ as well the colour need not carry it alone
        assert apart >= (9.0 if first[1] == second[1] else 5.0), (names, vision, apart)


def test_waiting_is_hatched_for_print_and_text_is_readable():
    hatches = [look.hatch for name, look in AIRCRAFT_LOOKS.items() if name.startswith("wait")]
    assert all(hatches)
    assert len(set(hatches)) == len(hatches)
    for family in FAMILIES.values():
        for look in family.values():
            # 4.5 is the least for small text: W3C, Web Content Accessibility Guidelines 2.1, 1.4.3
            assert contrast(text_on(look.colour), look.colour) >= 4.5, look
    assert contrast(INK, PAPER) >= 7.0


def test_every_state_of_an_aircraft_has_its_group():
    groups = {label: time_use_group(label) for label in time_labels()}
    assert set(groups.values()) <= set(AIRCRAFT_LOOKS)
    others = {label for label, group in groups.items() if group == "wait other"}
    known = {"separation", "no work left here", "out of fuel", "field not open", "left on the trailer"}
    assert others <= {f"wait: {reason}" for reason in known}
    assert set(resource_names()) == set(RESOURCE_LOOKS)


def own_names(frame):
    return {name: name for name in frame["equipment_set"]}


def test_bars_are_called_as_people_call_the_sets():
    frame = sample_result().time_use
    called = {name: f"set {number}" for number, name in enumerate(reversed(list(own_names(frame))))}
    shown = [text.get_text() for text in time_use_figure(frame, called).axes[0].texts]
    assert [text for text in shown if text.startswith("set ")] == list(called.values())


def test_time_use_bars_are_the_table():
    frame = sample_result().time_use
    figure = time_use_figure(frame, own_names(frame))
    bars = {}
    for patch in figure.axes[0].patches:
        row = round(patch.get_y() + patch.get_height() / 2)
        bars[row] = bars.get(row, 0.0) + patch.get_width()
    whole = frame.groupby("equipment_set", sort=False)["hours_per_day"].sum()
    assert list(bars.values()) == pytest.approx(whole.to_numpy(), abs=0.05)  # groups under 0.005 h are not drawn
    sprayed = frame[(frame["state"] == "spray")]["hours_per_day"].to_numpy()
    first = [patch.get_width() for patch in figure.axes[0].patches if patch.get_x() == 0.0]
    assert first == pytest.approx(sprayed)


@pytest.mark.parametrize("wide", [True, False])
def test_time_lost_leaves_out_work(wide):
    frame = sample_result().time_use
    figure = time_use_figure(frame, own_names(frame), wide, lost=True)
    drawn = sum(patch.get_width() for patch in figure.axes[0].patches)
    worked = ("take-off", "ferry out", "spray", "turn", "ferry back", "landing", "swap", "fill", "launch check", "done")
    idle = ("wait: list done", "wait: day end")
    lost = frame[~frame["state"].isin([*worked, *idle])]["hours_per_day"].sum()
    assert drawn == pytest.approx(lost, abs=0.05)
    assert_nothing_cut_off(figure)


def test_acres_figure_marks_the_estimates():
    document, result = sample_document(), sample_result()
    figure = acres_figure(document, result.runs, "us")
    lines = [line.get_xdata() for line in figure.axes[0].lines]
    xs = [float(x) for data in lines for x in data]
    for entry in document["equipment_sets"]:
        runs, days = entry["acres_per_day"], entry["full_work_day_acres"]
        for value in (days["p10"], runs["mean"], *runs["ci95"]):
            assert any(abs(x - value) < 1e-9 for x in xs), value
    days = result.runs["full_day_acres"].dropna().to_numpy()
    assert all(any(abs(x - value) < 1e-9 for x in xs) for value in days)


def test_acres_figure_in_metric_and_with_many_days():
    document, result = sample_document("metric"), sample_result()
    many = pd.concat([result.runs] * 200, ignore_index=True)
    figure = acres_figure(document, many, "metric")
    assert "ha a day" in figure.axes[0].get_xlabel()
    assert len(figure.axes[0].patches) > 3  # a histogram in place of dots
    with pytest.raises(ValueError, match="allowed is 'us' or 'metric'"):
        acres_figure(document, many, "imperial")


@pytest.mark.parametrize("count", [1, 3, 8])
def test_nothing_is_cut_off(count):
    document, tables = many_sets(count)
    document["equipment_sets"][0]["job"] = sample_job()
    for wide in (True, False):
        assert_nothing_cut_off(acres_figure(document, tables["runs"], "us", wide))
        assert_nothing_cut_off(one_more_figure(document, wide))
        assert_nothing_cut_off(job_figure(document, wide))
    assert_nothing_cut_off(time_use_figure(tables["time_use"], own_names(tables["time_use"])))
    assert_nothing_cut_off(paired_figure(document))
    if count < 8:
        assert_nothing_cut_off(bottleneck_figure(tables["bottleneck"], "metric"))


def test_bottleneck_figure_draws_the_four_views():
    frame = sample_result().bottleneck
    figure = bottleneck_figure(frame)
    assert len(figure.axes) == 4 * frame["equipment_set"].nunique()
    widths = [patch.get_width() for patch in figure.axes[1].patches]
    first = frame[frame["equipment_set"] == frame["equipment_set"][0]]
    assert widths == pytest.approx(first["utilisation"].to_numpy())


def test_bottleneck_figure_without_changes_tried_says_so():
    frame = sample_result().bottleneck.assign(
        one_more="",
        one_more_acres_per_day=float("nan"),
        one_more_ci95_low=float("nan"),
        one_more_ci95_high=float("nan"),
    )
    figure = bottleneck_figure(frame)
    assert "not tried" in [text.get_text() for text in figure.axes[3].texts]


def test_one_set_has_nothing_to_compare():
    document = sample_document()
    document["paired"] = []
    figure = paired_figure(document)
    assert "nothing to compare" in figure.axes[0].texts[0].get_text()


def test_saved_files_are_the_same_bytes_and_undated(tmp_path):
    document = sample_document()
    first = save_figure(paired_figure(document), tmp_path / "one.two")
    contents = [path.read_bytes() for path in first]
    again = save_figure(paired_figure(document), tmp_path / "one.two")
    assert [path.name for path in again] == ["one.two.svg", "one.two.png"]
    assert [path.read_bytes() for path in again] == contents
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one.two.png", "one.two.svg"]
    assert not re.search(rb"<dc:date>", contents[0])
    with pytest.raises(ValueError, match="allowed is one of"):
        figure_bytes(paired_figure(document), "gif")
    with pytest.raises(OSError, match="nowhere"):
        save_figure(paired_figure(document), tmp_path / "nowhere" / "x")


def test_names_are_inert_in_svg():
    result = sample_result()
    rename = {"two_packs": HOSTILE, "three_packs": "$x^{$"}
    document, tables = sample_document(), renamed_tables(result, rename)
    for entry in document["equipment_sets"]:
        entry["name"] = rename.get(entry["name"], entry["name"])
    for pair in document["paired"]:
        pair["a"], pair["b"] = rename.get(pair["a"], pair["a"]), rename.get(pair["b"], pair["b"])
    figures = [
        acres_figure(document, tables["runs"], "us"),
        time_use_figure(tables["time_use"], own_names(tables["time_use"])),
        bottleneck_figure(tables["bottleneck"]),
        paired_figure(document),
    ]
    for figure in figures:
        svg = figure_bytes(figure, "svg")
        tree = ET.fromstring(svg)
        assert not [node for node in tree.iter() if node.tag.endswith("script")]
        assert b"\x1b" not in svg
        figure.savefig("/dev/null", format="png")  # also outside the project's style, where mathtext would be read


def test_figures_leave_no_state_behind():
    before = dict(mpl.rcParams)
    mpl.rcParams["font.size"] = 31.0
    try:
        figure = paired_figure(sample_document())
        assert figure.axes[0].title.get_fontsize() < 15
        assert mpl.rcParams["font.size"] == 31.0
    finally:
        mpl.rcParams.update(before)


def test_pyplot_is_never_loaded():
    code = (
        "import sys; from simulator.report.figures import paired_figure;"
        "from simulator.report.style import figure_bytes;"
        "figure_bytes(paired_figure({'paired': [], 'equipment_sets': []}), 'png');"
        "sys.exit('matplotlib.pyplot' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=120).returncode == 0
