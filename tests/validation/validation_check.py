"""What a validation is made of: checks, days of a case with their ratios, and the aerial work-rate formula."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.resources import time_labels
from simulator.analysis.summary import place_of, summarise
from simulator.experiment.estimates import ratio_interval
from simulator.experiment.runs import simulate_replication
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank
from simulator.scenario.units import M2_PER_HECTARE

Verdict = Literal["agrees", "above", "below", "low end", "high end"]
End = Literal["", "low", "high"]
Numbers = NDArray[np.float64]

ONE_SD = 0.6826894921370859
"""Probability within one standard deviation of a normal law."""


@dataclass(frozen=True)
class Check:
    """One simulated number beside a published one.

    Parameters
    ----------
    key : str
        Unique; begins with the row's number, or is a formula's name.
    what : str
        What is measured, with its clock.
    unit : str
        Unit of all numbers; empty for shares and ratios.
    low, high : float
        Published band; equal when it is one number, infinite where it is open.
    simulated : float
        Mean over the simulated days.
    standard_error : float
        Of that mean; 0 for a day without any randomness.
    tolerance : float
        Distance from the band, over its nearest limit, that still counts as agreement (rounding of the published
        number, whole passes and loads).
    end : {"", "low", "high"}
        Which end of a range of settings was simulated; such a number has no verdict of its own.
    """

    key: str
    what: str
    unit: str
    low: float
    high: float
    simulated: float
    standard_error: float
    tolerance: float = 0.0
    end: End = ""

    @property
    def row(self) -> int | None:
        """Row of the published measurements; None for a formula."""
        number = self.key.split(" ", 1)[0]
        return int(number) if number.isdecimal() else None

    @property
    def verdict(self) -> Verdict:
        """Return whether the simulated number is in the band, allowing three standard errors and the tolerance."""
        if self.end:
            return "low end" if self.end == "low" else "high end"
        room = 3.0 * self.standard_error
        if self.simulated > self.high + room + self.tolerance * abs(self.high):
            return "above"
        if self.simulated < self.low - room - self.tolerance * abs(self.low):
            return "below"
        return "agrees"


def between(checks: Sequence[Check], key: str) -> bool:
    """Tell whether the two ends of a range have the published band between them, in whole or in part.

    Parameters
    ----------
    checks : sequence of Check
        All checks.
    key : str
        Common key of the two ends, without the word ``low`` or ``high``.

    Raises
    ------
    ValueError
        There are not two ends of that key.
    """
    ends = [check for check in checks if check.end and check.key == f"{key} {check.end}"]
    if len(ends) != 2:
        raise ValueError(f"got {len(ends)} ends of {key!r}; allowed is two")
    values = [end.simulated for end in ends]
    return min(values) <= ends[0].high and max(values) >= ends[0].low


@dataclass(frozen=True)
class CaseDays:
    """Simulated days of one case.

    Parameters
    ----------
    rows : numpy.ndarray, shape (days, len(columns()))
        One row a day.
    """

    rows: Numbers

    def column(self, name: str) -> Numbers:
        """Return one measure, a value a day."""
        values: Numbers = self.rows[:, place_of(name)]
        return values

    def seconds(self, labels: Sequence[str]) -> Numbers:
        """Return aircraft seconds under some labels, a value a day."""
        total: Numbers = np.sum([self.column(f"time_s/{label}") for label in labels], axis=0)
        return total

    def share(self, part: Sequence[str], whole: Sequence[str] | None = None) -> tuple[float, float]:
        """Return one part of aircraft time over another (over all of it by default), and its standard error."""
        return ratio(self.seconds(part), self.seconds(time_labels() if whole is None else whole))

    def hectares_per_field_hour(self) -> tuple[float, float]:
        """Return hectares per hour with the rig set up at a field, and its standard error."""
        return ratio(self.column("hectares"), self.column("field_hours"))


def ratio(upper: Numbers, lower: Numbers) -> tuple[float, float]:
    """Return a ratio of two means over days, and its standard error.

    Parameters
    ----------
    upper, lower : numpy.ndarray, shape (days,)
        A value a day each.

    Raises
    ------
    ValueError
        Days differ and are too few for a standard error.
    """
    if float(np.ptp(upper)) == 0.0 and float(np.ptp(lower)) == 0.0:
        return float(upper[0] / lower[0]), 0.0
    half_width = ratio_interval(upper, lower, ONE_SD).half_width
    if half_width is None:
        raise ValueError(f"got {len(upper)} days; allowed is enough for a standard error (three or more)")
    return float(upper.sum() / lower.sum()), half_width


def simulate_case(table: Mapping[str, Any], days: int, seed: int) -> CaseDays:
    """Simulate days of a scenario table with one equipment set."""
    plan = make_plan(load_scenario(table).sets[0])
    bank = StreamBank(seed)
    # nothing here asks for the momentary bottleneck, which costs as much as the day
    return CaseDays(np.array([summarise(plan, simulate_replication(plan, bank, day), False) for day in range(days)]))


def work_rate_formula_s_per_ha(
    load_s: float,
    rate_l_ha: float,
    load_l: float,
    spray_m_s: float,
    ferry_m_s: float,
    swath_m: float,
    turn_s: float,
    pass_m: float,
    ferry_m: float,
    between_m: float,
    field_ha: float,
) -> float:
    """Return the work time per hectare of one aircraft that never waits.

    Parameters
    ----------
    load_s : float
        Loading, take-off and landing of one flight, s.
    rate_l_ha, load_l : float
        Application rate (L/ha) and load of a flight (L).
    spray_m_s, ferry_m_s : float
        Speeds, m/s.
    swath_m, turn_s, pass_m : float
        Lane separation (m), time of one turn (s), length of a pass (m).
    ferry_m, between_m, field_ha : float
        Average distance from loading point to work (m), distance between fields (m), field area (ha).

    Returns
    -------
    float
        s/ha. Source: Baltin 1959 as printed in Matthews, *Pesticide Application Methods* (from memory).
    """
    rate = rate_l_ha / M2_PER_HECTARE
    per_m2 = (
        load_s * rate / load_l
        + 1.0 / (spray_m_s * swath_m)
        + turn_s / (swath_m * pass_m)
        + 2.0 * ferry_m * rate / (ferry_m_s * load_l)
        + between_m / (ferry_m_s * field_ha * M2_PER_HECTARE)
    )
    return per_m2 * M2_PER_HECTARE
