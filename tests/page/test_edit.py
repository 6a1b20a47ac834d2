"""Edits: comments and order survive, values as people type them, and exactly what was meant."""

import re
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from page_support import SEVENTEEN

from simulator import load_scenario
from simulator.errors import InputError
from simulator.page import edit
from simulator.scenario.starter import starter_text
from simulator.scenario.typed import typed_value, unit_of

SHOWN = st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"])
COMMENTED = starter_text("mine")


@pytest.mark.parametrize(
    ("at", "typed", "metric", "value"),
    [
        (("field", 0, "area"), "80", False, "80 acre"),
        (("field", 0, "area"), "80", True, "80 ha"),
        (("field", 0, "area"), "32 ha", False, "32 ha"),
        (("field", 0, "area"), "1 1/2", False, "1 1/2 acre"),
        (("field", 0, "rate"), " 2.5 ", False, "2.5 gal/acre"),
        (("field", 0, "drive_distance"), "3", False, "3 mi"),
        (("field", 0, "count"), "3", False, 3),
        (("field", 0, "length_to_width"), "2.5", False, 2.5),
        (("field", 0, "landing_zone"), "10, 20 m", False, ["10 ft", "20 m"]),
        (("charger", "x", "setting"), "75", False, "75 %"),
        (("equipment_set", "a", "charger", "x", "setting"), "75 %", False, "75 %"),
        (("costs", "price_per_acre"), "$14.50", False, 14.5),
        (("costs", "aircraft", "x", "purchase"), "24,000", False, 24000),
        (("flying", "landing_zone"), "stays", False, "stays"),
        (("rig", "main", "trailer", "charge_while_driving"), "yes", False, True),
        (("rig", "main", "crew", "tasks", "swap", "time"), "70", False, "70 s"),
        (("field", 0, "count"), "three", False, "three"),
    ],
)
def test_a_value_is_what_people_mean_by_what_they_type(at, typed, metric, value):
    assert typed_value(at, typed, metric) == value


def test_what_stands_beside_an_input_is_the_unit_of_a_bare_number():
    assert unit_of(("aircraft", "x", "swath"), False) == "ft"
    assert unit_of(("no", "such", "key"), False) == ""


def test_comments_and_order_survive():
    text = edit.changed(
        COMMENTED,
        edit.put_typed(("field", 1, "area"), "33", False),
        edit.put_typed(("rig", "main", "crew", "tasks", "swap", "time"), "45 s", False),
        edit.put(("equipment_set", "four_packs", "rig", "main", "packs", "large_pack"), 5),
        edit.add_field(tomllib.loads(COMMENTED), False),
    )
    before = [line for line in COMMENTED.splitlines() if "#" in line]
    assert [line for line in text.splitlines() if "#" in line] == before
    tables = tomllib.loads(text)
    assert tables["rig"]["main"]["crew"]["tasks"]["swap"]["time"] == {"dist": "lognormal", "mean": "45 s", "cv": 0.25}
    assert tables["field"][1]["area"] == "33 acre"
    assert len(tables["field"]) == 3
    assert tables["equipment_set"]["four_packs"]["rig"]["main"]["packs"]["large_pack"] == 5
    load_scenario(tables)


@given(
    st.lists(
        st.tuples(
            st.sampled_from([("day", "start"), ("costs", "pack", "large_pack", "purchase"), ("field", 0, "rate"),
                             ("equipment_set", "three_packs", "label"), ("aircraft", "large", "hover", "full_time"),
                             ("rig", "main", "power", "trailer", "chargers", "fast"), ("yard", "drive_distance")]),
            st.one_of(st.none(), st.integers(0, 99), st.text(SHOWN)),
        ),
        max_size=6,
    )
)  # fmt: skip
@settings(max_examples=30)
def test_a_file_says_exactly_what_was_meant(changes):
    plain, text = tomllib.loads(COMMENTED), COMMENTED
    for at, value in changes:
        text = edit.changed(text, edit.put(at, value))
        edit.put(at, value)(plain)
    assert edit._filled(tomllib.loads(text)) == edit._filled(plain)


