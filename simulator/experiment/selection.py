"""Choosing the best of several systems with a stated guarantee.

`select_best` is the fully sequential procedure of Kim & Nelson (2001, ACM TOMACS 11:251-273): it drops systems as
soon as they are clearly worse, and finds the best with the confidence asked for whenever the best is ahead by the
indifference amount or more. Common random numbers are allowed and make it shorter. `screen` and
`second_stage_replications` are the two-stage rules with Bonferroni's inequality (Nelson & Matejcik 1995).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.experiment.estimates import student_quantile

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Selection:
    """What a selection procedure found.

    Parameters
    ----------
    best : int
        Number of the system chosen.
    decided : bool
        Whether the guarantee holds; False when the replications allowed ran out with several systems left.
    survivors : tuple of int
        Systems that were never dropped.
    means : tuple of float
        Mean of each system over the replications it had.
    replications : tuple of int
        Replications each system had before it was dropped or the procedure ended.
    """

    best: int
    decided: bool
    survivors: tuple[int, ...]
    means: tuple[float, ...]
    replications: tuple[int, ...]


@dataclass(frozen=True)
class Screening:
    """Which systems may still be the best.

    Parameters
    ----------
    kept : ndarray of bool, shape (k,)
        False for a system that another one beats clearly.
    limits : ndarray of float, shape (k, k)
        ``limits[i, j]`` is what the mean of i must reach to stay beside j; NaN on the diagonal.
    """

    kept: NDArray[np.bool_]
    limits: FloatArray


def sequential_constants(systems: int, first_stage: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return Kim & Nelson's constants eta and h^2 (with their c = 1).

    eta = ((2 a / (k - 1))^(-2 / (n0 - 1)) - 1) / 2 and h^2 = 2 eta (n0 - 1), where a is one less the confidence.

    Parameters
    ----------
    systems : int
        Number k of systems, at least 2.
    first_stage : int
        Replications n0 of the first stage, at least 2.
    confidence : float, optional
        Probability of choosing the best, between 1/k and 1.

    Returns
    -------
    eta, h2 : float
        Constants.

    Raises
    ------
    ValueError
        A parameter is out of range.
    """
    _check(systems, first_stage, confidence)
    eta = 0.5 * ((2.0 * (1.0 - confidence) / (systems - 1)) ** (-2.0 / (first_stage - 1)) - 1.0)
    return eta, 2.0 * eta * (first_stage - 1)


def _check(systems: int, first_stage: int, confidence: float) -> None:
    if systems < 2:
        raise ValueError(f"got {systems} systems; allowed is at least 2")
    if first_stage < 2:
        raise ValueError(f"got first_stage = {first_stage}; allowed is at least 2")
    if not 1.0 / systems < confidence < 1.0:
        raise ValueError(f"got confidence = {confidence!r}; allowed is above 1/{systems} and below 1")


def _check_indifference(indifference: float) -> None:
    if not (math.isfinite(indifference) and indifference > 0):
        raise ValueError(f"got indifference = {indifference!r}; allowed is a finite number above 0")


def select_best(
    sampler: Callable[[int, int], float],
    systems: int,
    indifference: float,
    confidence: float = 0.95,
    *,
    first_stage: int = 10,
    larger_is_better: bool = True,
    most_replications: int = 10_000,
) -> Selection:
    """Choose the system with the best mean, dropping the others one by one.

    Parameters
    ----------
    sampler : callable (system, replication) -> float
        Value of a replication; systems may share the random numbers of a replication. Called once for each pair, in
        order of replication and then of system.
    systems : int
        Number of systems, at least 2; they are numbered from 0.
    indifference : float
        Least difference of means worth finding, above 0, in the unit of the values.
    confidence : float, optional
        Probability of choosing the best when it leads by the indifference or more.
    first_stage : int, optional
        Replications before the first look, at least 2; 10 or more advised.
    larger_is_better : bool, optional
        Whether the largest mean is sought, or the smallest.
    most_replications : int, optional
        Replications after which the best so far is returned undecided.

    Returns
    -------
    Selection
        Choice and effort.

    Raises
    ------
    ValueError
        A parameter is out of range, or the sampler returned a number that is not finite.
    """
    _check_indifference(indifference)
    _, h2 = sequential_constants(systems, first_stage, confidence)
    if most_replications < first_stage:
        raise ValueError(f"got most_replications = {most_replications}; allowed is at least {first_stage}")
    sign = 1.0 if larger_is_better else -1.0

    def value(system: int, replication: int) -> float:
        got = float(sampler(system, replication))
        if not math.isfinite(got):
            raise ValueError(f"system {system}, replication {replication}: got {got!r}; allowed is a finite number")
        return sign * got

    first = np.array([[value(system, r) for system in range(systems)] for r in range(first_stage)])
    variance = np.array([[np.var(first[:, i] - first[:, j], ddof=1) for j in range(systems)] for i in range(systems)])
    limit = h2 * variance / indifference**2
    enough = math.floor(float(limit.max())) + 1  # by then every margin below is 0 and one system is left
    sums = first.sum(axis=0)
    counts = np.full(systems, first_stage)
    left = list(range(systems))
    r = first_stage
    while True:
        means = sums[left] / r
        margins = np.maximum(0.0, indifference / (2.0 * r) * (limit[np.ix_(left, left)] - r))
        np.fill_diagonal(margins, 0.0)
        kept = (means[:, None] >= means[None, :] - margins).all(axis=1)
        left = [system for system, keep in zip(left, kept, strict=True) if keep]
        if len(left) == 1 or r >= enough or r >= most_replications:
            break
        for system in left:
            sums[system] += value(system, r)
            counts[system] += 1
        r += 1
    averages = sums / counts
    best = left[int(np.argmax(averages[left]))]  # the lower number among equals
    return Selection(
        best=best,
        decided=len(left) == 1 or r >= enough,
        survivors=tuple(left),
        means=tuple(float(sign * mean) for mean in averages),
        replications=tuple(int(count) for count in counts),
    )


