"""Yardstick: the bare loop for many days at once, in lock step, with numpy arrays; and what that is worth.

Every step lets each day process its own next event, wherever its clock stands; days whose next event is of the same
kind go through the same array statements together. :func:`lockstep` gives the landings of ``bare_loop.handed_over`` to
the last digit. It says how fast a batch engine for the full model could be at best: here aircraft, packs and chargers
are alike, so counts stand for queues, and there is no energy, no path, no log.

Run it with ``python tests/benchmark/lockstep.py`` to measure; it prints a table in Markdown.
"""

import math
import statistics
import sys
import time
from functools import partial

import numpy as np
from bare_loop import AIRCRAFT, CHARGERS, DAY_S, PACKS, draws, handed_over, idiomatic
from numpy.typing import NDArray

from simulator.physics.charge import SECONDS_PER_HOUR, ChargeCurve

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]

STOP, SERVICE, FIRST_FLIGHT = 0, 1, 2
"""Places of events: the day's end, the crew's service, then a place an aircraft, then a place a charger."""


def together(days):
    """Return the draws of many days by kind, shape (draws, days): days in step then read neighbouring numbers."""
    return {kind: np.array([day[kind] for day in days]).T.copy() for kind in days[0]}


class Days:
    """The state of all days.

    ``due_s`` holds the time of each event, infinite where there is none, and ``made`` the order in which they were
    scheduled, both of shape (places, days).
    """

    def __init__(self, times, aircraft, packs, chargers):
        self.count = count = times["flight"].shape[1]
        self.aircraft, self.chargers = aircraft, chargers
        self.times = {kind: drawn.ravel() for kind, drawn in times.items()}
        self.drawn = {kind: np.arange(count) for kind in times}
        places = FIRST_FLIGHT + aircraft + chargers
        self.due_s = np.full((places, count), np.inf)
        self.made = np.zeros((places, count), dtype=np.intp)
        self.agenda = self.due_s.ravel()
        self.flights = self.due_s[FIRST_FLIGHT : FIRST_FLIGHT + aircraft]
        self.charges = self.due_s[FIRST_FLIGHT + aircraft :]
        with_pack = min(aircraft, packs)
        self.ready = np.full(count, packs - with_pack)
        self.in_queue = np.zeros(count, dtype=np.intp)
        self.charging = np.zeros(count, dtype=np.intp)
        self.want_crew = np.full(count, max(0, with_pack - 1))
        self.want_pack = np.full(count, aircraft - with_pack)
        self.landings = []
        self.number = 0
        if with_pack:
            self.schedule("service", SERVICE, np.arange(count), np.zeros(count))
        self.number += 1
        self.due_s[STOP], self.made[STOP] = DAY_S, self.number
        self.number += 1

    def schedule(self, kind, place, days, now_s):
        """Draw a time for each of some days, and put its end on their agendas."""
        drawn = self.drawn[kind]
        at = drawn[days]
        drawn[days] = at + self.count
        self.due_s[place, days] = now_s + self.times[kind].take(at)
        self.made[place, days] = self.number

    def next_events(self):
        """Return where each day's next event stands in the flat agenda, by place, and each day's time."""
        now_s = self.due_s.min(axis=0)
        at = (self.due_s == now_s).ravel().nonzero()[0]
        if len(at) > self.count:  # several events of a day fall together: the first that was scheduled
            first = np.where(self.due_s == now_s, self.made, self.number + 1).argmin(axis=0)
            at = np.sort(first * self.count + np.arange(self.count))
        return at, now_s

    def served(self, days, now_s):
        """Launch, and serve the next that waits for the crew."""
        waits = self.want_crew[days] > 0
        self.due_s[SERVICE, days[~waits]] = np.inf
        on = days[waits]
        self.want_crew[on] -= 1
        self.schedule("service", SERVICE, on, now_s[waits])
        self.number += 1
        self.schedule("flight", FIRST_FLIGHT + np.isinf(self.flights[:, days]).argmax(axis=0), days, now_s)
        self.number += 1

    def landed(self, at, days, now_s):
        """Bring the used pack to a charger; return where an aircraft has a charged pack and needs the crew."""
        self.landings.append((days, now_s))
        self.agenda[at] = np.inf
        free = self.charging[days] < self.chargers
        go = days[free]
        self.charging[go] += 1
        self.charge(go, now_s[free])
        self.in_queue[days[~free]] += 1
        has_pack = self.ready[days] > 0
        got = days[has_pack]
        self.ready[got] -= 1
        self.want_pack[days[~has_pack]] += 1
        return got, now_s[has_pack]

    def charge(self, days, now_s):
        """Put a pack on a free charger."""
        place = FIRST_FLIGHT + self.aircraft + np.isinf(self.charges[:, days]).argmax(axis=0)
        self.schedule("charge", place, days, now_s)

    def full(self, at, days, now_s):
        """Charge the next pack and hand this one on; return where an aircraft has waited for it."""
        queued = self.in_queue[days] > 0
        more, gone = days[queued], days[~queued]
        self.in_queue[more] -= 1
        self.agenda[at] = np.inf
        self.charge(more, now_s[queued])
        self.charging[gone] -= 1
        wanted = self.want_pack[days] > 0
        got = days[wanted]
        self.want_pack[got] -= 1
        self.ready[days[~wanted]] += 1
        return got, now_s[wanted]

    def need_crew(self, days, now_s):
        """Serve an aircraft, or let it wait for the crew."""
        free = np.isinf(self.due_s[SERVICE, days])
        self.schedule("service", SERVICE, days[free], now_s[free])
        self.want_crew[days[~free]] += 1

    def step(self):
        """Let each day's next event happen; False when all days have ended.

        A day that has ended stays at its end.
        """
        at, now_s = self.next_events()
        bounds = np.array((SERVICE, FIRST_FLIGHT, FIRST_FLIGHT + self.aircraft)) * self.count
        stop_to, service_to, flight_to = at.searchsorted(bounds).tolist()
        if stop_to == self.count:
            return False
        day = at % self.count
        now_s = now_s[day]
        self.served(day[stop_to:service_to], now_s[stop_to:service_to])
        some = slice(service_to, flight_to)
        by_landing, landed_s = self.landed(at[some], day[some], now_s[some])
        some = slice(flight_to, None)
        by_charge, full_s = self.full(at[some], day[some], now_s[some])
        self.number += 1
        self.need_crew(np.concatenate((by_landing, by_charge)), np.concatenate((landed_s, full_s)))
        self.number += 1
        return True


