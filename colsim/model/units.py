"""Strict reader of measurements written as text, such as ``"2 9/16 in"``.

One number, one unit from a closed list; anything else is refused. Strictness is the point: a reader that
guesses turns ``"66,5 mm"`` into 665.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Any

from colsim.errors import ScenarioError

__all__ = ["QUANTITIES", "Quantity", "as_float", "read_quantity"]

INCH_IN_MM = 25.4  # exact, international yard and pound agreement of 1959
POUND_IN_KG = 0.45359237  # exact, the same agreement
STANDARD_GRAVITY = 9.80665  # m/s2, exact, 3rd General Conference on Weights and Measures, 1901
FLUID_OUNCE_IN_ML = 231 * 2.54**3 / 128  # exact, the gallon of 231 cubic inches


@dataclass(frozen=True)
class Quantity:
    """A kind of measurement: the unit it is kept in, and the units that text may carry."""

    name: str
    base: str
    factors: Mapping[str, float]
    example: str
    offsets: Mapping[str, float]


def _quantity(
    name: str, base: str, example: str, factors: dict[str, float], offsets: dict[str, float] | None = None
) -> Quantity:
    return Quantity(name, base, MappingProxyType({base: 1.0, **factors}), example, MappingProxyType(offsets or {}))


_POUND_FORCE = POUND_IN_KG * STANDARD_GRAVITY
_POUND_FORCE_INCH = POUND_IN_KG * STANDARD_GRAVITY * INCH_IN_MM / 1000.0

QUANTITIES: Mapping[str, Quantity] = MappingProxyType(
    {
        q.name: q
        for q in (
            _quantity(
                "length",
                "mm",
                '"66.5 mm", "2.6 in" or "2 9/16 in"',
                {"cm": 10.0, "m": 1000.0, "in": INCH_IN_MM, "ft": 304.8},
            ),
            _quantity(
                "mass",
                "kg",
                '"0.52 kg", "520 g" or "18.5 oz"',
                {"g": 1e-3, "lb": POUND_IN_KG, "oz": POUND_IN_KG / 16},
            ),
            _quantity("angle", "deg", '"60 deg"', {"rad": math.degrees(1.0)}),
            _quantity("speed of turning", "rpm", '"15 rpm" or "90 deg/s"', {"deg/s": 1 / 6, "rad/s": 30 / math.pi}),
            _quantity(
                "torque",
                "N m",
                '"8 N m" or "70 lbf in"',
                {"lbf in": _POUND_FORCE_INCH, "lbf ft": 12 * _POUND_FORCE_INCH},
            ),
            _quantity("force", "N", '"60 N" or "13.5 lbf"', {"kgf": STANDARD_GRAVITY, "lbf": _POUND_FORCE}),
            _quantity(
                "stiffness",
                "N/mm",
                '"70 N/mm", "7 kgf/mm" or "400 lbf/in"',
                {"kgf/mm": STANDARD_GRAVITY, "lbf/in": _POUND_FORCE / INCH_IN_MM, "N/m": 1e-3, "kN/m": 1.0},
            ),
            _quantity(
                "pressure", "kPa", '"30 kPa" or "4.4 psi"', {"bar": 100.0, "psi": 1000 * _POUND_FORCE / INCH_IN_MM**2}
            ),
            _quantity("modulus", "MPa", '"3000 MPa" or "3 GPa"', {"GPa": 1000.0}),
            _quantity("volume", "ml", '"520 ml", "0.52 l" or "17.6 fl oz"', {"l": 1000.0, "fl oz": FLUID_OUNCE_IN_ML}),
            _quantity("temperature", "C", '"5 C" or "41 F"', {"F": 5 / 9}, {"F": -160 / 9}),
        )
    }
)

_WHOLE_OR_DECIMAL = r"\d+(?:\.\d+)?|\.\d+"
_NUMBER = re.compile(
    rf"(?P<sign>[-+]?)(?:(?P<decimal>{_WHOLE_OR_DECIMAL})|(?:(?P<whole>\d+) )?(?P<numerator>\d+)/(?P<denominator>\d+))"
)
_TEXT = re.compile(rf"(?P<number>{_NUMBER.pattern}) *(?P<unit>[A-Za-z].*)", re.ASCII)


def read_quantity(value: Any, quantity: Quantity) -> float:
    """Read a number, or text with a number and a unit, into the quantity's base unit.

    Parameters
    ----------
    value : float, int or str
        A plain number is taken in the base unit; text must carry a unit of the list.
    quantity : Quantity
        The kind of measurement, one of `QUANTITIES`.

    Returns
    -------
    float
        The value in ``quantity.base``.

    Raises
    ------
    ScenarioError
        If the value is neither a number nor text of one number and one listed unit.

    Examples
    --------
    >>> read_quantity("2 9/16 in", QUANTITIES["length"])
    65.0875
    >>> read_quantity("66,5 mm", QUANTITIES["length"])
    Traceback (most recent call last):
    ...
    colsim.errors.ScenarioError: got "66,5 mm", which has a comma; ... write a decimal point: "66.5 mm"
    """
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return as_float(value)
    allowed = (
        f"allowed: a number in {quantity.base}, or text of one number and one unit of "
        f"{', '.join(quantity.factors)}, such as {quantity.example}"
    )
    if not isinstance(value, str):
        raise ScenarioError(f"got {value!r}, which is no {quantity.name}; {allowed}")
    text = value.strip()
    match = _TEXT.fullmatch(text)
    if match is None:
        raise ScenarioError(f'got "{value}"{_what_is_wrong(text)}; {allowed}{_what_to_write(text, quantity)}')
    unit = " ".join(match["unit"].split())
    if unit not in quantity.factors:
        raise ScenarioError(f'got "{value}", whose unit "{unit}" is not one for a {quantity.name}; {allowed}')
    # In fractions, so that "2 9/16 in" is 65.0875 mm and not its neighbour.
    scaled = _number(match) * Fraction(repr(quantity.factors[unit]))
    return as_float(scaled + Fraction(repr(quantity.offsets.get(unit, 0.0))))


def as_float(value: float | Fraction) -> float:
    """Return the value as a float, or raise `ScenarioError` if it is beyond every float."""
    try:
        return float(value)
    except OverflowError:
        raise ScenarioError("got a number of more than 300 digits; allowed: a finite number") from None


def _number(match: re.Match[str]) -> Fraction:
    if match["decimal"] is not None:
        size = Fraction(match["decimal"])
    else:
        if int(match["denominator"]) == 0:
            raise ScenarioError(f'got "{match.string}", a fraction with a zero below; read the tape again')
        size = int(match["whole"] or 0) + Fraction(int(match["numerator"]), int(match["denominator"]))
    return -size if match["sign"] == "-" else size


def _what_is_wrong(text: str) -> str:
    if "," in text:
        return ", which has a comma"
    if _NUMBER.fullmatch(text):
        return ", which has no unit"
    return ""


def _what_to_write(text: str, quantity: Quantity) -> str:
    with_point = text.replace(",", ".")
    if text.count(",") == 1 and _TEXT.fullmatch(with_point):
        return f'; write a decimal point: "{with_point}"'
    if _NUMBER.fullmatch(text):
        return f'; write "{text} {quantity.base}" if that is what it is'
    return ""
