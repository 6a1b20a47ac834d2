"""Past days simulated from their inputs: observed against predicted, and whether the bands hold what they should."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from simulator.errors import InputError, Problems
from simulator.experiment.estimates import Interval, mean_interval
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario.field_list import FieldList
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.stopwatch import PastDay
from simulator.scenario.units import area_unit
from simulator.study.answer import Answer, shown
from simulator.study.cases import FloatArray, Report, Trials, changed_set, check_runs, one_set
from simulator.study.words import capital, number_text, size_text

if TYPE_CHECKING:
    import pandas as pd

BANDS = (0.5, 0.8, 0.9)
"""Shares of days that the bands shown are to hold."""
_LEAST_RUNS = 20
"""Runs that the band of nine days in ten needs at least: its ends are then within the days simulated."""
RECORD_ERROR = 0.005
"""An observation within this share of a band's end counts as inside: records are rounded. An assumption."""


@dataclass(frozen=True)
class Coverage:
    """How many days a band held of what was observed, and the exact 95 % interval of the share (Clopper & Pearson)."""

    document: ClassVar = ("measure", "band", "inside", "days", "ci95", "agrees")
    measure: str
    band: float
    inside: int
    days: int
    ci95: tuple[float, float]

    @property
    def agrees(self) -> bool:
        """Whether the share that the band should hold is within the interval."""
        return self.ci95[0] <= self.band <= self.ci95[1]


@dataclass(frozen=True)
class Hindcast(Answer):
    """Observed against predicted, a row a past day and measure.

    A rank is the share of simulated days below what was observed, ties counted half; the bias is the mean of
    (predicted - observed) / mean observed; the p value that of evenly spread ranks (Kolmogorov-Smirnov).
    """

    study = "hindcast"
    files = ("past_days.csv=days",)
    document = (
        "sentence", "runs_each=runs", "stopped", "days", "coverage", "bias=bias_document", "rank_uniformity_p=rank_p",
    )  # fmt: skip

    days: pd.DataFrame = field(repr=False)
    coverage: tuple[Coverage, ...]
    bias: dict[str, Interval | None]
    rank_p: dict[str, float | None]
    runs: int

    @property
    def bias_document(self) -> dict[str, Any]:
        """The bias as a document."""
        return {name: one and {"share": one.mean, "ci95": [one.low, one.high]} for name, one in self.bias.items()}

    def _sentences(self) -> list[str]:
        names = {"acres": f"{self.unit.name} done", "paid_hours": "paid hours"}
        said = []
        for entry in (one for one in self.coverage if one.band == max(BANDS)):
            text = (
                f"on {entry.inside} of {entry.days} past days the {names[entry.measure]} lay within the band "
                f"for nine days in ten ({'in keeping' if entry.agrees else 'not in keeping'} with it)"
            )
            off = self.bias.get(entry.measure)
            if off is not None and off.low is not None and off.high is not None:
                low, mean, high = 100 * off.low, 100 * off.mean, 100 * off.high
                error = f"is right to within {max(-low, high):.2g} %"
                if low > 0 or high < 0:
                    error = f"is {size_text(mean, low, high)} % too {'high' if mean > 0 else 'low'}"
                text += f" and on average the simulation {error}"
            said.append(text)
        mute = int((~self.days["tells"]).sum())
        tail = f" On {mute} days the whole list was done, in fact and in every simulation: their acres prove nothing."
        return [f"{capital('; '.join(said) or 'no past day tells anything')}.{tail if mute else ''}"]

    def _rows(self) -> list[list[str]]:
        unit = self.unit

        def number(row: dict[Hashable, Any], key: str) -> str:
            acres = row["measure"] == "acres"
            return number_text(row[key] / unit.acres, 0) if acres else number_text(row[key], 1)

        def inside(row: dict[Hashable, Any]) -> str:
            return ("yes" if _held(row, "p5", "p95") else "no") if row["tells"] else "list done"

        return shown(self.days.to_dict(orient="records"), {
            "date": lambda row: row["date"],
            "set": lambda row: row["equipment_set"],
            "what": lambda row: unit.name if row["measure"] == "acres" else "paid hours",
            "observed": lambda row: number(row, "observed"),
            "predicted": lambda row: number(row, "predicted"),
            "nine in ten": lambda row: f"{number(row, 'p5')} to {number(row, 'p95')}",
            "inside": inside,
        })  # fmt: skip

    def _remarks(self) -> list[str]:
        held = [
            f"{one.measure.replace('_', ' ')}: {one.inside} of {one.days} in the band for {100 * one.band:.0f} % "
            f"(in the long run {100 * one.ci95[0]:.0f} to {100 * one.ci95[1]:.0f} %)."
            for one in self.coverage
        ]
        return [*held, f"{self.runs} runs for each past day."]


