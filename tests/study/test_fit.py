"""Fit: reading stopwatch times, fitting, and fragments that load."""

import math
import tomllib

import numpy as np
import pytest
from click.testing import CliRunner
from short_days import SCENARIOS, table, two_and_four

from simulator.errors import InputError
from simulator.plan.day_plan import make_plan
from simulator.scenario.distributions import Empirical, Gamma, Lognormal, Weibull
from simulator.scenario.loading import load_scenario
from simulator.scenario.merge import deep_merge
from simulator.scenario.stopwatch import TASKS, dates_text, is_past_days, read_past_days, read_stopwatch
from simulator.scenario.toml_text import toml_document
from simulator.study.fit import fit, fit_past
from simulator.study.measured import split_times
from simulator.study.shapes import aicc, anderson_darling, fit_family, fit_shape, gamma_shape, goodness, weibull_shape

DEMO = SCENARIOS / "stopwatch_times.csv"
PAST = SCENARIOS / "past_days.csv"


def _log(tmp_path, text):
    file = tmp_path / "times.csv"
    file.write_text(text, encoding="utf-8")
    return read_stopwatch(file)


def _rows(task, seconds, amounts=None, of=""):
    amounts = [""] * len(seconds) if amounts is None else amounts
    return "".join(f"{task},{of},{s:.6f} s,{a}\n" for s, a in zip(seconds, amounts, strict=True))


HEAD = "task,of,time,amount\n"


def test_times_are_read_as_people_write_them(tmp_path):
    log = _log(
        tmp_path, "# made up\nTask,time,date\nbattery swap,1:02,2026-05-02\nTake-off,15 s,2026-05-01\nmix,1:02:03,\n"
    )
    assert [(one.task, one.seconds) for one in log.timings] == [("swap", 62.0), ("take_off", 15.0), ("mix", 3723.0)]
    assert dates_text(one.date for one in log.timings) == "2026-05-01 to 2026-05-02"
    assert log.timings[0].line == 3


def test_plain_seconds_need_a_column_that_says_so(tmp_path):
    assert _log(tmp_path, "task,time_s\nswap,61.5\n").timings[0].seconds == 61.5
    with pytest.raises(InputError, match="without a unit"):
        _log(tmp_path, "task,time\nswap,61.5\n")


def test_every_bad_line_is_named(tmp_path):
    with pytest.raises(InputError) as caught:
        _log(tmp_path, "task,time\nswop,60 s\nswap,soon\nswap,-3 s\nswap,60 L\nswap,0:00\n")
    problems = {one.where: one.message for one in caught.value.problems}
    assert set(problems) == {f"line {line}" for line in range(2, 7)}
    assert "nearest known is 'swap'" in problems["line 2"]
    assert "not a time" in problems["line 5"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("task,time\n", "no rows"),
        ("what,when\nswap,60 s\n", "needed are 'task'"),
        ("task,time,task\nswap,60 s,swap\n", "stands twice"),
        ("task,time\nswap,60 s,9\n", "3 cells for 2 columns"),
        ('task,time\nswap,"60 s\n', "cannot be read as CSV"),
        ("task,time\n\0swap,60 s\n", "task"),
    ],
)
def test_a_file_that_is_no_log_is_refused(tmp_path, text, said):
    with pytest.raises(InputError, match=said):
        _log(tmp_path, text)
    with pytest.raises(InputError, match="cannot be read"):
        read_stopwatch(tmp_path / "none.csv")


@pytest.mark.parametrize(
    "truth", [Lognormal(60.0, 0.3), Gamma(60.0, 0.4), Weibull(60.0, 2.0)], ids=lambda x: type(x).__name__
)
def test_a_family_is_recovered_from_its_own_values(truth):
    n = 4000
    values = truth.ppf((np.arange(n) + 0.5) / n)
    found, _ = fit_family(values, type(truth).__name__.lower())
    # quantiles at the middle of n equal steps: fitted mean and spread differ by the order of 1/n and the lost tails
    assert found.mean() == pytest.approx(truth.mean(), rel=0.005)
    assert found.sd() == pytest.approx(truth.sd(), rel=0.02)


def test_random_values_are_fitted_within_their_standard_error_and_not_rejected():
    rng = np.random.default_rng(4)
    truth = Lognormal(60.0, 0.3)
    values = truth.ppf(rng.random(200))
    shape = fit_shape(values)
    assert abs(shape.distribution.mean() - 60.0) < 4 * truth.sd() / math.sqrt(200)
    # one sample in a thousand of the right family would fall below this
    assert shape.kind == "empirical" or shape.p > 0.001


def test_values_of_two_kinds_are_rejected_by_every_family_and_kept_as_they_are():
    values = np.concatenate([np.linspace(28, 32, 40), np.linspace(118, 122, 40)])
    shape = fit_shape(values)
    assert shape.p < 0.05
    assert isinstance(shape.distribution, Empirical)
    assert "no family fits" in shape.why
    assert fit_shape(values, "gamma").kind == "gamma"
    assert "fits poorly" in fit_shape(values, "gamma").why


