"""A fitted response for fragmentation: hours an acre against what moves, miles and turns cost."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple

import numpy as np
from numpy.typing import NDArray

from simulator.experiment.estimates import student_quantile
from simulator.scenario.units import M2_PER_ACRE

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
TERMS = {
    "base": "paid hours an acre besides all that follows",
    "per_move": "hours a move",
    "per_km": "hours a road kilometre between fields",
    "per_turn_length": "hour metres an acre: what shorter passes cost in turns",
    "per_reach": "hours an acre and metre: what ferrying across a wider field costs",
}
"""Terms of the response and their meaning."""


class Term(NamedTuple):
    """One coefficient with its interval."""

    name: str
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Response:
    """Hours an acre as the sum of what a move, a mile and a turn cost, fitted by least squares (own derivation).

    The error in acres a day is the root mean square when each case is foretold from all the others.
    """

    form: ClassVar = (
        "paid hours / acre = base + (per_move + per_km * km) / mean acres "
        "+ per_turn_length * mean(1 / length in m) + per_reach * mean(half diagonal in m)"
    )
    document: ClassVar = (
        "form", "terms=coefficients", "paid_hours_per_day=hours", "r2", "leave_one_out_error_acres_per_day=error_acres",
        "cases",
    )  # fmt: skip
    terms: tuple[Term, ...]
    hours: float
    r2: float
    error_acres: float
    cases: int

    @property
    def coefficients(self) -> list[dict[str, Any]]:
        """The terms as a document."""
        return [
            {"name": term.name, "meaning": TERMS[term.name], "value": term.value, "ci95": [term.low, term.high]}
            for term in self.terms
        ]

    def acres_per_day(self, mean_area_m2: float, move_m: float, pass_inverse_per_m: float, reach_m: float) -> float:
        """Return the acres a day that the response foretells; NaN where it makes no sense."""
        values = dict(zip(TERMS, _row(mean_area_m2, move_m, pass_inverse_per_m, reach_m), strict=True))
        hours = sum(term.value * values[term.name] for term in self.terms)
        return self.hours / hours if hours > 0 else math.nan


def _row(mean_area_m2: float, move_m: float, pass_inverse_per_m: float, reach_m: float) -> list[float]:
    per_acre = M2_PER_ACRE / mean_area_m2
    return [1.0, per_acre, per_acre * move_m / 1000.0, pass_inverse_per_m, reach_m]


def fit_response(cases: pd.DataFrame) -> Response | None:
    """Fit the response of one equipment set to its cases, a row each; None when there are too few."""
    known = cases[["fields", "mean_area_m2", "move_m", "pass_inverse_per_m", "reach_m"]].to_numpy(dtype=np.float64)
    # a single field is never moved from
    x = np.array([[1.0, 0.0, 0.0, *row[3:]] if row[0] < 2 else _row(*row[1:]) for row in known])
    hours = float(cases["paid_hours"].mean())
    y = np.asarray(cases["paid_hours"] / cases["acres_per_day"], dtype=np.float64)
    kept = _independent(x)
    n, p = len(y), len(kept)
    if n < p + 2:
        return None
    x = x[:, kept]
    inverse = np.linalg.pinv(x.T @ x)
    beta = inverse @ x.T @ y
    residual = y - x @ beta
    spread = math.sqrt(float(residual @ residual) / (n - p))
    half = student_quantile(0.975, n - p) * spread * np.sqrt(np.clip(np.diag(inverse), 0.0, None))
    leverage = np.clip(np.einsum("ij,jk,ik->i", x, inverse, x), 0.0, 1.0 - 1e-9)
    left_out = y - residual / (1.0 - leverage)
    with np.errstate(divide="ignore", invalid="ignore"):
        misses = hours / left_out - hours / y
    misses = misses[np.isfinite(misses)]
    total = float(((y - y.mean()) ** 2).sum())
    names = [list(TERMS)[column] for column in kept]
    ends = zip(names, beta.tolist(), (beta - half).tolist(), (beta + half).tolist(), strict=True)
    r2 = 1.0 - float(residual @ residual) / total if total > 0 else math.nan
    error = math.sqrt(float(np.mean(misses**2))) if len(misses) else math.nan
    return Response(tuple(Term(*one) for one in ends), hours, r2, error, n)


def _independent(x: FloatArray) -> list[int]:
    """Return the columns that are not made of those before them (a factor that the design never varied)."""
    kept: list[int] = []
    scaled = x / np.maximum(np.linalg.norm(x, axis=0), 1e-300)
    for column in range(x.shape[1]):
        trial = [*kept, column]
        if np.linalg.svd(scaled[:, trial], compute_uv=False)[-1] > 1e-6:
            kept = trial
    return kept
