"""Stopwatch times turned into a scenario's distributions, each with its goodness of fit and where it came from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError, Problem
from simulator.experiment.estimates import Interval, format_estimate, mean_interval
from simulator.scenario.distributions import Constant
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.merge import deep_merge
from simulator.scenario.stopwatch import PastDays, StopwatchLog, Timing, dates_text
from simulator.scenario.toml_text import distribution_table, quantity_text, toml_document
from simulator.study.documents import clean
from simulator.study.measured import Measured, measured_values
from simulator.study.shapes import KINDS, Shape, fit_shape
from simulator.study.trial import one_set

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class TaskFit:
    """One fitted quantity."""

    key: str
    task: str
    values: FloatArray
    unit: str
    mean: Interval
    before: float | None
    shape: Shape
    setting: dict[str, Any] | str
    note: str
    source: str

    @property
    def comment(self) -> str:
        """Where the numbers come from, for the fragment."""
        lines = [f"{self.task}: {self.source}"]
        mean = format_estimate(self.mean.mean, self.mean.low, self.mean.high)
        lines.append(f"{len(self.values)} values, mean {mean} {self.unit}; {self.shape.kind}: {self.shape.why}")
        if math.isfinite(self.shape.p):
            lines.append(f"Anderson-Darling {self.shape.statistic:.3f}, p = {self.shape.p:.2f} with parameters fitted")
        return "\n".join(lines + ([self.note] if self.note else []))


@dataclass(frozen=True)
class Fit:
    """All fitted quantities of a log."""

    fits: tuple[TaskFit, ...]
    fragment: dict[str, Any]
    sentence: str

    @property
    def table(self) -> pd.DataFrame:
        """One row a quantity."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "task": one.task,
                    "key": one.key,
                    "values": len(one.values),
                    "unit": one.unit,
                    "mean": one.mean.mean,
                    "ci95_low": math.nan if one.mean.low is None else one.mean.low,
                    "ci95_high": math.nan if one.mean.high is None else one.mean.high,
                    "sd": float(one.values.std(ddof=1)) if len(one.values) > 1 else math.nan,
                    "scenario_had": math.nan if one.before is None else one.before,
                    "kind": one.shape.kind,
                    "anderson_darling": one.shape.statistic,
                    "p": one.shape.p,
                    "why": one.shape.why,
                }
                for one in self.fits
            ]
        )

    def fragment_text(self) -> str:
        """Return the scenario fragment as TOML, with where each number comes from."""
        head = (
            "# Part of a scenario, fitted from measurements; lay it over a scenario: each key replaces the one there.\n"
        )
        loose = [f"# {line}" for one in self.fits if not one.key for line in one.comment.splitlines()]
        head += "".join(f"{line}\n" for line in loose)
        notes = {one.key: one.comment for one in self.fits if one.key}
        return head + ("\n" + toml_document(self.fragment, notes) if self.fragment else "")

    def merged_text(self, raw: Mapping[str, Any]) -> str:
        """Return a whole scenario as TOML with the fitted values laid over it."""
        head = "# A scenario with times fitted from measurements laid over it; comments of the scenario are not kept.\n"
        notes = {one.key: one.comment for one in self.fits}
        return head + "\n" + toml_document(deep_merge(raw, self.fragment), notes)

    def to_json(self) -> dict[str, Any]:
        """Return the study as a JSON-able document."""
        document = {
            "study": "fit",
            "sentence": self.sentence,
            "fits": [
                {
                    **row,
                    "setting": one.setting,
                    "aicc": one.shape.aicc,
                    "note": one.note,
                    "source": one.source,
                }
                for row, one in zip(self.table.to_dict(orient="records"), self.fits, strict=True)
            ],
        }
        return clean(document)


def fit(
    loaded: LoadedScenario,
    log: StopwatchLog,
    equipment_set: str | None = None,
    kind: str = "auto",
    seed: int = 1,
) -> Fit:
    """Fit every task of a stopwatch log and return the part of a scenario that sets it."""
    if kind not in KINDS:
        raise InputError.single(f"got {kind!r}; allowed is one of {', '.join(KINDS)}", "--kind")
    entry = one_set(loaded, equipment_set)
    groups: dict[tuple[str, str], list[Timing]] = {}
    for timing in log.timings:
        groups.setdefault((timing.task, timing.of), []).append(timing)
    fits: list[TaskFit] = []
    problems: list[Problem] = []
    for (task, of), timings in groups.items():
        try:
            for measured in measured_values(entry, task, of, timings):
                fits.append(_fit_one(entry, log, timings, measured, kind, seed))
        except InputError as error:
            problems += [Problem(p.where, p.message, log.file) for p in error.problems]
        except ValueError as error:
            problems.append(Problem(task, str(error), log.file))
    keys = [one.key for one in fits]
    for key in dict.fromkeys(key for key in keys if keys.count(key) > 1):
        names = ", ".join(one.task for one in fits if one.key == key)
        problems.append(Problem(key, f"is set by more than one task or name ({names}); allowed is one", log.file))
    if problems:
        raise InputError(problems)
    fragment: dict[str, Any] = {}
    for one in fits:
        place = fragment
        *parents, last = one.key.split(".")
        for part in parents:
            place = place.setdefault(part, {})
        place[last] = one.setting
    return Fit(tuple(fits), fragment, _sentence(fits))


