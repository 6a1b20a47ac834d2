"""GeoJSON bytes to plain rings of longitude and latitude (RFC 7946), with every problem named.

Nothing here reads a file or knows of metres; `simulator.scenario.boundaries` does both.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError, Problem, Problems
from simulator.scenario.files import decoded
from simulator.scenario.shown import shown

FloatArray = NDArray[np.float64]

_OTHER_GEOMETRIES = ("Point", "MultiPoint", "LineString", "MultiLineString")
# Geographic systems that agree with WGS 84 to about a metre, as the older "crs" member names them.
_LON_LAT_CRS = ("CRS84", "4326", "4258", "4269", "WGS84", "WGS 84")
NAME_KEYS = ("name", "field_name", "fieldname", "field", "label", "field_id", "fieldid", "id")
"""Properties that name a field, in any case of letters, best first."""
_NAME_MAX = 60


@dataclass(frozen=True)
class RawFeature:
    """One feature's polygons as read."""

    number: int
    """Place in the file, from 1."""
    name: str
    """Of its `NAME_KEYS`; empty when there is none."""
    polygons: list[list[FloatArray]]
    """Per polygon its closed rings, exterior first, each (k, 2): longitude, latitude in degrees."""


@dataclass
class Parsed:
    """What a GeoJSON text held: features with a polygon, those left out, and what was mended in others."""

    features: list[RawFeature] = field(default_factory=list)
    skipped: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)


class RefusedError(Exception):
    """The file or a part of it cannot be read at all; the message says why."""


def parse_geojson(data: bytes, file: str = "") -> Parsed:
    """Read polygons from GeoJSON."""
    document = _load_json(data, file)
    try:
        entries = _features_of(document)
        _check_crs(document)
    except RefusedError as refused:
        raise InputError.single(str(refused), file=file) from None
    return parse_features(entries, file)


def parse_features(entries: Sequence[Any], file: str) -> Parsed:
    """Read polygons from features, whatever file they come from."""
    parsed = Parsed()
    problems = Problems(file)
    for number, entry in enumerate(entries, start=1):
        try:
            _read_feature(number, entry, parsed, file)
        except RefusedError as refused:
            problems.add(f"feature {number}", str(refused))
    problems.refuse()
    return parsed


def _load_json(data: bytes, file: str) -> Any:
    try:
        return json.loads(decoded(data), parse_constant=_refuse_constant)
    except RefusedError as refused:
        message = str(refused)
    except UnicodeDecodeError as error:
        message = f"is not UTF-8 text (byte {error.start}); allowed is GeoJSON, KML, KMZ, a shapefile or a GeoPackage"
    except json.JSONDecodeError as error:
        message = f"is not valid JSON: {error.msg} at line {error.lineno}, column {error.colno}"
    except RecursionError:
        message = "is nested too deeply to be GeoJSON"
    except ValueError as error:
        message = f"is not valid JSON: {shown(str(error), 80)}"
    raise InputError.single(message, file=file)


def _refuse_constant(name: str) -> NoReturn:
    raise RefusedError(f"is not valid JSON: {name} is not a number that JSON or a coordinate allows")


