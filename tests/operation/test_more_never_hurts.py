"""More of anything gets no less done when draws are common, and exactly as much where none of it is waited for.

The standing test of `more_never_hurts.py` in a short form, and additions to one scenario that is short of power.
"""

import functools

import numpy as np
import pytest
from more_never_hurts import acres, told, try_scenario, verdict
from small_day import SHORT_POWER, SPREAD, table


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_one_more_or_one_larger_of_anything_gets_no_less_done(seed):
    done = try_scenario(seed, runs=5)
    assert len(done["additions"]) >= 20
    assert not list(told(done))


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "only"), [(803, "charger"), (805, "faster"), (808, "source"), (816, "charge faster")])
def test_what_once_got_less_done_does_so_no_more(seed, only):
    done = try_scenario(seed, runs=5, only=only)
    assert done["additions"]
    assert not list(told(done))


ANY = {
    "a fourth pack": "rig.main.packs.pack=4",
    "a second charger on a short supply": "rig.main.power.trailer.chargers.charger=2",
    "power": "generator.generator.rated_power='20 kW'",
    "charger power": "charger.charger.output_power='12 kW'",
    "a second helper": "rig.main.crew.helpers=2",
    "a second pilot": "rig.main.crew.pilots=2",
    "a larger pump": "rig.main.supply.pump_flow='60 gal/min'",
}
ALONE = ANY | {
    "a second aircraft without anything of its own": "rig.main.aircraft.big=2",
    "a lower reserve": "pack.pack.reserve='12 %'",
    "a larger mix tank": "rig.main.supply.mix_tank='300 gal'",
    "a larger tank": "aircraft.big.tank='50 L'",
    "packs taken early": "rig.main.take_partly_charged=true",
}


@functools.cache
def done(aircraft, *more):
    return acres(SHORT_POWER, 8, 8, [f"rig.main.aircraft.big={aircraft}", *more])


IN_PAIRS = ("a fourth pack", "a second charger on a short supply", "a second helper")
"""What is tried with two aircraft in an ordinary run, too; the slow one tries all."""


@pytest.mark.parametrize(
    ("aircraft", "what"),
    [
        *((1, what) for what in ALONE),
        *(pytest.param(2, what, marks=[] if what in IN_PAIRS else [pytest.mark.slow]) for what in ANY),
    ],
)
def test_more_never_gets_less_done(aircraft, what):
    gain, error, hurts = verdict(done(aircraft), done(aircraft, ALONE[what]))
    assert not hurts, f"{gain:.2f} ± {error:.2f} acres"


# little is flown an hour, so nothing but the fill is ever waited for: a slow fill, quick charging, people to spare
UNHURRIED = table(
    **SPREAD
    | {
        "rig__main__crew": {
            "pilots": 2, "helpers": 3, "tasks": {"fill": {"time": "25 min", "people": 1}, "swap": {"time": "60 s"}}
        },
        "rig__main__packs": {"pack": 4},
        "rig__main__power": {"trailer": {"generator": "generator", "chargers": {"charger": 2}}},
        "rig__main__supply": {"start_mixed": "100 %", "mix_tank": "1000 gal"},
    }
)  # fmt: skip
unhurried = functools.cache(lambda *more: acres(UNHURRIED, 8, 5, more))


@pytest.mark.parametrize(
    "more",
    [
        "rig.main.packs.pack=6",
        "rig.main.power.trailer.chargers.charger=3",
        "generator.generator.rated_power='30 kW'",
        "rig.main.crew.helpers=5",
        "rig.main.crew.pilots=3",
        "rig.main.supply.pumps=3",
        "rig.main.supply.mix_tank='2000 gal'",
    ],
)
def test_more_of_what_nobody_waits_for_adds_exactly_nothing(more):
    np.testing.assert_allclose(unhurried(more), unhurried(), rtol=0, atol=1e-9)