def test_a_spreadsheet_takes_the_place_of_the_examples():
    tables = tomllib.loads(edit.changed(COMMENTED, edit.paste(0, "name", SEVENTEEN, False)))
    assert len(tables["field"]) == 17
    assert tables["field"][3] == {
        "name": "piece 4", "area": "8 acre", "length_to_width": 2, "rate": "2 gal/acre", "drive_distance": "1 mi",
    }  # fmt: skip
    assert len(load_scenario(tables).sets[0].fields.sites) == 17


def pasted(text, column="name", row=0, metric=False):
    return tomllib.loads(edit.changed(COMMENTED, edit.paste(row, column, text, metric)))["field"]


def test_a_head_says_what_the_columns_are():
    assert pasted("Acres\tField\tRoad (mi)\n41\ta\t2\n\n60 acre\tb\t\n") == [
        {"name": "a", "area": "41 Acres", "drive_distance": "2 mi"},
        {"name": "b", "area": "60 acre"},
    ]
    assert pasted("FIELD,Rate gal/ac,Area\na,3,41", metric=True) == [{"name": "a", "rate": "3 gal/ac", "area": "41 ha"}]
    assert load_scenario({**tomllib.loads(COMMENTED), "field": pasted("Field\tAcres\tMiles\na\t41\t2\n")})


def test_the_headings_of_the_table_are_known_and_its_order_without_them():
    values = "a\t41\t3\t1.5\t2\t0.5\n"
    whole = [
        {"name": "a", "area": "41 acre", "count": 3, "length_to_width": 1.5, "rate": "2 gal/acre",
         "drive_distance": "0.5 mi"}
    ]  # fmt: skip
    assert pasted("Field\tArea\tHow many\tLength over width\tRate\tRoad to it\n" + values) == whole
    assert pasted(values)[0] == whole[0]
    assert len(pasted(values)) == len(tomllib.loads(COMMENTED)["field"])


def test_without_headings_units_say_what_the_columns_are():
    assert pasted("a\t41\t1/2 mi\t\t2 gal/acre\t\t\t\nb\t31\t1\t\t3\t\t\t\n") == [
        {"name": "a", "area": "41 acre", "drive_distance": "1/2 mi", "rate": "2 gal/acre"},
        {"name": "b", "area": "31 acre", "drive_distance": "1 mi", "rate": "3 gal/acre"},
    ]
    assert [row["name"] for row in pasted("a\nb\n")] == ["a", "b"]
    assert [row["area"] for row in pasted("a\t4\nb\t5\n")] == ["4 acre", "5 acre"]


@pytest.mark.parametrize(
    ("text", "column", "said"),
    [
        ("a\t41\t2\nb\t31\t2\n", "name", "got 3 columns without headings"),
        ("a\t41\t2\t3\t1\n", "name", "Field, Area, How many, Length over width, Rate, Road to it"),
        ("a\t41 acre\t31 acre\n", "name", "got 3 columns without headings"),
        ("41\t2\n", "area", "got 2 columns without headings"),
        ("1\t2\t3\n", "rate", "got 3 columns without headings"),
        ("Field\tArea\tGrower\na\t41\tMiller\n", "name", "got the heading 'Grower'; known are Field, Area"),
        ("Field\tArea\tRate (lb)\na\t41\t2\n", "name", "got the heading 'Rate (lb)'"),
        ("Field\tArea\na\t41\t2\n", "name", "got the heading ''"),
        ("Field\tArea\tAcres\na\t41\t2\n", "name", "got two columns for Area"),
        ("Field\tArea\n", "name", "got headings alone"),
        (' \n', "name", "got nothing"),
    ],
)  # fmt: skip
def test_a_paste_that_may_mean_several_things_is_refused(text, column, said):
    with pytest.raises(InputError, match=re.escape(said)):
        edit.paste(0, column, text, False)


def test_a_column_may_be_pasted_into_the_middle():
    tables = tomllib.loads(edit.changed(COMMENTED, edit.paste(1, "rate", "3\n4\n", False)))
    assert [row.get("rate") for row in tables["field"]] == [None, "3 gal/acre", "4 gal/acre"]
    assert tables["field"][1]["name"] == "river strip"
