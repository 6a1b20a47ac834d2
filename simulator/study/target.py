"""Targets of a sizing and how surely a set reaches one: acres on most days, acres in a season, or the job in time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import place_of
from simulator.experiment.estimates import student_quantile
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import AreaUnit
from simulator.study.cases import ACRES, FloatArray
from simulator.study.day_money import LEDGER, days_of_run, running_per_day

_ACRES, _WORK_DAYS = LEDGER.index("acres"), LEDGER.index("work_days")


@dataclass(frozen=True)
class Verdict:
    """What is reached in the share of cases asked for, the chance to reach the target, and what of that is shown."""

    reached: float
    chance: float
    sure: bool
    hopeless: bool


@dataclass(frozen=True)
class Target:
    """So many acres to be done in a share of the cases; a set that falls short by the tolerance may pass for good."""

    document: ClassVar = ("acres", "share", "tolerance", "kind")
    acres: float
    share: float = 0.9
    tolerance: float = 0.05
    kind: ClassVar[str]
    cases: ClassVar[str]
    cost_of: ClassVar[str] = "a season"
    work: ClassVar[str]
    """For what work its cost is."""
    better: ClassVar[float] = 1.0
    """-1 where less is better."""

    def judge(self, rows: FloatArray, error: float) -> Verdict:
        """Judge a set by its runs, each statement wrong with at most the probability ``error``."""
        raise NotImplementedError

    def cost(self, ledger: FloatArray, costs: Costs, ownership: float) -> FloatArray:
        """Return what doing the target costs, as told by each run."""
        raise NotImplementedError

    def words(self, unit: AreaUnit) -> str:
        """Return the target in words, a verb first."""
        return f"{self._aim(unit)} {self.in_cases(self.share)}"

    def _aim(self, unit: AreaUnit) -> str:
        raise NotImplementedError

    def in_cases(self, share: float, least: str = "") -> str:
        """Return a share of the cases in words."""
        return f"in {least}{100 * share:.0f} % of {self.cases}"

    def floor(self, unit: AreaUnit) -> str:
        """Return what a set that is taken for good may reach at worst."""
        return self.in_cases(self.share - self.tolerance, "at least ")

    def column(self, unit: AreaUnit) -> str:
        """Return the heading of what is reached."""
        return f"{unit.name}/{self.kind} reached"

    def shown(self, reached: float, unit: AreaUnit) -> str:
        """Return what is reached in words."""
        return f"{reached / unit.acres:,.0f} {unit.name} a {self.kind}"

    def scale(self, unit: AreaUnit) -> tuple[float, float]:
        """Return by what a figure divides what is reached, and where the target lies on it."""
        return unit.acres, self.acres / unit.acres

    def _counted(self, good: NDArray[np.bool_], reached: float, error: float) -> Verdict:
        hits, n = int(good.sum()), len(good)
        low, high = share_limits(hits, n, error)
        return Verdict(reached, hits / n, low >= self.share - self.tolerance, high < self.share)


def share_limits(hits: int, n: int, error: float) -> tuple[float, float]:
    """Return one-sided limits of a share, each wrong with at most ``error`` (Clopper & Pearson 1934, Biometrika 26)."""
    from scipy.special import betaincinv

    low = 0.0 if hits == 0 else float(betaincinv(hits, n - hits + 1, error))
    high = 1.0 if hits == n else float(betaincinv(hits + 1, n - hits, 1.0 - error))
    return low, high


@dataclass(frozen=True)
class DailyTarget(Target):
    """So many acres a day, on a share of the days: single full work days, one of each run."""

    kind = "day"
    cases = "days"
    work = "in the season's work days, that each end once the target is done"

    def judge(self, rows: FloatArray, error: float) -> Verdict:
        """Judge by the count of full days that reach it; of runs' means where none has a full day."""
        days = rows[:, place_of("full_day_acres")]
        days = days[np.isfinite(days)]
        return self.verdict(days if len(days) > 1 else rows[:, ACRES], error)

    def verdict(self, acres: FloatArray, error: float) -> Verdict:
        """Judge by the acres of days."""
        return self._counted(acres >= self.acres, float(np.quantile(acres, 1.0 - self.share)), error)

    def cost(self, ledger: FloatArray, costs: Costs, ownership: float) -> FloatArray:
        """Return ownership, and the running cost of days that stop once the target is done."""
        acres = ledger[:, _ACRES]
        part = np.minimum(1.0, self.acres / np.where(acres > 0, acres, self.acres))
        return np.asarray(ownership + costs.season_days * running_per_day(ledger, costs) * part)

    def _aim(self, unit: AreaUnit) -> str:
        return f"reach {self.acres / unit.acres:.0f} {unit.name} a day"

    def in_cases(self, share: float, least: str = "") -> str:
        """Return a share of the days in words."""
        return f"on {least}{100 * share:.0f} % of days"


