"""The scenario: what a user declares, as frozen tables that refuse what they do not know."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from simulator.scenario import units
from simulator.scenario.distributions import Distribution
from simulator.scenario.schema_costs import Costs
from simulator.scenario.schema_equipment import Aircraft, Charger, Generator, Length, Pack, PositiveLength
from simulator.scenario.schema_rig import Flying, Rig
from simulator.scenario.schema_weather import Weather
from simulator.scenario.types import Clock, Drawn, PositiveCount, Quantity, Table, fail, label_key, may, maybe, must

LiquidRate = Annotated[float, Quantity(units.LIQUID_RATE, above=0.0)]
DryRate = Annotated[float, Quantity(units.DRY_RATE, above=0.0)]
Density = Annotated[float, Quantity(units.DENSITY, above=0.0)]
Area = Annotated[float, Quantity(units.AREA, above=0.0, most=1e8)]
Coordinate = Annotated[float, Quantity(units.LENGTH, least=-1e6, most=1e6)]


class Break(Table):
    """A break of the whole crew: nobody starts a task or takes off."""

    start: Clock = must("Time of day at which it starts; aircraft in the air land first.")
    length: Annotated[float, Quantity(units.TIME, above=0.0)] = must("Length.")


class Day(Table):
    """The work day."""

    start: Clock = may("07:00", "The crew starts at the yard; assumption.")
    last_landing: Clock | None = maybe("No aircraft is in the air after this; none: window. Assumption.")
    window: Annotated[float, Quantity(units.TIME, above=0.0, most=4e7)] | None = maybe(
        "From the start to the last landing, instead of last_landing; none: 12 hours. Assumption."
    )
    overnight: Literal["home", "stay out"] = may(
        "home", "Where the rig is overnight: at the yard, tanks filled there, or at the field it stands on. Assumption."
    )
    breaks: list[Break] = may([], "Breaks of the crew; assumption: none.", max_length=50)

    @property
    def last_landing_s(self) -> float:
        """Seconds from the start of the day to the last landing."""
        if self.window is not None:
            return self.window
        if self.last_landing is not None:
            return self.last_landing - self.start
        return 12 * 3600.0

    @model_validator(mode="after")
    def _order(self) -> Day:
        if self.window is not None and self.last_landing is not None:
            raise fail("both last_landing and window are given; allowed is one of them")
        if self.last_landing_s <= 0:
            raise fail('last_landing is not after start; for a night shift give window = "10 h" instead')
        return self


class Product(Table):
    """What is applied, and how much."""

    kind: Literal["liquid", "granules"] = may("liquid", "Sprayed or spread; assumption.")
    rate: LiquidRate | None = maybe("Liquid per area; needed for liquids. Source: the product label.")
    dry_rate: DryRate | None = maybe("Granules per area; needed for granules. Source: the product label.")
    density: Density = may("1.0 kg/L", "Density of the mix; assumption (water).")
    bulk_density: Density = may("0.75 kg/L", "Bulk density of granules; assumption (about that of urea).")

    @model_validator(mode="after")
    def _rate_of_kind(self) -> Product:
        if self.kind == "liquid" and self.rate is None:
            raise fail("kind = 'liquid' needs rate, such as \"2 gal/acre\"")
        if self.kind == "granules" and self.dry_rate is None:
            raise fail("kind = 'granules' needs dry_rate, such as \"30 lb/acre\"")
        return self


class FieldTable(Table):
    """A rectangular field, or several alike."""

    name: str = must("Name.", min_length=1, max_length=80)
    area: Area = must("Area to treat.")
    length_to_width: Annotated[float, Quantity(units.NUMBER, least=0.01, most=100.0)] = may(
        "2", "Length of the passes over the width across them; assumption."
    )
    count: PositiveCount = may(1, "Number of such fields; assumption.")
    drive_distance: Length | None = maybe(
        "Road distance to it from wherever the rig is; none: from the locations. Assumption."
    )
    location: list[Coordinate] | None = maybe(
        'East and north of the yard, such as ["2 mi", "-1 mi"]; none: drive_distance. Assumption.',
        min_length=2,
        max_length=2,
    )
    landing_zone: list[Coordinate] | None = maybe(
        "From the field's first corner: across and along the passes; none: the best place on the edge. Assumption.",
        min_length=2,
        max_length=2,
    )
    ferry_distance: Length | None = maybe(
        "Average distance between landing zone and work, instead of the geometry; none: the geometry. Assumption."
    )
    open_from: Clock | None = maybe("No take-off on it before this time of day; none: any time. Assumption.")
    open_until: Clock | None = maybe("No aircraft in the air on it after this time of day; none: any time. Assumption.")
    first_day: PositiveCount = may(1, "Work day of the job from which it may be flown; assumption.")
    last_day: PositiveCount | None = maybe("Work day of the job up to which it may be flown; none: any. Assumption.")
    rate: LiquidRate | None = maybe("Liquid rate on this field; none: the product's. Assumption.")
    dry_rate: DryRate | None = maybe("Dry rate on this field; none: the product's. Assumption.")
    product: str = may("", "Name of the mix, where fields get different ones; assumption: the same.", max_length=80)

    @model_validator(mode="after")
    def _window(self) -> FieldTable:
        if self.open_from is not None and self.open_until is not None and self.open_until <= self.open_from:
            raise fail("open_until is not after open_from")
        if self.last_day is not None and self.last_day < self.first_day:
            raise fail(f"last_day {self.last_day} is before first_day {self.first_day}")
        return self


class FieldFile(Table):
    """Fields drawn in a boundary file: GeoJSON, KML, KMZ, shapefile or GeoPackage."""

    path: str = must(
        "File, relative to the scenario: .geojson, .kml, .kmz, .gpkg, or a shapefile (.zip, .shp).", min_length=1
    )
    smallest: Annotated[float, Quantity(units.AREA, least=0.0)] = may(
        "0.1 ha", "Smaller parts are skipped and named; assumption."
    )
    buffer: Length = may("0 m", "Strip left untreated inside every boundary; assumption. Source: the product label.")
    headland_passes: Annotated[int, Field(ge=0, le=10, strict=True)] = may(
        0, "Passes along the boundary, flown last; assumption: none."
    )
    obstacles: str | None = maybe(
        "Boundary file of obstacles, cut out of the treated area (flown over); none: none. Assumption.",
    )
    obstacle_clearance: Length = may("5 m", "Distance kept from obstacles; assumption.")
    patches: str | None = maybe(
        "Boundary file of patches: only these are treated (spot spraying); none: whole fields. Assumption."
    )
    landing_zone: Literal["best", "nearest corner"] = may(
        "best",
        "The boundary place with least ferry distance, or the corner nearest yard or first pass. Assumption.",
    )
    landing_zones: dict[str, list[float]] | None = maybe(
        'Longitude and latitude by field, such as { "north" = [-98.1, 40.2] }; none: landing_zone. Assumption.'
    )
    rates: dict[str, LiquidRate] | None = maybe("Liquid rate by field; none: the product's. Assumption.")
    heading: Annotated[float, Quantity(units.NUMBER, least=0.0, most=360.0)] | None = maybe(
        "Heading of the passes in degrees from north; none: the heading with fewest turns. Assumption."
    )
    most: PositiveCount | None = maybe("Use only this many fields, in the file's order; none: all. Assumption.")


class Yard(Table):
    """Where the day starts and ends."""

    drive_distance: Length = may(
        "5 mi", "Road distance to the first field and from the last, unless locations say it; assumption."
    )
    lon_lat: list[Annotated[float, Field(ge=-180.0, le=180.0)]] | None = maybe(
        "Longitude and latitude, for fields of a file; none: drive_distance. Assumption.",
        min_length=2,
        max_length=2,
    )


class Route(Table):
    """Getting from field to field."""

    order: Literal["as given", "nearest", "best"] = may(
        "best", "Order of the visits where locations or a distance table are known; assumption."
    )
    detour_factor: Annotated[float, Quantity(units.NUMBER, least=1.0, most=5.0)] = may(
        "1.27", "Road over straight distance; source: 4/pi for a square road grid, elementary."
    )
    roads: Literal["straight", "typical", "grid"] | None = maybe(
        "Class of roads, instead of detour_factor: 1, 1.2 or 1.27; none: detour_factor. Source: Newell 1980; 4/pi.",
    )
    distance_table: str | None = maybe(
        "CSV of road distances by names of fields and 'yard'; none: worked out. Source: a route planner."
    )
    distance_unit: str = may("km", "Unit of the distance table; assumption.", max_length=10)
    road_speed: Annotated[Distribution, Drawn(units.SPEED, above=0.0)] = may(
        {"dist": "normal", "mean": "25 mph", "sd": "4 mph", "low": "8 mph", "high": "45 mph"},
        "Average speed with the trailer, drawn for each drive; assumption.",
    )
    between_field_distance: PositiveLength = may("1 mi", "Road distance between fields that give none; assumption.")


class Scenario(Table):
    """One equipment set on its fields: everything that a simulated day depends on."""

    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,59}$")] = must(
        "Short name: letters, digits, - and _."
    )
    title: str = may("", "One line for reports. Assumption: none.", max_length=200)
    label: str = label_key()
    notes: str = may("", "Free text: where the numbers come from. Assumption: none.", max_length=5000)
    invented: bool = may(False, "True when places and equipment are invented; shown on every report; assumption: real.")
    units: Literal["us", "metric"] = may("us", "Units of the output; assumption.")
    seed: Annotated[int, Field(ge=0, lt=2**63, strict=True)] = may(1, "Seed of the random streams; assumption.")
    runs: Annotated[int, Field(ge=2, le=10_000_000, strict=True)] = may(
        200, "Runs simulated for each equipment set; assumption."
    )
    work: Literal["repeat", "once"] = may(
        "once",
        "'once': until the list is done, however many work days it takes; 'repeat': through it again and again "
        "(measures capacity). Assumption.",
    )
    work_days: Annotated[int, Field(ge=1, le=400, strict=True)] = may(
        5,
        "With 'repeat', work days of a run at least; fields that differ are gone through to the end. Assumption: so "
        "many that the last day, often short, hardly weighs, and the mean agrees with that of full days.",
    )
    most_work_days: Annotated[int, Field(ge=1, le=1000, strict=True)] = may(
        60, "Work days after which a run is given up, done or not; assumption."
    )
    day: Day = may({}, "The work day; assumptions.")
    weather: Weather = may({}, "Air and weather; assumptions.")
    product: Product = must("What is applied.")
    field: list[FieldTable] = may([], "Rectangular fields. Assumption: none.", max_length=2000)
    field_file: FieldFile | None = maybe("Fields of a boundary file; none: the field tables. Assumption.")
    yard: Yard = may({}, "Where the day starts; assumptions.")
    route: Route = may({}, "Driving; assumptions.")
    flying: Flying = may({}, "Rules of flying; assumptions.")
    aircraft: dict[str, Aircraft] = must("Aircraft classes by name.", min_length=1)
    pack: dict[str, Pack] = must("Pack types by name.", min_length=1)
    charger: dict[str, Charger] = must("Charger classes by name.", min_length=1)
    generator: dict[str, Generator] = may({}, "Generator classes by name. Assumption: none.")
    rig: dict[str, Rig] = must("Rigs by name.", min_length=1)
    costs: Costs | None = maybe("Money, for the questions of buying and pricing; none: not asked. Assumption.")
    range: dict[str, Annotated[list[str | int | float], Field(min_length=2, max_length=2)]] = may(
        {}, "Ranges of inputs by key, for the sensitivity study; none: not asked. Assumption."
    )
    rigs_used: list[str] | None = maybe("Rigs that work, by name; none: all. Assumption.", min_length=1)
    equipment_set: dict[str, dict[str, Any]] = may(
        {},
        "Named changes to this scenario, each a set to compare: any of its keys. Assumption: one set, the scenario.",
    )
