"""Yardstick: the bare closed loop of aircraft, packs, chargers and crew, idiomatic and with direct hand-over.

No geometry, no energy, no log: two aircraft fly for a drawn time, then need the one crew and a charged pack; used
packs queue for three chargers. Both versions follow the same sample path. The full model's speed is measured by them.
"""

from collections import deque

import numpy as np
import simpy
from simpy.events import NORMAL, Event, Timeout

AIRCRAFT, PACKS, CHARGERS = 2, 7, 3
DAY_S = 10 * 3600.0
FLIGHT_S, SERVICE_S, CHARGE_S = 480.0, 90.0, 930.0
"""So chosen that a day has about 115 sorties."""


def draws(seed):
    """Return pre-drawn times, so that neither version pays for random numbers."""
    generator = np.random.default_rng(seed)
    return {
        "flight": (FLIGHT_S * generator.lognormal(-0.02, 0.2, 400)).tolist(),
        "service": (SERVICE_S * generator.lognormal(-0.045, 0.3, 400)).tolist(),
        "charge": (CHARGE_S * generator.lognormal(-0.02, 0.2, 400)).tolist(),
    }


def idiomatic(times):
    """Run a day with Store and Resource; return the numbers of sorties and of events."""
    env = simpy.Environment()
    crew = simpy.Resource(env, 1)
    chargers = simpy.Resource(env, CHARGERS)
    charged = simpy.Store(env)
    charged.items.extend(range(PACKS))
    flight, service, charge = iter(times["flight"]), iter(times["service"]), iter(times["charge"])
    sorties = 0

    def charging(pack):
        with chargers.request() as slot:
            yield slot
            yield env.timeout(next(charge))
        yield charged.put(pack)

    def aircraft():
        nonlocal sorties
        while True:
            pack = yield charged.get()
            with crew.request() as people:
                yield people
                yield env.timeout(next(service))
            yield env.timeout(next(flight))
            sorties += 1
            env.process(charging(int(str(pack))))

    for _ in range(AIRCRAFT):
        env.process(aircraft())
    env.run(until=DAY_S)
    return sorties, next(env._eid)


def handed_over(times):
    """Run the same day with direct hand-over and one event per real change; return the numbers of sorties, events."""
    env = simpy.Environment()
    flight, service, charge = iter(times["flight"]), iter(times["service"]), iter(times["charge"])
    charged = deque(range(PACKS))
    queue = deque()
    waiting_pack = deque()
    waiting_crew = deque()
    free = [CHARGERS, 1]
    sorties = 0

    def after(delay_s, call):
        Timeout(env, delay_s).callbacks.append(call)

    def need_pack(aircraft):
        if charged:
            charged.popleft()
            need_crew(aircraft)
        else:
            waiting_pack.append(aircraft)

    def need_crew(aircraft):
        if free[1]:
            free[1] = 0
            after(next(service), lambda _: served(aircraft))
        else:
            waiting_crew.append(aircraft)

    def served(aircraft):
        if waiting_crew:
            other = waiting_crew.popleft()
            after(next(service), lambda _: served(other))
        else:
            free[1] = 1
        after(next(flight), lambda _: landed(aircraft))

    def landed(aircraft):
        nonlocal sorties
        sorties += 1
        if free[0]:
            free[0] -= 1
            after(next(charge), full)
        else:
            queue.append(0)
        need_pack(aircraft)

    def full(_):
        if queue:
            queue.popleft()
            after(next(charge), full)
        else:
            free[0] += 1
        if waiting_pack:
            need_crew(waiting_pack.popleft())
        else:
            charged.append(0)

    for aircraft in range(AIRCRAFT):
        need_pack(aircraft)
    env.run(until=event_at(env, DAY_S))
    return sorties, next(env._eid)


def event_at(env, time_s):
    """Return an event that ends the run at a time."""
    stop = Event(env)
    stop._ok, stop._value = True, None
    env.schedule(stop, NORMAL, time_s)
    return stop
