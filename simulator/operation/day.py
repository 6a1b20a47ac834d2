"""One simulated work day, from the yard to the yard."""

from __future__ import annotations

import gc
from dataclasses import dataclass

from simulator.experiment.streams import DayStreams
from simulator.operation.kernel import DayClock, Walk, call_after
from simulator.operation.log import DayLog, Kind, RigEnd
from simulator.operation.move import RigUnit
from simulator.operation.plan import DayPlan
from simulator.operation.weather import WEATHER, plan_breaks, weather_hours, weather_stoppages
from simulator.operation.work import WorkList

_AFTER_LAST_LANDING_S = 1e-3
"""The day closes this much after the last allowed landing, so that a landing just then still counts."""
LONGEST_DAY_S = 5e7


@dataclass(frozen=True)
class SimulatedDay:
    """The log of a day, what was left at its end, and how many events it took."""

    log: DayLog
    ends: tuple[RigEnd, ...]
    replication: int
    events: int = 0


def simulate(plan: DayPlan, streams: DayStreams, replication: int = 0) -> SimulatedDay:
    """Simulate one work day.

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
    collecting = gc.isenabled()
    gc.disable()  # a day leaves its few cycles behind at its end; looking for them meanwhile finds none
    try:
        return _simulate(plan, streams, replication)
    finally:
        if collecting:
            gc.enable()


def _simulate(plan: DayPlan, streams: DayStreams, replication: int) -> SimulatedDay:
    clock = DayClock()
    log = DayLog()
    scenario = plan.scenario
    work = WorkList(plan.fields, plan.geography, scenario.work == "repeat")
    rigs = [RigUnit(clock, plan, rig, work, streams, log) for rig in plan.rigs]
    if scenario.weather.stoppages is not None:
        clock.env.process(weather_stoppages(clock, scenario.weather.stoppages, rigs, streams))
    if plan.weather_days is not None:
        clock.env.process(weather_hours(clock, plan.weather_days, rigs, streams))
    done = []
    for rig in rigs:
        plan_breaks(clock, scenario.day.breaks, scenario.day.start, rig)
        call_after(clock, plan.last_landing_s + _AFTER_LAST_LANDING_S, rig.close)
        done.append(clock.env.process(rig.run()))
        for unit in rig.aircraft:
            Walk(clock, unit.run())
    for process in done:
        clock.run_to(process)
    ends = tuple(rig.end() for rig in rigs)
    log.paid_until_s = max(end.paid_until_s for end in ends)
    if scenario.weather.stoppages is not None or plan.weather_days is not None:
        log.kinds[WEATHER] = Kind.WEATHER
        log.clip(WEATHER, log.paid_until_s)
    log.last_landing_s = max([one.end_s for one in log.sorties], default=0.0)
    return SimulatedDay(log, ends, replication, next(clock.numbers))
