"""Fuzz: whatever is given to a reader, only the project's own errors come out, soon and without eating memory.

Structure-aware (valid scenarios and files with one to four mutations) and raw bytes. An ordinary run tries a few
hundred inputs; the slow one about 5,000 (``ACREDAY_FUZZ`` sets another number). `atheris_readers.py` beside this file
goes on from the same corpus, guided by coverage.
"""

import copy
import itertools
import json
import math
import random
import resource
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings

sys.path.insert(0, str(Path(__file__).parent))

from fuzz_inputs import READERS, corpus, guarded, inputs_wanted, read, simulate_one
from scenarios_strategy import scenarios

from simulator.scenario.loading import load_scenario

ORDINARY, MANY = 150, 2500
MOST_GROWTH_MB = 1500
"""The process may grow by this much over a whole run: a reader that keeps or multiplies its input shows here."""

EXTREMES = [
    0,
    -0.0,
    1,
    -1,
    2,
    1e-300,
    5e-324,
    1e300,
    2**31,
    2**63 - 1,
    2**63,
    -(2**63),
    10**30,
    16**4000,
    math.nan,
    math.inf,
    -math.inf,
    True,
    False,
    "",
    " ",
    "nan",
    "inf",
    "-inf s",
    "0 s",
    "1e400 s",
    "1e-300 s",
    "-5 s",
    "1e9 acre",
    "1 mm",
    "0 m",
    "1e12 m",
    "1e308 L/ha",
    "5 lb/acre",
    "5 gal",
    "99:99",
    "24:00",
    "00:00",
    "07:00",
    "100 %",
    "0 %",
    "1e-12",
    "10000",
    "5 mph",
    "3 kW",
    "\u0000",
    "\u202eabc",
    "<b>x</b>",
    "=1+1",
    "a/b",
    "weather",
    "big",
    "pack",
    "x" * 5000,
    "\ud800",
    "\u0667 s",
    "1" * 400,
    "()",
    "m**99",
    [],
    {},
    [[]],
    [{}],
    {"": 1},
    {"dist": "gamma"},
    {"dist": "empirical", "values": []},
    {"dist": "empirical", "values": ["0 s"]},
    {"dist": "lognormal", "mean": "70 s", "cv": 1e9},
    {"dist": "normal", "mean": "1 s", "sd": "1e300 s"},
    {"dist": "uniform", "low": "9 s", "high": "1 s"},
    {"dist": "constant", "value": {"dist": "constant"}},
    {"dist": "empirical", "file": "/dev/zero", "column": "x", "unit": "s"},
    {"like": "big"},
    "../../etc/passwd",
    "/dev/zero",
]


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
        place[key] = f"{float(number) * scale if number.replace('.', '').isdigit() else number} {unit}"
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
            special = [
                b"\0",
                b"\xff\xfe",
                b"\xef\xbb\xbf",
                b"\r",
                b"\n",
                b'"',
                b"'",
                b"[",
                b"{" * 90,
                b"[" * 3000,
                b"a." * 300,
                b",",
                b"=",
                b"-",
                b"1e999",
                b"NaN",
                b"-Infinity",
                b"9" * 5000,
                b"0x" + b"f" * 5000,
                b"\\ud800",
                b"#",
                b";",
                b"180",
                b"-90",
                b" ",
                b"\xe2\x80\xae",
                "\u0663".encode(),
                b"x 9999",
                b"null",
                b"true",
                b"[]",
                b"1979-05-27T07:32:00",
            ]
            data[at:at] = chooser.choice(special)
    return bytes(data)


def try_scenario(table, own_seed):
    """Mutate a valid scenario, load it, and when it is still valid simulate a day of it."""
    # a copy: hypothesis prints its own when something fails, and cannot print what is nested deeply
    table = copy.deepcopy(table)
    chooser = random.Random(own_seed)
    for _ in range(chooser.choice([1, 1, 2, 4])):
        if places(table):
            mutate(table, chooser)
    loaded = guarded(
        lambda: load_scenario(table),
        repr(own_seed) + json.dumps(table, default=str, skipkeys=True)[:6000] if _shallow(table) else "deep",
    )
    if loaded is not None:
        simulate_one(loaded)
    return loaded is not None


def _shallow(table):
    try:
        json.dumps(table, default=str, skipkeys=True)
    except (RecursionError, ValueError):
        return False
    return True


def fuzz_scenarios(number, first_seed, tally=None):
    """Try mutated scenarios, in batches of 50 of a seed each: later ones of a long batch resemble each other."""
    seeds = itertools.count(first_seed)

    def batch(size):
        batch_seed = next(seeds)
        chooser = random.Random(batch_seed)

        @seed(batch_seed)
        @settings(
            max_examples=size,
            phases=[Phase.generate],
            database=None,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        )
        @given(scenarios())
        def one(table):
            valid = try_scenario(table, chooser.getrandbits(32))
            if tally is not None:
                tally[valid] = tally.get(valid, 0) + 1

        one()

    for begun in range(0, number, 50):
        batch(min(50, number - begun))


def fuzz_bytes(number, first_seed, tally=None):
    chooser = random.Random(first_seed)
    seeds = corpus()
    for _ in range(number):
        kind, data = chooser.choice(seeds)
        if chooser.randrange(20) == 0:
            data = chooser.randbytes(chooser.choice([0, 1, 7, 300]))
        accepted = read(kind, garble(data, chooser)) is not None
        if tally is not None:
            tally[kind, accepted] = tally.get((kind, accepted), 0) + 1


def grown_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def test_the_corpus_is_read_where_it_is_valid():
    read_at_all = {kind for kind, data in corpus() if read(kind, data) is not None}
    assert read_at_all == set(READERS)


def test_mutated_scenarios():
    fuzz_scenarios(inputs_wanted(ORDINARY), 20240601)


def test_garbled_files_and_settings():
    before = grown_mb()
    tally = {}
    fuzz_bytes(inputs_wanted(2 * ORDINARY), 20240601, tally)
    # a fuzz whose inputs are all refused at once has tested one line; one that refuses none has tested nothing
    assert any(accepted for _, accepted in tally)
    assert not all(accepted for _, accepted in tally)
    assert grown_mb() - before < MOST_GROWTH_MB


@pytest.mark.slow
def test_many_inputs():
    before = grown_mb()
    scenarios_tried, files_tried = {}, {}
    fuzz_scenarios(inputs_wanted(MANY), 1, scenarios_tried)
    fuzz_bytes(inputs_wanted(MANY), 7, files_tried)
    print(f"fuzz: scenarios {scenarios_tried}, files {files_tried}")
    assert scenarios_tried[False]
    assert grown_mb() - before < MOST_GROWTH_MB
