"""What the whole day shares: weather stoppages and the crew's breaks."""

from __future__ import annotations

import math
from simpy.core import Environment

from simulator.experiment.streams import DayStreams
from simulator.operation.kernel import Due, Steps, call_after, wait
from simulator.operation.log import Reason, State
from simulator.operation.move import RigUnit
from simulator.scenario.schema import Break
from simulator.scenario.schema_weather import Stoppages
from simulator.scenario.weather_days import Windows

WEATHER = "weather"
"""Name of the weather in the log."""


def weather_stoppages(
    env: Environment, stoppages: Stoppages, rigs: list[RigUnit], streams: DayStreams
) -> Steps:
    """Stop and allow take-offs at random; the SimPy process of the weather. Aircraft in the air land as planned."""
    between = streams.draws("weather/between", stoppages.time_between)
    length = streams.draws("weather/length", stoppages.length)
    while True:
        yield wait(env, max(between(), 1.0))
        length_s = length()
        _stop(env, rigs, env.now + length_s)
        yield wait(env, length_s)
        for rig in rigs:
            rig.crew.weather_stopped = False
            rig.crew.dispatch()


def weather_hours(
    env: Environment, days: tuple[Windows, ...], rigs: list[RigUnit], streams: DayStreams
) -> Steps:
    """Stop take-offs outside the workable hours of one date taken at random; the SimPy process of a weather file."""
    windows = days[min(int(streams.uniforms("weather/date")() * len(days)), len(days) - 1)]
    windows = tuple((start, end) for start, end in windows if end > 0.0)
    _stop(env, rigs, max(0.0, windows[0][0]) if windows else math.inf)
    for place, (start, end) in enumerate(windows):
        if start > env.now:
            yield wait(env, start - env.now)
        for rig in rigs:
            rig.crew.weather_stopped = False
            rig.crew.dispatch()
        yield wait(env, end - env.now)
        _stop(env, rigs, windows[place + 1][0] if place + 1 < len(windows) else math.inf)


def _stop(env: Environment, rigs: list[RigUnit], until_s: float) -> None:
    """Stop take-offs; the log knows from the start how long, and is clipped at the day's end."""
    rigs[0].log.add(env.now, until_s, WEATHER, State.STOPPED, Reason.WEATHER)
    for rig in rigs:
        rig.crew.weather_stopped = True


def plan_breaks(env: Environment, breaks: list[Break], day_start_s: float, rig: RigUnit) -> None:
    """Put the crew's breaks on the agenda; a break starts once everybody's task is done and nothing flies."""
    for one in breaks:
        start = one.start - day_start_s
        if start >= 0.0:
            call_after(env, start, lambda _, one=one: _ask_break(env, one, rig))  # type: ignore[misc]


def _ask_break(env: Environment, one: Break, rig: RigUnit) -> None:
    if rig.closing:
        return

    def begin() -> None:
        start = env.now
        if rig.closing:
            rig.crew.release()
            return

        here = rig.crew.present

        def over(_: Due) -> None:
            for person in here:
                rig.log.add(start, env.now, person.name, State.BREAK, Reason.BREAK)
            rig.crew.release()

        call_after(env, one.length, over)

    rig.crew.seize(Reason.BREAK, begin)