def lockstep(times, aircraft=AIRCRAFT, packs=PACKS, chargers=CHARGERS):
    """Run many days together; ``times`` by kind, shape (draws, days), as of :func:`together`.

    Returns the day and the time (s) of each landing before the end of its day, in order of time for each day, and the
    steps taken: the events of the longest day. Raises an IndexError where a day needs more draws than there are.
    """
    days = Days(times, aircraft, packs, chargers)
    steps = 0
    while days.step():
        steps += 1
    none = np.zeros(0, dtype=np.intp), np.zeros(0)
    day, landing_s = zip(none, *days.landings, strict=True)
    return np.concatenate(day), np.concatenate(landing_s), steps


def charged_wh(curve, from_wh, after_s, limit_w):
    """Return what ``ChargeCurve.energy_after_wh`` returns, to the last digit, for many packs of one curve.

    A sample of the arithmetic that suits arrays best. ``expm1`` is called number by number, since numpy's differs.
    """
    capacity_wh, full_w = curve.capacity_wh, curve.cc_power_w
    falling_wh = np.minimum(curve.asymptote_wh - curve.tau_h * limit_w, capacity_wh)
    knee_wh = np.where(limit_w >= full_w, curve.knee_wh(full_w), falling_wh)
    hours, power_w, below = after_s / SECONDS_PER_HOUR, np.minimum(limit_w, full_w), from_wh < knee_wh
    with np.errstate(divide="ignore", invalid="ignore"):
        knee_h = (knee_wh - from_wh) / power_w
    charged = np.minimum(from_wh + power_w * hours, capacity_wh)
    late = (~(below & (hours <= knee_h))).nonzero()[0]
    left_h = np.where(below[late], hours[late] - knee_h[late], hours[late])
    begun_wh = np.where(below[late], knee_wh[late], from_wh[late])
    decay = np.fromiter(map(math.expm1, (-left_h / curve.tau_h).tolist()), float, len(late))
    late_wh = np.minimum(begun_wh - (curve.asymptote_wh - begun_wh) * decay, capacity_wh)
    charged[late] = np.where(begun_wh >= capacity_wh, capacity_wh, late_wh)
    return np.where((from_wh >= capacity_wh) | (limit_w == 0.0), np.minimum(from_wh, capacity_wh), charged)


def charging(count):
    """Return a curve, and charges of packs (Wh), times (s) and limits (W), full packs and no power among them."""
    generator = np.random.default_rng(1)
    return (
        ChargeCurve(1800.0, 5000.0, 0.8, 0.05),
        np.minimum(generator.uniform(300.0, 1850.0, count), 1800.0),
        generator.uniform(0.0, 1500.0, count),
        generator.choice([0.0, 300.0, 2000.0, 4000.0, 5000.0, 6000.0], count, p=[0.05, 0.05, 0.3, 0.3, 0.15, 0.15]),
    )


