"""Yardstick: the bare loop of `bare_loop.py` in two other general-purpose simulation libraries, as their manuals do it.

Both follow the same sample path as the SimPy versions. salabim keeps statistics of every resource unless told not to:
here it is told, as SimPy keeps none.
"""

import salabim
import usim
from bare_loop import AIRCRAFT, CHARGERS, DAY_S, PACKS

salabim.yieldless(False)


def in_salabim(times):
    """Run a day with generator components, two resources and a store; return the number of sorties."""
    env = salabim.Environment()
    crew = salabim.Resource(capacity=1, monitor=False)
    chargers = salabim.Resource(capacity=CHARGERS, monitor=False)
    charged = salabim.Store(monitor=False)
    flight, service, charge = (iter(times["flight"]), iter(times["service"]), iter(times["charge"]))
    sorties = 0

    class Pack(salabim.Component):
        def charging(self):
            yield self.request(chargers)
            yield self.hold(next(charge))
            self.release()
            yield self.to_store(charged, self)

    class Aircraft(salabim.Component):
        def process(self):
            nonlocal sorties
            while True:
                pack = yield self.from_store(charged)
                yield self.request(crew)
                yield self.hold(next(service))
                self.release()
                yield self.hold(next(flight))
                sorties += 1
                pack.activate(process="charging")

    for _ in range(PACKS):
        Pack(process="").enter(charged)
    for _ in range(AIRCRAFT):
        Aircraft()
    env.run(till=DAY_S)
    return sorties


def in_usim(times):
    """Run a day with coroutines, borrowed resources and a queue; return the number of sorties."""
    flight, service, charge = (iter(times["flight"]), iter(times["service"]), iter(times["charge"]))
    sorties = 0

    async def day():
        crew, chargers, charged = (usim.Resources(people=1), usim.Resources(slots=CHARGERS), usim.Queue())
        for pack in range(PACKS):
            await charged.put(pack)

        async def charging(pack):
            async with chargers.borrow(slots=1):
                await (usim.time + next(charge))
            await charged.put(pack)

        async def aircraft():
            nonlocal sorties
            while True:
                pack = await charged
                async with crew.borrow(people=1):
                    await (usim.time + next(service))
                await (usim.time + next(flight))
                sorties += 1
                scope.do(charging(pack), volatile=True)

        async with usim.until(usim.time == DAY_S) as scope:
            for _ in range(AIRCRAFT):
                scope.do(aircraft())

    usim.run(day())
    return sorties
