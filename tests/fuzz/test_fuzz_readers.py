"""Fuzz of all readers, in a short form: an ordinary run tries a few hundred inputs, the slow one about 5,000.

``ACREDAY_FUZZ`` sets another number for the slow one. `fuzzing.py` and `atheris_readers.py` beside this file are the
long forms; what they found has its tests in `test_found.py`.
"""

import resource
import time

import pytest
from bounds import TooSlow, bounded
from file_strategies import FILES
from fuzz_inputs import READERS, UnexpectedError, corpus, guarded, inputs_wanted, read, wide_table
from fuzz_results import RESULT_READERS
from fuzzing import Tally, fuzz_bytes, fuzz_files, fuzz_results, fuzz_round, fuzz_tables, fuzz_wide_tables

from simulator.errors import InputError, Problem
from simulator.scenario.loading import load_scenario

MOST_GROWTH_MB = 1500
"""The process may grow by this much over a whole run: a reader that keeps or multiplies its input shows here."""


def grown_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def test_the_corpus_is_read_where_it_is_valid():
    read_at_all = {kind for kind, data in corpus() if read(kind, data) is not None}
    assert read_at_all == set(READERS)


def test_the_wide_scenario_uses_nearly_every_key():
    written = set(wide_table())
    assert set(type(load_scenario(wide_table()).base).model_fields) - written <= {"field_file"}


def test_mutated_scenarios():
    tally = Tally()
    fuzz_tables(60, 20240601, tally)
    fuzz_wide_tables(60, 20240601, tally)
    for reader in ("scenario", "scenario, all keys"):
        # a fuzz whose inputs are all refused at once has tested one line; one that refuses none has tested nothing
        assert 0 < tally.accepted["mutated", reader] < 60


def test_made_files_are_nearly_what_a_reader_wants():
    """Of each reader some are accepted and some refused."""
    tally = Tally()
    for reader in FILES:
        fuzz_files(40, 20240602, tally, reader)
    assert all(0 < number < tally.tried[reader] for reader, number in tally.accepted.items())
    assert {reader for _, reader in tally.accepted} == set(FILES)


def test_mutated_results():
    tally = Tally()
    fuzz_results(14, 20240601, tally)
    assert {reader for _, reader in tally.tried} == set(RESULT_READERS)
    assert 0 < sum(tally.accepted.values()) < tally.inputs == 14


def test_garbled_files_and_settings():
    before = grown_mb()
    tally = Tally()
    fuzz_bytes(300, 20240601, tally)
    assert 0 < sum(tally.accepted.values()) < tally.inputs == 300
    assert grown_mb() - before < MOST_GROWTH_MB


@pytest.mark.slow
def test_many_inputs():
    before = grown_mb()
    tally, round_seed = Tally(), 0
    while tally.inputs < inputs_wanted(5000):
        round_seed += 1
        fuzz_round(round_seed, tally)
    print("\n".join(tally.table()))
    assert grown_mb() - before < MOST_GROWTH_MB


# --- the fuzz itself finds what it looks for ---


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (KeyError("x"), "KeyError"),
        (InputError([]), "a refusal of"),
        (InputError([Problem("", "x" * 300_000)]), "a refusal of"),
    ],
)
def test_another_error_or_a_refusal_that_says_nothing_or_too_much_is_a_finding(error, says):
    def fails():
        raise error

    with pytest.raises(UnexpectedError, match=says):
        guarded(fails, "input")


def test_a_hang_is_broken_off():
    def hangs():
        while True:
            try:
                time.process_time()
            except Exception:  # noqa: BLE001  a reader may catch all exceptions; the bound must come through
                continue

    with pytest.raises(TooSlow, match="broken off"), bounded(0.2, 100):
        hangs()


def test_time_in_compiled_code_counts_when_it_returns():
    with pytest.raises(TooSlow), bounded(0.01, 1000):
        sum(range(10**7))


def test_memory_is_bounded():
    with pytest.raises(MemoryError), bounded(60.0, 100):
        bytearray(300_000_000)
    assert resource.getrlimit(resource.RLIMIT_AS)[0] == resource.RLIM_INFINITY
    bytearray(300_000_000)


def test_findings_are_kept_and_the_fuzz_goes_on():
    def finds():
        raise UnexpectedError("found")

    tally = Tally(keep_going=True)
    for _ in range(2):
        tally.note("garbled", "geojson", finds)
    assert tally.findings == ["garbled, geojson: found"] * 2
    assert tally.inputs == 2
