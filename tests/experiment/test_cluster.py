"""A dask cluster of processes of their own: workers that leave, a scheduler that goes, and encrypted connections."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from simulator.errors import InputError
from simulator.experiment import cluster
from simulator.experiment.cluster import Certificates
from simulator.experiment.result import Result
from simulator.experiment.run import run
from simulator.scenario.loading import LoadedScenario

pytest.importorskip("distributed", reason="dask.distributed is an optional extra")
DASK = str(Path(sys.executable).parent / "dask")
DAYS = 70
"""As the reference has."""


class Cluster:
    """A scheduler and its workers."""

    def __init__(self, folder: Path, *security: str) -> None:
        self.security, self.processes = security, []
        file = folder / "scheduler.json"
        scheme = "tls" if security else "tcp"
        where = (
            ("--host", f"{scheme}://127.0.0.1", "--port", "0") if security else ("--host", "127.0.0.1", "--port", "0")
        )
        self.scheduler = self._start("scheduler", *where, "--scheduler-file", str(file))
        end = time.monotonic() + 60
        while not file.exists() and time.monotonic() < end:
            time.sleep(0.1)
        time.sleep(0.2)
        self.address = json.loads(file.read_text())["address"]
        self.workers = [self.worker(), self.worker()]

    def _start(self, what: str, *arguments: str) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(
            [DASK, what, "--no-dashboard", *self.security, *arguments],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        self.processes.append(process)
        return process

    def worker(self) -> subprocess.Popen[bytes]:
        return self._start("worker", self.address, "--no-nanny", "--nthreads", "1")

    def close(self) -> None:
        for process in self.processes:
            process.kill()
            process.wait()


@pytest.fixture
def made(tmp_path: Path) -> Iterator[Cluster]:
    one = Cluster(tmp_path)
    yield one
    one.close()


def same(first: Result, second: Result) -> bool:
    return first.to_json() == second.to_json()


@pytest.mark.parametrize("leaving", ["one", "all, and another comes"])
def test_the_work_of_workers_that_leave_is_given_to_others(
    made: Cluster, loaded: LoadedScenario, reference: Result, leaving: str
) -> None:
    def leave(stage: str, done: int, total: int) -> None:
        if done and made.workers:
            for worker in made.workers[: 1 if leaving == "one" else 2]:
                worker.kill()
            made.workers.clear()
            if leaving != "one":
                made.worker()

    result = run(loaded, runs=DAYS, one_more_runs=0, scheduler=made.address, report=leave)
    assert not made.workers
    assert same(result, reference)


def test_a_cluster_without_workers_ends_in_a_sentence_and_is_resumed(
    made: Cluster, loaded: LoadedScenario, reference: Result, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "ALONE_S", 1.0)
    path = tmp_path / "kept"

    def leave(stage: str, done: int, total: int) -> None:
        for worker in made.workers if done else []:
            worker.kill()

    with pytest.raises(InputError, match=r"has had no worker for 1 s.*--resume"):
        run(loaded, runs=DAYS, one_more_runs=0, scheduler=made.address, report=leave, store=path)
    resumed = run(loaded, runs=DAYS, one_more_runs=0, store=path)
    assert "were finished before" in resumed.resumed
    assert same(resumed, reference)


def test_a_scheduler_that_goes_ends_in_a_sentence_and_is_resumed(
    made: Cluster, loaded: LoadedScenario, reference: Result, tmp_path: Path
) -> None:
    path = tmp_path / "kept"

    def leave(stage: str, done: int, total: int) -> None:
        if done:
            made.scheduler.kill()

    with pytest.raises(InputError, match=r"--scheduler: the cluster .*--resume"):
        run(loaded, runs=2000, one_more_runs=0, scheduler=made.address, report=leave, store=path)
    assert same(run(loaded, runs=DAYS, one_more_runs=0, store=path), reference)


def test_a_worker_without_acrerun_is_told() -> None:
    told = cluster.cluster_problem(ModuleNotFoundError("No module named 'simulator'"))
    assert told is not None
    assert "needs acreday of this version" in str(told)
    assert cluster.cluster_problem(ValueError("a fault of the model")) is None


@pytest.mark.parametrize(
    ("address", "certificates"),
    [("tls://127.0.0.1:1", None), ("tcp://127.0.0.1:1", Certificates("a", "b", "c"))],
)
def test_certificates_and_encryption_go_together(address: str, certificates: Certificates | None) -> None:
    with pytest.raises(InputError, match="go together"):
        cluster.connect(address, certificates)


def test_encrypted(tmp_path: Path, loaded: LoadedScenario, reference: Result) -> None:
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed, so no certificate can be made")
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    make = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost"]
    subprocess.run([*make, "-keyout", str(key), "-out", str(certificate)], check=True, capture_output=True)
    security = ("--tls-ca-file", str(certificate), "--tls-cert", str(certificate), "--tls-key", str(key))
    one = Cluster(tmp_path, *security)
    try:
        assert one.address.startswith("tls://")
        own = Certificates(str(certificate), str(certificate), str(key))
        result = run(loaded, runs=DAYS, one_more_runs=0, scheduler=one.address, certificates=own)
        assert same(result, reference)
        with pytest.raises(InputError, match="there is no such file"):
            cluster.connect(one.address, Certificates(str(certificate), str(certificate), "missing.pem"))
    finally:
        one.close()
