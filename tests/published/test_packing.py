"""Zig-zag stacks against a table of exact evaluations, and against geometry worked another way."""

import math

import pytest

from colsim.errors import RangeError
from colsim.theory.nip import line_of_centres
from colsim.theory.packing import WIDEST_ZIGZAG, capacity, stack_height, stack_pitch

# Equal discs in a strip narrower than two diameters (geometry as in Irastorza, Carlevaro and Pugnaloni,
# arXiv:1311.1069): diameter, width, number, pitch, height, tilt of the line of centres from the vertical.
TABLE = [
    (1, 1.2, 10, 0.979796, 9.818163, 11.537),
    (1, 1.5, 10, 0.866025, 8.794229, 30.000),
    (1, 1.866025, 10, 0.500001, 5.500006, 60.000),
    (66, 73, 8, 65.62774, 525.3942, 6.0883),
    (73, 80, 8, 72.66361, 581.6453, 5.5026),
]


@pytest.mark.parametrize(("diameter", "width", "n", "pitch", "height", "tilt"), TABLE)
def test_stack_of_the_table(diameter, width, n, pitch, height, tilt):
    assert stack_pitch(diameter, width) == pytest.approx(pitch, rel=1e-6)
    assert stack_height(n, diameter, width) == pytest.approx(height, rel=1e-7)
    assert 90 - line_of_centres(width, diameter) == pytest.approx(tilt, abs=6e-4)


@pytest.mark.parametrize("ratio", [1.0, 1.1, 1.3, 1.5, 1.7, 1.86])
def test_neighbours_touch_and_the_next_but_one_does_not_overlap(ratio):
    diameter = 66.0
    pitch = stack_pitch(diameter, ratio * diameter)
    centres = [((-1) ** i * (ratio - 1) * diameter / 2, i * pitch) for i in range(3)]
    assert math.dist(centres[0], centres[1]) == pytest.approx(diameter, rel=1e-12)
    assert math.dist(centres[0], centres[2]) >= diameter * (1 - 1e-12)


def test_widest_zigzag_is_where_the_next_but_one_touches():
    # Irastorza et al.: the zig-zag ends at 1 + sqrt(3)/2 diameters.
    assert pytest.approx(1.866025, abs=1e-6) == WIDEST_ZIGZAG
    assert 2 * stack_pitch(66, WIDEST_ZIGZAG * 66) == pytest.approx(66, rel=1e-9)


@pytest.mark.parametrize(
    "function", [stack_pitch, lambda d, w: stack_height(3, d, w), lambda d, w: capacity(900, d, w)]
)
def test_beyond_the_widest_zigzag_is_refused_with_the_reason(function):
    with pytest.raises(RangeError, match=r"at most 1\.866: got 1\.9 .*two places apart would overlap"):
        function(60.0, 114.0)
    with pytest.raises(RangeError, match="two places apart would overlap"):
        function(60.0, 60.0 * (WIDEST_ZIGZAG + 1e-9))


@pytest.mark.parametrize(("diameter", "width", "n"), [row[:3] for row in TABLE[:2] + TABLE[3:]])
def test_capacity_inverts_the_stack_height(diameter, width, n):
    height = stack_height(n, diameter, width)
    assert capacity(height, diameter, width) == n
    assert capacity(height - 0.001, diameter, width) == n - 1
    assert capacity(height + 0.499 * diameter, diameter, width) == n


@pytest.mark.parametrize(("height", "number"), [(65.9, 0), (66.0, 1), (131.9, 1), (132.0, 2), (660.0, 10)])
def test_capacity_of_a_column_just_as_wide_as_the_container(height, number):
    assert capacity(height, 66.0, 66.0) == number


@pytest.mark.parametrize(("diameter", "width"), [(0, 70), (-1, 70), (math.nan, 70), (66, math.inf), (66, 65.9)])
def test_lengths_that_make_no_sense_are_refused(diameter, width):
    with pytest.raises(RangeError, match=r"got .*(nan|inf|0|-1|65\.9)"):
        stack_pitch(diameter, width)


@pytest.mark.parametrize("n", [0, -1, 2.0, True, "3"])
def test_stack_of_no_whole_number_is_refused(n):
    with pytest.raises(RangeError, match="whole number of containers"):
        stack_height(n, 66, 73)
