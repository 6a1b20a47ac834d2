"""The field list of a scenario: rectangles that it declares, or boundaries of a file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simulator.errors import InputError, Problem, Problems
from simulator.scenario.csv_table import cell, csv_rows
from simulator.scenario.files import BOUNDARIES, CSV, ScenarioFolder
from simulator.scenario.merge import nearest
from simulator.scenario.schema import FieldFile, FieldTable, Scenario
from simulator.scenario.shown import shown

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from simulator.scenario.boundaries import BoundaryFile

LARGEST_FIELD_PASSES = 20_000
"""A field that needs more passes than this is refused: a mistyped swath or area, not a day's work."""
MOST_FIELDS = 2_000
"""The table of distances grows with the square of their number."""
MOST_ORDERED = 400
"""Fields whose best order is found in seconds; more are visited nearest first."""
LEAST_FIELD_M2 = 1.0
MOST_CROSSINGS = 300_000
"""Places where the boundaries of fields, obstacles and patches may meet: seconds of cutting."""
MOST_NEAR = 500_000
MOST_NEAR_OF_ALL = 3_000_000
"""Pairs of sides that may come near each other when one shape's boundary is moved, or all of a file's."""
_LARGEST_CSV_BYTES = 5_000_000
_AREA_COLUMNS = {"acres": "acre", "hectares": "ha"}


@dataclass(frozen=True)
class FieldSite:
    """One field to treat, of a unique name: a rectangle, or a boundary in metres on the scenario's own grid."""

    name: str
    area_m2: float
    length_to_width: float = 2.0
    """Unused with a boundary."""
    polygon: BaseGeometry | None = None
    location_m: tuple[float, float] | None = None
    """East and north of the grid's origin; None: unknown."""
    drive_distance_m: float | None = None
    """By road from wherever the rig is; None: from the locations."""
    landing_zone_m: tuple[float, float] | None = None
    """From a rectangle's first corner; None: that corner, or for a boundary the best place on it."""
    ferry_distance_m: float | None = None
    """Given average distance between landing zone and work."""
    rate: float | None = None
    """L/m2, where it differs from the product's, as ``dry_rate`` in kg/m2."""
    dry_rate: float | None = None
    open_from: float | None = None
    """Seconds after midnight, as ``open_until``; the days are work days of the job, from 1."""
    open_until: float | None = None
    first_day: int = 1
    last_day: int | None = None
    product: str = ""


@dataclass(frozen=True)
class FieldList:
    """The fields of a scenario, at least one, and where the yard is."""

    sites: tuple[FieldSite, ...]
    yard_m: tuple[float, float] | None = None
    """On the same grid; None: only distances are known."""
    skipped: tuple[Problem, ...] = ()
    """Parts of a file that cannot be flown, each with its reason, and what was mended in others."""
    drive_m: tuple[tuple[float, ...], ...] | None = None
    """Given road distances, yard first; None: from locations or drive distances."""


def field_list(scenario: Scenario, folder: ScenarioFolder) -> FieldList:
    """Return the fields that a scenario declares."""
    found = _declared(scenario) if scenario.field_file is None else _from_file(scenario, scenario.field_file, folder)
    if scenario.route.distance_table is None:
        return found
    from simulator.scenario.distance_table import read_distance_table

    path = folder.file(scenario.route.distance_table, CSV)
    names = [site.name for site in found.sites]
    return replace(found, drive_m=read_distance_table(path, scenario.route.distance_unit, names))


def fields_given(fields: str | Path) -> list[tuple[list[str], Any]]:
    """Return the changes that make a file the list of fields: boundaries, or a CSV of ``[[field]]`` keys."""
    path = Path(fields)
    if path.suffix.lower() != ".csv":
        return [(["field"], []), (["field_file", "path"], str(path.absolute()))]
    rows, _ = csv_rows(path, _LARGEST_CSV_BYTES, "a CSV table of fields", "--fields", MOST_FIELDS + 1)
    problems = Problems(str(path))
    columns = [text.lower().replace(" ", "_") for text in rows[0][1]] if rows else []
    # a pair of coordinates is no cell
    known = [*(key for key in FieldTable.model_fields if key not in ("location", "landing_zone")), *_AREA_COLUMNS]
    for name in dict.fromkeys(columns):
        if name not in known or columns.count(name) > 1:
            problems.add("line 1", f"got the column {shown(name)}; allowed is each once of {', '.join(known)}")
    if not {"area", *_AREA_COLUMNS} & set(columns) or len(rows) < 2:
        problems.add("", "is no table of fields; allowed is a CSV with a row a field, and columns such as name, acres")
    problems.refuse()
    tables: list[dict[str, Any]] = []
    for _, cells in rows[1:]:
        given = {name: cell(cells, place) for place, name in enumerate(columns) if cell(cells, place)}
        table: dict[str, Any] = {"name": f"field {len(tables) + 1}"}
        for name, text in given.items():
            unit = _AREA_COLUMNS.get(name)
            counted = name in ("count", "first_day", "last_day") and text.isascii() and text.isdigit() and len(text) < 9
            table["area" if unit else name] = f"{text} {unit}" if unit else int(text) if counted else text
        tables.append(table)
    return [(["field"], tables), (["field_file"], None)]


