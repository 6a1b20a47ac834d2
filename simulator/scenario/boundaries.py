"""Field boundaries from a file (GeoJSON, KML, KMZ, shapefile, GeoPackage), on a local metre grid.

Longitude and latitude (WGS 84) are projected azimuthally equidistant about the middle of the data: distances from the
middle are true, and at 100 km from it areas are too large by 0.004 %.

A feature of several parts is one field while its parts lie within 50 m of each other, since the aircraft then works
them from one place; parts further apart become fields of their own, ``name-a``, ``name-b``, ... from the largest down.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError, Problem
from simulator.scenario.crossings import crossings
from simulator.scenario.files import read_ordinary_file
from simulator.scenario.geojson import RawFeature, parse_geojson
from simulator.scenario.map_files import parse_map_file, parts_beside, zipped

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

FloatArray = NDArray[np.float64]

FILE_LIMIT_BYTES = 100_000_000
SPREAD_WARNING_M = 200_000.0
SPREAD_LIMIT_M = 1_000_000.0

# A repaired boundary whose area stays within this share of the drawn one had a harmless fault (a ring touching itself).
_HARMLESS_SHARE = 1e-3

# A boundary drawn badly crosses itself a few times; repairing one takes the square of the number of its crossings.
_CROSSINGS_REPAIRED = 3_000
_CROSSINGS_OF_FILE = 20_000
_PARTS_LIMIT = 20_000
# Parts compared with all others at a time: what all at once would find can fill the memory.
_PARTS_AT_ONCE = 64
_PART_GAP_M = 50.0


@dataclass(frozen=True)
class BoundaryField:
    """One field of a name that is unique in its file; on the local grid x is east and y north, m."""

    name: str
    polygon: BaseGeometry
    area_m2: float
    centroid_xy: tuple[float, float]
    feature_number: int


@dataclass(frozen=True)
class BoundaryFile:
    """All usable fields of one file, what was left out or mended and why, and where the grid's (0, 0) is."""

    fields: list[BoundaryField]
    skipped: list[Problem]
    warnings: list[Problem]
    origin_lon_lat: tuple[float, float]

    def to_grid(self, longitude: float, latitude: float) -> tuple[float, float]:
        """Put another place, such as the yard, on the grid of the fields; `InputError` when it is far away."""
        said = f"[{longitude:g}, {latitude:g}] is "
        if not _is_lon_lat(longitude, latitude):
            said += "not a longitude (-180 to 180) and latitude (-90 to 90)"
        else:
            x_m, y_m = (float(value) for value in _grid_about(self.origin_lon_lat)(longitude, latitude))
            if math.hypot(x_m, y_m) <= SPREAD_LIMIT_M:
                return x_m, y_m
            said += f"more than {SPREAD_LIMIT_M / 1000:.0f} km from the fields"
        grid = _grid_about(self.origin_lon_lat)
        if _is_lon_lat(latitude, longitude) and math.hypot(*grid(latitude, longitude)) <= SPREAD_LIMIT_M:
            said += "; latitude and longitude are exchanged: longitude comes first"
        raise InputError.single(said)

    def from_grid(self, x_m: float, y_m: float) -> tuple[float, float]:
        """Return longitude and latitude of a place on the grid, to a tenth of a metre."""
        longitude, latitude = _grid_about(self.origin_lon_lat)(x_m, y_m, inverse=True)
        return round(float(longitude), 6), round(float(latitude), 6)

    def from_other(self, other: BoundaryFile, polygon: BaseGeometry) -> BaseGeometry:
        """Put a polygon of another file on the grid of this one."""
        import shapely

        source, target = _grid_about(other.origin_lon_lat), _grid_about(self.origin_lon_lat)

        def move(xy_m: FloatArray) -> FloatArray:
            longitude, latitude = source(xy_m[:, 0], xy_m[:, 1], inverse=True)
            return np.column_stack(target(longitude, latitude))

        moved: BaseGeometry = shapely.transform(polygon, move)
        return moved


def _is_lon_lat(longitude: float, latitude: float) -> bool:
    return -180.0 <= longitude <= 180.0 and -90.0 <= latitude <= 90.0


def read_boundaries(path: Path, *, smallest_m2: float = 500.0, repair: bool = False) -> BoundaryFile:
    """Read field boundaries from a file, and of a ``.shp`` from the parts beside it; see :func:`parse_boundaries`."""
    allowed = "a boundary file; split a large one or thin it out"
    parts = {one: read_ordinary_file(one, FILE_LIMIT_BYTES, allowed) for one in (path, *parts_beside(path))}
    content = zipped(parts) if len(parts) > 1 else parts[path]
    return parse_boundaries(content, str(path), smallest_m2=smallest_m2, repair=repair)


