"""Hypothesis strategies: files that are nearly of the kind that a reader wants, and tables that use every key."""

import json

from hypothesis import strategies as st

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
        text = str(value)
        return '"' + text.replace('"', '""') + '"' if quote or any(sign in text for sign in ',"\n\r') else text

    return line_end.join(",".join(cell(value) for value in row) for row in rows)


@st.composite
def csv_files(draw, columns, mark=""):
    """Bytes of a CSV file.

    Parameters
    ----------
    columns : dict
        Column name to a strategy of its usual cells.
    mark : str, optional
        A first line that stands before the column names.
    """
    heads = draw(
        _mostly(st.just(list(columns)), st.lists(st.one_of(st.sampled_from(list(columns)), _ODD_TEXT), max_size=8))
    )
    usual = st.tuples(*(_mostly(columns.get(head, _ODD_TEXT), _ODD_TEXT, 40) for head in heads)).map(list)
    rows = draw(st.lists(_mostly(usual, st.lists(_ODD_TEXT, max_size=8), 30), max_size=8))
    text = mark + _csv_text([heads, *rows], draw(st.booleans()), draw(st.sampled_from(["\n", "\r\n", "\r", "\n\n"])))
    return draw(_mostly(st.just(b""), st.sampled_from([b"\xef\xbb\xbf", b"\xff\xfe", b"\0"]))) + text.encode(
        "utf-8", "surrogatepass"
    )


_TIME_CELLS = st.one_of(
    st.integers(0, 999).map(lambda s: f"{s} s"), st.sampled_from(["1:02", "0:00", "1.5 min", "62.5 s"])
)
STOPWATCH = csv_files(
    {
        "task": st.sampled_from(["swap", "fill", "turn", "Plug in", "drive", "charge", "water-trip", "mix"]),
        "time": _TIME_CELLS,
        "of": st.sampled_from(["", "big", "main"]),
        "amount": st.sampled_from(["", "38 L", "2.5 mi", "75 %"]),
        "date": st.sampled_from(["", "2024-05-01"]),
    }
)
PAST_DAYS = csv_files(
    {
        "date": st.sampled_from(["2024-05-01", "2024-05-02"]),
        "acres": st.integers(0, 900).map(str),
        "hours": st.sampled_from(["", "9", "10.5"]),
        "fields": st.sampled_from(["", "80 acre", "80 acre; 45 acre x 2", "home = 12 ha; mill = 3 ha"]),
        "product.rate": st.sampled_from(["", "2 gal/acre", "20 L/ha"]),
        "settings": st.sampled_from(["", "runs=5", "rig.main.packs.pack=4; seed=3"]),
    }
)
EMPIRICAL = csv_files({"turn": st.integers(1, 99).map(str), "who": st.sampled_from(["a", "b"])})
DISTANCES = csv_files(
    {
        "": st.sampled_from(["yard", "one", "yard", "one", "mill"]),
        "yard": st.integers(0, 40).map(str),
        "one": st.integers(0, 40).map(str),
    }
)


@st.composite
def weather_files(draw, typical=False):
    """Bytes of hourly weather, its hours mostly in order."""
    hours = draw(st.sampled_from([24, 24, 24, 25, 27, 48, 5, 2, 1, 0]))
    clock = [f"2024-{6:02d}-{1 + hour // 24:02d} {hour % 24:02d}:00" for hour in range(hours)]
    heads, first = ["time", "wind", "temperature", "humidity", "rain"], []
    if typical:
        first = [["724776", "TOWN", "UT", draw(_mostly(st.just("-7.0"), _ODD_TEXT)), "38.58", "-109.54", "1000"]]
        heads = ["Date (MM/DD/YYYY)", "Time (HH:MM)", "Wspd (m/s)", "Dry-bulb (C)", "RHum (%)"]
        heads += ["Lprecip depth (mm)", "Lprecip quantity (hr)"]
    rows = []
    for hour in range(hours):
        moment = [f"{6:02d}/{1 + hour // 24:02d}/1997", f"{hour % 24 + 1:02d}:00"] if typical else [clock[hour]]
        rows.append([*moment, "3.1", "21", "55", "0", *(["1"] if typical else [])])
    for _ in range(draw(st.integers(0, 3))):
        odd = draw(_ODD_TEXT)
        lines = [*first, heads, *rows]
        line = lines[draw(st.integers(0, len(lines) - 1))]
        what = draw(st.integers(0, 3))
        if what == 0 or not line:
            line.append(odd)
        elif what == 1:
            line.pop(draw(st.integers(0, len(line) - 1)))
        else:
            line[draw(st.integers(0, len(line) - 1))] = odd
    text = _csv_text([*first, heads, *rows], draw(st.integers(0, 3)) == 0, draw(st.sampled_from(["\n", "\n", "\r\n"])))
    return text.encode("utf-8", "surrogatepass")


# --- a quantity, as text ---

QUANTITIES = st.one_of(
    st.tuples(
        st.one_of(st.integers(-3, 10**6).map(str), st.floats(allow_nan=True).map(repr), _ODD_TEXT),
        st.text(alphabet="ms^*()/ 0123456789-.kgLhacrefttWin%\u00b0\u00b2\u00b3\u00b5", max_size=40),
    ).map(" ".join),
    st.text(alphabet="0123456789.eE+-_ m^", max_size=90),
    _ODD_TEXT,
)

FILES = {
    "geojson": geojson_files(),
    "field file": geojson_files(),
    "obstacles": geojson_files(),
    "patches": geojson_files(),
    "stopwatch": STOPWATCH,
    "past days": PAST_DAYS,
    "empirical": EMPIRICAL,
    "distances": DISTANCES,
    "weather": weather_files(),
    "scenario weather": weather_files(),
    "typical year": weather_files(typical=True),
    "quantity": QUANTITIES.map(lambda text: text.encode("utf-8", "surrogatepass")),
}
"""Reader to a strategy of its files; the scenario's own are mutated tables (see `mutations.py`)."""
