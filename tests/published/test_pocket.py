"""The rotor's pocket: closed forms against plain distances, limits and symmetry."""

import math
from itertools import pairwise

import numpy as np
import pytest

from colsim.errors import RangeError
from colsim.theory.pocket import greatest_spacer, least_spacer, second_centre, second_nip_angle

DRUM = {"rotor_radius": 95.0, "column_width": 90.0}


@pytest.mark.parametrize(("width", "diameter"), [(82, 58), (82, 66), (82, 73), (82, 81.9), (74, 66), (110, 58)])
def test_second_rests_on_the_first_and_the_far_side(width, diameter):
    # Lower the second along the far side until it touches the first, by bisection on the plain distance.
    first = (-width / 2 + diameter / 2, diameter / 2)
    low, high = diameter / 2, 3 * diameter
    for _ in range(60):
        middle = (low + high) / 2
        apart = math.dist(first, (width / 2 - diameter / 2, middle))
        low, high = (middle, high) if apart < diameter else (low, middle)
    assert second_centre(width, diameter) == pytest.approx(high, abs=1e-9)


def test_second_centre_at_its_limits():
    assert second_centre(66, 66) == 99  # a pocket no wider than the container: straight above
    assert second_centre(2 * 66 - 1e-9, 66) == pytest.approx(33, abs=1e-3)  # two diameters: side by side


def test_second_sinks_in_further_the_wider_the_pocket():
    heights = [second_centre(width, 58) for width in np.linspace(58, 115, 40)]
    assert all(lower < higher for higher, lower in pairwise(heights))


@pytest.mark.parametrize(("width", "why"), [(57.9, "does not go in"), (116, "two lie abreast"), (math.inf, "positive")])
def test_second_centre_of_a_pocket_that_is_no_single_file_is_refused(width, why):
    with pytest.raises(RangeError, match=why):
        second_centre(width, 58)


def outermost(spacer, width, depth, diameter, radius):
    """Farthest point from the drum's axis of a container lying on the spacer against the pocket's side, by sampling."""
    centre = np.array([width / 2 - diameter / 2, radius - depth + spacer + diameter / 2])
    turns = np.linspace(0, 2 * math.pi, 200_001)
    rim = centre[:, None] + diameter / 2 * np.array([np.cos(turns), np.sin(turns)])
    return np.hypot(*rim).max()


@pytest.mark.parametrize(
    ("width", "depth", "diameter", "radius", "clearance"),
    [(82, 80, 58, 95, 2), (82, 80, 66, 95, 2), (82, 80, 73, 95, 2), (82, 60, 73, 95, 2), (74, 66, 66, 110, 5)],
)
def test_with_the_greatest_spacer_the_first_just_reaches_the_housing(width, depth, diameter, radius, clearance):
    spacer = greatest_spacer(width, depth, diameter, rotor_radius=radius, clearance=clearance)
    assert outermost(spacer, width, depth, diameter, radius) == pytest.approx(radius + clearance, abs=1e-6)


def test_greatest_spacer_without_side_room_fills_up_what_is_left():
    # A pocket as wide as the container: depth and clearance less the diameter, by hand.
    assert greatest_spacer(66, 80, 66, rotor_radius=95, clearance=2) == pytest.approx(80 + 2 - 66, abs=1e-9)


def test_greatest_spacer_gains_what_the_pocket_gains_in_depth_and_is_negative_when_too_shallow():
    deep, shallow = (greatest_spacer(82, depth, 73, rotor_radius=95, clearance=2) for depth in (80, 60))
    assert deep - shallow == pytest.approx(20, abs=1e-9)
    assert shallow < 0


def test_greatest_spacer_refuses_what_cannot_lie_in_the_pocket():
    with pytest.raises(RangeError, match="does not go in"):
        greatest_spacer(60, 80, 66, rotor_radius=95, clearance=2)
    with pytest.raises(RangeError, match="lies outside a housing of radius 42 mm"):
        greatest_spacer(84, 30, 60, rotor_radius=40, clearance=2)  # half the pocket reaches the housing


# Another way to the nip: both touching conditions solved by bisection on the drum's angle, in complex numbers.


