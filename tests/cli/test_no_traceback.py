"""What once ended in a traceback: output that nobody takes, one input alone, results of results."""

import json
import subprocess
from pathlib import Path

import pytest
from command_line import ACREDAY, RUN, SHORT, call, started
from small_day import table

from simulator.scenario.toml_text import toml_document


@pytest.mark.parametrize("command", [("check", "mine.toml"), ("--help",), (*RUN, "--runs", "2", "--json", "-")])
def test_a_full_device(folder, command):
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("the system has no /dev/full")
    with full.open("w") as device:
        done = subprocess.run([ACREDAY, *command], stdout=device, stderr=subprocess.PIPE, text=True, check=False)
        assert done.returncode == 2
        assert done.stderr.splitlines()[-1] == "acreday: the output cannot be written: No space left on device"
        assert "Traceback" not in done.stderr
        if command[0] == "check":
            both = subprocess.run([ACREDAY, "check", "none.toml"], stdout=device, stderr=device, check=False)
            assert both.returncode == 2


def test_a_reader_who_leaves(folder):
    reading = started("explain", "mine.toml")
    reading.stdout.close()
    assert reading.stderr.read() == ""
    assert reading.wait() == 1


def test_sobol_indices_of_one_input_alone(folder, capsys):
    wanted = ("--range", "rig.main.crew.tasks.swap.time=40..190 s", "--sobol", "8", "--runs", "4", "--json", "s.json")
    assert call("sensitivity", "mine.toml", *wanted, *SHORT) == 0, capsys.readouterr().err
    (row,) = json.loads((folder / "s.json").read_text())["sobol"]["indices"]
    # all that there is comes from the only input
    assert row["total"] == pytest.approx(1.0, abs=0.75), row


def test_names_of_copies_do_not_grow(folder):
    (folder / "km.csv").write_text(",yard,one\nyard,0,3.5\none,3,0\n")
    (folder / "named.toml").write_text(toml_document(table(route__distance_table="km.csv")))
    names = []
    for scenario in ("named.toml", "out/manifest.json", "out/manifest.json"):
        assert call("run", scenario, "--out", "out", "--one-more-runs", "0", "--runs", "2", "--quiet", "--force") == 0
        names.append(sorted(path.name for path in (folder / "out").glob("input_*")))
    assert names[0] == names[1] == names[2]
    assert names[0]
