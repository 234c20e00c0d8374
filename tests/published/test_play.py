"""Play: the worked window, containers tilted until they touch, and a linear programme over what friction allows."""

import math

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, linprog

from colsim.errors import RangeError
from colsim.theory.play import binding_window, holds_own_weight, self_locks, wedge_slope

MANY = settings(max_examples=100, deadline=None, derandomize=True)
SOME = settings(MANY, max_examples=60)
lengths, diameters, frictions = st.floats(80, 300), st.floats(40, 120), st.floats(0.02, 0.8)
roundings = st.floats(0, 0.45)  # corner radius over diameter, or over length if that is less
shares = st.floats(0.02, 0.98)  # of the way from the length to the reach


def tilted(stop_distance, length, diameter, corner):
    """Tilt a rounded rectangle until it reaches across; give the contacts, right (high end) and left, and tilt."""
    a, b = length / 2 - corner, diameter / 2 - corner
    corners = np.array([[a, -b], [a, b], [-a, b], [-a, -b]])

    def turned(tilt):
        c, s = math.cos(tilt), math.sin(tilt)
        return corners @ np.array([[c, s], [-s, c]])

    def short(tilt):
        return np.ptp(turned(tilt)[:, 0]) + 2 * corner - stop_distance

    tilt = brentq(short, 0, math.atan2(b, a), xtol=1e-13)
    at = turned(tilt)
    return at[at[:, 0].argmax()] + [corner, 0], at[at[:, 0].argmin()] - [corner, 0], tilt


def balances(contacts, frictions, load):
    """Linear programme: are there forces on the two stops, within friction, that balance (force x, force y, torque)?"""
    (x1, y1), (x2, y2) = contacts
    # Unknown: normal and upward force on the right (pushing left), then on the left (pushing right).
    matrix = [[-1, 0, 1, 0], [0, 1, 0, 1], [y1, x1, -y2, x2]]
    m1, m2 = frictions
    cone = [[-m1, 1, 0, 0], [-m1, -1, 0, 0], [0, 0, -m2, 1], [0, 0, -m2, -1]]
    bounds = [(0, None), (None, None)] * 2
    found = linprog(np.ones(4) * [1, 0, 1, 0], cone, np.zeros(4), matrix, -np.asarray(load), bounds)
    assert found.status in (0, 2), found.message  # solved, or shown to be impossible
    return found.status == 0


WEIGHT = (0.0, -1.0, 0.0)


def test_the_high_end_touches_lower_than_the_low_end():
    right, left, tilt = tilted(215, 210, 66, 0)
    assert tilt > 0
    assert right[1] < left[1]


# The window


def test_window_of_the_worked_bottle():
    # Evaluated outside this project: 210 x 66 mm, friction 0.25: stops 213.6 to 220.1 mm, play 3.6 to 10.1 mm.
    window = binding_window(210, 66, 0.25)
    assert window.least == pytest.approx(213.6, abs=0.05)
    assert window.greatest == pytest.approx(220.1, abs=0.05)
    assert window.greatest == pytest.approx(math.hypot(210, 66), rel=1e-12)
    assert not window.none_safe


def test_no_play_is_safe_from_diameter_over_length_on():
    # 66/210 = 0.314: there the window begins at the length itself.
    assert pytest.approx(0.314, abs=5e-4) == 66 / 210
    below, above = binding_window(210, 66, 66 / 210 - 1e-6), binding_window(210, 66, 66 / 210 + 1e-6)
    assert not below.none_safe
    assert below.least == pytest.approx(210, abs=1e-3)
    assert below.least > 210
    assert above.none_safe
    assert above.least == 210


def test_window_at_its_limits():
    smooth = binding_window(210, 66, 0)
    assert smooth.least == smooth.greatest
    assert not smooth.none_safe
    # Ends rounded to half the diameter: the container never reaches further than it is long.
    ball = binding_window(210, 66, 5, corner_radius=33)
    assert ball.least == ball.greatest == pytest.approx(210)
    assert not ball.none_safe


@SOME
@given(lengths, diameters, frictions, roundings)
@example(210, 66, 0.25, 0.0)
@example(210, 66, 0.9, 0.1)
def test_friction_holds_inside_the_window_only(length, diameter, friction, rounding):
    corner = rounding * min(length, diameter)
    window = binding_window(length, diameter, friction, corner_radius=corner)
    wide = window.greatest - window.least
    assume(window.greatest - length > 0.5)
    assert length <= window.least <= window.greatest

    def held(stop_distance):
        return balances(tilted(stop_distance, length, diameter, corner)[:2], (friction, friction), WEIGHT)

    for share in (0.02, 0.5, 0.98) if wide > 0.1 else ():
        assert held(window.least + share * wide)
    if not window.none_safe and window.least - length > 0.05:
        for share in (0.05, 0.5, 0.98):
            assert not held(length + share * (window.least - length))


