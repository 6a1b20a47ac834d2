"""What a practitioner checks first of an equipment set, in few words: the model's own figures, by mean times."""

from __future__ import annotations

import re

from simulator.analysis.digits import fixed
from simulator.analysis.explain import mean_field, practitioner_checks
from simulator.plan.day_plan import DayPlan
from simulator.report.numbers import report_units
from simulator.report.quantities import DRY_RATE, LIQUID_RATE, amount_text
from simulator.report.tables import FIELD_WORDS
from simulator.scenario.types import called
from simulator.scenario.units import M2_PER_ACRE

_LEFT_OUT = ("minutes on the ground", "area an hour of one that never waits")
_OF_ONE = re.compile(r"(power asked|power that|weight to lift)(?: of|,)? (.*?)(?: gives)?")
_WORDS = {"power that": "power given"}


def practitioner_lines(plan: DayPlan) -> list[tuple[str, str]]:
    """Return acres a load, loads a charge, minutes, charge left, power, weight and people: what it is, and how much.

    Where a set has several aircraft, packs, rigs or power points, each amount says of which it tells.
    """
    shown, said = report_units(plan.scenario.units), dict[str, dict[str, str]]()
    field, area = plan.fields[mean_field(plan)], shown.area
    rate = amount_text(field.rate, shown, LIQUID_RATE if plan.scenario.product.kind == "liquid" else DRY_RATE)
    said[FIELD_WORDS] = {"": f"{fixed(field.area_m2 / M2_PER_ACRE * shown.per_acre, 0)} {area} at {rate}"}
    sheets = practitioner_checks(plan)
    several_rigs, one_case = len(plan.rigs) > 1, len(sheets) == 2 * len(plan.rigs)
    classes, packs = plan.scenario.aircraft, plan.scenario.pack
    labels = {name: called(table, name, "aircraft") for name, table in classes.items()}
    flown = [sheet.title.partition(" with ")[0] for sheet in sheets]
    labels |= {
        f"{one} with {pack}": labels[one] if flown.count(one) == len(plan.rigs) else f"{labels[one]} with {label}"
        for one in classes
        for pack, label in ((name, called(table, name, "pack")) for name, table in packs.items())
    }
    for sheet in sheets:
        case, _, rig = sheet.title.rpartition("rig ")
        case = "" if several_rigs and one_case else case.removesuffix(" on ")
        for line in sheet.lines:
            found, words, unit = _OF_ONE.fullmatch(line.quantity), line.quantity, line.unit
            if found:
                words, case = _WORDS.get(found[1], found[1]), found[2]
            elif words.startswith(("area", "minutes")):
                words, unit = words.replace("area of", area).replace("area", area), ""
            if line.quantity not in _LEFT_OUT:
                named = labels.get(case, case.replace("_", " "))
                of = ", ".join(part for part in (named, rig if several_rigs else "") if part)
                said.setdefault(words, {})[of] = f"{plain_amount(line.value)} {unit}".rstrip()
    return [(words, _together(amounts)) for words, amounts in said.items()]


def _together(amounts: dict[str, str]) -> str:
    if len(set(amounts.values())) == 1:
        return next(iter(amounts.values())) + (" each" if len(amounts) > 1 else "")
    return "; ".join(f"{of}: {amount}" for of, amount in amounts.items())


def plain_amount(value: float) -> str:
    """Return no more digits than a stopwatch or a scale would show."""
    text = fixed(value, 0 if abs(value) >= 20.0 else 1 if abs(value) >= 1.0 else 2)
    return text.rstrip("0").rstrip(".") if "." in text else text
