"""Going on with an unfinished run: the tables, and the decision when to stop, are those of an undisturbed run."""

import numpy as np
import pytest
from run_store_support import runs_in, same

from simulator.errors import InputError
from simulator.experiment import replicate
from simulator.experiment.run import open_store, run


def test_cut_and_spoilt_stores_resume_to_the_same_tables(loaded, reference, tmp_path, sooner_given_up):
    path = tmp_path / "store"
    begun = run(loaded, runs=30, one_more_runs=0, store=path)
    assert begun.resumed == ""
    size = path.stat().st_size
    with path.open("r+b") as handle:
        handle.truncate(size - 20_000)  # as by a file system that was not asked
    again = run(loaded, runs=70, one_more_runs=0, store=path)
    assert same(again, reference)
    assert again.resumed.endswith("runs were finished before; its database was damaged, and what could be read is kept")
    with path.open("r+b") as handle:
        for share in (0.25, 0.5, 0.75):  # and spoilt in places, one of which at least is in use
            handle.seek(round(share * path.stat().st_size))
            handle.write(b"\x55" * 8)
    third = run(loaded, runs=70, one_more_runs=0, store=path, workers=2)
    assert same(third, reference)
    assert 100 <= int(third.resumed.split()[0]) < 140
    assert "spoilt and left out" in third.resumed or "damaged" in third.resumed
    assert third.to_json() == reference.to_json()


def test_store_of_another_seed_is_refused(loaded, tmp_path):
    path = tmp_path / "store"
    run(loaded, runs=2, one_more_runs=0, store=path)
    with pytest.raises(InputError, match="another scenario, seed or version"):
        run(loaded, runs=2, seed=5, one_more_runs=0, store=path)


def test_fewer_runs_than_were_finished(loaded, reference, tmp_path):
    """The tables are those of the days asked for, not of what an earlier run had left."""
    path = tmp_path / "store"
    run(loaded, runs=40, one_more_runs=0, store=path)
    few = run(loaded, runs=25, one_more_runs=0, store=path)
    for entry, whole in zip(few.sets, reference.sets, strict=True):
        assert np.array_equal(entry.rows, whole.rows[:25], equal_nan=True)
        assert entry.replications.tolist() == list(range(25))


def test_resumed_run_stops_for_precision_where_an_undisturbed_one_does(loaded, tmp_path):
    """An interruption long after a look must not let the days beyond it have a say in that look."""
    undisturbed = run(loaded, runs=10, precision=0.03, one_more_runs=0)
    looked = undisturbed.sets[0].runs
    path = tmp_path / "store"
    run(loaded, runs=looked + 70, one_more_runs=0, store=path)
    resumed = run(loaded, runs=10, precision=0.03, one_more_runs=0, store=path)
    assert same(resumed, undisturbed)
    assert resumed.to_json() == undisturbed.to_json()


def test_runs_of_one_more_are_kept_too(loaded, tmp_path, monkeypatch):
    """What one more adds may be most of the work: interrupted there, it goes on where it was."""
    path = tmp_path / "store"
    undisturbed = run(loaded, runs=6, one_more_runs=6)

    def stop(stage, done, total):
        if stage.startswith("one more") and done >= total - 3:
            raise KeyboardInterrupt

    assert run(loaded, runs=6, one_more_runs=6, store=path, report=stop).stopped.startswith("interrupted")
    simulated = []
    real = replicate.row_of_run
    monkeypatch.setattr(replicate, "row_of_run", lambda *given: (simulated.append(given), real(*given))[1])
    resumed = run(loaded, runs=6, one_more_runs=6, store=path)
    assert len(simulated) == 3
    assert resumed.to_json() == undisturbed.to_json()
    changes = resumed.sets[0].one_more
    assert changes


def test_one_more_of_a_store_with_more_runs(loaded, tmp_path):
    path = tmp_path / "store"
    run(loaded, runs=12, one_more_runs=12, store=path)
    assert run(loaded, runs=6, one_more_runs=4, store=path).to_json() == run(loaded, runs=6, one_more_runs=4).to_json()


def test_store_given_open_stays_locked_until_its_maker_closes_it(loaded, tmp_path):
    path = tmp_path / "store"
    store = open_store(loaded, path)
    run(loaded, runs=2, one_more_runs=0, store=store)
    with pytest.raises(InputError, match="another command is writing"):
        run(loaded, runs=2, one_more_runs=0, store=path)
    store.close()
    assert runs_in(path) == 4
    assert run(loaded, runs=2, one_more_runs=0, store=path).resumed.startswith("4 runs")


@pytest.mark.parametrize("workers", [1, 2])
def test_interrupted_workers_keep_what_they_were_at(loaded, reference, tmp_path, workers):
    path = tmp_path / "store"

    def stop(stage, done, total):
        if done >= 40:
            raise KeyboardInterrupt

    result = run(loaded, runs=70, one_more_runs=0, report=stop, workers=workers, store=path)
    assert result.stopped.startswith("interrupted")
    assert 40 <= sum(entry.runs for entry in result.sets) < 140
    for entry, whole in zip(result.sets, reference.sets, strict=True):
        assert np.array_equal(entry.rows, whole.rows[entry.replications], equal_nan=True)
    assert runs_in(path) == sum(entry.runs for entry in result.sets)
    assert same(run(loaded, runs=70, one_more_runs=0, store=path, workers=workers), reference)
