"""Small boundary files of every kind, made from plain shapes."""

import io
import json
import tempfile
import warnings
import zipfile
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import shapely

SYSTEMS = {
    "UTM": "EPSG:32617",
    "state plane, US feet": "EPSG:2264",
    "state plane, international feet": "EPSG:2273",
    "web Mercator": "EPSG:3857",
    "longitude and latitude": "EPSG:4326",
    "NAD 83": "EPSG:4269",
}
EAST, NORTH = -80.0, 35.0
"""Within the zones of these systems."""
SHAPES = {
    "home": shapely.box(EAST, NORTH, EAST + 0.01, NORTH + 0.006),
    "pond": shapely.Polygon(
        shapely.box(EAST + 0.02, NORTH, EAST + 0.03, NORTH + 0.008).exterior,
        [shapely.box(EAST + 0.022, NORTH + 0.002, EAST + 0.025, NORTH + 0.004).exterior],
    ),
    "two parts": shapely.MultiPolygon(
        [shapely.box(EAST, NORTH + 0.01, EAST + 0.004, NORTH + 0.014),
         shapely.box(EAST + 0.0043, NORTH + 0.01, EAST + 0.008, NORTH + 0.014)]
    ),
}  # fmt: skip


def geojson(shapes=SHAPES):
    features = [
        {"type": "Feature", "properties": {"name": name}, "geometry": json.loads(shapely.to_geojson(shape))}
        for name, shape in shapes.items()
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def moved(shape, system):
    change = pyproj.Transformer.from_crs("OGC:CRS84", system, always_xy=True)
    return shapely.transform(shape, lambda xy: np.column_stack(change.transform(xy[:, 0], xy[:, 1])))


def written(path, shapes=SHAPES, system="EPSG:32617", column="name", kind="MultiPolygon", layer=None, driver=None):
    """Write shapes that are in longitude and latitude to a file in another system; None: without one, as they are."""
    drawn = [shape if shape is None or system is None else moved(shape, system) for shape in shapes.values()]
    if kind == "MultiPolygon":
        drawn = [one if getattr(one, "geom_type", "") != "Polygon" else shapely.MultiPolygon([one]) for one in drawn]
    wkb = np.array([one if one is None else shapely.to_wkb(one) for one in drawn], dtype=object)
    names = np.array(list(shapes), dtype=object if isinstance(next(iter(shapes)), str) else None)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pyogrio.raw.write(
            path, wkb, [np.arange(len(names)), names], np.array(["serial", column]), geometry_type=kind, crs=system,
            driver=driver or {".gpkg": "GPKG", ".shp": "ESRI Shapefile"}[path.suffix], layer=layer,
        )  # fmt: skip
    return path


def parts(**options):
    """Return the bytes of a shapefile's files, by ending."""
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder, "made.shp"), **options)
        return {one.suffix: one.read_bytes() for one in path.parent.iterdir()}


def geopackage(**options):
    with tempfile.TemporaryDirectory() as folder:
        return written(Path(folder, "made.gpkg"), **options).read_bytes()


def packed(files):
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return held.getvalue()


def shapefile(stem="fields", **options):
    return packed({stem + ending: content for ending, content in parts(**options).items()})


def _ring(ring):
    places = " ".join(f"{x!r},{y!r},310" for x, y in shapely.get_coordinates(ring).tolist())
    return f"<LinearRing><coordinates>\n {places}\n</coordinates></LinearRing>"


def _placemark(name, shape):
    drawn = "".join(
        f"<Polygon><outerBoundaryIs>{_ring(part.exterior)}</outerBoundaryIs>"
        + "".join(f"<innerBoundaryIs>{_ring(hole)}</innerBoundaryIs>" for hole in part.interiors)
        + "</Polygon>"
        for part in shapely.get_parts(shape)
    )
    return f"<Placemark><name>{name}</name><MultiGeometry>{drawn}</MultiGeometry></Placemark>"


def kml(shapes=SHAPES, more=""):
    folders = "".join(f"<Folder><name>folder</name>{_placemark(*one)}</Folder>" for one in shapes.items())
    space = 'xmlns="http://www.opengis.net/kml/2.2"'
    return f'<?xml version="1.0" encoding="UTF-8"?>\n<kml {space}><Document>{folders}{more}</Document></kml>'.encode()
