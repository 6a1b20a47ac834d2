"""What the page's own script needs to draw a stored day again."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from simulator.report.day_figure import resources_of
from simulator.report.map_figure import driving_order
from simulator.report.numbers import ReportUnits
from simulator.scenario.units import M2_PER_ACRE, M_PER_FOOT, M_PER_MILE


def replay_data(records: Mapping[str, Mapping[str, Any]], units: ReportUnits) -> Markup:
    """Return the records by set and the settings of the replay as JSON in which no text can end its data block."""
    us = units.name == "us"
    scales = [("mi", 1.0 / M_PER_MILE), ("ft", 1.0 / M_PER_FOOT)] if us else [("km", 0.001), ("m", 1.0)]
    content = {
        "area_unit": units.area,
        "area_per_m2": units.per_acre / M2_PER_ACRE,
        "scales": scales,
        "resources": resources_of(records.values()),
        "records": [
            {
                **record,
                "equipment_set": name,
                "numbers": [number for _, number in sorted(driving_order(record).items())],
            }
            for name, record in records.items()
        ],
    }
    text = json.dumps(content, separators=(",", ":"), allow_nan=False)
    for mark, escape in (("<", "\\u003c"), (">", "\\u003e"), ("&", "\\u0026")):
        text = text.replace(mark, escape)
    return Markup(text)
