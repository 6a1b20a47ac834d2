"""Options of fields, roads and weather, through the whole model: what they change, with conservation verified."""

import json
import math
import tomllib
from pathlib import Path

import pytest
from conservation import violations

from simulator.errors import InputError
from simulator.operation.day import simulate
from simulator.operation.log import Kind, Reason, State
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.starter import starter_text
from simulator.scenario.streams import StreamBank

ROOT = Path(__file__).resolve().parents[2]
WILLOW = ROOT / "scenarios/fields_willow_basin.geojson"


def starter(**changes):
    return tomllib.loads(starter_text("test")) | changes


def simulated(*settings, folder=None, raw=None):
    plan = make_plan(load_scenario(raw or starter(), settings, folder=folder, allow_files_outside=True).sets[0])
    day = simulate(plan, StreamBank(4).day(0))
    assert violations(plan, day) == []
    return plan, day


def with_file(**keys):
    return starter(field=[], field_file={"path": str(WILLOW), **keys})


def treated_m2(plan):
    return sum(field.area_m2 for field in plan.fields)


def test_visual_range_shifts_the_landing_zone():
    plan, day = simulated("flying.visual_range=350 m")
    assert max(len(field.stations) for field in plan.fields) > 1
    assert any(row.reason is Reason.RELOCATE for row in day.log.rows if day.log.kinds[row.entity] is Kind.RIG)
    _, free = simulated()
    out = [sum(s.ferry_out_s for s in one.log.sorties) / len(one.log.sorties) for one in (day, free)]
    assert out[0] < out[1]


def test_a_field_is_flown_only_while_it_is_open():
    plan, day = simulated("field.0.open_from=10:00", "field.1.open_until=09:30", "route.order=nearest")
    start = plan.scenario.day.start
    for sortie in day.log.sorties:
        if sortie.field == "home quarter":
            assert sortie.start_s >= 10 * 3600 - start - 1e-6
        else:
            assert sortie.end_s <= 9.5 * 3600 - start + 1e-6
    assert {sortie.field for sortie in day.log.sorties} >= {"home quarter"}


def test_standing_by_for_a_field_is_logged():
    _, day = simulated("field.0.open_from=09:30", "field.1.open_from=09:30")
    waits = [row for row in day.log.rows if row.reason is Reason.WINDOW and day.log.kinds[row.entity] is Kind.AIRCRAFT]
    assert waits
    assert all(row.state is State.WAIT for row in waits)


def test_buffer_headland_and_landing_zone():
    made = ({}, {"buffer": "15 m"}, {"headland_passes": 1}, {"landing_zone": "nearest corner"})
    plain, buffered, headland, corner = (simulated(raw=with_file(**keys))[0] for keys in made)
    assert treated_m2(buffered) < 0.97 * treated_m2(plain)
    assert treated_m2(headland) == pytest.approx(treated_m2(plain), rel=0.01)
    assert any(a.stations[0] != b.stations[0] for a, b in zip(plain.fields, corner.fields, strict=True))


def square(longitude, latitude, half_deg):
    x, y, h = longitude, latitude, half_deg
    ring = [[x - h, y - h], [x + h, y - h], [x + h, y + h], [x - h, y + h], [x - h, y - h]]
    return {"type": "Feature", "properties": {"name": "square"}, "geometry": {"type": "Polygon", "coordinates": [ring]}}


def test_obstacles_and_patches_on_another_file_s_grid(tmp_path):
    """A square field of half side 0.004 degrees; an obstacle and a patch given in files of their own."""
    field = {"type": "FeatureCollection", "features": [square(-100.0, 40.0, 0.004)]}
    part = {"type": "FeatureCollection", "features": [square(-100.001, 40.001, 0.001)]}
    (tmp_path / "field.geojson").write_text(json.dumps(field), encoding="utf-8")
    (tmp_path / "part.geojson").write_text(json.dumps(part), encoding="utf-8")
    areas = {}
    for name, keys in (
        ("whole", {}),
        ("obstacle", {"obstacles": "part.geojson", "obstacle_clearance": "0 m"}),
        ("patch", {"patches": "part.geojson"}),
    ):
        plan, _ = simulated(folder=tmp_path, raw=starter(field=[], field_file={"path": "field.geojson", **keys}))
        areas[name] = treated_m2(plan)
    # the part is a quarter of the field's side, so a sixteenth of its area
    assert areas["patch"] / areas["whole"] == pytest.approx(1 / 16, rel=2e-3)
    assert areas["obstacle"] + areas["patch"] == pytest.approx(areas["whole"], rel=2e-3)


