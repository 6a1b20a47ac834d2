"""Past days simulated from their inputs: observed against predicted, and whether the bands hold what they should."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError, Problem
from simulator.experiment.estimates import Interval, format_estimate, mean_interval
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario.field_list import FieldList
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.stopwatch import PastDay
from simulator.study.cases import CaseRuns, changed_set, check_size
from simulator.study.documents import clean
from simulator.study.trial import Report, area_unit, check_workers

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
BANDS = (0.5, 0.8, 0.9)
"""Shares of days that the bands shown are to hold."""
_LEAST_RUNS = 20
"""Runs that the band of nine days in ten needs at least: its ends are then within the days simulated."""
RECORD_ERROR = 0.005
"""An observation within this share of a band's end counts as inside: records are rounded. An assumption."""


@dataclass(frozen=True)
class Coverage:
    """How often a band held what was observed."""

    measure: str
    band: float
    inside: int
    days: int
    low: float
    high: float

    @property
    def agrees(self) -> bool:
        """Whether the share that the band should hold is within the interval."""
        return self.low <= self.band <= self.high


@dataclass(frozen=True)
class Hindcast:
    """Observed against predicted."""

    days: pd.DataFrame
    coverage: tuple[Coverage, ...]
    bias: dict[str, Interval | None]
    rank_p: dict[str, float | None]
    runs: int
    units: str
    sentence: str
    stopped: str = ""

    def to_json(self) -> dict[str, Any]:
        """Return the study as a JSON-able document."""
        document = {
            "study": "hindcast",
            "sentence": self.sentence,
            "runs_each": self.runs,
            "stopped": self.stopped,
            "days": self.days.to_dict(orient="records"),
            "coverage": [
                {
                    "measure": entry.measure,
                    "band": entry.band,
                    "inside": entry.inside,
                    "days": entry.days,
                    "ci95": [entry.low, entry.high],
                    "agrees": entry.agrees,
                }
                for entry in self.coverage
            ],
            "bias": {
                name: None if value is None else {"share": value.mean, "ci95": [value.low, value.high]}
                for name, value in self.bias.items()
            },
            "rank_uniformity_p": self.rank_p,
        }
        return clean(document)


def day_set(loaded: LoadedScenario, day: PastDay) -> EquipmentSet:
    """Return the equipment set of a past day, with its settings and fields.

    It is one work day; with its own fields it goes through them once and then stops, as crews do.
    """
    entry = loaded.equipment_set(day.equipment_set) if day.equipment_set else loaded.sets[0]
    settings = [*day.settings, "most_work_days=1", "work_days=1"]
    if day.fields and not any(text.split("=", 1)[0].strip() == "work" for text in settings):
        settings.append('work="once"')
    changed = changed_set(entry, settings, loaded.folder)
    return replace(changed, fields=FieldList(day.fields)) if day.fields else changed


def hindcast(
    loaded: LoadedScenario,
    past: Sequence[PastDay],
    runs: int = 200,
    seed: int | None = None,
    workers: int = 1,
    report: Report | None = None,
) -> Hindcast:
    """Simulate past days from what was known before them, and hold the outcome against what was observed."""
    import pandas as pd

    if not past:
        raise InputError.single("got no past day; allowed is at least one")
    if runs < _LEAST_RUNS:
        message = f"got {runs} runs for each past day; allowed is {_LEAST_RUNS} or more, as a band needs"
        raise InputError.single(message, "--runs")
    check_size(runs, len(past), "--runs", least=_LEAST_RUNS)
    check_workers(workers)
    plans: list[DayPlan] = []
    problems: list[Problem] = []
    for day in past:
        try:
            plans.append(make_plan(day_set(loaded, day)))
        except InputError as error:
            where = f"line {day.line} ({day.date})"
            problems += [Problem(where, f"{p.where}: {p.message}" if p.where else p.message) for p in error.problems]
    if problems:
        raise InputError(problems)
    simulated = CaseRuns(plans, loaded.base.seed if seed is None else seed, workers, report, "past days")
    stopped = ""
    try:
        simulated.extend(runs)
    except KeyboardInterrupt:
        stopped = "interrupted; only the past days that had finished are in the table"
    rows = []
    for case, day in enumerate(past):
        if simulated.runs(case) < _LEAST_RUNS:
            continue
        observed = {"acres": day.acres, "paid_hours": day.hours}
        for measure, value in observed.items():
            if value is not None:
                values = simulated.column(case, measure) * simulated.column(case, "work_days")
                rows.append(_row(day, plans[case].name, measure, value, values))
    if not rows:
        raise KeyboardInterrupt
    frame = pd.DataFrame(rows)
    measures = [str(name) for name in dict.fromkeys(frame["measure"])]
    parts = {name: frame[(frame["measure"] == name) & frame["tells"]] for name in measures}
    coverage = tuple(_coverage(parts[name], name, band) for name in measures for band in BANDS if len(parts[name]))
    bias = {name: _bias(part) for name, part in parts.items()}
    rank_p = {name: _rank_p(part) for name, part in parts.items()}
    sentence = _sentence(frame, coverage, bias, loaded.base.units)
    return Hindcast(frame, coverage, bias, rank_p, runs, loaded.base.units, sentence, stopped)


