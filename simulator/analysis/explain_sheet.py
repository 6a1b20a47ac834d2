"""The sheets of the evidence page: lines of arithmetic, each computed from the numbers that the page shows."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from simulator.analysis.explain_arithmetic import DIGITS, Number, evaluate, shown
from simulator.scenario.units import LITRE_PER_GALLON, M2_PER_ACRE, M2_PER_HECTARE

Kind = Literal["given", "calculated", "simulator", "range"]

TOLERANCE = 2e-3
"""Largest relative difference between a calculated figure and the simulator's own that counts as rounding: of the page
to six digits, and of the simulator's power to a cubic of mass (0.06 %)."""

_ACRE_M2 = shown(M2_PER_ACRE, 7)
_HECTARE_M2 = shown(M2_PER_HECTARE)
_GALLON_L = shown(LITRE_PER_GALLON, 7)


@dataclass(frozen=True)
class Line:
    """One line of the page.

    Parameters
    ----------
    quantity : str
        What it is.
    formula : str
        Arithmetic with numbers only; empty when the value is not calculated here.
    value : str
        Number as shown; of a range two numbers.
    unit : str
        Its unit; empty for a plain number.
    note : str
        Where a given value stands, or the source of a formula.
    kind : str
        Given, calculated, taken from the simulator, or a range over the fields.
    """

    quantity: str
    formula: str
    value: str
    unit: str
    note: str = ""
    kind: Kind = "calculated"


@dataclass(frozen=True)
class Check:
    """A calculated figure beside the simulator's own."""

    quantity: str
    calculated: float
    simulator: float
    unit: str

    @property
    def difference(self) -> float:
        """Relative difference; 0 when both are nothing."""
        scale = max(abs(self.calculated), abs(self.simulator))
        return abs(self.calculated - self.simulator) / scale if scale > 0.0 else 0.0


@dataclass
class Sheet:
    """One section of the page, written line by line.

    Parameters
    ----------
    title : str
        Heading.
    metric : bool
        Areas in hectares and volumes in litres; else acres and US gallons.
    """

    title: str
    metric: bool = False
    lines: list[Line] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)

    @property
    def area_unit(self) -> str:
        """Unit of areas on this page."""
        return "ha" if self.metric else "acre"

    def given(self, quantity: str, value: float, unit: str = "", note: str = "", digits: int = DIGITS) -> Number:
        """Write a value that is not calculated here."""
        number = Number.of(value, digits)
        self.lines.append(Line(quantity, "", number.text, unit, note, "given"))
        return number

    def calc(self, quantity: str, formula: str, unit: str = "", note: str = "") -> Number:
        """Write a formula, evaluate it as written, and return the rounded result."""
        number = Number.of(evaluate(formula))
        self.lines.append(Line(quantity, formula, number.text, unit, note))
        return number

    def agree(self, quantity: str, number: Number, simulator: float, unit: str = "") -> Number:
        """Hold a calculated figure against the simulator's own, and return the one to go on with.

        Parameters
        ----------
        quantity : str
            What it is.
        number : Number
            As calculated on the page.
        simulator : float
            As the simulator has it.
        unit : str, optional
            Unit of both.

        Returns
        -------
        Number
            ``number`` when they agree; else the simulator's, on a line that says so, since it holds something that the
            page does not write out.
        """
        check = Check(quantity, float(number), simulator, unit)
        self.checks.append(check)
        if check.difference <= TOLERANCE or not math.isfinite(simulator):
            return number
        ours = Number.of(simulator)
        note = f"the simulator's own figure, used from here on; the line above is off by {check.difference:.1%}"
        self.lines.append(Line(quantity, "", ours.text, unit, note, "simulator"))
        return ours

    def area(self, quantity: str, area_m2: Number, note: str = "") -> Number:
        """Write an area in the page's unit."""
        return self.calc(quantity, f"{area_m2} / {_HECTARE_M2 if self.metric else _ACRE_M2}", self.area_unit, note)

    def rate_note(self, rate: Number, liquid: bool) -> None:
        """Write an application rate in the units of a label."""
        per = _HECTARE_M2 if self.metric else _ACRE_M2
        if liquid:
            litre = "" if self.metric else f" / {_GALLON_L}"
            self.calc("rate as on the label", f"{rate} × {per}{litre}", "L/ha" if self.metric else "gal/acre")
        else:
            pound = "" if self.metric else " / 0.4535924"
            self.calc("rate as on the label", f"{rate} × {per}{pound}", "kg/ha" if self.metric else "lb/acre")

    def span(self, quantity: str, low: float, high: float, unit: str, note: str = "") -> None:
        """Write the range of a figure over the fields, as the simulator has it."""
        low_text, high_text = shown(low, 4), shown(high, 4)
        text = low_text if low_text == high_text else f"{low_text} to {high_text}"
        self.lines.append(Line(quantity, "", text, unit, note, "range"))