def _declared(scenario: Scenario) -> FieldList:
    """Return the rectangles that a scenario declares."""
    problems = []
    count = sum(entry.count for entry in scenario.field)
    # counted before any is made: a count can stand for millions
    if count > MOST_FIELDS:
        problems.append(Problem("field", f"got {count} fields; allowed is at most {MOST_FIELDS}"))
    for place, entry in enumerate(scenario.field):
        if entry.area < LEAST_FIELD_M2:
            problems.append(Problem(f"field.{place}.area", f"got {entry.area:.3g} m2; allowed is at least 1 m2"))
        if entry.product and scenario.product.kind == "granules":
            told = f"got {entry.product!r}; granules are of one product: another needs a scenario of its own"
            problems.append(Problem(f"field.{place}.product", told))
    if problems:
        raise InputError(problems)
    same = ("length_to_width", "rate", "dry_rate", "open_from", "open_until", "first_day", "last_day", "product")
    sites = [
        FieldSite(
            name=entry.name if entry.count == 1 else f"{entry.name} {number}",
            area_m2=entry.area,
            location_m=_pair(entry.location),
            drive_distance_m=entry.drive_distance,
            landing_zone_m=_pair(entry.landing_zone),
            ferry_distance_m=entry.ferry_distance,
            **{key: getattr(entry, key) for key in same},
        )
        for entry in scenario.field
        for number in range(1, entry.count + 1)
    ]
    twice = [name for name, number in Counter(site.name for site in sites).items() if number > 1]
    if twice:
        raise InputError(
            [Problem("field", f"the name {name!r} stands twice; allowed is each name once") for name in twice]
        )
    located = all(site.location_m is not None for site in sites)
    return FieldList(tuple(sites), (0.0, 0.0) if located else None, _unordered(scenario, sites))


def _pair(place: list[float] | None) -> tuple[float, float] | None:
    return (place[0], place[1]) if place else None


def _unordered(scenario: Scenario, sites: Sequence[FieldSite]) -> tuple[Problem, ...]:
    if scenario.route.order != "best" or len(sites) <= MOST_ORDERED:
        return ()
    return (Problem("route.order", f"{len(sites)} fields, more than {MOST_ORDERED}, are visited nearest first"),)


def _from_file(scenario: Scenario, declared: FieldFile, folder: ScenarioFolder) -> FieldList:
    from simulator.scenario.boundaries import read_boundaries

    path = folder.file(declared.path, BOUNDARIES)
    boundaries = read_boundaries(path, smallest_m2=declared.smallest)
    place = scenario.yard.lon_lat
    yard = boundaries.to_grid(place[0], place[1]) if place is not None else None
    rates, zones = declared.rates or {}, _landing_zones(declared, boundaries)
    obstacles = _other_shapes(declared.obstacles, folder, boundaries)
    patches = _other_shapes(declared.patches, folder, boundaries)
    drawn = boundaries.fields[: declared.most]
    polygons = [entry.polygon for entry in drawn]
    _check_crossings(polygons, [shape for shape in (obstacles, patches) if shape is not None], path)
    check_moved(polygons, declared.buffer, "buffer", str(path), MOST_NEAR_OF_ALL)
    if obstacles is not None:
        check_moved([obstacles], declared.obstacle_clearance, "obstacle_clearance", str(path), MOST_NEAR_OF_ALL)
        obstacles = obstacles.buffer(declared.obstacle_clearance)
    skipped = [*boundaries.skipped, *boundaries.warnings]
    sites = []
    for entry in drawn:
        left = _left_of(entry.polygon, declared, obstacles, patches)
        if isinstance(left, str):
            skipped.append(Problem(f"feature {entry.feature_number}", f"{entry.name}: skipped: {left}"))
        else:
            zone, rate = zones.get(entry.name), rates.get(entry.name)
            area, middle = float(left.area), entry.centroid_xy
            sites.append(FieldSite(entry.name, area, polygon=left, location_m=middle, landing_zone_m=zone, rate=rate))
    if not sites:
        parts = "; ".join(map(str, skipped[:5]))
        raise InputError.single(f"no field is left to fly; see the parts skipped: {parts}", file=str(path))
    if len(sites) > MOST_FIELDS:
        message = f"got {len(sites)} fields; allowed is at most {MOST_FIELDS} (field_file.most)"
        raise InputError.single(message, "field_file", str(path))
    return FieldList(tuple(sites), yard, (*skipped, *_unordered(scenario, sites)))


