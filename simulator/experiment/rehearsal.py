"""Rehearsal: what a crew of experience has learnt to do, found by trying it on a few days of its own.

How many aircraft come off the trailer, how full they fly and from where, when packs are taken and swapped, whose are
charged first and how much is mixed at once depends on everything else. The plan estimates it from mean times; here the
model itself is asked whether another way gets more done.
"""

from __future__ import annotations

import math
import pickle
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from hashlib import sha256
from itertools import accumulate, count, islice, product
from typing import Any, NamedTuple

from simulator.operation.day import SimulatedDay, work_day
from simulator.operation.log import Kind, Reason, State
from simulator.operation.morning import Morning, first_morning, next_morning
from simulator.operation.work import WorkList
from simulator.plan.day_plan import MOST_LOADS, DayPlan, Habits, RigPlan, with_zones_for
from simulator.plan.field_work import FieldWork
from simulator.scenario.streams import StreamBank

_SEED = 0x5EED0FCE
_DAYS = 3
"""Work days of a rehearsal, at most; each begins at another place of the list."""
_HEATS = ((1, 0.92), (3, 0.97), (6, 0.985), (12, 0.999))
"""Days that each way is tried in all, and the share of the best by which the ways stay in that come close to it."""
_STEP, _LIGHTEST, _HEAVIEST = 1.12, 0.45, 1.6
"""Loads that differ by this factor are tried, between these parts of the estimated one."""
_GOLDEN = 0.618
"""Rehearsals begin this part of the list apart, which spreads any number of them over it."""
_MOST_COUNTS = 16
"""Numbers of aircraft that are tried, by class; of more, only those with all classes but one whole."""
_SOONER = 2
"""Loads by which packs are swapped sooner, at most."""
_HALVINGS = 2
_NEARLY_FULL = 0.95
"""Landing zones suit loads of this share of a full one."""
_ROUNDS = 3
_LEAST_WAITED = 0.01
"""Where aircraft wait for less of their time, only other loads are tried: the rest could save no more than that."""
_SAVED = (
    Reason.TOO_FEW_PACKS, Reason.CHARGERS_BUSY, Reason.GENERATOR_LIMITED, Reason.CREW_BUSY, Reason.PUMP_BUSY,
    Reason.NO_MIX, Reason.PILOT_BUSY, Reason.SEPARATION, Reason.NO_WORK_HERE, Reason.NOT_NEEDED,
)  # fmt: skip


@lru_cache(maxsize=1)
def _bank() -> StreamBank:
    return StreamBank(_SEED)


def rehearsed(plan: DayPlan) -> DayPlan:
    """Return a plan with what each rig's crew has learnt; it depends on the plan alone, and is tried out once."""
    if plan.learnt:
        return plan
    if not plan.rehearsals:
        # the same set, loaded anew, has been tried out already
        key = sha256(pickle.dumps(plan)).digest()
        if key not in _KNOWN:
            trial = _Trial(plan)
            for place in range(len(plan.rigs)):
                trial.settle(place)
            trial.move_zones()
            _KNOWN[key] = _ways(trial.best.plan)
        take_up(plan, _KNOWN[key])
    return plan.rehearsals[0]


class Ways(NamedTuple):
    """What crews have learnt: how each rig works each field, its habits, and for what share of a load zones are."""

    work: dict[str, tuple[FieldWork, ...]]
    habits: tuple[Habits, ...]
    zones_for: float


def ways_of(plan: DayPlan) -> Ways:
    """Return what the crews of a plan have learnt, after its rehearsal."""
    return _ways(rehearsed(plan))


def _ways(plan: DayPlan) -> Ways:
    return Ways(plan.work, tuple(rig.habits for rig in plan.rigs), plan.zones_for)


def take_up(plan: DayPlan, ways: Ways) -> None:
    """Let a plan know what was learnt elsewhere."""
    if not plan.rehearsals:
        rigs = tuple(replace(rig, habits=habits) for rig, habits in zip(plan.rigs, ways.habits, strict=True))
        learnt = replace(plan, work=ways.work, rigs=rigs, learnt=True)
        plan.rehearsals.append(learnt if ways.zones_for == 1.0 else with_zones_for(learnt, ways.zones_for))


_KNOWN: dict[bytes, Ways] = {}


class _Day(NamedTuple):
    """One day of rehearsal: area done, time until the list was done or the day over, aircraft time and waits."""

    done_m2: float
    used_s: float
    aircraft_s: float
    waited_s: float
    most_loads: tuple[int, ...]
    """By rig, loads flown on a charge."""


