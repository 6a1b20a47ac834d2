"""Hypothesis strategy: the random scenarios of the operation tests with more of what a scenario can say.

Places on a map and the order of visits, fields open only for some hours, rates of their own, boundaries with holes and
headlands, hourly weather, moving landing zones, wind, cooling worked out, worn packs, turns worked out, charger limits.
"""

import json
import math
import tempfile
from functools import cache
from pathlib import Path

from hypothesis import strategies as st
from scenarios_strategy import scenarios


@cache
def _folder():
    """Return a folder with the files that the scenarios name; it is kept for the life of the process."""
    kept = tempfile.TemporaryDirectory(prefix="acreday_soak_")
    folder = Path(kept.name)
    _folder.kept = kept
    (folder / "fields.geojson").write_text(json.dumps(_boundaries()))
    (folder / "shapes.geojson").write_text(json.dumps(_collection([[_ring(150, 150, 60)], [_ring(1400, 100, 90)]])))
    hours = []
    for day in range(1, 13):
        for hour in range(24):
            wind = 3.0 + 2.5 * math.sin(0.7 * hour + day)
            hours.append(
                f"2024-06-{day:02d} {hour:02d}:00,{wind:.2f},{20 + day % 9},55,{0.5 if (hour + day) % 17 == 0 else 0}"
            )
    (folder / "hours.csv").write_text("time,wind,temperature,humidity,rain\n" + "\n".join(hours) + "\n")
    return folder


def _ring(x_m, y_m, radius_m, corners=7):
    turns = [2 * math.pi * place / corners for place in range(corners + 1)]
    return [
        [round((x_m + radius_m * math.cos(one)) / 111_320, 8), round((y_m + radius_m * math.sin(one)) / 111_320, 8)]
        for one in turns[:-1] + turns[:1]
    ]


def _collection(polygons):
    features = [
        {"type": "Feature", "properties": {}, "geometry": {"type": "Polygon", "coordinates": rings}}
        for rings in polygons
    ]
    return {"type": "FeatureCollection", "features": features}


def _boundaries():
    """Return a round field, one with a hole, a narrow one and one far away."""
    narrow = [[0.02, 0.0], [0.02, 0.009], [0.0202, 0.009], [0.0203, 0.0], [0.02, 0.0]]
    return _collection(
        [
            [_ring(150, 150, 140, 24)],
            [_ring(1400, 0, 300, 9), _ring(1400, 0, 100, 5)],
            [narrow],
            [_ring(9000, 4000, 220)],
        ]
    )


_CLOCK = st.sampled_from(["06:30", "07:30", "08:00", "09:10", "11:00", "15:00"])


@st.composite
def _field_changes(draw, table, liquid):
    if draw(st.booleans()):
        table["location"] = [draw(st.sampled_from(["0 m", "700 m", "-4 km"])), draw(st.sampled_from(["0 m", "3 km"]))]
    if draw(st.integers(0, 3)) == 0:
        table["open_from"] = draw(_CLOCK)
    if draw(st.integers(0, 3)) == 0:
        table["open_until"] = draw(_CLOCK)
    if table.get("open_from", "00:00") >= table.get("open_until", "24:00"):
        del table["open_until"]
    if draw(st.integers(0, 3)) == 0:
        table["rate" if liquid else "dry_rate"] = draw(
            st.sampled_from(["12 L/ha", "60 L/ha"] if liquid else ["9 kg/ha", "80 kg/ha"])
        )
    if draw(st.integers(0, 3)) == 0:
        table["count"] = draw(st.integers(2, 4))