def test_few_values_keep_their_mean_and_spread():
    shape = fit_shape(np.array([50.0, 60.0, 85.0]))
    assert shape.distribution.mean() == pytest.approx(65.0)
    assert shape.distribution.sd() == pytest.approx(np.std([50.0, 60.0, 85.0], ddof=1))
    assert "too few" in shape.why
    assert fit_shape(np.array([50.0])).kind == "constant"
    assert fit_shape(np.array([50.0, 50.0])).distribution.mean() == 50.0
    with pytest.raises(ValueError, match="above 0"):
        fit_shape(np.array([50.0, -1.0]))


def test_shapes_solve_the_likelihood_equations_as_scipy_does():
    from scipy import stats

    values = np.random.default_rng(8).gamma(7.0, 9.0, 60)
    assert gamma_shape(values) == pytest.approx(stats.gamma.fit(values, floc=0)[0], rel=1e-4)
    assert weibull_shape(values) == pytest.approx(stats.weibull_min.fit(values, floc=0)[0], rel=1e-3)
    narrow = np.array([60.0, 60.001, 60.002])
    assert weibull_shape(narrow) > 1e4
    assert gamma_shape(narrow) > 1e6


def test_anderson_darling_agrees_with_scipy():
    # scipy.stats.goodness_of_fit as outside reference; normal, where both fit the same way
    from scipy import stats

    values = np.sort(np.random.default_rng(2).normal(60.0, 9.0, 40))
    reference = stats.goodness_of_fit(
        stats.norm, values, statistic="ad", n_mc_samples=299, rng=np.random.default_rng(1)
    )
    # scipy takes the sample standard deviation here
    share = stats.norm(values.mean(), values.std(ddof=1)).cdf(values)
    assert anderson_darling(share) == pytest.approx(reference.statistic)
    # two bootstrap p values of 299 samples each: standard error of the difference below 0.041
    assert abs(goodness(values, "normal", 3)[1] - reference.pvalue) < 4 * 0.041


def test_aicc_by_hand():
    # Hurvich & Tsai 1989: AIC + 2k(k+1)/(n-k-1); with k = 2, n = 10, log-likelihood -30: 4 + 60 + 12/7
    assert aicc(-30.0, 2, 10) == pytest.approx(64 + 12 / 7)
    assert aicc(-30.0, 2, 3) == math.inf


def test_a_line_gives_the_time_of_a_unit_and_noise_gives_none():
    amounts = np.linspace(10, 40, 12)
    assert split_times(30 + 0.8 * amounts, amounts) == pytest.approx(0.8)
    assert split_times(30 + 0.8 * amounts[:5], amounts[:5]) is None
    assert split_times(np.tile([30.0, 90.0], 6), amounts) is None


def test_filling_is_split_into_coupling_and_pumping(tmp_path):
    amounts = np.linspace(15, 40, 20)
    seconds = amounts / 0.9 + 33.0 + np.tile([-2.0, 2.0, 2.0, -2.0], 5)
    log = _log(tmp_path, HEAD + _rows("fill", seconds, [f"{a:.9f} L" for a in amounts]))
    found = {one.task: one for one in fit(two_and_four(), log).fits}
    assert found["pump flow"].values[0] == pytest.approx(0.9, rel=0.01)
    assert found["fill"].mean.mean == pytest.approx(33.0, rel=0.02)
    same = _log(tmp_path, HEAD + _rows("fill", [70.0, 75.0, 71.0], ["38 L"] * 3))
    flow = two_and_four().base.rig["main"].supply.pump_flow
    one = fit(two_and_four(), same).fits[0]
    assert one.values[0] == pytest.approx(70.0 - 38.0 / flow)
    short = _log(tmp_path, HEAD + _rows("fill", [10.0, 75.0], ["38 L"] * 2))
    with pytest.raises(InputError, match="1 of 2 times are shorter than pumping"):
        fit(two_and_four(), short)


def test_charging_gives_back_the_power_that_it_was_timed_with(tmp_path):
    loaded = two_and_four()
    pack = make_plan(loaded.sets[0]).rigs[0].packs[0][0]
    shares = [45, 55, 60, 70]
    full = pack.capacity_wh
    power = 6500.0
    seconds = [pack.curve.time_s(full * (1 - s / 100), full, power * pack.charge_efficiency) for s in shares]
    log = _log(tmp_path, HEAD + _rows("charge", seconds, [f"{s} %" for s in shares]))
    one = fit(loaded, log).fits[0]
    assert one.key == "charger.fast.slot_power"
    assert one.values[0] == pytest.approx(power, rel=1e-4)
    quick = _log(tmp_path, HEAD + _rows("charge", np.array(seconds) / 2.5, [f"{s} %" for s in shares]))
    keys = {entry.key for entry in fit(loaded, quick).fits}
    assert keys == {"charger.fast.slot_power", "charger.fast.output_power", "pack.large_pack.charge_power_max"}


