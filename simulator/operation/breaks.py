"""The crew's breaks: one begins once everybody's task is done and nothing flies."""

from __future__ import annotations

from simpy.events import ProcessGenerator

from simulator.operation.log import Reason, State
from simulator.operation.refuelling import top_up
from simulator.operation.rig import Rig
from simulator.scenario.schema import Break


def take_break(rig: Rig, one: Break, start_s: float) -> ProcessGenerator:
    """Take a break when its time has come; the process of one break."""
    env, crew = rig.env, rig.crew
    yield env.timeout(start_s)
    if rig.site.closed:
        return
    yield crew.gather(Reason.BREAK)
    if not rig.site.closed:
        begun_s, here = env.now, crew.present
        for source in rig.sources:
            env.process(top_up(env, source, rig.draw_refuel_s, rig.log))
        yield env.timeout(one.length)
        for person in here:
            rig.log.add(begun_s, env.now, person.name, State.BREAK, Reason.BREAK)
    crew.release()
