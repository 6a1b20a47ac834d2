"""Many days of many equipment sets: blocks of replications, serial or in worker processes, same tables either way."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import COLUMNS, summarise
from simulator.experiment.streams import BLOCK_DAYS, StreamBank
from simulator.operation.day import SimulatedDay, simulate
from simulator.operation.plan import DayPlan

ACTIVE_PERIOD_DAYS = 100
"""Momentary bottlenecks are found in this many days of a set; the rest only adds to the other figures."""

VERIFY_VARIABLE = "ACREDAY_VERIFY"
"""When this environment variable is set (as it is in the tests), every simulated day is checked for conservation."""

Progress = Callable[[int], None]


@dataclass(frozen=True)
class Block:
    """Consecutive replications of one plan."""

    plan: int
    first: int
    last: int


def simulate_replication(plan: DayPlan, bank: StreamBank, replication: int) -> SimulatedDay:
    """Simulate one replication; with ``ACREDAY_VERIFY`` set, check its conservation laws.

    Raises
    ------
    ConservationError
        The day broke a law, which is a fault of the model.
    """
    day = simulate(plan, bank.day(replication), replication)
    if os.environ.get(VERIFY_VARIABLE):
        from simulator.analysis.conservation import verify_day

        verify_day(plan, day)
    return day


def run_block(plan: DayPlan, bank: StreamBank, first: int, last: int, progress: Progress | None = None) -> NDArray[np.float64]:
    """Simulate replications ``first`` to ``last - 1``.

    Returns
    -------
    numpy.ndarray, shape (last - first, len(COLUMNS))
        One row a day.
    """
    rows = np.empty((last - first, len(COLUMNS)))
    for place, replication in enumerate(range(first, last)):
        day = simulate_replication(plan, bank, replication)
        rows[place] = summarise(plan, day, active_period=replication < ACTIVE_PERIOD_DAYS)
        if progress is not None:
            progress(1)
    return rows


_worker: dict[str, object] = {}


def _start_worker(plans: Sequence[DayPlan], seed: int) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _worker["plans"], _worker["bank"] = plans, StreamBank(seed)


def _work(block: Block) -> NDArray[np.float64]:
    plans, bank = _worker["plans"], _worker["bank"]
    if not isinstance(bank, StreamBank) or not isinstance(plans, Sequence):
        raise RuntimeError("the worker was not started with its plans")
    return run_block(plans[block.plan], bank, block.first, block.last)


@dataclass
class Tables:
    """Rows of finished days by plan, and their replication numbers.

    Attributes
    ----------
    rows : list of dict
        Per plan, first replication of a block to its rows.
    """

    rows: list[dict[int, NDArray[np.float64]]] = field(default_factory=list)

    def table(self, plan: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Return the replication numbers, ascending, and their rows."""
        blocks = self.rows[plan]
        if not blocks:
            return np.empty(0, dtype=np.int64), np.empty((0, len(COLUMNS)))
        starts = sorted(blocks)
        numbers = np.concatenate([np.arange(start, start + len(blocks[start])) for start in starts])
        return numbers, np.vstack([blocks[start] for start in starts])

    def done(self, plan: int) -> int:
        """Return how many days of a plan are finished."""
        return sum(len(rows) for rows in self.rows[plan].values())


def blocks_of(plans: int, first: int, last: int) -> Iterator[Block]:
    """Cut a range of replications into blocks, set by set within a block so that pairs finish together."""
    start = first
    while start < last:
        end = min(last, (start // BLOCK_DAYS + 1) * BLOCK_DAYS)
        for plan in range(plans):
            yield Block(plan, start, end)
        start = end


class Runner:
    """Simulates blocks of days, here or in worker processes.

    Parameters
    ----------
    plans : sequence of DayPlan
        One a set.
    seed : int
        Seed of the streams.
    workers : int
        Processes; 1 simulates in this process.
    """

    def __init__(self, plans: Sequence[DayPlan], seed: int, workers: int = 1) -> None:
        self.plans, self.seed = list(plans), seed
        self.workers = max(1, workers)
        self.tables = Tables([{} for _ in self.plans])
        self._bank = StreamBank(seed)
        self._pool: Executor | None = None

    def __enter__(self) -> Runner:
        if self.workers > 1:
            self._pool = ProcessPoolExecutor(self.workers, initializer=_start_worker, initargs=(self.plans, self.seed))
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)

    def extend(self, first: int, last: int, progress: Progress | None = None) -> None:
        """Simulate replications ``first`` to ``last - 1`` of every plan; what has finished is kept when interrupted."""
        blocks = list(blocks_of(len(self.plans), first, last))
        if self._pool is None:
            for block in blocks:
                self._run_here(block, progress)
            return
        waiting: dict[Future[NDArray[np.float64]], Block] = {}
        try:
            waiting = {self._pool.submit(_work, block): block for block in blocks}
            while waiting:
                finished, _ = wait(waiting, return_when=FIRST_COMPLETED)
                for future in finished:
                    block = waiting.pop(future)
                    self.tables.rows[block.plan][block.first] = future.result()
                    if progress is not None:
                        progress(block.last - block.first)
        except KeyboardInterrupt:
            for future, block in waiting.items():
                if future.done() and not future.cancelled():
                    self.tables.rows[block.plan][block.first] = future.result()
                future.cancel()
            raise

    def _run_here(self, block: Block, progress: Progress | None) -> None:
        plan = self.plans[block.plan]
        kept: list[NDArray[np.float64]] = []
        try:
            for replication in range(block.first, block.last):
                kept.append(run_block(plan, self._bank, replication, replication + 1))
                if progress is not None:
                    progress(1)
        finally:
            if kept:
                self.tables.rows[block.plan][block.first] = np.vstack(kept)
