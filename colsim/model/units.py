"""Strict reader of measurements written as text, such as ``"2 9/16 in"``.

One number, one unit from a closed list, or two of them as in ``"1 lb 3 oz"``; anything else is refused. Strictness is
the point: a reader that guesses turns ``"66,5 mm"`` into 665.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from numbers import Real
from types import MappingProxyType
from typing import Any

from colsim.errors import ScenarioError

__all__ = ["QUANTITIES", "Quantity", "as_float", "is_number", "likely_units", "read_friction", "read_quantity"]

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

    def unit_named(self, name: str) -> str | None:
        """Find the unit that a word or sign stands for, in capitals or not.

        Parameters
        ----------
        name : str
            Unit, its sign, or its English name.

        Returns
        -------
        str or None
            None if it is no unit of this quantity.
        """
        return self._by_name.get(_bare(name))

    @cached_property
    def _by_name(self) -> dict[str, str]:
        return {_bare(word): unit for unit in self.factors for word in (unit, *_WORDS.get(unit, ()))}


_WORDS: Mapping[str, tuple[str, ...]] = {
    "mm": ("millimetre", "millimetres", "millimeter", "millimeters"),
    "cm": ("centimetre", "centimetres", "centimeter", "centimeters"),
    "m": ("metre", "metres", "meter", "meters"),
    "in": ("inch", "inches", '"', "\N{DOUBLE PRIME}", "\N{RIGHT DOUBLE QUOTATION MARK}"),
    "ft": ("foot", "feet"),
    "kg": ("kilogram", "kilograms"),
    "g": ("gram", "grams"),
    "lb": ("lbs", "pound", "pounds"),
    "oz": ("ounce", "ounces"),
    "deg": ("degree", "degrees", "\N{DEGREE SIGN}"),
    "C": ("deg C", "\N{DEGREE SIGN}C", "Celsius"),
    "F": ("deg F", "\N{DEGREE SIGN}F", "Fahrenheit"),
    "ml": ("millilitre", "millilitres", "milliliter", "milliliters"),
    "l": ("litre", "litres", "liter", "liters"),
    "fl oz": ("fluid ounce", "fluid ounces"),
}
"""What else a unit may be called; capitals, full stops and spaces do not count."""


def _bare(name: str) -> str:
    return re.sub(r"[ .\N{MIDDLE DOT}]", "", name).casefold()


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
    rf"(?P<sign>[-+]?)(?:(?P<decimal>{_WHOLE_OR_DECIMAL})"
    r"|(?:(?P<whole>\d+)[- ])?(?P<numerator>\d+)/(?P<denominator>\d+))"
)
_UNIT = rf"[A-Za-z\"{re.escape(''.join(word for words in _WORDS.values() for word in words if not word.isascii()))}]"
_TEXT = re.compile(rf"(?P<number>{_NUMBER.pattern}) *(?P<unit>{_UNIT}.*)", re.ASCII)
_AND_LESS = re.compile(r"(?P<whole>\d+) *(?P<unit>[A-Za-z]+\.?) +(?P<rest>[\d.].*)", re.ASCII)
_LESS = MappingProxyType({"lb": ("oz", 16), "ft": ("in", 12)})
"""Units of which a whole number may stand before one of the next, and how many of those make one."""
_VULGAR = {
    sign: unicodedata.normalize("NFKD", sign).replace("\N{FRACTION SLASH}", "/")
    for sign in map(chr, (0xBC, 0xBD, 0xBE, *range(0x2150, 0x215F)))
}  # 1/4 to 3/4, and sevenths to eighths
_AFTER_WHOLE = re.compile(rf"(?<=[0-9])[- ]?(?=[{''.join(_VULGAR)}])")


def read_quantity(value: Any, quantity: Quantity) -> float:
    """Read a number, or text with a number and a unit, into the quantity's base unit.

    Parameters
    ----------
    value : float, int or str
        A plain number, of numpy too, is taken in the base unit; text must carry a unit of the list, in any capitals,
        or its English name. Fractions may be written ``2 9/16``, ``2-9/16`` or with their sign; pounds may stand
        before ounces and feet before inches.
    quantity : Quantity
        The kind of measurement, one of `QUANTITIES`.

    Returns
    -------
    float
        [``quantity.base``]

    Raises
    ------
    ScenarioError
        If the value is neither a number nor text of one number and one listed unit or two such as pounds and ounces,
        a fraction has a zero below, or the number is beyond every float.

    Examples
    --------
    >>> read_quantity("2 9/16 in", QUANTITIES["length"])
    65.0875
    >>> read_quantity("1 lb 3 oz", QUANTITIES["mass"])
    0.538640939375
    >>> read_quantity("66,5 mm", QUANTITIES["length"])
    Traceback (most recent call last):
    ...
    colsim.errors.ScenarioError: got "66,5 mm", which has a comma; ... write a decimal point: "66.5 mm"
    """
    if is_number(value):
        return as_float(value)
    allowed = (
        f"allowed: a number in {quantity.base}, or text of one number and one unit of "
        f"{', '.join(quantity.factors)}, such as {quantity.example}"
    )
    if not isinstance(value, str):
        raise ScenarioError(f"got {value!r}, which is no {quantity.name}; {allowed}")
    text = _in_plain_signs(value.strip())
    if (both := _AND_LESS.fullmatch(text)) and quantity.unit_named(both["unit"]) in _LESS:
        return as_float(_of_two_units(value, both, quantity, allowed))
    match = _TEXT.fullmatch(text)
    if match is None:
        raise ScenarioError(f'got "{value}"{_what_is_wrong(text)}; {allowed}{_what_to_write(text, quantity)}')
    unit = quantity.unit_named(match["unit"])
    if unit is None:
        name = " ".join(match["unit"].split())
        raise ScenarioError(f'got "{value}", whose unit "{name}" is not one for a {quantity.name}; {allowed}')
    # In fractions, so that "2 9/16 in" is 65.0875 mm and not its neighbour.
    scaled = _number(match) * Fraction(repr(quantity.factors[unit]))
    return as_float(scaled + Fraction(repr(quantity.offsets.get(unit, 0.0))))


_STEEPEST_FRICTION = 2.0  # above which a number without a unit is rather an angle


def read_friction(value: Any) -> float:
    """Read a coefficient of friction, or text with the angle at which something slides.

    Parameters
    ----------
    value : float, int or str
        A plain number is the coefficient; text must be an angle with its unit, such as ``"14 deg"``.

    Returns
    -------
    float
        [-]; the tangent of the angle.

    Raises
    ------
    ScenarioError
        If the value is neither, or the angle is not between 0 and 90 deg.

    Examples
    --------
    >>> round(read_friction("17 deg"), 3)
    0.306
    """
    if is_number(value):
        return as_float(value)
    allowed = 'allowed: a plain number such as 0.25, or the angle at which it slides as text, such as "14 deg"'
    if not isinstance(value, str):
        raise ScenarioError(f"got {value!r}; {allowed}")
    text = value.strip()
    try:
        angle = read_quantity(value, QUANTITIES["angle"])
    except ScenarioError:
        point = text.replace(",", ".")
        plain = re.fullmatch(_WHOLE_OR_DECIMAL, point, re.ASCII)
        what = f'"{point} deg"' if plain and float(point) > _STEEPEST_FRICTION else f"{point} without quotes"
        told = f"; write {what} if that is what it is" if plain else ""
        raise ScenarioError(f'got "{value}"; {allowed}{told}') from None
    if not 0 <= angle < 90:
        raise ScenarioError(f'got "{value}"; allowed: 0 deg to below 90 deg; measure the angle above the horizontal')
    return math.tan(math.radians(angle))


def is_number(value: Any) -> bool:
    """Tell whether a value is a plain number, of Python or of numpy; a truth value is none.

    Parameters
    ----------
    value : object
        What was given.

    Returns
    -------
    bool
        True for nan and infinity too.
    """
    return isinstance(value, Real) and not isinstance(value, bool)


def likely_units(value: float, quantity: Quantity, is_allowed: Callable[[float], bool]) -> Iterator[str]:
    """List the units in which a bare number that is not allowed in the base unit would be.

    Parameters
    ----------
    value : float
        The number [any unit].
    quantity : Quantity
        What it measures.
    is_allowed : callable
        Tells whether a number in the base unit is allowed.

    Yields
    ------
    str
        Unit of the quantity.
    """
    for unit, factor in quantity.factors.items():
        if unit != quantity.base and is_allowed(value * factor + quantity.offsets.get(unit, 0.0)):
            yield unit


def as_float(value: Any) -> float:
    """Return a number as a float.

    Parameters
    ----------
    value : number
        What was given [any unit].

    Returns
    -------
    float
        [same unit]

    Raises
    ------
    ScenarioError
        If it is beyond every float.
    """
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


def _in_plain_signs(text: str) -> str:
    """Write fraction signs and the fraction slash in plain digits and strokes."""
    text = _AFTER_WHOLE.sub(" ", text).replace("\N{FRACTION SLASH}", "/")
    return "".join(_VULGAR.get(sign, sign) for sign in text)


def _of_two_units(value: str, both: re.Match[str], quantity: Quantity, allowed: str) -> Fraction:
    """Read a whole number of one unit and what is left over in the next smaller one."""
    greater = quantity.unit_named(both["unit"]) or ""
    less, whole = _LESS[greater]
    rest = _TEXT.fullmatch(both["rest"])
    if rest is None or quantity.unit_named(rest["unit"]) != less:
        example = f'"1 {greater} 3 {less}"'
        raise ScenarioError(f'got "{value}", of which the second part is not in {less} as in {example}; {allowed}')
    left_over = _number(rest)
    if left_over >= whole:
        raise ScenarioError(f'got "{value}"; allowed: below {whole} {less} besides whole {greater}; read it again')
    return (int(both["whole"]) + left_over / whole) * Fraction(repr(quantity.factors[greater]))


def _what_is_wrong(text: str) -> str:
    if "," in text:
        return ", which has a comma"
    if _NUMBER.fullmatch(text):
        return ", which has no unit"
    return ""


def _what_to_write(text: str, quantity: Quantity) -> str:
    if text.count(",") == 1 and (match := _TEXT.fullmatch(text.replace(",", "."))):
        if quantity.unit_named(match["unit"]) is None:
            return ""
        if re.search(r"[1-9]\d{0,2},\d{3}(?!\d)", text):
            return f'; write "{text.replace(",", "")}" or "{text.replace(",", ".")}", whichever it is'
        return f'; write a decimal point: "{text.replace(",", ".")}"'
    if _NUMBER.fullmatch(text):
        unit = "in" if "/" in text and "in" in quantity.factors else quantity.base  # a tape in inches has fractions
        return f'; write "{text} {unit}" if that is what it is'
    return ""
