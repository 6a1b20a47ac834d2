"""A dask cluster of processes of their own: workers that leave, a scheduler that goes, and encrypted connections."""

import contextlib
import json
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from run_store_support import same

from simulator.errors import InputError
from simulator.experiment import cluster
from simulator.experiment.cluster import Certificates
from simulator.experiment.run import run

pytest.importorskip("distributed", reason="dask.distributed is an optional extra")
DASK = str(Path(sys.executable).parent / "dask")
DAYS = 70
"""As the reference has."""


class Cluster:
    """A scheduler and its workers."""

    def __init__(self, folder, scheme="tcp", *security):
        self.security, self.processes, file = security, [], folder / "scheduler.json"
        where = ("--host", f"{scheme}://127.0.0.1", "--port", "0", "--scheduler-file", str(file))
        self.scheduler = self._start("scheduler", *where)
        end = time.monotonic() + 60
        while not file.exists() and time.monotonic() < end:
            time.sleep(0.1)
        time.sleep(0.2)
        self.address = json.loads(file.read_text())["address"]
        self.workers = [self.worker(), self.worker()]

    def _start(self, what, *arguments):
        whole = [DASK, what, "--no-dashboard", *self.security, *arguments]
        self.processes.append(subprocess.Popen(whole, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL))
        return self.processes[-1]

    def worker(self):
        return self._start("worker", self.address, "--no-nanny", "--nthreads", "1")

    def close(self):
        for process in self.processes:
            process.kill()
            process.wait()


@pytest.fixture
def made(tmp_path):
    with contextlib.closing(Cluster(tmp_path)) as one:
        yield one


def test_the_work_of_workers_that_leave_is_given_to_others(made, loaded, reference):
    """All leave, and another comes."""

    def leave(stage, done, total):
        if done and made.workers:
            while made.workers:
                made.workers.pop().kill()
            made.worker()

    result = run(loaded, runs=DAYS, one_more_runs=0, scheduler=made.address, report=leave)
    assert not made.workers
    assert same(result, reference)


def test_a_cluster_without_workers_ends_in_a_sentence_and_is_resumed(made, loaded, reference, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "ALONE_S", 1.0)
    path = tmp_path / "kept"

    def leave(stage, done, total):
        for worker in made.workers if done else []:
            worker.kill()

    with pytest.raises(InputError, match=r"has had no worker for 1 s.*--resume"):
        run(loaded, runs=DAYS, one_more_runs=0, scheduler=made.address, report=leave, store=path)
    resumed = run(loaded, runs=DAYS, one_more_runs=0, store=path)
    assert "were finished before" in resumed.resumed
    assert same(resumed, reference)


def test_a_scheduler_that_goes_ends_in_a_sentence_and_is_resumed(made, loaded, reference, tmp_path):
    path = tmp_path / "kept"

    def leave(stage, done, total):
        if done:
            made.scheduler.kill()

    with pytest.raises(InputError, match=r"--scheduler: the cluster .*--resume"):
        run(loaded, runs=2000, one_more_runs=0, scheduler=made.address, report=leave, store=path)
    assert same(run(loaded, runs=DAYS, one_more_runs=0, store=path), reference)


def test_a_worker_without_acreday_is_told():
    told = cluster.cluster_problem(ModuleNotFoundError("No module named 'simulator'"))
    assert told is not None
    assert "needs acreday of this version" in str(told)
    assert cluster.cluster_problem(ValueError("a fault of the model")) is None


@pytest.mark.parametrize(
    ("address", "certificates"), [("tls://127.0.0.1:1", None), ("tcp://127.0.0.1:1", Certificates("a", "b", "c"))]
)
def test_certificates_and_encryption_go_together(address, certificates):
    with pytest.raises(InputError, match="go together"):
        cluster.connect(address, certificates)


def test_encrypted(tmp_path, loaded, reference):
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed, so no certificate can be made")
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    make = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost"]
    subprocess.run([*make, "-keyout", str(key), "-out", str(certificate)], check=True, capture_output=True)
    security = ("--tls-ca-file", str(certificate), "--tls-cert", str(certificate), "--tls-key", str(key))
    with contextlib.closing(Cluster(tmp_path, "tls", *security)) as one:
        assert one.address.startswith("tls://")
        own = Certificates(str(certificate), str(certificate), str(key))
        result = run(loaded, runs=DAYS, one_more_runs=0, scheduler=one.address, certificates=own)
        assert same(result, reference)
        with pytest.raises(InputError, match="there is no such file"):
            cluster.connect(one.address, Certificates(str(certificate), str(certificate), "missing.pem"))