def _row(day: PastDay, name: str, measure: str, observed: float, values: FloatArray) -> dict[str, Any]:
    row: dict[str, Any] = {
        "date": day.date,
        "line": day.line,
        "equipment_set": name,
        "measure": measure,
        "observed": observed,
        "predicted": float(values.mean()),
    }
    for percent in (5, 10, 25, 75, 90, 95):
        row[f"p{percent}"] = float(np.quantile(values, percent / 100.0))
    slack = RECORD_ERROR * observed
    below, same = float(np.mean(values < observed - slack)), float(np.mean(np.abs(values - observed) <= slack))
    row["rank"] = below + 0.5 * same
    row["tells"] = not (float(np.ptp(values)) <= slack and same == 1.0)
    return row


def _coverage(part: pd.DataFrame, measure: str, band: float) -> Coverage:
    from scipy.stats import binomtest

    low, high = f"p{round(50 * (1 - band))}", f"p{round(50 * (1 + band))}"
    slack = RECORD_ERROR * part["observed"]
    inside = int(((part["observed"] >= part[low] - slack) & (part["observed"] <= part[high] + slack)).sum())
    limits = binomtest(inside, len(part)).proportion_ci(0.95, method="exact")
    return Coverage(measure, band, inside, len(part), float(limits.low), float(limits.high))


def _bias(part: pd.DataFrame) -> Interval | None:
    observed = part["observed"].to_numpy(dtype=np.float64)
    if len(observed) < 2 or observed.mean() <= 0:
        return None
    return mean_interval((part["predicted"].to_numpy(dtype=np.float64) - observed) / observed.mean())


def _rank_p(part: pd.DataFrame) -> float | None:
    from scipy.stats import kstest

    if len(part) < 5:
        return None
    return float(kstest(part["rank"].to_numpy(dtype=np.float64), "uniform").pvalue)


def _sentence(frame: pd.DataFrame, coverage: Sequence[Coverage], bias: dict[str, Interval | None], units: str) -> str:
    names = {"acres": f"{area_unit(units).name} done", "paid_hours": "paid hours"}
    said = []
    for entry in coverage:
        if entry.band != max(BANDS):
            continue
        verdict = "in keeping" if entry.agrees else "not in keeping"
        text = (
            f"on {entry.inside} of {entry.days} past days the {names[entry.measure]} lay within the band "
            f"for nine days in ten ({verdict} with it)"
        )
        off = bias.get(entry.measure)
        if off is not None and off.low is not None and off.high is not None:
            if off.low <= 0 <= off.high:
                text += f" and on average the simulation is right to within {max(-100 * off.low, 100 * off.high):.2g} %"
            else:
                amount = format_estimate(100 * abs(off.mean), *sorted((100 * abs(off.low), 100 * abs(off.high))))
                text += f" and on average the simulation is {amount} % too {'high' if off.mean > 0 else 'low'}"
        said.append(text)
    mute = int((~frame["tells"]).sum())
    tail = f" On {mute} days the whole list was done, in fact and in every simulation: their acres prove nothing."
    text = "; ".join(said) or "no past day tells anything"
    return f"{text[:1].upper()}{text[1:]}.{tail if mute else ''}"