def parse_boundaries(content: bytes, file: str, *, smallest_m2: float = 500.0, repair: bool = False) -> BoundaryFile:
    """Read field boundaries from a file's bytes, whose beginning tells its kind; ``file`` is its name in messages.

    GeoJSON is in longitude and latitude (RFC 7946), as KML is; other coordinate systems are converted. Of several
    layers or folders all polygons are read. Smaller fields are skipped; with ``repair`` self-crossing boundaries are
    used as the repair leaves them (even-odd rule) instead of skipped.
    """
    if len(content) > FILE_LIMIT_BYTES:
        raise InputError.single(f"is larger than the limit of {FILE_LIMIT_BYTES / 1e6:g} MB; split it", file=file)
    parsed = parse_map_file(content, file) or parse_geojson(content, file)
    skipped, warnings = list(parsed.skipped), list(parsed.warnings)
    if not parsed.features:
        raise InputError(
            [Problem("", "holds no polygon, so there is no field to work", file), *skipped[:20], *warnings[:20]]
        )
    grid, origin = _grid_of(parsed.features)
    _check_spread(parsed.features, grid, file, warnings)

    fields: list[BoundaryField] = []
    taken: dict[str, int] = {}
    budget = _CROSSINGS_OF_FILE
    for raw in parsed.features:
        where = f"feature {raw.number}"
        try:
            polygon, note, spent = _build_polygon(raw, grid, repair, budget)
            budget -= spent
        except _UnusableError as reason:
            skipped.append(Problem(where, f"skipped: {reason}", file))
            continue
        if note:
            warnings.append(Problem(where, note, file))
        groups = _split_parts(polygon)
        usable = [group for group in groups if group.area >= smallest_m2]
        skipped.extend(
            Problem(where, f"skipped: {_area_words(group.area)} is below the smallest field, {smallest_m2:g} m2", file)
            for group in groups
            if group.area < smallest_m2
        )
        base = raw.name or f"field {raw.number}"
        for index, group in enumerate(usable):
            name = _unique(base if len(usable) == 1 else f"{base}-{_letters(index)}", taken)
            centre = (float(group.centroid.x), float(group.centroid.y))
            fields.append(BoundaryField(name, group, float(group.area), centre, raw.number))
    if not fields:
        raise InputError([Problem("", "holds no usable field", file), *skipped[:20]])
    skipped.sort(key=lambda problem: int(problem.where.rpartition(" ")[2]))
    return BoundaryFile(fields, skipped, warnings, origin)


class _UnusableError(Exception):
    """One feature cannot be a field; the message says why."""


def _grid_about(origin_lon_lat: tuple[float, float]) -> Any:
    import pyproj

    longitude, latitude = origin_lon_lat
    return pyproj.Proj(proj="aeqd", lat_0=latitude, lon_0=longitude, datum="WGS84", units="m")


def _grid_of(features: list[RawFeature]) -> tuple[Any, tuple[float, float]]:
    corners = np.concatenate([rings[0] for raw in features for rings in raw.polygons])
    if np.ptp(corners[:, 0]) > 180.0:
        # Data on both sides of the 180th meridian: count longitude from 0 to 360 instead.
        corners[:, 0] %= 360.0
    middle = 0.5 * (corners.min(axis=0) + corners.max(axis=0))
    longitude = round((float(middle[0]) + 180.0) % 360.0 - 180.0, 6)
    latitude = round(float(middle[1]), 6)
    return _grid_about((longitude, latitude)), (longitude, latitude)


def _project(grid: Any, ring: FloatArray) -> FloatArray:
    x_m, y_m = grid(ring[:, 0], ring[:, 1])
    return np.column_stack((x_m, y_m))


def _check_spread(features: list[RawFeature], grid: Any, file: str, warnings: list[Problem]) -> None:
    first = np.array([raw.polygons[0][0][0] for raw in features])
    # corners further out than the first one of each feature matter for huge or wrapped polygons only
    outer = (_project(grid, rings[0]) for raw in features for rings in raw.polygons)
    near = all((np.hypot(*xy_m.T) < SPREAD_LIMIT_M).all() for xy_m in outer)
    spread_m = float(np.hypot(*np.ptp(_project(grid, first), axis=0))) if near else math.inf
    if spread_m > SPREAD_LIMIT_M:
        middle = np.median(first, axis=0)
        far = features[int(np.argmax(np.abs(first - middle).sum(axis=1)))]
        longitude, latitude = far.polygons[0][0][0]
        message = f"the fields spread over more than {SPREAD_LIMIT_M / 1000:.0f} km, too far for one crew's list"
        where = f"feature {far.number}"
        place = f"[{longitude:.4f}, {latitude:.4f}]"
        raise InputError.single(f"{message}; this one, at {place}, lies furthest from the rest", where, file)
    if spread_m > SPREAD_WARNING_M:
        message = f"the fields spread over {spread_m / 1000:.0f} km; most of a day would be driving between them"
        warnings.append(Problem("", message, file))