def _held(days: Any, low: str, high: str) -> Any:
    """Tell whether a band of a day, or of each row of a table of days, holds what was observed."""
    slack = RECORD_ERROR * days["observed"]
    return (days["observed"] >= days[low] - slack) & (days["observed"] <= days[high] + slack)


def day_set(loaded: LoadedScenario, day: PastDay) -> EquipmentSet:
    """Return the set of a past day: one work day, of its own fields, if it has any, once."""
    entry = one_set(loaded, day.equipment_set or None)
    settings = [*day.settings, "most_work_days=1", "work_days=1"]
    if day.fields and not any(text.split("=", 1)[0].strip() == "work" for text in settings):
        settings.append('work="once"')
    changed = changed_set(entry, settings, loaded.folder)
    return replace(changed, fields=FieldList(day.fields)) if day.fields else changed


def hindcast(
    loaded: LoadedScenario, past: Sequence[PastDay], runs: int = 200, seed: int | None = None, workers: int = 1,
    report: Report | None = None,
) -> Hindcast:  # fmt: skip
    """Simulate past days from what was known before them, and hold the outcome against what was observed."""
    import pandas as pd

    if not past:
        raise InputError.single("got no past day; allowed is at least one")
    if runs < _LEAST_RUNS:
        message = f"got {runs} runs for each past day; allowed is {_LEAST_RUNS} or more, as a band needs"
        raise InputError.single(message, "--runs")
    check_runs(runs, len(past), "--runs", least=_LEAST_RUNS)
    trials = Trials.of(loaded, seed, workers, report)
    plans: list[DayPlan] = []
    problems = Problems()
    for day in past:
        with problems.of(f"line {day.line} ({day.date})"):
            plans.append(make_plan(day_set(loaded, day)))
    problems.refuse()
    simulated = trials.cases(plans, "past days")
    stopped = simulated.finish(runs, "past days")

    def outcome(case: int, measure: str) -> FloatArray:
        return simulated.column(case, measure) * simulated.column(case, "work_days")

    rows = [
        _row(day, plans[case].name, measure, value, outcome(case, measure))
        for case, day in enumerate(past)
        if simulated.runs(case) >= _LEAST_RUNS
        for measure, value in (("acres", day.acres), ("paid_hours", day.hours))
        if value is not None
    ]
    if not rows:
        raise KeyboardInterrupt
    days = pd.DataFrame(rows)
    parts = {str(name): part[part["tells"]] for name, part in days.groupby("measure", sort=False)}
    coverage = tuple(_coverage(part, name, band) for name, part in parts.items() for band in BANDS if len(part))
    bias = {name: _bias(part) for name, part in parts.items()}
    rank_p = {name: _rank_p(part) for name, part in parts.items()}
    return Hindcast(
        days, coverage, bias, rank_p, runs, unit=area_unit(loaded.base.units), stopped=stopped,
        simulated=dict.fromkeys(days["equipment_set"], runs),
    )  # fmt: skip


def _row(day: PastDay, name: str, measure: str, observed: float, values: FloatArray) -> dict[str, Any]:
    slack = RECORD_ERROR * observed
    below, same = float(np.mean(values < observed - slack)), float(np.mean(np.abs(values - observed) <= slack))
    return {
        "date": day.date, "line": day.line, "equipment_set": name, "measure": measure, "observed": observed,
        "predicted": float(values.mean()),
        **{f"p{percent}": float(np.quantile(values, percent / 100.0)) for percent in (5, 10, 25, 75, 90, 95)},
        "rank": below + 0.5 * same, "tells": not (float(np.ptp(values)) <= slack and same == 1.0),
    }  # fmt: skip


def _coverage(part: pd.DataFrame, measure: str, band: float) -> Coverage:
    from scipy.stats import binomtest

    inside = int(_held(part, f"p{round(50 * (1 - band))}", f"p{round(50 * (1 + band))}").sum())
    limits = binomtest(inside, len(part)).proportion_ci(0.95, method="exact")
    return Coverage(measure, band, inside, len(part), (float(limits.low), float(limits.high)))


def _bias(part: pd.DataFrame) -> Interval | None:
    predicted, observed = (part[name].to_numpy(dtype=np.float64) for name in ("predicted", "observed"))
    if len(observed) < 2 or observed.mean() <= 0:
        return None
    return mean_interval((predicted - observed) / observed.mean())


def _rank_p(part: pd.DataFrame) -> float | None:
    from scipy.stats import kstest

    if len(part) < 5:
        return None
    return float(kstest(part["rank"].to_numpy(dtype=np.float64), "uniform").pvalue)
