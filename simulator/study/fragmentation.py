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
from simulator.operation.plan import DayPlan, make_plan
from simulator.physics.fragmentation import januszewski, simmons
from simulator.scenario.field_list import FieldList, FieldSite
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.cases import CaseDays, changed_set, check_size, finite
from simulator.study.design import full_grid, latin_hypercube
from simulator.study.response import Response, fit_response
from simulator.study.trial import Report, area_unit, check_workers

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
MOST_FIELDS = 500
"""A drawn case has at most this many fields."""


@dataclass(frozen=True)
class Split:
    """One way to split the acres.

    Parameters
    ----------
    name : str
        Label.
    kind : {"grid", "latin", "map"}
        From a full grid, a Latin hypercube, or a boundary file.
    sites : tuple of FieldSite
        The fields.
    factors : tuple of float
        What else than the number was chosen (shape, distance, inequality); empty for a map.
    """

    name: str
    kind: str
    sites: tuple[FieldSite, ...]
    factors: tuple[float, ...] = ()


@dataclass(frozen=True)
class Fragmentation:
    """Throughput against how the same acres are split.

    Parameters
    ----------
    days : pandas.DataFrame
        Tidy: one row a day, with the case's properties.
    cases : pandas.DataFrame
        One row a case and set: properties, indices, mean acres per day with interval.
    responses : dict
        Set name to its fitted response; a set with too few cases has none.
    units : {"us", "metric"}
        Units of sentences.
    sentence : str
        The answer.
    days_each : int
        Days of each case and set.
    stopped : str
        Why it ended early; empty when it did not.
    """

    days: pd.DataFrame
    cases: pd.DataFrame
    responses: dict[str, Response]
    units: str
    sentence: str
    days_each: int
    stopped: str = field(default="")

    def to_json(self) -> dict[str, Any]:
        """Return the study as a JSON-able document."""
        document = {
            "study": "fragmentation",
            "sentence": self.sentence,
            "days_each": self.days_each,
            "stopped": self.stopped,
            "cases": self.cases.to_dict(orient="records"),
            "responses": {name: response.to_json() for name, response in self.responses.items()},
        }
        result = finite(document)
        return result if isinstance(result, dict) else {}


def split_areas(total_m2: float, number: int, inequality: float = 0.0) -> FloatArray:
    """Return the areas of a number of fields that sum to a total.

    Parameters
    ----------
    total_m2 : float
        Sum, m2.
    number : int
        Fields, at least 1.
    inequality : float, optional
        0: all equal; towards 1: the sizes fall off as the power ``rank ** -2 inequality`` (a rank-size rule).

    Raises
    ------
    ValueError
        A parameter is out of range.
    """
    if number < 1 or not total_m2 > 0 or not 0.0 <= inequality <= 1.0:
        got = f"got {number} fields of {total_m2} m2, inequality {inequality}"
        raise ValueError(f"{got}; allowed is 1 or more, above 0, 0 to 1")
    weights = np.arange(1, number + 1, dtype=np.float64) ** (-2.0 * inequality)
    areas: FloatArray = total_m2 * weights / weights.sum()
    return areas


def draw_split(
    total_m2: float, number: int, length_to_width: float, distance_m: float, inequality: float = 0.0, kind: str = "grid"
) -> Split:
    """Return rectangular fields that share a total area, each a given road distance from the one before.

    Parameters
    ----------
    total_m2 : float
        Area of all, m2.
    number : int
        Fields.
    length_to_width : float
        Of each.
    distance_m : float
        Road distance from field to field, m.
    inequality : float, optional
        See `split_areas`.
    kind : str, optional
        Where the case comes from.
    """
    sites = tuple(
        FieldSite(
            name=f"part {place + 1}", area_m2=float(area), length_to_width=length_to_width, drive_distance_m=distance_m
        )
        for place, area in enumerate(split_areas(total_m2, number, inequality))
    )
    uneven = f", uneven {inequality:.2g}" if inequality else ""
    name = f"{number} x {length_to_width:.3g}:1, {distance_m / 1000.0:.2g} km{uneven}"
    return Split(name, kind, sites, (length_to_width, distance_m, inequality))


