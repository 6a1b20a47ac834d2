"""Targets of a sizing and how surely a set reaches one: acres a day on most days, or acres within a season."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from simulator.experiment.estimates import student_quantile
from simulator.scenario.schema_costs import Costs
from simulator.study.day_money import LEDGER, running_per_day

FloatArray = NDArray[np.float64]
_ACRES = LEDGER.index("acres")


@dataclass(frozen=True)
class Verdict:
    """How a set stands to a target.

    Parameters
    ----------
    reached : float
        Output that is passed in the share of cases asked for: acres a day, or acres a season.
    chance : float
        Estimated chance to reach the target.
    sure, hopeless : bool
        Shown, at the confidence asked for, to reach the target up to the tolerance; shown not to reach it.
    """

    reached: float
    chance: float
    sure: bool
    hopeless: bool


class Target(Protocol):
    """What is to be reached."""

    @property
    def acres(self) -> float:
        """Area to reach, acres a day or a season."""
        ...

    @property
    def share(self) -> float:
        """Share of days or seasons that must reach it."""
        ...

    @property
    def tolerance(self) -> float:
        """How much less may be taken for it by mistake."""
        ...

    def verdict(self, acres: FloatArray, error: float) -> Verdict:
        """Judge a set by its simulated days, each statement wrong with at most the probability ``error``."""
        ...

    def cost_per_season(self, ledger: FloatArray, costs: Costs, ownership: float) -> FloatArray:
        """Return what doing the target costs a season, as told by each simulated day."""
        ...

    def words(self, unit: str, per: float) -> str:
        """Return the target in words."""
        ...


def share_limits(hits: int, n: int, error: float) -> tuple[float, float]:
    """Return one-sided lower and upper limits of a share, each at confidence 1 - error.

    Clopper & Pearson (1934, Biometrika 26:404-413) by quantiles of the beta distribution.

    Parameters
    ----------
    hits, n : int
        Successes of n trials.
    error : float
        Probability that each limit is wrong.
    """
    from scipy.special import betaincinv

    low = 0.0 if hits == 0 else float(betaincinv(hits, n - hits + 1, error))
    high = 1.0 if hits == n else float(betaincinv(hits + 1, n - hits, 1.0 - error))
    return low, high


@dataclass(frozen=True)
class DailyTarget:
    """So many acres a day, on a share of the days.

    Parameters
    ----------
    acres : float
        A day.
    share : float
        Of the days, such as 0.9.
    tolerance : float
        A set that reaches it on this much smaller a share may be chosen by mistake.
    """

    acres: float
    share: float = 0.9
    tolerance: float = 0.05

    def verdict(self, acres: FloatArray, error: float) -> Verdict:
        """Judge by the count of days that reach it."""
        hits, n = int((acres >= self.acres).sum()), len(acres)
        low, high = share_limits(hits, n, error)
        reached = float(np.quantile(acres, 1.0 - self.share))
        return Verdict(reached, hits / n, low >= self.share - self.tolerance, high < self.share)

    def cost_per_season(self, ledger: FloatArray, costs: Costs, ownership: float) -> FloatArray:
        """Return ownership, and the running cost of days that stop once the target is done."""
        acres = ledger[:, _ACRES]
        part = np.minimum(1.0, self.acres / np.where(acres > 0, acres, self.acres))
        cost: FloatArray = ownership + costs.season_days * running_per_day(ledger, costs) * part
        return cost

    def words(self, unit: str, per: float) -> str:
        """Return the target in words."""
        return f"{self.acres / per:.0f} {unit} a day on {100 * self.share:.0f} % of days"


@dataclass(frozen=True)
class SeasonTarget:
    """So many acres within a number of work days, in a share of the seasons.

    Parameters
    ----------
    acres : float
        In all.
    days : float
        Work days there are.
    share : float
        Of the seasons.
    tolerance : float
        A set that reaches this share of the acres less may be chosen by mistake.
    """

    acres: float
    days: float
    share: float = 0.9
    tolerance: float = 0.02

    def verdict(self, acres: FloatArray, error: float) -> Verdict:
        """Judge by the normal sum of independent days; limits by the delta method on mean and standard deviation."""
        from scipy.special import ndtr, ndtri

        n, mean = len(acres), float(acres.mean())
        sd, z = float(acres.std(ddof=1)), float(ndtri(self.share))
        reached = self.days * mean - z * sd * math.sqrt(self.days)
        error_sd = sd * math.sqrt(self.days**2 / n + z**2 * self.days / (2.0 * (n - 1)))
        half = student_quantile(1.0 - error, n - 1) * error_sd
        gap = self.days * mean - self.acres
        chance = float(ndtr(gap / (sd * math.sqrt(self.days)))) if sd > 0 else float(gap >= 0)
        return Verdict(
            reached, chance, reached - half >= self.acres * (1.0 - self.tolerance), reached + half < self.acres
        )

    def cost_per_season(self, ledger: FloatArray, costs: Costs, ownership: float) -> FloatArray:
        """Return ownership and the running cost of as many days as the acres take.

        The ratio of running cost to acres is linearised about the means, so that each day gives a value whose mean is
        the ratio's (Law, ratio estimation).
        """
        acres, spent = ledger[:, _ACRES], running_per_day(ledger, costs)
        mean = float(acres.mean())
        if mean <= 0:
            return np.asarray(ownership + self.days * spent)
        ratio = float(spent.mean()) / mean
        days = min(self.days, self.acres / mean)
        cost: FloatArray = ownership + days * (spent - ratio * (acres - mean))
        return cost

    def words(self, unit: str, per: float) -> str:
        """Return the target in words."""
        return f"{self.acres / per:,.0f} {unit} in {self.days:g} work days in {100 * self.share:.0f} % of seasons"
