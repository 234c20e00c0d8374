"""Catalogue figures against the outside numbers that they were taken from."""

import math

import pytest

from colsim.model import CATALOGUE

CAN, SLEEK, SLIM = "12 fl oz can", "sleek can 12 fl oz", "slim can 250 ml"
WATER, HALF, LARGE = "500 ml still water", "500 ml carbonated", "591 ml carbonated"
IN, OZ = 25.4, 0.45359237 / 16

RANGES = [
    (CAN, "diameter", 2.595 * IN, 2.609 * IN),  # can makers' sheet, 202 end: body 2.602 +- 0.007 in
    (CAN, "length", 4.797 * IN, 4.827 * IN),  # the same sheet: flanged can height 4.812 +- 0.015 in
    (CAN, "mass", 0.38, 0.39),  # common practice
    (CAN, "empty_mass", 0.475 * OZ, 0.485 * OZ),  # Hosford and Duncan, Scientific American, September 1994: 0.48 oz
    (SLEEK, "diameter", 57, 58),  # from memory, widely printed
    (SLIM, "diameter", 52.5, 53.5),  # from memory, widely printed: 53 mm
    (WATER, "diameter", 63, 66),  # common practice
    (WATER, "length", 200, 210),  # common practice
    (WATER, "mass", 0.51, 0.52),  # common practice
    (WATER, "empty_mass", 0.00925, 0.019),  # trade press: 18.9 g in 2000 down to 9.25 g in 2014
    (HALF, "diameter", 65, 68),  # common practice
    (HALF, "length", 220, 235),  # common practice
    (HALF, "empty_mass", 0.0185, 0.027),  # trade press, 355 to 591 ml: 27 g down to 18.5 g
    (LARGE, "diameter", 72, 74),  # common practice
    (LARGE, "length", 220, 235),  # common practice
    (LARGE, "mass", 0.63, 0.65),  # common practice
    (LARGE, "empty_mass", 0.0185, 0.027),  # trade press, 355 to 591 ml: 27 g down to 18.5 g
]


@pytest.mark.parametrize(("name", "field", "low", "high"), RANGES)
def test_figure_lies_within_its_source(name, field, low, high):
    assert low <= CATALOGUE[name].figures[field].value <= high


@pytest.mark.parametrize(
    ("name", "drink"), [(CAN, 0.355), (SLEEK, 0.355), (SLIM, 0.25), (WATER, 0.5), (HALF, 0.5), (LARGE, 0.591)]
)
def test_full_less_empty_is_the_drink(name, drink):
    # Drinks weigh 0.99 to 1.06 kg a litre (water 0.998 at 20 C; a tenth of sugar adds 4 %); overfill up to 2 %.
    entry = CATALOGUE[name].container()
    assert 0.99 * drink <= entry.mass - entry.empty_mass <= 1.02 * 1.06 * drink


@pytest.mark.parametrize(
    ("name", "drink"), [(CAN, 355e3), (SLEEK, 355e3), (SLIM, 250e3), (WATER, 500e3), (HALF, 500e3), (LARGE, 591e3)]
)
def test_the_drink_goes_in(name, drink):
    # A cylinder of the outer size holds the drink [mm3]; neck and base take no more than 45 % of it.
    entry = CATALOGUE[name].container()
    cylinder = math.pi / 4 * entry.diameter**2 * entry.length
    assert 0.55 * cylinder < drink < cylinder


@pytest.mark.parametrize("name", [CAN, SLEEK, SLIM])
def test_a_can_is_straight_between_base_and_neck(name):
    # From memory: the base's profile and the neck take some 8 to 11 mm each, whatever the size of the can.
    figures = CATALOGUE[name].figures
    assert 16 <= figures["length"].value - figures["body_length"].value <= 22
    # The straight part alone holds no more than all of the drink and a headspace of 6 %.
    one = CATALOGUE[name].container()
    assert math.pi / 4 * one.diameter**2 * one.body_length / 1e6 < (one.mass - one.empty_mass) / 0.94


@pytest.mark.parametrize(("name", "still"), [(name, name == WATER) for name in CATALOGUE])
def test_what_is_in_it_is_what_its_name_says(name, still):
    # Soft drinks hold 1.5 to 4 volumes, about 3 common.
    one = CATALOGUE[name].container()
    assert one.is_soft == still
    spread = one.spreads["carbonation"]
    assert (spread.low, spread.high) == (0, 0) if still else spread.low <= 3 <= spread.high


def test_every_figure_names_its_source():
    for entry in CATALOGUE.values():
        words = {"drink", "wall_feel"} if entry.name == WATER else {"drink"}
        body = {"body_length"} if "can" in entry.name else set()
        assert set(entry.figures) == {"diameter", "length", "mass", "empty_mass"} | words | body
        assert all(isinstance(figure.value, str) == (field in words) for field, figure in entry.figures.items())
        assert all(len(figure.source) > 10 for figure in entry.figures.values()), entry.name
