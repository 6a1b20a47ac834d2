"""What the page's own script needs to draw a stored day again."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from simulator.report.html_day_charts import resources_of
from simulator.report.numbers import ReportUnits
from simulator.report.palette import resource_looks
from simulator.scenario.units import M2_PER_ACRE

FEET_PER_METRE = 1.0 / 0.3048


def replay_data(records: Mapping[str, Mapping[str, Any]], units: ReportUnits) -> Markup:
    """Return the day records and the settings of the replay as text for a JSON data block.

    Parameters
    ----------
    records : mapping
        Equipment set to its day record.
    units : ReportUnits
        Units that the page shows.

    Returns
    -------
    Markup
        JSON in which no text can end the data block: ``<``, ``>`` and ``&`` are written as escapes.
    """
    us = units.name == "us"
    looks = resource_looks(resources_of(records.values()))
    content = {
        "area_unit": units.area,
        "area_per_m2": units.per_acre / M2_PER_ACRE,
        "length_unit": "ft" if us else "m",
        "length_per_m": FEET_PER_METRE if us else 1.0,
        "resources": list(looks),
        "colours": [look.colour for look in looks.values()],
        "records": [{**record, "equipment_set": name} for name, record in records.items()],
    }
    text = json.dumps(content, separators=(",", ":"), allow_nan=False)
    for mark, escape in (("<", "\\u003c"), (">", "\\u003e"), ("&", "\\u0026")):
        text = text.replace(mark, escape)
    return Markup(text)