def _table(samples: ArrayLike) -> FloatArray:
    table = np.asarray(samples, dtype=np.float64)
    if table.ndim != 2 or table.shape[0] < 2 or table.shape[1] < 2 or not np.isfinite(table).all():
        raise ValueError(f"got samples of shape {table.shape}; allowed is (systems, replications), both at least 2")
    return table


def _difference_variance(table: FloatArray) -> FloatArray:
    variance: FloatArray = np.var(table[:, None, :] - table[None, :, :], axis=2, ddof=1)
    return variance


def _bonferroni_t(systems: int, n: int, confidence: float) -> float:
    return student_quantile(1.0 - (1.0 - confidence) / (systems - 1), n - 1)


def second_stage_replications(samples: ArrayLike, indifference: float, confidence: float = 0.95) -> int:
    """Return the total replications a two-stage selection asks for: t^2 S^2 / d^2 with the largest variance S^2.

    Parameters
    ----------
    samples : array_like of float, shape (k, n)
        First stage, common random numbers allowed; the same column is the same replication.
    indifference : float
        Least difference d of means worth finding, above 0.
    confidence : float, optional
        Probability of choosing the best.

    Returns
    -------
    int
        At least n.

    Raises
    ------
    ValueError
        A parameter is out of range.
    """
    table = _table(samples)
    systems, n = table.shape
    _check(systems, n, confidence)
    _check_indifference(indifference)
    t = _bonferroni_t(systems, n, confidence)
    return max(int(n), math.ceil(t**2 * float(_difference_variance(table).max()) / indifference**2))


def screen(samples: ArrayLike, confidence: float = 0.95, *, larger_is_better: bool = True) -> Screening:
    """Drop systems that cannot be the best: those more than t S_ij / sqrt(n) behind another.

    Parameters
    ----------
    samples : array_like of float, shape (k, n)
        Values, common random numbers allowed; the same column is the same replication.
    confidence : float, optional
        Probability that the best is kept.
    larger_is_better : bool, optional
        Whether the largest mean is sought, or the smallest.

    Returns
    -------
    Screening
        What is kept and the limits.

    Raises
    ------
    ValueError
        A parameter is out of range.
    """
    table = _table(samples)
    systems, n = table.shape
    _check(systems, n, confidence)
    margin = _bonferroni_t(systems, n, confidence) * np.sqrt(_difference_variance(table) / n)
    means = table.mean(axis=1)
    sign = 1.0 if larger_is_better else -1.0
    limits = means[None, :] - sign * margin
    kept = (sign * means[:, None] >= sign * limits).all(axis=1)
    np.fill_diagonal(limits, np.nan)
    return Screening(kept, limits)


def distance_from_best(
    means: ArrayLike, indifference: float = 0.0, *, larger_is_better: bool = True
) -> list[tuple[float, float]]:
    """Return multiple comparisons with the best: limits of each mean less the best of the others.

    Hsu's constrained intervals with the indifference as half-width, which a selection procedure earns.

    Parameters
    ----------
    means : array_like of float, shape (k,)
        Mean of each system, at least two.
    indifference : float, optional
        Half-width, at least 0.
    larger_is_better : bool, optional
        Whether the largest mean is sought, or the smallest.

    Returns
    -------
    list of (float, float)
        An interval that ends at 0 on the worse side belongs to a system that may be the best.

    Raises
    ------
    ValueError
        Fewer than two means, or a negative indifference.
    """
    values = np.asarray(means, dtype=np.float64)
    if values.ndim != 1 or len(values) < 2 or not np.isfinite(values).all():
        raise ValueError(f"got means of shape {values.shape}; allowed is a row of at least two finite numbers")
    if not indifference >= 0:
        raise ValueError(f"got indifference = {indifference!r}; allowed is at least 0")
    limits = []
    for place, mean in enumerate(values):
        others = np.delete(values, place)
        gap = float(mean - (others.max() if larger_is_better else others.min()))
        limits.append((min(0.0, gap - indifference), max(0.0, gap + indifference)))
    return limits
