"""A full disk: a clear message, nothing finished is lost, and --resume ends with the tables of an undisturbed run.

The errors are the kernel's own: a small file system that is really full where one can be mounted (Linux, with user
namespaces), and everywhere a limit on the size of files.
"""

from __future__ import annotations

import resource
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from run_store_support import runs_in

from simulator.scenario.starter import starter_text

ACREDAY = str(Path(sys.executable).parent / "acreday")
DAYS = 120
# one set only, so that there is less to draw
SCENARIO = starter_text("mine").replace("[equipment_set.four_packs]\nrig.main.packs.large_pack = 4\n", "")
ARGUMENTS = (
    "run", "mine.toml", "--runs", str(DAYS), "--one-more-runs", "0", "--set", "day.last_landing=09:00",
    "--set", "work_days=1", "--out", "out",
)  # fmt: skip
TABLES = ("runs.csv", "time_use.csv", "bottleneck.csv", "result.json")
KEPT = ".out.unfinished"


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("undisturbed")
    (folder / "mine.toml").write_text(SCENARIO, encoding="utf-8")
    subprocess.run([ACREDAY, *ARGUMENTS], cwd=folder, check=True, capture_output=True)
    return folder / "out"


def assert_told(code: int, errors: str) -> None:
    assert code == 2, errors
    assert "Traceback" not in errors
    assert "cannot be written" in errors
    assert "free space there" in errors
    assert "--resume" in errors


def assert_same_tables(found: Path, undisturbed: Path) -> None:
    for name in TABLES:
        assert (found / name).read_bytes() == (undisturbed / name).read_bytes(), name


def limited(size: int) -> Callable[[], None]:
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))


@pytest.mark.parametrize(
    ("largest_file", "workers", "failing", "all_days"),
    [(30_000, "2", KEPT, False), (120_000, "1", "out/", True)],
    ids=["while days are kept", "while the result is written"],
)
def test_file_that_may_not_grow(
    tmp_path: Path, undisturbed: Path, largest_file: int, workers: str, failing: str, all_days: bool
) -> None:
    (tmp_path / "mine.toml").write_text(SCENARIO, encoding="utf-8")
    done = subprocess.run(
        [ACREDAY, *ARGUMENTS, "--workers", workers],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=limited(largest_file),
    )
    assert_told(done.returncode, done.stderr)
    assert failing in done.stderr
    kept = runs_in(tmp_path / KEPT)
    assert kept == DAYS if all_days else 20 < kept < DAYS
    assert sorted(path.name for path in tmp_path.iterdir()) == [KEPT, "mine.toml"]  # no half result, no part of one
    resumed = subprocess.run(
        [ACREDAY, *ARGUMENTS, "--resume"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert resumed.returncode == 0, resumed.stderr
    assert f"{kept} runs were finished before" in resumed.stderr
    assert_same_tables(tmp_path / "out", undisturbed)
    assert not (tmp_path / KEPT).exists()


def test_control_c_while_the_result_is_written(tmp_path: Path, undisturbed: Path) -> None:
    (tmp_path / "mine.toml").write_text(SCENARIO, encoding="utf-8")
    process = subprocess.Popen(
        [ACREDAY, *ARGUMENTS], cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    assert process.stderr is not None
    while not process.stderr.readline().startswith("writing"):
        assert process.poll() is None
    process.send_signal(signal.SIGINT)
    errors = process.stderr.read()
    assert process.wait() == 130, errors
    assert f"{DAYS} finished runs are kept, go on with --resume" in errors
    assert "Traceback" not in errors
    assert sorted(path.name for path in tmp_path.iterdir()) == [KEPT, "mine.toml"]
    subprocess.run([ACREDAY, *ARGUMENTS, "--resume"], cwd=tmp_path, check=True, capture_output=True)
    assert_same_tables(tmp_path / "out", undisturbed)


_SCRIPT = """
mount -t tmpfs -o size=6m none "$1" || exit 99
cd "$1" || exit 99
cp "$2/mine.toml" .
export TMPDIR="$2" MPLCONFIGDIR="$2"
free=$(df --output=avail -B1 . | tail -1)
head -c $((free - $3)) /dev/zero > filler
shift 3
"$@" 2> "$TMPDIR/errors" > "$TMPDIR/output"
echo $? > "$TMPDIR/code"
ls -A > "$TMPDIR/listing"
rm filler
"$@" --resume 2> "$TMPDIR/errors_after" || exit 1
cp -r out "$TMPDIR/out"
"""


@pytest.mark.parametrize(
    ("space", "failing"),
    [(28_672, KEPT), (204_800, "out/")],
    ids=["while days are kept", "while the result is written"],
)
def test_file_system_that_is_full(tmp_path: Path, undisturbed: Path, space: int, failing: str) -> None:
    if shutil.which("unshare") is None:
        pytest.skip("unshare is not installed, so no small file system can be mounted")
    disk, outside = tmp_path / "disk", tmp_path / "outside"
    disk.mkdir()
    outside.mkdir()
    (outside / "mine.toml").write_text(SCENARIO, encoding="utf-8")
    done = subprocess.run(
        ["unshare", "-rm", "sh", "-c", _SCRIPT, "sh", str(disk), str(outside), str(space), ACREDAY, *ARGUMENTS],
        capture_output=True,
        text=True,
        check=False,
    )
    if not (outside / "code").exists():
        pytest.skip(f"no small file system can be mounted here: {done.stderr.strip()[:100]}")
    errors = (outside / "errors").read_text(encoding="utf-8")
    assert_told(int((outside / "code").read_text(encoding="utf-8")), errors)
    assert "No space left on device" in errors or "disk is full" in errors
    assert failing in errors
    assert (outside / "listing").read_text(encoding="utf-8").split() == [KEPT, "filler", "mine.toml"]
    after = (outside / "errors_after").read_text(encoding="utf-8")
    assert done.returncode == 0, after
    assert "runs were finished before" in after
    assert_same_tables(outside / "out", undisturbed)