@st.composite
def _equipment_changes(draw, made):
    for aircraft in made["aircraft"].values():
        if draw(st.integers(0, 3)) == 0:
            aircraft["turn_limits"] = {"acceleration": draw(st.sampled_from(["1 m/s^2", "4 m/s^2"]))}
        if draw(st.integers(0, 3)) == 0:
            aircraft["take_off_mass_max"] = "95 kg" if aircraft["rotors"] == 8 else "48 kg"
        if draw(st.integers(0, 3)) == 0:
            del aircraft["hover"]
            aircraft["figure_of_merit"] = draw(st.sampled_from(["55 %", "70 %"]))
        if draw(st.integers(0, 3)) == 0:
            aircraft["spread_swath"], aircraft["spread_speed"] = "7 m", "5 m/s"
            aircraft["spread_flow_max"] = "40 kg/min"
    for pack in made["pack"].values():
        if draw(st.integers(0, 3)) == 0:
            pack["cooling"] = {
                "after_flight": "45 degC",
                "limit": "38 degC",
                "time_constant": draw(st.sampled_from(["2 min", "30 min"])),
            }
        if draw(st.integers(0, 3)) == 0:
            pack["cycles"] = draw(st.sampled_from(["50", "400"]))
        if draw(st.integers(0, 3)) == 0:
            pack["charge_efficiency"] = "94 %"
    if draw(st.integers(0, 2)) == 0:
        made["charger"]["wide"]["input_power_max"] = draw(st.sampled_from(["1.5 kW", "5 kW"]))
    if draw(st.integers(0, 2)) == 0:
        for generator in made["generator"].values():
            generator["derate"] = draw(st.sampled_from(["none", "turbocharged", "iso3046_naturally_aspirated"]))
            generator["fuel_use"] = [{"load": "0.5 kW", "use": "0.6 L/h"}, {"load": "6 kW", "use": "3 L/h"}]


@st.composite
def wider_scenarios(draw):
    """Return a scenario as a table; some few are refused."""
    made = draw(scenarios())
    liquid = "rate" in made["product"]
    for table in made["field"]:
        draw(_field_changes(table, liquid))
    draw(_equipment_changes(made))
    route = made["route"] = {"order": draw(st.sampled_from(["as given", "nearest", "best"]))}
    if draw(st.booleans()):
        route["roads"] = draw(st.sampled_from(["straight", "typical", "grid"]))
    if draw(st.integers(0, 2)) == 0:
        folder = _folder()
        file = made["field_file"] = {"path": str(folder / "fields.geojson"), "smallest": "0.1 ha"}
        made["field"] = []
        file["buffer"] = draw(st.sampled_from(["0 m", "3 m", "12 m"]))
        file["headland_passes"] = draw(st.integers(0, 2))
        file["landing_zone"] = draw(st.sampled_from(["best", "nearest corner"]))
        file["most"] = draw(st.integers(1, 4))
        if draw(st.booleans()):
            file["heading"] = draw(st.sampled_from(["0", "37", "180"]))
        if draw(st.integers(0, 2)) == 0:
            file[draw(st.sampled_from(["obstacles", "patches"]))] = str(folder / "shapes.geojson")
        if draw(st.booleans()):
            made["yard"]["lon_lat"] = [0.01, 0.02]
    if draw(st.integers(0, 2)) == 0:
        made["flying"]["visual_range"] = draw(st.sampled_from(["120 m", "300 m", "900 m"]))
    weather = made["weather"]
    if draw(st.integers(0, 2)) == 0:
        weather["wind_speed"] = draw(st.sampled_from(["1 m/s", "3 m/s"]))
    if "stoppages" not in weather and draw(st.booleans()):
        names = {name: name for name in ("time", "wind", "temperature", "humidity", "rain")}
        weather["file"] = {
            "path": str(_folder() / "hours.csv"),
            "columns": names,
            "temperature_most": draw(st.sampled_from(["26 degC", "35 degC"])),
        }
    if draw(st.integers(0, 2)) == 0:
        weather["air_temperature"] = draw(st.sampled_from(["2 degC", "12 degC", "34 degC"]))
        weather["altitude"] = draw(st.sampled_from(["0 m", "1800 m"]))
    return made
