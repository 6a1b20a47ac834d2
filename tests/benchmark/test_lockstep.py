"""The bare loop in lock step gives the landings of the handed-over one, day by day and to the last digit.

There is no published source: each check is one of our programs against another, event for event.
"""

from __future__ import annotations

from itertools import pairwise

import bare_loop
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lockstep import charged_wh, charging, lockstep, together
from simpy.core import Environment
from simpy.events import Timeout

Draws = dict[str, list[float]]
KINDS = ("flight", "service", "charge")


class FlightTime(float):
    """A drawn time that can be told from the others by what waits for it."""

    __slots__ = ()


def landings_one_by_one(day: Draws, aircraft: int, packs: int, chargers: int) -> list[float]:
    """Run ``handed_over`` itself, with a timeout that notes when a flight's time is over."""
    landings_s = []

    class Watched(Timeout):
        def __init__(self, env: Environment, delay: float) -> None:
            super().__init__(env, delay)
            if isinstance(delay, FlightTime):
                self.callbacks.append(lambda _: landings_s.append(env.now))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bare_loop, "Timeout", Watched)
        for name, value in (("AIRCRAFT", aircraft), ("PACKS", packs), ("CHARGERS", chargers)):
            patch.setattr(bare_loop, name, value)
        sorties, _ = bare_loop.handed_over({**day, "flight": [FlightTime(time_s) for time_s in day["flight"]]})
    assert sorties == len(landings_s)
    return landings_s


def landings_together(days: list[Draws], aircraft: int, packs: int, chargers: int) -> list[list[float]]:
    day, landing_s, steps = lockstep(together(days), aircraft, packs, chargers)
    landings_s = [landing_s[day == number].tolist() for number in range(len(days))]
    assert steps >= max(len(one) for one in landings_s)
    return landings_s


def random_days(seed: int, count: int, whole_s: float | None = None) -> list[Draws]:
    """Return draws of days; ``whole_s`` rounds them up to a multiple, so that many events fall together."""
    days = [bare_loop.draws(seed * 1000 + number) for number in range(count)]
    if whole_s is None:
        return days
    return [{kind: (np.ceil(np.array(day[kind]) / whole_s) * whole_s).tolist() for kind in KINDS} for day in days]


def test_400_days_are_the_same_to_the_last_digit() -> None:
    days = random_days(1, 400)
    size = bare_loop.AIRCRAFT, bare_loop.PACKS, bare_loop.CHARGERS
    one_by_one = [landings_one_by_one(day, *size) for day in days]
    assert landings_together(days, *size) == one_by_one
    assert [len(landings_s) for landings_s in one_by_one] == [bare_loop.handed_over(day)[0] for day in days]
    assert min(len(landings_s) for landings_s in one_by_one) > 50


@settings(max_examples=40)
@given(
    seed=st.integers(0, 10**6),
    aircraft=st.integers(1, 8),
    packs=st.integers(1, 20),
    chargers=st.integers(1, 9),
    whole_s=st.sampled_from([None, 1.0, 60.0, 450.0]),
)
def test_any_size_is_the_same(seed: int, aircraft: int, packs: int, chargers: int, whole_s: float | None) -> None:
    days = random_days(seed, 3, whole_s)
    one_by_one = [landings_one_by_one(day, aircraft, packs, chargers) for day in days]
    assert landings_together(days, aircraft, packs, chargers) == one_by_one


@pytest.mark.parametrize("size", [(1, 1, 1), (2, 7, 3), (5, 3, 2), (6, 20, 2)])
def test_events_that_fall_together_keep_their_order(size: tuple[int, int, int]) -> None:
    """All times are multiples of 450 s, the last landings at the day's very end among them."""
    days = random_days(2, 40, 450.0)
    one_by_one = [landings_one_by_one(day, *size) for day in days]
    assert landings_together(days, *size) == one_by_one
    assert any(landings_s[-1] >= bare_loop.DAY_S - 450.0 for landings_s in one_by_one)
    if size[0] > 1:
        assert any(early == late for landings_s in one_by_one for early, late in pairwise(landings_s))


def test_a_day_does_not_depend_on_those_beside_it() -> None:
    days = random_days(3, 12)
    whole = landings_together(days, 3, 8, 2)
    assert [landings_together([day], 3, 8, 2)[0] for day in days] == whole


def test_a_day_without_a_landing() -> None:
    long = {kind: [1e5] * 4 for kind in KINDS}
    assert landings_one_by_one(long, 2, 7, 3) == []
    assert landings_together([long], 2, 7, 3) == [[]]


def test_draws_that_run_out_are_not_taken_from_another_day() -> None:
    days = [{kind: times[:20] for kind, times in day.items()} for day in random_days(4, 3)]
    with pytest.raises(IndexError):
        lockstep(together(days))


def test_charging_many_packs_is_the_same_to_the_last_digit() -> None:
    curve, *given_numbers = charging(5000)
    each = zip(*(numbers.tolist() for numbers in given_numbers), strict=True)
    assert charged_wh(curve, *given_numbers).tolist() == [curve.energy_after_wh(*numbers) for numbers in each]
