"""Where pieces of work go: worker processes here, or the workers of a cluster. Started once for all runs."""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import pickle
import signal
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import suppress
from multiprocessing.connection import wait as wait_for_any
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.errors import InputError
from simulator.experiment.pieces import Piece
from simulator.experiment.rehearsal import Ways, take_up, ways_of
from simulator.experiment.run_store import Rows
from simulator.experiment.runs import row_of_run
from simulator.plan.day_plan import DayPlan
from simulator.scenario.streams import StreamBank

if TYPE_CHECKING:
    from simulator.experiment.cluster import Certificates

LOOK_S = 5.0
"""How often a cluster that gives nothing back is asked whether it has workers."""
Done = Future[tuple[Rows, float]]
_worker: dict[str, Any] = {}


def _start_worker(plans: list[DayPlan], seed: int) -> None:
    # Ctrl-C goes to every process of a terminal; what to do then is for the parent to say
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _worker["plans"], _worker["bank"] = plans, StreamBank(seed)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_leave_with, args=(parent.sentinel,), daemon=True).start()


def _leave_with(sentinel: int) -> None:
    """End this process when its parent has been killed: it would wait for work for ever, and keep files locked."""
    wait_for_any([sentinel])
    os._exit(1)


def _work(piece: Piece, ways: Ways) -> tuple[Rows, float]:
    """Return the rows of a piece, and the seconds that one of its runs took."""
    plan, begun_s = _worker["plans"][piece.plan], time.perf_counter()
    take_up(plan, ways)
    rows = np.array([row_of_run(plan, _worker["bank"], number) for number in range(piece.first, piece.last)])
    return rows, (time.perf_counter() - begun_s) / len(rows)


def _rehearse(plan: int) -> Ways:
    return ways_of(_worker["plans"][plan])


def _anywhere(packed: bytes, key: str, seed: int, function: Callable[..., Any], *given: object) -> Any:
    """Work on a cluster's worker, which keeps the plans it saw last."""
    if _worker.get("key") != key:
        _worker.update(key=key, plans=pickle.loads(packed), bank=StreamBank(seed))
    return function(*given)


class Workers:
    """Worker processes, or a cluster, that know all plans."""

    def __init__(
        self,
        plans: Sequence[DayPlan],
        seed: int,
        count: int,
        scheduler: str | None = None,
        certificates: Certificates | None = None,
    ) -> None:
        self.seed = seed
        self._client: Any = None
        self._packed: Any = None
        self._executor: Executor
        if scheduler is None:
            self.count, self.ahead = count, 2 * count + 1
            self._executor = ProcessPoolExecutor(count, initializer=_start_worker, initargs=(list(plans), seed))
            return
        from simulator.experiment.cluster import connect

        self._seen_s = time.monotonic()
        self.count = max(count, 8)
        self.ahead = 4 * self.count
        self._client, self._executor = connect(scheduler, certificates)
        packed = pickle.dumps(list(plans))
        # a task rather than data put there: when the workers that hold its result leave, it is made again
        self._packed = self._client.submit(bytes, packed, key=f"plans-{hashlib.sha256(packed).hexdigest()}")

    def submit(self, piece: Piece, ways: Ways) -> Done:
        """Hand over a piece, with what the crew of its plan has learnt."""
        return self._call(_work, piece, ways)

    def rehearse(self, plans: Sequence[int]) -> list[Ways]:
        """Return what crews have learnt, plan by plan."""
        calls = [self._call(_rehearse, plan) for plan in plans]
        waiting = set(calls)
        while waiting:
            waiting -= self.finished(waiting)
        return [self.result(call) for call in calls]

    def _call(self, function: Callable[..., Any], *given: object) -> Future[Any]:
        if self._client is not None:
            key = f"{self.seed}-{self._packed.key}"
            return self._executor.submit(_anywhere, self._packed, key, self.seed, function, *given)
        try:
            return self._executor.submit(function, *given)
        except BrokenExecutor as error:
            raise lost_worker() from error

    def finished(self, waiting: Iterable[Future[Any]]) -> set[Future[Any]]:
        """Wait until a piece or more has come back, and return them."""
        if self._client is None:
            return wait(waiting, return_when=FIRST_COMPLETED).done
        from simulator.experiment.cluster import ALONE_S, no_workers, workers_of

        while not (done := wait(waiting, LOOK_S, FIRST_COMPLETED).done):
            now = time.monotonic()
            if workers_of(self._client):
                self._seen_s = now
            elif now - self._seen_s > ALONE_S:
                raise no_workers()
        self._seen_s = time.monotonic()
        return done

    def result(self, future: Future[Any]) -> Any:
        """Return what came back."""
        try:
            return future.result()
        except BrokenExecutor as error:
            raise lost_worker() from error
        except (Exception, CancelledError) as error:
            if self._client is None:
                raise
            from simulator.experiment.cluster import cluster_problem

            problem = cluster_problem(error)
            if problem is None:
                raise
            raise problem from error

    def close(self) -> None:
        """End the processes, or the connection to the cluster."""
        if self._client is not None:
            with suppress(OSError, TimeoutError, CancelledError):
                self._client.close(timeout=5.0)
        else:
            self._executor.shutdown(wait=True, cancel_futures=True)


def lost_worker() -> InputError:
    """Return what to tell when the system or somebody ended a worker process."""
    return InputError.single(
        "a worker process was killed, perhaps for want of memory; the runs before are kept: "
        "go on with --resume, and with fewer workers if it happens again",
        "--workers",
    )
