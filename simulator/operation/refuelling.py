"""Refuelling a generator: someone brings fuel when the tank is low, at once when it is dry."""

from __future__ import annotations

from collections.abc import Callable

from simpy import Environment
from simpy.events import ProcessGenerator

from simulator.operation.crew import Crew
from simulator.operation.log import DayLog, Reason, State
from simulator.operation.people import REFUEL, TURNAROUND, Task
from simulator.operation.power import PowerSource
from simulator.scenario.schema_rig import Task as TaskTable

TOP_UP_BELOW = 0.7
"""Tanks below this share are filled at breaks and moves; common practice, no source."""


def refuelling(
    env: Environment, source: PowerSource, crew: Crew, table: TaskTable, draw_s: Callable[[], float], log: DayLog
) -> ProcessGenerator:
    """Fill the tank whenever it is low; the process of one generator's fuel."""
    while True:
        yield source.low
        urgency = TURNAROUND if source.dry.triggered else REFUEL
        task = Task(Reason.REFUEL, draw_s(), table.people, table.by, urgency, source.name)
        if source.dry.callbacks is not None:
            source.dry.callbacks.append(lambda _, task=task: crew.hasten(task))  # type: ignore[misc]
        granted = crew.ask(task)
        if granted is not None:
            yield granted
        if source.low.triggered:
            yield from fill_tank(env, source, task.duration_s, log)
        crew.finish(task)


def restarting(source: PowerSource, crew: Crew, table: TaskTable, draw_s: Callable[[], float]) -> ProcessGenerator:
    """Unplug what is too much and restart the source whenever it has tripped; the process of one that does."""
    while True:
        yield source.tripped
        task = Task(Reason.RESTART, draw_s(), table.people, table.by, TURNAROUND, source.name)
        yield from crew.do(task)
        source.restart()


def top_up(env: Environment, source: PowerSource, draw_s: Callable[[], float], log: DayLog) -> ProcessGenerator:
    """Fill a tank that is well down while everybody stands anyway, so that charging need not stop for it later."""
    if source.fuel_share < TOP_UP_BELOW and not source.refuelling:
        yield from fill_tank(env, source, draw_s(), log)


def fill_tank(env: Environment, source: PowerSource, length_s: float, log: DayLog) -> ProcessGenerator:
    """Stop the generator and fill its tank."""
    source.stop_to_refuel()
    yield env.timeout(length_s)
    filled_l = source.refuelled()
    log.add(env.now, env.now, source.name, State.RUN, Reason.REFUEL, "", filled_l)
