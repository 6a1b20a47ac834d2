"""Answers of studies as JSON documents."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from simulator.experiment.estimates import Interval


def interval_json(interval: Interval) -> dict[str, Any]:
    """Return an interval as a document."""
    return {"mean": interval.mean, "ci95": [interval.low, interval.high]}


def clean(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return a document in which numbers that JSON does not know are null."""

    def one(value: Any) -> Any:
        if isinstance(value, Mapping):
            return {str(key): one(item) for key, item in value.items()}
        if isinstance(value, list | tuple):
            return [one(item) for item in value]
        if isinstance(value, np.bool_):
            return bool(value)
        if isinstance(value, np.integer):
            return int(value)
        if isinstance(value, float | np.floating):
            return float(value) if math.isfinite(value) else None
        return value

    cleaned: dict[str, Any] = one(document)
    return cleaned
