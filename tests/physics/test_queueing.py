"""Queueing formulas against the published tables named beside each check."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.physics.queueing import (
    asymptotic_bounds,
    closed_network,
    erlang_c,
    gi_g_c,
    machine_repair,
    mg1,
    mmc,
    mmc_at_least,
)


def close(digits):
    """Allow what a number printed with so many decimals leaves open."""
    return {"abs": 0.5000001 * 10.0**-digits}


@pytest.mark.parametrize(
    ("c", "away", "waiting", "busy", "share", "cost", "up", "p0", "away_h", "waiting_h"),
    [
        (1, 2.674, 1.744, 0.930, 0.930, 175.460, 0.465, 0.06973, 11.499, 7.499),
        (2, 1.661, 0.325, 1.336, 0.668, 129.655, 0.668, 0.16609, 4.974, 0.974),
        (3, 1.457, 0.040, 1.417, 0.472, 132.419, 0.709, 0.18405, 4.112, 0.112),
        (4, 1.430, 0.002, 1.428, 0.357, 145.816, 0.714, 0.18585, 4.007, 0.007),
        (5, 1.429, 0.000, 1.429, 0.286, 160.714, 0.714, 0.18593, 4.000, 0.0),
    ],
)
def test_machine_repair(c, away, waiting, busy, share, cost, up, p0, away_h, waiting_h):
    """Rossetti, Simulation Modeling and Arena, appendix on queueing theory, example exMIM; last three columns own."""
    result = machine_repair(5, c, 10.0, 4.0)
    assert result.away == pytest.approx(away, **close(3))
    assert result.waiting == pytest.approx(waiting, **close(3))
    assert result.busy == pytest.approx(busy, **close(3))
    assert result.repairer_share == pytest.approx(share, **close(3))
    assert 60 * result.away + 15 * c == pytest.approx(cost, **close(3))
    assert result.machine_share == pytest.approx(up, **close(3))
    assert result.probabilities[0] == pytest.approx(p0, **close(5))
    assert result.away_s == pytest.approx(away_h, **close(3))
    assert result.waiting_s == pytest.approx(waiting_h, **close(3))
    assert math.fsum(result.probabilities) == pytest.approx(1.0)
    assert result.rate_per_s * result.away_s == pytest.approx(result.away)  # Little


def test_interactive_system():
    """Jain (1991), The Art of Computer Systems Performance Analysis, p. 577."""
    service, visits = (0.125, 0.3, 0.2), (16, 10, 5)
    result = closed_network(20, service, visits, think_s=4.0)
    assert result.residence_s == pytest.approx([0.373, 4.854, 0.300], **close(3))
    assert result.present == pytest.approx([1.991, 16.177, 0.500], **close(3))
    own = {1: (0.1, 6.0), 2: (0.1754, 7.4), 3: (0.2292, 9.088), 5: (0.2898, 13.256), 10: (0.3282, 26.470)}
    for jobs, (rate, response_s) in {**own, 20: (0.3332, 56.016)}.items():
        result = closed_network(jobs, service, visits, think_s=4.0)
        assert result.rate_per_s == pytest.approx(rate, **close(4))
        assert result.response_s == pytest.approx(response_s, **close(3))
    bounds = asymptotic_bounds(20, (2, 3, 1), 4.0)
    assert bounds.rate_most_per_s == pytest.approx(1 / 3)
    assert bounds.knee_jobs == pytest.approx(10 / 3)


def test_several_servers_and_delay():
    """Bolch et al., Queueing Networks and Markov Chains, example 8.4, p. 333."""
    result = closed_network(3, (0.5, 0.6, 0.8, 1), (1, 0.5, 0.5, 1), (2, 1, 1, math.inf))
    assert result.present == pytest.approx([0.624, 0.473, 0.686, 1.217], abs=0.001)  # 1.2175 printed as 1.217
    assert result.present == pytest.approx([0.6237, 0.4729, 0.6860, 1.2175], **close(4))
    assert result.station_rate_per_s == pytest.approx([1.218, 0.609, 0.609, 1.218], abs=0.001)
    assert result.rate_per_s == pytest.approx(1.21746, **close(5))
    assert result.residence_s == pytest.approx([0.512, 0.776, 1.127, 1.0], abs=0.001)


def test_central_server():
    """Bolch et al., Queueing Networks and Markov Chains, example 8.3, p. 331."""
    result = closed_network(6, (0.02, 0.2, 0.4, 0.6), (1, 0.4, 0.2, 0.1))
    assert result.busy_share == pytest.approx([0.198, 0.794, 0.794, 0.595], **close(3))
    assert result.residence_s == pytest.approx([0.025, 0.570, 1.140, 1.244], **close(3))
    assert result.present == pytest.approx([0.244, 2.261, 2.261, 1.234], **close(3))
    assert result.station_rate_per_s == pytest.approx([9.920, 3.968, 1.984, 0.992], **close(3))


def test_asymptotic_bounds():
    """Test case of Marzolla's queueing package (qncsaba), after Lazowska et al. (1984), chapter 5."""
    bounds = asymptotic_bounds(20, (9.2, 8.0), 120.0)
    assert bounds.rate_most_per_s == pytest.approx(0.109, **close(3))
    assert bounds.response_least_s == pytest.approx(64.0)


