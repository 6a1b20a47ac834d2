"""Results and answers as documents of JSON."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from operator import attrgetter
from typing import Any

import numpy as np

from simulator.experiment.estimates import Interval


def as_json(value: Any) -> Any:
    """Return what JSON knows of a value: tables as rows, intervals with limits, null where a number is missing."""
    if isinstance(value, Interval):
        return as_json({"mean": value.mean, "ci95": [value.low, value.high]})
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        names = getattr(value, "document", ()) or [field.name for field in dataclasses.fields(value)]
        split = [name.partition("=") for name in names]
        return {key: as_json(attrgetter(place or key)(value)) for key, _, place in split}
    if isinstance(value, Mapping):
        return {str(key): as_json(item) for key, item in value.items()}
    if hasattr(value, "to_dict"):
        return as_json(value.to_dict(orient="records"))
    if isinstance(value, list | tuple | np.ndarray):
        return [as_json(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not math.isfinite(value) else value
