"""Indices of how far a holding is broken into parcels.

They look at the sizes of the parcels alone: distance, shape and access are ignored, which is the common reproach to
them (Demetriou, Stillwell & See 2013, Comput. Environ. Urban Syst. 39:71-80).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def simmons(area_m2: ArrayLike) -> float:
    """Return ``sum a_i^2 / (sum a_i)^2`` (Simmons 1964, from memory): 1 for one parcel, 1/n for n equal ones."""
    areas = np.asarray(area_m2, dtype=np.float64)
    return float(np.sum(areas**2) / areas.sum() ** 2)


def januszewski(area_m2: ArrayLike) -> float:
    """Return ``sqrt(sum a) / sum sqrt(a)`` (Januszewski 1968, from memory): 1 for one parcel, 1/sqrt(n) for n equal."""
    areas = np.asarray(area_m2, dtype=np.float64)
    return float(np.sqrt(areas.sum()) / np.sqrt(areas).sum())
