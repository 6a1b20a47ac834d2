"""Crew, power source, supply, work list and turnaround, each alone."""

from types import SimpleNamespace

import pytest
import simpy
from small_day import day_of, plan_of, table, waits_s

from simulator.experiment.engine import engine
from simulator.operation.chargers import Charging
from simulator.operation.crew import Crew
from simulator.operation.launching import Airspace
from simulator.operation.log import DayLog, Reason, State
from simulator.operation.packs import Pack
from simulator.operation.people import AHEAD, FEED, TURNAROUND, Task
from simulator.operation.power import PowerSource
from simulator.operation.supply import Supply
from simulator.operation.turnaround import Part, overlay
from simulator.operation.work import Visit, WorkList
from simulator.scenario.schema_rig import Crew as CrewTable
from simulator.scenario.schema_rig import Supply as SupplyTable

# --- crew ---


class People:
    """A crew, what it has done and when."""

    def __init__(self, pumps=1, **values):
        self.env, self.log, self.done = simpy.Environment(0.0), DayLog(), []
        airspace = Airspace(1, 0.0, 0.0, False)
        self.crew = Crew(self.env, "rig", CrewTable.model_validate(values), pumps, airspace, self.log)

    def ask(self, kind, seconds, rank, name, people=1, then=None, **values):
        task = Task(kind, seconds, people, "anyone", rank, name, **values)

        def process():
            yield from self.crew.do(task)
            self.done.append((self.env.now, name))
            if then is not None:
                then()

        self.env.process(process())
        return task


def test_tasks_start_by_rank_then_in_order_of_asking():
    people = People(pilots=1, helpers=1, pilot_helps=False)
    people.ask(Reason.MIX, 10.0, AHEAD, "first")
    for name, rank in (("mix", AHEAD), ("plug", FEED), ("swap", TURNAROUND), ("fill", TURNAROUND)):
        people.ask(Reason.SWAP, 10.0, rank, name)
    people.env.run(until=1000.0)
    assert people.done == [(10.0, "first"), (20.0, "swap"), (30.0, "fill"), (40.0, "plug"), (50.0, "mix")]


def test_pumps_limit_fills_but_not_other_tasks():
    people = People(pumps=1, pilots=1, helpers=3)
    fills = [people.ask(Reason.FILL, 10.0, TURNAROUND, f"fill {n}", pump=True) for n in range(2)]
    people.ask(Reason.SWAP, 10.0, TURNAROUND, "swap")
    people.env.run(until=1000.0)
    assert people.done == [(10.0, "fill 0"), (10.0, "swap"), (20.0, "fill 1")]
    assert fills[1].holds == [(0.0, Reason.CREW_BUSY)]
    assert fills[1].blocked is Reason.PUMP_BUSY


def test_break_waits_for_tasks_and_holds_what_comes_later():
    people = People(pilots=1, helpers=2)
    env, began = people.env, []
    people.ask(Reason.SWAP, 10.0, TURNAROUND, "before")
    later = []

    def pause():
        yield env.timeout(0.0)
        gathered = people.crew.gather(Reason.BREAK)
        later.append(people.ask(Reason.SWAP, 10.0, TURNAROUND, "later"))
        yield gathered
        began.append(env.now)
        yield env.timeout(40.0)
        assert later[0].blocked is Reason.BREAK
        people.crew.release()

    env.process(pause())
    env.run(until=100.0)
    assert began == [10.0]
    assert people.done == [(10.0, "before"), (60.0, "later")]


def test_people_are_handed_on_after_who_asked_has_said_what_comes_next():
    people = People(pilots=1, helpers=1, pilot_helps=False)
    people.ask(Reason.FILL, 10.0, TURNAROUND, "half", then=lambda: people.ask(Reason.SWAP, 5.0, TURNAROUND, "next"))
    people.ask(Reason.MIX, 10.0, AHEAD, "mix")
    people.env.run(until=100.0)
    assert people.done == [(10.0, "half"), (15.0, "next"), (25.0, "mix")]


# --- power ---


def source_of(**changes):
    plan = plan_of(table(**changes)).rigs[0]
    env = simpy.Environment(0.0)
    source = PowerSource(env, "source", plan.power[0], DayLog())
    source.switch(True)
    return env, source, plan.packs[0][0]


def plug(source, plan, place, energy_wh):
    """Put a pack on charge; return it as it charges, and the list that gets the time when it is full."""
    slot, charged = source.slots[place], []
    charging = slot.charging = Charging(
        Pack(source.env, f"pack {place}", plan, energy_wh), slot, plan.capacity_wh, source.env.event()
    )
    source.charge(charging).callbacks.append(lambda _: charged.append(source.env.now))
    return charging, charged


TWO = {
    "rig__main__power": {"trailer": {"grid_power": "10 kW", "chargers": {"charger": 2}}},
    "pack__pack__cc_share": "100 %",
}


