"""Rehearsal: what a crew of experience has learnt to do, found by trying it on a few days of its own.

How many aircraft come off the trailer, whether they fly full and whether packs are taken early depends on everything
else. The plan estimates it from mean times; here the model itself is asked whether another way gets more done.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from itertools import accumulate

from simulator.operation.day import work_day
from simulator.operation.morning import first_morning, next_morning
from simulator.operation.work import WorkList
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.plan.field_work import FieldWork
from simulator.scenario.streams import StreamBank

_SEED = 0x5EED0FCE
_STAYS, _DAYS = 2, 3
"""Rehearsals of a way of working, and work days of each."""
_BETTER, _CLEARLY = 1.005, 1.03
"""What is not better by the first factor is left as it is; the second tells after the first rehearsal."""
_LIGHTER, _LIGHTEST = 0.8, 0.5
"""Loads are tried that are lighter by the first factor, down to the second of a full one."""


@lru_cache(maxsize=1)
def _bank() -> StreamBank:
    return StreamBank(_SEED)


def rehearsed(plan: DayPlan) -> DayPlan:
    """Return a plan with what each rig's crew has learnt; it depends on the plan alone, and is tried out once."""
    if not plan.rehearsals:
        trial = _Trial(plan)
        for place in range(len(plan.rigs)):
            trial.settle(place)
        plan.rehearsals.append(trial.best)
    return plan.rehearsals[0]


class _Trial:
    """Ways of working a plan, and what gets done by each."""

    def __init__(self, plan: DayPlan) -> None:
        self.best = plan
        self._flown: list[float] = []

    def settle(self, place: int) -> None:
        """Try one change of a rig's ways after the other, as long as one is better."""
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
        """Take another way if more gets done; the first rehearsal tells when it is clearly better, or clearly not."""
        flown: list[float] = []
        for stays, factor in ((1, _CLEARLY), (_STAYS, _BETTER)):
            _fly(self.best, self._flown, stays)
            _fly(other, flown, stays)
            gain = sum(flown) / max(sum(self._flown[:stays]), 1e-9)
            if gain > factor:
                self.best, self._flown = other, flown
                return True
            if gain < 1.0 / factor:
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
    fill = min((one.fill for one in works), default=0.0) * _LIGHTER
    if fill > _LIGHTEST:
        lighter = tuple(replace(one, fill=one.fill * _LIGHTER) for one in works)
        yield replace(plan, work={**plan.work, rig.name: lighter})
    if rig.take_early:
        rigs = (*plan.rigs[:place], replace(rig, take_early=False), *plan.rigs[place + 1 :])
        yield replace(plan, rigs=rigs)


def _unload(rig: RigPlan, work: FieldWork, kind: int, step: int) -> FieldWork:
    """Return how a field is worked with one aircraft of a class more or fewer, where that can be."""
    counts = list(work.unloaded)
    counts[kind] = min(max(counts[kind] + step, 0), rig.aircraft[kind][1])
    return replace(work, unloaded=tuple(counts)) if sum(counts) else work


def _fly(plan: DayPlan, flown: list[float], stays: int) -> None:
    """Add what gets done in rehearsals, up to so many; each begins at another place of the list."""
    for number in range(len(flown), stays):
        order = _from_share(plan, number / _STAYS)
        work = WorkList(plan.fields, replace(plan.geography, order=order), True)
        mornings, done_m2 = first_morning(plan), []
        for place in range(_DAYS):
            day = work_day(plan, _bank().day(number, place), number, place + 1, work, mornings)
            done_m2 += [one.area_to_m2 - one.area_from_m2 for one in day.log.sorties]
            work.new_day()
            if place + 1 < _DAYS:
                mornings = tuple(
                    [next_morning(plan, rig, end)[0] for rig, end in zip(plan.rigs, day.ends, strict=True)]
                )
        flown.append(math.fsum(done_m2))


def _from_share(plan: DayPlan, share: float) -> tuple[int, ...]:
    """Return the order of fields, begun where that share of the area has been done."""
    order = plan.geography.order
    done = accumulate((plan.fields[index].area_m2 for index in order), initial=0.0)
    first = max(place for place, area_m2 in enumerate(done) if area_m2 <= share * plan.list_m2 and place < len(order))
    return (*order[first:], *order[:first])
