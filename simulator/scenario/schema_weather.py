"""Scenario tables of the air and the weather."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from simulator.scenario import units
from simulator.scenario.distributions import Distribution
from simulator.scenario.schema_equipment import Time
from simulator.scenario.types import Drawn, Quantity, Table, fail, may, maybe, must

Temperature = Annotated[float, Quantity(units.TEMPERATURE, least=-40.0, most=55.0)]
Wind = Annotated[float, Quantity(units.SPEED, least=0.0, most=40.0)]
Difference = Annotated[float, Field(ge=0.0, le=40.0)]
Month = Annotated[int, Field(ge=1, le=12)]


class Stoppages(Table):
    """Weather that stops take-offs at random."""

    time_between: Annotated[Distribution, Drawn(units.TIME, above=0.0)] = must(
        "Time from the end of one stoppage to the next."
    )
    length: Time = must("Length of a stoppage.")


class WeatherFile(Table):
    """Hourly weather: each simulated day takes one of its dates at random; take-offs stop in hours beyond the limits.

    Inversions are not in such files: watch for them on site whatever the file says.
    """

    path: str = must("File, relative to the scenario: TMY3, or any CSV when columns are named.", min_length=1)
    columns: dict[str, str] | None = maybe(
        "Column of time, wind, temperature, humidity and rain in a CSV; none: the file is TMY3. Source: the file."
    )
    column_units: dict[str, str] | None = maybe(
        "Units of columns that are not m/s, degC, % or mm; none: those. Source: the file."
    )
    months: list[Month] = may(
        list(range(1, 13)), "Months that days are taken from; assumption: all.", min_length=1, max_length=12
    )
    wind_least: Wind | None = may("3 mph", "Least wind; source: 3-10 mph, label and extension guidance.")
    wind_most: Wind | None = may("10 mph", "Most wind; source: 3-10 mph, label and extension guidance.")
    delta_t_least: Difference | None = may(2.0, "Least delta T in degC; source: 2-8 ideal, weather-service guidance.")
    delta_t_most: Difference | None = may(
        10.0, "Most delta T in degC; source: never above 10, weather-service guidance."
    )
    temperature_least: Temperature | None = may("0 degC", "Least air temperature; assumption.")
    temperature_most: Temperature | None = may("28 degC", "Most air temperature; source: weather-service guidance.")
    rain_most: Annotated[float, Field(ge=0.0)] | None = may(0.0, "Most rain in an hour, mm; assumption: none.")
    daylight_only: bool = may(True, "True: dark hours are lost, where the file says the place; assumption.")

    @model_validator(mode="after")
    def _limits(self) -> WeatherFile:
        for name in ("wind", "delta_t", "temperature"):
            least, most = getattr(self, f"{name}_least"), getattr(self, f"{name}_most")
            if least is not None and most is not None and most < least:
                raise fail(f"got {name}_most = {most!r}; allowed is at least the lower limit {least!r}")
        return self


class Weather(Table):
    """Air and weather of the day."""

    air_temperature: Temperature = may("25 degC", "Air temperature; assumption.")
    altitude: Annotated[float, Quantity(units.LENGTH, least=-400.0, most=4500.0)] = may(
        "300 m", "Altitude above sea level; assumption."
    )
    wind_speed: Annotated[float, Quantity(units.SPEED, least=0.0, most=20.0)] = may(
        "0 mph", "Steady wind along the passes: half are flown against it, half with it; assumption: calm."
    )
    stoppages: Stoppages | None = maybe("Random weather stoppages; none: the weather holds all day. Assumption.")
    file: WeatherFile | None = maybe("Hourly weather file; none: not used. Assumption.")

    @model_validator(mode="after")
    def _one_source(self) -> Weather:
        if self.stoppages is not None and self.file is not None:
            raise fail("both stoppages and file are given; allowed is one of them")
        return self
