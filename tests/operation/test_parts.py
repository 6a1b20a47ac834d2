"""Crew, power point, supply, work list and turnaround, each alone."""

import pytest
from simulator.operation.kernel import DayClock
from small_day import day_of, plan_of, table, waits_s

from simulator.operation.crew import AHEAD, FEED, TURNAROUND, Crew, Job
from simulator.operation.log import DayLog, Reason, State
from simulator.operation.packs import Pack
from simulator.operation.power import PowerPoint, Session
from simulator.operation.supply import Supply
from simulator.operation.turnaround import _overlay
from simulator.operation.work import Visit, WorkList
from simulator.scenario.schema_rig import Crew as CrewTable
from simulator.scenario.schema_rig import Supply as SupplyTable

# --- crew ---


def crew(pumps=1, **values):
    clock, log = DayClock(), DayLog()
    return clock, log, Crew(clock, "rig", CrewTable.model_validate(values), pumps, log)


def ended(clock):
    done = []
    return done, lambda job: done.append((clock.now, job.subject))


def test_tasks_start_by_rank_then_in_order_of_asking():
    clock, _, people = crew(pilots=1, helpers=1, pilot_helps=False)
    done, call = ended(clock)
    people.request(Job(Reason.MIX, 10.0, 1, "anyone", AHEAD, call, "first"))
    for name, rank in (("mix", AHEAD), ("plug", FEED), ("swap", TURNAROUND), ("fill", TURNAROUND)):
        people.request(Job(Reason.SWAP, 10.0, 1, "anyone", rank, call, name))
    clock.run_until(1000.0)
    assert done == [(10.0, "first"), (20.0, "swap"), (30.0, "fill"), (40.0, "plug"), (50.0, "mix")]


def test_pumps_limit_fills_but_not_other_tasks():
    clock, _, people = crew(pumps=1, pilots=1, helpers=3)
    done, call = ended(clock)
    jobs = [Job(Reason.FILL, 10.0, 1, "anyone", TURNAROUND, call, f"fill {n}", pump=True) for n in range(2)]
    for job in jobs:
        people.request(job)
    people.request(Job(Reason.SWAP, 10.0, 1, "anyone", TURNAROUND, call, "swap"))
    clock.run_until(1000.0)
    assert done == [(10.0, "fill 0"), (10.0, "swap"), (20.0, "fill 1")]
    assert jobs[1].holds == [(0.0, Reason.CREW_BUSY)]
    assert jobs[1].blocked is Reason.PUMP_BUSY


def test_break_waits_for_tasks_and_holds_what_comes_later():
    clock, _, people = crew(pilots=1, helpers=2)
    done, call = ended(clock)
    people.request(Job(Reason.SWAP, 10.0, 1, "anyone", TURNAROUND, call, "before"))
    began = []
    people.seize(Reason.BREAK, lambda: began.append(clock.now))
    later = Job(Reason.SWAP, 10.0, 1, "anyone", TURNAROUND, call, "later")
    people.request(later)
    clock.run_until(50.0)
    assert began == [10.0]
    assert later.blocked is Reason.BREAK
    people.release()
    clock.run_until(100.0)
    assert done == [(10.0, "before"), (60.0, "later")]


def test_who_is_away_holds_up_no_break():
    clock, _, people = crew(pilots=1, helpers=1)
    done, call = ended(clock)
    people.request(Job(Reason.RESTOCK, 500.0, 1, "anyone", AHEAD, call, "trip", away=True))
    began = []
    people.seize(Reason.BREAK, lambda: began.append([person.name for person in people.present]))
    assert began == [["rig/pilot 1"]]
    clock.run_until(1000.0)
    assert done == [(500.0, "trip")]


def test_a_start_that_asks_for_people_loses_no_task():
    clock, _, people = crew(pilots=1, helpers=2, pilot_helps=False)
    done, call = ended(clock)
    first = Job(Reason.REFUEL, 10.0, 1, "anyone", TURNAROUND, call, "refuel")
    first.begin = lambda: people.request(Job(Reason.SWAP, 10.0, 1, "anyone", TURNAROUND, call, "asked"))
    people.request(first)
    people.request(Job(Reason.SWAP, 10.0, 1, "anyone", TURNAROUND, call, "last"))
    clock.run_until(100.0)
    assert sorted(name for _, name in done) == ["asked", "last", "refuel"]


# --- power ---


def point(refuels, **changes):
    made = table(**changes)
    plan = plan_of(made).rigs[0]
    clock, log, charged = DayClock(), DayLog(), []
    source = PowerPoint(
        clock, "point", plan.power[0], log, lambda session: charged.append((clock.now, session)), refuels.append
    )
    source.switch(True)
    return clock, source, plan.packs[0][0], charged


def plug(clock, source, plan, place, energy_wh):
    pack, slot = Pack(f"pack {place}", plan, energy_wh), source.slots[place]
    session = Session(pack, slot, plan.capacity_wh, 0.0, clock.now)
    slot.session, slot.taken = session, True
    source.start(session)
    return session


TWO = {
    "rig__main__power": {"trailer": {"grid_power": "10 kW", "chargers": {"charger": 2}}},
    "pack__pack__cc_share": "100 %",
}


