"""Boundaries of KML, KMZ, shapefiles and GeoPackages as GeoJSON features, which `simulator.scenario.geojson` reads.

KML is read here, as XML without document types. Shapefiles and GeoPackages are read by GDAL, under names of our own in
a folder of our own, once their first bytes leave it no other driver, and nothing in them can stand for far more.
"""

from __future__ import annotations

import io
import json
import re
import sqlite3
import tempfile
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from itertools import islice
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np

from simulator.errors import InputError, Problem
from simulator.scenario.geojson import NAME_KEYS, Parsed, RefusedError, parse_features
from simulator.scenario.shown import shown

MOST_UNZIPPED_BYTES = 200_000_000
MOST_FEATURES = 100_000
MOST_CORNERS = 2_000_000
"""Of a layer that GDAL reads; those of a text are bounded by its size."""
MOST_LAYERS = 100
_MOST_MEMBERS = 10_000
_MOST_RINGS = 8_000
"""Of a shapefile of one area: which ring lies in which takes the square of their number in each."""
_SQLITE_STEPS, _STEPS_AT_ONCE = 300_000_000, 100_000
_SHAPEFILE, _GEOPACKAGE = b"\0\0\x27\x0a", b"SQLite format 3\0"
_PARTS = (".shx", ".dbf", ".prj", ".cpg")
_COMPUTED = re.compile(r"\bAS\s*\(|^CREATE\s+VIRTUAL\s+TABLE(?!.*\bUSING\s+\"?rtree\b)", re.IGNORECASE | re.DOTALL)

_Entry = tuple[Any, dict[str, Any]]
"""Geometry and properties of a feature, as GeoJSON has them."""


def parts_beside(path: Path) -> list[Path]:
    """Return the other files of a ``.shp``: those of its name in its own folder, none of them a link out of it."""
    wanted = [path.with_suffix(ending) for part in _PARTS for ending in (part.upper(), part)]
    shapefile = path.suffix.lower() == ".shp"
    return [one for one in wanted if shapefile and one.is_file() and one.resolve().parent == path.resolve().parent]