def _build_polygon(raw: RawFeature, grid: Any, repair: bool, budget: int) -> tuple[BaseGeometry, str, int]:
    """Return a valid shape in metres, what was repaired, and the crossings it had of those left to the file."""
    import shapely

    if len(raw.polygons) > _PARTS_LIMIT:
        raise _UnusableError(f"it has {len(raw.polygons)} parts; allowed is at most {_PARTS_LIMIT}")
    try:
        drawn_m2 = 0.0
        parts: list[BaseGeometry] = []
        for rings in raw.polygons:
            on_grid = [_project(grid, ring) for ring in rings]
            drawn_m2 += _ring_area_m2(on_grid[0]) - sum(_ring_area_m2(hole) for hole in on_grid[1:])
            parts.append(shapely.Polygon(on_grid[0], on_grid[1:]))
        if len(parts) == 1 and shapely.is_valid(parts[0]):
            return parts[0], "", 0
        whole = shapely.MultiPolygon(parts)
        if shapely.is_valid(whole):
            return whole, "", 0
        faults = [part for part in parts if not shapely.is_valid(part)]
        spent = crossings(parts, min(_CROSSINGS_REPAIRED, budget))
        if spent > min(_CROSSINGS_REPAIRED, budget):
            raise _UnusableError("its boundary crosses or touches itself with too many corners or parts to repair")
        areas = [polygons_only(shapely.make_valid(part)) for part in parts]
        repaired = polygons_only(shapely.union_all(areas))
        found_m2 = float(shapely.area(repaired))
        if found_m2 <= 0.0:
            raise _UnusableError("it encloses no area")
        if not faults:
            share = 1.0 - found_m2 / max(drawn_m2, found_m2)
            return repaired, "" if share < _HARMLESS_SHARE else f"its parts overlap by {share:.1%}; counted once", spent
        reason = _place_of_fault(shapely.is_valid_reason(faults[0]), grid)
        if abs(found_m2 - drawn_m2) <= _HARMLESS_SHARE * found_m2:
            return repaired, f"repaired without changing its area: {reason}", spent
        if repair:
            note = f"repaired, area now {_area_words(found_m2)} (drawn {_area_words(drawn_m2)}): {reason}"
            return repaired, note, spent
    except shapely.errors.GEOSException as error:
        raise _UnusableError(f"its boundary cannot be used: {error}") from None
    raise _UnusableError(f"its boundary crosses itself: {reason}. Draw it again or split it in two")


def polygons_only(geometry: BaseGeometry) -> BaseGeometry:
    """Return the polygons of a geometry, without the lines and points that an overlay may leave."""
    import shapely

    parts = [part for part in shapely.get_parts(geometry) if part.geom_type in ("Polygon", "MultiPolygon")]
    return shapely.union_all(parts)


def _ring_area_m2(ring: FloatArray) -> float:
    """Return the signed-sum (shoelace) area, where a lobe wound the other way counts negative."""
    x_m, y_m = (ring - ring[0]).T
    return abs(0.5 * float(np.sum(x_m[:-1] * y_m[1:] - x_m[1:] * y_m[:-1])))


def _place_of_fault(reason: str, grid: Any) -> str:
    """Turn the grid position in a validity message into longitude and latitude."""
    match = re.search(r"\[(\S+) (\S+)\]", reason)
    if match is None:
        return reason
    longitude, latitude = grid(float(match[1]), float(match[2]), inverse=True)
    return f"{reason[: match.start()].strip().lower()} at [{longitude:.6f}, {latitude:.6f}]"


def _split_parts(polygon: BaseGeometry) -> list[BaseGeometry]:
    """Group parts that lie within `_PART_GAP_M` of each other, largest group first: each is a field."""
    import shapely

    parts = shapely.get_parts(polygon)
    if len(parts) == 1:
        return [parts[0]]
    west, south, east, north = shapely.bounds(parts).T
    near = shapely.box(west - _PART_GAP_M, south - _PART_GAP_M, east + _PART_GAP_M, north + _PART_GAP_M)
    tree = shapely.STRtree(parts)
    free = np.ones(len(parts), dtype=np.bool_)
    made = []
    while free.any():
        # from the first part that is in no group yet, outwards to all that are near those found before
        members = [int(np.argmax(free))]
        free[members] = False
        done = 0
        while done < len(members):
            edge = np.array(members[done : done + _PARTS_AT_ONCE])
            done += len(edge)
            one, other = tree.query(near[edge])
            wanted = free[other]
            one, other = edge[one[wanted]], other[wanted]
            found = np.unique(other[shapely.dwithin(parts[one], parts[other], _PART_GAP_M)])
            free[found] = False
            members += found.tolist()
        group = parts[sorted(members)]
        made.append(group[0] if len(group) == 1 else shapely.MultiPolygon(list(group)))
    return sorted(made, key=lambda item: -float(item.area))


def _letters(index: int) -> str:
    text = ""
    while index >= 0:
        text = chr(ord("a") + index % 26) + text
        index = index // 26 - 1
    return text


def _unique(name: str, taken: dict[str, int]) -> str:
    """Return a name that is not taken yet; each name remembers its last number, or thousands alike would take hours."""
    candidate, count = name, taken.get(name, 1)
    while candidate in taken:
        count += 1
        candidate = f"{name} ({count})"
    taken[name] = count
    taken.setdefault(candidate, 1)
    return candidate


def _area_words(area_m2: float) -> str:
    return f"{area_m2:.0f} m2" if area_m2 < 10_000.0 else f"{area_m2 / 10_000.0:.2f} ha"
