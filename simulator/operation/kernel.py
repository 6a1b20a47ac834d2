"""What the model adds to SimPy: events that their maker fires, short processes, and a clock without detours.

A process that waits for the crew, a pack or the trailer holds a :class:`Signal`; whoever ends the wait fires it, now or
after the time that the task takes. So a task costs one event on the agenda: no request, no release, no polling. The
events here have what SimPy's loop and processes ask of an event, and no more; they stand on SimPy's own agenda among
its events. :class:`DayClock` is SimPy's environment with its loop written out, since a day is little else than that
loop.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
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
    env : simpy.Environment
        Clock.
    """

    __slots__ = ("_ok", "_value", "callbacks", "env", "triggered")

    def __init__(self, env: Environment) -> None:
        self.env = env
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
        env = self.env
        heappush(env._queue, (env._now + delay_s, NORMAL, next(env._eid), self))  # type: ignore[misc]


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


def call_after(env: Environment, delay_s: float, call: Callable[[Due], object]) -> Due:
    """Call a function ``delay_s`` seconds from now and return the event that does it."""
    due = Due(call)
    heappush(env._queue, (env._now + delay_s, NORMAL, next(env._eid), due))  # type: ignore[misc]
    return due


def wait(env: Environment, delay_s: float) -> Signal:
    """Return an event that happens ``delay_s`` seconds from now, for a process to wait for."""
    signal = Signal(env)
    signal.fire(delay_s)
    return signal


class Walk:
    """Takes a process from event to event, as SimPy's ``Process`` does; nobody can wait for it or interrupt it.

    Parameters
    ----------
    env : simpy.Environment
        Clock.
    steps : generator
        The process; it begins at this moment, before anything else.
    """

    __slots__ = ("_steps",)

    def __init__(self, env: Environment, steps: Steps) -> None:
        self._steps = steps
        heappush(env._queue, (env._now, URGENT, next(env._eid), Due(self.go_on)))  # type: ignore[misc]

    def go_on(self, _: object) -> None:
        """Go on to the next event that has not happened yet."""
        for event in self._steps:
            if event.callbacks is not None:
                event.callbacks.append(self.go_on)
                return


class DayClock(Environment):
    """SimPy's environment, with ``now`` as a plain attribute (s from the start of the day)."""

    now = 0.0

    def step(self) -> None:
        """Process the next event."""
        self.now = self._queue[0][0] if self._queue else self.now
        super().step()

    def run_to(self, event: Any) -> None:
        """Process events until one has happened.

        Raises
        ------
        RuntimeError
            The agenda is empty before.
        """
        queue: list[tuple[float, int, int, Any]] = self._queue  # type: ignore[assignment]
        while event.callbacks is not None:
            if not queue:
                raise RuntimeError("the agenda is empty, but the event has not happened")
            now_s, _, _, happened = heappop(queue)
            self.now = self._now = now_s
            if isinstance(happened, Due):
                happened.call(happened)
            else:
                _happen(happened)


def _happen(event: Any) -> None:
    callbacks, event.callbacks = event.callbacks, None
    for call in callbacks:
        call(event)
    if not event._ok:
        raise event._value
