"""The bare loop in lock step gives the landings of the handed-over one, day by day and to the last digit.

There is no published source: each check is one of our programs against another, event for event.
"""

from itertools import pairwise

import bare_loop
import numpy as np
import pytest
from lockstep import charged_wh, charging, lockstep, together
from simpy.events import Timeout

Draws = dict[str, list[float]]
KINDS = ("flight", "service", "charge")


class FlightTime(float):
    """A drawn time that can be told from the others by what waits for it."""

    __slots__ = ()


def landings_one_by_one(day, aircraft, packs, chargers):
    """Run ``handed_over`` itself, with a timeout that notes when a flight's time is over."""
    landings_s = []

    class Watched(Timeout):
        def __init__(self, env, delay):
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


def landings_together(days, aircraft, packs, chargers):
    day, landing_s, steps = lockstep(together(days), aircraft, packs, chargers)
    landings_s = [landing_s[day == number].tolist() for number in range(len(days))]
    assert steps >= max(len(one) for one in landings_s)
    return landings_s


def random_days(seed, count, whole_s=None):
    """Return draws of days; ``whole_s`` rounds them up to a multiple, so that many events fall together."""
    days = [bare_loop.draws(seed * 1000 + number) for number in range(count)]
    if whole_s is None:
        return days
    return [{kind: (np.ceil(np.array(day[kind]) / whole_s) * whole_s).tolist() for kind in KINDS} for day in days]


@pytest.mark.parametrize("size", [(2, 7, 3), (1, 1, 1), (5, 3, 2), (6, 20, 2)])
@pytest.mark.parametrize("whole_s", [None, 450.0])
def test_landings_are_the_same_to_the_last_digit(size, whole_s):
    """Also where all times are multiples of 450 s, so that events fall together, some at the day's very end."""
    days = random_days(1, 50, whole_s)
    one_by_one = [landings_one_by_one(day, *size) for day in days]
    assert landings_together(days, *size) == one_by_one
    if whole_s is not None:
        assert any(landings_s[-1] >= bare_loop.DAY_S - whole_s for landings_s in one_by_one)
        ties = any(early == late for landings_s in one_by_one for early, late in pairwise(landings_s))
        assert ties or size[0] == 1


def test_draws_that_run_out_are_not_taken_from_another_day():
    days = [{kind: times[:20] for kind, times in day.items()} for day in random_days(4, 3)]
    with pytest.raises(IndexError):
        lockstep(together(days))


def test_charging_many_packs_is_the_same_to_the_last_digit():
    curve, *given_numbers = charging(5000)
    each = zip(*(numbers.tolist() for numbers in given_numbers), strict=True)
    assert charged_wh(curve, *given_numbers).tolist() == [curve.energy_after_wh(*numbers) for numbers in each]
