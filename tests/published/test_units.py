"""Conversion factors against their definitions, in exact fractions."""

import math
from fractions import Fraction

import pytest

from colsim.model.units import QUANTITIES, read_quantity

# International yard and pound agreement, 1959: a yard is 0.9144 m and an avoirdupois pound 0.45359237 kg, exactly.
INCH = Fraction(9144, 10000) * 1000 / 36
POUND = Fraction(45359237, 10**8)
# Standard gravity, 3rd General Conference on Weights and Measures, 1901: 9.80665 m/s2.
GRAVITY = Fraction(980665, 10**5)


@pytest.mark.parametrize(
    ("quantity", "text", "exact"),
    [
        ("length", "1 mm", Fraction(1)),
        ("length", "1 cm", Fraction(10)),
        ("length", "1 m", Fraction(1000)),
        ("length", "1 in", INCH),
        ("length", "1 ft", 12 * INCH),
        ("mass", "1 kg", Fraction(1)),
        ("mass", "1 g", Fraction(1, 1000)),
        ("mass", "1 lb", POUND),
        ("mass", "1 oz", POUND / 16),
        ("torque", "1 N m", Fraction(1)),
        ("force", "1 N", Fraction(1)),
        ("force", "1 kgf", GRAVITY),
        ("pressure", "1 kPa", Fraction(1)),
        ("pressure", "1 bar", Fraction(100)),
        ("stiffness", "1 N/mm", Fraction(1)),
        ("stiffness", "1 kgf/mm", GRAVITY),
        ("stiffness", "1 N/m", Fraction(1, 1000)),
        ("stiffness", "1 kN/m", Fraction(1)),
        ("modulus", "1 MPa", Fraction(1)),
        ("modulus", "1 GPa", Fraction(1000)),
        ("volume", "1 ml", Fraction(1)),
        ("volume", "1 l", Fraction(1000)),
    ],
)
def test_exact_factors(quantity, text, exact):
    assert read_quantity(text, QUANTITIES[quantity]) == float(exact)


@pytest.mark.parametrize(
    ("quantity", "text", "value"),
    [
        ("torque", "1 lbf in", float(POUND * GRAVITY * INCH / 1000)),  # 0.112985 N m
        ("torque", "1 lbf ft", float(POUND * GRAVITY * INCH * 12 / 1000)),  # 1.355818 N m
        ("force", "1 lbf", float(POUND * GRAVITY)),  # 4.448222 N
        ("pressure", "1 psi", float(1000 * POUND * GRAVITY / INCH**2)),  # 6.894757 kPa
        ("stiffness", "1 lbf/in", float(POUND * GRAVITY / INCH)),  # 0.1751268 N/mm
        ("volume", "1 fl oz", float(231 * (INCH / 10) ** 3 / 128)),  # a gallon of 231 in3; 29.57353 ml
        ("angle", "1 rad", 180 / math.pi),
        ("angle", "1 deg", 1.0),
        ("speed of turning", "1 rpm", 1.0),
        ("speed of turning", "360 deg/s", 60.0),
        ("speed of turning", "1 rad/s", 60 / (2 * math.pi)),
    ],
)
def test_factors_that_round(quantity, text, value):
    assert read_quantity(text, QUANTITIES[quantity]) == pytest.approx(value, rel=4e-16)


@pytest.mark.parametrize(("text", "celsius"), [("32 F", 0), ("212 F", 100), ("-40 F", -40), ("41 F", 5), ("68 F", 20)])
def test_degrees_fahrenheit(text, celsius):
    # Ice point 32 F and steam point 212 F, 180 degrees apart where the other scale has 100; both meet at -40.
    assert read_quantity(text, QUANTITIES["temperature"]) == pytest.approx(celsius, rel=4e-16, abs=1e-14)
    assert read_quantity(f"{celsius} C", QUANTITIES["temperature"]) == celsius


def test_pound_force_foot_as_printed():
    # NIST Special Publication 811, Appendix B (from memory): 1 lbf ft = 1.355818 N m, 1 lbf in = 0.1129848 N m.
    assert read_quantity("1 lbf ft", QUANTITIES["torque"]) == pytest.approx(1.355818, rel=5e-7)
    assert read_quantity("1 lbf in", QUANTITIES["torque"]) == pytest.approx(0.1129848, rel=5e-7)
    # The same: 1 lbf/in = 175.1268 N/m.
    assert read_quantity("1 lbf/in", QUANTITIES["stiffness"]) == pytest.approx(0.1751268, rel=5e-7)


def test_every_listed_unit_is_checked_here():
    listed = {(q.name, unit) for q in QUANTITIES.values() for unit in q.factors}
    checked = {("length", u) for u in ("mm", "cm", "m", "in", "ft")} | {("mass", u) for u in ("kg", "g", "lb", "oz")}
    checked |= {("torque", u) for u in ("N m", "lbf in", "lbf ft")} | {("angle", u) for u in ("deg", "rad")}
    checked |= {("speed of turning", u) for u in ("rpm", "deg/s", "rad/s")}
    checked |= {("force", u) for u in ("N", "kgf", "lbf")} | {("pressure", u) for u in ("kPa", "bar", "psi")}
    checked |= {("modulus", u) for u in ("MPa", "GPa")} | {("volume", u) for u in ("ml", "l", "fl oz")}
    checked |= {("stiffness", u) for u in ("N/mm", "kgf/mm", "lbf/in", "N/m", "kN/m")}
    checked |= {("temperature", u) for u in ("C", "F")}
    assert listed == checked
