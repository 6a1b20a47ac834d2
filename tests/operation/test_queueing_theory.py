"""The operation model with exponential times is a known queue: it must meet the theory within 3 standard errors.

Sources: machine repair table, M. Rossetti, Simulation Modeling and Arena, appendix on queueing (N = 5, up-time 10 h,
repair 4 h); closed network, Bolch et al., Queueing Networks and Markov Chains, example 8.4, as the test of M.
Marzolla's queueing package; the same networks in the simulation library Ciw and by exact convolution.
"""

import math

import ciw
import numpy as np
import pytest
from queueing_formulas import closed_network, machine_repair
from small_day import plan_of, table

from simulator.operation.day import simulate
from simulator.scenario.streams import StreamBank

HOUR_S = 10.0
"""Seconds that stand for an hour of the tables: only ratios matter."""
NO_WAY = {"ferry_distance": "0 m", "drive_distance": "0 m"}
WARM_UP_S, COOL_DOWN_S = 1500.0, 1500.0


def exponential(hours):
    return {"dist": "exponential", "mean": f"{hours * HOUR_S} s"}


def network(aircraft, flight_h, **changes):
    """Return a scenario in which every load takes the same path, and nothing takes time but what a test declares."""
    nobody = {"time": "0 s", "people": 0}
    return table(
        day__window="40000 s",
        # 1 km passes at 10 m; a load covers 10 m of path, a hundred to the pass: no partial pass, no ferry, no turn
        field=[{"name": "one", "area": "100 km^2", "length_to_width": "1"} | NO_WAY],
        product__rate="4000 L/ha",
        flying={"separation": "0 m", "launch_interval": "0 s"},
        aircraft__big__swath="10 m",
        aircraft__big__spray_speed=f"{10 / (flight_h * HOUR_S)} m/s",
        aircraft__big__turn_time="0 s",
        aircraft__big__take_off_time="0 s",
        aircraft__big__landing_time="0 s",
        aircraft__big__flight_time_factor={"dist": "exponential", "mean": "1"},
        pack__pack__energy="1e8 Wh",
        pack__pack__charge_power_max="1e6 kW",
        pack__pack__cooling_time="0 s",
        charger__charger__output_power="1e6 kW",
        rig__main__aircraft={"big": aircraft},
        rig__main__packs={"pack": aircraft},
        rig__main__power={"trailer": {"grid_power": "1e6 kW", "chargers": {"charger": 1}}},
        rig__main__supply={
            "start_mixed": "100 %", "mix_tank": "1e7 L", "nurse_water": "1e8 L", "pump_flow": "1e9 L/s",
            "pumps": aircraft,
        },
        rig__main__crew={
            "pilots": 1, "helpers": 1, "aircraft_per_pilot": aircraft, "pilot_helps": False,
            "tasks": {"swap": nobody, "plug_in": nobody, "fill": nobody, "mix": nobody, "refuel": nobody},
        },
        rig__main__unload="all",
        rig__main__trailer={"yard_time": "0 s", "pack_up_time": "0 s", "set_up_time": "0 s"},
        **changes,
    )  # fmt: skip


def inside(start, end, window_s):
    return max(0.0, min(end, window_s - COOL_DOWN_S) - max(start, WARM_UP_S))


def means(made, measure, replications):
    """Return mean and standard error of time averages over independent days, clear of both ends of the day."""
    plan, bank, values = plan_of(made), StreamBank(20), []
    window_s = plan.last_landing_s
    span = window_s - WARM_UP_S - COOL_DOWN_S
    for replication in range(replications):
        day = simulate(plan, bank.day(replication), replication)
        flying = sum(inside(one.start_s, one.end_s, window_s) for one in day.log.sorties) / span
        states = {}
        for row in day.log.rows:
            key = (day.log.kinds[row.entity].value, row.state.value, row.reason.value)
            states[key] = states.get(key, 0.0) + inside(row.start_s, row.end_s, window_s) / span
        values.append(measure(flying, states))
    data = np.array(values)
    return data.mean(axis=0), data.std(axis=0, ddof=1) / math.sqrt(replications)


def assert_meets(found, error, theory, relative=0.0):
    found, error, theory = map(np.asarray, (found, error, theory))
    # three standard errors; half a unit of the last printed digit where the theory is a printed table
    assert np.all(np.abs(found - theory) <= 3 * error + relative * np.abs(theory) + 0.0005), (found, theory, error)


ROSSETTI = {1: (2.674, 1.744, 0.930), 2: (1.661, 0.325, 1.336), 3: (1.457, 0.040, 1.417), 4: (1.430, 0.002, 1.428)}


SLOW = {"marks": pytest.mark.slow}
BY_CREW = ("aircraft", "wait", "crew busy"), ("aircraft", "fill", "")
BY_CHARGERS = ("pack", "queue", ""), ("charger", "charge", "")


