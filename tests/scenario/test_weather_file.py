"""Reading weather files: named columns, units, the typical meteorological year, and everything that can be wrong."""

import importlib.util
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from simulator.errors import InputError
from simulator.physics.workable import solar_elevation_deg, windows_s
from simulator.scenario.schema_weather import WeatherFile
from simulator.scenario.weather_days import workable_hours
from simulator.scenario.weather_file import read_weather

COLUMNS = {"time": "when", "wind": "wind speed", "temperature": "air", "humidity": "RH", "rain": "rain"}


def lines(hours=24):
    start = datetime(2024, 6, 1)
    return ["when,wind speed,air,RH,rain"] + [
        f"{start + timedelta(hours=h):%Y-%m-%d %H:%M},{2 + h % 48 / 10},{h % 48},50,0" for h in range(hours)
    ]


def write(folder, text):
    path = folder / "weather.csv"
    path.write_text(text if isinstance(text, str) else "\n".join(text) + "\n", encoding="utf-8")
    return path


def problems_of(call):
    with pytest.raises(InputError) as caught:
        call()
    return [str(problem) for problem in caught.value.problems]


def test_named_columns(tmp_path):
    weather = read_weather(write(tmp_path, lines(48)), COLUMNS)
    assert len(weather) == 48
    assert weather.wind_m_per_s[:3] == pytest.approx([2.0, 2.1, 2.2])
    assert weather.temperature_c[5] == 5.0
    assert weather.clock_s()[25] == 3600.0
    assert weather.day_of_year()[[0, 47]].tolist() == [153.0, 154.0]  # 1 and 2 June of a leap year
    assert weather.whole_days() == [date(2024, 6, 1), date(2024, 6, 2)]
    assert weather.on(date(2024, 6, 2)).temperature_c[0] == 24.0
    assert weather.notes == ()
    assert problems_of(lambda: weather.on(date(2024, 7, 1))) == [
        "weather: got the date 2024-07-01; allowed is from 2024-06-01 to 2024-06-02"
    ]


def test_units(tmp_path):
    """Exact definitions: 10 mph = 4.4704 m/s, 86 degF = 30 degC, 1 in = 25.4 mm (NIST SP 811, from memory)."""
    rows = ["t,w,a,h,r"] + [f"2024-06-01T{h:02d}:00,10,86,0.5,1" for h in range(24)]
    columns = {"time": "t", "wind": "w", "temperature": "a", "humidity": "h", "rain": "r"}
    units = {"wind": "mph", "temperature": "degF", "humidity": "share", "rain": "in"}
    weather = read_weather(write(tmp_path, rows), columns, units)
    got = [weather.wind_m_per_s[3], weather.temperature_c[3], weather.humidity_percent[3], weather.rain_mm[3]]
    assert got == pytest.approx([4.4704, 30.0, 50.0, 25.4])
    knots = read_weather(write(tmp_path, rows), columns, {**units, "wind": "kt"})
    assert knots.wind_m_per_s[0] == pytest.approx(5.14444, abs=1e-5)


def test_no_rain_column_is_said(tmp_path):
    columns = {key: name for key, name in COLUMNS.items() if key != "rain"}
    weather = read_weather(write(tmp_path, lines()), columns)
    assert weather.rain_mm.tolist() == [0.0] * 24
    assert "no rain" in weather.notes[0]


def test_byte_order_mark_and_blank_lines(tmp_path):
    text = "\ufeff" + "\n\n".join(lines())
    assert len(read_weather(write(tmp_path, text), COLUMNS)) == 24


def test_missing_columns_name_the_nearest(tmp_path):
    columns = {**COLUMNS, "wind": "windspeed", "humidity": "rh", "rain": "Zz9"}
    found = problems_of(lambda: read_weather(write(tmp_path, lines()), columns))
    assert found == [
        "weather.csv: line 1: no column 'windspeed' for wind; nearest known is 'wind speed'",
        "weather.csv: line 1: no column 'rh' for humidity; nearest known is 'RH'",
        "weather.csv: line 1: no column 'Zz9' for rain; there are 5 others",
    ]