def grid_splits(
    total_m2: float,
    numbers: Sequence[int],
    shapes: Sequence[float],
    distances_m: Sequence[float],
    inequalities: Sequence[float] = (0.0,),
) -> list[Split]:
    """Return a full grid of splits; see `draw_split`."""
    rows = full_grid({"number": numbers, "shape": shapes, "distance": distances_m, "inequality": inequalities})
    return [draw_split(total_m2, row["number"], row["shape"], row["distance"], row["inequality"]) for row in rows]


def latin_splits(
    total_m2: float,
    points: int,
    numbers: tuple[int, int],
    shapes: tuple[float, float],
    distances_m: tuple[float, float],
    inequalities: tuple[float, float] = (0.0, 0.0),
    seed: int = 1,
) -> list[Split]:
    """Return a Latin hypercube of splits within bounds; all but inequality are spread evenly in their logarithm."""

    def between(bounds: tuple[float, float], share: float) -> float:
        low, high = bounds
        return low * (high / low) ** share if low > 0 else low + share * (high - low)

    splits = []
    for number, shape, distance, inequality in latin_hypercube(4, points, seed):
        whole = max(1, round(between((float(numbers[0]), float(numbers[1])), number)))
        uneven = inequalities[0] + inequality * (inequalities[1] - inequalities[0])
        splits.append(
            draw_split(total_m2, whole, between(shapes, shape), between(distances_m, distance), float(uneven), "latin")
        )
    return splits


def map_splits(name: str, fields: FieldList, total_m2: float, most: int = 3) -> list[Split]:
    """Return neighbourhoods of a boundary file, each of about the total area.

    Starting from the first field, the nearest unused one is taken until the area is reached; then the next begins.

    Parameters
    ----------
    name : str
        Name of the map.
    fields : FieldList
        Its fields, with locations.
    total_m2 : float
        Area wished for, m2.
    most : int, optional
        Neighbourhoods at most.

    Returns
    -------
    list of Split
        The last is dropped when less than half the area is left for it (unless it is the only one).
    """
    left = list(fields.sites)
    splits: list[Split] = []
    while left and len(splits) < most:
        here = left.pop(0)
        group, area = [here], here.area_m2
        while left and area < total_m2:
            away = [_distance(here, other) for other in left]
            here = left.pop(int(np.argmin(away)))
            group.append(here)
            area += here.area_m2
        if splits and area < 0.5 * total_m2:
            break
        splits.append(Split(f"{name} {len(splits) + 1}", "map", tuple(group)))
    return splits


def _distance(first: FieldSite, second: FieldSite) -> float:
    if first.location_m is None or second.location_m is None:
        return 0.0
    return math.dist(first.location_m, second.location_m)


def shape_of(site: FieldSite) -> float:
    """Return length over width: of the rectangle, or of the smallest rectangle around a boundary."""
    if site.polygon is None:
        return max(site.length_to_width, 1.0 / site.length_to_width)
    box = np.asarray(site.polygon.minimum_rotated_rectangle.exterior.coords)
    sides = np.hypot(*np.diff(box, axis=0).T)[:2]
    return float(max(sides) / max(min(sides), 1e-9))


