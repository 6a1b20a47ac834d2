"""Figures of studies, of answers made up here: all is named, nothing is cut off, nothing told by colour alone."""

from types import SimpleNamespace as Made

import numpy as np
import pandas as pd
import pytest
from stored_support import HOSTILE, assert_nothing_cut_off

from simulator.report.crossover_figure import crossover_figure
from simulator.report.ladder_figure import ladder_figure
from simulator.report.palette import series
from simulator.report.payoff_figure import payoff_figure
from simulator.report.season_figure import season_figure
from simulator.report.size_figure import size_figure

ACRES = Made(name="acres", one="acre", acres=1.0)
COSTS = Made(currency="$", horizon_years=5.0)


def ladder(costs):
    steps = [
        Made(change=change, extra_acres_per_day=gain, net_present_value=None if costs is None else gain)
        for change, gain in (
            ("one more pack", Made(mean=30.0, low=20.0, high=40.0)),
            (HOSTILE, Made(mean=-2.0, low=None, high=None)),
        )
    ]
    bottleneck = Made(resources=("packs", "chargers"))
    rungs = [Made(number=0, acres_per_day=170.0, bottleneck=bottleneck, steps=steps, taken=steps[0])]
    return ladder_figure(Made(rungs=rungs, costs=costs, unit=ACRES))


def size():
    sets = [
        Made(status=status, cost=Made(mean=cost), verdict=Made(reached=reached), label=label)
        for status, cost, reached, label in (
            ("good", 28_600.0, 165.0, "large_pack=3"),
            ("misses", 30_000.0, 140.0, "large_pack=2"),
            ("dearer", 31_000.0, 150.0, HOSTILE),
        )
    ]
    target = Made(kind="day", share=0.9, cost_of="a season", scale=lambda _: (1.0, 150.0),
                  column=lambda _: "acres/day reached", words=lambda _: "reach 150 acres")  # fmt: skip
    return size_figure(
        Made(target=target, unit=ACRES, candidates=sets, frontier=sets[:1], best=sets[0], costs=COSTS, set_name="x")
    )


def season():
    by_date = np.outer(np.linspace(0.0, 3000.0, 30), (0.7, 0.8, 1.0, 1.2, 1.3))
    costs = [Made(acres=size, cost_per_acre=Made(mean=9000.0 / size), fits=size < 2000) for size in (500.0, 4000.0)]
    goal = Made(acres=2000.0)
    sets = [
        Made(name=name, by_date=by_date * scale, costs_by_size=costs, goals=[goal])
        for name, scale in (("two packs", 1.0), (HOSTILE, 1.3))
    ]
    dates = [f"06-{day:02d}" for day in range(1, 31)]
    return season_figure(Made(sets=sets, dates=dates, unit=ACRES, worlds=2000, costs=COSTS))


def payoff():
    worth = np.linspace(-9000.0, 30_000.0, 200)
    cash = pd.DataFrame({"season": [0, 1, 2], "p10": [-9, 0, 5], "p50": [-9, 3, 9], "p90": [-9, 5, 14]})
    futures = pd.DataFrame({"net_present_value": worth})
    mean = Made(mean=float(worth.mean()))
    return payoff_figure(
        Made(cash=cash, futures=futures, costs=COSTS, net_present_value=mean, set_name=HOSTILE, change="one more pack")
    )


def crossover():
    cells = [
        {"measure": "day", "field_area_m2": area, "rate": rate, "rate_si": number, "difference": lead,
         "a_value": 100.0 + lead, "b_value": 100.0, "winner": winner}
        for number, rate in enumerate(("2 gal/acre", "5 gal/acre"))
        for area, lead, winner in ((40_000.0, -20.0, "small"), (160_000.0, 25.0, "large"), (320_000.0, 1.0, ""))
    ]  # fmt: skip
    return crossover_figure(
        Made(measures=["day"], areas_m2=[40_000.0, 160_000.0, 320_000.0], rates=["2", "5"], a="large", b="small",
             level=0.95, unit=ACRES, cells=pd.DataFrame(cells))
    )  # fmt: skip


DRAWN = {
    "ladder": lambda: ladder(None), "ladder with prices": lambda: ladder(COSTS), "size": size, "season": season,
    "payoff": payoff, "crossover": crossover,
}  # fmt: skip
NAMED = {
    "ladder": "TAKEN: one more pack", "size": "large_pack=2", "season": "two packs", "crossover": "small\n25 %",
    "ladder with prices": "worth over 5 years", "payoff": "mean",
}  # fmt: skip


@pytest.mark.parametrize("name", DRAWN)
def test_all_is_named_and_nothing_cut_off(name):
    figure = DRAWN[name]()
    assert_nothing_cut_off(figure)
    texts = [text.get_text() for text in figure.findobj(lambda one: hasattr(one, "get_text"))]
    assert any(NAMED[name] in text for text in texts), texts


def test_sets_are_told_apart_by_more_than_colour():
    assert len({(series(place)["marker"], series(place)["linestyle"]) for place in range(6)}) == 6
