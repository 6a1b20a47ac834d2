"""Worker processes, started once for all runs: they simulate pieces of work."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from multiprocessing.connection import wait as wait_for_any
from typing import Any

import numpy as np

from simulator.errors import InputError
from simulator.experiment.pieces import Piece
from simulator.experiment.rehearsal import Ways, take_up, ways_of
from simulator.experiment.run_store import Rows
from simulator.experiment.runs import row_of_run
from simulator.plan.day_plan import DayPlan
from simulator.scenario.streams import StreamBank

Done = Future[tuple[Rows, float]]
known: dict[str, Any] = {}
"""What a worker has been given: the plans, and the bank of streams."""


def _start_worker(plans: list[DayPlan], seed: int) -> None:
    # Ctrl-C goes to every process of a terminal; what to do then is for the parent to say
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    known["plans"], known["bank"] = plans, StreamBank(seed)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_leave_with, args=(parent.sentinel,), daemon=True).start()


def _leave_with(sentinel: int) -> None:
    """End this process when its parent has been killed: it would wait for work for ever, and keep files locked."""
    wait_for_any([sentinel])
    os._exit(1)


def _work(piece: Piece, ways: Ways) -> tuple[Rows, float]:
    """Return the rows of a piece, and the seconds that one of its runs took."""
    plan, begun_s = known["plans"][piece.plan], time.perf_counter()
    take_up(plan, ways)
    rows = np.array([row_of_run(plan, known["bank"], number) for number in range(piece.first, piece.last)])
    return rows, (time.perf_counter() - begun_s) / len(rows)


def _rehearse(plan: int) -> Ways:
    return ways_of(known["plans"][plan])


class Workers:
    """Worker processes that know all plans."""

    def __init__(self, plans: Sequence[DayPlan], seed: int, count: int) -> None:
        self.count, self.ahead = count, 2 * count + 1
        self._executor: Executor = ProcessPoolExecutor(count, initializer=_start_worker, initargs=(list(plans), seed))

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
        try:
            return self._executor.submit(function, *given)
        except BrokenExecutor as error:
            raise _lost_worker() from error

    def finished(self, waiting: Iterable[Future[Any]]) -> set[Future[Any]]:
        """Wait until a piece or more has come back, and return them."""
        return wait(waiting, return_when=FIRST_COMPLETED).done

    def result(self, future: Future[Any]) -> Any:
        """Return what came back."""
        try:
            return future.result()
        except BrokenExecutor as error:
            raise _lost_worker() from error

    def close(self) -> None:
        """End the processes."""
        self._executor.shutdown(wait=True, cancel_futures=True)


def _lost_worker() -> InputError:
    """Return what to tell when the system or somebody ended a worker process."""
    return InputError.single(
        "a worker process was killed, perhaps for want of memory; the runs before are kept: "
        "go on with --resume, and with fewer workers if it happens again",
        "--workers",
    )