def first_touch(width, depth, diameter, radius, column):
    """Angle of the line from the pocket's trailing edge to the second container at first touch [degrees]."""
    r, wall = diameter / 2, column / 2 - diameter / 2
    first = complex(width / 2 - r, radius - depth + r)
    edge = complex(-width / 2, math.sqrt(radius**2 - width**2 / 4))

    def places(turned):
        turn = complex(math.cos(turned), -math.sin(turned))
        carried = first * turn
        second = complex(wall, carried.imag + math.sqrt(diameter**2 - (carried.real - wall) ** 2))
        return second, edge * turn

    def apart(turned):
        second, at = places(turned)
        return abs(second - at) - r

    low, high = 0.0, 0.0
    while apart(high) > 0:
        low, high = high, high + 1e-3
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if apart(middle) > 0 else (low, middle)
    second, at = places(high)
    return math.degrees(math.atan2((second - at).imag, (second - at).real))


@pytest.mark.parametrize(("diameter", "depth"), [(58, 62), (58, 68), (58, 72), (62, 72), (66, 74), (73, 76)])
def test_nip_angle_is_where_the_edge_first_touches(diameter, depth):
    # The drum is followed in steps of 0.05 degrees: its edge travels 0.08 mm in one, which turns the line of 29 mm and
    # more to the second's centre by at most 0.16 degrees; the second itself moves less.
    witness = first_touch(82, depth, diameter, 95, 90)
    assert second_nip_angle(82, depth, diameter, **DRUM) == pytest.approx(witness, abs=0.2)


@pytest.mark.parametrize(("diameter", "friction"), [(58, 0.1), (58, 0.25), (58, 0.4), (62, 0.2), (62, 0.3)])
def test_with_the_least_spacer_the_wedge_is_as_steep_as_friction_holds(diameter, friction):
    spacer = least_spacer(82, 80, diameter, friction=friction, **DRUM)
    assert spacer > 0
    witness = first_touch(82, 80 - spacer, diameter, 95, 90)
    assert math.tan(math.radians(witness / 2)) == pytest.approx(friction, abs=0.005)


@pytest.mark.parametrize(("diameter", "friction"), [(62, 0.1), (66, 0.25), (73, 0.4)])
def test_no_spacer_is_needed_where_the_bare_pocket_is_steep_enough(diameter, friction):
    assert math.tan(math.radians(first_touch(82, 80, diameter, 95, 90) / 2)) > friction
    assert least_spacer(82, 80, diameter, friction=friction, **DRUM) == 0


def test_least_spacer_grows_with_friction():
    spacers = [least_spacer(82, 80, 58, friction=friction, **DRUM) for friction in (0.0, 0.1, 0.2, 0.3, 0.4)]
    assert all(a < b for a, b in pairwise(spacers))


def test_least_spacer_shrinks_as_the_container_grows_and_the_widest_needs_none():
    # Common practice of the trade: the slim container needs a spacer in a pocket cut for the wide one, the wide none.
    spacers = [least_spacer(82, 80, diameter, friction=0.25, **DRUM) for diameter in (58, 62, 66, 73)]
    assert spacers == sorted(spacers, reverse=True)
    assert spacers[0] > 0
    assert spacers[-1] == 0


def test_a_spacer_is_the_same_as_a_shallower_pocket():
    whole = least_spacer(82, 80, 58, friction=0.25, **DRUM)
    assert least_spacer(82, 76, 58, friction=0.25, **DRUM) == pytest.approx(whole - 4, abs=0.05)


def test_lengths_scale():
    small = second_nip_angle(82, 68, 58, rotor_radius=95, column_width=90)
    large = second_nip_angle(8.2, 6.8, 5.8, rotor_radius=9.5, column_width=9.0)
    assert small == pytest.approx(large, abs=1e-6)
    thickness = least_spacer(41, 40, 29, rotor_radius=47.5, column_width=45, friction=0.25)
    assert thickness == pytest.approx(least_spacer(82, 80, 58, friction=0.25, **DRUM) / 2, abs=0.02)


@pytest.mark.parametrize("friction", [-0.1, math.nan, math.inf])
def test_friction_that_makes_no_sense_is_refused(friction):
    with pytest.raises(RangeError, match=f"got {friction!r}"):
        least_spacer(82, 80, 58, friction=friction, **DRUM)


def test_a_friction_that_no_spacer_helps_is_refused():
    with pytest.raises(RangeError, match="no spacer keeps the second of 58 mm from being nipped at friction 50"):
        least_spacer(82, 80, 58, friction=50.0, **DRUM)


def test_a_pocket_outside_the_drum_is_refused():
    with pytest.raises(RangeError, match="82 x 95 mm with radius 95 mm"):
        second_nip_angle(82, 95, 58, **DRUM)
