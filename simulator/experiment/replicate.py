"""Many runs of many equipment sets, here or in workers, kept on disk as they finish; the same tables either way."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import wait

import numpy as np

from simulator.experiment.cluster import Certificates, ClusterWorkers
from simulator.experiment.pieces import LEAST_PIECE_S, PIECE_S, Piece, pieces
from simulator.experiment.rehearsal import take_up, ways_of
from simulator.experiment.run_store import Rows, RunStore
from simulator.experiment.runs import row_of_run
from simulator.experiment.tables import Tables
from simulator.experiment.workers import Done, Workers
from simulator.plan.day_plan import DayPlan
from simulator.scenario.streams import StreamBank

LEAST_RUNS = 10
"""Runs that every plan is given even when the time is over."""

Progress = Callable[[int], None]


class BudgetSpentError(Exception):
    """The time that was given is over; what has finished is in the tables."""


class Runner:
    """Simulates runs into ``tables``, here, in processes or on a cluster; none begins after a deadline."""

    def __init__(
        self,
        plans: Sequence[DayPlan],
        seed: int,
        workers: int = 1,
        store: RunStore | None = None,
        scheduler: str | None = None,
        deadline_s: float | None = None,
        certificates: Certificates | None = None,
    ) -> None:
        self.plans, self.seed = list(plans), seed
        self.workers = max(1, workers)
        self.deadline_s = deadline_s
        self.tables = Tables(len(self.plans), store)
        self.resumed = 0 if store is None else self.tables.load()
        self._bank = StreamBank(seed)
        self._scheduler, self._certificates = scheduler, certificates
        self._pool: Workers | None = None
        self._cost_s: dict[int, float] = {}

    def __enter__(self) -> Runner:
        if self._scheduler is not None:
            given = self.plans, self.seed, self.workers, self._scheduler, self._certificates
            self._pool = ClusterWorkers(*given)
        elif self.workers > 1:
            self._pool = Workers(self.plans, self.seed, self.workers)
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.close()

    def extend(
        self, first: int, last: int, progress: Progress | None = None, plans: Sequence[int] | None = None
    ) -> None:
        """Simulate replications ``first`` to ``last - 1``; what has finished is kept when interrupted."""
        chosen = tuple(range(len(self.plans)) if plans is None else plans)
        for plan in chosen:
            self.tables.reserve(plan, last)
        known = sum(self.tables.known(plan, first, last) for plan in chosen)
        if known and progress is not None:
            progress(known)
        if known == len(chosen) * (last - first):
            return
        if self._pool is None:
            self._run_here(chosen, first, last, progress)
        else:
            self._run_pool(self._pool, chosen, first, last, progress)

    def _out_of_time(self, plans: Sequence[int]) -> bool:
        if self.deadline_s is None or time.monotonic() < self.deadline_s:
            return False
        # whatever the budget, every plan gets enough runs for an interval
        return min(self.tables.done(plan) for plan in plans) >= LEAST_RUNS

    def _pieces(self, plans: Sequence[int], first: int, last: int, workers: int) -> Iterator[Piece]:
        piece_s = PIECE_S
        if self.deadline_s is not None:
            piece_s = min(PIECE_S, max(LEAST_PIECE_S, 0.05 * (self.deadline_s - time.monotonic())))
        return pieces(self.tables, plans, first, last, workers, self._cost_s, piece_s)

    def _learn(self, plan: int, run_s: float) -> None:
        """Take in what a run took; the newest counts half, for a machine's load changes."""
        self._cost_s[plan] = 0.5 * (self._cost_s.get(plan, run_s) + run_s)

    def _run_pool(self, pool: Workers, plans: Sequence[int], first: int, last: int, progress: Progress | None) -> None:
        new = [plan for plan in plans if not self.plans[plan].rehearsals]
        for plan, ways in zip(new, pool.rehearse(new), strict=True):
            take_up(self.plans[plan], ways)
        queue = self._pieces(plans, first, last, pool.count)
        waiting: dict[Done, Piece] = {}

        def take(future: Done) -> None:
            piece = waiting[future]
            rows, run_s = pool.result(future)
            self._learn(piece.plan, run_s)
            self.tables.add(piece.plan, piece.first, rows)
            # only now: an interruption before this line finds the piece once more
            del waiting[future]
            if progress is not None:
                progress(len(rows))

        try:
            while True:
                while (
                    len(waiting) < pool.ahead
                    and not self._out_of_time(plans)
                    and (piece := next(queue, None)) is not None
                ):
                    waiting[pool.submit(piece, ways_of(self.plans[piece.plan]))] = piece
                if not waiting:
                    break
                for future in pool.finished(waiting):
                    take(future)
        except KeyboardInterrupt:
            # what is being simulated now is short and would have to be waited for anyway
            progress = None
            running = [future for future in waiting if not future.cancel()]
            for future in wait(running).done:
                take(future)
            raise
        if next(queue, None) is not None:
            raise BudgetSpentError

    def _run_here(self, plans: Sequence[int], first: int, last: int, progress: Progress | None) -> None:
        """Simulate in this process; an interruption leaves every run that has finished."""
        for piece in self._pieces(plans, first, last, 1):
            if self._out_of_time(plans):
                raise BudgetSpentError
            rows: list[Rows] = []
            begun_s = time.perf_counter()
            try:
                for number in range(piece.first, piece.last):
                    rows.append(row_of_run(self.plans[piece.plan], self._bank, number))
                    if progress is not None:
                        progress(1)
            finally:
                if rows:
                    self._learn(piece.plan, (time.perf_counter() - begun_s) / len(rows))
                    self.tables.add(piece.plan, piece.first, np.array(rows))