def test_wrong_names_and_units_are_found_before_reading(tmp_path):
    columns = {"time": "when", "wnd": "wind speed", "temperature": "air"}
    found = problems_of(lambda: read_weather(tmp_path / "absent.csv", columns, {"temperature": "F", "time": "s"}))
    assert len(found) == 5
    assert "nearest known is 'wind'" in found[0]
    assert any("'humidity'" in problem for problem in found)
    assert any("degF" in problem for problem in found)


def test_bad_numbers_name_their_lines(tmp_path):
    rows = lines()
    rows[3] = "2024-06-01 02:00,calm,20,50,0"
    rows[5] = "2024-06-01 04:00,2,20,nan,0"
    rows[7] = "2024-06-01 06:00,2,20,170,-1"
    rows[9] = "2024-06-01 08:00,2"
    rows[10] = "2024-06-01 09:00,inf,20,50,0"
    found = problems_of(lambda: read_weather(write(tmp_path, rows), COLUMNS))
    assert sum("line 4: got wind = text;" in problem for problem in found) == 1
    assert sum("line 6:" in problem and "humidity" in problem for problem in found) == 1
    assert sum("line 8:" in problem for problem in found) == 2
    assert sum("line 10:" in problem for problem in found) == 3
    assert "line 11: got wind = text; allowed is a number" in "".join(found)
    assert len(found) == 8


def test_wrong_unit_shows(tmp_path):
    rows = [row.replace(",50,0", ",0.5,0").replace(",20,", ",200,") for row in lines()]
    found = problems_of(lambda: read_weather(write(tmp_path, rows), COLUMNS, {"temperature": "degF", "wind": "mph"}))
    assert any("degC" in problem and "allowed is from -90 to 60" in problem for problem in found)


@pytest.mark.parametrize(
    ("time", "said"),
    [
        ("2024-06-01 02:00", "the same as"), ("2024-06-01 01:00", "earlier than"),
        ("2024-06-01 07:00", "5 hours after"), ("2024-06-01 02:30", "0.5 hours after"),
        ("2024-06-01 03:00+02:00", "without an offset"), ("yesterday", "allowed is a date and time"),
        ("", "allowed is a date and time"),
    ],
)  # fmt: skip
def test_times_that_do_not_follow(tmp_path, time, said):
    rows = lines()
    rows[4] = f"{time},2,20,50,0"
    found = problems_of(lambda: read_weather(write(tmp_path, rows), COLUMNS))
    assert any("line 5:" in problem and said in problem for problem in found)


def test_many_problems_are_cut_off(tmp_path):
    rows = [row.replace(",50,", ",x,") for row in lines(200)]
    found = problems_of(lambda: read_weather(write(tmp_path, rows), COLUMNS))
    assert len(found) == 21
    assert "180 more" in found[-1]


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00w\x00", b"\x00\x01\x02", b"{}", b"when\n", b'"unclosed'])
def test_what_is_no_weather_file(tmp_path, content):
    path = tmp_path / "weather.csv"
    path.write_bytes(content)
    assert problems_of(lambda: read_weather(path, COLUMNS))
    assert problems_of(lambda: read_weather(path))


def test_absent_and_short_files(tmp_path):
    assert "cannot be read" in problems_of(lambda: read_weather(tmp_path / "no.csv", COLUMNS))[0]
    assert "cannot be read" in problems_of(lambda: read_weather(tmp_path))[0]
    found = problems_of(lambda: read_weather(write(tmp_path, lines(5)), COLUMNS))
    assert found == ["weather.csv: got 5 hours; allowed is at least 24"]
    repeated = ["when,when,wind speed,air,RH,rain", *("2024-06-01 00:00," + row for row in lines()[1:])]
    assert "more than once" in problems_of(lambda: read_weather(write(tmp_path, repeated), COLUMNS))[0]


