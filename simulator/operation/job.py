"""The whole job: work day after work day, with the nights between, until the list of fields is done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from simulator.operation.day import SimulatedDay, work_day, work_list
from simulator.operation.morning import Morning, Night, first_morning, next_morning
from simulator.operation.work import WorkList
from simulator.plan.day_plan import DayPlan
from simulator.scenario.streams import StreamBank

_FRUITLESS_DAYS = 3
"""A run is given up after so many days in a row without a flight,"""
_FRUITLESS_DAYS_OF_WEATHER = 20
"""or so many where the weather may be the reason."""


@dataclass(frozen=True)
class WorkDay:
    """One work day of a run, and the night after it; none follows the last.

    ``mornings`` are the rigs on the next morning; ``done`` tells whether what was asked is done (the list, or as many
    days), ``last`` whether the run ends with this day.
    """

    day: SimulatedDay
    nights: tuple[Night, ...]
    mornings: tuple[Morning, ...]
    done: bool
    last: bool


def run_job(plan: DayPlan, source: StreamBank, replication: int = 0) -> Iterator[WorkDay]:
    """Simulate a run: work day after work day, each from where the evening before has left off.

    Parameters
    ----------
    plan : DayPlan
        Plan of the equipment set.
    source : StreamBank
        Random streams; each work day has its own.
    replication : int
        Number of the run.

    Yields
    ------
    WorkDay
        With ``work = "once"`` until the list is done, with ``"repeat"`` for as many days as asked and, where fields
        differ, to the end of a pass; at most ``most_work_days``, and not beyond days on which nothing is flown.
    """
    scenario = plan.scenario
    work, mornings = work_list(plan), first_morning(plan)
    weather = scenario.weather.stoppages is not None or plan.weather_days is not None
    patience = _FRUITLESS_DAYS_OF_WEATHER if weather else _FRUITLESS_DAYS
    fruitless = 0
    for number in range(1, scenario.most_work_days + 1):
        if scenario.work == "repeat" and number > scenario.work_days:
            work.repeats = False
        day = work_day(plan, source.day(replication, number - 1), replication, number, work, mornings)
        may_go_on = work.may_go_on
        work.new_day()
        done = _is_done(plan, work, number)
        fruitless = 0 if day.log.sorties else fruitless + 1
        last = done or not may_go_on or fruitless >= patience or number == scenario.most_work_days
        if last:
            yield WorkDay(day, (), (), done, last)
            return
        evenings = [next_morning(plan, rig, end) for rig, end in zip(plan.rigs, day.ends, strict=True)]
        mornings = [morning for morning, _ in evenings]
        yield WorkDay(day, tuple([night for _, night in evenings]), tuple(mornings), done, last)


def _is_done(plan: DayPlan, work: WorkList, number: int) -> bool:
    """Tell whether the run has done what was asked by the evening of a day."""
    if plan.scenario.work == "once":
        return work.all_finished
    return number >= plan.scenario.work_days and (plan.fields_alike or not work.remaining_m2())
