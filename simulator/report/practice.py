"""What a practitioner checks first of an equipment set, in few words: the model's own figures, by mean times."""

from __future__ import annotations

import re

from simulator.analysis.explain import practitioner_checks
from simulator.plan.day_plan import DayPlan
from simulator.report.numbers import fixed, report_units

_LEFT_OUT = ("minutes on the ground", "area an hour of one that never waits")
_OF_ONE = re.compile(r"(power asked|power that|weight to lift)(?: of|,)? (.*?)(?: gives)?")
_WORDS = {"power that": "power given"}


def practitioner_lines(plan: DayPlan) -> list[tuple[str, str]]:
    """Return acres a load, loads a charge, minutes, charge left, power, weight and people: what it is, and how much.

    Where a set has several aircraft, packs, rigs or power points, each amount says of which it tells.
    """
    area, said = report_units(plan.scenario.units).area, dict[str, dict[str, str]]()
    for sheet in practitioner_checks(plan):
        of = sheet.title if len(plan.rigs) > 1 else sheet.title.partition(" on rig ")[0]
        for line in sheet.lines:
            found = _OF_ONE.fullmatch(line.quantity)
            if found:
                words, of = _WORDS.get(found[1], found[1]), found[2]
            else:
                words = line.quantity.replace("area of", area).replace("area", area)
            told = (line.quantity != words and not found) or words.startswith("minutes")
            amount = f"{_digits(line.value)} {'' if told else line.unit}".rstrip()
            if line.quantity not in _LEFT_OUT:
                said.setdefault(words, {})[of] = amount
    return [
        (words, "; ".join(amount if len(amounts) == 1 else f"{of}: {amount}" for of, amount in amounts.items()))
        for words, amounts in said.items()
    ]


def _digits(value: float) -> str:
    """Return three significant digits, or whole."""
    return fixed(value, 0) if abs(value) >= 100.0 or value == round(value) else f"{value:.3g}"