def test_littles_law():
    """Five jobs always in the system, 15 minutes each, make 480 a day (published example of Little's law)."""
    result = closed_network(5, (15.0,), (1.0,), (math.inf,))
    assert result.rate_per_s * 24 * 60 == pytest.approx(480.0)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(1, 60),
    st.lists(
        st.tuples(st.floats(0.01, 20), st.floats(0.1, 10), st.sampled_from([1, 2, 3, math.inf])), min_size=1, max_size=5
    ),
    st.floats(0, 100),
)
def test_laws_and_bounds_hold(jobs, stations, think_s):
    """Little's law, utilisation law and the asymptotic bounds (Denning & Buzen 1978)."""
    service, visits, servers = zip(*stations, strict=True)
    result = closed_network(jobs, service, visits, servers, think_s)
    assert result.present.sum() + result.rate_per_s * think_s == pytest.approx(jobs)
    queueing = [s * v / c for s, v, c in stations if math.isfinite(c)]
    delays = sum(s * v for s, v, c in stations if math.isinf(c)) + think_s
    assert result.rate_per_s <= jobs / (sum(s * v for s, v, _ in stations) + think_s) * (1 + 1e-9)
    if queueing:
        assert result.rate_per_s <= asymptotic_bounds(jobs, queueing, delays).rate_most_per_s * (1 + 1e-9)
        assert all(share <= 1 + 1e-9 for share, c in zip(result.busy_share, servers, strict=True) if math.isfinite(c))


def test_closed_network_is_the_machine_repair_model():
    """One station with c servers and a delay is M/M/c//N: two routes to one number."""
    for repairers in (1, 2, 3):
        network = closed_network(5, (4.0,), (1.0,), (repairers,), 10.0)
        assert network.present[0] == pytest.approx(machine_repair(5, repairers, 10.0, 4.0).away)


def test_many_jobs_stay_in_range():
    result = closed_network(2000, (0.5, 3.0), (1, 1), (2, 1), 1e4)
    assert result.rate_per_s == pytest.approx(2000 / (1e4 + result.response_s))
    assert 0.19 < result.rate_per_s < 0.2


@pytest.mark.parametrize(
    ("c", "a", "wait"),
    [
        (2, 1, 0.3333),
        (2, 1.6, 0.7111),
        (2, 1.8, 0.8526),
        (3, 2, 0.4444),
        (3, 2.4, 0.6472),
        (4, 3, 0.5094),
        (4, 3.2, 0.5964),
        (5, 4, 0.5541),
        (6, 4.8, 0.5178),
        (8, 6, 0.3570),
        (10, 8, 0.4092),
        (10, 6, 0.1013),
    ],
)
def test_erlang_c(c, a, wait):
    """Own table by the textbook sum, derived again here; the last row is printed as about 0.10."""
    top = a**c / math.factorial(c) * c / (c - a)
    direct = top / (sum(a**k / math.factorial(k) for k in range(c)) + top)
    assert erlang_c(c, a) == pytest.approx(direct)
    assert erlang_c(c, a) == pytest.approx(wait, **close(4))
    assert mmc(a, 1.0, c).waiting_s == pytest.approx(wait / (c - a), abs=1e-4 / (c - a))


def test_mmc():
    """Marzolla's queueing package (qsmmm) after lecture slides: arrivals 9, service rate 5."""
    assert mmc(9, 0.2, 2).waiting == pytest.approx(7.674, **close(3))
    assert mmc(9, 0.2, 2).response_s == pytest.approx(1.053, **close(3))
    assert mmc(9, 0.2, 4).waiting == pytest.approx(0.105, **close(3))
    assert mmc(9, 0.2, 4).response_s == pytest.approx(0.212, **close(3))


@pytest.mark.parametrize(("c", "share"), [(1, 0.586182), (2, 0.050972), (3, 0.019034), (4, 0.013022)])
def test_self_service_copiers(c, share):
    """Rossetti, Simulation Modeling and Arena: probability that at least four are at the copiers."""
    assert mmc_at_least(4, 0.5, 1.75, c) == pytest.approx(share, **close(6))


def test_mmc_at_least_sums_up():
    assert mmc_at_least(0, 3.0, 1.0, 5) == pytest.approx(1.0)
    present = sum(mmc_at_least(n, 3.0, 1.0, 5) for n in range(1, 200))
    assert present == pytest.approx(mmc(3.0, 1.0, 5).present)


def test_general_service():
    """Pollaczek-Khinchine; deterministic service halves the line of M/M/1 (Rossetti's formulas)."""
    rho = 0.8
    assert mg1(rho, 1.0, 0.0).waiting == pytest.approx(rho**2 / (2 * (1 - rho)))
    assert mg1(rho, 1.0, 0.5).waiting == pytest.approx((rho**2 * 0.25 + rho**2) / (2 * (1 - rho)))
    assert mg1(rho, 1.0, 1.0).waiting == pytest.approx(mmc(rho, 1.0, 1).waiting)
    assert gi_g_c(4.0, 0.5, 3, 0.5, 0.7).waiting_s == pytest.approx((0.25 + 0.49) / 2 * mmc(4.0, 0.5, 3).waiting_s)


@pytest.mark.parametrize(
    "call",
    [
        lambda: machine_repair(0, 1, 1, 1),
        lambda: machine_repair(1, 1, 0, 1),
        lambda: erlang_c(2, 2.0),
        lambda: erlang_c(0, 0.0),
        lambda: mmc(2.0, 1.0, 2),
        lambda: mg1(0.5, 1.0, -1.0),
        lambda: mmc_at_least(-1, 0.5, 1.0, 1),
        lambda: closed_network(0, (1,), (1,)),
        lambda: closed_network(1, (1, 2), (1,)),
        lambda: closed_network(1, (), ()),
        lambda: closed_network(1, (1,), (1,), (1.5,)),
        lambda: closed_network(1, (1,), (1,), None, -1.0),
        lambda: asymptotic_bounds(1, ()),
        lambda: asymptotic_bounds(1, (1.0,), math.nan),
    ],
)
def test_impossible_parameters_are_refused(call):
    with pytest.raises(ValueError, match="allowed is"):
        call()