def test_a_short_source_serves_one_pack_after_the_other():
    env, source, plan = source_of(**TWO)
    (first, one_full), (second, two_full) = (plug(source, plan, place, 800.0) for place in range(2))
    # 8 kW at the terminals are 8.696 of the 10 kW at the bus (charger efficiency 0.92); the other gets the rest
    rest_w = (10_000 - 8000 / 0.92) * 0.92
    assert first.draw_w == pytest.approx(8000 * 0.99)
    assert not first.limited
    assert second.draw_w == pytest.approx(rest_w * 0.99)
    assert second.limited
    assert second.pack.state is State.CHARGE_LIMITED
    env.run(until=10000.0)
    # by hand: 1000 Wh at full power; what the second lacks then at full power, too
    first_s = 1000 / (8000 * 0.99) * 3600
    assert one_full == pytest.approx([first_s], abs=0.01)
    assert two_full == pytest.approx(
        [first_s + (1000 - rest_w * 0.99 * first_s / 3600) / (8000 * 0.99) * 3600], abs=0.01
    )
    assert source.bus_wh == pytest.approx(2 * 1000 / (0.92 * 0.99), rel=1e-6)
    assert second.pack.waits(0.0, 5000.0)[0][1] is Reason.GENERATOR_LIMITED


def test_the_rest_is_given_to_who_is_left():
    env, source, plan = source_of(**TWO)
    plug(source, plan, 0, 1799.0)
    late, _ = plug(source, plan, 1, 500.0)
    env.run(until=60.0)
    # its own charger's 8 kW, not the bus's 10
    assert late.draw_w == pytest.approx(8000 * 0.99)
    assert not late.limited


def test_tank_is_low_and_then_dry_and_runs_again_when_filled():
    env, source, plan = source_of(generator__generator__fuel_tank="0.5 L")
    charging, _ = plug(source, plan, 0, 100.0)
    low, dry = source.low, source.dry
    env.run(until=low)
    assert source.running
    env.run(until=20000.0)
    assert dry.processed
    assert not source.running
    assert source.fuel_burnt_l == pytest.approx(0.5, rel=0.01)
    held = charging.pack.energy_wh
    source.stop_to_refuel()
    env.run(until=20300.0)
    assert source.refuelled() == pytest.approx(0.5)
    env.run(until=20400.0)
    source.settle()
    assert charging.pack.energy_wh > held
    assert not source.low.triggered


def test_a_source_switched_off_is_no_shortage_of_power():
    env, source, plan = source_of(**TWO)
    charging, _ = plug(source, plan, 0, 100.0)
    source.switch(False)
    env.run(until=600.0)
    source.switch(True)
    assert charging.pack.delays_s == {Reason.MOVING: pytest.approx(600.0)}


# --- supply ---


def supply(ahead, **values):
    people = People(pilots=1, helpers=2)
    made = SupplyTable.model_validate(
        {"mix_tank": "100 L", "nurse_water": "500 L", "transfer_flow": "60 L/min", **values}
    )
    pace = SimpleNamespace(
        product_ahead=lambda _: ahead, use_per_s=lambda _: 0.01, product_here=lambda: 1e9, largest_load=30.0
    )
    begun = (made.mix_tank * made.start_mixed, made.nurse_water)
    mixing, crew = people.crew.table.tasks.mix, people.crew
    times = (lambda: 60.0, lambda: 600.0)
    return people.env, Supply(people.env, "supply", made, True, mixing, crew, people.log, pace, 1.0, *times, *begun)


@pytest.mark.skipif("compiled" in engine(), reason="the compiled model takes no stand-in for its pace")
def test_orders_are_served_in_turn_and_mixing_never_exceeds_what_can_be_flown():
    env, tank = supply(30.0, start_mixed="20 %", mix_at="0 %", transfer_flow="0.2 L/s")
    served = []
    assert tank.take(15.0)
    assert not tank.take(15.0)
    tank.ask(15.0).callbacks.append(lambda _: served.append(env.now))
    assert not tank.take(1.0)
    env.run(until=1000.0)
    # the first batch does not wait for a full one: the largest load, 30 L, less 5 in the tank; 95 % of it is water, let
    # in at 0.2 L/s: all 40 L that are needed would be ready more than half of 60 s later
    assert served == [pytest.approx(60 + 25 * 0.95 / 0.2)]
    assert tank.made == pytest.approx(25.0)
    assert tank.level == pytest.approx(15.0)
    tank.ask(30.0).callbacks.append(lambda _: served.append(env.now))
    env.run(until=2000.0)
    # 30 ordered and 30 ahead less 15 in the tank: no more than 45 L
    assert len(served) == 2
    assert 15.0 <= tank.made - 25.0 <= 45.0


@pytest.mark.skipif("compiled" in engine(), reason="the compiled model takes no stand-in for its pace")
def test_withdrawn_order_is_put_back():
    _, tank = supply(0.0, start_mixed="50 %")
    assert tank.take(30.0)
    tank.put_back(30.0)
    assert tank.level == pytest.approx(50.0)


# --- work list ---