@pytest.mark.parametrize(
    ("servers", "states_of"),
    [
        (1, BY_CREW), (2, BY_CREW), pytest.param(3, BY_CREW, **SLOW), pytest.param(4, BY_CREW, **SLOW),
        pytest.param(1, BY_CHARGERS, **SLOW), (2, BY_CHARGERS),
    ],
)  # fmt: skip
def test_a_refill_crew_and_chargers_are_the_machine_repair_queue(servers, states_of):
    made = network(5, 10.0, **({} if states_of is BY_CREW else {"aircraft__big__swap": "every landing"}))
    if states_of is BY_CREW:
        made["rig"]["main"]["crew"]["helpers"] = servers
        made["rig"]["main"]["crew"]["tasks"]["fill"] = {"time": exponential(4.0), "people": 1}
    else:
        made["charger"]["charger"]["balance_time"] = exponential(4.0)
        made["rig"]["main"]["power"]["trailer"]["chargers"] = {"charger": servers}
    found, error = means(made, lambda flying, states: (5.0 - flying, *(states.get(one, 0.0) for one in states_of)), 5)
    # the model charges no pack in less than a millisecond
    relative = 0.0 if states_of is BY_CREW else 5e-4
    assert_meets(found, error, ROSSETTI[servers], relative)
    exact = machine_repair(5, servers, 10.0, 4.0)
    assert_meets(found, error, (exact.away, exact.waiting, exact.busy), relative)


SERVICE_H, SERVERS, JOBS = (0.5, 0.3, 0.4, 1.0), (2, 1, 1, math.inf), 3
BOLCH_PRESENT, BOLCH_RATE = (0.624, 0.473, 0.686, 1.217), 1.218


def cyclic():
    """Crew of two fills, one slot charges, one pilot checks, the flight is a delay."""
    made = network(JOBS, 3 * SERVICE_H[3], aircraft__big__swap="every landing", rig__main__swap_first=True)
    made["day"]["window"] = "24000 s"
    made["rig"]["main"]["crew"]["helpers"] = SERVERS[0]
    tasks = made["rig"]["main"]["crew"]["tasks"]
    tasks["fill"] = {"time": exponential(3 * SERVICE_H[0]), "people": 1}
    tasks["launch_check"] = {"time": exponential(3 * SERVICE_H[2]), "by": "pilot"}
    made["charger"]["charger"]["balance_time"] = exponential(3 * SERVICE_H[1])
    return made


def measure_cyclic(flying, states):
    aircraft = {key[1:]: value for key, value in states.items() if key[0] == "aircraft"}
    filling = aircraft.get(("fill", ""), 0.0) + aircraft.get(("wait", "crew busy"), 0.0)
    checking = aircraft.get(("launch check", ""), 0.0) + aircraft.get(("wait", "pilot busy"), 0.0)
    charging = states.get(("pack", "queue", ""), 0.0) + states.get(("charger", "charge", ""), 0.0)
    return filling, charging, checking, flying


@pytest.fixture(scope="module")
def cycling():
    return means(cyclic(), measure_cyclic, 6)


def test_closed_network_of_crew_charger_pilot_and_flight(cycling):
    found, error = cycling
    assert_meets(found, error, BOLCH_PRESENT, relative=5e-4)
    # the flight is a delay of 1: cycles in a unit of time are the number in flight (Little)
    assert_meets(found[3], error[3], BOLCH_RATE, relative=5e-4)
    exact = closed_network(JOBS, SERVICE_H, (1.0,) * 4, SERVERS)
    assert_meets(found, error, exact.present, relative=5e-4)


def test_closed_network_agrees_with_a_reference_library(cycling):
    routing = [[0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0], [1.0, 0.0, 0.0, 0.0]]
    reference = ciw.create_network(
        arrival_distributions=[ciw.dists.Sequential([1e-6, 1e12]), None, None, None],
        batching_distributions=[ciw.dists.Deterministic(JOBS), None, None, None],
        service_distributions=[ciw.dists.Exponential(1 / mean) for mean in SERVICE_H],
        number_of_servers=[2, 1, 1, float("inf")],
        routing=routing,
    )
    values = []
    for seed in range(8):
        ciw.seed(seed)
        simulation = ciw.Simulation(reference)
        simulation.simulate_until_max_time(600.0)
        stays = [0.0] * 4
        for record in simulation.get_all_records():
            stays[record.node - 1] += max(0.0, min(record.exit_date, 580.0) - max(record.arrival_date, 20.0)) / 560.0
        values.append(stays)
    data = np.array(values)
    reference_mean, reference_error = data.mean(axis=0), data.std(axis=0, ddof=1) / math.sqrt(len(data))
    found, error = cycling
    assert_meets(found, np.hypot(error, reference_error), reference_mean)