def test_whole_moves_are_split_by_their_distance(tmp_path):
    loaded = two_and_four()
    handling = make_plan(loaded.sets[0]).rigs[0].pack_up_handling
    miles = np.linspace(0.5, 6, 12)
    seconds = miles * 1609.344 / 11.0 + 2 * handling + 900 + np.tile([-20.0, 20.0, 20.0, -20.0], 3)
    log = _log(tmp_path, HEAD + _rows("move", seconds, [f"{m:.9f} mi" for m in miles]))
    found = {one.key: one for one in fit(loaded, log).fits}
    assert found["route.road_speed"].values[0] * 0.44704 == pytest.approx(11.0, rel=0.02)
    parts = [found[f"rig.main.trailer.{name}_time"].mean.mean for name in ("pack_up", "set_up")]
    assert sum(parts) == pytest.approx(900, rel=0.02)
    with pytest.raises(InputError, match="road distance"):
        fit(loaded, _log(tmp_path, HEAD + _rows("move", [900.0, 1000.0])))


def test_what_cannot_be_placed_is_named_all_at_once(tmp_path):
    text = HEAD + _rows("swap", [60.0], of="mian") + _rows("turn", [5.0], of="lrage") + _rows("drive", [300.0])
    with pytest.raises(InputError) as caught:
        fit(two_and_four(), _log(tmp_path, text))
    said = str(caught.value)
    assert len(caught.value.problems) == 3
    assert "nearest known is 'main'" in said
    assert "nearest known is 'large'" in said
    twice = HEAD + _rows("swap", [60.0], of="main") + _rows("swap", [61.0])
    with pytest.raises(InputError, match="more than one task"):
        fit(two_and_four(), _log(tmp_path, twice))
    with pytest.raises(InputError, match="--kind"):
        fit(two_and_four(), _log(tmp_path, HEAD + _rows("swap", [60.0])), kind="gaussian")


def test_every_task_has_a_place(tmp_path):
    loaded = two_and_four()
    amounts = {"drive": "2 mi", "move": "2 mi", "charge": "60 %"}
    for task in TASKS:
        log = _log(tmp_path, HEAD + _rows(task, [1500.0], [amounts.get(task, "")]))
        for one in fit(loaded, log).fits:
            assert one.before is not None
            assert math.isfinite(one.mean.mean)


def test_the_demonstration_says_it_is_made_up_and_its_fragment_loads():
    assert "made up" in DEMO.read_text(encoding="utf-8").splitlines()[0].lower()
    assert "made up" in PAST.read_text(encoding="utf-8").splitlines()[0].lower()
    loaded = load_scenario(SCENARIOS / "third_pack.toml")
    answer = fit(loaded, read_stopwatch(DEMO))
    text = answer.text
    raw = tomllib.loads((SCENARIOS / "third_pack.toml").read_text(encoding="utf-8"))
    merged = load_scenario(deep_merge(raw, tomllib.loads(text)), folder=SCENARIOS)
    swap = next(one for one in answer.fits if one.task == "swap")
    assert merged.base.rig["main"].crew.tasks.swap.time.mean() == pytest.approx(
        swap.shape.distribution.mean(), rel=1e-3
    )
    assert "sha256" in text
    assert "stopwatch_times.csv" in text
    whole = load_scenario(tomllib.loads(answer.merged_text(raw)), folder=SCENARIOS)
    assert [entry.name for entry in whole.sets] == [entry.name for entry in loaded.sets]
    assert whole.digest() == merged.digest()


def test_past_days_are_described():
    assert is_past_days(PAST)
    assert not is_past_days(DEMO)
    past = read_past_days(PAST)
    answer = fit_past(past)
    assert [one.task for one in answer.fits] == ["acres a day", "paid hours a day", "acres a paid hour"]
    assert answer.fits[0].mean.mean == pytest.approx(np.mean([day.acres for day in past.days]))
    assert tomllib.loads(answer.text) == {}


def test_the_command_writes_what_loads(tmp_path):
    from simulator.command.fit import command

    file = tmp_path / "short.toml"
    file.write_text(toml_document(table()), encoding="utf-8")
    times = tmp_path / "times.csv"
    times.write_text(HEAD + _rows("swap", [61.0, 66.0, 74.0]), encoding="utf-8")
    merged, part = tmp_path / "merged.toml", tmp_path / "part.toml"
    arguments = [str(file), str(times), "--write", str(part), "--merged", str(merged), "--out", str(tmp_path / "out")]
    result = CliRunner().invoke(command, arguments, standalone_mode=False)
    assert result.exception is None
    assert load_scenario(merged).base.rig["main"].crew.tasks.swap.time.mean() == pytest.approx(67.0, rel=1e-3)
    assert (
        tomllib.loads(part.read_text(encoding="utf-8"))["rig"]["main"]["crew"]["tasks"]["swap"]["time"]["dist"]
        == "lognormal"
    )
    assert {"study.json", "fits.csv", "fit.svg"} <= {path.name for path in (tmp_path / "out").iterdir()}
