"""The database of finished days keeps its promise: kills, full disks, changed bytes, strangers, two at a time."""

import contextlib
import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import time

import numpy as np
import pytest
from run_store_support import runs_in

from simulator.analysis.summary import columns
from simulator.errors import InputError
from simulator.experiment import run_file
from simulator.experiment.run import run
from simulator.experiment.run_store import MOST_REPLICATION, RunStore, _check
from simulator.experiment.tables import Tables

WIDTH = len(columns())
ACRES = columns().index("acres")
PLAN = run_file.PLAN
TRIES = int(os.environ.get("ACREDAY_FUZZ", "0")) or 60


def rows(first, count, plan=0):
    """Return the rows of some days; each day's are its own, whenever they are made."""
    made = np.array([np.random.default_rng([plan, n]).normal(size=WIDTH) for n in range(first, first + count)])
    made[:, 3] = np.nan
    return made


def filled(path, days=60):
    store = RunStore(WIDTH, path, "mine")
    for first in range(0, days, 5):
        for plan in (0, 1):
            store.add(plan, first, rows(first, 5, plan))
    store.close()
    return path


def true_runs(path, identity="mine"):
    """Return how many days can be read; every one of them must be as it was written."""
    store = RunStore(WIDTH, path, identity)
    tables = Tables(2, store)
    count = tables.load()
    for plan in (0, 1):
        numbers, found = tables.table(plan)
        for number, row in zip(numbers.tolist(), found, strict=True):
            assert np.array_equal(row, rows(number, 1, plan)[0], equal_nan=True)
    # and it is fit to go on with
    store.add(1, 500, rows(500, 3, 1))
    assert np.array_equal(store.rows(1, np.arange(500, 503)), rows(500, 3, 1), equal_nan=True)
    store.close()
    return count


def refusal(path, fresh=False):
    with pytest.raises(InputError) as caught:
        RunStore(WIDTH, path, "mine", fresh)
    return str(caught.value)


@pytest.mark.parametrize("kind", ["file", "temporary"])
def test_rows_are_read_back_to_the_last_bit(tmp_path, kind):
    store = RunStore(WIDTH, tmp_path / "a" if kind == "file" else None, "mine")
    for first in (40, 0, 10):
        store.add(3, first, rows(first, 10, 3))
    store.add(3, 5, rows(5, 3, 3))
    for wanted in ([], [0], [3, 4, 5], [8, 9, 10, 40], list(range(20)), [2, 49]):
        found = store.rows(3, np.array(wanted, np.int64))
        expected = np.array([rows(n, 1, 3)[0] for n in wanted]).reshape(len(wanted), WIDTH)
        assert np.array_equal(found, expected, equal_nan=True)
    assert store.count == 30
    with pytest.raises(InputError, match="changed by another program while"):
        store.rows(3, np.array([20]))


def test_what_is_closed_or_removed_can_still_be_read_here(tmp_path):
    path = filled(tmp_path / "a")
    store = RunStore(WIDTH, path, "mine")
    store.close(remove=True)
    assert list(tmp_path.iterdir()) == []
    assert np.array_equal(store.rows(1, np.arange(60)), rows(0, 60, 1), equal_nan=True)
    # another run has made its own meanwhile, which is not this one's to remove
    filled(path)
    store.close(remove=True)
    assert runs_in(path) == 120


def test_one_at_a_time(tmp_path):
    path = tmp_path / "a"
    store = RunStore(WIDTH, path, "mine")
    store.add(0, 0, rows(0, 2))
    assert "another command is writing" in refusal(path)
    code = (
        "import sys; from pathlib import Path; from simulator.experiment.run_store import RunStore\n"
        f"RunStore({WIDTH}, Path(sys.argv[1]), 'mine', sys.argv[2] == 'fresh')"
    )
    for fresh in ("", "fresh"):
        other = subprocess.run(
            [sys.executable, "-c", code, str(path), fresh], capture_output=True, text=True, check=False
        )
        assert "another command is writing" in other.stderr
    store.add(0, 2, rows(2, 2))
    store.close()
    assert true_runs(path) == 4


