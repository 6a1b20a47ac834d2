"""Questions that make no sense: each refusal names the option or key."""

from __future__ import annotations

import pytest
from short_days import SCENARIOS, THIRD_PACK, short

from simulator.errors import InputError
from simulator.scenario.loading import load_scenario
from simulator.study.ladder import ladder
from simulator.study.payoff import payoff
from simulator.study.season import season
from simulator.study.size import size

THIRD = {"changes": [THIRD_PACK]}
CHOICES = {"choices": ["rig.main.packs.large_pack=2..4"]}
A_DAY = CHOICES | {"acres_per_day": 10}


@pytest.mark.parametrize(
    ("study", "arguments", "where"),
    [
        (payoff, {"changes": []}, "change"),
        (payoff, THIRD | {"other": "x"}, "change"),
        (payoff, {"changes": ["generator.twelve.rated_power=15 kW"]}, "price"),
        (payoff, THIRD | {"runs": 3}, "runs"),
        (payoff, THIRD | {"seed": -1}, "seed"),
        (payoff, THIRD | {"workers": 0}, "workers"),
        (payoff, THIRD | {"price": -3.0}, "price"),
        (ladder, {"most_rungs": 0}, "most_rungs"),
        (ladder, {"by": "x"}, "by"),
        (ladder, {"runs": 2}, "runs"),
        (season, {"workable_days": 0}, "workable_days"),
        (season, {"first": "x"}, "first"),
        (season, {"acres": [-1.0]}, "acres"),
        (season, {"runs": 1}, "runs"),
        (season, {"least_hours": 0}, "least_hours"),
        (size, CHOICES, "target"),
        (size, A_DAY | {"season_acres": 10}, "target"),
        (size, A_DAY | {"within_days": 3}, "target"),
        (size, CHOICES | {"acres_per_day": -1}, "target"),
        (size, A_DAY | {"share": 0.4}, "share"),
        (size, A_DAY | {"runs": 20}, "runs"),
        (size, A_DAY | {"confidence": 1.0}, "confidence"),
        (size, CHOICES | {"season_acres": 10, "season_days": 500}, "season_days"),
        (size, A_DAY | {"indifference": 0.0}, "indifference"),
    ],
)
def test_bad_questions(study, arguments, where):
    with pytest.raises(InputError) as caught:
        study(short(), **arguments)
    assert caught.value.problems[0].where == where


def test_a_price_that_is_missing_is_named():
    with pytest.raises(InputError) as caught:
        payoff(short("costs.pack={}"), **THIRD)
    assert caught.value.problems[0].where == "costs.pack.large_pack"


@pytest.mark.parametrize(
    ("study", "arguments"), [(payoff, {"set_name": "two_packs", "other": "three_packs"}), (size, A_DAY),
                             (ladder, {"by": "money"})]
)  # fmt: skip
def test_missing_costs_are_named(study, arguments):
    with pytest.raises(InputError, match=f"{study.__name__} needs the table"):
        study(load_scenario(SCENARIOS / "third_pack.toml"), **arguments)
