"""Many days of many equipment sets: blocks of replications, serial or in worker processes, same tables either way."""

from __future__ import annotations

import os
import pickle
import signal
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import COLUMNS, summarise
from simulator.experiment.journal import Journal
from simulator.experiment.streams import BLOCK_DAYS, StreamBank
from simulator.operation.day import SimulatedDay, simulate
from simulator.operation.plan import DayPlan

ACTIVE_PERIOD_DAYS = 100
"""Momentary bottlenecks are found in this many days of a set; the rest only adds to the other figures."""

VERIFY_VARIABLE = "ACREDAY_VERIFY"
"""When this environment variable is set (as it is in the tests), every simulated day is checked for conservation."""

LEAST_DAYS = 10
"""Days that every plan is given even when the time is over."""

Rows = NDArray[np.float64]
Progress = Callable[[int], None]


class BudgetSpentError(Exception):
    """The time that the run was given is over; what has finished is in the tables."""


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


def run_day(plan: DayPlan, bank: StreamBank, replication: int) -> Rows:
    """Simulate one replication and return its row of numbers, shape (len(COLUMNS),)."""
    return summarise(
        plan, simulate_replication(plan, bank, replication), active_period=replication < ACTIVE_PERIOD_DAYS
    )


def run_block(plan: DayPlan, bank: StreamBank, first: int, last: int) -> Rows:
    """Simulate replications ``first`` to ``last - 1``; rows of shape (last - first, len(COLUMNS))."""
    return np.vstack([run_day(plan, bank, replication) for replication in range(first, last)])


_worker: dict[str, Any] = {}


def _start_worker(plans: Sequence[DayPlan], seed: int) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _worker["plans"], _worker["bank"] = plans, StreamBank(seed)


def _work(block: Block) -> Rows:
    return run_block(_worker["plans"][block.plan], _worker["bank"], block.first, block.last)


def _work_anywhere(packed: bytes, key: str, seed: int, block: Block) -> Rows:
    """Simulate a block on a cluster's worker, which keeps the plans of the last run it saw."""
    if _worker.get("key") != key:
        _worker.update(key=key, plans=pickle.loads(packed), bank=StreamBank(seed))
    return _work(block)


@dataclass
class Tables:
    """Rows of finished days by plan.

    Attributes
    ----------
    rows : list of dict
        Per plan, replication number to its row.
    """

    rows: list[dict[int, Rows]] = field(default_factory=list)

    def table(self, plan: int) -> tuple[NDArray[np.int64], Rows]:
        """Return the replication numbers, ascending, and their rows."""
        found = self.rows[plan]
        if not found:
            return np.empty(0, dtype=np.int64), np.empty((0, len(COLUMNS)))
        numbers = sorted(found)
        return np.array(numbers, dtype=np.int64), np.vstack([found[number] for number in numbers])

    def done(self, plan: int) -> int:
        """Return how many days of a plan are finished."""
        return len(self.rows[plan])

    def whole(self) -> int:
        """Return up to which replication every plan has finished without a gap."""
        count = 0
        while all(count in found for found in self.rows):
            count += 1
        return count