def test_distance_table_and_roads(tmp_path):
    table = "from,yard,home quarter,river strip 1,river strip 2\nyard,0,10,11,12\nhome quarter,10,0,3,4\n"
    table += "river strip 1,11,3,0,5\nriver strip 2,12,4,6,0\n"
    (tmp_path / "km.csv").write_text(table, encoding="utf-8")
    plan, _ = simulated("route.distance_table=km.csv", folder=tmp_path)
    assert plan.geography.distance_m(None, 1) == pytest.approx(11_000)
    assert plan.geography.distance_m(2, 1) == pytest.approx(6_000)
    assert plan.geography.distance_m(1, 2) == pytest.approx(5_000)
    (tmp_path / "km.csv").write_text("from,yard,home quarter,river strip 1\n", encoding="utf-8")
    with pytest.raises(InputError, match="no column for 'river strip 2'"):
        simulated("route.distance_table=km.csv", folder=tmp_path)
    straight, grid = (simulated(f"route.roads={roads}", raw=with_file())[0] for roads in ("straight", "grid"))
    # section-line roads: 4/pi times the straight distance on average over all directions (elementary)
    ratio = grid.geography.distance_m(0, 1) / straight.geography.distance_m(0, 1)
    assert ratio == pytest.approx(4 / math.pi, rel=1e-9)


def weather_csv(path, wind):
    lines = ["when,wind,temp,rh"]
    lines += [f"2024-06-{day:02d} {hour:02d}:00,{wind[hour]},22,60" for day in (1, 2) for hour in range(24)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_hours_of_a_weather_file_stop_take_offs(tmp_path):
    """Wind within 3-10 mph (1.3-4.5 m/s) from 9 to 12 only: take-offs lie between."""
    weather_csv(tmp_path / "w.csv", [3.0 if 9 <= hour < 12 else 8.0 for hour in range(24)])
    columns = {"time": "when", "wind": "wind", "temperature": "temp", "humidity": "rh"}
    weather = {"air_temperature": "22 degC", "file": {"path": "w.csv", "columns": columns}}
    plan, day = simulated(folder=tmp_path, raw=starter(weather=weather))
    start = plan.scenario.day.start
    takeoffs = [sortie.start_s + start for sortie in day.log.sorties]
    assert takeoffs
    assert min(takeoffs) >= 9 * 3600 - 1e-6
    assert max(takeoffs) <= 12 * 3600 + 1e-6


def test_real_typical_year_gives_workable_days():
    """A real TMY3 file, as carried by the package pvlib."""
    pvlib = pytest.importorskip("pvlib", reason="pvlib, which carries a real TMY3 file, is not installed")
    found = sorted((Path(pvlib.__file__).parent / "data").glob("*TY*.csv")) + sorted(
        (Path(pvlib.__file__).parent / "data").glob("*tmy3*.csv")
    )
    if not found:
        pytest.skip("this pvlib carries no TMY3 file")
    weather = {"air_temperature": "15 degC", "file": {"path": str(found[0]), "months": [4, 5, 6]}}
    days = load_scenario(starter(weather=weather), allow_files_outside=True).sets[0].weather_days
    assert days is not None
    assert len(days) == 91
    assert 0 < sum(end - start for day in days for start, end in day) / 3600 / 91 < 24


def test_limits_of_a_pack():
    with pytest.raises(InputError, match="takes 5 kW at most"):
        simulated("pack.large_pack.charge_power_max=5 kW")
    simulated("pack.large_pack.charge_power_max=5 kW", "charger.fast.adapts=true")
    simulated("pack.large_pack.charge_power_max=5 kW", "charger.fast.setting=0.6")

    new, worn = (simulated(f"pack.large_pack.cycles={cycles}")[0] for cycles in (0, 200))
    assert worn.rigs[0].packs[0][0].capacity_wh < new.rigs[0].packs[0][0].capacity_wh


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        (("weather.wind_speed=-3 mph",), "at least 0"),
        (("pack.large_pack.cycles=5000",), "pack.large_pack.cycles: got 5000; so many of a depth of 80% leave nothing"),
        (("field.0.open_from=12:00", "field.0.open_until=11:00"), "open_until is not after open_from"),
        (("route.roads=motorway",), "'straight', 'typical' or 'grid'"),
    ],
)
def test_refusals(settings, says):
    with pytest.raises(InputError, match=says):
        simulated(*settings)
