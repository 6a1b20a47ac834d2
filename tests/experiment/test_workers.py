"""Worker processes: started once, light, gone when their parent is, and their death told."""

import multiprocessing
import os
import pickle
import signal
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from small_day import table

from simulator.errors import InputError
from simulator.experiment import workers
from simulator.experiment.replicate import Runner
from simulator.experiment.run import make_plans, run
from simulator.experiment.runs import row_of_run
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import BLOCK_RUNS, StreamBank

ROOT = Path(__file__).resolve().parents[2]
CONSTANT = table(day={"start": "07:00", "last_landing": "08:00"})
"""A scenario in which nothing is drawn from a distribution that needs scipy."""


def test_a_worker_loads_nothing_heavy_unless_a_distribution_needs_it(tmp_path):
    """Whatever starts the processes: by fork they have what the parent has, by spawn what they import themselves."""
    code = f"""
import multiprocessing, sys
def loaded():
    return {{"pandas", "matplotlib", "scipy", "dask", "jinja2"}} & set(sys.modules)
def look(piece):
    import simulator.experiment.workers as workers
    rows, seconds = workers._work(piece, workers._rehearse(0))
    return loaded(), len(rows)
if __name__ == "__main__":
    from simulator.experiment.pieces import Piece
    from simulator.experiment.run import make_plans
    from simulator.experiment.workers import Workers
    from simulator.scenario.loading import load_scenario
    multiprocessing.set_start_method(sys.argv[1])
    pool = Workers(make_plans(load_scenario({CONSTANT!r})), 1, 2)
    heavy, rows = pool._executor.submit(look, Piece(0, 0, 2)).result()
    pool.close()
    assert rows == 2
    assert not heavy, heavy
    assert not loaded(), loaded()
"""
    program = tmp_path / "program.py"  # a file, which spawned processes import
    program.write_text(code, encoding="utf-8")
    for method in multiprocessing.get_all_start_methods():
        done = subprocess.run(
            [sys.executable, str(program), method],
            capture_output=True,
            text=True,
            check=False,
            env={**os.environ, "ACREDAY_VERIFY": ""},
        )
        assert done.returncode == 0, f"{method}: {done.stderr}"


@pytest.fixture
def pools(monkeypatch):
    """Return a list that gets every pool of processes."""
    made = []

    class Caught(ProcessPoolExecutor):
        def __init__(self, *given, **named):
            made.append(self)
            super().__init__(*given, **named)

    monkeypatch.setattr(workers, "ProcessPoolExecutor", Caught)
    return made


def test_processes_are_started_once_for_a_run(loaded, pools):
    """Also for what one more adds, whose plans the workers know from the start."""
    alone = run(loaded, runs=10, precision=0.2, one_more_runs=4)
    assert pools == []
    shared = run(loaded, runs=10, precision=0.2, one_more_runs=4, workers=2)
    assert len(pools) == 1
    assert shared.to_json() == alone.to_json()
    assert shared.sets[0].one_more


def test_a_killed_worker_is_told_and_finished_runs_are_kept(loaded, tmp_path, pools):
    path = tmp_path / "journal"

    def kill_one(stage, done, total):
        if pools:
            os.kill(next(iter(pools.pop()._processes)), signal.SIGKILL)

    with pytest.raises(InputError, match="a worker process was killed") as caught:
        run(loaded, runs=300, one_more_runs=0, workers=2, store=path, report=kill_one)
    assert "--resume" in str(caught.value)
    resumed = run(loaded, runs=2, one_more_runs=0, store=path)
    assert int(resumed.resumed.split()[0]) > 0


def test_workers_end_when_their_parent_is_killed(tmp_path):
    """Otherwise they would wait for ever, hold the journal's lock, and --resume would be refused."""
    code = f"""
import sys, time
from pathlib import Path
from simulator.experiment.run import open_store, run
from simulator.scenario.loading import load_scenario
loaded = load_scenario({CONSTANT!r})
run(loaded, runs=1_000_000, one_more_runs=0, workers=2, store=Path(sys.argv[1]))
"""
    journal = tmp_path / "journal"
    process = subprocess.Popen([sys.executable, "-c", code, str(journal)], cwd=ROOT)
    end = time.monotonic() + 60
    while not (journal.exists() and journal.stat().st_size > 60_000) and time.monotonic() < end:
        time.sleep(0.05)
    process.kill()
    process.wait()
    constant = load_scenario(CONSTANT)
    while time.monotonic() < end:
        try:
            resumed = run(constant, runs=2, one_more_runs=0, store=journal)
            break
        except InputError:  # locked by a worker that is about to notice
            time.sleep(0.05)
    assert int(resumed.resumed.split()[0]) > 10


def test_a_bank_that_forgets_earlier_blocks_gives_the_same_rows(loaded):
    """Across blocks, and when a block is asked for again."""
    plan, latest = make_plans(loaded)[1], StreamBank(4)
    for number in (BLOCK_RUNS - 1, BLOCK_RUNS, 3, 200, 4):
        assert np.array_equal(row_of_run(plan, latest, number), row_of_run(plan, StreamBank(4), number), equal_nan=True)


@pytest.mark.parametrize("name", ["third_pack", "willow_basin", "granules"])
def test_a_plan_that_travels_gives_the_same_runs(name):
    """To a cluster's workers, and to processes that do not begin as a copy of this one, plans go pickled."""
    for plan in make_plans(load_scenario(ROOT / "scenarios" / f"{name}.toml")):
        sent = pickle.loads(pickle.dumps(plan))
        assert np.array_equal(row_of_run(plan, StreamBank(1), 5), row_of_run(sent, StreamBank(1), 5), equal_nan=True)


@pytest.mark.parametrize("method", ["here", "pool"])
def test_any_order_of_arrival_gives_the_same_tables(loaded, method):
    plans = make_plans(loaded)
    with Runner(plans, 3) as runner:
        runner.extend(0, 20)
        expected = [runner.tables.table(place) for place in range(2)]
    with Runner(plans, 3, 1 if method == "here" else 2) as runner:
        runner.extend(12, 20, plans=[1])
        runner.extend(4, 9)
        runner.extend(0, 20)
        for place, (numbers, rows) in enumerate(expected):
            found = runner.tables.table(place)
            assert np.array_equal(found[0], numbers)
            assert np.array_equal(found[1], rows, equal_nan=True)