@dataclass(frozen=True)
class SeasonTarget(Target):
    """So many acres within a number of work days, in a share of the seasons; the tolerance is of the acres."""

    kind = "season"
    cases = "seasons"
    work = "in the work days that the target takes"
    tolerance: float = 0.02
    days: float = 0.0

    def judge(self, rows: FloatArray, error: float) -> Verdict:
        """Judge by runs, each the mean of several days in a row."""
        return self.verdict(rows[:, ACRES], error, days_of_run(rows[:, place_of("work_days")]))

    def verdict(self, acres: FloatArray, error: float, run_days: int = 1) -> Verdict:
        """Judge by the normal sum of independent runs; limits by the delta method on mean and standard deviation."""
        from scipy.special import ndtr, ndtri

        n, mean = len(acres), float(acres.mean())
        sd, z = float(acres.std(ddof=1)), float(ndtri(self.share))
        # of a season's sum: that of days / run_days runs, each run_days times its mean
        season_sd = sd * math.sqrt(self.days * run_days)
        reached = self.days * mean - z * season_sd
        error_sd = math.hypot(sd * self.days / math.sqrt(n), z * season_sd / math.sqrt(2.0 * (n - 1)))
        half = student_quantile(1.0 - error, n - 1) * error_sd
        gap = self.days * mean - self.acres
        chance = float(ndtr(gap / season_sd)) if sd > 0 else float(gap >= 0)
        enough = self.acres * (1.0 - self.tolerance)
        return Verdict(reached, chance, reached - half >= enough, reached + half < self.acres)

    def cost(self, ledger: FloatArray, costs: Costs, ownership: float) -> FloatArray:
        """Return ownership and the running cost of as many days as the acres take."""
        acres, spent = ledger[:, _ACRES], running_per_day(ledger, costs)
        mean = float(acres.mean())
        if mean <= 0:
            return np.asarray(ownership + self.days * spent)
        # the ratio of running cost to acres is linearised about the means, so that each run gives a value whose mean
        # is the ratio's (Law, ratio estimation)
        ratio = float(spent.mean()) / mean
        return np.asarray(ownership + min(self.days, self.acres / mean) * (spent - ratio * (acres - mean)))

    def _aim(self, unit: AreaUnit) -> str:
        return f"reach {self.acres / unit.acres:,.0f} {unit.name} in {self.days:g} work days"

    def floor(self, unit: AreaUnit) -> str:
        """Return the least acres."""
        acres = self.acres * (1.0 - self.tolerance) / unit.acres
        return f"at least {acres:,.0f} {unit.name} {self.in_cases(self.share)}"


@dataclass(frozen=True)
class JobTarget(Target):
    """The whole list of fields within a number of work days, the last by its evening, in a share of the runs."""

    kind = "job"
    cases = "runs"
    cost_of = "for the job"
    work = "in the work days that the job takes, and its part of a season's upkeep, interest and wear"
    better = -1.0
    days: int = 1

    def judge(self, rows: FloatArray, error: float) -> Verdict:
        """Judge by the count of runs that are done in time."""
        out = np.where(rows[:, place_of("job_done")] > 0.0, rows[:, place_of("days_out")], np.inf)
        return self._counted(out <= self.days, float(np.quantile(out, self.share, method="inverted_cdf")), error)

    def cost(self, ledger: FloatArray, costs: Costs, ownership: float) -> FloatArray:
        """Return the running cost of a run, and the part of ownership that falls on the list."""
        return np.asarray(ownership + running_per_day(ledger, costs) * ledger[:, _WORK_DAYS])

    def _aim(self, unit: AreaUnit) -> str:
        area = f"do the job of {self.acres / unit.acres:,.0f} {unit.name}"
        return f"{area} within {self.days} work day{'s' * (self.days > 1)}"

    def column(self, unit: AreaUnit) -> str:
        """Return the heading of what is reached."""
        return "work days enough"

    def shown(self, reached: float, unit: AreaUnit) -> str:
        """Return the work days."""
        return f"{reached:.0f} work days" if math.isfinite(reached) else "a job that is never done"

    def scale(self, unit: AreaUnit) -> tuple[float, float]:
        """Return 1, and the work days."""
        return 1.0, float(self.days)