def _fit_one(
    entry: EquipmentSet, log: StopwatchLog, timings: Sequence[Timing], measured: Measured, kind: str, seed: int
) -> TaskFit:
    values = measured.values
    if measured.fixed:
        # a scenario takes a plain number there, so the mean is all that can be handed on
        shape = Shape(
            "constant", Constant(float(values.mean())), {}, math.nan, math.nan, "the scenario takes a fixed value"
        )
        setting: dict[str, Any] | str = quantity_text(float(values.mean()), measured.unit, 4)
    else:
        shape = fit_shape(values, kind, seed)
        setting = distribution_table(shape.distribution, measured.unit, 4)
    dates = dates_text(timing.date for timing in timings)
    lines = f"lines {timings[0].line} to {timings[-1].line}" if len(timings) > 1 else f"line {timings[0].line}"
    source = f"{log.file} (sha256 {log.sha256[:12]}), {lines}" + (f", {dates}" if dates else "")
    return TaskFit(
        key=measured.key,
        task=measured.task,
        values=values,
        unit=measured.unit,
        mean=mean_interval(values),
        before=measured.before,
        shape=shape,
        setting=setting,
        note=measured.note,
        source=source,
    )


def fit_past(past: PastDays, kind: str = "auto", seed: int = 1) -> Fit:
    """Fit the outcome of past days: acres a day, and hours and acres an hour where hours were noted.

    No key of a scenario takes an outcome, so the fragment stays empty; see `hindcast` for what to do with it.
    """
    if kind not in KINDS:
        raise InputError.single(f"got {kind!r}; allowed is one of {', '.join(KINDS)}", "--kind")
    worked = [day for day in past.days if day.acres > 0]
    if not worked:
        raise InputError.single("no day has acres; nothing can be fitted", file=past.file)
    timed = [(day.acres, day.hours) for day in worked if day.hours]
    parts = [("acres a day", "acres", np.array([day.acres for day in worked]))]
    if timed:
        parts.append(("paid hours a day", "h", np.array([hours for _, hours in timed])))
        parts.append(("acres a paid hour", "acres/h", np.array([acres / hours for acres, hours in timed])))
    dates = dates_text(day.date for day in worked)
    source = f"{past.file} (sha256 {past.sha256[:12]})" + (f", {dates}" if dates else "")
    fits = []
    for task, unit, values in parts:
        try:
            shape = fit_shape(values, kind, seed)
        except ValueError as error:
            raise InputError.single(f"{task}: {error}", "--kind") from error
        fits.append(TaskFit("", task, values, unit, mean_interval(values), None, shape, "", "", source))
    first = fits[0]
    mean = format_estimate(first.mean.mean, first.mean.low, first.mean.high)
    sentence = f"On {len(worked)} past days {mean} acres were done a day on average"
    sentence += "; to hold the simulation against them, use hindcast."
    return Fit(tuple(fits), {}, sentence)


def _sentence(fits: Sequence[TaskFit]) -> str:
    total = len(fits)

    def off(one: TaskFit) -> float:
        return abs(math.log(one.mean.mean / one.before)) if one.before and one.mean.mean > 0 else 0.0

    first = max(fits, key=off)
    poor = [one.task for one in fits if one.shape.p < 0.05]
    text = f"{total} {'quantity' if total == 1 else 'quantities'} fitted."
    if first.before:
        mean = format_estimate(first.mean.mean, first.mean.low, first.mean.high)
        low, high = first.mean.low, first.mean.high
        told = low is not None and high is not None and not low <= first.before <= high
        way = "longer" if first.mean.mean > first.before else "shorter"
        if first.unit not in ("s",):
            way = "more" if first.mean.mean > first.before else "less"
        what = first.task.replace("_", " ")
        text += f" Furthest from the scenario is {what}: {mean} {first.unit} measured, {first.before:.3g} assumed"
        text += f", {way} than chance explains." if told else ", which chance may explain."
    if poor:
        text += f" No usual shape fits {', '.join(dict.fromkeys(poor))}."
    return text
