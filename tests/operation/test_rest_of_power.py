"""What packs that are nearly full leave of a charger or a source goes to the next at once, as fine steps show."""

import itertools

import pytest
import simpy

from simulator.operation.chargers import Charging, in_order_of_need
from simulator.operation.log import DayLog
from simulator.operation.packs import Pack
from simulator.operation.power import PowerSource
from simulator.physics.charge import ChargeCurve
from simulator.plan.equipment import ChargerPlan, PackPlan, PowerPointPlan
from simulator.scenario.distributions import Constant

STEP_S = 0.5
EFFICIENCY, STORED = 0.9, 0.95
CAPACITY_WH = 1500.0


def by_events(source_w, slots, chargers, begun_wh, until_s, least_w=500.0):
    """Charge packs by the model; return the source and the packs on charge."""
    env, nothing = simpy.Environment(), Constant(0.0)
    curve = ChargeCurve(CAPACITY_WH, 6000.0, 0.7, 0.1)
    kind = PackPlan("pack", ("big",), 9.0, CAPACITY_WH, 300.0, curve, STORED, nothing)
    charger = ChargerPlan("charger", ("pack",), slots, 5000.0, 4500.0, least_w, EFFICIENCY, nothing)
    source = PowerSource(
        env, "trailer", PowerPointPlan("trailer", None, source_w, 0.0, ((charger, chargers),)), DayLog()
    )
    source.switch(True)
    packs = [Pack(env, f"pack {number}", kind, wh) for number, wh in enumerate(begun_wh)]
    ones = [Charging(pack, slot, CAPACITY_WH, env.event()) for pack, slot in zip(packs, source.slots, strict=False)]
    for one in ones:
        source.charge(one)
    env.run(until=until_s)
    source.settle()
    return source, ones


def by_steps(source_w, slots, chargers, begun_wh, until_s):
    """Charge the same packs in small steps, each in turn what those before it leave; return energies (Wh)."""
    _, ones = by_events(source_w, slots, chargers, begun_wh, 1e-6)
    energies = list(begun_wh)
    for _ in range(round(until_s / STEP_S)):
        for one, energy_wh in zip(ones, energies, strict=True):
            one.pack.energy_wh = energy_wh
        left_w, left_of_w = source_w, [5000.0 / EFFICIENCY] * chargers
        for one in in_order_of_need([one for one in ones if one.pack.energy_wh < CAPACITY_WH]):
            place, number = ones.index(one), one.slot.charger.number
            wanted_w = one.wanted_w()
            given_w = min(wanted_w, left_w, left_of_w[number])
            if given_w < wanted_w and 5000.0 / EFFICIENCY - left_of_w[number] + given_w < 500.0 / EFFICIENCY:
                given_w = 0.0
            left_w -= given_w
            left_of_w[number] -= given_w
            energies[place] = min(CAPACITY_WH, energies[place] + given_w * EFFICIENCY * STORED * STEP_S / 3600.0)
    return energies


@pytest.mark.parametrize(
    ("source_w", "slots", "chargers", "begun_wh"),
    [
        (6000.0, 1, 2, (900.0, 400.0)),
        (7000.0, 1, 3, (1000.0, 600.0, 300.0)),
        (9000.0, 2, 2, (1200.0, 900.0, 600.0, 300.0)),
        (20000.0, 3, 1, (1200.0, 700.0, 300.0)),
        (3000.0, 2, 1, (900.0, 900.0)),
    ],
)
def test_packs_hold_what_fine_steps_give_them(source_w, slots, chargers, begun_wh):
    for until_s in itertools.accumulate([300.0] * 8):
        source, ones = by_events(source_w, slots, chargers, begun_wh, until_s)
        expected = by_steps(source_w, slots, chargers, begun_wh, until_s)
        assert [one.pack.energy_wh for one in ones] == pytest.approx(expected, abs=0.004 * CAPACITY_WH)
        assert source.bus_wh <= source_w * until_s / 3600.0 * (1.0 + 1e-9)


def test_a_short_source_gives_all_it_has_while_somebody_takes_it():
    source, ones = by_events(6000.0, 1, 2, (1000.0, 200.0), 600.0, least_w=0.0)
    assert not ones[1].full.triggered
    assert source.bus_wh == pytest.approx(6000.0 * 600.0 / 3600.0, rel=1e-6)
