"""What a crew learns by rehearsal does what its name says, and whole passes are flown in step."""

import dataclasses

import pytest
from small_day import SHORT_POWER, day_of, days_of, plan_of, rows, table

from simulator.experiment.rehearsal import rehearsed
from simulator.operation.log import Reason, Sortie
from simulator.plan.day_plan import with_zones_for

FROM, TO = Sortie._fields.index("area_from_m2"), Sortie._fields.index("area_to_m2")
WIDE = [{"name": "one", "area": "40 ha", "length_to_width": "0.5", "drive_distance": "0 m"}]


def with_habits(plan, **habits):
    rigs = tuple(dataclasses.replace(rig, habits=dataclasses.replace(rig.habits, **habits)) for rig in plan.rigs)
    return dataclasses.replace(plan, rigs=rigs)


@pytest.mark.parametrize(("habit", "most"), [({}, 4), ({"loads_on_charge": 2}, 2), ({"loads_on_charge": 1}, 1)])
def test_packs_are_swapped_after_so_many_loads(habit, most):
    plan = with_habits(plan_of(table(aircraft__big__tank="12 L")), **habit)
    (day,) = days_of(plan)
    assert max(one.number_on_charge for one in day.log.sorties) == most


def test_batches_are_no_larger_than_the_crew_makes_them():
    made = table(rig__main__supply={"mix_tank": "400 L", "nurse_water": "2000 L"})
    for share, largest in ((1.0, 400.0), (0.25, 100.0)):
        (day,) = days_of(with_habits(plan_of(made), batch_share=share))
        sizes = [one.amount for one in rows(day, Reason.MIX, "main/supply")]
        assert len(sizes) > 1
        assert max(sizes) <= largest + 1e-9
        assert max(sizes) > 0.5 * largest


def test_landing_zones_for_lighter_loads_follow_the_work_more():
    plan = plan_of(table(field=WIDE, product__rate="15 L/ha"))
    lighter = with_zones_for(plan, 0.3)
    assert len(plan.fields[0].stations) < len(lighter.fields[0].stations)
    assert lighter.work == plan.work
    assert lighter.zones_for == 0.3
    # a plan that has been told of it is the same elsewhere
    assert rehearsed(dataclasses.replace(lighter, learnt=True)).fields == lighter.fields


def test_a_rehearsal_never_does_worse_than_what_was_estimated():
    """On the days of the rehearsal itself, which are the same for every way of working."""
    from simulator.experiment.rehearsal import _Way

    plan = plan_of(SHORT_POWER)
    assert _Way(rehearsed(plan)).done(6) >= 0.999 * _Way(plan).done(6)


def test_loads_of_whole_passes_begin_and_end_near_the_landing_zone():
    """Of loads of four passes none begins at the far end of its passes, once one of three has brought them in step."""
    made = table(field=WIDE, product__rate="20 L/ha", flying={"stop_at": "pass end", "landing_zone": "follows"})
    plan = plan_of(made)
    day = day_of(plan)
    path = plan.profiles["big", 0].path
    border_m2 = plan.fields[0].stations[1].area_from_m2
    second = [one for one in day.log.sorties if one.area_from_m2 >= border_m2 - 1.0 and one.visit == 1]
    ends = [[path.place(one[place], ending=place == TO)[0] for place in (FROM, TO)] for one in second]
    passes = [last - first + 1 for first, last in ends]
    first_even = next(place for place, number in enumerate(passes) if number == 4)
    assert passes[first_even - 1] == 3
    assert first_even < 5
    for one, number in zip(second[first_even:-2], passes[first_even:-2], strict=True):
        assert number == 4
        index, part = path.place(one.area_from_m2, ending=False)
        assert path.point(index, part)[1] == 0.0  # the landing zone's end


def test_no_flight_is_made_for_what_rounding_leaves_at_a_border():
    """Borders of stretches and ends of passes differ in the last digits; a flight of nothing was flown for it."""
    made = table(field=WIDE, product__rate="26 L/ha", flying={"stop_at": "pass end", "landing_zone": "follows"})
    day = day_of(made)
    assert len(plan_of(made).fields[0].stations) > 1
    assert min(one.area_to_m2 - one.area_from_m2 for one in day.log.sorties) > 100.0
