"""Sensitivity: known Sobol indices, bars by hand, and what to measure."""

import math

import numpy as np
import pytest
from short_days import table, two_and_four

from simulator.errors import InputError
from simulator.experiment.estimates import replications_needed
from simulator.study.reading import locate, ranges_of
from simulator.study.sensitivity import sensitivity, words_of
from simulator.study.sobol import estimates, sobol

SWAP = "rig.main.crew.tasks.swap.time=40..90 s"
SPEED = "aircraft.large.spray_speed=12..18 mph"
UNUSED = "rig.main.supply.dry_flow=50..150 lb/min"
PACKS = "rig.main.packs.large_pack=2..4"


def _close(found, low, high, truth, errors=4.0):
    """Tell whether a truth lies within some standard errors of an estimate with a 95 % interval."""
    half = (high - low) / (2 * 1.96)
    return abs(found - truth) <= errors * half + 1e-9


def test_ishigami_function_has_its_known_indices():
    # Ishigami & Homma 1990; closed form in Saltelli et al., Global Sensitivity Analysis (2008), with a = 7, b = 0.1
    a, b = 7.0, 0.1
    total = a**2 / 8 + b * math.pi**4 / 5 + b**2 * math.pi**8 / 18 + 0.5
    first = [0.5 * (1 + b * math.pi**4 / 5) ** 2 / total, a**2 / 8 / total, 0.0]
    both = 8 * b**2 * math.pi**8 / 225 / total
    whole = [first[0] + both, first[1], both]
    assert [round(value, 3) for value in (*first, *whole)] == [0.314, 0.442, 0.0, 0.558, 0.442, 0.244]

    def ishigami(x):
        return np.sin(x[0]) + a * np.sin(x[1]) ** 2 + b * x[2] ** 4 * np.sin(x[0])

    found = sobol(ishigami, [(-math.pi, math.pi)] * 3, 4096, seed=2)
    assert found.evaluations == 4096 * 5
    assert found.mean == pytest.approx(a / 2, abs=0.05)
    assert found.sd**2 == pytest.approx(total, rel=0.05)
    for row, one, other in zip(found.table.itertuples(), first, whole, strict=True):
        assert _close(row.first_order, row.first_ci95_low, row.first_ci95_high, one)
        assert _close(row.total, row.total_ci95_low, row.total_ci95_high, other)


def test_a_sum_shares_its_variance_by_the_squares_of_its_widths():
    # elementary: the variance of c * uniform is c^2 / 12 times the width squared
    found = sobol(lambda x: 3 * x[0] + 4 * x[1], [(0.0, 1.0), (0.0, 1.0)], 1024, seed=3)
    for row, truth in zip(found.table.itertuples(), (9 / 25, 16 / 25), strict=True):
        assert _close(row.first_order, row.first_ci95_low, row.first_ci95_high, truth)
        assert _close(row.total, row.total_ci95_low, row.total_ci95_high, truth)


def test_the_bootstrap_uses_the_estimators_that_gave_the_indices():
    calls = []

    def function(x):
        calls.append(x[0] * (1 + x[1]) + x[2] ** 2)
        return calls[-1].copy()

    found = sobol(function, [(0.0, 1.0)] * 3, 64, seed=5)
    first, total = estimates(calls[0], calls[1], calls[2].reshape(64, 3).T)
    assert first == pytest.approx(found.table["first_order"])
    assert total == pytest.approx(found.table["total"])


def test_an_answer_that_never_changes_has_no_indices_to_share():
    found = sobol(lambda x: np.full(x.shape[1], 5.0), [(0.0, 1.0)] * 2, 8, seed=1)
    assert found.sd == 0.0
    assert not found.table.to_numpy().any()
    with pytest.raises(ValueError, match="power of two"):
        sobol(lambda x: x[0], [(0.0, 1.0)], 12, seed=1)


def test_an_input_that_nothing_uses_changes_nothing():
    loaded = two_and_four()
    answer = sensitivity(loaded, ranges_of(loaded, [SPEED, UNUSED]), "four", runs=6, sobol_points=8, sobol_runs=2)
    bars = answer.bars.set_index("key")
    assert list(answer.bars["key"]) == ["aircraft.large.spray_speed", "rig.main.supply.dry_flow"]
    assert bars.loc["rig.main.supply.dry_flow", "swing"] == 0.0
    # common practice, no source: a faster aircraft does not spray less
    speed = bars.loc["aircraft.large.spray_speed"]
    assert speed["change_low_ci_high"] < 0 < speed["change_high_ci_low"]
    table = answer.sobol_table.set_index("key")
    assert table.loc["rig.main.supply.dry_flow", "total"] == 0.0
    assert table.loc["aircraft.large.spray_speed", "total"] > 0.0
    assert 0.0 <= answer.noise_share <= 1.0
    assert "spray speed matters most for four" in answer.sentence.lower()
    assert " the output changes by " in answer.sentence
    assert answer.to_json()["sobol"]["evaluations"] == 8 * 4


