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

    @property
    def remaining_m2(self) -> float:
        """Area that nobody has claimed."""
        return self.plan.area_m2 - self.next_m2 + sum(end - start for start, end in self.returned)

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
    """The fields, shared by all rigs."""

    def __init__(self, fields: tuple[FieldPlan, ...], geography: Geography, repeat: bool) -> None:
        self._fields, self._order, self._repeat = fields, geography.order, repeat
        self._taken = 0
        self._finished = 0
        self._barren = 0

    def peek(self, now_s: float) -> int | None:
        """Return the field number that :meth:`next_visit` would take.

        None when nothing is left that may still be flown.
        """
        place = self._next_place(now_s)
        return None if place is None else self._order[place % len(self._order)]

    def next_visit(self, now_s: float) -> Visit | None:
        """Take the next field; None when the list has run out."""
        place = self._next_place(now_s)
        if place is None:
            return None
        self._taken = place + 1
        number, position = divmod(place, len(self._order))
        index = self._order[position]
        return Visit(index, self._fields[index], number + 1)

    def _next_place(self, now_s: float) -> int | None:
        """Return the next place in the (repeated) order whose field may still be flown today."""
        count = len(self._order)
        if self._barren >= count:
            return None
        for place in range(self._taken, self._taken + count):
            if place >= count and not self._repeat:
                return None
            if self._fields[self._order[place % count]].open_until_s > now_s:
                return place
        return None

    def product_ahead(self) -> float:
        """Return the product (L or kg) that fields not yet begun will take; infinite when the list repeats."""
        if self._repeat:
            return float("inf")
        coming = [self._fields[index] for index in self._order[self._taken :]]
        return sum([field.area_m2 * field.product_per_m2 for field in coming])

    def note_visit(self, flown: bool) -> None:
        """Note whether anything was flown on a visit: a list on which nothing can be flown is not begun again."""
        self._barren = 0 if flown else self._barren + 1

    def finish(self) -> None:
        """Note that a visit has left nothing to do on its field."""
        self._finished += 1

    @property
    def all_finished(self) -> bool:
        """True when every field of a list that does not repeat has been finished, by whichever rig."""
        return not self._repeat and self._finished >= len(self._order)
