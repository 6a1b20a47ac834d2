"""Rehearsal: what a crew of experience has learnt to do, found by trying it on a few days of its own.

How many aircraft come off the trailer, whether they fly full and whether packs are taken early depends on everything
else. The plan estimates it from mean times; here the model itself is asked whether another way gets more done.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import accumulate
from typing import NamedTuple

from simulator.operation.day import work_day
from simulator.operation.log import Kind, Reason, State
from simulator.operation.morning import Morning, first_morning, next_morning
from simulator.operation.work import WorkList
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.plan.field_work import FieldWork
from simulator.scenario.streams import StreamBank

_SEED = 0x5EED0FCE
_STAYS, _DAYS = 2, 3
"""Rehearsals of a way of working, and work days of each."""
_BETTER, _CLEARLY = 1.005, 1.03
"""What is not better by the first factor is left as it is; the second tells after the first rehearsal."""
_FILLS, _LIGHTEST = (0.9, 0.8, 1.0 / 0.9), 0.5
"""Loads are tried that are lighter or heavier by these factors, down to the last and up to the whole of a full one."""
_LEAST_WAITED = 0.02
"""Where aircraft wait for less of their time, no other way is looked for: it could save no more than that."""
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
        trial = _Trial(plan)
        for place in range(len(plan.rigs)):
            trial.settle(place)
        plan.rehearsals.append(replace(trial.best, learnt=True))
    return plan.rehearsals[0]


class _Stay(NamedTuple):
    """One rehearsal: what gets done, and the aircraft time in all and waited for what other ways might bring sooner.

    ``done`` is area, of a list that is worked once by the paid time that it takes.
    """

    done: float
    aircraft_s: float
    waited_s: float


class _Trial:
    """Ways of working a plan, and what gets done by each."""

    def __init__(self, plan: DayPlan) -> None:
        self.best = plan
        self._stays: list[_Stay] = []

    def settle(self, place: int) -> None:
        """Try one change of a rig's ways after the other, as long as one is better."""
        _rehearse(self.best, self._stays, 1)
        if self._stays[0].waited_s < _LEAST_WAITED * self._stays[0].aircraft_s:
            return
        tried = [self._key(self.best)]
        found = True
        while found:
            found = False
            for other in _others(self.best, place):
                if self._key(other) not in tried:
                    tried.append(self._key(other))
                    found = self._is_better(other)
                    if found:
                        break

    def _is_better(self, other: DayPlan) -> bool:
        """Take another way if more gets done, or hardly less with fewer aircraft.

        The first rehearsal tells when it is clearly better, or clearly not.
        """
        stays: list[_Stay] = []
        better = 1.0 / _BETTER if _unloaded(other) < _unloaded(self.best) else _BETTER
        for number, factor in ((1, _CLEARLY), (_STAYS, better)):
            _rehearse(self.best, self._stays, number)
            _rehearse(other, stays, number)
            done, before = (math.fsum([one.done for one in each[:number]]) for each in (stays, self._stays))
            if done > factor * before:
                self.best, self._stays = other, stays
                return True
            if number == 1 and done < before / factor:
                return False
        return False

    @staticmethod
    def _key(plan: DayPlan) -> object:
        return tuple(plan.work.values()), [rig.take_early for rig in plan.rigs]


def _others(plan: DayPlan, place: int) -> Iterator[DayPlan]:
    """Yield plans with one thing changed in the ways of a rig."""
    rig = plan.rigs[place]
    works = plan.work[rig.name]
    if rig.rig.unload != "all":
        for step in (-1, 1):
            for kind in range(len(rig.aircraft)):
                changed = tuple(_unload(rig, one, kind, step) for one in works)
                yield replace(plan, work={**plan.work, rig.name: changed})
    for factor in _FILLS:
        filled = tuple(replace(one, fill=min(one.fill * factor, 1.0 / one.share)) for one in works)
        if all(one.fill >= _LIGHTEST for one in filled):
            yield replace(plan, work={**plan.work, rig.name: filled})
    if rig.take_early:
        rigs = (*plan.rigs[:place], replace(rig, take_early=False), *plan.rigs[place + 1 :])
        yield replace(plan, rigs=rigs)


def _unloaded(plan: DayPlan) -> int:
    return sum(sum(one.unloaded) for works in plan.work.values() for one in works)


def _unload(rig: RigPlan, work: FieldWork, kind: int, step: int) -> FieldWork:
    """Return how a field is worked with one aircraft of a class more or fewer, where that can be."""
    counts = list(work.unloaded)
    counts[kind] = min(max(counts[kind] + step, 0), rig.aircraft[kind][1])
    return replace(work, unloaded=tuple(counts)) if sum(counts) else work


def _rehearse(plan: DayPlan, stays: list[_Stay], most: int) -> None:
    """Add rehearsals, up to so many; each begins at another place of the list."""
    for number in range(len(stays), most):
        order = _from_share(plan, number / _STAYS)
        once = plan.scenario.work == "once"
        work = WorkList(plan.fields, replace(plan.geography, order=order), not once)
        mornings: Sequence[Morning] = first_morning(plan)
        done_m2, paid_s, aircraft_s, waited_s = 0.0, 0.0, 0.0, 0.0
        for place in range(_DAYS):
            day = work_day(plan, _bank().day(number, place), number, place + 1, work, mornings)
            done_m2 += math.fsum([one.area_to_m2 - one.area_from_m2 for one in day.log.sorties])
            kinds, until_s = day.log.kinds, day.log.paid_until_s
            paid_s += until_s
            waits = [row for row in day.log.rows if row.state == State.WAIT and row.reason in _SAVED]
            waited_s += math.fsum([one.end_s - one.start_s for one in waits if kinds[one.entity] == Kind.AIRCRAFT])
            aircraft_s += until_s * sum(number for rig in plan.rigs for _, number in rig.aircraft)
            work.new_day()
            if work.all_finished:
                break
            if place + 1 < _DAYS:
                ends = zip(plan.rigs, day.ends, strict=True)
                mornings = [next_morning(plan, rig, end)[0] for rig, end in ends]
        stays.append(_Stay(done_m2 / paid_s if once else done_m2, aircraft_s, waited_s))


def _from_share(plan: DayPlan, share: float) -> tuple[int, ...]:
    """Return the order of fields, begun where that share of the area has been done."""
    order = plan.geography.order
    done = accumulate((plan.fields[index].area_m2 for index in order), initial=0.0)
    first = max(place for place, area_m2 in enumerate(done) if area_m2 <= share * plan.list_m2 and place < len(order))
    return (*order[first:], *order[:first])