def test_what_to_measure_follows_from_the_swing():
    loaded = two_and_four()
    answer = sensitivity(loaded, ranges_of(loaded, [SWAP, PACKS]), "four", runs=6, target=0.001)
    need = answer.needs.set_index("key").loc["rig.main.crew.tasks.swap.time"]
    bar = answer.bars.set_index("key").loc["rig.main.crew.tasks.swap.time"]
    (row,) = [row for row in answer.rows if row[0] == "swap time"]
    assert any("count it" in row for row in answer.rows)
    assert row[-1] in ("–", f"{need['timings']:,.0f}")
    # a straight line: the half-width of the answer is to be a thousandth of it
    share = min(1.0, 2 * 0.001 * answer.base.mean / bar["swing"])
    assert need["plus_minus"] == pytest.approx(0.5 * 50 * share)
    value, _ = locate(loaded.equipment_set("four"), "rig.main.crew.tasks.swap.time")
    assert need["timings"] == replications_needed(value.sd(), need["plus_minus"])
    packs = answer.needs.set_index("key").loc["rig.main.packs.large_pack"]
    assert packs["enough"]
    assert math.isnan(packs["plus_minus"])


def test_the_lead_of_one_set_over_another_turns_round_within_a_range():
    loaded = two_and_four()
    # the set of two packs gets from two to six, against one that has four
    raw = table()
    raw["equipment_set"]["two"] = {"rig": {"main": {"packs": {"large_pack": 3}}}}
    raw["equipment_set"]["slow"] = {"charger": {"fast": {"output_power": "7 kW"}}}
    loaded = two_and_four(equipment_set=raw["equipment_set"])
    charger = ranges_of(loaded, ["charger.fast.output_power=4..9 kW", UNUSED])
    answer = sensitivity(loaded, charger, "four", "two", runs=5)
    # both sets take the same charger power, so only what it does to the difference counts
    assert answer.bars["swing"].iloc[-1] == 0.0
    assert "lead of four over two" in answer.sentence
    assert " the lead changes by " in answer.sentence or "None of the inputs" in answer.sentence
    flips = answer.bars.set_index("key")["flips"]
    bars = answer.bars.set_index("key")
    for key in flips.index:
        values = [bars.loc[key, "at_low"], answer.base.mean, bars.loc[key, "at_high"]]
        assert flips[key] == (min(values) < 0 < max(values))


def test_interrupting_the_sobol_sample_keeps_the_bars():
    loaded = two_and_four()

    def stop(stage, done, total):
        if stage == "Sobol sample":
            raise KeyboardInterrupt

    answer = sensitivity(loaded, ranges_of(loaded, [SPEED]), runs=3, sobol_points=4, report=stop)
    assert answer.stopped.startswith("interrupted")
    assert answer.indices is None
    assert len(answer.bars) == 1


def test_words_are_short_and_never_alike():
    loaded = two_and_four()
    ranges = ranges_of(loaded, [SWAP, SPEED, "rig.main.crew.tasks.fill.time=20..60 s"])
    assert words_of(ranges) == ["swap time", "large spray speed", "fill time"]
    twins = ranges_of(loaded, ["rig.a.crew.tasks.swap.time=1..2 s", "rig.b.crew.tasks.swap.time=1..2 s"])
    assert words_of(twins) == [one.key for one in twins]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"sobol_points": 12}, "power of two"),
        ({"measure": "acers"}, "--measure"),
        ({"measure": "finish_hour"}, "no value in some runs"),
        ({"equipment_set": "two", "against": "two"}, "against itself"),
        ({"target": 2.0}, "--target"),
    ],
)
def test_bad_input_is_refused(changes, said):
    loaded = two_and_four()
    with pytest.raises(InputError, match=said):
        sensitivity(loaded, ranges_of(loaded, [SPEED]), runs=3, **changes)


def test_an_input_that_is_not_there_is_refused_with_the_nearest():
    loaded = two_and_four()
    with pytest.raises(InputError, match="nearest known is 'spray_speed'"):
        sensitivity(loaded, ranges_of(loaded, ["aircraft.large.spray_sped=12..18 mph"]), runs=3)
