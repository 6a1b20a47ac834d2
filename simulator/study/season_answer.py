"""What a season says: how far each set gets, and what an acre costs."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar, NamedTuple

from simulator.experiment.estimates import Interval
from simulator.study.answer import Answer, Spread, attributes, frame, shown
from simulator.study.cases import FloatArray
from simulator.study.words import money_range, number_text, scaled, share_words

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Goal:
    """An acreage to be done within the season; an empty date and infinite days where too few seasons finish it."""

    acres: float
    chance: float
    half_done_by: str
    safe_by: str
    days_half: float
    days_safe: float


@dataclass(frozen=True)
class SizeCost:
    """What an acre costs, everything counted, in a season of so many, and whether half of the seasons can do it."""

    document: ClassVar = (
        "acres", "work_days=days", "fits", "mean=cost_per_acre.mean", "ci95=limits",
    )  # fmt: skip
    acres: float
    days: float
    fits: bool
    cost_per_acre: Interval

    @property
    def limits(self) -> list[float | None]:
        """Limits of the cost."""
        return [self.cost_per_acre.low, self.cost_per_acre.high]


@dataclass(frozen=True)
class SetSeason:
    """The season of one equipment set; the share of a pack's life is NaN where it has none in cycles."""

    document: ClassVar = (
        "name", "runs", "acres_per_day", "season_acres=total", "goals", "cycles_per_pack",
        "pack_life_used_share=life_used_share", "break_even_acres", "cost_per_acre_by_size=costs_by_size",
        "acres_by_date=dated",
    )  # fmt: skip
    name: str
    runs: int
    acres_per_day: Interval
    total: Spread
    dates: tuple[str, ...] = field(repr=False)
    by_date: FloatArray = field(repr=False)
    """Mean, 10th, 50th and 90th percentile of the acres done by each date."""
    goals: tuple[Goal, ...]
    cycles_per_pack: Spread
    life_used_share: float
    costs_by_size: tuple[SizeCost, ...]
    break_even_acres: float | None
    """The season from which the price covers all."""

    @property
    def dated(self) -> list[dict[str, object]]:
        """Acres by date."""
        names, rows = ("date", "mean", "p10", "p50", "p90"), self.by_date.tolist()
        return [dict(zip(names, (day, *row), strict=True)) for day, row in zip(self.dates, rows, strict=True)]


class _SetCost(NamedTuple):
    set: SetSeason
    size: SizeCost
    cost: Interval


class _SetGoal(NamedTuple):
    set: SetSeason
    goal: Goal | None


