"""One aircraft: its pack, what is on board, and its line in the log."""

from __future__ import annotations

import math

from simpy import Process

from simulator.operation.log import DayLog, Reason, State
from simulator.operation.packs import Pack
from simulator.operation.site import Site
from simulator.operation.work import Load
from simulator.plan.aircraft import AircraftPlan


class Aircraft:
    """One aircraft on a rig."""

    def __init__(self, name: str, plan: AircraftPlan, site: Site, log: DayLog) -> None:
        self.name, self.plan, self._site, self._log = name, plan, site, log
        self.pack: Pack | None = None
        self.on_board = 0.0
        """Product on board, L or kg."""
        self.load: Load | None = None
        """What it is about to fly; None while it has nothing to fly."""
        self.need_wh = 0.0
        """Energy of its last load as planned."""
        self.swaps = self.fills = 0
        self.under_repair = self.on_trailer = False
        self.until_failure_s = math.inf
        """Time in the air up to its next breakdown."""
        self.giving = False
        """True while its pack is taken off for another aircraft."""
        self.process: Process | None = None
        """Its sorties, for who ends the day."""
        self._marked_s = 0.0

    @property
    def rests(self) -> bool:
        """True while it cannot fly, or has nothing to fly."""
        return self.under_repair or self.on_trailer or self.name in self._site.idle

    def mark(self, end_s: float, state: str, reason: str = Reason.NONE) -> None:
        """Log its state since the last mark."""
        if end_s > self._marked_s:
            self._log.add(self._marked_s, end_s, self.name, state, reason, self._site.field_name)
            self._marked_s = end_s

    def mark_waits(self, holds: list[tuple[float, Reason]]) -> None:
        """Log what it has waited for, one after the other: the end (s) of each wait, and its reason."""
        for end_s, reason in holds:
            self.mark(end_s, State.WAIT, reason)

    def landed(self, now_s: float) -> None:
        """Go on with the log after a flight, which is logged as a whole."""
        self._marked_s = now_s

    def mark_rest(self, now_s: float) -> None:
        """Log a repair, or why there has been nothing to fly, up to now."""
        reason = Reason.NOT_NEEDED if self.on_trailer else self._site.idle.get(self.name)
        if self.under_repair:
            self.mark(now_s, State.REPAIR, Reason.BREAKDOWN)
        elif reason is not None:
            self.mark(now_s, State.WAIT, reason)

    def mount(self, pack: Pack, now_s: float) -> None:
        """Put a pack on."""
        self.pack = pack
        pack.enter(now_s, State.FLOWN, self._log)

    def flown_with(self) -> Pack:
        """Return its pack."""
        if self.pack is None:
            raise RuntimeError(f"{self.name}: ready to fly without a pack")
        return self.pack
