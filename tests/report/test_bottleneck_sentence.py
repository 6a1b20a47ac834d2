"""The words on what holds a set back: one name, several about equal, and additions that lower output."""

from simulator.analysis.bottleneck import OneMore, judge
from simulator.scenario.units import area_unit

WAITS = {"wait: too few packs": 0.08, "wait: chargers busy": 0.02, "spray": 0.9}
ACTIVE = {"aircraft": 0.7, "packs": 0.3}


def more(resource, mean, half, runs=50):
    return OneMore(f"one more of {resource}", resource, f"rig.main.{resource}=2", mean, mean - half, mean + half, runs)


def test_one_that_adds_more_than_all_others_is_named_alone():
    hold = judge(WAITS, ACTIVE, [more("packs", 20.0, 2.0), more("chargers", 10.0, 7.9), more("crew", 17.9, 0.05)])
    assert hold.resource == "packs"
    assert hold.alike == ()
    assert hold.sentence == (
        "Packs hold this set back: one more of packs adds 20.0 acres a day (95 % interval 18.0 to 22.0, 50 runs). The "
        "aircraft spend 8 % of their time waiting for a charged pack because there are too few packs."
    )
    assert "equally" not in hold.sentence


def test_overlapping_gains_are_about_equal():
    """The upper limit of one reaches the lower limit of the best: neither is named before the other."""
    changes = [more("chargers", 4.0, 1.0), more("packs", 3.9, 1.0, runs=40), more("crew", 2.9, 0.05)]
    hold = judge(WAITS, ACTIVE, changes)
    assert hold.resource == "chargers"
    assert hold.alike == ("packs",)
    assert hold.resources == ("chargers", "packs")
    assert hold.sentence.startswith("Chargers or packs hold this set back, about equally as far as 40 runs can tell:")
    assert "one more of chargers adds 4.0 acres a day (95 % interval 3.0 to 5.0)" in hold.sentence
    assert "one more of packs 3.9 (2.9 to 4.9)" in hold.sentence
    assert "one more of crew" not in hold.sentence
    # the wait that costs most is still told
    assert "The aircraft spend 8 % of their time waiting for a charged pack" in hold.sentence
    hectares = judge(WAITS, ACTIVE, changes, area_unit("metric"))
    assert "adds 1.6 ha a day (95 % interval 1.2 to 2.0)" in hectares.sentence  # 4.0 / 2.471 and so on: arithmetic


def test_the_verb_follows_the_last_name():
    hold = judge(WAITS, ACTIVE, [more("packs", 4.0, 1.0), more("crew", 3.5, 1.0)])
    assert hold.sentence.startswith("Packs or the crew holds this set back, about equally")


def test_two_of_one_resource_are_no_tie():
    """Two kinds of pack relieve the same resource: it is named once."""
    other = OneMore("one more small pack", "packs", "rig.main.packs.small=2", 19.0, 17.0, 21.0, 50)
    hold = judge(WAITS, ACTIVE, [more("packs", 20.0, 2.0), other])
    assert hold.alike == ()


def test_an_addition_that_may_do_nothing_is_no_rival():
    hold = judge(WAITS, ACTIVE, [more("packs", 4.0, 1.0), more("chargers", 4.0, 4.5)])
    assert hold.alike == ()


def test_purchases_that_nobody_would_make_are_not_warned_of():
    hold = judge(WAITS, ACTIVE, [more("chargers", -2.0, 1.5)])
    assert "lowers" not in hold.sentence
    assert "Nothing tried gets more done beyond doubt." in hold.sentence


def test_an_aircraft_is_no_rival_while_others_are_waited_for():
    """A further aircraft adds in most sets; while aircraft wait for packs, the cheaper thing is named."""
    changes = [more("aircraft", 9.0, 2.0), more("packs", 8.5, 2.0)]
    assert judge(WAITS, ACTIVE, changes).resources == ("packs",)
    assert judge({"spray": 1.0}, ACTIVE, changes).resources == ("aircraft", "packs")


def test_the_road_and_the_weather_are_said_first_where_they_take_much():
    shares = {"wait: too few packs": 0.02, "move: drive": 0.46, "spray": 0.52}
    hold = judge(shares, {"aircraft": 0.4, "packs": 0.3}, [more("packs", 4.0, 1.0)])
    assert hold.resource == "packs"
    assert hold.sentence.startswith(
        "Moving between fields takes 46 % of the aircraft's time. Of what was tried, one more of packs adds 4.0 acres"
    )
    hold = judge(shares | {"wait: weather": 0.3}, {"aircraft": 0.4}, [more("packs", 1.0, 2.0)])
    assert hold.resource == "moves"
    assert hold.sentence == (
        "Moving between fields takes 46 % and weather takes 30 % of the aircraft's time. "
        "Nothing tried gets more done beyond doubt."
    )
    hold = judge({"wait: no mix": 0.1}, {"aircraft": 1.0}, [])
    assert hold.sentence == (
        "No additions were tried. The aircraft spend 10 % of their time waiting for mix or the fill pump."
    )