def field_plans(count=2):
    return plan_of(table(field=[{"name": "f", "area": "1 ha", "ferry_distance": "0 m", "count": count}]))


def test_claims_are_consecutive_and_what_is_given_back_is_claimed_first():
    visit = Visit(0, field_plans().fields[0], 1)
    visit.claim(0.0, 4000.0)
    visit.claim(4000.0, 7000.0)
    assert visit.active == 2
    visit.settle(2500.0, 4000.0)
    assert visit.opening() == (2500.0, 4000.0)
    assert visit.remaining_m2 == pytest.approx(4500.0)
    with pytest.raises(ValueError, match="opening"):
        visit.claim(7000.0, 8000.0)
    visit.claim(2500.0, 3000.0)
    assert visit.opening() == (3000.0, 4000.0)
    visit.claim(3000.0, 4000.0)
    assert visit.opening() == (7000.0, pytest.approx(10000.0))
    # the end of the last claim goes back to the open part
    visit.claim(7000.0, 9000.0)
    visit.settle(8000.0, 9000.0)
    assert visit.opening() == (8000.0, pytest.approx(10000.0))
    assert not visit.returned


def test_what_an_evening_leaves_comes_first_in_the_morning():
    plan = field_plans()
    work = WorkList(plan.fields, plan.geography, False)
    first, second = work.next_visit(0.0), work.next_visit(0.0)
    second.claim(0.0, 1000.0)
    second.settle(400.0, 1000.0)
    assert work.next_visit(0.0) is None
    work.new_day()
    assert [work.next_visit(0.0), work.next_visit(0.0)] == [second, first]
    assert second.remaining_m2 == second.plan.area_m2 - 400.0
    first.claim(0.0, first.plan.area_m2)
    first.settle(first.plan.area_m2, first.plan.area_m2)
    work.new_day()
    assert work.remaining_m2() == {(1, second.index): second.remaining_m2}


# --- turnaround and waits ---


def test_services_are_laid_over_the_waits_of_the_longer_line():
    wait, fill, swap = State.WAIT, State.FILL, State.SWAP
    few = Reason.TOO_FEW_PACKS
    last = [Part(0.0, 10.0, swap, Reason.NONE), Part(10.0, 50.0, wait, few), Part(50.0, 60.0, swap, Reason.NONE)]
    other = [Part(0.0, 5.0, wait, Reason.NO_MIX), Part(5.0, 30.0, fill, Reason.NONE)]
    merged = overlay(last, other)
    assert [(one.start_s, one.end_s, one.state, one.reason) for one in merged] == [
        (0.0, 10.0, swap, Reason.NONE),
        (10.0, 30.0, fill, Reason.NONE),
        (30.0, 50.0, wait, few),
        (50.0, 60.0, swap, Reason.NONE),
    ]


SLOW = {
    "field": [{"name": "one", "area": "40 ha", "drive_distance": "0 m", "ferry_distance": "100 m"}],
    "day__window": "6 h",
}


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"rig__main__packs": {"pack": 2}, "pack__pack__cooling_time": "25 min"}, "too few packs"),
        ({"rig__main__packs": {"pack": 5}, "charger__charger__output_power": "2 kW"}, "chargers busy"),
        ({"generator__generator__rated_power": "2 kW", "rig__main__packs": {"pack": 2}}, "generator limited"),
        ({"rig__main__supply": {"mix_tank": "40 L", "transfer_flow": "4 L/min"}, "rig__main__packs": {"pack": 6},
          "rig__main__power": {"trailer": {"grid_power": "60 kW", "chargers": {"charger": 3}}}}, "no mix"),
        ({"rig__main__crew": {"pilots": 1, "helpers": 1, "pilot_helps": False,
          "tasks": {"plug_in": {"time": "1 s"}, "fill": {"time": "6 min"}, "swap": {"time": "6 min"}}}}, "crew busy"),
        ({"rig__main__aircraft": {"big": 2}, "rig__main__packs": {"pack": 9}, "aircraft__big__swap": "when needed",
          "rig__main__supply": {"start_mixed": "100 %", "pump_flow": "4 L/min"},
          "rig__main__crew": {"pilots": 2, "helpers": 3, "aircraft_per_pilot": 2}}, "pump busy"),
        ({"rig__main__aircraft": {"big": 3}, "rig__main__packs": {"pack": 12}, "flying": {"separation": "0 m"},
          "rig__main__power": {"trailer": {"grid_power": "60 kW", "chargers": {"charger": 4}}},
          "rig__main__supply": {"start_mixed": "100 %", "pump_flow": "100 gal/min"},
          "rig__main__crew": {"pilots": 1, "helpers": 5, "aircraft_per_pilot": 1},
          "rig__main__unload": "all"}, "pilot busy"),
    ],
)  # fmt: skip
def test_the_wait_is_put_down_to_what_is_scarce(changes, reason):
    waits = waits_s(day_of(table(**SLOW | changes)))
    assert max(waits, key=lambda word: waits[word]) == reason, waits