def test_source_is_shared_equally_while_it_is_short():
    clock, source, plan, charged = point([], **TWO)
    sessions = [plug(clock, source, plan, place, 800.0) for place in range(2)]
    # 5 kW of the bus each, at charger efficiency 0.92 and charge efficiency 0.99
    for session in sessions:
        assert session.draw_w == pytest.approx(5000 * 0.92 * 0.99)
        assert session.limited
        assert session.pack.state is State.CHARGE_LIMITED
    clock.run_until(10000.0)
    assert [time for time, _ in charged] == pytest.approx([1000 / (5000 * 0.92 * 0.99) * 3600] * 2, abs=0.01)
    assert source.bus_wh == pytest.approx(2 * 1000 / (0.92 * 0.99), rel=1e-6)
    assert sessions[0].pack.waits(0.0, 5000.0)[0][2] is Reason.GENERATOR_LIMITED


def test_the_rest_is_given_to_who_is_left():
    clock, source, plan, _ = point([], **TWO)
    plug(clock, source, plan, 0, 1799.0)
    late = plug(clock, source, plan, 1, 500.0)
    clock.run_until(60.0)
    # its own charger's 8 kW, not the bus's 10
    assert late.draw_w == pytest.approx(8000 * 0.99)
    assert not late.limited


def test_tank_is_asked_for_at_its_level_and_again_when_empty():
    refuels = []
    clock, source, plan, _ = point(refuels, generator__generator__fuel_tank="0.5 L")
    session = plug(clock, source, plan, 0, 100.0)
    clock.run_until(20000.0)
    assert len(refuels) == 2
    assert not source.running
    assert source.fuel_burnt_l == pytest.approx(0.5, rel=0.01)
    held = session.pack.energy_wh
    source.begin_refuel()
    clock.run_until(20300.0)
    assert source.end_refuel() == pytest.approx(0.5)
    clock.run_until(20400.0)
    source.advance()
    assert session.pack.energy_wh > held


def test_a_source_switched_off_is_no_shortage_of_power():
    clock, source, plan, _ = point([], **TWO)
    session = plug(clock, source, plan, 0, 100.0)
    source.switch(False)
    clock.run_until(600.0)
    source.switch(True)
    assert session.pack.delays_s == {Reason.MOVING: pytest.approx(600.0)}


# --- supply ---


def supply(ahead, **values):
    clock, log, people = crew(pilots=1, helpers=2)
    made = SupplyTable.model_validate(
        {"mix_tank": "100 L", "nurse_water": "500 L", "transfer_flow": "60 L/min", **values}
    )
    mixing = people.table.tasks.mix
    return clock, Supply(clock, "supply", made, True, mixing, people, log, ahead, lambda: 60.0, lambda: 600.0)


def test_orders_are_served_in_turn_and_mixing_never_exceeds_what_can_be_flown():
    clock, tank = supply(lambda: 30.0, start_mixed="20 %", mix_at="0 %")
    served = []
    tank.request(15.0, lambda: served.append((clock.now, 1)))
    tank.request(15.0, lambda: served.append((clock.now, 2)))
    clock.run_until(1000.0)
    assert served[0] == (0.0, 1)
    # 15 ordered and 30 ahead less 5 in the tank: 40 L, of which 95 % is water let in at 1 L/s
    assert served[1] == (pytest.approx(60 + 40 * 0.95), 2)
    assert tank.made == pytest.approx(40.0)
    assert tank.level == pytest.approx(30.0)


def test_withdrawn_order_is_put_back():
    _, tank = supply(lambda: 0.0, start_mixed="50 %")
    tank.request(30.0, lambda: None)
    tank.put_back(30.0)
    assert tank.level == pytest.approx(50.0)


# --- work list ---


def field_plans(count=2):
    return plan_of(
        table(
            field=[
                {"name": f"f{n}", "area": "1 ha", "drive_distance": "0 m", "ferry_distance": "0 m"}
                for n in range(count)
            ]
        )
    )


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


def test_list_runs_out_or_repeats():
    plan = field_plans()
    once, again = (WorkList(plan.fields, plan.geography, repeat) for repeat in (False, True))
    assert [once.next_visit(0.0).index for _ in range(2)] == [0, 1]
    assert once.next_visit(0.0) is None
    assert once.peek(0.0) is None
    assert not once.all_finished
    once.finish()
    once.finish()
    assert once.all_finished
    visits = [again.next_visit(0.0) for _ in range(4)]
    assert [(one.index, one.number) for one in visits] == [(0, 1), (1, 1), (0, 2), (1, 2)]
    again.finish()
    again.finish()
    assert not again.all_finished


# --- turnaround and waits ---


def test_services_are_laid_over_the_waits_of_the_longer_branch():
    wait, fill, swap = State.WAIT, State.FILL, State.SWAP
    last = [(0.0, 10.0, swap, Reason.NONE), (10.0, 50.0, wait, Reason.TOO_FEW_PACKS), (50.0, 60.0, swap, Reason.NONE)]
    other = [(0.0, 5.0, wait, Reason.NO_MIX), (5.0, 30.0, fill, Reason.NONE)]
    assert _overlay(last, other) == [
        (0.0, 10.0, swap, Reason.NONE),
        (10.0, 30.0, fill, Reason.NONE),
        (30.0, 50.0, wait, Reason.TOO_FEW_PACKS),
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
          "rig__main__crew": {"pilots": 1, "helpers": 5, "aircraft_per_pilot": 1}}, "pilot busy"),
    ],
)  # fmt: skip
def test_the_wait_is_put_down_to_what_is_scarce(changes, reason):
    waits = waits_s(day_of(table(**SLOW | changes)))
    assert max(waits, key=lambda word: waits[word]) == reason, waits
