"""Where a rig stands: the field that is open for flying, and the word between trailer and aircraft about it."""

from __future__ import annotations

from simpy import Environment, Event

from simulator.operation.log import Reason
from simulator.operation.work import Visit


class Site:
    """The landing zone of a rig, between its trailer and its aircraft."""

    def __init__(self, env: Environment, last_landing_s: float) -> None:
        self._env, self._last_landing_s = env, last_landing_s
        self._aircraft = 0
        self.visit: Visit | None = None
        """The field the rig flies; None on the road and until it first stands ready."""
        self.is_open = False
        """Whether the rig stands ready to fly it."""
        self.closed = False
        """Whether the day is over for this rig."""
        self.out_of_reach_m2 = 0.0
        self.idle: dict[str, Reason] = {}
        """Aircraft with nothing to fly, and why."""
        self.opened, self.work_back = env.event(), env.event()
        """The rig next stands ready at a field; there may be work again for aircraft at rest."""
        self._left: Event | None = None

    @property
    def field_name(self) -> str:
        """Name of the field the rig stands at; empty on the road."""
        return self.visit.plan.name if self.visit is not None and self.is_open else ""

    def until_s(self, visit: Visit) -> float:
        """Return the last landing on a field: the day's, or the field's when it is no longer open before."""
        return min(self._last_landing_s, visit.plan.open_until_s)

    def open(self, visit: Visit, aircraft: int) -> Event:
        """Let so many aircraft fly; the event is that there is nothing left that can be flown from here."""
        self.visit, self.is_open, self._aircraft = visit, True, aircraft
        left = self._left = self._env.event()
        opened, self.opened = self.opened, self._env.event()
        opened.succeed()
        self._wake_idle()
        return left

    def rest(self, aircraft: str, reason: Reason) -> Event:
        """Note that an aircraft has nothing to fly; the event is that there may be something again."""
        self.idle[aircraft] = reason
        self.check_left()
        return self.work_back

    def after_landing(self, visit: Visit) -> None:
        """Wake idle aircraft when work was given back; else see whether the rig may leave."""
        if visit is self.visit and visit.opening() is not None:
            self._wake_idle()
        else:
            self.check_left()

    def check_left(self) -> None:
        """Let the trailer go on once nothing flies, and nothing is left or everybody has done what the day allows."""
        visit, left = self.visit, self._left
        if visit is None or left is None or left.triggered or visit.active > 0:
            return
        late = [reason for reason in self.idle.values() if reason is Reason.DAY_END]
        if visit.opening() is None or len(late) == self._aircraft:
            left.succeed()

    def close(self) -> None:
        """End the day for this rig: nothing starts any more."""
        self.closed = True
        if self._left is not None and not self._left.triggered:
            self._left.succeed()

    def _wake_idle(self) -> None:
        if not self.idle:
            return
        work_back, self.work_back = self.work_back, self._env.event()
        work_back.succeed()
