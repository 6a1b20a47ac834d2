"""People, and what waits for them."""

from __future__ import annotations

from typing import Literal

from simpy import Event

from simulator.operation.log import Reason

By = Literal["anyone", "helper", "pilot"]

URGENT, TURNAROUND, FEED, REFUEL, AHEAD = 0, 2, 3, 4, 5
"""Order of tasks: what holds up everything; an aircraft's turnaround; packs to chargers; fuel and work ahead of need.

Launches stand between ``URGENT`` and ``TURNAROUND``.
"""


class Wish:
    """What waits for people, and what has kept it waiting so far."""

    blocked: Reason
    holds: list[tuple[float, Reason]]

    def block(self, now_s: float, reason: Reason) -> None:
        """Note why it cannot start from now on; what it had waited for until now is kept in ``holds``."""
        if reason is not self.blocked:
            self.holds.append((now_s, self.blocked))
            self.blocked = reason


class Person:
    """One member of the crew; a pilot watches aircraft in the air with free hands."""

    __slots__ = ("busy", "name", "watching")

    def __init__(self, name: str) -> None:
        self.name = name
        self.busy = False
        self.watching = 0


class Task(Wish):
    """Something that people do.

    One that is done ``away`` from the rig (fetching water) holds up neither a break nor a move: who is away joins
    later.
    """

    def __init__(
        self,
        kind: Reason,
        duration_s: float,
        people: int,
        by: By,
        urgency: int,
        subject: str = "",
        pump: bool = False,
        away: bool = False,
    ) -> None:
        self.blocked, self.holds = Reason.CREW_BUSY, []
        self.kind, self.duration_s, self.people, self.by, self.urgency = kind, duration_s, people, by, urgency
        self.subject, self.pump, self.away = subject, pump, away
        self.start_s = -1.0
        self.hands: list[Person] = []
        self.granted: Event | None = None

    @property
    def started(self) -> bool:
        """True once people are at it."""
        return self.start_s >= 0.0