class _Way:
    """A way of working a plan, and how its rehearsals went."""

    def __init__(self, plan: DayPlan) -> None:
        self.plan = plan
        self.days: list[_Day] = []
        self._coming = _rehearsals(plan)

    def done(self, days: int) -> float:
        """Return what gets done in the first days, by the time it takes."""
        self.days += islice(self._coming, max(0, days - len(self.days)))
        used_s = math.fsum([one.used_s for one in self.days[:days]])
        return math.fsum([one.done_m2 for one in self.days[:days]]) / used_s

    def waits(self) -> bool:
        """Tell whether aircraft wait for so much of their time that another way may be better."""
        self.done(_DAYS)
        waited_s = math.fsum([one.waited_s for one in self.days[:_DAYS]])
        return waited_s >= _LEAST_WAITED * math.fsum([one.aircraft_s for one in self.days[:_DAYS]])


class _Trial:
    """Ways of working a plan, of which the best is kept.

    The ways do not depend on where the search stands: with one more of anything, what was best without it is tried too.
    """

    def __init__(self, plan: DayPlan) -> None:
        self._estimated = plan
        self.best = _Way(plan)
        self._tried = {_key(plan): self.best}

    def settle(self, place: int) -> None:
        """Choose a rig's ways, one kind after the other, until none changes."""
        if not self.best.waits():
            self._race([self._way(plan) for plan in self._fills(place)])
            return
        for _ in range(_ROUNDS):
            before = self.best
            for others in (self._counts, self._fills, self._early, self._fed, self._swapped, self._mixed):
                self._race([self._way(plan) for plan in others(place)])
            if self.best is before:
                return

    def _way(self, plan: DayPlan) -> _Way:
        return self._tried.setdefault(_key(plan), _Way(plan))

    def _race(self, ways: list[_Way]) -> None:
        """Keep the best, or among those that come close to it the one with the fewest aircraft."""
        ways = list(dict.fromkeys([self.best, *ways]))
        for number, close in _HEATS:
            if len(ways) > 1:
                least = close * max(one.done(number) for one in ways)
                ways = [one for one in ways if one.done(number) >= least]
        self.best = min(ways, key=lambda one: (_unloaded(one.plan), -one.done(number)))

    def _counts(self, place: int) -> Iterator[DayPlan]:
        """Yield plans with other numbers of aircraft off the trailer: at most so many, or as many everywhere."""
        rig = self._estimated.rigs[place]
        if rig.rig.unload == "all":
            return
        estimated = self._estimated.work[rig.name]
        most = [number for _, number in rig.aircraft]
        for counts in _numbers(most):
            for at_most in (True, False):
                works = []
                for work, guess in zip(self.best.plan.work[rig.name], estimated, strict=True):
                    fewer = tuple(map(min, guess.unloaded, counts))
                    works.append(replace(work, unloaded=fewer if at_most and any(fewer) else counts))
                yield self._working(rig.name, works)

    def _fills(self, place: int) -> Iterator[DayPlan]:
        """Yield plans whose loads are as estimated, full, or of areas that do not depend on what full is."""
        name = self._estimated.rigs[place].name
        estimated = zip(self.best.plan.work[name], self._estimated.work[name], strict=True)
        yield self._working(name, [replace(one, load_m2=guess.load_m2) for one, guess in estimated])
        yield self._filled(name, 1.0)
        first = self._estimated.work[name][0]
        full_m2, load_m2 = first.full_m2[0], min(first.full_m2[0], first.load_m2[0])
        power = math.floor(math.log(min(full_m2, _HEAVIEST * load_m2), _STEP))
        while _STEP**power >= _LIGHTEST * load_m2:
            yield self._filled(name, _STEP**power / full_m2)
            power -= 1

    def _filled(self, name: str, part: float) -> DayPlan:
        works = self.best.plan.work[name]
        return self._working(name, [replace(one, load_m2=tuple(part * m2 for m2 in one.full_m2)) for one in works])

    def _working(self, name: str, works: list[FieldWork]) -> DayPlan:
        return replace(self.best.plan, work={**self.best.plan.work, name: tuple(works)})

    def _early(self, place: int) -> Iterator[DayPlan]:
        """Yield plans whose packs are taken early, if ever, and not."""
        for early in {self._estimated.rigs[place].habits.take_early, False}:
            yield self._with(place, take_early=early)

    def _fed(self, place: int) -> Iterator[DayPlan]:
        """Yield plans whose chargers feed each class first, or that of which fewer packs are ready."""
        rig = self.best.plan.rigs[place]
        if len({pack.fits for pack, _ in rig.packs}) > 1:
            for name in ("", *(aircraft.name for aircraft, _ in rig.aircraft)):
                yield self._with(place, fed_first=name)

    def _swapped(self, place: int) -> Iterator[DayPlan]:
        """Yield plans whose packs are swapped sooner than their charge demands."""
        self.best.done(_DAYS)
        most = max(day.most_loads[place] for day in self.best.days)
        for loads in (MOST_LOADS, *range(most - 1, max(0, most - 1 - _SOONER), -1)):
            yield self._with(place, loads_on_charge=loads)

    def _mixed(self, place: int) -> Iterator[DayPlan]:
        """Yield plans with smaller batches, each of which holds a load of every aircraft."""
        plan, rig = self.best.plan, self.best.plan.rigs[place]
        if plan.scenario.product.kind == "liquid":
            largest = rig.rig.supply.largest_batch
            least = sum(entry.capacity_units * number for entry, number in rig.aircraft)
            for halvings in range(_HALVINGS + 1):
                if halvings == 0 or largest * 0.5**halvings >= least:
                    yield self._with(place, batch_share=0.5**halvings)

    def _with(self, place: int, **habit: Any) -> DayPlan:
        now = self.best.plan
        rig = replace(now.rigs[place], habits=replace(now.rigs[place].habits, **habit))
        return replace(now, rigs=(*now.rigs[:place], rig, *now.rigs[place + 1 :]))

    def move_zones(self) -> None:
        """Try landing zones that suit the loads that are flown, where they follow the work and loads are not full."""
        if self.best.plan.scenario.flying.landing_zone != "follows":
            return
        works = [one for works in self.best.plan.work.values() for one in works]
        full_m2 = math.fsum([m2 for one in works for m2 in one.full_m2])
        share = min(1.0, math.fsum([m2 for one in works for m2 in one.load_m2]) / full_m2)
        if share < _NEARLY_FULL:
            other = with_zones_for(self.best.plan, share)
            if [one.stations for one in other.fields] != [one.stations for one in self.best.plan.fields]:
                self._race([self._way(other)])


