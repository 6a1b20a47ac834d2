"""Which assumptions matter: one input at a time, Sobol indices, and what to measure to be sure."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.analysis.summary import MEASURES
from simulator.errors import InputError, Problems
from simulator.experiment.estimates import (
    mean_interval,
    paired_interval,
    replications_needed,
)
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario import units
from simulator.scenario.distributions import Distribution
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.merge import nearest
from simulator.scenario.units import area_unit
from simulator.study.cases import CaseRuns, Trials
from simulator.study.design import locate, setting_at
from simulator.study.reading import InputRange
from simulator.study.sensitivity_answer import Sensitivity
from simulator.study.sobol import is_power_of_two, sobol
from simulator.study.trial import FloatArray, Report, changed_set, check_runs, one_set

if TYPE_CHECKING:
    import pandas as pd

_GENERIC = frozenset({"rig", "crew", "tasks", "aircraft", "pack", "charger", "generator", "time", "field"})


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
    loaded: LoadedScenario,
    ranges: Sequence[InputRange],
    equipment_set: str | None = None,
    against: str | None = None,
    measure: str = "acres",
    runs: int = 40,
    sobol_points: int = 0,
    sobol_runs: int = 4,
    target: float = 0.02,
    seed: int | None = None,
    workers: int = 1,
    report: Report | None = None,
) -> Sensitivity:
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
    bars = _bars(ranges, answers)
    base = mean_interval(answers[0])
    scale = abs(base.mean) if against is None else abs(float(_column(simulated, 0, measure).mean()))
    needs = _needs(entries[0], bars, ranges, target * scale)
    stopped = ""
    indices, noise = None, math.nan
    if sobol_points:
        check_runs(sobol_runs, len(entries) * sobol_points * (len(ranges) + 2), "sobol_runs", least=2)
        halves: list[FloatArray] = []

        def function(shares: FloatArray) -> FloatArray:
            means = _evaluate(trials, entries, ranges, shares, measure, sobol_runs)
            halves.append(means)
            return np.asarray(means.mean(axis=1))

        try:
            indices = sobol(function, [(0.0, 1.0)] * len(ranges), sobol_points, trials.seed)
            noise = _noise_share(np.vstack(halves[:2]))
        except KeyboardInterrupt:
            stopped = "interrupted; the Sobol indices are left out"
    return Sensitivity(
        bars, needs, base, indices, noise, measure, target, area_unit(loaded.base.units),
        tuple(entry.name for entry in entries), runs, sobol_runs, stopped=stopped,
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
        message = (
            f"got {measure!r}, which has no value in some runs; allowed is a measure of every run, such as 'acres'"
        )
        raise InputError.single(message, "--measure")
    return values


def _answer(simulated: CaseRuns, case: int, cases: int, measure: str, paired: bool) -> FloatArray:
    values = _column(simulated, case, measure)
    return values - _column(simulated, case + cases, measure) if paired else values


def _bars(ranges: Sequence[InputRange], answers: Sequence[FloatArray]) -> pd.DataFrame:
    import pandas as pd

    rows: list[dict[str, Any]] = []
    for place, (one, words) in enumerate(zip(ranges, words_of(ranges), strict=True)):
        three = [answers[2 * place + 1], answers[0], answers[2 * place + 2]]
        means = [float(values.mean()) for values in three]
        most, least = int(np.argmax(means)), int(np.argmin(means))
        gaps = {
            "change_low": paired_interval(three[0], three[1]),
            "change_high": paired_interval(three[2], three[1]),
            "swing": paired_interval(three[most], three[least]),
        }
        row: dict[str, Any] = {
            "place": place,
            "key": one.key,
            "words": words,
            "low": one.text(0.0),
            "high": one.text(1.0),
        }
        row |= {"at_low": means[0], "at_high": means[2]}
        for name, gap in gaps.items():
            row |= {name: gap.mean, f"{name}_ci_low": gap.low, f"{name}_ci_high": gap.high}
        rows.append({**row, "flips": min(means) < 0 < max(means)})
    return pd.DataFrame(rows).sort_values(["swing", "place"], ascending=[False, True], ignore_index=True)


def _needs(entry: EquipmentSet, bars: pd.DataFrame, ranges: Sequence[InputRange], target: float) -> pd.DataFrame:
    """Say how well each input must be known so that the answer is known to the target (half-width, own unit)."""
    import pandas as pd

    rows = []
    for row in bars.to_dict(orient="records"):
        one = ranges[int(row["place"])]
        swing = float(row["swing"])
        # a swing in proportion to the width, as far as the bar is straight; the target is a half-width
        share = min(1.0, 2.0 * target / swing) if swing > 0 and not one.whole else 1.0
        # a whole number (packs, people) is counted, not measured
        plus_minus = math.nan if one.whole else 0.5 * (one.high - one.low) * share
        rows.append(
            {
                "key": one.key,
                "words": row["words"],
                "unit": one.unit,
                "plus_minus": plus_minus,
                "timings": _timings(entry, one, plus_minus),
                "enough": share >= 1.0,
            }
        )
    return pd.DataFrame(rows)


def _timings(entry: EquipmentSet, one: InputRange, plus_minus: float) -> float:
    """Return how many measured values bring the mean's 95 % half-width down to ``plus_minus``; NaN without spread."""
    value, dimension = locate(entry, one.key)
    if (
        math.isnan(plus_minus)
        or not isinstance(value, Distribution)
        or value.is_constant
        or dimension is None
        or value.mean() <= 0
    ):
        return math.nan
    inner = units.parse(f"{plus_minus:.12g} {one.unit}".strip(), dimension)
    return float(replications_needed(value.sd(), inner))


def _evaluate(
    trials: Trials,
    entries: Sequence[EquipmentSet],
    ranges: Sequence[InputRange],
    shares: FloatArray,
    measure: str,
    runs: int,
) -> FloatArray:
    """Return means over odd and over even runs, shape (points, 2), for shares of shape (inputs, points)."""
    columns = [tuple(column) for column in shares.T]
    places: dict[tuple[str, ...], int] = {}
    plans: list[list[DayPlan]] = [[] for _ in entries]
    order = []
    for column in columns:
        settings = [
            [setting_at(entry, one, share) for one, share in zip(ranges, column, strict=True)] for entry in entries
        ]
        # points that differ only within a whole number's step are the same case
        key = tuple(text for texts in settings for text in texts)
        if key not in places:
            places[key] = len(places)
            problems = Problems()
            for group, entry, texts in zip(plans, entries, settings, strict=True):
                with problems.of("inputs together (" + ", ".join(texts) + ")"):
                    group.append(make_plan(changed_set(entry, texts, trials.loaded.folder)))
            problems.refuse()
        order.append(places[key])
    simulated = trials.cases([plan for group in plans for plan in group], "Sobol sample")
    simulated.extend(runs)
    cases = len(places)
    values = np.vstack([_answer(simulated, case, cases, measure, len(entries) == 2) for case in range(cases)])
    half = runs // 2
    halves = np.column_stack([values[:, :half].mean(axis=1), values[:, half : 2 * half].mean(axis=1)])
    return np.asarray(halves[order])


def _noise_share(halves: FloatArray) -> float:
    """Return the part of the points' variance that is chance: from the difference of the two halves of the runs.

    What all points share (a good or a bad lot of runs) cancels, since it shifts them alike.
    """
    variance = float(halves.mean(axis=1).var(ddof=1))
    chance = 0.25 * float((halves[:, 0] - halves[:, 1]).var(ddof=1))
    return min(1.0, chance / variance) if variance > 0 else math.nan