def blocks_of(plans: int, first: int, last: int, size: int = BLOCK_DAYS) -> Iterator[Block]:
    """Cut a range of replications into blocks, set by set within a block so that pairs finish together."""
    start = first
    while start < last:
        end = min(last, (start // size + 1) * size)
        for plan in range(plans):
            yield Block(plan, start, end)
        start = end


class Runner:
    """Simulates blocks of days: here, in worker processes, or on a cluster.

    Parameters
    ----------
    plans : sequence of DayPlan
        One a set.
    seed : int
        Seed of the streams.
    workers : int
        Processes; 1 simulates in this process.
    journal : Journal, optional
        Keeps finished days on disk; what it already holds is not simulated again.
    scheduler : str, optional
        Address of a dask scheduler to use instead of processes here.
    deadline_s : float, optional
        ``time.monotonic()`` after which no further block is begun.
    """

    def __init__(
        self,
        plans: Sequence[DayPlan],
        seed: int,
        workers: int = 1,
        journal: Journal | None = None,
        scheduler: str | None = None,
        deadline_s: float | None = None,
    ) -> None:
        self.plans, self.seed = list(plans), seed
        self.workers = max(1, workers)
        self.deadline_s = deadline_s
        self.tables = Tables([{} for _ in self.plans])
        self._bank = StreamBank(seed)
        self._pool: Executor | None = None
        self._scheduler = scheduler
        self._client: Any = None
        self._packed: Any = None
        self._journal = journal
        if journal is not None:
            for plan, rows in journal.read().items():
                self.tables.rows[plan].update(rows)

    def __enter__(self) -> Runner:
        if self._scheduler is not None:
            from simulator.experiment.cluster import connect

            self._client, self._pool = connect(self._scheduler)
            self._packed = self._client.scatter(pickle.dumps(self.plans), broadcast=True, hash=True)
        elif self.workers > 1:
            self._pool = ProcessPoolExecutor(self.workers, initializer=_start_worker, initargs=(self.plans, self.seed))
        return self

    def __exit__(self, *_: object) -> None:
        if self._client is not None:
            self._client.close()
        elif self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)

    def extend(self, first: int, last: int, progress: Progress | None = None) -> None:
        """Simulate replications ``first`` to ``last - 1`` of every plan; what has finished is kept when interrupted.

        Raises
        ------
        BudgetSpentError
            The deadline has passed.
        """
        known = sum(1 for found in self.tables.rows for number in found if first <= number < last)
        if known and progress is not None:
            progress(known)
        size = BLOCK_DAYS if self.deadline_s is None else BLOCK_DAYS // 8
        blocks = [self._missing(block) for block in blocks_of(len(self.plans), first, last, size)]
        blocks = [block for block in blocks if block.first < block.last]
        if self._pool is None:
            self._run_here(blocks, progress)
        else:
            self._run_pool(self._pool, blocks, progress)

    def _missing(self, block: Block) -> Block:
        """Leave out the days at the start of a block that are known."""
        first = block.first
        while first < block.last and first in self.tables.rows[block.plan]:
            first += 1
        return Block(block.plan, first, block.last)

    def _keep(self, block: Block, rows: Rows) -> None:
        self.tables.rows[block.plan].update({block.first + place: row for place, row in enumerate(rows)})
        if self._journal is not None:
            self._journal.append(block.plan, block.first, rows)

    def _out_of_time(self) -> bool:
        if self.deadline_s is None or time.monotonic() < self.deadline_s:
            return False
        # whatever the budget, every plan gets enough days for an interval
        return min(len(found) for found in self.tables.rows) >= LEAST_DAYS

    def _run_pool(self, pool: Executor, blocks: list[Block], progress: Progress | None) -> None:
        ahead = 4 * max(self.workers, 8) if self._client is not None else 2 * self.workers + 1
        queue = iter(blocks)
        waiting: dict[Future[Rows], Block] = {}
        try:
            while True:
                while len(waiting) < ahead and not self._out_of_time() and (block := next(queue, None)) is not None:
                    waiting[self._submit(pool, block)] = block
                if not waiting:
                    break
                finished, _ = wait(waiting, return_when=FIRST_COMPLETED)
                for future in finished:
                    block = waiting.pop(future)
                    self._keep(block, future.result())
                    if progress is not None:
                        progress(block.last - block.first)
        except KeyboardInterrupt:
            for future, block in waiting.items():
                if future.done() and not future.cancelled():
                    self._keep(block, future.result())
                future.cancel()
            raise
        if next(queue, None) is not None:
            raise BudgetSpentError

    def _submit(self, pool: Executor, block: Block) -> Future[Rows]:
        if self._client is None:
            return pool.submit(_work, block)
        key = f"{self.seed}-{self._packed.key}"
        return pool.submit(_work_anywhere, self._packed, key, self.seed, block)

    def _run_here(self, blocks: list[Block], progress: Progress | None) -> None:
        """Simulate blocks in this process, day by day through all plans, so that an interruption leaves pairs."""
        todo = sorted((number, block.plan) for block in blocks for number in range(block.first, block.last))
        unsaved: list[tuple[int, int]] = []
        saved_s = time.monotonic()
        try:
            for number, plan in todo:
                if self._out_of_time():
                    raise BudgetSpentError
                self.tables.rows[plan][number] = run_day(self.plans[plan], self._bank, number)
                unsaved.append((plan, number))
                if progress is not None:
                    progress(1)
                if self._journal is not None and time.monotonic() - saved_s > 0.5:
                    self._save(unsaved)
                    saved_s = time.monotonic()
        finally:
            self._save(unsaved)

    def _save(self, days: list[tuple[int, int]]) -> None:
        if self._journal is not None:
            for plan, number in days:
                self._journal.append(plan, number, self.tables.rows[plan][number][None, :])
        days.clear()