def tmy3_lines(hours=48):
    head = ['700001,"SOMEWHERE",KS,-6.0,38.5,-98.2,500']
    head.append(
        "Date (MM/DD/YYYY),Time (HH:MM),Dry-bulb (C),RHum (%),Wspd (m/s),Lprecip depth (mm),Lprecip quantity (hr)"
    )
    body = []
    for h in range(hours):
        day = date(2001, 1, 31) + timedelta(days=h // 24)
        year = 1997 if day.month == 1 else 1983
        depth = "2,1" if h == 3 else ("-9900,-9900" if h == 4 else ("6,6" if h == 5 else "0,1"))
        body.append(f"{day:%m/%d}/{year},{h % 24 + 1:02d}:00,{h},60,3.1,{depth}")
    return head + body


def test_typical_year_format(tmp_path):
    weather = read_weather(write(tmp_path, tmy3_lines()))
    assert (weather.latitude_deg, weather.longitude_deg, weather.utc_offset_h) == (38.5, -98.2, -6.0)
    assert weather.start[0] == np.datetime64("2001-01-31T00:00:00")  # a row bears the end of its hour
    assert weather.start[24] == np.datetime64("2001-02-01T00:00:00")  # months of different years go on
    assert weather.rain_mm[:7].tolist() == [0, 0, 0, 2, 0, 0, 0]
    assert weather.notes == ("no hourly rain on record in 2 of 48 hours: none assumed there",)
    assert weather.typical_year
    assert weather.on(date(2026, 2, 1)).temperature_c[0] == 24.0
    assert "allowed is from" in problems_of(lambda: weather.on(date(2028, 2, 29)))[0]


def test_typical_year_problems(tmp_path):
    rows = tmy3_lines()
    rows[0] = '700001,"SOMEWHERE",KS,-6.0,138.5,-98.2,500'
    rows[1] = rows[1].replace("RHum (%)", "RHum (pct)")
    found = problems_of(lambda: read_weather(write(tmp_path, rows)))
    assert len(found) == 2
    assert "latitude" in found[0]
    assert "nearest known is 'RHum (pct)'" in found[1]
    rows = tmy3_lines()
    rows[4] = rows[4].replace("03:00", "25:00")
    rows[6] = rows[6].replace(",60,3.1,", ",60,-9900,")
    found = problems_of(lambda: read_weather(write(tmp_path, rows)))
    assert any("line 5:" in problem and "25:00" in problem for problem in found)
    assert any("line 7:" in problem and "wind" in problem for problem in found)


@pytest.mark.parametrize(("name", "mean_c"), [("703165TY.csv", 4.4207), ("723170TYA.CSV", 14.4218)])
def test_real_typical_year(name, mean_c):
    """Two TMY3 files that the PyPI package pvlib carries; means by csv and sum alone."""
    found = importlib.util.find_spec("pvlib")
    if found is None or found.origin is None:
        pytest.skip("pvlib, which carries real TMY3 files, is not installed")
    path = Path(found.origin).parent / "data" / name
    if not path.exists():
        pytest.skip(f"this version of pvlib carries no {name}")
    weather = read_weather(path, least_hours=8760)
    assert len(weather) == 8760
    assert len(weather.whole_days()) == 365
    assert weather.temperature_c.mean() == pytest.approx(mean_c, abs=1e-4)
    # Global sunshine is on the record: the sun must be up by the formula when the file says so, and down when not.
    sun = solar_elevation_deg(
        weather.day_of_year(),
        weather.clock_s() + 1800,
        weather.latitude_deg,
        weather.longitude_deg,
        weather.utc_offset_h,
    )
    header = path.read_text(encoding="utf-8").splitlines()
    place = [cell.strip() for cell in header[1].split(",")].index("ETR (W/m^2)")
    shining = np.array([float(row.split(",")[place]) > 0 for row in header[2:]])
    assert np.all(sun[shining] > -9.0)  # an hour with a few minutes of sun has its middle below the horizon
    assert np.all(sun[~shining] < 1.0)
    hours = workable_hours(
        weather.wind_m_per_s,
        weather.temperature_c,
        weather.humidity_percent,
        weather.rain_mm,
        sun > 0,
        WeatherFile(path="a file"),
    )
    assert 200 < hours.sum() < 4000
    assert sum(end - begin for begin, end in windows_s(hours)) == hours.sum() * 3600