def test_two_processes_that_begin_at_once(tmp_path):
    """Of many that want a folder, one at a time has it, and nothing that one of them wrote is lost."""
    code = f"""
import sys; from pathlib import Path
import numpy as np
from simulator.errors import InputError
from simulator.experiment.run_store import RunStore
done = 0
while done < 20:
    try:
        store = RunStore({WIDTH}, Path(sys.argv[1]), "mine")
    except InputError as error:
        assert "another command is writing" in str(error), error
        continue
    number = store.count
    store.add(0, number, np.full((1, {WIDTH}), float(sys.argv[2])))
    store.close()
    done += 1
"""
    path = tmp_path / "a"
    each = [subprocess.Popen([sys.executable, "-c", code, str(path), name]) for name in "123"]
    assert [process.wait() for process in each] == [0, 0, 0]
    store = RunStore(WIDTH, path, "mine")
    values = store.rows(0, np.arange(60))[:, 0].tolist()
    assert sorted(values) == [1.0] * 20 + [2.0] * 20 + [3.0] * 20


@contextlib.contextmanager
def fuller_disk(largest_file, says):
    """Let no file grow beyond a size, and expect to be told."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (largest_file, hard))
    try:
        with pytest.raises(InputError, match=says):
            yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def add_many(store, firsts, count):
    for first in firsts:
        store.add(0, first, rows(first, count))


def test_a_run_that_is_half_there_is_not_there(tmp_path):
    path = filled(tmp_path / "a")
    store = RunStore(WIDTH, path, "mine")
    with fuller_disk(path.stat().st_size + 20_000, r"cannot be written: .*the runs before are kept"):
        add_many(store, range(60, 500, 5), 5)
    kept = store.count
    assert 120 < kept < 200
    # with room again, the same run goes on
    store.add(0, 300, rows(300, 5))
    store.close()
    assert true_runs(path) == kept + 5


def test_a_temporary_database_on_a_full_disk(tmp_path, monkeypatch):
    monkeypatch.setenv("SQLITE_TMPDIR", str(tmp_path))
    store = RunStore(WIDTH)
    with fuller_disk(50_000, "TMPDIR"):
        add_many(store, range(0, 20_000, 100), 100)


def test_cut_at_any_byte(tmp_path, sooner_given_up):
    whole = filled(tmp_path / "whole").read_bytes()
    chooser, found = random.Random(1), []
    for number in range(TRIES):
        path = tmp_path / f"cut{number}"
        length = chooser.randrange(len(whole))
        path.write_bytes(whole[:length])
        try:
            found.append(true_runs(path))
        except InputError as error:
            # what is left of the head does not say that it is ours: it stays, for the user to look at
            assert "move it away" in str(error)  # noqa: PT017
            assert path.read_bytes()[:length] == whole[:length]
            assert length < 3 * 4096
    assert max(found) > 60


def test_any_bytes_changed(tmp_path, sooner_given_up):
    whole = filled(tmp_path / "whole").read_bytes()
    chooser, found = random.Random(2), []
    for number in range(TRIES):
        changed = bytearray(whole)
        for _ in range(chooser.choice([1, 1, 8])):
            at = chooser.randrange(len(whole))
            length = chooser.choice([1, 1, 16, 5000])
            changed[at : at + length] = bytes(chooser.randrange(256) for _ in changed[at : at + length])
        path = tmp_path / f"changed{number}"
        path.write_bytes(changed)
        try:
            found.append(true_runs(path))
        except InputError as error:
            said = str(error)
            assert "move it away" in said or "another scenario, seed or version" in said
            assert path.stat().st_size
    # nearly all of it is nearly always saved
    assert len(found) > 0.5 * TRIES
    assert np.median(found) > 100


def execute(path, statement, values=()):
    with contextlib.closing(sqlite3.connect(path)) as connection, connection:
        connection.execute(statement, values)


def forge(path, number, row, check=None):
    right = _check(number, row) if isinstance(number, int) and isinstance(row, bytes) else 0
    execute(path, "INSERT OR REPLACE INTO run VALUES (?, ?, ?)", (number, right if check is None else check, row))


def test_forged_runs_are_none(tmp_path):
    path = filled(tmp_path / "a", 20)
    good = rows(0, 1)[0].tobytes()
    nowhere = np.full(WIDTH, np.nan).tobytes()
    for number, row, check in (
        (-1, good, None),
        (MOST_REPLICATION, good, None),
        (2**62, good, None),
        (7 * PLAN + 3, good[:-1], None),
        (5, good, 12345),
        (6, "text", 1),
        (7, None, 1),
        (8, good, "many"),
        (9, nowhere, None),
    ):
        forge(path, number, row, check)
    assert true_runs(path) == 40 - 5
    # another plan's are left alone
    forge(path, 9 * PLAN, good)
    assert true_runs(path) == 35 + 3


@pytest.mark.parametrize("content", ["other database", "older store", "text", "head only"])
def test_what_is_not_ours_is_refused_and_stays(tmp_path, content):
    path = tmp_path / "a"
    if content == "other database":
        execute(path, "CREATE TABLE run (mine)")
    else:
        older = b'{"columns": ["acres"], "format": 1}\n' + b"\0" * 700
        path.write_bytes({"older store": older, "text": b"Dear neighbour", "head only": b"SQLite format 3\0"}[content])
    before = path.read_bytes()
    for fresh in (False, True):
        assert "move it away" in refusal(path, fresh)
        assert path.read_bytes() == before


def test_damaged_words_in_the_head_of_the_tables(tmp_path):
    """What SQLite says of them is no text itself, or its errors name no kind."""
    whole = filled(tmp_path / "whole").read_bytes()
    for number, (good, bad) in enumerate(
        (
            (b"number INTEGER", b"numb\xff\xfe INTEGER"),
            (b"CREATE TABLE run", b"CREATE TABLE r\xff\x00"),
            (b"number INTEGER", b"cumber INTEGER"),
        )
    ):
        path = tmp_path / f"{number}"
        path.write_bytes(whole.replace(good, bad))
        assert len(whole) == path.stat().st_size
        assert "move it away" in refusal(path)


@pytest.mark.parametrize("what", ["database", "companion"])
def test_links_are_not_followed(tmp_path, what):
    precious = tmp_path / "precious.txt"
    precious.write_text("mine")
    path = tmp_path / "a"
    link = path if what == "database" else tmp_path / "a-journal"
    link.symlink_to(precious)
    assert "cannot be used" in refusal(tmp_path / "no" / "store")
    for fresh in (False, True):
        assert "is a link" in refusal(path, fresh)
    assert precious.read_text() == "mine"
    link.unlink()
    os.mkfifo(link)
    assert "no ordinary file" in refusal(path)


def test_another_run_or_version_is_refused_and_dropped_only_when_told(tmp_path):
    path = filled(tmp_path / "a")
    for statement in ("UPDATE made SET identity = 'other'", "PRAGMA user_version = 99"):
        execute(path, statement)
        assert "another scenario, seed or version" in refusal(path)
        assert runs_in(path) == 120
    store = RunStore(WIDTH, path, "mine", fresh=True)
    assert store.count == 0
    store.close()
    assert true_runs(path) == 0


def killed(after_s, work):
    """Work in a process that is killed after some time."""
    child = os.fork()
    if child == 0:
        os.close(2)
        work()
        os._exit(0)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


@pytest.mark.parametrize(("kills", "save_s"), [(10, 0.01), pytest.param(200, 0.002, marks=pytest.mark.slow)])
def test_killed_at_random_moments(loaded, reference, tmp_path, monkeypatch, kills, save_s):
    monkeypatch.setattr("simulator.experiment.replicate.PIECE_S", save_s)
    chooser, path = random.Random(kills), tmp_path / "store"
    for number in range(kills):
        if number % 10 == 0:
            path.unlink(missing_ok=True)
            path.with_name(f"{path.name}-journal").unlink(missing_ok=True)
        killed(chooser.uniform(0.0, 0.5), lambda: run(loaded, runs=70, one_more_runs=0, store=path))
        if number % 10 == 9:
            # finished days are never lost again
            finished = run(loaded, runs=70, one_more_runs=0, store=path)
            assert finished.to_json() == reference.to_json()
            assert finished.resumed
    assert sorted(one.name for one in path.parent.iterdir()) == [path.name]


def test_no_committed_run_is_lost_by_a_kill(tmp_path):
    """What a process says it has kept is there after it was killed, at any moment of a write."""
    for number in range(12):
        path = tmp_path / f"s{number}"
        ours, theirs = os.pipe()

        def work(path=path, theirs=theirs):
            store = RunStore(WIDTH, path, "mine")
            for first in range(0, 100_000, 3):
                store.add(0, first, rows(first, 3))
                os.write(theirs, b".")

        killed(0.02 + 0.02 * number, work)
        os.close(theirs)
        with os.fdopen(ours, "rb") as said:
            kept = 3 * len(said.read())
        assert kept <= true_runs(path) <= kept + 3
