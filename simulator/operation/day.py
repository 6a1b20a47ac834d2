"""One simulated work day, from the yard to the yard."""

from __future__ import annotations

import gc
from collections.abc import Sequence
from dataclasses import dataclass, field

from simpy import Environment

from simulator.operation.breaks import take_break
from simulator.operation.log import DayLog, Kind, RigEnd
from simulator.operation.morning import Morning, first_morning
from simulator.operation.moves import Moves
from simulator.operation.rig import Rig
from simulator.operation.sorties import Sorties
from simulator.operation.weather import WEATHER, weather_hours, weather_stoppages
from simulator.operation.work import WorkList
from simulator.plan.day_plan import DayPlan
from simulator.scenario.streams import DayStreams


@dataclass(frozen=True)
class SimulatedDay:
    """The log of a day, and what was left at its end."""

    log: DayLog
    ends: tuple[RigEnd, ...]
    replication: int
    work_day: int = 1
    """Its number in the run, from 1."""
    to_do_m2: dict[tuple[int, int], float] = field(default_factory=dict)
    """What was left that morning of every field to be done, by number of the pass and of the field."""


def simulate(plan: DayPlan, streams: DayStreams, replication: int = 0) -> SimulatedDay:
    """Simulate the first work day of a run.

    Parameters
    ----------
    plan : DayPlan
        Plan of the equipment set.
    streams : DayStreams
        Random streams of the replication.
    replication : int
        Its number, kept with the result.

    Returns
    -------
    SimulatedDay
        Depends on plan and streams alone.
    """
    return work_day(plan, streams, replication, 1, work_list(plan), first_morning(plan))


def work_list(plan: DayPlan) -> WorkList:
    """Return the list of fields as it is before the first day."""
    return WorkList(plan.fields, plan.geography, plan.scenario.work == "repeat")


def work_day(
    plan: DayPlan, streams: DayStreams, replication: int, number: int, work: WorkList, mornings: Sequence[Morning]
) -> SimulatedDay:
    """Simulate a work day from a morning on; the list of work is left as the evening leaves it."""
    collecting = gc.isenabled()
    gc.disable()  # a day leaves its few cycles behind at its end; looking for them meanwhile finds none
    try:
        return _simulate(plan, streams, replication, number, work, mornings)
    finally:
        if collecting:
            gc.enable()


def _simulate(
    plan: DayPlan, streams: DayStreams, replication: int, number: int, work: WorkList, mornings: Sequence[Morning]
) -> SimulatedDay:
    env, log, scenario, to_do_m2 = Environment(0.0), DayLog(), plan.scenario, work.remaining_m2()
    rigs = [Rig(env, plan, rig, work, streams, log, morning) for rig, morning in zip(plan.rigs, mornings, strict=True)]
    if scenario.weather.stoppages is not None:
        env.process(weather_stoppages(env, scenario.weather.stoppages, rigs, streams))
    if plan.weather_days is not None:
        env.process(weather_hours(env, plan.weather_days, rigs, streams))
    home = []
    for rig in rigs:
        for one in scenario.day.breaks:
            if one.start >= scenario.day.start:
                env.process(take_break(rig, one, one.start - scenario.day.start))
        moves = Moves(rig)
        env.process(moves.close_in_time())
        home.append(env.process(moves.run()))
        for aircraft in rig.aircraft:
            aircraft.process = env.process(Sorties(rig, aircraft).run())
    for process in home:
        env.run(until=process)
    ends = tuple([rig.end() for rig in rigs])
    log.paid_until_s = max([end.paid_until_s for end in ends])
    log.last_landing_s = max([sortie.end_s for sortie in log.sorties], default=0.0)
    if scenario.weather.stoppages is not None or plan.weather_days is not None:
        log.kinds[WEATHER] = Kind.WEATHER
        log.clip(WEATHER, log.paid_until_s)
    return SimulatedDay(log, ends, replication, number, to_do_m2)
