"""The terms of the published work-rate formula, met when nothing is waited for; `tests/validation` has the whole.

Source: Baltin (1959) as printed in G. A. Matthews, Pesticide Application Methods (from memory):
t = 1e4 [Tr Q/Qf + 1/(Vs S) + Tw/(S L) + 2 a Q/(Vf Qf) + C/(Vf F)] in s/ha.
"""

import pytest
from small_day import M2_PER_ACRE, day_of, rows, seconds, table

from simulator.operation.log import State

# 8 ha in passes of 300 m: 33.3 passes; 2 L/1000 m2, 40 L a load, so four loads of 2 ha
NEVER_WAITS = {
    "work": "once",
    "field": [{"name": "one", "area": "8 ha", "length_to_width": "1.125", "ferry_distance": "150 m"}],
    "flying__launch_interval": "0 s",
    # a pack large enough never to be swapped
    "pack__pack__energy": "60 kWh",
    # loading 150 s by 'fill' alone, take-off and landing 15 s each: Tr = 180 s
    "rig__main__crew": {"tasks": {"fill": {"time": "149 s"}}},
    "rig__main__supply": {"start_mixed": "100 %", "pump_flow": "40 L/s", "mix_tank": "4000 L", "nurse_water": "9000 L"},
}


@pytest.mark.parametrize(("load_l", "swath_m"), [(40, 6), (20, 8), (10, 10), (10, 6)])
def test_each_term_in_a_single_field(load_l, swath_m):
    made = table(**NEVER_WAITS | {"aircraft__big__tank": f"{load_l} L", "aircraft__big__swath": f"{swath_m} m"})
    day = day_of(made)
    loads = 160 / load_l
    assert len(day.log.sorties) == loads
    sorties = day.log.sorties
    per_ha = {
        "ferry": sum(one.ferry_out_s + one.ferry_back_s for one in sorties) / 8,
        "spray": sum(one.work_s for one in sorties) / 8,
        "turn": sum(one.turn_s for one in sorties) / 8,
        "fill": (sum(one.take_off_s + one.landing_s for one in sorties) + seconds(rows(day, state=State.FILL))) / 8,
    }
    # the fill takes 149 s and pumping a further load_l/40 s
    assert per_ha["fill"] == pytest.approx(1e4 * (179 + load_l / 40) * 0.002 / load_l)
    assert per_ha["ferry"] == pytest.approx(1e4 * 2 * 150 * 0.002 / (8 * load_l))
    width_m = 80000 / 300
    passes = -(-width_m // swath_m)
    assert per_ha["spray"] == pytest.approx(passes * 300 / 6 / 8)
    assert 1e4 / (6 * swath_m) <= per_ha["spray"] <= 1e4 / (6 * swath_m) * (1 + swath_m / width_m)
    # one turn between passes; loads that end at a pass end spare it
    assert (passes - 1 - loads) * 6 / 8 <= per_ha["turn"] <= (passes - 1) * 6 / 8


def test_rate_limited_by_flow_lowers_the_speed():
    # fundamental relationship, flow (gal/min) = rate (gal/acre) * land rate (acre/min); Wunderlich and Giles (UC):
    # 15 mph, 30 ft, 2 gal/acre -> 0.9091 acre/min, 1.818 gal/min (own arithmetic); half that flow halves the speed
    made = table(aircraft__big__swath="30 ft", aircraft__big__spray_speed="15 mph", product__rate="2 gal/acre")
    for flow, acre_per_min in (("1.8182 gal/min", 0.90909), ("0.9091 gal/min", 0.45455), ("9 gal/min", 0.90909)):
        made["aircraft"]["big"]["flow_max"] = flow
        day = day_of(made)
        acres = sum(one.path_m * 9.144 for one in day.log.sorties) / M2_PER_ACRE
        assert acres / (sum(one.work_s for one in day.log.sorties) / 60) == pytest.approx(acre_per_min, rel=1e-4)
