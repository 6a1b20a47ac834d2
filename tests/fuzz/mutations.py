"""Mutations: of a scenario's table, one thing at a time, and of the bytes of a file."""

import copy
import math

EXTREMES = [
    0, -0.0, 1, -1, 2, 1e-300, 5e-324, 1e300, 2**31, 2**63 - 1, 2**63, -(2**63), 10**30, 16**4000, math.nan, math.inf,
    -math.inf, True, False, "", " ", "nan", "inf", "-inf s", "0 s", "1e400 s", "1e-300 s", "-5 s", "1e9 acre", "1 mm",
    "0 m", "1e12 m", "1e308 L/ha", "1e308 km", "5 lb/acre", "5 gal", "99:99", "24:00", "00:00", "07:00", "100 %",
    "0 %", "1e-12", "10000", "5 mph", "3 kW", "\u0000", "\u202eabc", "<b>x</b>", "=1+1", "a/b", "weather", "big",
    "pack", "x" * 5000, "\ud800", "\u0667 s", "1" * 400, "()", "m**99", "5 m^9^9", "5 (m^9)^9", "5 cubic m squared",
    [], {}, [[]], [{}], {"": 1}, {"dist": "gamma"}, {"dist": "empirical", "values": []},
    {"dist": "empirical", "values": ["0 s"]}, {"dist": "lognormal", "mean": "70 s", "cv": 1e9},
    {"dist": "normal", "mean": "1 s", "sd": "1e300 s"}, {"dist": "uniform", "low": "9 s", "high": "1 s"},
    {"dist": "constant", "value": {"dist": "constant"}},
    {"dist": "empirical", "file": "/dev/zero", "column": "x", "unit": "s"}, {"like": "big"}, "../../etc/passwd",
    "/dev/zero",
]  # fmt: skip

SPECIAL_BYTES = [
    b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n", b'"', b"'", b"[", b"{" * 90, b"[" * 3000, b"a." * 300, b",",
    b"=", b"-", b"1e999", b"NaN", b"-Infinity", b"9" * 5000, b"0x" + b"f" * 5000, b"\\ud800", b"#", b";", b"180",
    b"-90", b" ", b"\xe2\x80\xae", "\u0663".encode(), b"x 9999", b"null", b"true", b"[]", b"^9^9^9^9", b"**99",
    b"1979-05-27T07:32:00", b"<kml>" * 90, b"</coordinates>", b"<Polygon>", b"<!DOCTYPE a>", b"&#0;", b"<![CDATA[",
    b"\xff\xff\xff\x7f", b"\x7f\xff\xff\xff", b"\0" * 8, b"\xff" * 8, b"\0\0\0\0\0\0\xf8\x7f",
]  # fmt: skip


def places(table):
    """Return every (container, key) of a table, lists included."""
    found, waiting = [], [table]
    while waiting:
        place = waiting.pop()
        for key in list(place) if isinstance(place, dict) else range(len(place)):
            found.append((place, key))
            if isinstance(place[key], dict | list):
                waiting.append(place[key])
    return found


def nested(depth, inner):
    for number in range(depth):
        inner = [inner] if number % 2 else {"a": inner}
    return inner


def mutate(table, chooser):
    """Change one thing: a value, its type, its number, a key; or move, copy, drop, nest it."""
    sites = places(table)
    place, key = chooser.choice(sites)
    what = chooser.randrange(14)
    value = place[key]
    if what >= 9:
        # gently, so that much of it is still valid and a day of it is simulated
        number, _, unit = value.partition(" ") if isinstance(value, str) else ("", "", "")
        if number.replace(".", "").isdigit() and unit:
            place[key] = f"{float(number) * 10.0 ** chooser.uniform(-2, 2):.6g} {unit}"
        elif isinstance(value, int) and not isinstance(value, bool):
            place[key] = chooser.choice([0, 1, value + 1, 2 * value + 1, 30])
        elif isinstance(value, bool):
            place[key] = not value
    elif what <= 2:
        place[key] = copy.deepcopy(chooser.choice(EXTREMES))
    elif what == 3 and isinstance(value, str) and value[:1].isdigit():
        number, _, unit = value.partition(" ")
        scale = 10.0 ** chooser.choice([-30, -12, -6, -3, -1, 1, 3, 6, 12, 30, 300])
        place[key] = f"{float(number) * scale if number.replace('.', '', 1).isdigit() else number} {unit}"
    elif what == 3 and isinstance(value, int):
        place[key] = value * chooser.choice([0, -1, 10, 1000, 10**6, 10**18])
    elif what == 4:
        other, other_key = chooser.choice(sites)
        place[key] = copy.deepcopy(other[other_key])
    elif what == 5 and isinstance(place, dict):
        place[chooser.choice(["like", "dist", "name", "x" * 300, "", "a\nb", "big", "supply"])] = place.pop(key)
    elif what == 6:
        del place[key]
    elif what == 7:
        place[key] = nested(chooser.choice([1, 3, 25, 40, 60]), copy.deepcopy(value))
    elif what == 8 and isinstance(value, list):
        place[key] = value * chooser.choice([2, 50, 3000])
    else:
        place[key] = [copy.deepcopy(value)]


def mutate_some(table, chooser):
    """Change one to four things of a table."""
    for _ in range(chooser.choice([1, 1, 2, 4])):
        if places(table):
            mutate(table, chooser)


def garble(data, chooser):
    """Change bytes: flip, cut, double, insert what is special to some reader."""
    data = bytearray(data)
    for _ in range(chooser.choice([1, 1, 2, 4, 16])):
        at = chooser.randrange(len(data) + 1)
        what = chooser.randrange(6)
        if what == 0 and data:
            data[at % len(data)] = chooser.randrange(256)
        elif what == 1:
            del data[at : at + chooser.choice([1, 3, 40])]
        elif what == 2:
            end = at + chooser.choice([1, 5, 60])
            data[at:at] = data[at:end] * chooser.choice([1, 2, 200])
        else:
            data[at:at] = chooser.choice(SPECIAL_BYTES)
    return bytes(data)
