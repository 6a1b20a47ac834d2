"""Indices of how far a holding is broken into parcels.

All but Igozurike's and Schmook's look at the sizes of the parcels alone: distance, shape and access are ignored, which
is the common reproach to them (Demetriou, Stillwell & See 2013, Comput. Environ. Urban Syst. 39:71-80).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.physics.swath import check_positive

FloatArray = NDArray[np.float64]


def simmons(area_m2: ArrayLike) -> float:
    """Return ``sum a_i^2 / (sum a_i)^2``: 1 for one parcel, 1/n for n equal ones.

    Source: Simmons 1964 (formula from memory).

    Parameters
    ----------
    area_m2 : array_like
        Parcel areas, any one unit, shape (n,).

    Returns
    -------
    float
        In (0, 1].

    Raises
    ------
    ValueError
        When there is no parcel or an area is not a positive number.
    """
    areas = _checked(area_m2)
    return float(np.sum(areas**2) / areas.sum() ** 2)


def simpson(area_m2: ArrayLike) -> float:
    """Return ``1 - simmons``: 0 for one parcel, near 1 for very many.

    Source: Simpson's index as used for holdings (formula from memory).

    Parameters
    ----------
    area_m2 : array_like
        Parcel areas, any one unit, shape (n,).

    Returns
    -------
    float
        In [0, 1).

    Raises
    ------
    ValueError
        As `simmons`.
    """
    return 1.0 - simmons(area_m2)


def januszewski(area_m2: ArrayLike) -> float:
    """Return ``sqrt(sum a) / sum sqrt(a)``: 1 for one parcel, 1/sqrt(n) for n equal ones.

    Source: Januszewski 1968 (formula from memory).

    Parameters
    ----------
    area_m2 : array_like
        Parcel areas, any one unit, shape (n,).

    Returns
    -------
    float
        In (0, 1].

    Raises
    ------
    ValueError
        As `simmons`.
    """
    areas = _checked(area_m2)
    return float(np.sqrt(areas.sum()) / np.sqrt(areas).sum())


def igozurike(area_m2: ArrayLike, round_trip_m: float) -> float:
    """Return ``D_t / (mean area / 100)`` with the round trip D_t in km and the mean area in hectares.

    Source: Igozurike 1974 (formula from memory).

    Parameters
    ----------
    area_m2 : array_like
        Parcel areas, m2, shape (n,).
    round_trip_m : float
        Length of one round trip that visits every parcel, m, zero or more.

    Returns
    -------
    float
        Zero or more; larger is more fragmented.

    Raises
    ------
    ValueError
        As `simmons`, or when the round trip is negative or not finite.
    """
    areas = _checked(area_m2)
    if not (np.isfinite(round_trip_m) and round_trip_m >= 0.0):
        raise ValueError(f"round_trip_m must be zero or more, got {round_trip_m!r}")
    return float((round_trip_m / 1e3) / (areas.mean() / 1e4 / 100.0))


def schmook(area_m2: ArrayLike, enclosing_m2: float) -> float:
    """Return the area of the polygon around all parcels over the area of the holding.

    Source: Schmook 1976 (formula from memory).

    Parameters
    ----------
    area_m2 : array_like
        Parcel areas, m2, shape (n,).
    enclosing_m2 : float
        Area of the polygon around all parcels, m2; see `enclosing_area_m2`.

    Returns
    -------
    float
        1 or more when the polygon encloses the parcels.

    Raises
    ------
    ValueError
        As `simmons`, or when the enclosing area is not a positive number.
    """
    areas = _checked(area_m2)
    check_positive("enclosing_m2", enclosing_m2)
    return float(enclosing_m2 / areas.sum())


def enclosing_area_m2(xy_m: ArrayLike) -> float:
    """Return the area of the convex hull of points, such as all corners of all parcels.

    Parameters
    ----------
    xy_m : array_like
        Points, m, shape (n, 2).

    Returns
    -------
    float
        Area, m2; zero for fewer than three points or points on a line.

    Raises
    ------
    ValueError
        When the shape is not (n, 2).
    """
    import shapely

    points = np.asarray(xy_m, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2:
        raise ValueError(f"xy_m must have shape (n, 2), got {points.shape}")
    return float(shapely.area(shapely.convex_hull(shapely.multipoints(points))))


def _checked(area_m2: ArrayLike) -> FloatArray:
    areas = np.asarray(area_m2, dtype=np.float64)
    if areas.ndim != 1 or len(areas) == 0 or not (np.isfinite(areas) & (areas > 0.0)).all():
        raise ValueError(f"area_m2 must be one or more positive numbers, got {area_m2!r}")
    return areas
