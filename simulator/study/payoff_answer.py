"""What a payoff says: its sentence, every quantity with its limits, and its tables."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar, Generic, NamedTuple, TypeVar

from simulator.analysis.digits import supported_decimals
from simulator.analysis.variations import setting_key
from simulator.experiment.estimates import Interval, PairedInterval, paired_interval
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import AreaUnit
from simulator.study.answer import Answer, Spread, shown
from simulator.study.cases import ACRES, FloatArray, Look
from simulator.study.change import BreakEven, JobChange
from simulator.study.words import interval_text, money_range, money_text, number_text

if TYPE_CHECKING:
    import pandas as pd


T = TypeVar("T")


@dataclass(frozen=True)
class BeforeAfter(Generic[T]):
    """Something of the set as it is, and of the changed set."""

    before: T
    after: T


class Quantity(NamedTuple):
    """One line of the answer: a value, its limits and what these are."""

    quantity: str
    value: float | None
    low: float | None
    high: float | None
    unit: str
    limits: str

    @classmethod
    def of(cls, name: str, value: Interval | Spread | float | None, unit: str, scale: float = 1.0) -> Quantity:
        """Return the line of a value, divided by a scale."""
        mean, low, high, kind = None, None, None, ""
        if isinstance(value, Spread):
            mean, low, high, kind = value.p50, value.p10, value.p90, "8 in 10 futures"
        elif isinstance(value, Interval):
            mean, low, high, kind = value.mean, value.low, value.high, "95 % interval"
        else:
            mean = value
        mean, low, high = (None if part is None else part / scale for part in (mean, low, high))
        return cls(name, mean, low, high, unit, kind)

    def texts(self) -> list[str]:
        """Return value and limits with the digits that they support."""
        value, half = self.value or 0.0, math.nan
        if self.unit == "share":
            return [f"{100.0 * value:.0f} %", "–", "–"]
        if self.low is not None and self.high is not None:
            half = 0.5 * (self.high - self.low)
        if math.isfinite(half) and half > 1e-9 * max(1.0, abs(value)):
            places = supported_decimals(half)
        else:
            places = 0 if abs(value) >= 100 else (2 if "$" in self.unit else 1)
        return [number_text(one, places) for one in (self.value, self.low, self.high)]


@dataclass(frozen=True)
class Pair:
    """The change together with one thing more: what both add, and beyond the change, and whether neither adds alone."""

    document: ClassVar = (
        "change", "setting", "extra_acres_per_day", "beyond_the_change_alone=beyond_change", "only_together",
    )  # fmt: skip
    change: str
    setting: str
    extra_acres_per_day: PairedInterval
    beyond_change: PairedInterval
    only_together: bool

    def sentence(self, unit: AreaUnit) -> str:
        """Return what both add, in a sentence."""
        gain = interval_text(self.extra_acres_per_day, unit.acres, f"{unit.name} a day")
        start = f"Together with {self.change} it adds {gain} in all ({self.extra_acres_per_day.n} runs simulated)"
        return f"{start}, though neither is shown to add any alone." if self.only_together else f"{start}."


def best_pair(alone: Look, both: Look, changed: FloatArray, base: FloatArray) -> Pair | None:
    """Return the one thing more that adds most together with the change; None when none is shown to add to it."""
    singly = dict(zip([one.change for one in alone.variations], alone.tables, strict=True))
    # shared out over all that was tried, so that one lucky addition among many is not named (Bonferroni)
    level = 1.0 - 0.05 / max(1, len(both.tables))
    found = []
    for variation, rows in zip(both.variations, both.tables, strict=True):
        n = min(len(rows), len(changed), len(base))
        beyond = paired_interval(rows[:n, ACRES], changed[:n, ACRES], level)
        if n < 2 or beyond.low is None or beyond.low <= 0:
            continue
        extra = paired_interval(rows[:n, ACRES], base[:n, ACRES])
        singles = [changed[:n], *([singly[variation.change][:n]] if variation.change in singly else [])]
        lows = [paired_interval(one[:, ACRES], base[: len(one), ACRES]).low for one in singles]
        only = len(singles) == 2 and all(low is None or low <= 0 for low in lows)
        found.append(Pair(variation.change, variation.setting, extra, beyond, only))
    return max(found, key=lambda pair: pair.extra_acres_per_day.mean, default=None)


def pair_note(pair: Pair | None, runs: int, changes: Sequence[str]) -> str:
    """Return what was tried together with the change, and how to ask about a pair."""
    if pair is not None:
        replaced = {setting_key(setting) for setting in pair.setting.split(" ")}
        both = " ".join([*(text for text in changes if setting_key(text) not in replaced), pair.setting])
        how = f"give {both}" if changes else f"declare a set with {pair.setting} as well and name it with --to"
        return f"What {pair.change} costs is not in these numbers: to ask whether both pay, {how}."
    how = "give both as KEY=VALUE, or declare a set that has both and name it with --to; ladder --pairs tries all"
    if runs:
        tried = f"Tried together with one more of each ({runs} runs), nothing is shown to add more"
        return f"{tried}; for other pairs {how}."
    return f"Pairs of changes were not tried, and some only help together: {how}."


@dataclass(frozen=True)
class Payoff(Answer):
    """Whether a change pays."""

    study = "payoff"
    files = ("payoff.csv=table", "futures.csv=futures", "cash.csv=cash")
    document = (
        "equipment_set=set_name", "change", "settings", "runs", "sentence", "notes", "pays", "acres_per_day",
        "extra_acres_per_day", "extra_acres_per_season", "saved_days_per_season", "extra_margin_per_season", "purchase",
        "currency", "net_present_value", "payback_seasons", "payback_days", "net_present_value_futures=value_spread",
        "chance_that_it_pays=chance", "break_even", "pair", "job", "bottleneck", "bottleneck_sentence",
        "variance_reduction_by_common_draws=noise_reduction",
    )  # fmt: skip

    set_name: str
    change: str
    settings: tuple[str, ...]
    runs: int
    acres_per_day: BeforeAfter[float]
    extra_acres_per_day: PairedInterval
    noise_reduction: float
    extra_acres_per_season: Interval
    saved_days_per_season: float
    extra_margin_per_season: Interval
    purchase: float
    net_present_value: Interval
    payback_seasons: Spread
    payback_days: Spread
    value_spread: Spread
    chance: float
    break_even: BreakEven
    bottleneck: BeforeAfter[str]
    bottleneck_sentence: BeforeAfter[str]
    notes: tuple[str, ...]
    pair: Pair | None
    job: JobChange | None
    futures: pd.DataFrame = field(repr=False)
    cash: pd.DataFrame = field(repr=False)
    costs: Costs = field(kw_only=True)

    @property
    def pays(self) -> bool | None:
        """Whether it pays; None when the runs simulated cannot tell."""
        value = self.net_present_value
        if value.low is None or value.high is None:
            return value.mean > 0
        return True if value.low > 0 else (False if value.high <= 0 else None)

    @property
    def _years(self) -> str:
        return f"over {self.costs.horizon_years:g} years, before tax"

    def _sentences(self) -> list[str]:
        gain = interval_text(self.extra_acres_per_day, self.unit.acres, self.per_day)
        does = f"this set does {gain} more" if self.extra_acres_per_day.mean >= 0 else ""
        does = does or f"the output of this set changes by {gain}"
        said = [f"With {self.change} {does} ({self.runs} runs simulated).", self._worth]
        said += [] if self.job is None else [self.job.sentence(self.unit, self.currency)]
        return [" ".join([*said, *([] if self.pair is None else [self.pair.sentence(self.unit)])])]

    @property
    def _worth(self) -> str:
        value = f"{money_range(self.net_present_value, self.currency)} {self._years}"
        if self.pays is None:
            return f"It may or may not pay: {value}; more runs may tell."
        if not self.pays:
            return f"It does not pay: {value}, so leave it."
        if self.purchase <= 0:
            return f"It pays without a purchase: {value}."
        if math.isinf(self.payback_seasons.p50):
            return f"It brings {value}, though it wears out before its price is back."
        days = max(1.0, round(self.payback_days.p50))
        price = money_text(self.purchase, self.currency)
        return f"Its {price} pays for itself in {days:.0f} work day{'s' if days > 1 else ''}: {value}."

    @property
    def quantities(self) -> list[Quantity]:
        """Every answer as a line."""
        area, money, even, add = self.unit, self.currency, self.break_even, Quantity.of
        day, season, price = f"{area.name}/day", f"{area.name}/season", f"{money}/{area.one}"
        job = []
        if self.job is not None:
            job = [add("change of the job's work days", self.job.work_days, "work days")]
            if self.job.cost_per_acre is not None:
                job.append(add("change of the cost of an acre", self.job.cost_per_acre, price, 1.0 / area.acres))
        highest = [] if even.purchase_price is None else [add("break-even purchase price", even.purchase_price, money)]
        return [
            add("output before", self.acres_per_day.before, day, area.acres),
            add("output after", self.acres_per_day.after, day, area.acres),
            add("extra output", self.extra_acres_per_day, day, area.acres),
            add("extra output sold", self.extra_acres_per_season, season, area.acres),
            *job,
            add("work days saved", self.saved_days_per_season, "days/season"),
            add("extra margin", self.extra_margin_per_season, f"{money}/season"),
            add("purchase", self.purchase, money),
            add(f"worth {self._years}", self.net_present_value, money),
            add("the same, as seasons may fall", self.value_spread, money),
            add("pays for itself in", self.payback_seasons, "seasons"),
            add("pays for itself in", self.payback_days, "work days"),
            add("chance that it pays", self.chance, "share"),
            *highest,
            add("break-even price of the work", even.price_per_acre, price, 1.0 / area.acres),
            add("break-even season", even.season_days, "work days"),
            add("break-even demand", even.season_demand_acres, season, area.acres),
        ]

    def _rows(self) -> list[list[str]]:
        lines = [(one, one.texts()) for one in self.quantities]
        return shown(lines, {
            "quantity": lambda line: line[0].quantity,
            "value": lambda line: line[1][0], "from": lambda line: line[1][1], "to": lambda line: line[1][2],
            "unit": lambda line: "" if line[0].unit == "share" else line[0].unit,
            "from and to are": lambda line: line[0].limits,
        })  # fmt: skip

    @property
    def table(self) -> pd.DataFrame:
        """The lines with all digits."""
        import pandas as pd

        return pd.DataFrame(self.quantities).astype({"value": float, "low": float, "high": float})

    def _remarks(self) -> list[str]:
        common = "Both sets saw the same random runs"
        if math.isfinite(self.noise_reduction):
            common += f", which makes the variance of the difference {self.noise_reduction:.1f} times smaller than with"
            common += " runs drawn apart"
        hold = self.bottleneck_sentence
        return [*self.notes, f"What holds it back before: {hold.before}", f"And after: {hold.after}", f"{common}."]
