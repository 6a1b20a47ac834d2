"""How output falls when the same acres are split: number, size, shape and spread of fields, drawn or from real maps."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError, Problem
from simulator.experiment.estimates import Interval, format_estimate, mean_interval, paired_interval
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario.field_list import FieldList
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.cases import CaseRuns, changed_set, check_size
from simulator.study.documents import clean
from simulator.study.response import Response, fit_response
from simulator.study.splits import MOST_FIELDS, Split, properties
from simulator.study.trial import AreaUnit, Report, area_unit, check_workers

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
_COLUMNS = (
    "acres", "hectares", "field_hours", "paid_hours", "crew_hours", "moves", "drive_km", "work_days", "job_done",
)  # fmt: skip


@dataclass(frozen=True)
class Fragmentation:
    """Throughput against how the same acres are split."""

    runs: pd.DataFrame
    cases: pd.DataFrame
    responses: dict[str, Response]
    units: str
    sentence: str
    runs_each: int
    stopped: str = field(default="")

    def to_json(self) -> dict[str, Any]:
        """Return the study as a JSON-able document."""
        document = {
            "study": "fragmentation",
            "sentence": self.sentence,
            "runs_each": self.runs_each,
            "stopped": self.stopped,
            "cases": self.cases.to_dict(orient="records"),
            "responses": {name: response.to_json() for name, response in self.responses.items()},
        }
        return clean(document)


def fragmentation(
    loaded: LoadedScenario,
    splits: Sequence[Split],
    runs: int = 30,
    sets: Sequence[str] = (),
    seed: int | None = None,
    workers: int = 1,
    report: Report | None = None,
) -> Fragmentation:
    """Simulate every split with every equipment set on the same random runs.

    Each case is a job: its fields are worked off once, however many work days it takes.

    Parameters
    ----------
    loaded : LoadedScenario
        The equipment sets; their own fields are not used.
    splits : sequence of Split
        From `simulator.study.splits`, in any mix.
    runs : int, optional
        Runs of each split and set.
    sets : sequence of str, optional
        Equipment sets; all by default.
    seed : int, optional
        Seed; the scenario's by default.
    workers : int, optional
        Processes.
    report : callable, optional
        Progress.

    Returns
    -------
    Fragmentation
        When interrupted, of the cases that have at least two runs.

    Raises
    ------
    InputError
        No split, an unknown set, or a case that cannot be flown.
    """
    import pandas as pd

    if not splits:
        raise InputError.single("got no way to split the acres; allowed is at least one")
    chosen = [loaded.equipment_set(name) for name in dict.fromkeys(sets)] if sets else list(loaded.sets)
    check_size(runs, len(splits) * len(chosen))
    check_workers(workers)
    labels, plans = _plans(loaded, chosen, splits)
    simulated = CaseRuns(plans, loaded.base.seed if seed is None else seed, workers, report)
    stopped = ""
    try:
        simulated.extend(runs)
    except KeyboardInterrupt:
        stopped = "interrupted; only the cases that had finished are in the tables"
    whole = [case for case in range(len(plans)) if simulated.runs(case) >= 2]
    if not whole:
        raise KeyboardInterrupt
    frames, rows = [], []
    for case in whole:
        entry, split = labels[case]
        known = properties(split, plans[case])
        row: dict[str, Any] = {"equipment_set": entry.name, "case": split.name, "kind": split.kind, **known}
        frame = pd.DataFrame({**row, "run": np.arange(simulated.runs(case))})
        for name in _COLUMNS:
            frame[name] = simulated.column(case, name)
        frames.append(frame)
        mean, days = (mean_interval(simulated.column(case, name)) for name in ("acres", "work_days"))
        hours = float(simulated.column(case, "paid_hours").mean())
        rows.append(
            {
                **row,
                "paid_hours": hours,
                "runs": mean.n,
                "acres_per_day": mean.mean,
                "ci95_low": mean.low,
                "ci95_high": mean.high,
                "work_days": days.mean,
                "work_days_ci95_low": days.low,
                "work_days_ci95_high": days.high,
                "done_share": float(simulated.column(case, "job_done").mean()),
            }
        )
    cases = pd.DataFrame(rows)
    responses = {}
    for entry in chosen:
        own = cases[(cases["equipment_set"] == entry.name) & (cases["acres_per_day"] > 0)]
        found = fit_response(own) if len(own) else None
        if found is not None:
            responses[entry.name] = found
    sentence = _sentence(cases, simulated, labels, whole, loaded.base.units)
    return Fragmentation(
        pd.concat(frames, ignore_index=True), cases, responses, loaded.base.units, sentence, runs, stopped
    )


def _plans(
    loaded: LoadedScenario, chosen: Sequence[EquipmentSet], splits: Sequence[Split]
) -> tuple[list[tuple[EquipmentSet, Split]], list[DayPlan]]:
    labels, plans = [], []
    problems: list[Problem] = []
    for entry in chosen:
        job = changed_set(entry, ['work="once"'], loaded.folder)
        for split in splits:
            if split.kind != "map" and len(split.sites) > MOST_FIELDS:
                problems.append(Problem(split.name, f"got {len(split.sites)} fields; allowed is at most {MOST_FIELDS}"))
                continue
            try:
                plans.append(make_plan(replace(job, fields=FieldList(split.sites))))
                labels.append((entry, split))
            except InputError as error:
                problems += [Problem(f"{entry.name}: {split.name}: {one.where}", one.message) for one in error.problems]
    if problems:
        raise InputError(list(dict.fromkeys(problems)))
    return labels, plans


def _sentence(
    cases: pd.DataFrame,
    simulated: CaseRuns,
    labels: Sequence[tuple[EquipmentSet, Split]],
    whole: Sequence[int],
    units: str,
) -> str:
    unit = area_unit(units)
    said = []
    for name in dict.fromkeys(cases["equipment_set"]):
        own = cases[cases["equipment_set"] == name]
        coarse, fine = _extremes(own, [labels[whole[row]][1] for row in own.index])
        if coarse == fine:
            continue
        lost = _lost_share(simulated.column(whole[coarse], "acres"), simulated.column(whole[fine], "acres"))
        sizes = [own.loc[row, "mean_area_m2"] / M2_PER_ACRE / unit.acres for row in (coarse, fine)]
        low, high = (lost.mean if limit is None else limit for limit in (lost.low, lost.high))
        limits = sorted((100 * abs(low), 100 * abs(high)))
        text = format_estimate(100 * abs(lost.mean), *limits) if low * high > 0 else ""
        change = "loses" if lost.mean > 0 else "gains"
        amount = f"{text} % of its {unit.name} a day" if text else "nothing that can be told from chance"
        jobs = [sum(site.area_m2 for site in labels[whole[row]][1].sites) for row in (coarse, fine)]
        if abs(jobs[1] / jobs[0] - 1.0) < 0.01:
            days = [mean_interval(simulated.column(whole[row], "work_days")) for row in (fine, coarse)]
            longer, shorter = (format_estimate(one.mean, one.low, one.high) for one in days)
            job = f"the job of {jobs[0] / M2_PER_ACRE / unit.acres:,.0f} {unit.name}"
            amount += f", and takes {longer} work days for {job} instead of {shorter},"
        when = f"when fields of {sizes[0]:.3g} {unit.name} become fields of {sizes[1]:.3g}"
        said.append(f"{name} {change} {amount} {when}{_peak(own, simulated, labels, whole, coarse, fine, unit)}")
    crossing = _crossing(cases, simulated, labels, whole, unit.acres, unit.name)
    if not said:
        return crossing or "One case alone shows no effect of splitting."
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}.{' ' + crossing if crossing else ''}"


def _alike(own: pd.DataFrame, splits: Sequence[Split]) -> list[list[int]]:
    """Return the rows of cases that are alike in all but the number of fields."""
    alike: dict[tuple[float, ...], list[int]] = {}
    for row, split in zip(own.index, splits, strict=True):
        # cases of a Latin hypercube and maps are never quite alike; they are compared among themselves
        alike.setdefault(split.factors if split.kind == "grid" else (), []).append(int(row))
    return list(alike.values())


def _peak(
    own: pd.DataFrame,
    simulated: CaseRuns,
    labels: Sequence[tuple[EquipmentSet, Split]],
    whole: Sequence[int],
    coarse: int,
    fine: int,
    unit: AreaUnit,
) -> str:
    """Name the field size of most output where it lies between the ends beyond doubt; else an empty text."""
    rows = next(rows for rows in _alike(own, [labels[whole[row]][1] for row in own.index]) if coarse in rows)
    output, area = own["acres_per_day"], own["mean_area_m2"]
    best = max(rows, key=lambda row: float(output[row]))
    if best in (coarse, fine):
        return ""
    runs = [simulated.column(whole[row], "acres") for row in (best, coarse, fine)]
    n = min(len(one) for one in runs)
    gaps = [paired_interval(runs[0][:n], one[:n]) for one in runs[1:]]
    if any(gap.low is None or gap.low <= 0 for gap in gaps):
        return ""
    size, most = float(area[best]) / M2_PER_ACRE / unit.acres, float(output[best]) / unit.acres
    return f", but does most ({most:.3g} {unit.name} a day) with fields of {size:.3g}"


def _extremes(own: pd.DataFrame, splits: Sequence[Split]) -> tuple[int, int]:
    """Return the rows with the largest and the smallest mean field among cases that are alike in all else."""
    area = own["mean_area_m2"]

    def ratio(rows: list[int]) -> float:
        return float(area.loc[rows].max() / area.loc[rows].min())

    rows = max(_alike(own, splits), key=ratio)
    return max(rows, key=lambda row: float(area[row])), min(rows, key=lambda row: float(area[row]))


def _lost_share(coarse: FloatArray, fine: FloatArray) -> Interval:
    runs = min(len(coarse), len(fine))
    pair = paired_interval(coarse[:runs], fine[:runs])
    base = float(coarse[:runs].mean()) or math.nan
    low, high = (None if limit is None else limit / base for limit in (pair.low, pair.high))
    return Interval(pair.mean / base, low, high, pair.n, None if pair.half_width is None else pair.half_width / base)


def _crossing(
    cases: pd.DataFrame,
    simulated: CaseRuns,
    labels: Sequence[tuple[EquipmentSet, Split]],
    whole: Sequence[int],
    per_unit: float,
    unit: str,
) -> str:
    """Say where one of the first two sets overtakes the other, if it does."""
    names = list(dict.fromkeys(cases["equipment_set"]))
    if len(names) < 2:
        return ""
    first, second = names[:2]
    sizes: dict[str, list[float]] = {first: [], second: [], "": []}
    at: Mapping[tuple[str, str], int] = {(labels[case][0].name, labels[case][1].name): case for case in whole}
    for case in whole:
        entry, split = labels[case]
        other = at.get((second, split.name))
        if entry.name != first or other is None:
            continue
        runs = min(simulated.runs(case), simulated.runs(other))
        pair = paired_interval(simulated.column(case, "acres")[:runs], simulated.column(other, "acres")[:runs])
        low, high = pair.low or 0.0, pair.high or 0.0
        winner = first if low > 0 else second if high < 0 else ""
        size = float(np.mean([site.area_m2 for site in split.sites])) / M2_PER_ACRE / per_unit
        sizes[winner].append(size)
    if sizes[first] and sizes[second]:
        large, small = (first, second) if np.mean(sizes[first]) > np.mean(sizes[second]) else (second, first)
        return (
            f"{large} does more in {len(sizes[large])} of the cases (fields of {_span(sizes[large])} {unit}), "
            f"{small} in {len(sizes[small])} ({_span(sizes[small])} {unit}), undecided {len(sizes[''])}."
        )
    if sizes[first] or sizes[second]:
        always = first if sizes[first] else second
        count = len(sizes[always])
        return f"{always} does more in {count} of {count + len(sizes[''])} cases; the other in none."
    return "Neither set does more by more than chance in any case."


def _span(sizes: Sequence[float]) -> str:
    low, high = f"{min(sizes):.3g}", f"{max(sizes):.3g}"
    return low if low == high else f"{low} to {high}"