def properties(split: Split, plan: DayPlan) -> dict[str, float]:
    """Return what is known of a split before anything is flown.

    Parameters
    ----------
    split : Split
        Fields.
    plan : DayPlan
        Their plan, for the road distances in the order of the visits.

    Returns
    -------
    dict
        fields, area_m2, mean_area_m2, simmons, januszewski, length_to_width (area-weighted), move_m (mean road
        distance of a move in the order of visits, back to the first at the end), reach_m (area-weighted mean of half
        the diagonal, which ferrying goes with), pass_inverse_per_m (area-weighted mean of one over the length of the
        field, which turns go with).
    """
    areas = np.array([site.area_m2 for site in split.sites])
    shapes = np.array([shape_of(site) for site in split.sites])
    lengths = np.sqrt(areas * shapes)
    order = plan.geography.order
    moves = [plan.geography.distance_m(here, there) for here, there in zip(order, [*order[1:], order[0]], strict=True)]
    return {
        "fields": float(len(areas)),
        "area_m2": float(areas.sum()),
        "mean_area_m2": float(areas.mean()),
        "simmons": simmons(areas),
        "januszewski": januszewski(areas),
        "length_to_width": float(np.average(shapes, weights=areas)),
        "move_m": float(np.mean(moves)) if len(areas) > 1 else 0.0,
        "reach_m": float(np.average(0.5 * np.hypot(lengths, areas / lengths), weights=areas)),
        "pass_inverse_per_m": float(np.average(1.0 / lengths, weights=areas)),
    }


def fragmentation(
    loaded: LoadedScenario,
    splits: Sequence[Split],
    days: int = 30,
    sets: Sequence[str] = (),
    seed: int | None = None,
    workers: int = 1,
    report: Report | None = None,
) -> Fragmentation:
    """Simulate every split with every equipment set on the same random days.

    The list of fields is gone through again and again (``work = "repeat"``), so that capacity is measured.

    Parameters
    ----------
    loaded : LoadedScenario
        The equipment sets; their own fields are not used.
    splits : sequence of Split
        From `grid_splits`, `latin_splits` and `map_splits`, in any mix.
    days : int, optional
        Days of each split and set.
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
        When interrupted, of the cases that have at least two days.

    Raises
    ------
    InputError
        No split, an unknown set, or a case that cannot be flown.
    """
    import pandas as pd

    if not splits:
        raise InputError.single("got no way to split the acres; allowed is at least one")
    chosen = [loaded.equipment_set(name) for name in dict.fromkeys(sets)] if sets else list(loaded.sets)
    check_size(days, len(splits) * len(chosen))
    check_workers(workers)
    labels, plans = _plans(loaded, chosen, splits)
    runs = CaseDays(plans, loaded.base.seed if seed is None else seed, workers, report)
    stopped = ""
    try:
        runs.extend(days)
    except KeyboardInterrupt:
        stopped = "interrupted; only the cases that had finished are in the tables"
    whole = [case for case in range(len(plans)) if runs.days(case) >= 2]
    if not whole:
        raise KeyboardInterrupt
    frames, rows = [], []
    for case in whole:
        entry, split = labels[case]
        known = properties(split, plans[case])
        row: dict[str, Any] = {"equipment_set": entry.name, "case": split.name, "kind": split.kind, **known}
        frame = pd.DataFrame({**row, "replication": np.arange(runs.days(case))})
        for name in ("acres", "hectares", "field_hours", "paid_hours", "crew_hours", "moves", "drive_km"):
            frame[name] = runs.column(case, name)
        frames.append(frame)
        mean = mean_interval(runs.column(case, "acres"))
        hours = float(runs.column(case, "paid_hours").mean())
        rows.append(
            {
                **row,
                "paid_hours": hours,
                "days": mean.n,
                "acres_per_day": mean.mean,
                "ci95_low": mean.low,
                "ci95_high": mean.high,
            }
        )
    cases = pd.DataFrame(rows)
    responses = {}
    for entry in chosen:
        own = cases[(cases["equipment_set"] == entry.name) & (cases["acres_per_day"] > 0)]
        found = fit_response(own) if len(own) else None
        if found is not None:
            responses[entry.name] = found
    sentence = _sentence(cases, runs, labels, whole, loaded.base.units)
    return Fragmentation(
        pd.concat(frames, ignore_index=True), cases, responses, loaded.base.units, sentence, days, stopped
    )


