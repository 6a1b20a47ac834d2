"""A resource that the package knows nothing of: described, registered, added to the day, and found everywhere.

Aircraft are lifted off the trailer with a lifting aid that all rigs share; a rig that finds none free waits to set up.
"""

import copy
import dataclasses
import json
import re

import pandas as pd
import pytest
import simpy
from colour_vision import VISION, difference
from command_line import call
from conservation import violations
from small_day import rows, seconds, table

from simulator import load_scenario, run
from simulator.analysis.bottleneck import judge
from simulator.analysis.day_record import day_record
from simulator.analysis.day_rows import day_rows
from simulator.analysis.resources import Resource, Rows, register, resource_names, resources, time_labels
from simulator.analysis.summary import active_intervals, columns, place_of, summarise
from simulator.analysis.variations import Variation
from simulator.experiment.engine import engine
from simulator.operation.day import simulate
from simulator.operation.moves import Moves
from simulator.plan.day_plan import make_plan
from simulator.report.day_figure import day_figure
from simulator.report.figures import bottleneck_figure, time_use_figure
from simulator.report.palette import (
    AIRCRAFT_LOOKS,
    PACK_LOOKS,
    RESOURCE_LOOKS,
    SPARE,
    WORK_LOOKS,
    contrast,
    text_on,
)  # fmt: skip
from simulator.scenario.streams import StreamBank
from simulator.scenario.toml_text import toml_document

pytestmark = pytest.mark.skipif("compiled" in engine(), reason="functions of the compiled model cannot be wrapped")

NAME, BUSY = "lifting aid", "lifting aid busy"
WAIT = f"wait: {BUSY}"
REGISTERED = "simulator.analysis.resources._registered"
TABLE = table(
    notes="lifting aids: 1",
    day__window="210 min",
    field=[{"name": name, "area": "6 ha", "length_to_width": "2", "drive_distance": "1 km"} for name in "abcd"],
    rig__main__trailer={"yard_time": "0 s", "pack_up_time": "5 min", "set_up_time": "25 min"},
)
TABLE["rig"]["other"] = copy.deepcopy(TABLE["rig"]["main"])


def aids_of(scenario):
    return int(scenario.notes.partition(": ")[2])


def more_aids(scenario):
    yield Variation("one more lifting aid", NAME, (f"notes=lifting aids: {aids_of(scenario) + 1}",))


AID = Resource(NAME, NAME, ("lifting",), busy=Rows(NAME, ("lifting",)), lost=(WAIT,), one_more_shared=more_aids)


def lift(env, name, log, asked):
    """Lift for one rig after another: the process of one lifting aid."""
    while True:
        begun, done = yield asked.get()
        start = env.now
        begun.succeed()
        yield done
        log.add(start, env.now, name, "lifting", "set up")


@pytest.fixture
def lifting(monkeypatch):
    """Let each rig wait for a lifting aid before it sets up."""
    set_up = Moves._set_up
    day = {}

    def with_aid(self):
        rig, env = self._rig, self._env
        if day.get("log") is not rig.log:  # the first set-up of a day
            day.update(log=rig.log, asked=simpy.Store(env))
            for number in range(1, aids_of(rig.day.scenario) + 1):
                rig.log.kinds[f"{NAME} {number}"] = NAME
                env.process(lift(env, f"{NAME} {number}", rig.log, day["asked"]))
        begun, done = env.event(), env.event()
        yield day["asked"].put((begun, done))
        yield begun
        for unit in rig.aircraft:
            unit.mark(env.now, "wait", BUSY)
        yield from set_up(self)
        done.succeed()

    monkeypatch.setattr(Moves, "_set_up", with_aid)
    monkeypatch.setattr(REGISTERED, resources())
    register(AID)


@pytest.fixture
def plan(lifting):
    return make_plan(load_scenario(TABLE).sets[0])


@pytest.fixture
def day(plan):
    return simulate(plan, StreamBank(1).day(0))


def lifted_s(day):
    return seconds(rows(day, entity=f"{NAME} 1"))


def test_nothing_is_left_when_it_is_taken_out_again():
    assert NAME not in resource_names()
    assert not any(NAME in name for name in (*columns(), *time_labels()))


def test_it_is_in_the_days_row(plan, day):
    assert resource_names()[-1] == NAME
    with pytest.raises(ValueError, match="lifting aid"):
        register(AID)  # no name twice
    assert {f"time_s/{WAIT}", f"utilisation/{NAME}", f"active_share/{NAME}"} <= set(columns())
    row = summarise(plan, day)
    # both rigs arrive together, and one waits
    assert row[place_of(f"time_s/{WAIT}")] == seconds(rows(day, BUSY)) >= 25 * 60.0
    assert row[place_of(f"utilisation/{NAME}")] == pytest.approx(lifted_s(day) / day.log.paid_until_s)
    assert 0.0 < row[place_of(f"active_share/{NAME}")] < 1.0
    spans = active_intervals(day)[NAME][f"{NAME} 1"]
    assert sum(end - start for start, end in spans) == pytest.approx(lifted_s(day))


