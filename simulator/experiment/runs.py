"""Simulated runs, and each as a row of numbers."""

from __future__ import annotations

import os
from importlib import import_module
from itertools import islice

import numpy as np

from simulator.analysis.job import summarise_run
from simulator.analysis.summary import summarise
from simulator.errors import InputError
from simulator.experiment.rehearsal import rehearsed
from simulator.experiment.run_store import Rows
from simulator.operation.day import SimulatedDay
from simulator.operation.job import WorkDay, run_job
from simulator.plan.day_plan import DayPlan
from simulator.scenario.streams import StreamBank

ACTIVE_PERIOD_RUNS = 10
"""Momentary bottlenecks are found in this many runs of a set; the rest only adds to the other figures."""

VERIFY_VARIABLE = "ACREDAY_VERIFY"
"""Environment variable with a function (``module:name``) that checks the plan and days of every run, as in tests."""


def simulate_run(plan: DayPlan, bank: StreamBank, replication: int, most_days: int | None = None) -> list[WorkDay]:
    """Simulate one run, all its work days or the first ones."""
    plan = rehearsed(plan)
    days = list(islice(run_job(plan, bank, replication), most_days))
    if check := os.environ.get(VERIFY_VARIABLE):
        module, _, function = check.partition(":")
        getattr(import_module(module), function)(plan, days)
    return days


def simulate_replication(plan: DayPlan, bank: StreamBank, replication: int, work_day: int = 1) -> SimulatedDay:
    """Simulate one run up to one of its work days, and return that."""
    days = simulate_run(plan, bank, replication, work_day)
    if not 1 <= work_day <= len(days):
        message = f"got {work_day}; run {replication} of {plan.name} has {len(days)} work days"
        raise InputError.single(message, "work_day")
    return days[-1].day


def row_of_run(plan: DayPlan, bank: StreamBank, replication: int) -> Rows:
    """Simulate one run and return its row of numbers, shape (len(columns()),)."""
    days = simulate_run(plan, bank, replication)
    active = replication < ACTIVE_PERIOD_RUNS and not plan.tried
    rows = np.array([summarise(plan, one.day, active_period=active) for one in days])
    return summarise_run(plan, days, rows, bank.day(replication).uniforms("single work day")())
