"""Which assumptions matter: one input at a time, Sobol indices, and what to measure to be sure."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.analysis.digits import format_estimate
from simulator.analysis.summary import MEASURES
from simulator.errors import InputError, Problems
from simulator.experiment.estimates import Interval, mean_interval, paired_interval, replications_needed
from simulator.plan.day_plan import make_plan
from simulator.scenario import units
from simulator.scenario.distributions import Distribution
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.merge import nearest
from simulator.scenario.units import area_unit
from simulator.study.answer import Answer, shown
from simulator.study.cases import CaseRuns, FloatArray, Report, Trials, changed_set, check_runs, one_set
from simulator.study.reading import InputRange, locate, setting_at
from simulator.study.sobol import SobolIndices, is_power_of_two, sobol
from simulator.study.words import capital, number_text

if TYPE_CHECKING:
    import pandas as pd

Row = dict[Hashable, Any]
_GENERIC = frozenset({"rig", "crew", "tasks", "aircraft", "pack", "charger", "generator", "time", "field"})


@dataclass(frozen=True)
class Sensitivity(Answer):
    """What the answer owes to each input, the widest first; NaN timings where an input has no spread."""

    study = "sensitivity"
    files = ("inputs.csv=inputs", "to_measure.csv=needs", "sobol.csv=sobol_table")
    document = (
        "sentence", "measure", "runs", "base", "target_share=target", "stopped", "inputs", "to_measure=needs", "sobol",
    )  # fmt: skip

    bars: pd.DataFrame = field(repr=False)
    needs: pd.DataFrame = field(repr=False)
    base: Interval
    indices: SobolIndices | None
    noise_share: float
    measure: str
    target: float
    sets: tuple[str, ...]
    runs: int
    sobol_runs: int

    @property
    def inputs(self) -> pd.DataFrame:
        """The bars without the place that each input was given at."""
        return self.bars.drop(columns="place")

    @property
    def sobol_table(self) -> pd.DataFrame | None:
        """One row an input with its indices and intervals, in the order of the bars; None without indices."""
        if self.indices is None:
            return None
        return self.bars[["place", "key", "words"]].join(self.indices.table, on="place").drop(columns="place")

    @property
    def sobol(self) -> dict[str, Any] | None:
        """The indices as a document."""
        found = self.indices
        return None if found is None else {
            "indices": self.sobol_table, "mean": found.mean, "sd": found.sd, "evaluations": found.evaluations,
            "chance_share_of_variance": self.noise_share,
        }  # fmt: skip

    def _sentences(self) -> list[str]:
        bars, first, of = self.bars, self.bars.iloc[0], self.sets[0]
        scale, name, answer = 1.0, self.measure.replace("_", " "), "the answer"
        if self.measure == "acres":
            scale, name, answer = 1.0 / self.unit.acres, self.per_day, "the output"
        if len(self.sets) == 2:
            of, answer = f"the lead of {self.sets[0]} over {self.sets[1]}", "the lead"
        if float(first["swing_ci_low"]) <= 0:
            return [f"None of the inputs changes {of} by more than chance over {self.runs} runs."]
        swing = format_estimate(*(scale * float(first[key]) for key in ("swing", "swing_ci_low", "swing_ci_high")))
        text = (
            f"{capital(first['words'])} matters most for {of}: from {first['low']} to {first['high']} {answer} changes "
            f"by {swing} {name}"
        )
        if len(bars) > 1:
            share = float(bars.iloc[1]["swing"]) / float(first["swing"])
            text += f"; next is {bars.iloc[1]['words']} with {100 * share:.0f} % of that"
        text += "."
        if len(self.sets) == 2:
            flips = ", ".join(map(str, bars.loc[bars["flips"], "words"]))
            turns = f"The choice turns round within the range of {flips}."
            text += f" {turns if flips else 'No single input turns the choice round.'}"
        wanted = self.needs[~self.needs["enough"]]
        if not len(wanted):
            return [f"{text} All inputs are known well enough for {100 * self.target:.2g} %."]
        said = []
        for row in wanted.head(3).to_dict(orient="records"):
            times = f" (about {row['timings']:.0f} timings)" if math.isfinite(row["timings"]) else ""
            said.append(f"{row['words']} to within {row['plus_minus']:.2g} {row['unit']}".rstrip() + times)
        return [f"{text} To be sure to {100 * self.target:.2g} %, measure {'; '.join(said)}."]

    def _rows(self) -> list[list[str]]:
        unit, acres = self.unit, self.measure == "acres"
        scale, word = (1.0 / unit.acres, f"{unit.name}/day") if acres else (1.0, self.measure)
        table = self.sobol_table
        lines = self.bars.merge(self.needs.drop(columns="words"), on="key")
        if table is not None:
            lines = lines.merge(table.drop(columns="words"), on="key")

        def estimate(name: str, ends: str = "{}_ci95", by: float = 1.0) -> Callable[[Row], str]:
            keys = (name, f"{ends.format(name)}_low", f"{ends.format(name)}_high")
            return lambda row: format_estimate(*(by * float(row[key]) for key in keys))

        def within(row: Row) -> str:
            if math.isnan(row["plus_minus"]):
                return "count it"
            return "range will do" if row["enough"] else f"{row['plus_minus']:.2g} {row['unit']}".strip()

        columns: dict[str, Callable[[Row], str | None]] = {
            "input": lambda row: row["words"],
            "range": lambda row: f"{row['low']} to {row['high']}",
            f"change at its low end, {word}": estimate("change_low", "{}_ci", scale),
            f"change at its high end, {word}": estimate("change_high", "{}_ci", scale),
            f"widest difference, {word}": lambda row: f"{scale * row['swing']:.3g}",
            "must be known to within": within,
            "timings for that": lambda row: None if row["enough"] else number_text(row["timings"]),
        }
        if table is not None:
            columns["share alone (first order)"] = estimate("first_order", "first_ci95")
            columns["share in all (total)"] = estimate("total")
        return shown(lines.to_dict(orient="records"), columns)

    def _remarks(self) -> list[str]:
        said = [
            f"{self.runs} runs of each point, the same random runs for all; changes are from the scenario's own "
            "values, with 95 % intervals; the widest difference is between any two of low end, own value and high end.",
            f"Must be known to within: so that the answer is sure to {100 * self.target:.2g} %, if it changes evenly "
            "through the range; timings for that: stopwatch times whose mean is so sure; range will do: the range "
            "given is narrow enough.",
            "A drawn time keeps its shape: its mean moves through the range.",
        ]
        if self.indices is not None:
            said.append(
                "Share alone: of the variance, what the input explains by itself; share in all: with all that it does "
                f"together with others (Sobol indices), from {self.indices.evaluations} points of {self.sobol_runs} "
                f"runs; {100 * self.noise_share:.0f} % of their variance is chance of the runs."
            )
        return said


def words_of(ranges: Sequence[InputRange]) -> list[str]:
    """Return plain words for keys: their telling parts, or the whole key where two would read alike."""
    short = []
    for one in ranges:
        parts = one.key.split(".")
        telling = [part for part in parts[-3:] if part not in _GENERIC] or parts[-2:]
        kept = telling[-2:]
        if parts[-1] == "time" and "time" not in kept:
            kept = [*telling[-1:], "time"]
        short.append(" ".join(kept).replace("_", " "))
    return [one.key if short.count(text) > 1 else text for one, text in zip(ranges, short, strict=True)]


def sensitivity(
    loaded: LoadedScenario, ranges: Sequence[InputRange], equipment_set: str | None = None, against: str | None = None,
    measure: str = "acres", runs: int = 40, sobol_points: int = 0, sobol_runs: int = 4, target: float = 0.02,
    seed: int | None = None, workers: int = 1, report: Report | None = None,
) -> Sensitivity:  # fmt: skip
    """Find which inputs matter for an equipment set, or for the difference between two.

    Parameters
    ----------
    loaded : LoadedScenario
        The scenario.
    ranges : sequence of InputRange
        What each input may be; see `ranges_of`.
    equipment_set, against : str, optional
        Set (the first by default), and another to take the difference from: then the question is whether the
        choice between them holds.
    measure : str, optional
        Measure of a run (`MEASURES`), averaged over runs.
    runs : int, optional
        Runs of each point of the one-at-a-time bars, the same random runs for all.
    sobol_points : int, optional
        Points of the Sobol sample, a power of two; 0 leaves the indices out. Takes ``points * (inputs + 2)`` cases.
    sobol_runs : int, optional
        Runs of each of those cases.
    target : float, optional
        Share of the answer that it is to be known to.
    seed, workers, report : optional
        Seed (the scenario's by default), number of processes, and what is told of progress.

    Returns
    -------
    Sensitivity
        Interrupted during the Sobol sample, without indices.

    Raises
    ------
    InputError
        A range cannot be used, or an option is out of range.
    """
    entries = [one_set(loaded, equipment_set), *([loaded.equipment_set(against)] if against is not None else [])]
    _check(ranges, measure, sobol_points, target, entries)
    check_runs(runs, len(entries) * (2 * len(ranges) + 1), least=3)
    trials = Trials.of(loaded, seed, workers, report)
    plans, problems = [], Problems()
    for entry in entries:
        plans.append(make_plan(entry))
        for one, share in itertools.product(ranges, (0.0, 1.0)):
            with problems.of(f"--range {one.key} at {one.text(share)}"):
                plans.append(make_plan(changed_set(entry, [setting_at(entry, one, share)], loaded.folder)))
    problems.refuse()
    simulated = trials.cases(plans, "one at a time")
    simulated.extend(runs)
    cases = 2 * len(ranges) + 1
    answers = [_answer(simulated, case, cases, measure, against is not None) for case in range(cases)]
    bars, base = _bars(ranges, answers), mean_interval(answers[0])
    scale = abs(float(_column(simulated, 0, measure).mean()))
    needs = _needs(entries[0], bars, ranges, target * scale)
    stopped, indices, noise = "", None, math.nan
    if sobol_points:
        check_runs(sobol_runs, len(entries) * sobol_points * (len(ranges) + 2), "sobol_runs", least=2)
        halves: list[FloatArray] = []

        def function(shares: FloatArray) -> FloatArray:
            halves.append(_evaluate(trials, entries, ranges, shares, measure, sobol_runs))
            return np.asarray(halves[-1].mean(axis=1))

        try:
            indices = sobol(function, [(0.0, 1.0)] * len(ranges), sobol_points, trials.seed)
            noise = _noise_share(np.vstack(halves[:2]))
        except KeyboardInterrupt:
            stopped = "interrupted; the Sobol indices are left out"
    names = tuple(entry.name for entry in entries)
    return Sensitivity(
        bars, needs, base, indices, noise, measure, target, names, runs, sobol_runs, stopped=stopped,
        unit=area_unit(loaded.base.units), simulated=dict.fromkeys(names, runs),
    )  # fmt: skip


def _check(
    ranges: Sequence[InputRange], measure: str, points: int, target: float, entries: Sequence[EquipmentSet]
) -> None:
    if not ranges:
        raise InputError.single("got no range; allowed is at least one", "--range")
    if measure not in MEASURES:
        raise InputError.single(f"got {measure!r}{nearest(measure, list(MEASURES))}", "--measure")
    if points and (points < 2 or not is_power_of_two(points)):
        raise InputError.single(f"got {points}; allowed is 0 or a power of two such as 64", "--sobol")
    if not 0.0 < target < 1.0:
        raise InputError.single(f"got {target}; allowed is a share such as 2%", "--target")
    if len(entries) == 2 and entries[0].name == entries[1].name:
        raise InputError.single(f"got {entries[0].name!r} against itself; allowed is another set", "--against")


def _column(simulated: CaseRuns, case: int, measure: str) -> FloatArray:
    values = simulated.column(case, measure)
    if not np.isfinite(values).all():
        allowed = "allowed is a measure of every run, such as 'acres'"
        raise InputError.single(f"got {measure!r}, which has no value in some runs; {allowed}", "--measure")
    return values


def _answer(simulated: CaseRuns, case: int, cases: int, measure: str, paired: bool) -> FloatArray:
    values = _column(simulated, case, measure)
    return values - _column(simulated, case + cases, measure) if paired else values


def _bars(ranges: Sequence[InputRange], answers: Sequence[FloatArray]) -> pd.DataFrame:
    import pandas as pd

    rows: list[dict[str, Any]] = []
    for place, (one, words) in enumerate(zip(ranges, words_of(ranges), strict=True)):
        low, base, high = three = [answers[2 * place + 1], answers[0], answers[2 * place + 2]]
        least, _, most = sorted(three, key=lambda values: float(values.mean()))
        row: dict[str, Any] = {
            "place": place, "key": one.key, "words": words, "low": one.text(0.0), "high": one.text(1.0),
            "at_low": float(low.mean()), "at_high": float(high.mean()),
        }  # fmt: skip
        for name, ends in (("change_low", (low, base)), ("change_high", (high, base)), ("swing", (most, least))):
            gap = paired_interval(*ends)
            row |= {name: gap.mean, f"{name}_ci_low": gap.low, f"{name}_ci_high": gap.high}
        rows.append({**row, "flips": bool(least.mean() < 0 < most.mean())})
    return pd.DataFrame(rows).sort_values(["swing", "place"], ascending=[False, True], ignore_index=True)


def _needs(entry: EquipmentSet, bars: pd.DataFrame, ranges: Sequence[InputRange], target: float) -> pd.DataFrame:
    """Say how well each input must be known so that the answer is known to the target (half-width, own unit)."""
    import pandas as pd

    rows = []
    for row in bars.to_dict(orient="records"):
        one, swing = ranges[int(row["place"])], float(row["swing"])
        # a swing in proportion to the width, as far as the bar is straight; the target is a half-width
        share = min(1.0, 2.0 * target / swing) if swing > 0 and not one.whole else 1.0
        # a whole number (packs, people) is counted, not measured
        plus_minus = math.nan if one.whole else 0.5 * (one.high - one.low) * share
        rows.append({
            "key": one.key, "words": row["words"], "unit": one.unit, "plus_minus": plus_minus,
            "timings": _timings(entry, one, plus_minus), "enough": share >= 1.0,
        })  # fmt: skip
    return pd.DataFrame(rows)


def _timings(entry: EquipmentSet, one: InputRange, plus_minus: float) -> float:
    """Return how many measured values bring the mean's 95 % half-width down to ``plus_minus``; NaN without spread."""
    value, dimension = locate(entry, one.key)
    spread = isinstance(value, Distribution) and not value.is_constant and value.mean() > 0
    if math.isnan(plus_minus) or not spread or dimension is None:
        return math.nan
    return float(replications_needed(value.sd(), units.parse(f"{plus_minus:.12g} {one.unit}".strip(), dimension)))


def _evaluate(
    trials: Trials, entries: Sequence[EquipmentSet], ranges: Sequence[InputRange], shares: FloatArray, measure: str,
    runs: int,
) -> FloatArray:  # fmt: skip
    """Return means over odd and over even runs, shape (points, 2), for shares of shape (inputs, points)."""
    # points that differ only within a whole number's step are the same case
    places: dict[tuple[tuple[str, ...], ...], int] = {}
    order = []
    for column in shares.T:
        pairs = list(zip(ranges, column, strict=True))
        settings = tuple(tuple(setting_at(entry, *pair) for pair in pairs) for entry in entries)
        order.append(places.setdefault(settings, len(places)))
    plans, problems = [], Problems()
    for place, entry in enumerate(entries):
        for texts in (settings[place] for settings in places):
            with problems.of(f"inputs together ({', '.join(texts)})"):
                plans.append(make_plan(changed_set(entry, texts, trials.loaded.folder)))
            problems.refuse()
    simulated = trials.cases(plans, "Sobol sample")
    simulated.extend(runs)
    cases, half = len(places), runs // 2
    values = np.vstack([_answer(simulated, case, cases, measure, len(entries) == 2) for case in range(cases)])
    halves = np.column_stack([values[:, :half].mean(axis=1), values[:, half : 2 * half].mean(axis=1)])
    return np.asarray(halves[order])


def _noise_share(halves: FloatArray) -> float:
    """Return the part of the points' variance that is chance, from the two halves; what all points share cancels."""
    variance = float(halves.mean(axis=1).var(ddof=1))
    chance = 0.25 * float((halves[:, 0] - halves[:, 1]).var(ddof=1))
    return min(1.0, chance / variance) if variance > 0 else math.nan
