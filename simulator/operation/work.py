"""The work list: which field next, and which stretch of it."""

from __future__ import annotations

from simulator.plan.fields import FieldPlan, Geography


class Visit:
    """One going-over of one field by one rig.

    Stretches are claimed in order of the path; what an aircraft could not finish is given back and claimed first.
    """

    __slots__ = ("active", "index", "next_m2", "number", "plan", "returned", "station")

    def __init__(self, index: int, plan: FieldPlan, number: int) -> None:
        self.index, self.plan, self.number = index, plan, number
        self.next_m2 = 0.0
        self.returned: list[tuple[float, float]] = []
        self.active = 0
        self.station = 0

    @property
    def border_m2(self) -> float:
        """End of the stretch that the present landing zone serves."""
        return self.plan.stations[self.station].area_to_m2

    def next_station(self) -> bool:
        """Go on to the next landing zone of the field; False when this was the last."""
        if self.station + 1 >= len(self.plan.stations):
            return False
        self.station += 1
        return True

    def pass_over(self, area_m2: float) -> None:
        """Leave out what lies before an area, as if it had been flown on an earlier day."""
        self.next_m2 = area_m2
        while self.border_m2 <= area_m2 and self.next_station():
            pass

    @property
    def remaining_m2(self) -> float:
        """Area that nobody has claimed."""
        left_m2 = self.plan.area_m2 - self.next_m2
        return left_m2 + sum([end - start for start, end in self.returned]) if self.returned else left_m2

    def opening(self) -> tuple[float, float] | None:
        """Return the stretch of the next claim; None when all within the landing zone's reach is claimed."""
        if self.returned:
            return self.returned[0]
        border = self.border_m2
        return (self.next_m2, border) if self.next_m2 < border else None

    def claim(self, area_from_m2: float, area_to_m2: float) -> None:
        """Take the beginning of the opening."""
        opening = self.opening()
        if opening is None or opening[0] != area_from_m2 or not area_from_m2 < area_to_m2 <= opening[1]:
            raise ValueError(f"got the claim ({area_from_m2}, {area_to_m2}); the opening is {opening}")
        if self.returned:
            self.returned.pop(0)
            if area_to_m2 < opening[1]:
                self.returned.insert(0, (area_to_m2, opening[1]))
        else:
            self.next_m2 = area_to_m2
        self.active += 1

    def settle(self, area_done_m2: float, area_to_m2: float) -> None:
        """End a claim: what lies from ``area_done_m2`` to its end is given back."""
        self.active -= 1
        if area_done_m2 < area_to_m2:
            if area_to_m2 == self.next_m2 and not self.returned:
                self.next_m2 = area_done_m2
            else:
                self.returned.append((area_done_m2, area_to_m2))
                self.returned.sort()


class Load:
    """What the next flight is to do; with a negative fill amount what is on board is put back, and nothing is flown."""

    __slots__ = ("area_from_m2", "area_to_m2", "fill_amount", "need_wh", "swap", "visit")

    def __init__(
        self, visit: Visit, area_from_m2: float, area_to_m2: float, fill_amount: float, swap: bool, need_wh: float
    ) -> None:
        self.visit, self.area_from_m2, self.area_to_m2 = visit, area_from_m2, area_to_m2
        self.fill_amount, self.swap, self.need_wh = fill_amount, swap, need_wh


class WorkList:
    """The fields still to be flown, shared by all rigs, day after day."""

    def __init__(self, fields: tuple[FieldPlan, ...], geography: Geography, repeat: bool) -> None:
        self._fields, self._order = fields, geography.order
        self.repeats = repeat
        """Whether another pass through the list begins when one is done."""
        self._to_do: list[Visit] = []
        self._taken: set[Visit] = set()
        """What a rig has gone to today: each is gone to once a day."""
        self._passes = self._barren = 0
        self._one_mix = len({one.product for one in fields}) == 1
        self._work_day = 1
        self._begin_pass()

    def begin_within(self, area_m2: float) -> None:
        """Leave out the first part of the first field."""
        self._to_do[0].pass_over(area_m2)

    def new_day(self) -> None:
        """Let go what is finished; what was begun comes first, and every field may be gone to again."""
        self._work_day += 1
        self._barren = 0
        self._taken.clear()
        self._to_do = [visit for visit in self._to_do if visit.remaining_m2 > 0.0]
        self._to_do.sort(key=lambda visit: visit.next_m2 == 0.0)

    def peek(self, now_s: float) -> int | None:
        """Return the field number that :meth:`next_visit` would take; None when none may still be flown today."""
        visit = self._next(now_s)
        return None if visit is None else visit.index

    def next_visit(self, now_s: float) -> Visit | None:
        """Take the next field; None when none may still be flown today."""
        visit = self._next(now_s)
        if visit is not None:
            self._taken.add(visit)
        return visit

    def _next(self, now_s: float) -> Visit | None:
        if self._barren >= len(self._order):
            return None
        found = self._open(now_s)
        if found is None and self.repeats:
            self._begin_pass()
            found = self._open(now_s)
        return found

    def _open(self, now_s: float) -> Visit | None:
        """Return the first field of the list that may still be flown today."""
        for visit in self._to_do:
            plan = visit.plan
            if visit in self._taken or not plan.first_day <= self._work_day <= plan.last_day:
                continue
            if plan.open_until_s > now_s:
                return visit
        return None

    def _begin_pass(self) -> None:
        """Put every field on the list once more, but for those that still wait to be gone to."""
        waiting = {visit.index for visit in self._to_do if visit not in self._taken}
        fresh = [index for index in self._order if index not in waiting]
        if fresh:
            self._passes += 1
            self._to_do += [Visit(index, self._fields[index], self._passes) for index in fresh]

    def product_ahead(self, mix: str, enough: float) -> float:
        """Return the product (L or kg) that the coming fields of one mix will take, or enough of it.

        It is infinite when such a list repeats. Fields after the first that gets another mix do not count.
        """
        if self.repeats and self._one_mix:
            return float("inf")
        product = 0.0
        for visit in self._to_do:
            if visit not in self._taken:
                if product >= enough or visit.plan.product != mix:
                    break
                product += visit.remaining_m2 * visit.plan.product_per_m2
        return product

    def note_visit(self, flown: bool) -> None:
        """Note whether anything was flown on a visit: a list on which nothing can be flown is not begun again."""
        self._barren = 0 if flown else self._barren + 1

    def finish(self, visit: Visit) -> None:
        """Note that a visit has left nothing to do on its field."""
        self._to_do.remove(visit)

    @property
    def all_finished(self) -> bool:
        """True when every field of a list that does not repeat has been finished, by whichever rig."""
        return not self._to_do and not self.repeats

    def remaining_m2(self) -> dict[tuple[int, int], float]:
        """Return what is left of every field that is to be done, by number of the pass and of the field."""
        return {(visit.number, visit.index): visit.remaining_m2 for visit in self._to_do}

    @property
    def may_go_on(self) -> bool:
        """True when a later work day may fly something, by the days on which fields are open."""
        return self.repeats or any(visit.plan.last_day > self._work_day for visit in self._to_do)
