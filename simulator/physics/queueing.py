"""Closed formulas of queueing theory: what the simulator must reproduce when its times are exponential.

Sources: Rossetti, *Simulation Modeling and Arena*, appendix on queueing theory (machine repair, M/M/c, M/G/1, GI/G/c);
Buzen (1973) for convolution; Reiser & Lavenberg (1980, JACM 27:313-322) for what it computes; Lazowska, Zahorjan,
Graham & Sevcik (1984), chapter 5, for the bounds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"got {name} = {value!r}; allowed is a finite number above 0")


def _at_least(least: int, **values: int) -> None:
    for name, value in values.items():
        if value < least:
            raise ValueError(f"got {name} = {value!r}; allowed is at least {least}")


@dataclass(frozen=True)
class MachineRepair:
    """Steady state of M/M/c//N.

    Parameters
    ----------
    probabilities : tuple of float
        Probability of n machines away (waiting or in repair), n from 0 to N.
    away, waiting, busy : float
        Mean machines away (L), waiting (Lq), and mean busy repairers (B).
    repairer_share : float
        Busy share of a repairer, B / c.
    machine_share : float
        Share of the time that a machine is up, 1 - L / N.
    rate_per_s : float
        Repairs in a second.
    away_s, waiting_s : float
        Mean time away (W) and waiting (Wq) for one failure.
    """

    probabilities: tuple[float, ...]
    away: float
    waiting: float
    busy: float
    repairer_share: float
    machine_share: float
    rate_per_s: float
    away_s: float
    waiting_s: float


def machine_repair(machines: int, repairers: int, up_s: float, repair_s: float) -> MachineRepair:
    """Return the steady state of machines that fail and a crew that repairs them, all times exponential.

    P_n = C(N, n) r^n P_0 below c and C(N, n) n! / (c^(n-c) c!) r^n P_0 from c on, with r = repair / up time.

    Parameters
    ----------
    machines : int
        Machines N (aircraft), at least 1.
    repairers : int
        Repairers c (crew, chargers), at least 1.
    up_s, repair_s : float
        Mean up-time and mean repair time, above 0; any one unit of time.

    Returns
    -------
    MachineRepair
        Times in the unit given.

    Raises
    ------
    ValueError
        A parameter is out of range.
    """
    _at_least(1, machines=machines, repairers=repairers)
    _positive(up_s=up_s, repair_s=repair_s)
    terms = [1.0]
    for n in range(1, machines + 1):
        terms.append(terms[-1] * (machines - n + 1) * repair_s / (min(n, repairers) * up_s))
    total = math.fsum(terms)
    p = tuple(term / total for term in terms)
    away = math.fsum(n * share for n, share in enumerate(p))
    waiting = math.fsum((n - repairers) * share for n, share in enumerate(p) if n > repairers)
    busy = away - waiting
    rate = (machines - away) / up_s
    return MachineRepair(
        p, away, waiting, busy, busy / repairers, 1.0 - away / machines, rate, away / rate, waiting / rate
    )


@dataclass(frozen=True)
class OpenQueue:
    """Steady state of an open waiting line.

    Parameters
    ----------
    busy_share : float
        Busy share of a server.
    wait_probability : float
        Probability that an arrival waits.
    waiting, present : float
        Mean number waiting (Lq) and in the system (L).
    waiting_s, response_s : float
        Mean time waiting (Wq) and in the system (W).
    """

    busy_share: float
    wait_probability: float
    waiting: float
    present: float
    waiting_s: float
    response_s: float


def erlang_c(servers: int, offered: float) -> float:
    """Return the probability that an arrival waits in M/M/c (Erlang's C formula).

    Parameters
    ----------
    servers : int
        Servers c, at least 1.
    offered : float
        Offered load a = arrival rate times service time, from 0 to below ``servers``.

    Returns
    -------
    float
        From 0 to 1.

    Raises
    ------
    ValueError
        A parameter is out of range.
    """
    _at_least(1, servers=servers)
    if not 0 <= offered < servers:
        raise ValueError(f"got offered = {offered!r}; allowed is from 0 to below servers = {servers}")
    blocking = 1.0  # Erlang's B by its recursion, which neither overflows nor cancels
    for count in range(1, servers + 1):
        blocking = offered * blocking / (count + offered * blocking)
    return blocking / (1.0 - offered / servers * (1.0 - blocking))


def mmc(arrivals_per_s: float, service_s: float, servers: int) -> OpenQueue:
    """Return the steady state of M/M/c.

    Parameters
    ----------
    arrivals_per_s : float
        Arrival rate, above 0.
    service_s : float
        Mean service time, above 0.
    servers : int
        Servers, at least 1 and more than the offered load.

    Raises
    ------
    ValueError
        A parameter is out of range, or the line would grow without end.
    """
    return gi_g_c(arrivals_per_s, service_s, servers, 1.0, 1.0)


def mmc_at_least(count: int, arrivals_per_s: float, service_s: float, servers: int) -> float:
    """Return the probability that at least so many are in an M/M/c system.

    Parameters
    ----------
    count : int
        Number in the system, at least 0.
    arrivals_per_s, service_s, servers : float, float, int
        See `mmc`.

    Raises
    ------
    ValueError
        A parameter is out of range, or the line would grow without end.
    """
    _at_least(0, count=count)
    _positive(arrivals_per_s=arrivals_per_s, service_s=service_s)
    offered = arrivals_per_s * service_s
    wait = erlang_c(servers, offered)
    if count >= servers:
        return wait * (offered / servers) ** (count - servers)
    at_servers = wait * (1.0 - offered / servers)  # P(N = c); below c each term is the next one times (n + 1) / a
    term, total = at_servers, wait
    for n in range(servers - 1, count - 1, -1):
        term *= (n + 1) / offered
        total += term
    return total


def mg1(arrivals_per_s: float, service_s: float, service_sd_s: float) -> OpenQueue:
    """Return the steady state of M/G/1 (Pollaczek-Khinchine); a deviation of 0 is M/D/1.

    Lq = (lambda^2 sigma^2 + rho^2) / (2 (1 - rho)).

    Parameters
    ----------
    arrivals_per_s : float
        Arrival rate, above 0.
    service_s, service_sd_s : float
        Mean (above 0) and standard deviation (at least 0) of the service time.

    Raises
    ------
    ValueError
        A parameter is out of range, or the line would grow without end.
    """
    _positive(service_s=service_s)
    return gi_g_c(arrivals_per_s, service_s, 1, 1.0, service_sd_s / service_s)


def gi_g_c(arrivals_per_s: float, service_s: float, servers: int, arrival_cv: float, service_cv: float) -> OpenQueue:
    """Return the two-moment approximation of GI/G/c: Wq = (ca^2 + cs^2) / 2 times that of M/M/c.

    Exact for M/M/c and for M/G/1; ``wait_probability`` stays that of M/M/c.

    Parameters
    ----------
    arrivals_per_s : float
        Arrival rate, above 0.
    service_s : float
        Mean service time, above 0.
    servers : int
        Servers, at least 1 and more than the offered load.
    arrival_cv, service_cv : float
        Coefficients of variation of the times between arrivals and of service, at least 0.

    Raises
    ------
    ValueError
        A parameter is out of range, or the line would grow without end.
    """
    _positive(arrivals_per_s=arrivals_per_s, service_s=service_s)
    for name, cv in (("arrival_cv", arrival_cv), ("service_cv", service_cv)):
        if not (math.isfinite(cv) and cv >= 0):
            raise ValueError(f"got {name} = {cv!r}; allowed is a finite number of at least 0")
    offered = arrivals_per_s * service_s
    wait = erlang_c(servers, offered)
    waiting_s = 0.5 * (arrival_cv**2 + service_cv**2) * wait * service_s / (servers - offered)
    response_s = waiting_s + service_s
    return OpenQueue(
        offered / servers, wait, arrivals_per_s * waiting_s, arrivals_per_s * response_s, waiting_s, response_s
    )


@dataclass(frozen=True)
class ClosedNetwork:
    """Steady state of a closed product-form network.

    Parameters
    ----------
    rate_per_s : float
        Cycles in a second, X.
    response_s : float
        Time of a cycle outside the think time, N / X - Z.
    residence_s : ndarray of float, shape (k,)
        Mean time of one visit to each station, R.
    present : ndarray of float, shape (k,)
        Mean number at each station, Q.
    station_rate_per_s : ndarray of float, shape (k,)
        Visits in a second.
    busy_share : ndarray of float, shape (k,)
        Busy share of a server (for a station without queue, its mean number busy).
    """

    rate_per_s: float
    response_s: float
    residence_s: FloatArray
    present: FloatArray
    station_rate_per_s: FloatArray
    busy_share: FloatArray


def closed_network(
    jobs: int,
    service_s: Sequence[float],
    visits: Sequence[float],
    servers: Sequence[float] | None = None,
    think_s: float = 0.0,
) -> ClosedNetwork:
    """Return the exact steady state of a closed network of exponential stations.

    By the convolution algorithm (Buzen 1973): all its terms are positive, where the mean-value recursion for several
    servers subtracts and grows unstable. Both give the same numbers.

    Parameters
    ----------
    jobs : int
        Jobs N that go round (packs, aircraft), at least 1.
    service_s : sequence of float, shape (k,)
        Mean service time of one visit, above 0.
    visits : sequence of float, shape (k,)
        Visits in a cycle, above 0.
    servers : sequence of float, shape (k,), optional
        Servers of each station, at least 1; ``math.inf`` for a station without queue. All 1 by default.
    think_s : float, optional
        Delay of a cycle outside the stations, at least 0.

    Returns
    -------
    ClosedNetwork
        Times in the unit of ``service_s``.

    Raises
    ------
    ValueError
        A parameter is out of range or the lengths differ.
    """
    _at_least(1, jobs=jobs)
    counts = [1.0] * len(service_s) if servers is None else [float(count) for count in servers]
    if not len(service_s) == len(visits) == len(counts) or not len(service_s):
        raise ValueError(
            f"got {len(service_s)} service times, {len(visits)} visits, {len(counts)} servers; allowed is as many"
        )
    for time, visit, count in zip(service_s, visits, counts, strict=True):
        _positive(service_s=time, visits=visit)
        if not (count >= 1 and (math.isinf(count) or count == int(count))):
            raise ValueError(f"got servers = {count!r}; allowed is a whole number of at least 1, or infinity")
    if not (math.isfinite(think_s) and think_s >= 0):
        raise ValueError(f"got think_s = {think_s!r}; allowed is at least 0")
    demand = np.array(service_s, dtype=np.float64) * np.array(visits, dtype=np.float64)
    # The constants are powers of a rate: with the rate set near the true one they stay in the range of a float.
    queueing = [float(each) / count for each, count in zip(demand, counts, strict=True) if math.isfinite(count)]
    scale = max([*queueing, (float(demand.sum()) + think_s) / jobs])
    factors = [_station_factors(each / scale, count, jobs) for each, count in zip(demand, counts, strict=True)]
    if think_s > 0:
        factors.append(_station_factors(think_s / scale, math.inf, jobs))
    whole = _convolve(factors, jobs)
    rate = float(whole[jobs - 1] / whole[jobs]) / scale
    numbers = np.arange(jobs + 1)
    present = np.empty(len(demand))
    for place in range(len(demand)):
        others = _convolve(factors[:place] + factors[place + 1 :], jobs)
        present[place] = float(numbers @ (factors[place] * others[::-1])) / float(whole[jobs])
    station_rate = rate * np.array(visits, dtype=np.float64)
    shares = station_rate * np.array(service_s, dtype=np.float64)
    shares /= np.array([count if math.isfinite(count) else 1.0 for count in counts])
    return ClosedNetwork(rate, jobs / rate - think_s, present / station_rate, present, station_rate, shares)


def _station_factors(demand: float, servers: float, jobs: int) -> FloatArray:
    """Return demand^n / (product of min(i, servers) for i up to n), for n from 0 to jobs, over the largest of them."""
    steps = math.log(demand) - np.log(np.minimum(np.arange(1.0, jobs + 1.0), servers))
    logs = np.concatenate((np.zeros(1), np.cumsum(steps)))
    factors: FloatArray = np.exp(logs - logs.max())
    return factors


def _convolve(factors: list[FloatArray], jobs: int) -> FloatArray:
    constants = np.zeros(jobs + 1)
    constants[0] = 1.0
    for factor in factors:
        constants = np.convolve(constants, factor)[: jobs + 1]
    return constants


@dataclass(frozen=True)
class Bounds:
    """Asymptotic bounds of a closed network.

    Parameters
    ----------
    rate_most_per_s : float
        X <= min(1 / Dmax, N / (D + Z)).
    response_least_s : float
        R >= max(D, N Dmax - Z).
    knee_jobs : float
        N* = (D + Z) / Dmax: fewer jobs leave the slowest station idle at times, more only queue.
    """

    rate_most_per_s: float
    response_least_s: float
    knee_jobs: float


def asymptotic_bounds(jobs: int, demand_s: Sequence[float], think_s: float = 0.0) -> Bounds:
    """Return the bounds that hold whatever the distributions are.

    Parameters
    ----------
    jobs : int
        Jobs that go round, at least 1.
    demand_s : sequence of float, shape (k,)
        Service demand of a cycle at each station (visits times service time over servers), above 0.
    think_s : float, optional
        Delay of a cycle outside the stations, at least 0.

    Raises
    ------
    ValueError
        A parameter is out of range.
    """
    _at_least(1, jobs=jobs, stations=len(demand_s))
    for demand in demand_s:
        _positive(demand_s=demand)
    if not (math.isfinite(think_s) and think_s >= 0):
        raise ValueError(f"got think_s = {think_s!r}; allowed is at least 0")
    total, largest = math.fsum(demand_s), max(demand_s)
    return Bounds(
        min(1.0 / largest, jobs / (total + think_s)),
        max(total, jobs * largest - think_s),
        (total + think_s) / largest,
    )
