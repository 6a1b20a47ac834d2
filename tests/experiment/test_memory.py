"""Memory does not grow with days: from simulating to the written table. ``tests/benchmark/memory.py`` measures it."""

import tracemalloc

import pytest

from simulator.analysis.summary import columns
from simulator.experiment import replicate, tables
from simulator.experiment.run import run
from simulator.report.folder import write_csv

ROW_BYTES = 8 * len(columns())
FEW, MANY = 1100, 3000


def peak_bytes(loaded, days, folder, precision):
    """Return the most memory that a run, its figures and its table took at a time."""
    journal = folder / "journal"
    journal.unlink(missing_ok=True)
    tracemalloc.start()
    result = run(loaded, runs=days, one_more_runs=0, store=journal, precision=precision)
    result.to_json()
    if precision is None:
        write_csv(folder / "runs.csv", result.run_frames(size=100))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak, result


@pytest.mark.parametrize("precision", [None, 1e-6], ids=["runs", "precision"])
def test_peak_is_flat(loaded, tmp_path, monkeypatch, precision):
    """The same days, not simulated anew: what is looked at is what is kept of them."""
    kept = run(loaded, runs=4, one_more_runs=0).sets[0].rows

    def instead(_plan, _bank, replication):
        return kept[replication % 4] * (1.0 + 1e-3 * (replication % 97))

    monkeypatch.setattr(replicate, "row_of_run", instead)
    monkeypatch.setattr(tables, "AHEAD_BYTES", 100_000)  # a bound that is reached with few days already
    monkeypatch.setattr("simulator.experiment.run.MOST_RUNS", FEW)
    peak_bytes(loaded, FEW, tmp_path, None)  # what is loaded and cached once
    low, _ = peak_bytes(loaded, FEW, tmp_path, precision)
    monkeypatch.setattr("simulator.experiment.run.MOST_RUNS", MANY)
    high, result = peak_bytes(loaded, MANY if precision is None else 64, tmp_path, precision)
    assert [entry.runs for entry in result.sets] == [MANY, MANY]
    # of the rows that came on top, 2.2 MB, nothing is kept but where they stand: a third, give or take what is cached
    assert 2 * (MANY - FEW) * ROW_BYTES > 2.2e6
    assert high - low < 1.0e6
