"""Files that are whole or not there: order of syncs and renames, a result half replaced, a disk that takes no more."""

import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from stored_support import older_result, own, write_result

from simulator.command.common import write_text_atomically, write_whole
from simulator.errors import InputError
from simulator.experiment import replicate
from simulator.plan.day_plan import make_plan
from simulator.report.folder import ResultFolder, _held, check_target
from simulator.report.own_files import MANIFEST
from simulator.report.writing import write_atomically
from simulator.scenario.loading import load_scenario
from simulator.scenario.starter import starter_text
from simulator.study.cases import CaseRuns

ACREDAY = str(Path(sys.executable).parent / "acreday")
SCENARIO = starter_text("mine").replace("[equipment_set.four_packs]\nrig.main.packs.large_pack = 4\n", "")


class Frame:
    """Stands for a table whose library is not installed everywhere."""

    def __init__(self, content, error=None):
        self.content, self.error = content, error

    def to_parquet(self, path, index):
        Path(path).write_bytes(self.content)
        if self.error is not None:
            raise self.error


def _write_parquet(frame, path):
    write_whole(Path(path), lambda temporary: frame.to_parquet(temporary, index=False), "--parquet")


def names(folder):
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture
def steps(monkeypatch):
    """Note what is synced (a file by its content, a folder by its name) and what is moved where."""
    noted = []
    sync, replace = os.fsync, Path.replace

    def noting_sync(handle):
        path = Path(f"/proc/self/fd/{handle}").readlink()
        noted.append(f"sync {path.read_text() if path.is_file() else path.name}")
        sync(handle)

    def noting_replace(self, target):
        noted.append(f"move to {Path(target).name}")
        return replace(self, target)

    monkeypatch.setattr(os, "fsync", noting_sync)
    monkeypatch.setattr(Path, "replace", noting_replace)
    return noted


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="names of open files are read from /proc")
@pytest.mark.parametrize(
    "call",
    [
        lambda path: write_atomically(path, b"new"),
        lambda path: write_text_atomically(path, "new"),
        lambda path: _write_parquet(Frame(b"new"), str(path)),
    ],
    ids=["bytes", "text", "parquet"],
)
def test_a_file_is_on_the_disk_before_it_has_its_name(tmp_path, steps, call):
    path = tmp_path / "file.bin"
    path.write_text("old")
    call(path)
    assert path.read_text() == "new"
    assert names(tmp_path) == ["file.bin"]
    assert steps == ["sync new", "move to file.bin", f"sync {tmp_path.name}"]
    assert path.stat().st_mode & 0o444 == 0o444 & ~_umask()


def _umask():
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def test_a_failed_parquet_leaves_the_older_one(tmp_path):
    path = tmp_path / "days.parquet"
    path.write_text("old")
    full = OSError(28, "No space left on device")
    with pytest.raises(InputError, match=r"days\.parquet: --parquet: cannot be written: No space left"):
        _write_parquet(Frame(b"half", full), str(path))
    assert path.read_text() == "old"
    assert names(tmp_path) == ["days.parquet"]


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="names of open files are read from /proc")
def test_a_result_is_on_the_disk_before_the_older_one_goes(tmp_path, steps):
    folder = older_result(tmp_path / "out", "old")
    write_result(folder, force=True)
    moved, placed, gone = (steps.index(f"move to {name}") for name in ("result", "out", "replaced"))
    assert max(steps.index("sync new"), steps.index(f"sync {own(folder)}")) < moved < placed
    assert placed < steps.index(f"sync {tmp_path.name}") < gone


_KILLED = """
import os, signal, shutil, sys
from pathlib import Path
from simulator.report.folder import ResultFolder

replace, at = Path.replace, sys.argv[2]
def killed_replace(self, target):
    if at == "between" and Path(target).name == "out":
        os.kill(os.getpid(), signal.SIGKILL)
    return replace(self, target)
def killed_rmtree(path, **_):
    next(Path(path).rglob("runs.csv")).unlink()
    os.kill(os.getpid(), signal.SIGKILL)
Path.replace, shutil.rmtree = killed_replace, killed_rmtree
with ResultFolder(Path(sys.argv[1]), force=True) as result:
    result.write_text("runs.csv", "new")
    result.write_manifest({"acreday_version": "0.1.0"})
    result.finish()
"""


def killed(folder, at):
    done = subprocess.run([sys.executable, "-c", _KILLED, str(folder), at], check=False)
    assert done.returncode == -signal.SIGKILL


def test_an_older_result_comes_back_after_a_kill_between_the_moves(tmp_path):
    folder = older_result(tmp_path / "out", "old")
    killed(folder, "between")
    assert not folder.exists()
    with pytest.raises(InputError, match="holds an older result"):
        check_target(folder, force=False)
    assert (folder / "runs.csv").read_text() == "old"
    write_result(folder, force=True)
    assert (folder / "runs.csv").read_text() == "new"
    assert names(tmp_path) == ["out"]


def test_what_a_kill_leaves_of_a_replaced_result_does_not_come_back(tmp_path):
    folder = older_result(tmp_path / "out", "old")
    killed(folder, "while the older one is deleted")
    assert (folder / "runs.csv").read_text() == "new"
    folder.rename(tmp_path / "kept")
    check_target(folder, force=False)
    assert not folder.exists()


