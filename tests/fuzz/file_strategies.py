"""Hypothesis strategies: files that are nearly of the kind that a reader wants, and tables that use every key."""

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
_ODD_NUMBER = st.one_of(
    st.sampled_from([0, -0.0, 1, -1, 180, -180, 90, -90, 180.0000001, 1e-300, 5e-324, 1e300, 10**400, 2**63, True]),
    st.integers(-400, 400),
    st.floats(allow_nan=True, allow_infinity=True),
)
_LEAF = st.one_of(st.none(), st.booleans(), _ODD_NUMBER, _ODD_TEXT)
_ANYTHING = st.recursive(
    _LEAF,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(_ODD_TEXT, inner, max_size=4)),
    max_leaves=8,
)


def _mostly(usual, odd, share=12):
    """Draw the usual, and once in ``share`` times something odd."""
    return st.integers(0, share - 1).flatmap(lambda number: odd if number == 0 else usual)


# --- GeoJSON ---

_DEGREES = st.integers(-300, 300).map(lambda number: number / 10_000.0)
_POSITION = _mostly(
    st.tuples(_DEGREES, _DEGREES).map(list), st.one_of(st.lists(_ODD_NUMBER, max_size=4), _ANYTHING), 60
)


@st.composite
def _ring(draw):
    corners = draw(st.lists(_POSITION, min_size=draw(st.sampled_from([0, 1, 3, 4])), max_size=9))
    return [*corners, corners[0]] if corners and draw(st.integers(0, 5)) else corners


@st.composite
def _box(draw):
    west, south = draw(_DEGREES), draw(_DEGREES)
    east, north = west + draw(st.integers(1, 200)) / 10_000.0, south + draw(st.integers(1, 200)) / 10_000.0
    return [[west, south], [east, south], [east, north], [west, north], [west, south]]


_RINGS = _mostly(
    st.one_of(_box().map(lambda one: [one]), st.lists(st.one_of(_box(), _ring()), max_size=4)), _ANYTHING, 25
)
_GEOMETRY_KINDS = _mostly(
    st.sampled_from(["Polygon", "Polygon", "Polygon", "MultiPolygon", "MultiPolygon", "GeometryCollection", "Point"]),
    st.sampled_from(["LineString", "polygon", "", None]),
    40,
)


@st.composite
def _geometry(draw, depth=2):
    kind = draw(_GEOMETRY_KINDS)
    if kind == "MultiPolygon":
        return {"type": kind, "coordinates": draw(_mostly(st.lists(_RINGS, max_size=5), _ANYTHING, 25))}
    if kind == "GeometryCollection" and depth:
        inner = draw(st.lists(_geometry(depth=depth - 1), max_size=3))
        return {"type": kind, "geometries": draw(_mostly(st.just(inner), _ANYTHING, 25))}
    return {"type": kind, "coordinates": draw(_RINGS)}


_PROPERTIES = st.one_of(
    st.none(), st.dictionaries(st.sampled_from(["name", "Name", "id", "crop", "ID "]), _LEAF, max_size=3), _ANYTHING
)
_FEATURE = _mostly(
    st.builds(
        lambda geometry, properties: {"type": "Feature", "properties": properties, "geometry": geometry},
        _mostly(_geometry(), st.one_of(st.none(), _ANYTHING), 25),
        _PROPERTIES,
    ),
    _ANYTHING,
    30,
)


@st.composite
def geojson_files(draw):
    """Bytes of GeoJSON: fields of all shapes, some of them none, here and there something else altogether."""
    document = draw(
        _mostly(
            st.builds(
                lambda features, more: {"type": "FeatureCollection", "features": features, **more},
                _mostly(st.lists(_FEATURE, min_size=1, max_size=6), st.one_of(st.just([]), _ANYTHING), 30),
                _mostly(
                    st.sampled_from([{}, {"crs": None}, {"crs": {"properties": {"name": "EPSG:4326"}}}]),
                    st.just({"crs": 5}),
                ),
            ),
            st.one_of(_FEATURE, _geometry(), _ANYTHING),
            8,
        )
    )
    return json.dumps(document).encode("utf-8", "surrogatepass")


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
    "stopwatch",
    "past days",
    "empirical",
    "distances",
    "weather",
    "scenario weather",
    "typical year",
    "field table",
)
FILES = {
    **dict.fromkeys(("geojson", "field file", "obstacles", "patches"), geojson_files()),
    **{kind: _spoilt_csv(kind) for kind in _CSV},
    "zip": st.integers(0, 2**32).map(_spoilt_shapefile),
    "kml": st.integers(0, 2**32).map(_spoilt_kml),
    "quantity": QUANTITIES.map(lambda text: text.encode("utf-8", "surrogatepass")),
}
"""Reader to a strategy of its files; the scenario's own are mutated tables (see `mutations.py`)."""
