"""Units: exact factors, what people type, and clear refusals."""

import pytest

from simulator.scenario import units
from simulator.scenario.units import UnitError, clock_seconds, clock_text, parse

MI = units.M_PER_MILE
GPA = units.LITRE_PER_GALLON / units.M2_PER_ACRE


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        # NIST SP 811 appendix B (from memory): gallon 3.785411784 L, pound 0.45359237 kg, mile 1609.344 m
        ("1 gal", units.VOLUME, 3.785411784),
        ("1 lb", units.MASS, 0.45359237),
        ("1 mi", units.LENGTH, 1609.344),
        ("1 acre", units.AREA, 4046.8564224),
        # derived there: 1 gal/acre = 9.353956 L/ha, 1 lb/acre = 1.120851 kg/ha
        ("1 gal/acre", units.LIQUID_RATE, 9.353956e-4),
        ("1 lb/acre", units.DRY_RATE, 1.120851e-4),
        ("15 mph", units.SPEED, 6.7056),
        ("15 gpm", units.LIQUID_FLOW, 0.946352946),
        ("28 degC", units.TEMPERATURE, 28.0),
        ("82.4 degF", units.TEMPERATURE, 28.0),
        ("28 °C", units.TEMPERATURE, 28.0),
        ("1.5 kWh", units.ENERGY, 1500.0),
        ("20 %", units.SHARE, 0.2),
        ("0.2", units.SHARE, 0.2),
        ("90 min", units.TIME, 5400.0),
        ("1_000 m", units.LENGTH, 1000.0),
        ("2 m/s^2", units.ACCELERATION, 2.0),
        # as people type: any case of letters, fractions, commas, smart quotes
        ("85 F", units.TEMPERATURE, 29.4444),
        ("85 °F", units.TEMPERATURE, 29.4444),
        ("85 degrees F", units.TEMPERATURE, 29.4444),
        ("29 C", units.TEMPERATURE, 29.0),
        ("\u22125 Celsius", units.TEMPERATURE, -5.0),
        ("2 GPA", units.LIQUID_RATE, 2 * GPA),
        ("2 Gal/Acre", units.LIQUID_RATE, 2 * GPA),
        ("2 gal per acre", units.LIQUID_RATE, 2 * GPA),
        ("10 gpm", units.LIQUID_FLOW, 10 * units.LITRE_PER_GALLON / 60),
        ("10 GPM", units.LIQUID_FLOW, 10 * units.LITRE_PER_GALLON / 60),
        ("75 percent", units.SHARE, 0.75),
        ("75 pct", units.SHARE, 0.75),
        ("3/4", units.SHARE, 0.75),
        ("3/4 mi", units.LENGTH, 0.75 * MI),
        ("1 1/2 mi", units.LENGTH, 1.5 * MI),
        ("1½ mi", units.LENGTH, 1.5 * MI),
        ("½ mi", units.LENGTH, 0.5 * MI),
        ("-1 1/2 degC", units.TEMPERATURE, -1.5),
        ("1,200 acres", units.AREA, 1200 * units.M2_PER_ACRE),
        ("1,234,567.5 acres", units.AREA, 1234567.5 * units.M2_PER_ACRE),
        ("“40 acre”", units.AREA, 40 * units.M2_PER_ACRE),
        ("40\u00a0acre", units.AREA, 40 * units.M2_PER_ACRE),
        ("15 MPH", units.SPEED, 15 * MI / 3600),
        ("9 KW", units.POWER, 9000.0),
        ("9 mW", units.POWER, 0.009),
        ("30 lbs/ac", units.DRY_RATE, 30 * units.KG_PER_POUND / units.M2_PER_ACRE),
        ("30 Feet", units.LENGTH, 9.144),
        ("2 m/s²", units.ACCELERATION, 2.0),
    ],
)
def test_quantities(text, dimension, expected):
    assert parse(text, dimension) == pytest.approx(expected, rel=1e-5)


def test_hectare_and_acre():
    # 1 ha = 2.4710538 acres (NIST SP 811, derived)
    assert parse("1 ha", units.AREA) / parse("1 acre", units.AREA) == pytest.approx(2.4710538, rel=1e-7)


@pytest.mark.parametrize(
    ("text", "dimension", "says"),
    [
        ("3", units.AREA, "without a unit"),
        ("3 kg", units.AREA, "is not an area"),
        ("3 furlongz", units.AREA, "unknown unit"),
        ("many", units.TIME, "allowed is a time"),
        ("nan s", units.TIME, "allowed is a time"),
        ("1e999 s", units.TIME, "not finite"),
        ("3 m**999999", units.LENGTH, "cannot be read"),
        ("3 __import__('os')", units.LENGTH, "cannot be read"),
        ("20 apples", units.SHARE, "allowed is a share"),
        ("", units.SHARE, "allowed is a share"),
        # what cannot be read names a unit of the right kind
        ("85 m", units.TEMPERATURE, "'85 degF'"),
        ("10 gpm", units.LIQUID_RATE, "'2 gal/acre'"),
        ("1,5 ha", units.AREA, "'40 acre'"),
        ("1,20,000 acre", units.AREA, "'40 acre'"),
        ("1/0 mi", units.LENGTH, "'30 ft'"),
        ("5 1 m", units.LENGTH, "'30 ft'"),
        ("a lot", units.SHARE, "'20 %'"),
    ],
)
def test_refusals_say_what_is_allowed(text, dimension, says):
    with pytest.raises(UnitError, match=says):
        parse(text, dimension)


def test_clock():
    assert clock_seconds("07:30") == 27_000.0
    assert clock_text(27_000.0) == "07:30"
    assert clock_seconds("24:00") == 86_400.0
    for wrong in ("7", "25:00", "24:01", "12:60", "noon"):
        with pytest.raises(UnitError, match="time of day"):
            clock_seconds(wrong)
