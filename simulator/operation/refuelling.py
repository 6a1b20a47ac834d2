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
        source.stop_to_refuel()
        yield env.timeout(task.duration_s)
        filled_l = source.refuelled()
        crew.finish(task)
        log.add(env.now, env.now, source.name, State.RUN, Reason.REFUEL, "", filled_l)
