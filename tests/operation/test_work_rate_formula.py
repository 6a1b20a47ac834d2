"""The published work-rate formula of aerial application, met by the operation model when nothing is waited for.

Source: Baltin (1959) as printed in G. A. Matthews, Pesticide Application Methods (from memory):
t = 1e4 [Tr Q/Qf + 1/(Vs S) + Tw/(S L) + 2 a Q/(Vf Qf) + C/(Vf F)] in s/ha.
"""

import pytest
from small_day import area_m2, day_of, table

from simulator.operation.log import State


def baltin_s_per_ha(tr, q, qf, vs, vf, s, tw, length, a, c, f):
    return 1e4 * (tr * q / qf + 1 / (vs * s) + tw / (s * length) + 2 * a * q / (vf * qf) + c / (vf * f))


# 8 ha in passes of 300 m: 33.3 passes; 2 L/1000 m2, 40 L a load, so four loads of 2 ha
NEVER_WAITS = {
    "work": "once",
    "field": [
        {
            "name": "one",
            "area": "8 ha",
            "length_to_width": str(300 / (80000 / 300)),
            "ferry_distance": "150 m",
            "drive_distance": "0 m",
        }
    ],
    "flying__launch_interval": "0 s",
    # a pack large enough never to be swapped
    "pack__pack__energy": "60 kWh",
    # loading 150 s by 'fill' alone, take-off and landing 15 s each: Tr = 180 s
    "rig__main__crew": {"tasks": {"fill": {"time": "149 s"}}},
    "rig__main__supply": {"start_mixed": "100 %", "pump_flow": "40 L/s", "mix_tank": "4000 L", "nurse_water": "9000 L"},
}


def test_worked_example_of_the_formula():
    # own arithmetic on the formula: 90.00 + 208.33 + 25.00 + 18.75 + 31.25
    assert baltin_s_per_ha(180, 0.002, 40, 6, 8, 8, 6, 300, 150, 2000, 80000) == pytest.approx(373.33, abs=0.005)


def test_model_meets_the_formula_with_the_drive_between_fields():
    fields = [
        {
            "name": f"field {n}",
            "area": "8 ha",
            "length_to_width": str(300 / (80000 / 300)),
            "ferry_distance": "150 m",
            "drive_distance": "2 km",
        }
        for n in range(8)
    ]
    made = table(**NEVER_WAITS | {"field": fields, "route__road_speed": "8 m/s", "yard__drive_distance": "2 km"})
    day = day_of(made)
    assert area_m2(day) == pytest.approx(8 * 80000)
    # from the start of the first drive (yard to field counts as one of the eight) to the last landing
    per_ha = day.log.last_landing_s / 64
    expected = baltin_s_per_ha(180, 0.002, 40, 6, 8, 8, 6, 300, 150, 2000, 80000)
    # 33.33 passes a field: the thirty-fourth is narrower but as long, so spray and turns may exceed by 34/33.33 (2 %);
    # turns fall between passes, of which a load's end may cut one: below by at most one turn a load
    assert expected - 4 * 6 / 8 <= per_ha <= expected * 1.02 + 0.5


@pytest.mark.parametrize("load_l", [40, 20, 10])
@pytest.mark.parametrize("swath_m", [6, 8, 10])
def test_each_term_in_a_single_field(load_l, swath_m):
    made = table(**NEVER_WAITS | {"aircraft__big__tank": f"{load_l} L", "aircraft__big__swath": f"{swath_m} m"})
    day = day_of(made)
    loads = 160 / load_l
    assert len(day.log.sorties) == loads
    per_ha = dict.fromkeys(("fill", "ferry", "spray", "turn"), 0.0)
    for one in day.log.sorties:
        per_ha["ferry"] += (one.ferry_out_s + one.ferry_back_s) / 8
        per_ha["spray"] += one.work_s / 8
        per_ha["turn"] += one.turn_s / 8
        per_ha["fill"] += (one.take_off_s + one.landing_s) / 8
    per_ha["fill"] += sum(row.end_s - row.start_s for row in day.log.rows if row.state is State.FILL) / 8
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
        acres = sum(one.path_m * 9.144 for one in day.log.sorties) / 4046.8564224
        assert acres / (sum(one.work_s for one in day.log.sorties) / 60) == pytest.approx(acre_per_min, rel=1e-4)


def test_field_capacity_formula():
    # ASABE EP496/D497: C = S W E / 8.25 acre/h (mph, ft), with E the share of field time in which it sprays
    made = table(aircraft__big__swath="30 ft", aircraft__big__spray_speed="15 mph", product__rate="2 gal/acre")
    day = day_of(made)
    spraying = sum(one.work_s for one in day.log.sorties)
    field_h = (day.log.last_landing_s - day.log.sorties[0].start_s) / 3600
    efficiency = spraying / 3600 / field_h
    flown_acres = sum(one.path_m * 9.144 for one in day.log.sorties) / 4046.8564224
    assert flown_acres / field_h == pytest.approx(15 * 30 * efficiency / 8.25, rel=1e-9)
    # overlap of the last, narrower pass is the only difference from the area treated
    assert area_m2(day) / 4046.8564224 == pytest.approx(flown_acres, rel=0.03)
