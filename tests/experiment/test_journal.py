"""The journal: for one run alone, of one run alone, and readable after a power loss."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from simulator.analysis.summary import columns
from simulator.errors import InputError
from simulator.experiment.journal import Journal, days_in, in_use
from simulator.experiment.tables import Tables

IDENTITY = {"run": 1, "columns": list(columns())}
WIDTH = len(columns())


def rows(count: int, start: float = 0.0) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    return start + np.arange(count * WIDTH, dtype=float).reshape(count, WIDTH)


def test_days_are_read_again(tmp_path: Path) -> None:
    path = tmp_path / "journal"
    first = Journal(path, IDENTITY, WIDTH)
    assert days_in(path) == 0
    first.records.append(0, 4, rows(2))
    first.records.append(1, 9, rows(1, 0.5))
    first.close()
    assert days_in(path) == 3
    second = Journal(path, IDENTITY, WIDTH)
    tables = Tables(2, second.records)
    assert tables.load() == 3
    assert tables.table(0)[0].tolist() == [4, 5]
    assert np.array_equal(tables.table(0)[1], rows(2))
    assert np.array_equal(tables.table(1)[1], rows(1, 0.5))
    second.close(remove=True)
    assert not path.exists()
    assert np.array_equal(tables.table(0)[1], rows(2))  # a result outlives the file's name


def test_two_runs_do_not_share_a_journal(tmp_path: Path) -> None:
    path = tmp_path / "journal"
    first = Journal(path, IDENTITY, WIDTH)
    assert in_use(path)
    with pytest.raises(InputError, match="another run is writing"):
        Journal(path, IDENTITY, WIDTH)
    with pytest.raises(InputError, match="another run is writing"):
        Journal(path, IDENTITY, WIDTH, fresh=True)
    first.close()
    assert not in_use(path)
    Journal(path, IDENTITY, WIDTH).close()


def test_another_runs_journal_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "journal"
    first = Journal(path, IDENTITY, WIDTH)
    first.records.append(0, 0, rows(1))
    first.close()
    before = path.read_bytes()
    with pytest.raises(InputError, match="another scenario, seed or version"):
        Journal(path, {**IDENTITY, "run": 2}, WIDTH)
    assert path.read_bytes() == before
    Journal(path, {**IDENTITY, "run": 2}, WIDTH, fresh=True).close()
    assert days_in(path) == 0


@pytest.mark.parametrize("left", ["nothing", "half the first line", "zeros"])
def test_first_line_cut_off_by_a_power_loss_begins_anew(tmp_path: Path, left: str) -> None:
    path = tmp_path / "journal"
    Journal(path, IDENTITY, WIDTH).close()
    whole = path.read_bytes()
    path.write_bytes({"nothing": b"", "half the first line": whole[:40], "zeros": b"\0" * 900}[left])
    assert days_in(path) == 0
    journal = Journal(path, IDENTITY, WIDTH)
    assert path.read_bytes() == whole
    assert Tables(1, journal.records).load() == 0


def test_of_a_day_twice_there_the_last_counts(tmp_path: Path) -> None:
    path = tmp_path / "journal"
    journal = Journal(path, IDENTITY, WIDTH)
    journal.records.append(0, 0, rows(2))
    journal.records.append(0, 1, rows(1, 7.0))
    tables = Tables(1, journal.records)
    assert tables.load() == 2
    assert np.array_equal(tables.table(0)[1][1], rows(1, 7.0)[0])


def test_days_of_plans_that_this_run_has_not_are_left_alone(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "journal", IDENTITY, WIDTH)
    journal.records.append(0, 0, rows(2))
    journal.records.append(5, 0, rows(2))
    tables = Tables(2, journal.records)
    assert tables.load() == 2
    assert journal.records.count == 4


def test_full_disk_at_the_first_line(tmp_path: Path) -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("the system has no /dev/full")
    path = tmp_path / "journal"
    path.symlink_to(full)
    with pytest.raises(InputError) as caught:
        Journal(path, IDENTITY, WIDTH)
    assert str(path) in str(caught.value)


def test_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        Journal(tmp_path / "no" / "journal", IDENTITY, WIDTH)


def test_journal_removed_by_the_run_that_held_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between opening and locking the name may go: the days would land in a file that nobody finds again."""
    path = tmp_path / "journal"
    Journal(path, IDENTITY, WIDTH).close()
    opened, real_open = [], os.open

    def open_and_lose(name: Path, *arguments: int) -> int:
        handle = real_open(name, *arguments)
        if name == path and not opened:
            path.unlink()
        opened.append(handle)
        return handle

    monkeypatch.setattr(os, "open", open_and_lose)
    journal = Journal(path, IDENTITY, WIDTH)
    journal.records.append(0, 0, rows(1))
    journal.close()
    assert days_in(path) == 1