def test_a_run_that_is_replacing_a_result_is_not_disturbed(tmp_path):
    aside = tmp_path / ".out.old.abcdefgh"
    older_result(aside / "result", "old")
    with _held(aside):
        check_target(tmp_path / "out", force=False)
        assert names(tmp_path) == [aside.name]
    with pytest.raises(InputError, match="holds an older result"):
        check_target(tmp_path / "out", force=False)
    assert names(tmp_path) == ["out"]


@pytest.mark.parametrize("name", [".out.old.abcdefgh", ".out.old.x.old.abcdefgh", ".out.abcdefgh", ".out.new.old"])
def test_other_hidden_folders_stay_where_they_are(tmp_path, name):
    folder = older_result(tmp_path / name / "result", "old")
    if name == ".out.old.abcdefgh":
        (folder / MANIFEST).write_text("{}")
    check_target(tmp_path / "out", force=True)
    assert names(tmp_path) == [name]
    assert (folder / "runs.csv").read_text() == "old"


def test_what_was_put_into_a_result_that_was_set_aside_comes_back_with_it(tmp_path):
    folder = older_result(tmp_path / ".out.old.abcdefgh" / "result", "old")
    (folder / "thesis.txt").write_text("mine")
    with pytest.raises(InputError, match=r"holds other files, which are never replaced: thesis\.txt"):
        check_target(tmp_path / "out", force=True)
    assert (tmp_path / "out" / "thesis.txt").read_text() == "mine"


def test_what_a_kill_leaves_of_a_result_being_written_is_swept(tmp_path):
    code = "import os, sys; from pathlib import Path; from simulator.report.folder import ResultFolder\n"
    code += "ResultFolder(Path(sys.argv[1])).write_text('runs.csv', 'half'); os.kill(os.getpid(), 9)"
    subprocess.run([sys.executable, "-c", code, str(tmp_path / "out")], check=False)
    assert len(names(tmp_path)) == 1
    with ResultFolder(tmp_path / "out") as result:
        # the one that is being written is held, and stays
        check_target(tmp_path / "out", force=False)
        assert names(tmp_path) == [result.path.name]
    assert names(tmp_path) == []


def test_the_newest_of_several_comes_back(tmp_path):
    for seconds, name in enumerate(["bbbbbbbb", "cccccccc", "aaaaaaaa"]):
        aside = tmp_path / f".out.old.{name}"
        older_result(aside / "result", name)
        os.utime(aside, (seconds, seconds))
    with pytest.raises(InputError, match="holds an older result"):
        check_target(tmp_path / "out", force=False)
    assert (tmp_path / "out" / "runs.csv").read_text() == "aaaaaaaa"


def test_a_failed_move_puts_the_older_result_back(tmp_path, monkeypatch):
    folder = older_result(tmp_path / "out", "old")
    replace = Path.replace

    def failing(self, target):
        if Path(target).name == "out" and self.name != "result":
            raise OSError(5, "Input/output error")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", failing)
    with pytest.raises(InputError, match="Input/output error"):
        write_result(folder, force=True)
    assert (folder / "runs.csv").read_text() == "old"
    assert names(tmp_path) == ["out"]


@pytest.mark.parametrize(
    ("command", "largest_file", "failing"),
    [
        (("day", "mine.toml"), 3_000, "day.csv"),
        (("fragmentation", "mine.toml", "--acres", "60 acre", "--number", "1", "--runs", "3"), 300, "study.json"),
        (
            ("fragmentation", "mine.toml", "--acres", "60 acre", "--number", "1", "--runs", "3"),
            4_000,
            "fragmentation.svg",
        ),
    ],
)
def test_a_file_that_may_not_grow_is_named(tmp_path, command, largest_file, failing):
    (tmp_path / "mine.toml").write_text(SCENARIO, encoding="utf-8")
    done = subprocess.run(
        [ACREDAY, *command, "--out", "out", "--set", "day.last_landing=09:00", "--set", "work_days=1"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (largest_file, largest_file)),
    )
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    assert f"out/{failing}: cannot be written: File too large; no result is written: free space there" in done.stderr
    assert names(tmp_path) == ["mine.toml"]  # no half result, no part of one


def test_the_processes_of_a_study_are_started_once(tmp_path, monkeypatch):
    (tmp_path / "mine.toml").write_text(starter_text("mine"), encoding="utf-8")
    loaded = load_scenario(tmp_path / "mine.toml", ["day.last_landing=09:00", "work_days=1"])
    plans = [make_plan(entry) for entry in loaded.sets]
    started, ended = [], []

    class Counted(replicate.Workers):
        def __init__(self, *arguments):
            started.append(self)
            super().__init__(*arguments)

        def close(self):
            ended.append(self)
            super().close()

    monkeypatch.setattr(replicate, "Workers", Counted)
    here, there = CaseRuns(plans, 3), CaseRuns(plans, 3, workers=2)
    for runs in (here, there):
        runs.extend(2)
        runs.extend(5, [1])
        runs.extend(7)
    for case in range(len(plans)):
        assert here.runs(case) == there.runs(case) == 7
        np.testing.assert_array_equal(here.rows(case), there.rows(case))
    assert (len(started), len(ended)) == (1, 0)
    del there, runs
    assert len(ended) == 1