@MANY
@given(lengths, diameters, frictions, frictions, roundings)
def test_window_widens_with_friction_and_its_edge_is_as_steep_as_friction(length, diameter, one, other, rounding):
    corner = rounding * min(length, diameter)
    low, high = sorted((one, other))
    narrow, broad = (binding_window(length, diameter, mu, corner_radius=corner) for mu in (low, high))
    assert broad.least <= narrow.least + 1e-9
    assert broad.greatest == narrow.greatest
    for window, friction in ((narrow, low), (broad, high)):
        if window.none_safe:
            assert wedge_slope(length, length, diameter, corner_radius=corner) <= friction * (1 + 1e-9)
        else:
            slope = wedge_slope(window.least, length, diameter, corner_radius=corner)
            assert slope == pytest.approx(friction, rel=1e-6)


@SOME
@given(lengths, diameters, frictions, frictions, shares)
def test_unlike_stops_take_the_smaller_or_the_mean(length, diameter, one, other, share):
    # As the notes of binding_window say: smaller for locking, mean for its own weight, tilted either way.
    stops = length + share * (math.hypot(length, diameter) - length)
    slope = wedge_slope(stops, length, diameter)
    smaller, mean = (binding_window(length, diameter, mu) for mu in (min(one, other), (one + other) / 2))
    assume(min(abs(stops - smaller.least), abs(stops - mean.least)) > 1e-6)
    assume(abs(one - other) > 1e-6)
    assert self_locks(slope, one, other) == (stops >= smaller.least)
    either_way = holds_own_weight(slope, one, other) or holds_own_weight(slope, other, one)
    assert either_way == (stops >= mean.least)


def test_friction_on_the_tilt_of_the_axis_is_a_trap():
    # At the window's edge the axis is tilted by far less than the friction angle; the diagonal is what counts.
    edge = binding_window(210, 66, 0.25).least
    tilt = tilted(edge, 210, 66, 0)[2]
    assert math.tan(tilt) < 0.25 * 0.25
    assert wedge_slope(edge, 210, 66) == pytest.approx(0.25, rel=1e-9)
    # Rounded corners left out: the window would begin too late and end too far out.
    rounded = binding_window(210, 66, 0.25, corner_radius=5)
    assert edge - rounded.least > 0.5
    assert binding_window(210, 66, 0.25).greatest - rounded.greatest > 0.5


# The slope


@MANY
@given(lengths, diameters, roundings, shares)
@example(210, 66, 0.0, 0.5)
def test_slope_is_that_of_the_line_between_the_contacts(length, diameter, rounding, share):
    corner = rounding * min(length, diameter)
    reach = math.hypot(length - 2 * corner, diameter - 2 * corner) + 2 * corner
    stops = length + share * (reach - length)
    right, left, _ = tilted(stops, length, diameter, corner)
    assert right[0] - left[0] == pytest.approx(stops, rel=1e-9)
    slope = wedge_slope(stops, length, diameter, corner_radius=corner)
    assert slope == pytest.approx((left[1] - right[1]) / stops, rel=1e-5, abs=1e-7)
    assert 0 < slope <= (diameter - 2 * corner) / length * (1 + 1e-12)
    assert slope > wedge_slope((stops + reach) / 2, length, diameter, corner_radius=corner)


def test_slope_at_its_limits():
    assert wedge_slope(210, 210, 66) == pytest.approx(66 / 210, rel=1e-12)
    assert wedge_slope(210, 210, 66, corner_radius=5) == pytest.approx(56 / 210, rel=1e-12)
    assert wedge_slope(math.hypot(210, 66) - 1e-9, 210, 66) == pytest.approx(0, abs=1e-5)


@pytest.mark.parametrize(
    ("diameter", "length", "width", "friction"), [(58, 200, 90, 2.1), (66, 200, 90, 2.1), (73, 200, 124, 1.4)]
)
def test_askew_between_side_walls(diameter, length, width, friction):
    # Evaluated outside this project, sqrt(D^2 - W^2)/W; length and diameter change places.
    assert wedge_slope(width, diameter, length) == pytest.approx(friction, abs=0.05)


def test_short_cans_askew_between_side_walls():
    # Evaluated outside this project: 0.45 for a can of 115 mm in 124 mm. That is one of 73 mm; 66 mm needs 0.38 only.
    assert wedge_slope(124, 73, 115) == pytest.approx(0.45, abs=0.005)
    assert wedge_slope(124, 66, 115) == pytest.approx(0.38, abs=0.005)


# Unlike stops


@settings(MANY, max_examples=200)
@given(st.tuples(lengths, diameters), frictions, frictions, roundings, shares)
def test_programme_agrees_on_weight_and_on_any_load(size, high, low, rounding, share):
    length, diameter = size
    corner = rounding * min(size)
    reach = math.hypot(length - 2 * corner, diameter - 2 * corner) + 2 * corner
    stops = length + share * (reach - length)
    slope = wedge_slope(stops, length, diameter, corner_radius=corner)
    assume(min(abs(high - slope), abs(low - slope), abs(high + low - 2 * slope)) > 1e-3)
    contacts = tilted(stops, length, diameter, corner)[:2]
    assert balances(contacts, (high, low), WEIGHT) == holds_own_weight(slope, high, low)
    # Every load is a sum of these six, each times something not negative, and so is what holds it.
    torque = length / 2
    loads = [(0, 0, torque), (0, 0, -torque), (0, 1, 0), (0, -1, 0), (1, 0, 0), (-1, 0, 0)]
    held = all(balances(contacts, (high, low), load) for load in loads)
    assert held == self_locks(slope, high, low)


