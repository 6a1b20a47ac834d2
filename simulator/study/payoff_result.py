"""What a payoff study answers, as a sentence, a table and a document."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.experiment.estimates import Interval, PairedInterval
from simulator.scenario.schema_costs import Costs
from simulator.study.documents import clean, interval_json
from simulator.study.job_change import JobChange
from simulator.study.money import (
    FloatArray,
)
from simulator.study.payoff_case import BreakEven
from simulator.study.payoff_pair import Pair
from simulator.study.trial import (
    AreaUnit,
)
from simulator.study.words import interval_text, money_range, money_text, seasons_words

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Spread:
    """A quantity over drawn futures: median, and the range of eight in ten."""

    p10: float
    p50: float
    p90: float


def spread_of(values: FloatArray) -> Spread:
    """Return the 10th, 50th and 90th percentile; infinity is allowed."""
    # "inverted_cdf" picks a value that occurs, so that infinity does not turn into NaN by interpolation
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9], method="inverted_cdf")
    return Spread(float(low), float(middle), float(high))


@dataclass(frozen=True)
class Payoff:
    """Whether a change pays."""

    set_name: str
    change: str
    settings: tuple[str, ...]
    runs: int
    acres_before: float
    acres_after: float
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
    bottleneck_before: str
    bottleneck_after: str
    sentence_before: str
    sentence_after: str
    notes: tuple[str, ...]
    pair: Pair | None
    job: JobChange | None
    costs: Costs
    unit: AreaUnit
    futures: pd.DataFrame = field(repr=False)
    cash: pd.DataFrame = field(repr=False)

    @property
    def pays(self) -> bool | None:
        """Whether it pays; None when the runs simulated cannot tell."""
        value = self.net_present_value
        if value.low is None or value.high is None:
            return value.mean > 0
        return True if value.low > 0 else (False if value.high <= 0 else None)

    @property
    def sentence(self) -> str:
        """The answer, as one would tell it, and what to add to the change where something helps together with it."""
        job = None if self.job is None else self.job.sentence(self.unit, self.costs.currency)
        pair = None if self.pair is None else self.pair.sentence(self.unit)
        return " ".join(text for text in (self._own_sentence, job, pair) if text)

    @property
    def _own_sentence(self) -> str:
        unit, money = self.unit, self.costs.currency
        gain = interval_text(self.extra_acres_per_day, unit.acres, f"{unit.name} a day")
        if self.extra_acres_per_day.mean >= 0:
            start = f"With {self.change} this set does {gain} more ({self.runs} runs simulated), and the change "
        else:
            start = (
                f"With {self.change} the output of this set changes by {gain} ({self.runs} runs simulated); the change "
            )
        value = money_range(self.net_present_value, money)
        years = f"{self.costs.horizon_years:g} years"
        payback = self.payback_seasons.p50
        if self.pays is None:
            return f"{start}may or may not pay: over {years} it is worth {value}; more runs may tell."
        if not self.pays:
            return f"{start}does not pay: over {years} it is worth {value}, so leave it."
        if self.purchase <= 0:
            return f"{start}pays without a purchase: over {years} it is worth {value}."
        if math.isinf(payback):
            return f"{start}is worth {value} over {years}, though it wears out before its price is back."
        days = max(1.0, round(self.payback_days.p50))
        when = f"pays back its {money_text(self.purchase, money)} in about {days:.0f} work day{'s' if days > 1 else ''}"
        return f"{start}{when} ({seasons_words(payback)}); over {years} it is worth {value}."

    @property
    def table(self) -> pd.DataFrame:
        """Every answer as a row: quantity, value, low, high, unit, what low and high are."""
        import pandas as pd

        area, money, extra = self.unit, self.costs.currency, self.extra_acres_per_day
        ci, eight = "95 % interval", "8 in 10 futures"
        rows: list[tuple[str, float | None, float | None, float | None, str, str]] = []

        def add(name: str, value: Interval, unit: str, scale: float = 1.0) -> None:
            limits = [None if limit is None else limit / scale for limit in (value.low, value.high)]
            rows.append((name, value.mean / scale, limits[0], limits[1], unit, ci))

        rows.append(("output before", self.acres_before / area.acres, None, None, f"{area.name}/day", ""))
        rows.append(("output after", self.acres_after / area.acres, None, None, f"{area.name}/day", ""))
        add("extra output", extra, f"{area.name}/day", area.acres)
        add("extra output sold", self.extra_acres_per_season, f"{area.name}/season", area.acres)
        if self.job is not None:
            add("change of the job's work days", self.job.work_days, "work days")
            if self.job.cost_per_acre is not None:
                add("change of the cost of an acre", self.job.cost_per_acre, f"{money}/{area.one}", 1.0 / area.acres)
        rows.append(("work days saved", self.saved_days_per_season, None, None, "days/season", ""))
        add("extra margin", self.extra_margin_per_season, f"{money}/season")
        rows.append(("purchase", self.purchase, None, None, money, ""))
        add(f"net present value, {self.costs.horizon_years:g} years", self.net_present_value, money)
        for name, spread, unit in (
            ("net present value of a future", self.value_spread, money),
            ("payback", self.payback_seasons, "seasons"),
            ("payback", self.payback_days, "work days"),
        ):
            rows.append((name, spread.p50, spread.p10, spread.p90, unit, eight))
        rows.append(("chance that it pays", self.chance, None, None, "share", ""))
        even = self.break_even
        if even.purchase_price is not None:
            add("break-even purchase price", even.purchase_price, money)
        per = area.acres
        price = None if even.price_per_acre is None else even.price_per_acre * per
        demand = None if even.season_demand_acres is None else even.season_demand_acres / per
        rows.append(("break-even price of the work", price, None, None, f"{money}/{area.one}", ""))
        rows.append(("break-even season", even.season_days, None, None, "work days", ""))
        rows.append(("break-even demand", demand, None, None, f"{area.name}/season", ""))
        frame = pd.DataFrame(rows, columns=["quantity", "value", "low", "high", "unit", "limits"])
        return frame.astype({"value": float, "low": float, "high": float})

    def to_json(self) -> dict[str, Any]:
        """Return the answer as a document; infinity (never) and missing are null."""
        even = self.break_even
        return clean(
            {
                "study": "payoff",
                "equipment_set": self.set_name,
                "change": self.change,
                "settings": list(self.settings),
                "runs": self.runs,
                "sentence": self.sentence,
                "notes": list(self.notes),
                "pays": self.pays,
                "acres_per_day": {"before": self.acres_before, "after": self.acres_after},
                "extra_acres_per_day": interval_json(self.extra_acres_per_day),
                "extra_acres_per_season": interval_json(self.extra_acres_per_season),
                "saved_days_per_season": self.saved_days_per_season,
                "extra_margin_per_season": interval_json(self.extra_margin_per_season),
                "purchase": self.purchase,
                "currency": self.costs.currency,
                "net_present_value": interval_json(self.net_present_value),
                "payback_seasons": vars(self.payback_seasons),
                "payback_days": vars(self.payback_days),
                "net_present_value_futures": vars(self.value_spread),
                "chance_that_it_pays": self.chance,
                "break_even": {
                    "purchase_price": None if even.purchase_price is None else interval_json(even.purchase_price),
                    "price_per_acre": even.price_per_acre,
                    "season_days": even.season_days,
                    "season_demand_acres": even.season_demand_acres,
                },
                "pair": None
                if self.pair is None
                else {
                    "change": self.pair.change,
                    "setting": self.pair.setting,
                    "extra_acres_per_day": interval_json(self.pair.extra_acres_per_day),
                    "beyond_the_change_alone": interval_json(self.pair.beyond_change),
                    "only_together": self.pair.only_together,
                },
                "job": None if self.job is None else self.job.to_json(),
                "bottleneck": {"before": self.bottleneck_before, "after": self.bottleneck_after},
                "bottleneck_sentence": {"before": self.sentence_before, "after": self.sentence_after},
                "variance_reduction_by_common_draws": self.noise_reduction,
            }
        )
