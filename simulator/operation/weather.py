"""What the whole day shares: weather stoppages and the crew's breaks."""

from __future__ import annotations

import math

from simulator.operation.kernel import DayClock, Due, Steps, call_after, wait
from simulator.operation.log import Reason, State
from simulator.operation.move import RigUnit
from simulator.scenario.schema import Break
from simulator.scenario.schema_weather import Stoppages
from simulator.scenario.streams import DayStreams
from simulator.scenario.weather_days import Windows

WEATHER = "weather"
"""Name of the weather in the log."""


def weather_stoppages(clock: DayClock, stoppages: Stoppages, rigs: list[RigUnit], streams: DayStreams) -> Steps:
    """Stop and allow take-offs at random; the SimPy process of the weather. Aircraft in the air land as planned."""
    between = streams.draws("weather/between", stoppages.time_between)
    length = streams.draws("weather/length", stoppages.length)
    while True:
        yield wait(clock, max(between(), 1.0))
        length_s = length()
        _stop(clock, rigs, clock.now + length_s)
        yield wait(clock, length_s)
        for rig in rigs:
            rig.crew.weather_stopped = False
            rig.crew.dispatch()


def weather_hours(clock: DayClock, days: tuple[Windows, ...], rigs: list[RigUnit], streams: DayStreams) -> Steps:
    """Stop take-offs outside the workable hours of one date taken at random; the SimPy process of a weather file."""
    windows = days[min(int(streams.uniforms("weather/date")() * len(days)), len(days) - 1)]
    windows = tuple((start, end) for start, end in windows if end > 0.0)
    _stop(clock, rigs, max(0.0, windows[0][0]) if windows else math.inf)
    for place, (start, end) in enumerate(windows):
        if start > clock.now:
            yield wait(clock, start - clock.now)
        for rig in rigs:
            rig.crew.weather_stopped = False
            rig.crew.dispatch()
        yield wait(clock, end - clock.now)
        _stop(clock, rigs, windows[place + 1][0] if place + 1 < len(windows) else math.inf)


def _stop(clock: DayClock, rigs: list[RigUnit], until_s: float) -> None:
    """Stop take-offs; the log knows from the start how long, and is clipped at the day's end."""
    rigs[0].log.add(clock.now, until_s, WEATHER, State.STOPPED, Reason.WEATHER)
    for rig in rigs:
        rig.crew.weather_stopped = True


def plan_breaks(clock: DayClock, breaks: list[Break], day_start_s: float, rig: RigUnit) -> None:
    """Put the crew's breaks on the agenda; a break starts once everybody's task is done and nothing flies."""
    for one in breaks:
        start = one.start - day_start_s
        if start >= 0.0:
            call_after(clock, start, lambda _, one=one: _ask_break(clock, one, rig))  # type: ignore[misc]


def _ask_break(clock: DayClock, one: Break, rig: RigUnit) -> None:
    if rig.closing:
        return

    def begin() -> None:
        start = clock.now
        if rig.closing:
            rig.crew.release()
            return

        here = rig.crew.present

        def over(_: Due) -> None:
            for person in here:
                rig.log.add(start, clock.now, person.name, State.BREAK, Reason.BREAK)
            rig.crew.release()

        call_after(clock, one.length, over)

    rig.crew.seize(Reason.BREAK, begin)
