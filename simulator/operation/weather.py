"""The weather that all rigs share: it stops take-offs; aircraft in the air land as planned."""

from __future__ import annotations

import math

from simpy import Environment
from simpy.events import ProcessGenerator

from simulator.operation.log import Reason, State
from simulator.operation.rig import Rig
from simulator.scenario.schema_weather import Stoppages
from simulator.scenario.streams import DayStreams
from simulator.scenario.weather_days import Windows

WEATHER = "weather"
"""Name of the weather in the log."""


def weather_stoppages(env: Environment, stoppages: Stoppages, rigs: list[Rig], streams: DayStreams) -> ProcessGenerator:
    """Stop and allow take-offs at random; the process of stoppages."""
    draw_between_s = streams.draws("weather/between", stoppages.time_between)
    draw_length_s = streams.draws("weather/length", stoppages.length)
    while True:
        yield env.timeout(max(draw_between_s(), 1.0))
        length_s = draw_length_s()
        _stop(rigs, env.now, env.now + length_s)
        yield env.timeout(length_s)
        _go_on(rigs)


def weather_hours(
    env: Environment, days: tuple[Windows, ...], rigs: list[Rig], streams: DayStreams
) -> ProcessGenerator:
    """Stop take-offs outside the workable hours of one date taken at random; the process of a weather file."""
    date = min(int(streams.uniforms("weather/date")() * len(days)), len(days) - 1)
    windows = [(start_s, end_s) for start_s, end_s in days[date] if end_s > 0.0]
    for start_s, end_s in windows:
        _stop(rigs, env.now, max(0.0, start_s))
        yield env.timeout(max(0.0, start_s - env.now))
        _go_on(rigs)
        yield env.timeout(end_s - env.now)
    _stop(rigs, env.now, math.inf)


def _stop(rigs: list[Rig], now_s: float, until_s: float) -> None:
    """Stop take-offs; the log knows from the start how long, and is cut at the day's end."""
    rigs[0].log.add(now_s, until_s, WEATHER, State.STOPPED, Reason.WEATHER)
    for rig in rigs:
        rig.airspace.weather_stopped = True


def _go_on(rigs: list[Rig]) -> None:
    for rig in rigs:
        rig.airspace.weather_stopped = False
        rig.crew.look_round()
