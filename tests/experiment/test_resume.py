"""Going on with an unfinished run: the tables, and the decision when to stop, are those of an undisturbed run."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from simulator.analysis.bottleneck import OneMore
from simulator.errors import InputError
from simulator.experiment import replicate
from simulator.experiment.journal import days_in
from simulator.experiment.result import Result
from simulator.experiment.run import open_journal, run
from simulator.scenario.loading import LoadedScenario


def same(first: Result, second: Result) -> bool:
    return all(
        np.array_equal(a.rows, b.rows, equal_nan=True) and np.array_equal(a.replications, b.replications)
        for a, b in zip(first.sets, second.sets, strict=True)
    )


def test_cut_and_spoilt_journals_resume_to_the_same_tables(
    loaded: LoadedScenario, reference: Result, tmp_path: Path
) -> None:
    path = tmp_path / "journal"
    begun = run(loaded, days=30, one_more_days=0, journal=path)
    assert begun.resumed == ""
    size = path.stat().st_size
    with path.open("r+b") as handle:
        handle.truncate(size - 333)  # the last record cut off, as by a power loss
    again = run(loaded, days=70, one_more_days=0, journal=path)
    assert same(again, reference)
    assert again.resumed == "59 days were finished before; 1 record was cut off or spoilt and left out"
    with path.open("r+b") as handle:
        handle.seek(size // 2)
        handle.write(b"\0" * 64)  # and spoilt in the middle
    third = run(loaded, days=70, one_more_days=0, journal=path, workers=2)
    assert same(third, reference)
    assert third.resumed == "139 days were finished before; 1 record was cut off or spoilt and left out"
    assert third.to_json() == reference.to_json()


def test_journal_of_another_seed_is_refused(loaded: LoadedScenario, tmp_path: Path) -> None:
    path = tmp_path / "journal"
    run(loaded, days=2, one_more_days=0, journal=path)
    with pytest.raises(InputError, match="another scenario, seed or version"):
        run(loaded, days=2, seed=5, one_more_days=0, journal=path)


def test_fewer_days_than_were_finished(loaded: LoadedScenario, reference: Result, tmp_path: Path) -> None:
    """The tables are those of the days asked for, not of what an earlier run had left."""
    path = tmp_path / "journal"
    run(loaded, days=40, one_more_days=0, journal=path)
    few = run(loaded, days=25, one_more_days=0, journal=path)
    for entry, whole in zip(few.sets, reference.sets, strict=True):
        assert np.array_equal(entry.rows, whole.rows[:25], equal_nan=True)
        assert entry.replications.tolist() == list(range(25))


def test_resumed_run_stops_for_precision_where_an_undisturbed_one_does(loaded: LoadedScenario, tmp_path: Path) -> None:
    """An interruption long after a look must not let the days beyond it have a say in that look."""
    undisturbed = run(loaded, days=10, precision=0.03, one_more_days=0)
    looked = undisturbed.sets[0].days
    path = tmp_path / "journal"
    run(loaded, days=looked + 70, one_more_days=0, journal=path)
    resumed = run(loaded, days=10, precision=0.03, one_more_days=0, journal=path)
    assert same(resumed, undisturbed)
    assert resumed.to_json() == undisturbed.to_json()


def test_days_of_one_more_are_kept_too(loaded: LoadedScenario, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What one more adds may be most of the work: interrupted there, it goes on where it was."""
    path = tmp_path / "journal"
    undisturbed = run(loaded, days=6, one_more_days=6)

    def stop(stage: str, done: int, total: int) -> None:
        if stage.startswith("one more") and done >= total - 3:
            raise KeyboardInterrupt

    assert run(loaded, days=6, one_more_days=6, journal=path, report=stop).stopped.startswith("interrupted")
    simulated = []
    real = replicate.run_day
    monkeypatch.setattr(replicate, "run_day", lambda *given: (simulated.append(given), real(*given))[1])
    resumed = run(loaded, days=6, one_more_days=6, journal=path)
    assert len(simulated) == 3
    assert resumed.to_json() == undisturbed.to_json()
    changes: tuple[OneMore, ...] = resumed.sets[0].one_more
    assert changes


def test_one_more_of_a_journal_with_more_days(loaded: LoadedScenario, tmp_path: Path) -> None:
    path = tmp_path / "journal"
    run(loaded, days=12, one_more_days=12, journal=path)
    assert (
        run(loaded, days=6, one_more_days=4, journal=path).to_json() == run(loaded, days=6, one_more_days=4).to_json()
    )


def test_journal_given_open_stays_locked_until_its_maker_closes_it(loaded: LoadedScenario, tmp_path: Path) -> None:
    path = tmp_path / "journal"
    journal = open_journal(loaded, path)
    run(loaded, days=2, one_more_days=0, journal=journal)
    with pytest.raises(InputError, match="another run is writing"):
        run(loaded, days=2, one_more_days=0, journal=path)
    journal.close()
    assert days_in(path) == 4
    assert run(loaded, days=2, one_more_days=0, journal=path).resumed.startswith("4 days")


@pytest.mark.parametrize("workers", [1, 2])
def test_interrupted_workers_keep_what_they_were_at(
    loaded: LoadedScenario, reference: Result, tmp_path: Path, workers: int
) -> None:
    path = tmp_path / "journal"

    def stop(stage: str, done: int, total: int) -> None:
        if done >= 40:
            raise KeyboardInterrupt

    result = run(loaded, days=70, one_more_days=0, report=stop, workers=workers, journal=path)
    assert result.stopped.startswith("interrupted")
    assert 40 <= sum(entry.days for entry in result.sets) < 140
    for entry, whole in zip(result.sets, reference.sets, strict=True):
        assert np.array_equal(entry.rows, whole.rows[entry.replications], equal_nan=True)
    assert days_in(path) == sum(entry.days for entry in result.sets)
    assert same(run(loaded, days=70, one_more_days=0, journal=path, workers=workers), reference)