def _plans(
    loaded: LoadedScenario, chosen: Sequence[EquipmentSet], splits: Sequence[Split]
) -> tuple[list[tuple[EquipmentSet, Split]], list[DayPlan]]:
    labels, plans = [], []
    problems: list[Problem] = []
    for entry in chosen:
        repeated = changed_set(entry, ['work="repeat"'], loaded.folder)
        for split in splits:
            if split.kind != "map" and len(split.sites) > MOST_FIELDS:
                problems.append(Problem(split.name, f"got {len(split.sites)} fields; allowed is at most {MOST_FIELDS}"))
                continue
            try:
                plans.append(make_plan(replace(repeated, fields=FieldList(split.sites))))
                labels.append((entry, split))
            except InputError as error:
                problems += [Problem(f"{entry.name}: {split.name}: {one.where}", one.message) for one in error.problems]
    if problems:
        raise InputError(list(dict.fromkeys(problems)))
    return labels, plans


def _sentence(
    cases: pd.DataFrame, runs: CaseDays, labels: Sequence[tuple[EquipmentSet, Split]], whole: Sequence[int], units: str
) -> str:
    unit = area_unit(units)
    said = []
    for name in dict.fromkeys(cases["equipment_set"]):
        own = cases[cases["equipment_set"] == name]
        coarse, fine = _extremes(own, [labels[whole[row]][1] for row in own.index])
        if coarse == fine:
            continue
        lost = _lost_share(runs.column(whole[coarse], "acres"), runs.column(whole[fine], "acres"))
        sizes = [own.loc[row, "mean_area_m2"] / M2_PER_ACRE / unit.acres for row in (coarse, fine)]
        low, high = (lost.mean if limit is None else limit for limit in (lost.low, lost.high))
        limits = sorted((100 * abs(low), 100 * abs(high)))
        text = format_estimate(100 * abs(lost.mean), *limits) if low * high > 0 else ""
        change = "loses" if lost.mean > 0 else "gains"
        amount = f"{text} % of its {unit.name} a day" if text else "nothing that can be told from chance"
        when = f"when fields of {sizes[0]:.3g} {unit.name} become fields of {sizes[1]:.3g}"
        said.append(f"{name} {change} {amount} {when}")
    crossing = _crossing(cases, runs, labels, whole, unit.acres, unit.name)
    if not said:
        return crossing or "One case alone shows no effect of splitting."
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}.{' ' + crossing if crossing else ''}"


def _extremes(own: pd.DataFrame, splits: Sequence[Split]) -> tuple[int, int]:
    """Return the rows with the largest and the smallest mean field among cases that are alike in all else."""
    alike: dict[tuple[float, ...], list[int]] = {}
    for row, split in zip(own.index, splits, strict=True):
        # cases of a Latin hypercube and maps are never quite alike; they are compared among themselves
        alike.setdefault(split.factors if split.kind == "grid" else (), []).append(int(row))
    area = own["mean_area_m2"]

    def ratio(rows: list[int]) -> float:
        return float(area.loc[rows].max() / area.loc[rows].min())

    rows = max(alike.values(), key=ratio)
    return max(rows, key=lambda row: float(area[row])), min(rows, key=lambda row: float(area[row]))


def _lost_share(coarse: FloatArray, fine: FloatArray) -> Interval:
    days = min(len(coarse), len(fine))
    pair = paired_interval(coarse[:days], fine[:days])
    base = float(coarse[:days].mean()) or math.nan
    low, high = (None if limit is None else limit / base for limit in (pair.low, pair.high))
    return Interval(pair.mean / base, low, high, pair.n, None if pair.half_width is None else pair.half_width / base)


def _crossing(
    cases: pd.DataFrame,
    runs: CaseDays,
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
        days = min(runs.days(case), runs.days(other))
        pair = paired_interval(runs.column(case, "acres")[:days], runs.column(other, "acres")[:days])
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
