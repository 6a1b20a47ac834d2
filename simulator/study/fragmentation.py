"""How output falls when the same acres are split: number, size, shape and spread of fields, drawn or from real maps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.analysis.digits import format_estimate
from simulator.errors import InputError, Problems
from simulator.experiment.estimates import Interval, mean_interval, paired_interval
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario.field_list import FieldList
from simulator.scenario.loading import LoadedScenario
from simulator.scenario.units import AreaUnit, area_unit
from simulator.study.answer import Answer, shown
from simulator.study.cases import FloatArray, Report, Trials, changed_set, check_runs, sets_of
from simulator.study.response import Response, fit_response
from simulator.study.splits import MOST_FIELDS, Split, properties
from simulator.study.words import capital, interval_text, never_done, number_text, scaled, size_text, sure_limits

if TYPE_CHECKING:
    import pandas as pd

_COLUMNS = (
    "acres", "hectares", "field_hours", "paid_hours", "crew_hours", "moves", "drive_km", "work_days", "job_done",
)  # fmt: skip


@dataclass(frozen=True)
class Fragmentation(Answer):
    """Throughput against how the same acres are split: a row a run, a row a case and set, and the fitted responses."""

    study = "fragmentation"
    files = ("runs.csv=runs", "cases.csv=cases")
    document = ("sentence", "runs_each", "stopped", "cases", "responses")

    runs: pd.DataFrame = field(repr=False)
    cases: pd.DataFrame = field(repr=False)
    responses: dict[str, Response]
    told: str
    runs_each: int
    skipped: tuple[str, ...] = ()

    def _sentences(self) -> list[str]:
        return [self.told]

    def _rows(self) -> list[list[str]]:
        unit = self.unit
        return shown(self.cases.to_dict(orient="records"), {
            "set": lambda row: row["equipment_set"],
            "case": lambda row: row["case"],
            "fields": lambda row: number_text(row["fields"]),
            f"mean {unit.name}": lambda row: number_text(unit.of_m2(row["mean_area_m2"]), 1),
            "Simmons": lambda row: number_text(row["simmons"], 3),
            "Januszewski": lambda row: number_text(row["januszewski"], 3),
            f"{unit.name}/day":
                lambda row: _estimate(*(row[key] / unit.acres for key in ("acres_per_day", "ci95_low", "ci95_high"))),
            "work days":
                lambda row: format_estimate(*(row[f"work_days{end}"] for end in ("", "_ci95_low", "_ci95_high"))),
        })  # fmt: skip

    def _remarks(self) -> list[str]:
        unit = self.unit
        said = [
            f"{self.runs_each} runs of each case, the same random runs for all; each case is a job that is worked off "
            "once."
        ]
        for title, own in self.cases.groupby("equipment_set", sort=False):
            said += never_done(str(title), own["done_share"], "case")
        if (self.cases["kind"] != "map").any():
            said.append(
                "A case such as 3 x 2:1, 1 mi: three fields twice as long as wide, each 1 mi from the one before."
            )
        for name, response in self.responses.items():
            error = response.error_acres / unit.acres
            said.append(
                f"Fitted response of {name} (the dashed line of the figure): a case left out is foretold to within "
                f"{error:.2g} {unit.name} a day (root mean square), R2 {response.r2:.2f}, {response.cases} cases."
            )
        if self.skipped:
            said.append(f"{len(self.skipped)} parts of maps were skipped or mended, such as: {self.skipped[0]}")
        return said


def _estimate(value: float, low: float, high: float) -> str:
    """Return an estimate; days that hardly differ are no reason for more than one decimal."""
    if high - low < 0.1:
        return f"{value:.1f} ({low:.1f} to {high:.1f})"
    return format_estimate(value, low, high)


def fragmentation(
    loaded: LoadedScenario, splits: Sequence[Split], runs: int = 30, sets: Sequence[str] = (), seed: int | None = None,
    workers: int = 1, report: Report | None = None, skipped: Sequence[str] = (),
) -> Fragmentation:  # fmt: skip
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
    seed, workers, report : optional
        Seed (the scenario's by default), number of processes, and what is told of progress.
    skipped : sequence of str, optional
        Parts of maps that were left out of the splits, to be told.

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
    chosen = sets_of(loaded, sets)
    check_runs(runs, len(splits) * len(chosen), least=2)
    trials = Trials.of(loaded, seed, workers, report)
    plans: list[DayPlan] = []
    labels: list[tuple[str, Split]] = []
    problems = Problems()
    for entry in chosen:
        job = changed_set(entry, ['work="once"'], loaded.folder)
        for split in splits:
            with problems.of(f"{entry.name}: {split.name}"):
                if split.kind != "map" and len(split.sites) > MOST_FIELDS:
                    raise InputError.single(f"got {len(split.sites)} fields; allowed is at most {MOST_FIELDS}")
                plans.append(make_plan(replace(job, fields=FieldList(split.sites))))
                labels.append((entry.name, split))
    problems.refuse()
    simulated = trials.cases(plans)
    stopped = simulated.finish(runs, "cases")
    whole = [case for case in range(len(plans)) if simulated.runs(case) >= 2]
    if not whole:
        raise KeyboardInterrupt
    frames, rows = [], []
    for case in whole:
        name, split = labels[case]
        known: dict[str, Any] = {"equipment_set": name, "case": split.name, "kind": split.kind}
        known |= properties(split, plans[case])
        columns = {column: simulated.column(case, column) for column in _COLUMNS}
        frames.append(pd.DataFrame({**known, "run": np.arange(simulated.runs(case)), **columns}))
        mean, days = (mean_interval(columns[column]) for column in ("acres", "work_days"))
        rows.append({
            **known, "paid_hours": float(columns["paid_hours"].mean()), "runs": mean.n,
            "acres_per_day": mean.mean, "ci95_low": mean.low, "ci95_high": mean.high,
            "work_days": days.mean, "work_days_ci95_low": days.low, "work_days_ci95_high": days.high,
            "done_share": float(columns["job_done"].mean()),
        })  # fmt: skip
    cases, unit = pd.DataFrame(rows), area_unit(loaded.base.units)
    able = cases[cases["acres_per_day"] > 0]
    fitted = {str(name): fit_response(own) for name, own in able.groupby("equipment_set", sort=False)}
    outputs, times = ([simulated.column(case, column) for case in whole] for column in ("acres", "work_days"))
    return Fragmentation(
        pd.concat(frames, ignore_index=True), cases,
        {name: response for name, response in fitted.items() if response is not None},
        Told([labels[case] for case in whole], outputs, times, unit).sentence(), runs, tuple(skipped), stopped=stopped,
        unit=unit, simulated=dict.fromkeys(cases["equipment_set"], runs),
    )  # fmt: skip


@dataclass(frozen=True)
class Told:
    """What cases, each a set and a split, tell by their acres a day and work days, run by run."""

    labels: Sequence[tuple[str, Split]]
    acres: Sequence[FloatArray]
    days: Sequence[FloatArray]
    unit: AreaUnit

    def size(self, case: int) -> float:
        """Return the mean area of a field of a case, in the unit."""
        return self.unit.of_m2(float(np.mean([site.area_m2 for site in self.labels[case][1].sites])))

    def job_m2(self, case: int) -> float:
        """Return the area of the job."""
        return sum(site.area_m2 for site in self.labels[case][1].sites)

    def more(self, first: int, second: int) -> Interval:
        """Return how much more one case does than another."""
        n = min(len(self.acres[first]), len(self.acres[second]))
        return paired_interval(self.acres[first][:n], self.acres[second][:n])

    def sentence(self) -> str:
        """Return what smaller fields do to each set, and where one set overtakes the other."""
        names = list(dict.fromkeys(name for name, _ in self.labels))
        said = [text for text in map(self._splitting, names) if text]
        crossing = self._crossing(*names[:2]) if len(names) > 1 else ""
        if not said:
            return crossing or "One case alone shows no effect of splitting."
        return f"{capital('; '.join(said))}.{' ' + crossing if crossing else ''}"

    def _splitting(self, name: str) -> str:
        """Compare the largest with the smallest mean field among the cases that are alike in all else."""
        alike: dict[tuple[float, ...], list[int]] = {}
        for case, (owner, split) in enumerate(self.labels):
            if owner == name:
                # cases of a Latin hypercube and maps are never quite alike; they are compared among themselves
                alike.setdefault(split.factors if split.kind == "grid" else (), []).append(case)
        cases = max(alike.values(), key=lambda own: max(map(self.size, own)) / min(map(self.size, own)))
        coarse, fine = max(cases, key=self.size), min(cases, key=self.size)
        if coarse == fine:
            return ""
        unit = self.unit
        more = self.more(coarse, fine)
        lost = scaled(more, 1.0 / (float(self.acres[coarse][: more.n].mean()) or math.nan))
        low, high = sure_limits(lost)
        amount = "nothing that can be told from chance"
        if low * high > 0:
            amount = f"{size_text(100 * lost.mean, 100 * low, 100 * high)} % of its {unit.name} a day"
        if abs(self.job_m2(fine) / self.job_m2(coarse) - 1.0) < 0.01:
            longer, shorter = (interval_text(mean_interval(self.days[case])) for case in (fine, coarse))
            job = f"the job of {unit.of_m2(self.job_m2(coarse)):,.0f} {unit.name}"
            amount += f", and takes {longer} work days for {job} instead of {shorter},"
        when = f"when fields of {self.size(coarse):.3g} {unit.name} become fields of {self.size(fine):.3g}"
        return f"{name} {'loses' if lost.mean > 0 else 'gains'} {amount} {when}{self._peak(cases, coarse, fine)}"

    def _peak(self, cases: Sequence[int], coarse: int, fine: int) -> str:
        """Name the field size of most output where it lies between the ends beyond doubt; else an empty text."""
        best = max(cases, key=lambda case: float(self.acres[case].mean()))
        if best in (coarse, fine) or any((self.more(best, end).low or 0.0) <= 0 for end in (coarse, fine)):
            return ""
        most = float(self.acres[best].mean()) / self.unit.acres
        return f", but does most ({most:.3g} {self.unit.name} a day) with fields of {self.size(best):.3g}"

    def _crossing(self, first: str, second: str) -> str:
        """Say where one of the first two sets overtakes the other, if it does."""
        sizes: dict[str, list[float]] = {first: [], second: [], "": []}
        at = {(name, split.name): case for case, (name, split) in enumerate(self.labels)}
        for case, (name, split) in enumerate(self.labels):
            other = at.get((second, split.name))
            if name == first and other is not None:
                gap = self.more(case, other)
                winner = first if (gap.low or 0.0) > 0 else second if (gap.high or 0.0) < 0 else ""
                sizes[winner].append(self.size(case))
        if sizes[first] and sizes[second]:
            large, small = (first, second) if np.mean(sizes[first]) > np.mean(sizes[second]) else (second, first)
            ends = ([f"{end(sizes[name]):.3g}" for end in (min, max)] for name in (large, small))
            spans = [" to ".join(dict.fromkeys(both)) for both in ends]
            return (
                f"{large} does more in {len(sizes[large])} of the cases (fields of {spans[0]} "
                f"{self.unit.name}), {small} in {len(sizes[small])} ({spans[1]} {self.unit.name}), "
                f"undecided {len(sizes[''])}."
            )
        if sizes[first] or sizes[second]:
            always = first if sizes[first] else second
            count = len(sizes[always])
            return f"{always} does more in {count} of {count + len(sizes[''])} cases; the other in none."
        return "Neither set does more by more than chance in any case."
