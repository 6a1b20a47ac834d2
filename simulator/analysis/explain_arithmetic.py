"""Arithmetic as it is printed on the evidence page: numbers shown with a fixed number of digits, and a small evaluator.

The page computes each line by evaluating the very text that it prints, so whoever follows it with a pocket calculator
meets the printed result. No Python code is ever evaluated.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

DIGITS = 6
"""Significant digits of every number on the page."""
_NOTHING = 1e-12
LONGEST = 20_000
"""Characters of the longest formula."""
DEEPEST = 30
"""Nested brackets at most."""

_TOKEN = re.compile(r"\s*(?:(?P<number>\d+(?:\.\d+)?(?:[eE][+-]?\d+)?)|(?P<name>[a-z]+)|(?P<sign>[-+×*/^(),]))")

_FUNCTIONS: dict[str, tuple[Callable[..., float], int | None]] = {
    # name: function, number of arguments (None: two or more)
    "sqrt": (math.sqrt, 1),
    "ln": (math.log, 1),
    "acos": (math.acos, 1),
    "floor": (lambda value: float(math.floor(value)), 1),
    "min": (min, None),
    "max": (max, None),
}


def shown(value: float, digits: int = DIGITS) -> str:
    """Return a number as the page shows it.

    Parameters
    ----------
    value : float
        Finite number.
    digits : int, optional
        Significant digits; zeros at the end of the decimals are left out.

    Returns
    -------
    str
        Plain decimal notation without an exponent.

    Raises
    ------
    ValueError
        Not finite.
    """
    if not math.isfinite(value):
        raise ValueError(f"value: got {value!r}, allowed a finite number")
    text = format(Decimal(f"{value:.{digits - 1}e}"), "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


@dataclass(frozen=True)
class Number:
    """A number of the page: what is printed, and exactly that as a float.

    Parameters
    ----------
    text : str
        As :func:`shown` gives it.
    """

    text: str

    @classmethod
    def of(cls, value: float, digits: int = DIGITS) -> Number:
        """Make the number that the page shows for a value; what rounding leaves of nothing is nothing."""
        return cls(shown(value if abs(value) >= _NOTHING else 0.0, digits))

    def __float__(self) -> float:
        """Return the printed value."""
        return float(self.text)

    def __str__(self) -> str:
        """Return it for a formula: a negative one in brackets."""
        return f"({self.text})" if self.text.startswith("-") else self.text

    def __format__(self, spec: str) -> str:
        """Return it for a formula; no format is taken."""
        return str(self)


def evaluate(text: str) -> float:
    """Return the value of a printed formula.

    Parameters
    ----------
    text : str
        Numbers, ``+ - × * / ^``, brackets, ``pi``, and ``sqrt ln acos floor min max`` (angles in radians).

    Raises
    ------
    ValueError
        Anything else, a division by zero, or a result that is not finite.
    """
    if len(text) > LONGEST:
        raise ValueError(f"formula: got {len(text)} characters, allowed {LONGEST}")
    reader = _Reader(text)
    try:
        value = reader.sum(0)
    except (ArithmeticError, RecursionError) as error:
        raise ValueError(f"formula {text!r}: {error}") from error
    reader.expect_end()
    if isinstance(value, complex) or not math.isfinite(value):
        raise ValueError(f"formula {text!r}: got {value!r}, allowed a finite result")
    return value


class _Reader:
    """Recursive descent over the tokens of a formula."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._tokens: list[str] = []
        place = 0
        while place < len(text.rstrip()):
            found = _TOKEN.match(text, place)
            if found is None:
                raise ValueError(f"formula {text!r}: cannot read {text[place : place + 10]!r}")
            self._tokens.append(found.group().strip())
            place = found.end()
        self._at = 0

    def _peek(self) -> str:
        return self._tokens[self._at] if self._at < len(self._tokens) else ""

    def _next(self) -> str:
        token = self._peek()
        self._at += 1
        return token

    def _take(self, wanted: str) -> None:
        got = self._next()
        if got != wanted:
            raise ValueError(f"formula {self._text!r}: got {got or 'the end'!r}, allowed {wanted!r}")

    def expect_end(self) -> None:
        """Refuse what is left over."""
        if self._peek():
            raise ValueError(f"formula {self._text!r}: got {self._peek()!r}, allowed the end")

    def sum(self, depth: int) -> float:
        """Read terms joined by + and -."""
        if depth > DEEPEST:
            raise ValueError(f"formula: got more than {DEEPEST} nested brackets")
        value = self._product(depth)
        while self._peek() in ("+", "-"):
            value = value + self._product(depth) if self._next() == "+" else value - self._product(depth)
        return value

    def _product(self, depth: int) -> float:
        value = self._signed(depth)
        while self._peek() in ("×", "*", "/"):
            value = value / self._signed(depth) if self._next() == "/" else value * self._signed(depth)
        return value

    def _signed(self, depth: int) -> float:
        if depth > DEEPEST:
            raise ValueError(f"formula: got more than {DEEPEST} signs and brackets in one another")
        if self._peek() in ("-", "+"):
            negative = self._next() == "-"
            value = self._signed(depth + 1)
            return -value if negative else value
        base = self._atom(depth)
        if self._peek() == "^":
            self._next()
            power = self._signed(depth + 1)
            if base < 0.0 and power != int(power):
                raise ValueError(f"formula {self._text!r}: a negative number has no power {power:g}")
            return math.pow(base, power)
        return base

    def _atom(self, depth: int) -> float:
        token = self._next()
        if token == "(":
            value = self.sum(depth + 1)
            self._take(")")
            return value
        if token == "pi":
            return math.pi
        if token in _FUNCTIONS:
            return self._call(token, depth)
        if token[:1].isdigit():
            return float(token)
        raise ValueError(
            f"formula {self._text!r}: got {token or 'the end'!r}, allowed a number, a bracket or a function"
        )

    def _call(self, name: str, depth: int) -> float:
        function, count = _FUNCTIONS[name]
        self._take("(")
        values = [self.sum(depth + 1)]
        while self._peek() == ",":
            self._next()
            values.append(self.sum(depth + 1))
        self._take(")")
        if (count is None and len(values) < 2) or (count is not None and len(values) != count):
            raise ValueError(
                f"formula {self._text!r}: {name} got {len(values)} arguments, allowed {count or 'two or more'}"
            )
        return float(function(*values))
