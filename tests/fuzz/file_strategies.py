"""Hypothesis strategies: files that are nearly of the kind that a reader wants."""

import json
import random

from fuzz_inputs import GOOD, SHAPEFILE
from hypothesis import strategies as st
from map_files_made import packed
from mutations import garble, mutate_some

_ODD_TEXT = st.one_of(
    st.sampled_from(
        ["", " ", "=1+1", "+1", "-1", "@x", "\t=1", "\u202eabc", "\ud800", "\0", "\x1b[2J", "a\nb", "x" * 5000,
         "../../x", "yard", "one", "nan", "inf", "-0", "1e999", "1e-999", "9" * 400, "0x10", "1_0", "\u0663",
         "5 m", "5 m^9^9", "5 s", "1:02", "99:99", "2 gal/acre", "12 ha x 3", "a = 1 acre; b = 2 ha", "1 acre x 9999",
         "true", "null", "#"]
    ),
    st.text(max_size=12),
)  # fmt: skip


def _spoilt_geojson(number):
    """Fields of all shapes, some of them none, here and there something else altogether."""
    chooser = random.Random(number)
    document = json.loads(chooser.choice(GOOD["geojson"] + GOOD["patches"]))
    if chooser.randrange(4):
        mutate_some(document, chooser)
    try:
        return json.dumps(document).encode("utf-8", "surrogatepass")
    except ValueError:  # a number of thousands of digits
        return b"9" * 5000


# --- CSV ---


def _csv_text(rows, quote, line_end):
    def cell(value):
        try:
            text = str(value)
        except ValueError:  # a number of thousands of digits
            text = "9" * 5000
        return '"' + text.replace('"', '""') + '"' if quote or any(sign in text for sign in ',"\n\r') else text

    return line_end.join(",".join(cell(value) for value in row) for row in rows)


def _spoilt_csv(kind):
    """Good files, here and there with a cell, a row or a column that is odd, and written in all ways."""

    def spoil(number):
        chooser = random.Random(number)
        rows = [line.split(",") for line in chooser.choice(GOOD[kind]).split("\n")]
        if chooser.randrange(4):
            mutate_some(rows, chooser)
        lines = [row if isinstance(row, list) else [row] for row in rows]
        text = _csv_text(lines, chooser.randrange(3) == 0, chooser.choice(["\n", "\n", "\r\n", "\r", "\n\n"]))
        mark = chooser.choice([b"\xef\xbb\xbf", b"\xff\xfe", b"\0"]) if chooser.randrange(12) == 0 else b""
        return mark + text.encode("utf-8", "surrogatepass")

    return st.integers(0, 2**32).map(spoil)


# --- a quantity, as text ---

QUANTITIES = st.one_of(
    st.tuples(
        st.one_of(st.integers(-3, 10**6).map(str), st.floats(allow_nan=True).map(repr), _ODD_TEXT),
        st.text(alphabet="ms^*()/ 0123456789-.kgLhacrefttWin%\u00b0\u00b2\u00b3\u00b5", max_size=40),
    ).map(" ".join),
    st.text(alphabet="0123456789.eE+-_ m^", max_size=90),
    _ODD_TEXT,
)


def _spoilt_kml(number):
    """KML with bytes changed, or gently, with a digit changed."""
    chooser = random.Random(number)
    text = GOOD["kml"][0]
    if chooser.randrange(3):
        return garble(text.encode(), chooser)
    return text.replace(
        chooser.choice("0123456789"), chooser.choice("0123456789.,- "), chooser.choice([1, 30])
    ).encode()


def _spoilt_shapefile(number):
    """One or more parts of a good shapefile with bytes changed or gone, in a zip file that is whole."""
    chooser = random.Random(number)
    made = dict(SHAPEFILE)
    for ending in chooser.choices(list(made), k=chooser.choice([1, 1, 2])):
        made[ending] = garble(made.get(ending, b""), chooser)
        if chooser.randrange(8) == 0:
            del made[ending]
    return packed({f"a{ending}": content for ending, content in made.items()})


_CSV = (
    "stopwatch", "past days", "empirical", "distances", "weather", "scenario weather", "typical year", "field table"
)  # fmt: skip
FILES = {
    **dict.fromkeys(("geojson", "field file", "obstacles", "patches"), st.integers(0, 2**32).map(_spoilt_geojson)),
    **{kind: _spoilt_csv(kind) for kind in _CSV},
    "zip": st.integers(0, 2**32).map(_spoilt_shapefile),
    "kml": st.integers(0, 2**32).map(_spoilt_kml),
    "quantity": QUANTITIES.map(lambda text: text.encode("utf-8", "surrogatepass")),
}
"""Reader to a strategy of its files; the scenario's own are mutated tables (see `mutations.py`)."""
