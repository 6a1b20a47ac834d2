"""What a validation is made of: checks, days of a case with their ratios, and the aerial work-rate formula."""

from dataclasses import dataclass

import numpy as np

from simulator.analysis.resources import time_labels
from simulator.analysis.summary import place_of, summarise
from simulator.experiment.estimates import ratio_interval
from simulator.experiment.runs import simulate_replication
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank
from simulator.scenario.units import M2_PER_HECTARE

ONE_SD = 0.6826894921370859
"""Probability within one standard deviation of a normal law."""


@dataclass(frozen=True)
class Check:
    """One simulated number beside a published one."""

    key: str
    """Unique; begins with the row's number, or is a formula's name."""
    what: str
    """What is measured, with its clock."""
    unit: str
    """Of all numbers; empty for shares and ratios."""
    low: float
    high: float
    """Published band: equal when it is one number, infinite where it is open."""
    simulated: float
    standard_error: float
    """Of the mean over the simulated days; 0 for a day without any randomness."""
    tolerance: float = 0.0
    """Distance from the band, over its nearest limit, that still agrees (rounding, whole passes and loads)."""
    end: str = ""
    """``low`` or ``high``: which end of a range of settings was simulated, which has no verdict of its own."""

    @property
    def row(self):
        """Row of the published measurements; None for a formula."""
        number = self.key.split(" ", 1)[0]
        return int(number) if number.isdecimal() else None

    @property
    def verdict(self):
        """Return whether the simulated number is in the band, allowing three standard errors and the tolerance."""
        if self.end:
            return "low end" if self.end == "low" else "high end"
        room = 3.0 * self.standard_error
        if self.simulated > self.high + room + self.tolerance * abs(self.high):
            return "above"
        if self.simulated < self.low - room - self.tolerance * abs(self.low):
            return "below"
        return "agrees"


def between(checks, key):
    """Tell whether the two ends of a range have the published band between them, in whole or in part."""
    ends = [check for check in checks if check.end and check.key == f"{key} {check.end}"]
    if len(ends) != 2:
        raise ValueError(f"got {len(ends)} ends of {key!r}; allowed is two")
    values = [end.simulated for end in ends]
    return min(values) <= ends[0].high and max(values) >= ends[0].low


@dataclass(frozen=True)
class CaseDays:
    """Simulated days of one case, a row each."""

    rows: np.ndarray

    def column(self, name):
        """Return one measure, a value a day."""
        return self.rows[:, place_of(name)]

    def seconds(self, labels):
        """Return aircraft seconds under some labels, a value a day."""
        return np.sum([self.column(f"time_s/{label}") for label in labels], axis=0)

    def share(self, part, whole=None):
        """Return one part of aircraft time over another (over all of it by default), and its standard error."""
        return ratio(self.seconds(part), self.seconds(time_labels() if whole is None else whole))

    def hectares_per_field_hour(self):
        """Return hectares per hour with the rig set up at a field, and its standard error."""
        return ratio(self.column("hectares"), self.column("field_hours"))


def ratio(upper, lower):
    """Return a ratio of two means over days, and its standard error."""
    if float(np.ptp(upper)) == 0.0 and float(np.ptp(lower)) == 0.0:
        return float(upper[0] / lower[0]), 0.0
    half_width = ratio_interval(upper, lower, ONE_SD).half_width
    if half_width is None:
        raise ValueError(f"got {len(upper)} days; allowed is enough for a standard error (three or more)")
    return float(upper.sum() / lower.sum()), half_width


def simulate_case(table, days, seed):
    """Simulate days of a scenario table with one equipment set."""
    plan = make_plan(load_scenario(table).sets[0])
    bank = StreamBank(seed)
    # nothing here asks for the momentary bottleneck, which costs as much as the day
    return CaseDays(np.array([summarise(plan, simulate_replication(plan, bank, day), False) for day in range(days)]))


def work_rate_formula_s_per_ha(
    load_s, rate_l_ha, load_l, spray_m_s, ferry_m_s, swath_m, turn_s, pass_m, ferry_m, between_m, field_ha
):
    """Return the work time (s/ha) of one aircraft that never waits.

    Seconds of loading, take-off and landing, rate, load, speeds, swath, seconds of a turn, pass, way from the loading
    point to the work, and between fields. Source: Baltin 1959 as printed in Matthews, *Pesticide Application Methods*
    (from memory).
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