def test_its_states_are_checked(plan, day):
    assert violations(plan, day) == []

    def found(**change):
        second = rows(day, entity=f"{NAME} 1")[1]
        changed = [row._replace(**change) if row is second else row for row in day.log.rows]
        return violations(plan, dataclasses.replace(day, log=dataclasses.replace(day.log, rows=changed)))

    assert any("lifting aid 1: in two places" in text for text in found(start_s=0.0))
    assert any("lifting aid 1: in the states idling" in text for text in found(state="idling"))
    assert any("outside the day" in text for text in found(end_s=day.log.paid_until_s + 60.0))


def test_it_is_drawn_and_replayed(plan, day):
    figure = day_figure(day_record(plan, day), "a day")
    assert f"{NAME} 1" in [label.get_text() for label in figure.axes[0].get_yticklabels()]
    legend = [text.get_text() for text in figure.legends[0].get_texts()]
    assert {f"{NAME}: lifting", f"waiting: {NAME}"} <= set(legend)
    record = json.loads(json.dumps(day_record(plan, day)))
    assert record["resources"][-1] == NAME
    [other] = record["others"]
    assert (other["name"], other["kind"]) == (f"{NAME} 1", NAME)
    assert sum(end - start for start, end, *_ in other["states"]) == pytest.approx(lifted_s(day), abs=2.0)
    assert len(resource_names()) - 1 in {
        number for *_, first, second in record["bottleneck"] for number in (first, second)
    }
    units = [row.unit for row in day_rows(plan, day) if row.entity == f"{NAME} 1"]
    assert units == [""] * len(other["states"])


def test_one_more_of_it_is_tried_and_told(lifting):
    result = run(load_scenario(TABLE), runs=6, one_more_runs=6)
    one = next(change for change in result.sets[0].one_more if change.resource == NAME)
    assert (one.change, one.setting) == ("one more lifting aid", "notes=lifting aids: 2")
    assert one.low > 0.0
    hold = judge(result.sets[0].time_share(), result.sets[0].active_period_share(), [one])
    assert hold.resource == NAME
    assert "lifting aid" in hold.sentence
    assert "waiting for the lifting aid" in hold.sentence
    row = result.bottleneck.set_index("resource").loc[NAME]
    assert row["time_lost_share"] == result.sets[0].time_share()[WAIT] > 0.02
    assert row["one_more"] == "one more lifting aid"
    labels = [label.get_text() for label in bottleneck_figure(result.bottleneck).axes[0].get_yticklabels()]
    assert labels[-1] == NAME
    drawn = time_use_figure(result.time_use, {entry.name: entry.name for entry in result.sets})
    used = [text.get_text() for text in drawn.legends[0].get_texts()]
    assert f"waiting: {NAME}" in used


def test_it_is_in_every_file_of_a_result(lifting, tmp_path, monkeypatch):
    source, out = str(tmp_path / "lifting.toml"), tmp_path / "out"
    (tmp_path / "lifting.toml").write_text(toml_document(TABLE))
    assert call("run", source, "--runs", "5", "--one-more-runs", "5", "--workers", "2", "--out", str(out)) == 0
    assert call("report", str(out)) == 0
    assert call("day", source, "--out", str(tmp_path / "day")) == 0
    assert WAIT in set(pd.read_csv(out / "time_use.csv")["state"])
    assert NAME in set(pd.read_csv(out / "bottleneck.csv")["resource"])
    summary = (out / "summary.md").read_text()
    assert re.search(rf"^\| {WAIT} \| waiting: {NAME} \|", summary, re.MULTILINE)
    assert re.search(rf"^\| {NAME} \| [1-9][0-9.]* % \| [1-9]", summary, re.MULTILINE)
    assert re.search(r"^\| small \| one more lifting aid \| \+", summary, re.MULTILINE)
    assert set(pd.read_csv(tmp_path / "day" / "day.csv").query(f"kind == '{NAME}'")["activity"]) == {"lifting"}
    page = (out / "report.html").read_text()
    replay = json.loads(re.search(r'id="replay-data">(.*?)</script>', page, re.DOTALL).group(1))
    assert replay["resources"][-1] == NAME
    assert replay["records"][0]["others"][0]["name"] == f"{NAME} 1"
    for words in (f"waiting: {NAME}", f"{NAME}: lifting", "sets the pace", "one more lifting aid"):
        assert words in page
    # a result is read as it is by somebody who has no such resource
    with monkeypatch.context() as without:
        without.setattr(REGISTERED, resources()[:-1])
        assert call("report", str(out), "--out", str(tmp_path / "again.html")) == 0
    assert f"{NAME} 1" in (tmp_path / "again.html").read_text()


@pytest.mark.parametrize("vision", VISION)
def test_looks_by_default_are_told_apart(vision):
    looks = [look for kind in (AIRCRAFT_LOOKS, PACK_LOOKS, RESOURCE_LOOKS, WORK_LOOKS) for look in kind.values()]
    known, hatches = {look.colour for look in looks}, {look.hatch for look in looks}
    for colour, hatch in SPARE:
        others = known | {other for other, _ in SPARE if other != colour}
        assert min(difference(colour, other, vision) for other in others) >= 5.0  # as in the palette's own test
        assert contrast(text_on(colour), colour) >= 4.5
        assert hatch not in hatches
    assert len({hatch for _, hatch in SPARE}) == len(SPARE)
