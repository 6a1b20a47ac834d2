"""Records on disk: what is written is read back to the last bit, by place; a full disk leaves only whole records."""

from __future__ import annotations

import os
import resource
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from simulator.errors import InputError
from simulator.experiment import record_file
from simulator.experiment.record_file import RecordFile

WIDTH = 5


def random_rows(count: int, seed: int = 1) -> NDArray[np.float64]:
    rows = np.random.default_rng(seed).normal(size=(count, WIDTH))
    rows[:, 1] = np.nan
    return rows


def open_file(path: Path) -> RecordFile:
    return RecordFile(WIDTH, os.open(path, os.O_RDWR | os.O_CREAT), begin=0, name=str(path))


@contextmanager
def largest_file(size: int) -> Iterator[None]:
    """Let the kernel refuse to write a file beyond a size: a real error in the midst of a write."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.parametrize("kind", ["file", "memory", "temporary"])
def test_rows_are_read_back_by_place_in_any_order(kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(record_file, "SPOOL_BYTES", 10**9 if kind == "memory" else 2000)
    records = open_file(tmp_path / "a") if kind == "file" else RecordFile(WIDTH)
    rows = random_rows(300)
    places = [records.append(plan % 2, plan, rows[start : start + 7]) for plan, start in enumerate(range(0, 300, 7))]
    assert places == list(range(0, 300, 7))
    assert records.count == 300
    order = np.random.default_rng(2).permutation(300)
    for wanted in (np.arange(300), order, order[:0], np.array([5, 6, 7, 2, 3, 299])):
        assert np.array_equal(records.rows(wanted), rows[wanted], equal_nan=True)
    assert (records._handle is None) == (kind == "memory")


def test_records_survive_and_a_cut_or_spoilt_one_is_left_out(tmp_path: Path) -> None:
    path = tmp_path / "a"
    rows = random_rows(6)
    first = open_file(path)
    first.append(0, 10, rows)
    size = first.record_bytes
    del first
    with path.open("r+b") as handle:
        handle.truncate(6 * size - 3)  # a power loss in the last record
        handle.seek(2 * size + 20)
        handle.write(b"\x55")  # and a bit of another turned
    again = open_file(path)
    found = [(places, records.copy()) for places, records in again.whole_records()]
    places = np.concatenate([one for one, _ in found])
    assert places.tolist() == [0, 1, 3, 4]
    assert np.concatenate([one["replication"] for _, one in found]).tolist() == [10, 11, 13, 14]
    assert np.array_equal(np.concatenate([one["row"] for _, one in found]), rows[places], equal_nan=True)
    assert (again.spoilt, again.count) == (2, 5)
    assert path.stat().st_size == 5 * size
    assert again.append(1, 0, rows[:1]) == 5
    assert np.array_equal(again.rows(np.array([5, 4])), rows[[0, 4]], equal_nan=True)


def test_checksum_covers_plan_and_replication(tmp_path: Path) -> None:
    path = tmp_path / "a"
    open_file(path).append(0, 3, random_rows(1))
    for byte in (0, 4):
        content = bytearray(path.read_bytes())
        content[byte] ^= 1
        (tmp_path / "b").write_bytes(content)
        assert all(len(places) == 0 for places, _ in open_file(tmp_path / "b").whole_records())


def test_full_disk_leaves_whole_records_and_says_what_to_do(tmp_path: Path) -> None:
    path = tmp_path / "a"
    records = open_file(path)
    rows = random_rows(20)
    records.append(0, 0, rows[:10])
    with largest_file(int(13.5 * records.record_bytes)), pytest.raises(InputError) as caught:
        records.append(0, 10, rows[10:])
    message = str(caught.value)
    assert str(path) in message
    assert "free space" in message
    assert "--resume" in message
    assert path.stat().st_size == 13 * records.record_bytes  # what fitted of the others, without the half one
    kept = open_file(path)
    assert [places.tolist() for places, _ in kept.whole_records()] == [list(range(13))]
    assert kept.spoilt == 0
    assert records.append(0, 10, rows[10:]) == 10  # once there is space
    assert np.array_equal(records.rows(np.arange(20)), rows, equal_nan=True)


def test_full_temporary_folder_keeps_the_days_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(record_file, "SPOOL_BYTES", 1000)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    records = RecordFile(WIDTH)
    rows = random_rows(40)
    records.append(0, 0, rows[:10])
    with largest_file(700), pytest.raises(InputError, match="TMPDIR") as caught:
        records.append(0, 10, rows[10:])
    assert str(tmp_path) in str(caught.value)
    assert np.array_equal(records.rows(np.arange(10)), rows[:10], equal_nan=True)
    assert records.append(0, 10, rows[10:]) == 10
    assert np.array_equal(records.rows(np.arange(40)), rows, equal_nan=True)
    assert list(tmp_path.iterdir()) == []  # the temporary file has no name, so nothing is left behind


def test_file_cut_short_by_somebody_else_is_told(tmp_path: Path) -> None:
    records = open_file(tmp_path / "a")
    records.append(0, 0, random_rows(4))
    os.truncate(tmp_path / "a", 10)
    with pytest.raises(InputError, match="cut short"):
        records.rows(np.array([3]))


def test_descriptor_is_closed_with_the_object(tmp_path: Path) -> None:
    records = open_file(tmp_path / "a")
    handle = records._handle
    assert handle is not None
    del records
    with pytest.raises(OSError, match="Bad file descriptor"):
        os.fstat(handle)