def _landing_zones(declared: FieldFile, boundaries: BoundaryFile) -> dict[str, tuple[float, float]]:
    """Return the landing zones that are given, on the grid of the fields, once every name is one of the file."""
    names = [entry.name for entry in boundaries.fields]
    problems, found = Problems(), dict[str, tuple[float, float]]()
    for key in ("landing_zones", "rates"):
        for name in set(getattr(declared, key) or {}) - set(names):
            problems.add(f"field_file.{key}.{name}", f"got {shown(name)}, which is no field{nearest(name, names)}")
    for name, place in (declared.landing_zones or {}).items():
        try:
            if len(place) != 2:
                raise InputError.single(f"got {len(place)} numbers; allowed are longitude and latitude")
            found[name] = boundaries.to_grid(*place)
        except InputError as error:
            problems.add(f"field_file.landing_zones.{name}", error.problems[0].message)
    problems.refuse()
    return found


def _left_of(
    polygon: BaseGeometry, declared: FieldFile, obstacles: BaseGeometry | None, patches: BaseGeometry | None
) -> BaseGeometry | str:
    """Return what is treated of a field within its boundary, or why nothing is."""
    import shapely

    from simulator.scenario.boundaries import polygons_only

    try:
        if declared.buffer > 0:
            polygon = polygon.buffer(-declared.buffer)
        if obstacles is not None:
            polygon = polygon.difference(obstacles)
        if patches is not None:
            polygon = polygon.intersection(patches)
        polygon = polygons_only(polygon)
    except shapely.errors.GEOSException as error:
        return f"buffer, obstacles and patches cannot be cut from it: {error}"
    if polygon.is_empty or polygon.area < max(declared.smallest, LEAST_FIELD_M2):
        return "less than the smallest field is left after buffer, obstacles and patches"
    return polygon


def check_moved(shapes: Sequence[BaseGeometry], distance_m: float, key: str, file: str, most_of_all: int) -> None:
    """Refuse boundaries so ragged that moving them by a distance would not end."""
    from simulator.scenario.crossings import near_pairs

    total = 0
    for shape in shapes if distance_m > 0.0 else ():
        pairs = near_pairs(shape, distance_m, MOST_NEAR)
        total += pairs
        if pairs > MOST_NEAR or total > most_of_all:
            message = f"{distance_m:g} m is more than boundaries so ragged can be moved by; allowed are simpler ones"
            raise InputError.single(message, f"field_file.{key}", file)


def _check_crossings(fields: list[BaseGeometry], others: list[BaseGeometry], path: Path) -> None:
    """Refuse shapes whose boundaries cross so often that cutting one from the other would not end."""
    from simulator.scenario.crossings import crossings

    if others and crossings([*fields, *others], MOST_CROSSINGS) > MOST_CROSSINGS:
        message = f"the shapes meet or cross in more than {MOST_CROSSINGS} places; allowed are simpler or fewer ones"
        raise InputError.single(message, "field_file", str(path))


def _other_shapes(name: str | None, folder: ScenarioFolder, fields: BoundaryFile) -> BaseGeometry | None:
    """Return all polygons of another file as one shape on the fields' grid; None when no file is named."""
    if name is None:
        return None
    import shapely

    from simulator.scenario.boundaries import read_boundaries

    path = folder.file(name, BOUNDARIES)
    other = read_boundaries(path, smallest_m2=0.0, repair=True)
    shapes = [fields.from_other(other, entry.polygon) for entry in other.fields]
    _check_crossings([], shapes, path)
    try:
        return shapely.union_all(shapes)
    except shapely.errors.GEOSException as error:
        raise InputError.single(f"its shapes cannot be joined: {error}", file=name) from error
