"""The crew: people, and the tasks and launches that wait for them.

Nobody polls: the crew looks round whenever somebody asks, lands, or may go on, and serves the most urgent first. When a
task ends, its people are handed on to what waits already, once the process that had asked for it has said what comes
next; an aircraft that this makes ready asks for its launch after that.
"""

from __future__ import annotations

from simpy import Environment, Event
from simpy.events import ProcessGenerator

from simulator.operation.launching import Airspace, Launch
from simulator.operation.log import DayLog, Reason, State
from simulator.operation.people import FEED, REFUEL, TURNAROUND, URGENT, By, Person, Task
from simulator.scenario.schema_rig import Crew as CrewTable

_JUST_S = 1e-6
"""A clearance due within this time is given now, whatever the rounding of the clock."""


class Crew:
    """The people of one rig."""

    def __init__(
        self, env: Environment, rig_name: str, table: CrewTable, pumps: int, airspace: Airspace, log: DayLog
    ) -> None:
        self.env, self.table, self.airspace, self.log = env, table, airspace, log
        self.pilots = [Person(f"{rig_name}/pilot {number}") for number in range(1, table.pilots + 1)]
        self.helpers = [Person(f"{rig_name}/helper {number}") for number in range(1, table.helpers + 1)]
        self.people = self.helpers + self.pilots
        self.held_for: Reason | None = None
        """Why the whole crew is kept from its tasks; None while it is at work."""
        # with nobody but pilots, a launch would take away the hands that feed the chargers
        self.feed_urgency = FEED if table.helpers else URGENT
        self._pilot_helps, self._aircraft_per_pilot = table.pilot_helps, table.aircraft_per_pilot
        self._tasks: list[Task] = []
        self._launches: list[Launch] = []
        self._gatherings: list[tuple[Reason, Event]] = []
        self._under_way: list[Task] = []
        self._busy_here = 0
        self._pumps_free = pumps
        self._look_again_s = -1.0
        self._freed = env.event()
        env.process(self.handing_on())

    def handing_on(self) -> ProcessGenerator:
        """Hand on people whose task has ended; the process of the crew."""
        while True:
            yield self._freed
            self._freed = self.env.event()
            self.look_round()

    def look_round(self) -> None:
        """Give free people to what waits."""
        if self._something_waits:
            self._hand_out()

    @property
    def _something_waits(self) -> bool:
        return bool(self._tasks or self._launches or self._gatherings)

    # --- tasks ---

    def do(self, task: Task) -> ProcessGenerator:
        """Wait for people, and keep them for the task: ``yield from crew.do(task)``."""
        granted = self.ask(task)
        if granted is not None:
            yield granted
        yield self.env.timeout(task.duration_s)
        self.finish(task)

    def finish(self, task: Task) -> None:
        """End a task and free its people."""
        self._under_way.remove(task)
        if not task.away:
            self._busy_here -= 1
        if task.pump:
            self._pumps_free += 1
        self._write(task, self.env.now)
        for person in task.hands:
            person.busy = False
        if self._something_waits and not self._freed.triggered:
            self._freed.succeed()

    def hasten(self, task: Task) -> None:
        """Give a task that waits the rank of a turnaround."""
        if not task.started and task.urgency > TURNAROUND:
            task.urgency = TURNAROUND
            self.look_round()

    def ask(self, task: Task) -> Event | None:
        """Start a task that nothing stands before, or queue it: the event is then its start, to be waited for.

        Who asks takes the task's time, and ends it by :meth:`finish`.
        """
        first = self.held_for is None and not self._something_waits
        if first and self._start(task):
            return None
        granted = task.granted = self.env.event()
        self._tasks.append(task)
        if not first:
            self.look_round()
        return granted

    def _start(self, task: Task) -> bool:
        """Start a task if there are people, and a pump where it needs one; else note what is missing."""
        now = self.env.now
        if task.pump and self._pumps_free == 0:
            task.block(now, Reason.PUMP_BUSY)
            return False
        hands = self._free(task.people, task.by, task.urgency)
        if hands is None:
            task.block(now, Reason.CREW_BUSY)
            return False
        task.start_s, task.hands = now, hands
        self._under_way.append(task)
        if not task.away:
            self._busy_here += 1
        if task.pump:
            self._pumps_free -= 1
        for person in hands:
            person.busy = True
        if task.granted is not None:
            task.granted.succeed()
        return True

    def _free(self, number: int, by: By, urgency: int) -> list[Person] | None:
        """Return that many free people, helpers first, or None.

        A pilot who has helpers leaves work ahead of need to them: a batch begun now would keep him from the next
        launch.
        """
        found: list[Person] = []
        if number == 0:
            return found
        if by != "pilot":
            for person in self.helpers:
                if not person.busy:
                    found.append(person)
                    if len(found) == number:
                        return found
        pilots_help = self._pilot_helps and (urgency < REFUEL or len(self.helpers) < number)
        if by == "pilot" or (by == "anyone" and pilots_help):
            for person in self.pilots:
                if not person.busy and (person.watching == 0 or by == "pilot"):
                    found.append(person)
                    if len(found) == number:
                        return found
        return None

    def _write(self, task: Task, end_s: float) -> None:
        for person in task.hands:
            self.log.add(task.start_s, end_s, person.name, State.TASK, task.kind, task.subject)

    # --- everybody ---

    @property
    def present(self) -> list[Person]:
        """Return who is at the rig and free."""
        return [person for person in self.people if not person.busy]

    def gather(self, why: Reason) -> Event:
        """Ask for the whole crew; the event is that nobody works at the rig and nothing flies, until `release`."""
        gathered = self.env.event()
        self._gatherings.append((why, gathered))
        self.look_round()
        return gathered

    def release(self) -> None:
        """Let everybody go on with their tasks."""
        self.held_for = None
        self.look_round()

    def withdraw(self) -> None:
        """Forget every task and launch that waits: the day is over."""
        self._tasks.clear()
        self._launches.clear()

    def close(self, end_s: float) -> None:
        """Write the tasks of those who are still away when the day has ended."""
        for task in self._under_way:
            self._write(task, end_s)

    # --- launches ---

    def ask_launch(self, launch: Launch) -> None:
        """Clear an aircraft for take-off now, or as soon as pilot, airspace and weather allow: `launch.decided`."""
        first = self.held_for is None and not self._something_waits
        if first and self._clears(launch):
            return
        launch.decided = self.env.event()
        self._launches.append(launch)
        if not first:
            self.look_round()

    def end_check(self, launch: Launch) -> None:
        """Free the pilot's hands after a launch check; the eyes stay on the aircraft."""
        now, pilot = self.env.now, launch.watched_by()
        pilot.busy = False
        self._busy_here -= 1
        self.log.add(now - launch.check_s, now, pilot.name, State.TASK, Reason.LAUNCH_CHECK, launch.aircraft)
        self.look_round()

    def end_watch(self, launch: Launch, flown: bool = True) -> None:
        """Let the pilot look away: the aircraft has landed, or does not take off."""
        launch.watched_by().watching -= 1
        self.airspace.leave(launch, flown)
        self.look_round()

    def _clears(self, launch: Launch) -> bool:
        """Decide a launch if it can be decided now; else note what keeps it on the ground."""
        now = self.env.now
        if self.airspace.weather_stopped:
            launch.block(now, Reason.WEATHER)
            return False
        pilot = self._watcher()
        if pilot is None:
            launch.block(now, Reason.PILOT_BUSY)
            return False
        clear_s = self.airspace.clear_from_s(launch, now)
        if clear_s > now + _JUST_S:
            launch.block(now, Reason.SEPARATION)
            self._look_again(clear_s)
            return False
        if self.airspace.enter(launch, now):
            launch.pilot = pilot
            pilot.watching += 1
            if launch.check_s > 0.0:
                pilot.busy = True
                self._busy_here += 1
        if launch.decided is not None:
            launch.decided.succeed()
        return True

    def _watcher(self) -> Person | None:
        """Return the pilot to watch one more aircraft: who watches most already, so that others keep hands free."""
        best: Person | None = None
        for pilot in self.pilots:
            can_watch = not pilot.busy and pilot.watching < self._aircraft_per_pilot
            if can_watch and (best is None or pilot.watching > best.watching):
                best = pilot
        return best

    def _look_again(self, time_s: float) -> None:
        """See to it that the crew looks round at a time, unless it does before."""
        if not self.env.now < self._look_again_s <= time_s:
            self._look_again_s = time_s
            self.env.timeout(time_s - self.env.now).callbacks.append(lambda _: self.look_round())

    # --- handing out ---

    def _hand_out(self) -> None:
        """Give people to what waits: the whole crew first, then the urgent, launches, and the rest by urgency."""
        nobody_works = self._busy_here == 0 and not any(pilot.watching for pilot in self.pilots)
        if self._gatherings and self.held_for is None and nobody_works:
            self.held_for, gathered = self._gatherings.pop(0)
            gathered.succeed()
        kept = self.held_for if self.held_for is not None else self._gatherings[0][0] if self._gatherings else None
        if kept is not None:
            for wish in [*self._tasks, *self._launches]:
                wish.block(self.env.now, kept)
            return
        self._tasks.sort(key=_urgency)
        if self._tasks and self._tasks[0].urgency == URGENT:
            self._tasks = [task for task in self._tasks if task.urgency > URGENT or not self._start(task)]
        self._launches = [launch for launch in self._launches if not self._clears(launch)]
        self._tasks = [task for task in self._tasks if not self._start(task)]


def _urgency(task: Task) -> int:
    return task.urgency
