"""A full disk: a clear message, nothing finished is lost, and --resume ends with the tables of an undisturbed run.

The errors are the kernel's own: a small file system that is really full where one can be mounted (Linux, with user
namespaces), and everywhere a limit on the size of files.
"""

import resource
import shutil
import signal
import subprocess

import pytest
from command_line import ACREDAY, LOUD, process, started
from run_store_support import runs_in

from simulator.scenario.starter import starter_text

DAYS = 120
# one set only, so that there is less to draw
SCENARIO = starter_text("mine").replace("[equipment_set.four_packs]\nrig.main.packs.large_pack = 4\n", "")
ARGUMENTS = (*LOUD, "--runs", str(DAYS))
KEPT = ".out.unfinished"


def written(folder):
    (folder / "mine.toml").write_text(SCENARIO, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    folder = written(tmp_path_factory.mktemp("undisturbed"))
    assert process(*ARGUMENTS, cwd=folder).returncode == 0
    return folder / "out"


def assert_told(code, errors):
    assert code == 2, errors
    assert "Traceback" not in errors
    assert "cannot be written" in errors
    assert "free space there" in errors
    assert "--resume" in errors


def assert_same_tables(found, undisturbed):
    for name in ("runs.csv", "time_use.csv", "bottleneck.csv", "result.json"):
        assert (found / name).read_bytes() == (undisturbed / name).read_bytes(), name


def test_file_that_may_not_grow_while_the_result_is_written(tmp_path, undisturbed):
    def limited():
        resource.setrlimit(resource.RLIMIT_FSIZE, (120_000, 120_000))

    done = process(*ARGUMENTS, cwd=written(tmp_path), preexec_fn=limited)
    assert_told(done.returncode, done.stderr)
    assert "out/" in done.stderr
    assert runs_in(tmp_path / KEPT) == DAYS
    assert sorted(path.name for path in tmp_path.iterdir()) == [KEPT, "mine.toml"]  # no half result, no part of one
    resumed = process(*ARGUMENTS, "--resume", cwd=tmp_path)
    assert resumed.returncode == 0, resumed.stderr
    assert f"{DAYS} runs were finished before" in resumed.stderr
    assert_same_tables(tmp_path / "out", undisturbed)
    assert not (tmp_path / KEPT).exists()


def test_control_c_while_the_result_is_written(tmp_path, undisturbed):
    running = started(*ARGUMENTS, cwd=written(tmp_path), stdout=subprocess.DEVNULL)
    while not running.stderr.readline().startswith("writing"):
        assert running.poll() is None
    running.send_signal(signal.SIGINT)
    errors = running.stderr.read()
    assert running.wait() == 130, errors
    assert f"{DAYS} finished runs are kept, go on with --resume" in errors
    assert "Traceback" not in errors
    assert sorted(path.name for path in tmp_path.iterdir()) == [KEPT, "mine.toml"]
    assert process(*ARGUMENTS, "--resume", cwd=tmp_path).returncode == 0
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


def test_file_system_that_is_full_while_days_are_kept(tmp_path, undisturbed):
    if shutil.which("unshare") is None:
        pytest.skip("unshare is not installed, so no small file system can be mounted")
    disk, outside = tmp_path / "disk", tmp_path / "outside"
    disk.mkdir()
    outside.mkdir()
    written(outside)
    command = [ACREDAY, *ARGUMENTS, "--workers", "2"]
    full = ["unshare", "-rm", "sh", "-c", _SCRIPT, "sh", str(disk), str(outside), "28672", *command]
    done = subprocess.run(full, capture_output=True, text=True, check=False)
    if not (outside / "code").exists():
        pytest.skip(f"no small file system can be mounted here: {done.stderr.strip()[:100]}")
    errors = (outside / "errors").read_text(encoding="utf-8")
    assert_told(int((outside / "code").read_text(encoding="utf-8")), errors)
    assert "No space left on device" in errors or "disk is full" in errors
    assert KEPT in errors
    assert (outside / "listing").read_text(encoding="utf-8").split() == [KEPT, "filler", "mine.toml"]
    after = (outside / "errors_after").read_text(encoding="utf-8")
    assert done.returncode == 0, after
    assert "runs were finished before" in after
    assert_same_tables(outside / "out", undisturbed)
