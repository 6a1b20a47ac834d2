"""The queueing formulas that the model is held against, against published tables."""

import math

import pytest
from queueing_formulas import closed_network, machine_repair


def close(digits):
    """Allow what a number printed with so many decimals leaves open."""
    return {"abs": 0.5000001 * 10.0**-digits}


@pytest.mark.parametrize(
    ("c", "away", "waiting", "busy", "p0", "away_h", "waiting_h"),
    [
        (1, 2.674, 1.744, 0.930, 0.06973, 11.499, 7.499),
        (2, 1.661, 0.325, 1.336, 0.16609, 4.974, 0.974),
        (3, 1.457, 0.040, 1.417, 0.18405, 4.112, 0.112),
        (4, 1.430, 0.002, 1.428, 0.18585, 4.007, 0.007),
        (5, 1.429, 0.000, 1.429, 0.18593, 4.000, 0.0),
    ],
)
def test_machine_repair(c, away, waiting, busy, p0, away_h, waiting_h):
    """Rossetti, Simulation Modeling and Arena, appendix on queueing theory, example exMIM; last three columns own."""
    result = machine_repair(5, c, 10.0, 4.0)
    assert (result.away, result.waiting, result.busy) == pytest.approx((away, waiting, busy), **close(3))
    assert result.probabilities[0] == pytest.approx(p0, **close(5))
    assert (result.away_s, result.waiting_s) == pytest.approx((away_h, waiting_h), **close(3))


def test_interactive_system():
    """Jain (1991), The Art of Computer Systems Performance Analysis, p. 577; other numbers of jobs own."""
    service, visits = (0.125, 0.3, 0.2), (16, 10, 5)
    result = closed_network(20, service, visits, (1, 1, 1), think_s=4.0)
    assert result.residence_s == pytest.approx([0.373, 4.854, 0.300], **close(3))
    assert result.present == pytest.approx([1.991, 16.177, 0.500], **close(3))
    for jobs, (rate, response_s) in {1: (0.1, 6.0), 5: (0.2898, 13.256), 20: (0.3332, 56.016)}.items():
        result = closed_network(jobs, service, visits, (1, 1, 1), think_s=4.0)
        assert result.rate_per_s == pytest.approx(rate, **close(4))
        assert result.response_s == pytest.approx(response_s, **close(3))


def test_several_servers_and_delay():
    """Bolch et al., Queueing Networks and Markov Chains, example 8.4, p. 333."""
    result = closed_network(3, (0.5, 0.6, 0.8, 1), (1, 0.5, 0.5, 1), (2, 1, 1, math.inf))
    assert result.present == pytest.approx([0.624, 0.473, 0.686, 1.217], abs=0.001)  # 1.2175 printed as 1.217
    assert result.station_rate_per_s == pytest.approx([1.218, 0.609, 0.609, 1.218], abs=0.001)
    assert result.residence_s == pytest.approx([0.512, 0.776, 1.127, 1.0], abs=0.001)


def test_central_server():
    """Bolch et al., Queueing Networks and Markov Chains, example 8.3, p. 331."""
    result = closed_network(6, (0.02, 0.2, 0.4, 0.6), (1, 0.4, 0.2, 0.1), (1,) * 4)
    assert result.residence_s == pytest.approx([0.025, 0.570, 1.140, 1.244], **close(3))
    assert result.present == pytest.approx([0.244, 2.261, 2.261, 1.234], **close(3))
    assert result.station_rate_per_s == pytest.approx([9.920, 3.968, 1.984, 0.992], **close(3))


@pytest.mark.parametrize("repairers", [1, 2, 3])
def test_closed_network_is_the_machine_repair_model(repairers):
    """One station with c servers and a delay is M/M/c//N: two routes to one number."""
    network = closed_network(5, (4.0,), (1.0,), (repairers,), 10.0)
    assert network.present[0] == pytest.approx(machine_repair(5, repairers, 10.0, 4.0).away)