def statements(call, part_of_path):
    """Return how many lines of some sources a call runs: each would be an array statement, or several."""
    count = 0

    def trace(frame, event, _):
        nonlocal count
        if part_of_path not in frame.f_code.co_filename:
            return None
        count += event == "line"
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        call()
    finally:
        sys.settrace(before)
    return count


def other_digits():
    """Return for which share of numbers numpy's function and the one that the model calls differ in the last digit."""
    one, two = np.random.default_rng(1).uniform(0.0, 20.0, (2, 100_000))
    pairs = {
        "log1p": (math.log1p, np.log1p, (one,)),
        "expm1": (math.expm1, np.expm1, (-one / 5.0,)),
        "hypot": (math.hypot, np.hypot, (one, two)),
    }
    return {
        name: float(np.mean([exact(*x) for x in zip(*(a.tolist() for a in given), strict=True)] != array(*given)))
        for name, (exact, array, given) in pairs.items()
    }


def cpu_us(call, count):
    """Return the processor's time (µs) for one of many: on a busy machine it tells more than the clock."""
    begun = time.process_time()
    call()
    return (time.process_time() - begun) / count * 1e6


def medians_us(calls, rounds):
    """Return the median time (µs) of each call for one of its many, taken in turn."""
    times = [[cpu_us(call, count) for call, count in calls.values()] for _ in range(rounds)]
    return dict(zip(calls, (statistics.median(one) for one in zip(*times, strict=True)), strict=True))


def main():
    from bench import plan_of

    from simulator.experiment.engine import engine
    from simulator.operation.day import simulate
    from simulator.scenario.streams import StreamBank

    sample = [draws(seed) for seed in range(10_000)]
    few = sample[:32]
    plan, bank = plan_of(AIRCRAFT, PACKS, CHARGERS, 1), StreamBank(1)

    def model():
        return [len(simulate(plan, bank.day(number)).log.sorties) for number in range(len(few))]

    sorties, kind = statistics.mean(model()), engine()
    calls = {
        "idiomatic": (lambda: [idiomatic(day) for day in few], len(few)),
        "handed over": (lambda: [handed_over(day) for day in few], len(few)),
        f"full model, {kind}": (model, len(few)),
    }
    steps = {}
    for number in (1, 100, 1000, 10_000):
        times, name = together(sample[:number]), f"lock step, days together: {number}"
        calls[name] = partial(lockstep, times), number
        steps[name] = lockstep(times)[2]
    medians = medians_us(calls, 15)
    print("| bare loop | steps | µs a step | µs a day | days a second | times idiomatic | times handed over |")
    print("| --- | ---: | ---: | ---: | ---: | ---: | ---: |")
    for name, us in medians.items():
        taken = f"{steps[name]} | {us * calls[name][1] / steps[name]:.0f}" if name in steps else " | "
        over = " | ".join(f"{medians[way] / us:.2f}" for way in ("idiomatic", "handed over"))
        print(f"| {name} | {taken} | {us:.0f} | {1e6 / us:.0f} | {over} |")

    flown = len(lockstep(together(few))[0]) / len(few)
    bare = statistics.mean(statements(partial(handed_over, day), "bare_loop") for day in few) / flown
    ns = list(medians.values())[-1] / flown / bare * 1e3
    print(f"\nThe handed-over loop runs {bare:.0f} lines a sortie; in lock step each takes {ns:.1f} ns.")
    if "interpreted" in kind:
        lines = statements(model, "/simulator/") / len(few) / sorties
        print(
            f"The full model runs {lines:.0f} lines a sortie: at that price {lines * ns * sorties / 1e3:.0f} µs a day."
        )

    curve, *given = charging(10_000)
    each = list(zip(*(numbers.tolist() for numbers in given), strict=True))
    one = f"one by one, {kind}"
    ways = {
        one: (lambda: [curve.energy_after_wh(*numbers) for numbers in each], len(each)),
        "together": (lambda: charged_wh(curve, *given), len(each)),
    }
    spent = ", ".join(f"{name} {us * 1e3:.0f} ns" for name, us in medians_us(ways, 15).items())
    print(f"\nEnergy of a charging pack, the same to the last digit: {spent}.")
    shares = ", ".join(f"{name} {100.0 * share:.1f} %" for name, share in other_digits().items())
    print(f"Numbers for which numpy's last digit is another: {shares}.")


if __name__ == "__main__":
    main()
