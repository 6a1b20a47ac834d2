"""Tables on disk hold what a plain dictionary of rows would, whatever the order of arrival."""

import copy
import pickle
import tracemalloc
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from simulator.analysis.summary import columns, place_of
from simulator.experiment.set_result import SetResult
from simulator.experiment.tables import StoredRows, Tables

WIDTH = len(columns())
ACRES = place_of("acres")


def row(plan, replication, version=0):
    values = np.arange(WIDTH) / 7.0 + 1000.0 * replication + 1e6 * plan + 0.1 * version
    values[3] = np.nan
    return values


blocks = st.lists(st.tuples(st.integers(0, 1), st.integers(0, 40), st.integers(1, 9)), max_size=14)


@given(arrivals=blocks, first=st.integers(0, 30), length=st.integers(0, 30), before=st.integers(0, 50))
def test_same_as_a_dictionary(arrivals, first, length, before):
    tables = Tables(2)
    plain = [{}, {}]
    for version, (plan, start, count) in enumerate(arrivals):
        rows = np.array([row(plan, replication, version) for replication in range(start, start + count)])
        tables.add(plan, start, rows)
        plain[plan].update({start + place: one for place, one in enumerate(rows)})
    for plan, known in enumerate(plain):
        numbers, rows = tables.table(plan)
        assert numbers.tolist() == sorted(known)
        assert np.array_equal(rows.ravel(), np.array([known[n] for n in sorted(known)]).ravel(), equal_nan=True)
        assert tables.done(plan) == len(known)
        assert tables.acres(plan, before).tolist() == [known[n][ACRES] for n in sorted(known) if n < before]
        cut, stored = tables.stored(plan, before)
        assert cut.tolist() == [n for n in sorted(known) if n < before]
        assert np.array_equal(stored.rows(), rows[numbers < before], equal_nan=True)
        lacking = [n for low, high in tables.gaps(plan, first, first + length) for n in range(low, high)]
        assert lacking == [n for n in range(first, first + length) if n not in known]
        assert tables.known(plan, first, first + length) == length - len(lacking)
        gaps = tables.gaps(plan, first, first + length)
        assert all(end < start for (_, end), (start, _) in pairwise(gaps))
    whole = next(n for n in range(100) if any(n not in known for known in plain))
    assert tables.whole() == whole
    assert tables.whole([0, 1], before) == min(whole, before)


def filled(days, plans=2):
    """Return tables whose days came by turns and in blocks of changing size."""
    tables = Tables(plans)
    generator = np.random.default_rng(5)
    for start in range(0, days, 50):
        for plan in range(plans):
            rows = generator.normal(size=(min(50, days - start), WIDTH))
            rows[::3, 5] = np.nan
            tables.add(plan, start, rows)
    return tables


def test_figures_of_stored_rows_equal_those_in_memory():
    """To the last digit, also beyond what stays in memory: sums in another order would round otherwise."""
    numbers, stored = filled(7000).stored(1)
    rows = stored.rows()
    assert len(stored) == len(rows) == 7000
    assert np.array_equal(np.vstack(list(stored.chunks(999))), rows, equal_nan=True)
    on_disk, in_memory = SetResult("a", numbers, stored, None), SetResult("a", numbers, rows, None)
    for place, name in enumerate(columns()):
        assert np.array_equal(stored.column(place), rows[:, place], equal_nan=True)
        assert on_disk.mean(name) == in_memory.mean(name)
        assert np.array_equal(on_disk.column(name), in_memory.column(name), equal_nan=True)
    assert on_disk.time_share() == in_memory.time_share()
    for (numbers_a, rows_a), (numbers_b, rows_b) in zip(on_disk.parts(1000), in_memory.parts(1000), strict=True):
        assert numbers_a.tolist() == numbers_b.tolist()
        assert np.array_equal(rows_a, rows_b, equal_nan=True)


def test_stored_rows_can_be_copied_and_pickled():
    numbers, stored = filled(20).stored(0)
    entry = SetResult("a", numbers, stored, None)
    for other in (copy.deepcopy(entry), pickle.loads(pickle.dumps(entry))):
        assert np.array_equal(other.rows, entry.rows, equal_nan=True)
        assert other.mean("acres") == entry.mean("acres")


def test_places_take_little_memory_and_rows_none():
    """What is kept for a day is sixteen bytes, not its row of some six hundred."""
    block = np.random.default_rng(3).normal(size=(1000, WIDTH))
    tables = Tables(1)
    for start in range(0, 10_000, 1000):  # beyond what stays in memory, so that it is on disk from here on
        tables.add(0, start, block)
    tables.reserve(0, 60_000)
    tracemalloc.start()
    for start in range(10_000, 60_000, 1000):
        tables.add(0, start, block)
    kept, peak = tracemalloc.get_traced_memory()
    _, stored = tables.stored(0)
    for place in range(0, WIDTH, 10):
        assert len(stored.column(place)) == 60_000
    _, read_peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert 50_000 * WIDTH * 8 > 20e6
    assert kept < 0.5e6
    assert peak < 3e6
    assert read_peak < 5e6


def test_empty_table():
    numbers, rows = Tables(1).table(0)
    assert (len(numbers), rows.shape) == (0, (0, WIDTH))
    assert isinstance(Tables(1).stored(0)[1], StoredRows)