@dataclass(frozen=True)
class Season(Answer):
    """How far equipment sets get in a season."""

    study = "season"
    files = ("season.csv=goal_table", "by_date.csv=date_table", "cost_by_size.csv=cost_table")
    document = (
        "sentence", "cost_sentence", "notes", "seasons_drawn=worlds", "dates=ends", "work_days", "currency=money",
        "equipment_sets=sets",
    )  # fmt: skip

    sets: tuple[SetSeason, ...]
    dates: tuple[str, ...]
    work_days: Spread
    worlds: int
    notes: tuple[str, ...]

    @property
    def ends(self) -> tuple[str, str]:
        """First and last date."""
        return self.dates[0], self.dates[-1]

    def _sentences(self) -> list[str]:
        return [" ".join(map(self._expectation, self.sets)), *([self.cost_sentence] if self.cost_sentence else [])]

    def _expectation(self, entry: SetSeason) -> str:
        unit = self.unit
        low, middle = (_round(value / unit.acres) for value in (entry.total.p10, entry.total.p50))
        text = f"{entry.name}: expect {middle:,.0f} {unit.name} by {self.dates[-1]}"
        text += f", and at least {low:,.0f} in nine seasons of ten"
        for goal in entry.goals:
            text += f"; the chance to finish {goal.acres / unit.acres:,.0f} {unit.name} is {share_words(goal.chance)}"
            if goal.safe_by:
                text += f", nine in ten are done by {goal.safe_by} after {goal.days_safe:.0f} work days"
        return f"{text}; {entry.runs} runs simulated."

    @property
    def cost_sentence(self) -> str:
        """What an acre costs in a smaller season and in the largest that every set can do; empty without costs."""
        priced = [entry for entry in self.sets if entry.costs_by_size]
        fitting = list(zip(*(entry.costs_by_size for entry in priced), strict=True))
        places = [place for place, row in enumerate(fitting) if all(one.fits for one in row)]
        if self.costs is None or not places:
            return ""
        unit, said = self.unit, []
        for entry in priced:
            told = [entry.costs_by_size[place] for place in dict.fromkeys((places[-3:][0], places[-1]))]
            costs = " and ".join(
                f"{money_range(scaled(one.cost_per_acre, unit.acres), self.currency)} "
                f"at {one.acres / unit.acres:,.0f} {unit.name} a season"
                for one in told
            )
            text = f"{entry.name}: {unit.an} costs {costs}"
            if entry.break_even_acres is not None:
                turns = f"{_round(entry.break_even_acres / unit.acres):,.0f} {unit.name}"
                text += f"; the price of the work covers everything from {turns} on"
            said.append(f"{text}.")
        return " ".join(said)

    @property
    def _goals(self) -> list[_SetGoal]:
        return [_SetGoal(entry, goal) for entry in self.sets for goal in entry.goals or (None,)]

    def _rows(self) -> list[list[str]]:
        per, area = self.unit.acres, self.unit.name
        return shown(self._goals, {
            "set": lambda one: one.set.name,
            f"{area}/season": lambda one: number_text(one.set.total.p50 / per, -1),
            "in 9 of 10": lambda one: number_text(one.set.total.p10 / per, -1),
            "goal": lambda one: one.goal and number_text(one.goal.acres / per),
            "chance": lambda one: one.goal and f"{100 * one.goal.chance:.0f} %",
            "half done by": lambda one: (one.goal and one.goal.half_done_by) or None,
            "9 in 10 by": lambda one: (one.goal and one.goal.safe_by) or None,
            "work days": lambda one: one.goal and number_text(one.goal.days_half),
            "cycles/pack": lambda one: number_text(one.set.cycles_per_pack.p50),
        })  # fmt: skip

    @property
    def goal_table(self) -> pd.DataFrame:
        """One row a set and goal."""
        return frame(self._goals, {
            **attributes(
                "equipment_set=set.name", f"{self.unit.name}_per_day=set.acres_per_day.mean/",
                "season_p10=set.total.p10/", "season_p50=set.total.p50/", "season_p90=set.total.p90/",
                "goal=goal.acres/", "chance=goal.chance", per=self.unit.acres,
            ),
            "half_done_by": lambda one: one.goal.half_done_by if one.goal else "",
            "nine_in_ten_by": lambda one: one.goal.safe_by if one.goal else "",
            **attributes(
                "work_days_p50=goal.days_half", "work_days_p90=goal.days_safe",
                "cycles_per_pack=set.cycles_per_pack.p50", "pack_life_used_share=set.life_used_share",
            ),
        })  # fmt: skip

    @property
    def date_table(self) -> pd.DataFrame:
        """One row a set and date."""
        import pandas as pd

        names = ["mean", "p10", "p50", "p90"]
        tables = [pd.DataFrame(entry.by_date / self.unit.acres, columns=names) for entry in self.sets]
        for entry, table in zip(self.sets, tables, strict=True):
            table.insert(0, "date", list(self.dates))
            table.insert(0, "equipment_set", entry.name)
        return pd.concat(tables, ignore_index=True)

    @property
    def cost_table(self) -> pd.DataFrame:
        """One row a set and season size."""
        priced = (_SetCost(entry, one, one.cost_per_acre) for entry in self.sets for one in entry.costs_by_size)
        return frame(priced, {
            **attributes("equipment_set=set.name", f"season_{self.unit.name}=size.acres/", per=self.unit.acres),
            **attributes("work_days=size.days", "fits_the_season=size.fits"),
            **attributes(f"cost_per_{self.unit.one}=cost.mean/", "low=cost.low/", "high=cost.high/",
                         per=1.0 / self.unit.acres),
        })  # fmt: skip

    def _remarks(self) -> list[str]:
        wear = [
            f"{entry.name}: a middle season takes {100 * entry.life_used_share:.0f} % of a pack's life in cycles."
            for entry in self.sets
            if math.isfinite(entry.life_used_share)
        ]
        return [*wear, *self.notes]


def _round(value: float) -> float:
    """Round to three significant digits at most: percentiles of drawn seasons support no more."""
    return value if value == 0 else round(value, min(0, 2 - math.floor(math.log10(abs(value)))))
