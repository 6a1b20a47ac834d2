"""Choosing the best of several systems with a stated guarantee.

`select_best` is the fully sequential procedure of Kim & Nelson (2001, ACM TOMACS 11:251-273): it drops systems as
soon as they are clearly worse, and finds the best with the confidence asked for whenever the best is ahead by the
indifference amount or more. Common random numbers are allowed and make it shorter.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Selection:
    """What a selection found; not decided where the replications allowed ran out with several survivors."""

    best: int
    decided: bool
    survivors: tuple[int, ...]
    means: tuple[float, ...]
    replications: tuple[int, ...]


def sequential_constants(systems: int, first_stage: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return Kim & Nelson's constants eta and h^2 (with their c = 1).

    eta = ((2 a / (k - 1))^(-2 / (n0 - 1)) - 1) / 2 and h^2 = 2 eta (n0 - 1), where a is one less the confidence.
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
    """Choose the system with the best mean; the sampler is asked for (system, replication) once each."""
    if not (math.isfinite(indifference) and indifference > 0):
        raise ValueError(f"got indifference = {indifference!r}; allowed is a finite number above 0")
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
