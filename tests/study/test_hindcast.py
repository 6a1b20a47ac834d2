"""Hindcast: past days read, simulated, and held against what was observed."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from short_days import ACRE_M2, two_and_four

from simulator.errors import InputError
from simulator.plan.day_plan import make_plan
from simulator.scenario.stopwatch import PastDay, read_past_days
from simulator.study.cases import CaseRuns
from simulator.study.hindcast import _coverage, _rank_p, day_set, hindcast


def _read(tmp_path, text):
    file = tmp_path / "runs.csv"
    file.write_text(text, encoding="utf-8")
    return read_past_days(file)


def test_days_are_read_with_fields_settings_and_keys(tmp_path):
    text = (
        "date,acres,hours,equipment_set,fields,settings,product.rate\n"
        "2026-05-01,140,9.5,two,80 acre; mill = 15 acre x 2,"
        "rig.main.crew.helpers=2; weather.altitude=200 m,3 gal/acre\n"
        "2026-05-02,90,,,,,\n"
    )
    first, second = _read(tmp_path, text).days
    assert [(site.name, round(site.area_m2 / ACRE_M2)) for site in first.fields] == [
        ("field 1", 80),
        ("mill 1", 15),
        ("mill 2", 15),
    ]
    assert first.settings == ("product.rate=3 gal/acre", "rig.main.crew.helpers=2", "weather.altitude=200 m")
    assert (second.acres, second.hours, second.settings, second.fields) == (90.0, None, (), ())
    hectares = _read(tmp_path, "date,hectares\n2026-05-01,10\n").days[0]
    assert hectares.acres == pytest.approx(24.7105, abs=1e-3)


def test_every_bad_line_is_named(tmp_path):
    text = "date,acres,hours,fields\nd1,-4,9,80 acre\nd2,many,9,80 acre\nd3,100,x,80\nd4,100,9,80 acre x 0\n"
    with pytest.raises(InputError) as caught:
        _read(tmp_path, text)
    assert {one.where for one in caught.value.problems} == {"line 2", "line 3", "line 4", "line 5"}
    with pytest.raises(InputError, match="needed are 'date'"):
        _read(tmp_path, "day,acres\nd1,100\n")


def test_a_day_with_its_own_fields_goes_through_them_once():
    loaded = two_and_four()
    site = replace(loaded.sets[0].fields.sites[0], area_m2=20 * ACRE_M2)
    entry = day_set(loaded, PastDay(2, "d", 20.0, fields=(site,), settings=("product.rate=3 gal/acre",)))
    assert entry.scenario.work == "once"
    assert entry.fields.sites == (site,)
    assert entry.scenario.product.rate == pytest.approx(3 * 3.785411784 / ACRE_M2)
    assert day_set(loaded, PastDay(2, "d", 20.0)).scenario.work == loaded.base.work


def test_bad_days_are_named_by_line():
    loaded = two_and_four()
    days = [PastDay(2, "a", 50.0, equipment_set="tow"), PastDay(3, "b", 50.0, settings=("product.rat=3 gal/acre",))]
    with pytest.raises(InputError) as caught:
        hindcast(loaded, days, 20)
    assert [one.where for one in caught.value.problems] == ["line 2 (a)", "line 3 (b)"]
    with pytest.raises(InputError, match="no past day"):
        hindcast(loaded, [], 20)
    with pytest.raises(InputError, match="--runs: got 5 runs for each past day; allowed is 20 or more"):
        hindcast(loaded, [PastDay(2, "a", 50.0)], 5)


def test_days_of_the_model_itself_lie_within_its_bands():
    # one large field, so that no day ends with a field that is just finished
    loaded = two_and_four(field=[{"name": "plain", "area": "400 acre"}])
    other = CaseRuns([make_plan(loaded.sets[0])], 77)
    other.extend(8)
    days = [
        PastDay(line + 2, f"d{line}", float(acres), float(hours))
        for line, (acres, hours) in enumerate(zip(other.column(0, "acres"), other.column(0, "paid_hours"), strict=True))
    ]
    answer = hindcast(loaded, days, 40)
    acres = next(one for one in answer.coverage if one.measure == "acres" and one.band == 0.9)
    # 8 days of a band that holds 0.85 at least (40 simulated days): 3 or fewer inside once in 5 000 (binomial)
    assert acres.days == 8
    assert acres.inside >= 4
    assert answer.bias["acres"].low <= 0.03
    assert answer.bias["acres"].high >= -0.03
    # the days in other order, or the worse days marked up, change the verdict
    worse = hindcast(loaded, [replace(day, acres=1.3 * day.acres, hours=None) for day in days], 40)
    wide = next(one for one in worse.coverage if one.band == 0.9)
    assert wide.inside <= 1
    assert not wide.agrees
    assert worse.bias["acres"].mean == pytest.approx(1 / 1.3 - 1, abs=0.03)
    assert "too low" in worse.sentence
    assert worse.rank_p["acres"] < 0.01


def test_a_finished_list_is_no_evidence_of_the_acres():
    loaded = two_and_four()
    site = replace(loaded.sets[0].fields.sites[0], area_m2=15 * ACRE_M2)
    answer = hindcast(loaded, [PastDay(2, "d", 15.0, 2.4, fields=(site,))], 20)
    acres, hours = (answer.days[answer.days["measure"] == name].iloc[0] for name in ("acres", "paid_hours"))
    assert not acres["tells"]
    assert hours["tells"]
    assert {one.measure for one in answer.coverage} == {"paid_hours"}
    assert "prove nothing" in answer.sentence
    # a crew that left the list unfinished where every simulation finishes it is evidence, and outside
    short = hindcast(loaded, [PastDay(2, "d", 9.0, None, fields=(site,))], 20)
    assert [(one.inside, one.days) for one in short.coverage] == [(0, 1)] * 3


def test_coverage_has_the_exact_binomial_interval():
    # Clopper & Pearson 1934: with none of n inside, the upper limit is 1 - 0.025^(1/n)
    frame = pd.DataFrame({"observed": [1.0] * 10, "p5": [2.0] * 10, "p95": [3.0] * 10})
    none = _coverage(frame, "acres", 0.9)
    assert (none.inside, none.ci95[0]) == (0, 0.0)
    assert none.ci95[1] == pytest.approx(1 - 0.025 ** (1 / 10))
    assert not none.agrees


def test_evenly_spread_ranks_are_not_rejected_and_one_sided_ones_are():
    even = pd.DataFrame({"rank": (np.arange(20) + 0.5) / 20})
    assert _rank_p(even) > 0.9
    assert _rank_p(even / 4) < 0.001
    assert _rank_p(even.head(3)) is None


def test_one_day_interrupted_leaves_nothing_to_say():
    def stop(stage, done, total):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        hindcast(two_and_four(), [PastDay(2, "a", 50.0)], 20, report=stop)