def _check_crs(document: Any) -> None:
    crs = document.get("crs") if isinstance(document, dict) else None
    if crs is None:
        return
    properties = crs.get("properties") if isinstance(crs, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else crs
    if not any(str(name).upper().endswith(known) for known in _LON_LAT_CRS):
        message = f"is in the coordinate system {shown(str(name), 80)}; allowed: longitude and latitude in WGS 84"
        raise RefusedError(f"{message} (RFC 7946). Export it again as EPSG:4326")


def _need(value: Any, kind: type, what: str) -> Any:
    if not isinstance(value, kind):
        raise RefusedError(f"{what}, got {_kind(value)}")
    return value


def _features_of(document: Any) -> list[Any]:
    kind = _need(document, dict, "is not GeoJSON: expected an object with a type").get("type")
    if kind == "FeatureCollection":
        features: list[Any] = _need(document.get("features"), list, "is not GeoJSON: 'features' must be a list")
        if not features:
            raise RefusedError("holds no features: the list 'features' is empty")
        return features
    if kind == "Feature":
        return [document]
    if kind in ("Polygon", "MultiPolygon", "GeometryCollection", *_OTHER_GEOMETRIES):
        return [{"type": "Feature", "properties": None, "geometry": document}]
    allowed = "FeatureCollection, Feature, Polygon, MultiPolygon or GeometryCollection"
    # what is no boundary file is not quoted: it may be anything of the user's
    got = "'Topology' (TopoJSON)" if kind == "Topology" else "another"
    raise RefusedError(f"is not GeoJSON: type must be {allowed}, got {got}")


def _read_feature(number: int, entry: Any, parsed: Parsed, file: str) -> None:
    where = f"feature {number}"
    if not isinstance(entry, dict) or entry.get("type") != "Feature":
        got = _kind(entry) if not isinstance(entry, dict) else f"type {_shown(entry.get('type'))}"
        raise RefusedError(f"must be an object of type 'Feature', got {got}")
    geometry = entry.get("geometry")
    if geometry is None:
        parsed.skipped.append(Problem(where, "skipped: it has no geometry", file))
        return
    polygons: list[list[FloatArray]] = []
    other: set[str] = set()
    notes: list[str] = []
    for coordinates in _polygon_coordinates(geometry, other):
        rings = _read_polygon(coordinates, notes)
        if rings:
            polygons.append(rings)
    parsed.warnings.extend(Problem(where, note, file) for note in dict.fromkeys(notes))
    if polygons:
        parsed.features.append(RawFeature(number, _name_of(entry.get("properties")), polygons))
    elif other:
        message = f"skipped: {', '.join(sorted(other))} is not an area; only Polygon and MultiPolygon are fields"
        parsed.skipped.append(Problem(where, message, file))
    else:
        parsed.skipped.append(Problem(where, "skipped: fewer than 3 distinct corners, so it encloses no area", file))


def _polygon_coordinates(geometry: Any, other: set[str]) -> Iterator[Any]:
    """Yield the coordinates of every polygon of a geometry; names of geometries without area go to ``other``."""
    waiting = [geometry]
    while waiting:
        item = waiting.pop()
        kind = _need(item, dict, "geometry must be an object").get("type")
        if kind == "Polygon":
            yield item.get("coordinates")
        elif kind == "MultiPolygon":
            yield from _need(item.get("coordinates"), list, "coordinates of a MultiPolygon must be a list of polygons")
        elif kind == "GeometryCollection":
            members = _need(item.get("geometries"), list, "'geometries' of a GeometryCollection must be a list")
            waiting.extend(reversed(members))
        elif kind in _OTHER_GEOMETRIES:
            other.add(str(kind))
        else:
            raise RefusedError(f"geometry type must be Polygon or MultiPolygon, got {_shown(kind)}")


def _read_polygon(coordinates: Any, notes: list[str]) -> list[FloatArray]:
    """Return closed rings, or none when the exterior encloses nothing."""
    rings: list[FloatArray] = []
    for index, item in enumerate(_need(coordinates, list, "coordinates of a polygon must be a list of rings")):
        ring = _read_ring(item)
        if len(ring) > 1 and not np.array_equal(ring[0], ring[-1]):
            ring = np.concatenate((ring, ring[:1]))
            notes.append("a ring was not closed; its last corner has been joined to its first")
        if len(np.unique(ring, axis=0)) >= 3:
            rings.append(ring)
        elif index == 0:
            return []
        else:
            notes.append("a hole with fewer than 3 distinct corners has been left out")
    return rings


def _read_ring(item: Any) -> FloatArray:
    if not _need(item, list, "a ring must be a list of [longitude, latitude]"):
        return np.empty((0, 2), dtype=np.float64)
    for position in item:
        if not isinstance(position, list) or len(position) < 2:
            raise RefusedError(f"a position must be [longitude, latitude], got {_shown(position)}")
        # bool is a kind of int in Python, but true is no coordinate.
        if not all(isinstance(value, int | float) and not isinstance(value, bool) for value in position[:2]):
            raise RefusedError(f"a position must be two numbers, got {_shown(position)}")
        longitude, latitude = position[0], position[1]
        if not (-180.0 <= longitude <= 180.0 and -90.0 <= latitude <= 90.0):
            message = (
                f"[{_shown(longitude)}, {_shown(latitude)}] is not a longitude (-180 to 180) and latitude (-90 to 90)"
            )
            if -90.0 <= longitude <= 90.0 and -180.0 <= latitude <= 180.0:
                raise RefusedError(f"{message}. Latitude and longitude are exchanged: GeoJSON has longitude first")
            raise RefusedError(f"{message}. Export the file again in WGS 84 (EPSG:4326), not on a metre or foot grid")
    return np.array([position[:2] for position in item], dtype=np.float64)


def _name_of(properties: Any) -> str:
    if not isinstance(properties, dict):
        return ""
    lower = {key.strip().lower(): value for key, value in reversed(properties.items())}
    for key in NAME_KEYS:
        value = lower.get(key)
        # a whole number of thousands of digits cannot be written out
        if isinstance(value, str | float) or (type(value) is int and abs(value) < 10**15):
            text = (f"{value:.15g}" if isinstance(value, float) else str(value))[:1000]
            # a lone surrogate escape, which no file could be written with, becomes a question mark
            text = text.encode("utf-8", "replace").decode("utf-8")
            printable = "".join(sign if sign.isprintable() else " " for sign in text)
            name = " ".join(printable.split())[:_NAME_MAX].strip()
            if name:
                return name
    return ""


def _shown(value: Any) -> str:
    """Show a value in a message; lists and objects by their kind, for they may be huge or deep."""
    return _kind(value) if value is None or isinstance(value, list | dict) else shown(value, 80)


def _kind(value: Any) -> str:
    if value is None:
        return "nothing (null or missing)"
    names = {dict: "an object", list: "a list", str: "text", bool: "true or false", int: "a number", float: "a number"}
    return names.get(type(value), type(value).__name__)
