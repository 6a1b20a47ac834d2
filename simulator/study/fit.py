"""Stopwatch times turned into a scenario's distributions, each with its goodness of fit and where it came from."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.analysis.digits import format_estimate
from simulator.errors import InputError, Problem, Problems
from simulator.experiment.estimates import Interval, mean_interval
from simulator.scenario.distributions import Constant
from simulator.scenario.loading import LoadedScenario
from simulator.scenario.merge import deep_merge
from simulator.scenario.stopwatch import PastDays, StopwatchLog, Timing, dates_text
from simulator.scenario.toml_text import distribution_table, quantity_text, toml_document
from simulator.scenario.units import area_unit
from simulator.study.answer import Answer, attributes, frame, shown
from simulator.study.cases import one_set
from simulator.study.measured import Measured, measured_values
from simulator.study.shapes import KINDS, Shape, fit_shape
from simulator.study.words import number_text, sure_limits

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, kw_only=True)
class TaskFit(Measured):
    """One fitted quantity, its source being file, digest, dates and lines; without a key it is for the reader alone."""

    shape: Shape
    setting: dict[str, Any] | str
    source: str

    @property
    def mean(self) -> Interval:
        """Their mean."""
        return mean_interval(self.values)

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.values)

    @property
    def sd(self) -> float | None:
        """Their standard deviation; None of one alone."""
        return float(self.values.std(ddof=1)) if self.count > 1 else None

    @property
    def mean_text(self) -> str:
        """Their mean with its interval and unit."""
        return f"{format_estimate(self.mean.mean, self.mean.low, self.mean.high)} {self.unit}"

    @property
    def name(self) -> str:
        """What was timed, in words."""
        return self.task.replace("_", " ")

    @property
    def comment(self) -> str:
        """Where the numbers come from, for the fragment."""
        lines = [f"{self.task}: {self.source}"]
        lines.append(f"{len(self.values)} values, mean {self.mean_text}; {self.shape.kind}: {self.shape.why}")
        if math.isfinite(self.shape.p):
            lines.append(f"Anderson-Darling {self.shape.statistic:.3f}, p = {self.shape.p:.2f} with parameters fitted")
        return "\n".join(lines + ([self.note] if self.note else []))


@dataclass(frozen=True)
class Fit(Answer):
    """All fitted quantities of a log in the order of first appearance, and the part of a scenario that sets them."""

    study = "fit"
    files = ("fits.csv=table",)
    document = ("sentence", "fits=documents", "fragment=text")

    fits: tuple[TaskFit, ...]
    fragment: dict[str, Any]
    told: str

    def _sentences(self) -> list[str]:
        return [self.told]

    @property
    def table(self) -> pd.DataFrame:
        """One row a quantity."""
        return frame(self.fits, attributes(
            "task", "key", "values=count", "unit", "mean=mean.mean", "ci95_low=mean.low", "ci95_high=mean.high", "sd",
            "scenario_had=before", "kind=shape.kind", "anderson_darling=shape.statistic", "p=shape.p", "why=shape.why",
        ))  # fmt: skip

    @property
    def documents(self) -> list[dict[Hashable, Any]]:
        """The quantities as a document."""
        return [
            dict(row) | {"setting": one.setting, "aicc": one.shape.aicc, "note": one.note, "source": one.source}
            for row, one in zip(self.table.to_dict(orient="records"), self.fits, strict=True)
        ]

    def _rows(self) -> list[list[str]]:
        return shown(self.fits, {
            "what": lambda one: one.name,
            "values": lambda one: str(len(one.values)),
            "mean": lambda one: one.mean_text,
            "scenario had": lambda one: None if one.before is None else f"{one.before:.3g}",
            "distribution": lambda one: one.shape.kind,
            "p": lambda one: number_text(one.shape.p, 2),
            "why": lambda one: one.shape.why,
        })  # fmt: skip

    def _remarks(self) -> list[str]:
        taken = [f"{one.name}: {one.note}." for one in self.fits if one.note]
        return [*taken, "p: Anderson-Darling test with the parameters fitted; below 0.05 the shape does not fit."]

    @property
    def text(self) -> str:
        """The scenario fragment as TOML, with where each number comes from."""
        head = (
            "# Part of a scenario, fitted from measurements; lay it over a scenario: each key replaces the one there."
        )
        head += "\n" + "".join(f"# {line}\n" for one in self.fits if not one.key for line in one.comment.splitlines())
        notes = {one.key: one.comment for one in self.fits if one.key}
        return head + ("\n" + toml_document(self.fragment, notes) if self.fragment else "")

    def merged_text(self, raw: Mapping[str, Any]) -> str:
        """Return a whole scenario as TOML with the fitted values laid over it."""
        head = "# A scenario with times fitted from measurements laid over it; comments of the scenario are not kept.\n"
        notes = {one.key: one.comment for one in self.fits}
        return head + "\n" + toml_document(deep_merge(raw, self.fragment), notes)


def fit(
    loaded: LoadedScenario, log: StopwatchLog, equipment_set: str | None = None, kind: str = "auto", seed: int = 1
) -> Fit:
    """Fit every task of a stopwatch log and return the part of a scenario that sets it."""
    if kind not in KINDS:
        raise InputError.single(f"got {kind!r}; allowed is one of {', '.join(KINDS)}", "--kind")
    entry = one_set(loaded, equipment_set)
    groups: dict[tuple[str, str], list[Timing]] = {}
    for timing in log.timings:
        groups.setdefault((timing.task, timing.of), []).append(timing)
    fits: list[TaskFit] = []
    problems = Problems()
    for (task, of), timings in groups.items():
        with problems.of(file=log.file):
            try:
                for measured in measured_values(entry, task, of, timings):
                    fits.append(_fit_one(log, timings, measured, kind, seed))
            except ValueError as error:
                raise InputError.single(str(error), task) from error
    keys = [one.key for one in fits]
    for key in dict.fromkeys(key for key in keys if keys.count(key) > 1):
        names = ", ".join(one.task for one in fits if one.key == key)
        problems.found.append(Problem(key, f"is set by more than one task or name ({names}); allowed is one", log.file))
    problems.refuse()
    fragment: dict[str, Any] = {}
    for one in fits:
        place = fragment
        *parents, last = one.key.split(".")
        for part in parents:
            place = place.setdefault(part, {})
        place[last] = one.setting
    return Fit(tuple(fits), fragment, _sentence(fits), unit=area_unit(loaded.base.units))


def _source(file: str, sha256: str, lines: str, dates: Iterable[str]) -> str:
    told = dates_text(dates)
    return f"{file} (sha256 {sha256[:12]}){lines}" + (f", {told}" if told else "")


def _fit_one(log: StopwatchLog, timings: Sequence[Timing], measured: Measured, kind: str, seed: int) -> TaskFit:
    values = measured.values
    if measured.fixed:
        # a scenario takes a plain number there, so the mean is all that can be handed on
        why = "the scenario takes a fixed value"
        shape = Shape("constant", Constant(float(values.mean())), {}, math.nan, math.nan, why)
        setting: dict[str, Any] | str = quantity_text(float(values.mean()), measured.unit, 4)
    else:
        shape = fit_shape(values, kind, seed)
        setting = distribution_table(shape.distribution, measured.unit, 4)
    lines = f", lines {timings[0].line} to {timings[-1].line}" if len(timings) > 1 else f", line {timings[0].line}"
    source = _source(log.file, log.sha256, lines, (timing.date for timing in timings))
    return TaskFit(**vars(measured), shape=shape, setting=setting, source=source)


def fit_past(past: PastDays, kind: str = "auto", seed: int = 1) -> Fit:
    """Fit the outcome of past days, which no key of a scenario takes: acres a day, and an hour if noted."""
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
    source = _source(past.file, past.sha256, "", (day.date for day in worked))
    fits = []
    for task, unit, values in parts:
        try:
            shape = fit_shape(values, kind, seed)
        except ValueError as error:
            raise InputError.single(f"{task}: {error}", "--kind") from error
        fits.append(TaskFit("", task, values, unit, None, shape=shape, setting="", source=source))
    sentence = f"On {len(worked)} past days {fits[0].mean_text} were done a day on average"
    told = f"{sentence}; to hold the simulation against them, use hindcast."
    return Fit(tuple(fits), {}, told, unit=area_unit("us"))


def _sentence(fits: Sequence[TaskFit]) -> str:

    def off(one: TaskFit) -> float:
        return abs(math.log(one.mean.mean / one.before)) if one.before and one.mean.mean > 0 else 0.0

    first = max(fits, key=off)
    poor = [one.task for one in fits if one.shape.p < 0.05]
    text = f"{len(fits)} {'quantity' if len(fits) == 1 else 'quantities'} fitted."
    if first.before:
        low, high = sure_limits(first.mean)
        told = low < high and not low <= first.before <= high
        ways = ("longer", "shorter") if first.unit == "s" else ("more", "lower")
        way = ways[0] if first.mean.mean > first.before else ways[1]
        text += f" Furthest from the scenario is {first.name}: {first.mean_text} measured, {first.before:.3g} assumed"
        text += f", {way} than chance explains." if told else ", which chance may explain."
    if poor:
        text += f" No usual shape fits {', '.join(dict.fromkeys(poor))}."
    return text
