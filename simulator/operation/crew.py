"""The crew: people, the tasks that wait for them, and the pilots' watch.

Nobody polls. Whoever ends something (a task, a landing, a break) calls :meth:`Crew.dispatch`, which hands free people
to what waits, whoever can take off soonest first.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

from simulator.operation.kernel import DayClock, Due, call_after
from simulator.operation.log import DayLog, Reason, State
from simulator.scenario.schema_rig import Crew as CrewTable

if TYPE_CHECKING:
    from simulator.operation.sortie import AircraftUnit

By = Literal["anyone", "helper", "pilot"]

URGENT, TURNAROUND, FEED, AHEAD = 0, 2, 3, 5
"""Order of tasks: what holds up everything; an aircraft's turnaround; packs to chargers; work ahead of need.

Launches stand between ``URGENT`` and ``TURNAROUND``.
"""
_JUST_S = 1e-6
"""A clearance due within this time is given now, whatever the rounding of the clock."""


class Person:
    """One member of the crew."""

    __slots__ = ("busy", "is_pilot", "name", "watching")

    def __init__(self, name: str, is_pilot: bool) -> None:
        self.name, self.is_pilot = name, is_pilot
        self.busy = False
        self.watching = 0


class Job:
    """A task that waits for people, or is being done.

    One that is done ``away`` from the rig (fetching water) holds up neither a break nor a move: who is away joins
    later.
    """

    __slots__ = (
        "away",
        "begin",
        "blocked",
        "by",
        "call",
        "crew",
        "duration_s",
        "hands",
        "holds",
        "kind",
        "people",
        "priority",
        "pump",
        "start_s",
        "subject",
    )

    def __init__(
        self,
        kind: Reason,
        duration_s: float,
        people: int,
        by: By,
        priority: int,
        call: Callable[[Job], None],
        subject: str = "",
        pump: bool = False,
        away: bool = False,
    ) -> None:
        self.kind, self.duration_s, self.people, self.by, self.priority = kind, duration_s, people, by, priority
        self.call, self.subject, self.pump, self.away = call, subject, pump, away
        self.begin: Callable[[], None] | None = None
        self.start_s: float | None = None
        self.blocked = Reason.CREW_BUSY
        self.holds: list[tuple[float, Reason]] = []
        self.crew: Crew | None = None
        self.hands: list[Person] = []

    def ended(self, _: Due) -> None:
        """Tell the crew that the time is over that the task takes."""
        if self.crew is not None:
            self.crew.finish(self)

    def block(self, now_s: float, reason: Reason) -> None:
        """Note why the task cannot start from now on; what it had waited for until now is kept in ``holds``."""
        if reason is not self.blocked:
            self.holds.append((now_s, self.blocked))
            self.blocked = reason


class Crew:
    """The people of one rig.

    Parameters
    ----------
    clock : DayClock
        Clock.
    rig_name : str
        For the people's names.
    table : CrewTable
        Numbers and rules.
    pumps : int
        Aircraft that can be filled at the same time.
    log : DayLog
        The day's log.
    """

    def __init__(self, clock: DayClock, rig_name: str, table: CrewTable, pumps: int, log: DayLog) -> None:
        self.clock, self.table, self.log = clock, table, log
        self.pilots = [Person(f"{rig_name}/pilot {number}", True) for number in range(1, table.pilots + 1)]
        self.helpers = [Person(f"{rig_name}/helper {number}", False) for number in range(1, table.helpers + 1)]
        self.people = self.helpers + self.pilots
        self._pilot_helps, self._aircraft_per_pilot = table.pilot_helps, table.aircraft_per_pilot
        self._jobs: list[Job] = []
        self._launches: list[AircraftUnit] = []
        self._running = 0
        self._pumps_free = pumps
        self._seizes: list[tuple[Reason, Callable[[], None]]] = []
        self.held_for: Reason | None = None
        self.weather_stopped = False
        self._retry_s = -1.0
        self._dispatching = False
        self._again = False
        # with nobody but pilots, a launch would take away the hands that feed the chargers
        self.feed_priority = FEED if table.helpers else URGENT

    def request(self, job: Job) -> None:
        """Queue a task and start it if people are free."""
        self._jobs.append(job)
        self.dispatch()

    def request_launch(self, unit: AircraftUnit) -> None:
        """Queue an aircraft that is ready to take off."""
        self._launches.append(unit)
        self.dispatch()

    def withdraw(self) -> None:
        """Forget every task and launch that waits: the day is over."""
        self._jobs.clear()
        self._launches.clear()

    def seize(self, why: Reason, call: Callable[[], None]) -> None:
        """Ask for the whole crew.

        ``call`` runs once nobody works at the rig and nothing flies, until :meth:`release`.
        """
        self._seizes.append((why, call))
        self.dispatch()

    def release(self) -> None:
        """Give the crew back."""
        self.held_for = None
        self.dispatch()

    def landed(self, pilot: Person) -> None:
        """End a pilot's watch over one aircraft."""
        pilot.watching -= 1
        self.dispatch()

    @property
    def present(self) -> list[Person]:
        """Return who is at the rig and free."""
        return [person for person in self.people if not person.busy]

    def dispatch(self) -> None:
        """Hand free people to what waits.

        What a start sets off (a source that stops, a pack that comes free) may ask for people in its turn: such a call
        is noted and made good afterwards, so that no list changes under its reader.
        """
        if self._dispatching:
            self._again = True
            return
        if not (self._jobs or self._launches or self._seizes):
            return
        self._dispatching = self._again = True
        while self._again:
            self._again = False
            self._dispatch()
        self._dispatching = False

    def hasten(self, job: Job) -> None:
        """Give a task that waits the rank of a turnaround."""
        if job.start_s is None and job.priority > TURNAROUND:
            job.priority = TURNAROUND
            self.dispatch()

    def _dispatch(self) -> None:
        if self._seizes and self.held_for is None and self._running == 0 and not any(p.watching for p in self.pilots):
            why, call = self._seizes.pop(0)
            self.held_for = why
            call()
            return
        stopped = self.held_for
        if stopped is None and self._seizes:
            stopped = self._seizes[0][0]
        if stopped is not None:
            for job in self._jobs:
                job.block(self.clock.now, stopped)
            for unit in self._launches:
                unit.hold(stopped)
            return
        if len(self._jobs) > 1:
            self._jobs.sort(key=_priority)
        if self._jobs and self._jobs[0].priority == URGENT:
            self._start_jobs(urgent=True)
        if self._launches:
            self._start_launches()
        if self._jobs:
            self._start_jobs(urgent=False)

    def _start_jobs(self, urgent: bool) -> None:
        left: list[Job] = []
        for place, job in enumerate(self._jobs):
            if urgent and job.priority != URGENT:
                left += self._jobs[place:]
                break
            if job.pump and self._pumps_free == 0:
                job.block(self.clock.now, Reason.PUMP_BUSY)
                left.append(job)
                continue
            people = self._free(job.people, job.by, job.priority)
            if people is None:
                job.block(self.clock.now, Reason.CREW_BUSY)
                left.append(job)
                continue
            self._start(job, people)
        self._jobs = left

    def _free(self, number: int, by: By, priority: int) -> list[Person] | None:
        """Return that many free people, helpers first, or None.

        A pilot who has helpers leaves work ahead of need to them: a batch begun now would keep him from the next
        launch.
        """
        if number == 0:
            return []
        found: list[Person] = []
        if by != "pilot":
            for person in self.helpers:
                if not person.busy:
                    found.append(person)
                    if len(found) == number:
                        return found
        pilots_help = self._pilot_helps and (priority < AHEAD - 1 or len(self.helpers) < number)
        if by == "pilot" or (by == "anyone" and pilots_help):
            for person in self.pilots:
                if not person.busy and (person.watching == 0 or by == "pilot"):
                    found.append(person)
                    if len(found) == number:
                        return found
        return None

    def _start(self, job: Job, people: list[Person]) -> None:
        now = self.clock.now
        job.start_s = now
        job.crew, job.hands = self, people
        if not job.away:
            self._running += 1
        if job.begin is not None:
            job.begin()
        if job.pump:
            self._pumps_free -= 1
        end = now + job.duration_s
        for person in people:
            person.busy = True
            self.log.add(now, end, person.name, State.TASK, job.kind, job.subject)
        call_after(self.clock, job.duration_s, job.ended)

    def finish(self, job: Job) -> None:
        """End a task: free its people, do what follows from it, and see who can go on."""
        if not job.away:
            self._running -= 1
        if job.pump:
            self._pumps_free += 1
        for person in job.hands:
            person.busy = False
        job.call(job)
        self.dispatch()

    def _start_launches(self) -> None:
        now = self.clock.now
        left: list[AircraftUnit] = []
        retry = -1.0
        for unit in self._launches:
            if self.weather_stopped:
                unit.hold(Reason.WEATHER)
                left.append(unit)
                continue
            pilot = self._watcher()
            if pilot is None:
                unit.hold(Reason.PILOT_BUSY)
                left.append(unit)
                continue
            until = unit.clear_from_s(now)
            if until > now + _JUST_S:
                unit.hold(Reason.SEPARATION)
                left.append(unit)
                retry = until if retry < 0 else min(retry, until)
                continue
            if unit.prepare(now):
                self._grant(unit, pilot)
        self._launches = left
        if retry >= 0 and not now < self._retry_s <= retry:
            self._retry_s = retry
            call_after(self.clock, retry - now, lambda _: self.dispatch())

    def _watcher(self) -> Person | None:
        """Return the pilot to watch one more aircraft.

        Who watches most already, so that others keep their hands free.
        """
        best = None
        for pilot in self.pilots:
            if (
                not pilot.busy
                and pilot.watching < self._aircraft_per_pilot
                and (best is None or pilot.watching > best.watching)
            ):
                best = pilot
        return best

    def _grant(self, unit: AircraftUnit, pilot: Person) -> None:
        now, check_s = self.clock.now, unit.check_s
        pilot.watching += 1
        if check_s <= 0.0:
            unit.launch(pilot)
            return
        pilot.busy = True
        self._running += 1
        self.log.add(now, now + check_s, pilot.name, State.TASK, Reason.LAUNCH_CHECK, unit.name)

        def checked(_: Due) -> None:
            pilot.busy = False
            self._running -= 1
            unit.launch(pilot)
            self.dispatch()

        call_after(self.clock, check_s, checked)


def _priority(job: Job) -> int:
    return job.priority
