"""What the model adds to SimPy: events that their maker fires, short processes, and a clock without detours.

A process that waits for the crew, a pack or the trailer holds a :class:`Signal`; whoever ends the wait fires it, now or
after the time that the task takes. So a task costs one event on the agenda: no request, no release, no polling. The
events here have what SimPy's loop and processes ask of an event, and no more; they stand on SimPy's own agenda among
its events. :class:`DayClock` is SimPy's environment with its agenda at hand and its loop written out, since a day is
little else than that loop.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from heapq import heappop, heappush
from typing import Any

from simpy.core import Environment
from simpy.events import NORMAL, URGENT

Steps = Generator[Any, None, None]
"""A process: it yields the events that it waits for."""


class Signal:
    """An event that can be fired once, now or after a delay.

    Parameters
    ----------
    clock : DayClock
        Clock.
    """

    __slots__ = ("_clock", "_ok", "_value", "callbacks", "triggered")

    def __init__(self, clock: DayClock) -> None:
        self._clock = clock
        self.callbacks: list[Callable[[Any], object]] | None = []
        self.triggered = False
        self._ok, self._value = True, None

    def fire(self, delay_s: float = 0.0) -> None:
        """Trigger the event ``delay_s`` seconds from now.

        Raises
        ------
        RuntimeError
            The event was fired before.
        """
        if self.triggered:
            raise RuntimeError("a signal is fired once")
        self.triggered = True
        clock = self._clock
        heappush(clock.agenda, (clock.now + delay_s, NORMAL, next(clock.numbers), self))


class Due:
    """An event whose time is known when it is made, and the one function that is called then."""

    __slots__ = ("_ok", "call")

    def __init__(self, call: Callable[[Due], object]) -> None:
        self.call = call
        self._ok = True

    @property
    def callbacks(self) -> list[Callable[[Due], object]]:
        """What SimPy's own loop calls."""
        return [self.call]

    @callbacks.setter
    def callbacks(self, _: None) -> None:
        """Let SimPy's own loop note that the event has happened."""


def call_after(clock: DayClock, delay_s: float, call: Callable[[Due], object]) -> Due:
    """Call a function ``delay_s`` seconds from now and return the event that does it."""
    due = Due(call)
    heappush(clock.agenda, (clock.now + delay_s, NORMAL, next(clock.numbers), due))
    return due


def wait(clock: DayClock, delay_s: float) -> Signal:
    """Return an event that happens ``delay_s`` seconds from now, for a process to wait for."""
    signal = Signal(clock)
    signal.fire(delay_s)
    return signal


class Walk:
    """Takes a process from event to event, as SimPy's ``Process`` does; nobody can wait for it or interrupt it.

    Parameters
    ----------
    clock : DayClock
        Clock.
    steps : generator
        The process; it begins at this moment, before anything else.
    """

    __slots__ = ("_steps",)

    def __init__(self, clock: DayClock, steps: Steps) -> None:
        self._steps = steps
        heappush(clock.agenda, (clock.now, URGENT, next(clock.numbers), Due(self.go_on)))

    def go_on(self, _: object) -> None:
        """Go on to the next event that has not happened yet."""
        for event in self._steps:
            if event.callbacks is not None:
                event.callbacks.append(self.go_on)
                return


class DayClock:
    """A SimPy environment, its agenda and its time.

    Attributes
    ----------
    env : simpy.Environment
        For SimPy's own processes; it shares the agenda.
    now : float
        Time, s from the start of the day.
    agenda : list
        What is to happen: time, SimPy's priority, number in order of scheduling, event.
    numbers : iterator of int
        Numbers of events.
    """

    __slots__ = ("agenda", "env", "now", "numbers")

    def __init__(self) -> None:
        self.env = Environment()
        self.now = 0.0
        self.agenda: list[tuple[float, int, int, Any]] = self.env._queue  # type: ignore[assignment]
        self.numbers: Iterator[int] = self.env._eid

    def run_to(self, event: Any) -> None:
        """Let things happen until an event has.

        Raises
        ------
        RuntimeError
            The agenda is empty before.
        """
        while event.callbacks is not None:
            if not self.agenda:
                raise RuntimeError("the agenda is empty, but the event has not happened")
            self._step()

    def run_until(self, time_s: float) -> None:
        """Let happen what is to happen before a time (s), and go on to it."""
        while self.agenda and self.agenda[0][0] < time_s:
            self._step()
        self.now = self.env._now = time_s

    def _step(self) -> None:
        now_s, _, _, happened = heappop(self.agenda)
        self.now = self.env._now = now_s
        if isinstance(happened, Due):
            happened.call(happened)
            return
        callbacks, happened.callbacks = happened.callbacks, None
        for call in callbacks:
            call(happened)
        if not happened._ok:
            raise happened._value
