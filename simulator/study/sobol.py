"""Sobol indices: how the variance of an answer is shared out among its uncertain inputs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]


INDICES = ("first_order", "first_ci95_low", "first_ci95_high", "total", "total_ci95_low", "total_ci95_high")


@dataclass(frozen=True)
class SobolIndices:
    """First-order and total indices with percentile bootstrap intervals, a row an input with the columns INDICES."""

    table: pd.DataFrame
    mean: float
    sd: float
    evaluations: int


def is_power_of_two(number: int) -> bool:
    """Tell whether a number is 1, 2, 4, 8 and so on."""
    return number > 0 and number & (number - 1) == 0


def sobol(
    function: Callable[[FloatArray], FloatArray], bounds: Sequence[tuple[float, float]], points: int, seed: int,
    resamples: int = 400,
) -> SobolIndices:  # fmt: skip
    """Return the Sobol indices of a function of independent inputs, each evenly spread between two bounds.

    Saltelli's sample with the estimators of Saltelli et al. (2010, Comput. Phys. Commun. 181:259-270), by scipy.
    """
    if points < 2 or not is_power_of_two(points) or not bounds:
        got = f"got {points} points of {len(bounds)} inputs"
        raise ValueError(f"{got}; allowed is a power of two and one input or more")
    import pandas as pd
    from scipy import stats

    answers: list[FloatArray] = []

    def watched(x: FloatArray) -> FloatArray:
        y = np.asarray(function(x[: len(bounds)]), dtype=np.float64).reshape(-1)
        # scipy takes the mean off in place, so it gets an array of its own
        answers.append(y)
        return y.copy()

    # scipy fails on one input alone: beside it stands one that changes nothing
    idle = [(0.0, 1.0)] if len(bounds) == 1 else []
    spread = [stats.uniform(low, high - low) for low, high in [*bounds, *idle]]
    # scipy's own check of the distributions needs a ppf, which a frozen uniform has
    result = stats.sobol_indices(func=watched, n=points, dists=spread, rng=np.random.default_rng(seed))  # type: ignore[arg-type]
    evaluations = points * (len(bounds) + 2)
    plain = np.concatenate(answers[:2])  # the two independent halves of the sample
    if plain.std() <= 1e-12 * max(1.0, abs(plain.mean())):
        table = pd.DataFrame(0.0, index=range(len(bounds)), columns=INDICES)
        return SobolIndices(table, float(plain.mean()), 0.0, evaluations)
    halves = answers[0], answers[1], answers[2].reshape(points, len(spread)).T[: len(bounds)]
    rng = np.random.default_rng([seed, 1])
    draws = []
    for _ in range(resamples):
        chosen = rng.integers(points, size=points)
        draws.append(estimates(halves[0][chosen], halves[1][chosen], halves[2][:, chosen]))
    low, high = np.nanquantile(draws, [0.025, 0.975], axis=0)
    both = (result.first_order, result.total_order)
    found = [np.asarray(one, dtype=np.float64).reshape(-1)[: len(bounds)] for one in both]
    columns = [part for kind in (0, 1) for part in (found[kind], low[kind], high[kind])]
    table = pd.DataFrame(dict(zip(INDICES, columns, strict=True)))
    return SobolIndices(table, float(plain.mean()), float(plain.std(ddof=1)), evaluations)


def estimates(f_a: FloatArray, f_b: FloatArray, f_ab: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return first-order and total indices by Saltelli et al. (2010), table 2 (b) and (f); NaN where nothing changes.

    ``f_a`` and ``f_b`` are answers at two independent samples, ``f_ab`` (inputs, points) those at the first with one
    input taken from the second.
    """
    centre = 0.5 * (f_a.mean() + f_b.mean())
    a, b, ab = f_a - centre, f_b - centre, f_ab - centre
    variance = float(np.var(np.concatenate([a, b])))
    if variance == 0.0:
        nothing = np.full(len(f_ab), np.nan)
        return nothing, nothing
    return np.mean(b * (ab - a), axis=1) / variance, 0.5 * np.mean((a - ab) ** 2, axis=1) / variance
