"""Simulated runs as rows of numbers: one run, or a piece of work of several plans."""

from __future__ import annotations

import os
import time
from importlib import import_module
from itertools import islice

import numpy as np

from simulator.analysis.job import summarise_run
from simulator.analysis.summary import columns, summarise
from simulator.errors import InputError
from simulator.experiment.pieces import Piece
from simulator.experiment.rehearsal import rehearsed
from simulator.experiment.run_store import Rows
from simulator.operation.day import SimulatedDay
from simulator.operation.job import WorkDay, run_job
from simulator.plan.day_plan import DayPlan
from simulator.scenario.streams import BLOCK_RUNS, DayStreams, StreamBank, StreamSource

ACTIVE_PERIOD_RUNS = 10
"""Momentary bottlenecks are found in this many runs of a set; the rest only adds to the other figures."""

VERIFY_VARIABLE = "ACREDAY_VERIFY"
"""Environment variable with a function (``module:name``) that checks the plan and days of every run, as in tests."""


class LatestBlock:
    """The streams of the last block of replications that was asked for; those before are forgotten.

    Runs come in order, so a block that has passed is not asked for again, and memory stays that of one block.
    """

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self._block = -1
        self._bank = StreamBank(seed)

    def day(self, replication: int, work_day: int = 0) -> DayStreams:
        """Return the streams of one work day of a replication, at their beginning."""
        block = replication // BLOCK_RUNS
        if block != self._block:
            self._block, self._bank = block, StreamBank(self.seed)
        return self._bank.day(replication, work_day)


def simulate_run(plan: DayPlan, bank: StreamSource, replication: int, most_days: int | None = None) -> list[WorkDay]:
    """Simulate one run, all its work days or the first ones."""
    plan = rehearsed(plan)
    days = list(islice(run_job(plan, bank, replication), most_days))
    if check := os.environ.get(VERIFY_VARIABLE):
        module, _, function = check.partition(":")
        getattr(import_module(module), function)(plan, days)
    return days


def simulate_replication(plan: DayPlan, bank: StreamSource, replication: int, work_day: int = 1) -> SimulatedDay:
    """Simulate one run up to one of its work days, and return that."""
    days = simulate_run(plan, bank, replication, work_day)
    if not 1 <= work_day <= len(days):
        message = f"got {work_day}; run {replication} of {plan.name} has {len(days)} work days"
        raise InputError.single(message, "work_day")
    return days[-1].day


def row_of_run(plan: DayPlan, bank: StreamSource, replication: int) -> Rows:
    """Simulate one run and return its row of numbers, shape (len(columns()),)."""
    days = simulate_run(plan, bank, replication)
    active = replication < ACTIVE_PERIOD_RUNS and not plan.tried
    rows = np.array([summarise(plan, one.day, active_period=active) for one in days])
    return summarise_run(plan, days, rows, bank.day(replication).uniforms("single work day")())


def run_piece(plans: list[DayPlan], bank: StreamSource, piece: Piece) -> tuple[Rows, list[float]]:
    """Simulate a piece; return rows of shape (plans, runs, len(columns())), and the seconds that each plan took."""
    rows = np.empty((len(piece.plans), piece.last - piece.first, len(columns())))
    seconds = [0.0] * len(piece.plans)
    before = time.perf_counter()
    for place, replication in enumerate(range(piece.first, piece.last)):
        for number, plan in enumerate(piece.plans):
            rows[number, place] = row_of_run(plans[plan], bank, replication)
            now = time.perf_counter()
            seconds[number] += now - before
            before = now
    return rows, seconds