def zipped(parts: Mapping[Path, bytes]) -> bytes:
    """Return the parts of a shapefile as the zip file that they could have come in."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        for part, content in parts.items():
            archive.writestr(part.name, content)
    return held.getvalue()


def parse_map_file(content: bytes, file: str) -> Parsed | None:
    """Read polygons from a file by its first bytes; None when they are those of no such file."""
    notes: list[str] = []
    if content.startswith(b"PK"):
        found = _zip_entries(content, notes)
    elif content.startswith(_SHAPEFILE):
        found = _shapefile_entries({".shp": content}, "the shapefile", notes)
    elif content.startswith(_GEOPACKAGE):
        found = _layer_entries({".gpkg": content}, notes)
    elif content[:400].lstrip(b"\xef\xbb\xbf\xfe\xff\0 \t\r\n").startswith(b"<"):
        found = _kml_entries(content, notes)
    else:
        return None
    try:
        entries = list(islice(found, MOST_FEATURES + 1))
        if len(entries) > MOST_FEATURES:
            raise RefusedError(f"holds more than {MOST_FEATURES} features; allowed are fewer: split it")
    except RefusedError as refused:
        raise InputError.single(str(refused), file=file) from refused
    parsed = parse_features([{"type": "Feature", "geometry": one, "properties": more} for one, more in entries], file)
    parsed.warnings[:0] = [Problem("", note, file) for note in notes]
    return parsed


def _zip_entries(content: bytes, notes: list[str]) -> Iterator[_Entry]:
    """Read every shapefile of a zip file, or else its first KML file; nothing is written under names that it gives."""
    if content.count(b"PK\x01\x02") > _MOST_MEMBERS:
        raise RefusedError(f"holds more than {_MOST_MEMBERS} files; allowed is a zipped shapefile or a KMZ file")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = {
                PurePosixPath(one.filename.lower()): one
                for one in archive.infolist()
                if not one.filename.startswith("__MACOSX")
            }
            shapes = sorted(path for path in members if path.suffix == ".shp")
            wanted = shapes or [path for path in members if path.suffix == ".kml"][:1]
            endings = (".shp", *_PARTS) if shapes else (".kml",)
            data, left = dict[PurePosixPath, bytes](), MOST_UNZIPPED_BYTES
            for path in (path.with_suffix(ending) for path in wanted[: MOST_LAYERS + 1] for ending in endings):
                if path in members:
                    data[path] = _unzipped(archive, members[path], left)
                    left -= len(data[path])
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError) as error:
        raise RefusedError(f"is a damaged zip file: {shown(str(error), 80)}") from error
    if not 0 < len(wanted) <= MOST_LAYERS:
        allowed = f"a zipped shapefile (.shp, .shx, .dbf, .prj), at most {MOST_LAYERS} of them, or a KMZ file"
        raise RefusedError(f"is a zip file with {len(shapes)} shapefiles and no KML in it; allowed is {allowed}")
    if len(shapes) > 1:
        notes.append(f"holds {len(shapes)} shapefiles, and all are used: {', '.join(shown(p.stem) for p in shapes)}")
    for path in wanted:
        own = {place.suffix: data[place] for place in data if place.with_suffix(path.suffix) == path}
        yield from _shapefile_entries(own, shown(path.name), notes) if shapes else _kml_entries(own[".kml"], notes)


def _unzipped(archive: zipfile.ZipFile, member: zipfile.ZipInfo, most_bytes: int) -> bytes:
    if member.flag_bits & 1 or member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise RefusedError(f"{shown(member.filename)} in it has a password or a rare compression; zip it plainly")
    with archive.open(member) as stream:
        content = stream.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise RefusedError(f"holds more than {MOST_UNZIPPED_BYTES / 1e6:.0f} MB unzipped; allowed is less")
    return content


def _kml_entries(content: bytes, notes: list[str]) -> Iterator[_Entry]:
    from xml.etree.ElementTree import ParseError

    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import iterparse

    root, links = None, 0
    try:
        for event, element in iterparse(io.BytesIO(content), ("start", "end"), forbid_dtd=True):
            kind = element.tag.rpartition("}")[2]
            if root is None and kind != "kml":
                raise RefusedError("is XML, but not KML; allowed is KML")
            root = element if root is None else root
            if event == "end" and kind in ("Placemark", "NetworkLink"):
                links += kind == "NetworkLink"
                if kind == "Placemark":
                    yield _placemark(element)
                # what is done is let go, and not read again as a part of what it may be nested in
                element.clear()
    except DefusedXmlException as error:
        raise RefusedError("declares a document type or entities, which no KML needs; allowed is plain KML") from error
    except (ParseError, ValueError, LookupError) as error:
        raise RefusedError(f"is not valid XML: {shown(str(error), 80)}") from error
    if links:
        notes.append(f"its network links ({links}) are not followed: what they lead to is left out")


def _placemark(element: Any) -> _Entry:
    given = [*element.iterfind(".//{*}SimpleData"), *element.iterfind(".//{*}Data")]
    properties = {one.get("name", ""): one.text or one.findtext("{*}value") for one in given}
    name = (element.findtext("{*}name") or "").strip()
    rings = "{*}outerBoundaryIs/{*}LinearRing", "{*}innerBoundaryIs/{*}LinearRing"
    polygons = [
        [_corners(ring.findtext("{*}coordinates") or "") for path in rings for ring in polygon.iterfind(path)]
        for polygon in element.iterfind(".//{*}Polygon")
    ]
    geometry: Any = {"type": "MultiPolygon", "coordinates": polygons}
    if not polygons:
        other = [kind for kind in ("Point", "LineString") if element.find(f".//{{*}}{kind}") is not None]
        geometry = {"type": other[0]} if other else None
    return geometry, {"name": name, **properties} if name else properties


def _corners(text: str) -> list[list[float | str]]:
    return [[_number(value) for value in place.split(",")[:2]] for place in text.split()]


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


def _shapefile_entries(data: Mapping[str, bytes], name: str, notes: list[str]) -> Iterator[_Entry]:
    """Read a shapefile once its records are known to lie side by side, so that its size bounds what is read."""
    shapes, index = data[".shp"], data.get(".shx", b"")
    if len(index) < 100:
        message = "needs its other parts: give .shp, .shx, .dbf and .prj beside one another, or in one zip file"
        raise RefusedError(f"{name} {message}")
    if 2 * int.from_bytes(index[24:28], "big") != len(index):
        raise RefusedError(f"{name} is damaged: its .shx is not as long as it says")
    table = np.frombuffer(index[100 : 100 + (len(index) - 100) // 8 * 8], ">i4").reshape(-1, 2).astype(np.int64)
    begins, lengths = 2 * table[:, 0], 2 * table[:, 1] + 8
    if (table < 0).any() or lengths.sum() > len(shapes) or (begins + lengths > len(shapes)).any():
        raise RefusedError(f"{name} is damaged: its .shp holds less than its .shx says")
    # where areas have the number of their rings
    rings = np.frombuffer(shapes, np.uint8)[begins[lengths >= 48, None] + np.arange(44, 48)].copy().view("<i4")
    if (rings.astype(float) ** 2).sum() > _MOST_RINGS**2:
        raise RefusedError(f"{name} holds areas of up to {rings.max()} rings; allowed are simpler ones, in parts")
    yield from _layer_entries(data, notes)


def _check_geopackage(path: Path) -> None:
    """Refuse a database whose reading would compute, or come upon the same page again and again."""
    steps = iter(range(_SQLITE_STEPS // _STEPS_AT_ONCE))
    connection = sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True)
    try:
        connection.text_factory = lambda raw: raw.decode("utf-8", "replace")
        connection.set_progress_handler(lambda: next(steps, None) is None, _STEPS_AT_ONCE)
        made = connection.execute("SELECT type, name, sql FROM sqlite_master").fetchall()
        if ("table", "gpkg_contents") not in {(kind, name) for kind, name, _ in made}:
            raise RefusedError("is a database, but no GeoPackage; allowed is a GeoPackage (.gpkg)")
        if any(kind == "view" or (kind == "table" and _COMPUTED.search(str(text))) for kind, _, text in made):
            raise RefusedError("holds views or computed columns: export its fields as a GeoPackage of their own")
        connection.execute("PRAGMA ignore_check_constraints = ON")
        (said,) = connection.execute("PRAGMA quick_check(1)").fetchone()
    except (sqlite3.Error, ValueError) as error:
        said = str(error)
    finally:
        connection.close()
    if said != "ok":
        raise RefusedError(f"is a damaged GeoPackage: {shown(said, 80)}")


def _layer_entries(data: Mapping[str, bytes], notes: list[str]) -> Iterator[_Entry]:
    """Read the features of every layer that may hold areas, of a GeoPackage or the parts of one shapefile."""
    import pyogrio
    import shapely

    # nothing is fetched, whatever a file names
    pyogrio.set_gdal_config_options({"CPL_VSIL_CURL_ALLOWED_FILENAME": "none", "OGR_SQLITE_LOAD_EXTENSIONS": None})
    with tempfile.TemporaryDirectory() as folder:
        for ending, content in data.items():
            # names in a coordinate system may be in any encoding; they decide nothing
            plain = re.sub(rb"[^\t-~]", b"?", content) if ending == ".prj" else content
            Path(folder, f"fields{ending}").write_bytes(plain)
        path = Path(folder, f"fields{next(iter({'.shp', '.gpkg'} & data.keys()))}")
        if ".gpkg" in data:
            _check_geopackage(path)
        try:
            with warnings.catch_warnings():
                # of how rings are wound and columns are declared, which is no matter here; what is lost is an error
                warnings.simplefilter("ignore")
                layers = pyogrio.list_layers(path)
                used = [str(name) for name, kind in layers if kind and "Point" not in kind and "Line" not in kind]
                if len(used) > 1:
                    notes.append(f"holds {len(used)} layers, and all are used: {', '.join(map(shown, used))}")
                for layer in used[:MOST_LAYERS]:
                    yield from _entries_of_layer(path, layer, notes)
                if len(used) > MOST_LAYERS:
                    raise RefusedError(f"holds {len(used)} layers; allowed are at most {MOST_LAYERS}")
        except (RuntimeError, ValueError, OverflowError, UnboundLocalError, shapely.errors.ShapelyError) as error:
            # the one but last by pyogrio, where a coordinate system is no text
            raise RefusedError(f"cannot be read: {shown(str(error).replace(folder, ''), 200)}") from error


def _entries_of_layer(path: Path, layer: str, notes: list[str]) -> Iterator[_Entry]:
    import pyogrio
    import shapely

    columns = [name for name in pyogrio.read_info(path, layer=layer)["fields"] if name.lower() in NAME_KEYS]
    most = MOST_FEATURES + 1
    meta, _, wkb, values = pyogrio.raw.read(path, layer=layer, columns=columns, force_2d=True, max_features=most)
    shapes = shapely.from_wkb(wkb, on_invalid="ignore")
    if shapely.get_num_coordinates(shapes).sum() > MOST_CORNERS:
        raise RefusedError(f"holds more than {MOST_CORNERS} corners; allowed are fewer: thin it out or split it")
    shapes = _lon_lat(shapes, meta["crs"], notes)
    lists = [column.tolist() for column in values]
    for place, shape in enumerate(shapes):
        properties = {str(name): column[place] for name, column in zip(meta["fields"], lists, strict=True)}
        broken = None if wkb[place] is None else {"type": "a broken boundary"}
        yield json.loads(shapely.to_geojson(shape)) if shape is not None else broken, properties


def _lon_lat(shapes: Any, system: str | None, notes: list[str]) -> Any:
    """Return shapes in longitude and latitude (WGS 84)."""
    import pyproj
    import pyproj.network
    import shapely

    if system is None:
        west, south, east, north = shapely.total_bounds(shapes)
        if west < -180.0 or south < -90.0 or east > 180.0 or north > 90.0:
            message = "names no coordinate system (a shapefile does so in its .prj), and its numbers are no longitude"
            raise RefusedError(f"{message} and latitude; export it again with its coordinate system")
        notes.append("names no coordinate system; its numbers are taken as longitude and latitude (WGS 84)")
        return shapes
    pyproj.network.set_network_enabled(False)  # type: ignore[attr-defined]
    try:
        change = pyproj.Transformer.from_crs(system, "OGC:CRS84", always_xy=True)
        return shapely.transform(shapes, lambda xy: np.column_stack(change.transform(xy[:, 0], xy[:, 1])))
    except pyproj.exceptions.ProjError as error:
        message = f"is in the coordinate system {shown(system, 80)}, which cannot be converted"
        raise RefusedError(f"{message}; allowed are those with a place on Earth, best EPSG:4326") from error
