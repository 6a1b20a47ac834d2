"""Closed formulas of queueing theory that the operation model must reproduce when its times are exponential."""

import math
from types import SimpleNamespace

import numpy as np


def machine_repair(machines, repairers, up_s, repair_s):
    """Return the steady state of M/M/c//N (Rossetti, Simulation Modeling and Arena, appendix on queueing theory)."""
    terms = [1.0]
    for n in range(1, machines + 1):
        terms.append(terms[-1] * (machines - n + 1) * repair_s / (min(n, repairers) * up_s))
    p = np.array(terms) / sum(terms)
    away = float(p @ np.arange(machines + 1))
    waiting = float(p @ np.maximum(0, np.arange(machines + 1) - repairers))
    rate = (machines - away) / up_s
    return SimpleNamespace(
        probabilities=p, away=away, waiting=waiting, busy=away - waiting, away_s=away / rate, waiting_s=waiting / rate
    )


def closed_network(jobs, service_s, visits, servers, think_s=0.0):
    """Return the exact steady state of a closed network of exponential stations, by convolution (Buzen 1973).

    Servers without end make a station without a queue; the think time is one more.
    """
    service, visits = np.array(service_s), np.array(visits)
    demands, counts = [*service * visits, think_s], [*servers, math.inf]
    # demand^n over the product of min(i, servers) for i up to n: the weight of n jobs at a station
    factors = [
        np.array([demand**n / math.prod(min(i, count) for i in range(1, n + 1)) for n in range(jobs + 1)])
        for demand, count in zip(demands, counts, strict=True)
    ]

    def constants(parts):
        whole = np.eye(1, jobs + 1)[0]
        for part in parts:
            whole = np.convolve(whole, part)[: jobs + 1]
        return whole

    whole = constants(factors)
    rate = whole[-2] / whole[-1]
    at = [
        (np.arange(jobs + 1) * factors[place]) @ constants(factors[:place] + factors[place + 1 :])[::-1] / whole[-1]
        for place in range(len(service))
    ]
    return SimpleNamespace(
        rate_per_s=rate,
        response_s=jobs / rate - think_s,
        present=np.array(at),
        residence_s=np.array(at) / (rate * visits),
        station_rate_per_s=rate * visits,
    )