def _key(plan: DayPlan) -> object:
    works = tuple(
        (one.unloaded, *(round(m2, 3) for m2 in one.load_m2)) for works in plan.work.values() for one in works
    )
    return works, tuple(rig.habits for rig in plan.rigs), plan.zones_for


def _numbers(most: list[int]) -> list[tuple[int, ...]]:
    """Return the numbers of each class that may come off the trailer."""
    every = [range(number + 1) for number in most]
    if math.prod(map(len, every)) > _MOST_COUNTS:
        one_class = ((place, number) for place, numbers in enumerate(every) for number in numbers)
        return [
            (*most[:place], number, *most[place + 1 :])
            for place, number in one_class
            if sum(most) - most[place] + number
        ]
    return [counts for counts in product(*every) if sum(counts)]


def _unloaded(plan: DayPlan) -> int:
    return sum(sum(one.unloaded) for works in plan.work.values() for one in works)


def _rehearsals(plan: DayPlan) -> Iterator[_Day]:
    """Yield the days of rehearsals, one after the other."""
    day_s = plan.last_landing_s
    for stay in count():
        order, flown_m2 = _from_share(plan, (stay * _GOLDEN) % 1.0)
        work = WorkList(plan.fields, replace(plan.geography, order=order), plan.scenario.work != "once")
        work.begin_within(flown_m2)
        mornings: Sequence[Morning] = first_morning(plan)
        for place in range(_DAYS):
            day = work_day(plan, _bank().day(stay, place), stay, place + 1, work, mornings)
            work.new_day()
            kinds, until_s = day.log.kinds, day.log.paid_until_s
            waits = [row for row in day.log.rows if row.state == State.WAIT and row.reason in _SAVED]
            yield _Day(
                math.fsum([one.area_to_m2 - one.area_from_m2 for one in day.log.sorties]),
                min(until_s, day_s) if work.all_finished else day_s,
                until_s * sum(number for rig in plan.rigs for _, number in rig.aircraft),
                math.fsum([one.end_s - one.start_s for one in waits if kinds[one.entity] == Kind.AIRCRAFT]),
                tuple(_most_loads(day, rig) for rig in plan.rigs),
            )
            if work.all_finished or place + 1 == _DAYS:
                break
            ends = zip(plan.rigs, day.ends, strict=True)
            mornings = [next_morning(plan, rig, end)[0] for rig, end in ends]


def _most_loads(day: SimulatedDay, rig: RigPlan) -> int:
    return max([one.number_on_charge for one in day.log.sorties if one.pack in rig.pack_types], default=0)


def _from_share(plan: DayPlan, share: float) -> tuple[tuple[int, ...], float]:
    """Return the order of fields from where that share of the area has been done, and what was done of the first."""
    order, done_m2 = plan.geography.order, share * plan.list_m2
    before = list(accumulate((plan.fields[index].area_m2 for index in order), initial=0.0))
    first = max(place for place in range(len(order)) if before[place] <= done_m2)
    return (*order[first:], *order[:first]), done_m2 - before[first]