@pytest.mark.parametrize("friction", [0.1, 0.25, 0.6])
def test_at_the_limit_it_can_be_jammed_but_carries_nothing(friction):
    stops = binding_window(210, 66, friction).least if friction < 66 / 210 else 210
    slope = friction if friction < 66 / 210 else wedge_slope(210, 210, 66)
    assert self_locks(slope, slope, slope)
    assert not holds_own_weight(slope, slope, slope)
    # Weightless, pressed along the line of contacts: tangential over normal is the slope itself.
    right, left, _ = tilted(max(stops, 210 + 1e-6), 210, 66, 0)
    along = (right - left) / np.linalg.norm(right - left)
    assert abs(along[1] / along[0]) == pytest.approx(slope, rel=1e-3)


def test_frictions_whose_mean_is_just_the_slope_hold_the_weight_in_one_way():
    # By hand, slope 1/4, frictions 3/8 and 1/8, weight 1: N = 4, upward 1.5 on the high stop and -0.5 on the low one.
    normal, high, low = 4, 1.5, -0.5
    assert (high + low, high - low) == (1, 2 * normal / 4)
    assert (high, -low) == (normal * 3 / 8, normal / 8)
    assert holds_own_weight(1 / 4, 3 / 8, 1 / 8)
    assert not holds_own_weight(1 / 4, 3 / 8, 1 / 8 - 1e-9)


def test_sum_of_the_friction_angles_is_a_trap():
    # High 0.5 and low 0.05 have the sum that a slope of 0.25 asks for, yet the low stop lets a torque through.
    slope = 0.25
    stops = brentq(lambda s: wedge_slope(s, 210, 66) - slope, 210, 220)
    contacts = tilted(stops, 210, 66, 0)[:2]
    assert math.atan(0.5) + math.atan(0.05) > 2 * math.atan(slope)
    assert not self_locks(slope, 0.5, 0.05)
    assert not all(balances(contacts, (0.5, 0.05), (0, 0, turn)) for turn in (105, -105))
    # And which stop is the rough one decides, which a sum does not see.
    assert holds_own_weight(slope, 0.5, 0.05)
    assert not holds_own_weight(slope, 0.05, 0.5)


@given(st.floats(0, 2), st.floats(0, 2), st.floats(0, 2))
@settings(MANY)
def test_what_locks_under_any_load_holds_its_own_weight_but_at_the_limit(slope, high, low):
    if self_locks(slope, high, low) and high > slope:
        assert holds_own_weight(slope, high, low)
    assert self_locks(slope, high, low) == self_locks(slope, low, high)


# What is refused

BAD = [0, -1, math.nan, math.inf]


@pytest.mark.parametrize("bad", BAD)
def test_lengths_that_make_no_sense_are_refused(bad):
    wrong = f"must be a positive number: got {bad!r}. Measure it again"
    for sizes in ((bad, 66), (210, bad)):
        with pytest.raises(RangeError, match=wrong):
            binding_window(*sizes, 0.25)
        with pytest.raises(RangeError, match=wrong):
            wedge_slope(215, *sizes)
    with pytest.raises(RangeError, match=f"stop_distance {wrong}"):
        wedge_slope(bad, 210, 66)


@pytest.mark.parametrize("bad", BAD[1:])
def test_frictions_that_make_no_sense_are_refused(bad):
    with pytest.raises(RangeError, match=rf"friction must be zero or more: got {bad!r}\. Measure it again"):
        binding_window(210, 66, bad)
    for function in (holds_own_weight, self_locks):
        for place, name in enumerate(("slope", "friction_high", "friction_low")):
            values = [0.25, 0.3, 0.3]
            values[place] = bad
            with pytest.raises(RangeError, match=rf"{name} must be zero or more: got {bad!r}\. Measure it again"):
                function(*values)


@pytest.mark.parametrize("bad", [-1, 33.1, math.nan, math.inf])
def test_corners_that_make_no_sense_are_refused(bad):
    wrong = rf"corner_radius must lie between 0 and half .*: got {bad!r} mm \(allowed 0 to 33 mm\)\. Measure it again"
    with pytest.raises(RangeError, match=wrong):
        binding_window(210, 66, 0.25, corner_radius=bad)
    with pytest.raises(RangeError, match=wrong):
        wedge_slope(215, 210, 66, corner_radius=bad)


@pytest.mark.parametrize("stops", [209.9, math.hypot(210, 66), 300])
def test_stops_that_it_does_not_fit_or_reach_are_refused(stops):
    wrong = rf"got {stops:g} mm \(allowed 210 to below 220\.127 mm\)\. Closer, the container does not fit; further"
    with pytest.raises(RangeError, match=wrong):
        wedge_slope(stops, 210, 66)
