"""The one extension of SimPy that the model uses: an event that its maker fires after a delay.

A process that waits for the crew, a pack or the trailer holds a :class:`Signal`; whoever ends the wait fires it, now or
after the time that the task takes. So a task costs one event on the agenda: no request, no release, no polling.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from simpy.core import Environment
from simpy.events import NORMAL, PENDING, Event, Timeout


class Signal(Event):
    """An event that can be fired once, now or after a delay."""

    __slots__ = ()

    def fire(self, delay_s: float = 0.0, value: Any = None) -> None:
        """Trigger the event ``delay_s`` seconds from now.

        Raises
        ------
        RuntimeError
            The event was fired before.
        """
        if self._value is not PENDING:
            raise RuntimeError("a signal is fired once")
        self._ok = True
        self._value = value
        self.env.schedule(self, NORMAL, delay_s)


def call_after(env: Environment, delay_s: float, call: Callable[[Event], None]) -> Timeout:
    """Call a function ``delay_s`` seconds from now and return the event that does it."""
    event = Timeout(env, delay_s)
    event.callbacks.append(call)
    return event
