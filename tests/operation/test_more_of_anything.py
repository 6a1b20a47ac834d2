"""More of anything never hurts beyond noise when draws are common.

And adds exactly nothing where none of it is waited for.
"""

import math

import numpy as np
import pytest
from small_day import area_m2, plan_of, table

from simulator.analysis.conservation import verify_day
from simulator.operation.day import simulate
from simulator.scenario.streams import StreamBank

DAYS = 10

SPREAD = {
    "aircraft__big__flight_time_factor": {"dist": "normal", "mean": "1", "sd": "0.08", "low": "0.7", "high": "1.4"},
    "rig__main__crew": {
        "pilots": 1,
        "helpers": 1,
        "tasks": {
            "swap": {"time": {"dist": "lognormal", "mean": "60 s", "cv": 0.3}},
            "fill": {"time": {"dist": "lognormal", "mean": "40 s", "cv": 0.3}},
        },
    },
}


def areas(made, settings=()):
    plan, bank = plan_of(made, settings), StreamBank(8)
    found = []
    for replication in range(DAYS):
        day = simulate(plan, bank.day(replication), replication)
        verify_day(plan, day)
        found.append(area_m2(day))
    return np.array(found)


MORE = {
    "pack": "rig.main.packs.pack=4",
    "charger": "rig.main.power.trailer.chargers.charger=2",
    "power": "generator.generator.rated_power='20 kW'",
    "charger power": "charger.charger.output_power='12 kW'",
    "helper": "rig.main.crew.helpers=2",
    "pilot": "rig.main.crew.pilots=2",
    "pump": "rig.main.supply.pump_flow='60 gal/min'",
}


@pytest.mark.parametrize("what", MORE)
@pytest.mark.parametrize("aircraft", [1, 2])
def test_more_never_hurts(what, aircraft):
    made = table(
        **SPREAD
        | {"rig__main__aircraft": {"big": aircraft}, "rig__main__supply": {"mix_tank": "100 gal"}, "day__window": "6 h"}
    )
    made["generator"]["generator"]["rated_power"] = "9 kW"
    difference = areas(made, [MORE[what]]) - areas(made)
    error = difference.std(ddof=1) / math.sqrt(DAYS)
    # a day ends with a load more or less, by chance of when it ends: that is the noise
    assert difference.mean() >= -3 * error - 1e-9


# little is flown an hour, so nothing but the fill is ever waited for: a slow fill, quick charging, people to spare
UNHURRIED = SPREAD | {
    "rig__main__crew": {
        "pilots": 2,
        "helpers": 3,
        "tasks": {"fill": {"time": "25 min", "people": 1}, "swap": {"time": "60 s"}},
    },
    "rig__main__packs": {"pack": 4},
    "rig__main__power": {"trailer": {"generator": "generator", "chargers": {"charger": 2}}},
    "rig__main__supply": {"start_mixed": "100 %", "mix_tank": "1000 gal"},
}


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
    made = table(**UNHURRIED)
    np.testing.assert_allclose(areas(made, [more]), areas(made), rtol=0, atol=1e-9 * 4046.8564224)
