"""Tilting board, sled and set flat: worked problems, balances, and the energy of a flattened bottle that rolls."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from colsim.errors import RangeError
from colsim.theory.friction import FrictionReading, flat_width, friction_from_board, friction_from_sled, rolling_angle

MANY = settings(max_examples=100, deadline=None, derandomize=True)
GRAVITY = 9.80665

# The board


@pytest.mark.parametrize(
    ("friction", "angle"),
    [
        (0.30, 16.7),  # askiitians.com, mechanics 25158: the block does not slip up to this angle
        (0.34, 18.8),  # jiskha.com 1361136905
        (0.47, 25.2),  # askanewquestion.com 1145155
    ],
)
def test_worked_problems_of_a_block_that_starts_to_slide(friction, angle):
    # The angles are printed to 0.1 degrees: the friction must lie within what half of that leaves.
    reading = friction_from_board(angle, reading_error=0.05)
    assert reading.low <= friction <= reading.high
    assert reading.typical == pytest.approx(friction, abs=0.0012)


@pytest.mark.parametrize(
    ("angle", "friction"),
    [(10, 0.17633), (15, 0.26795), (20, 0.36397), (30, 0.57735), (45, 1.0), (60, 1.73205)],
)
def test_tangents_of_the_table(angle, friction):
    # TAPPI T 815, inclined plane: friction is the tangent of the angle. Evaluated outside this project.
    assert friction_from_board(angle).typical == pytest.approx(friction, abs=5.1e-6)


def test_a_cylinder_of_the_block_that_slides_rolls_up_to_a_steeper_board():
    # Problem, physicsforums.com 220957: the block slides at 11.86 degrees, the solid cylinder needs tan / 3 only.
    assert math.degrees(math.atan(3 * friction_from_board(11.86).typical)) == pytest.approx(32.21, abs=0.005)


@MANY
@given(st.floats(0.5, 85))
def test_on_the_board_pull_and_weight_are_those_of_a_sled(angle):
    # Balance along and across the board; and the angle at which the two first balance, solved for.
    a, mu = math.radians(angle), friction_from_board(angle).typical
    assert mu == pytest.approx(friction_from_sled(5 * math.sin(a), 5 * math.cos(a)).typical, rel=1e-12)
    slides = brentq(lambda t: math.sin(t) - mu * math.cos(t), 0, math.pi / 2, xtol=1e-14)
    assert math.degrees(slides) == pytest.approx(angle, abs=1e-9)


@MANY
@given(st.floats(0, 80), st.floats(0, 9))
@example(2.0, 5.0)
def test_bounds_hold_every_angle_that_the_error_leaves(angle, error):
    reading = friction_from_board(angle, reading_error=error)
    assert 0 <= reading.low <= reading.typical <= reading.high
    for true in np.linspace(max(0, angle - error), angle + error, 7):
        assert reading.low <= math.tan(math.radians(true)) * (1 + 1e-12) + 1e-15
        assert math.tan(math.radians(true)) <= reading.high * (1 + 1e-12) + 1e-15


def test_bounds_of_a_small_error_are_its_derivative_and_without_error_there_is_no_width():
    reading = friction_from_board(15, reading_error=0.01)
    half = math.radians(0.01) / math.cos(math.radians(15)) ** 2
    assert reading.high - reading.typical == pytest.approx(half, rel=1e-3)
    assert reading.typical - reading.low == pytest.approx(half, rel=1e-3)
    assert friction_from_board(15) == FrictionReading(*[friction_from_board(15).typical] * 3)
    assert friction_from_board(2, reading_error=5).low == 0


def test_slips_on_the_board_are_traps():
    # Rise over the board's length is the sine; degrees are not radians; a large error is not the same both ways.
    reading = friction_from_board(20, reading_error=8)
    assert reading.typical - math.sin(math.radians(20)) > 0.02
    assert abs(reading.typical - math.tan(20)) > 1
    assert reading.high - reading.typical > 1.1 * (reading.typical - reading.low)


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_boards_that_make_no_sense_are_refused(bad):
    with pytest.raises(RangeError, match=rf"angle must be zero or more: got {bad!r}\. Measure it again"):
        friction_from_board(bad)
    with pytest.raises(RangeError, match=rf"reading_error must be zero or more: got {bad!r}\. Measure it again"):
        friction_from_board(15, reading_error=bad)


@pytest.mark.parametrize(("angle", "error"), [(90, 0), (89, 1), (120, 0)])
def test_boards_too_steep_are_refused(angle, error):
    with pytest.raises(RangeError, match=f"stay below 90 degrees: got {angle} and {error}.* read the angle from level"):
        friction_from_board(angle, reading_error=error)


# The sled


def test_sled_of_the_film_standard():
    # ASTM D1894: a sled of 200 g (from memory). Thermoplastic polyester on itself 0.17 (CRC Materials Handbook, table
    # 399): a pull of 34 g, 0.3334 N.
    assert friction_from_sled(34, 200).typical == pytest.approx(0.17, rel=1e-12)
    assert friction_from_sled(0.3334, 0.2 * GRAVITY).typical == pytest.approx(0.17, abs=5e-5)


@pytest.mark.parametrize(("friction", "acceleration"), [(0.3, 2.35548), (0.1, 4.05404)])
def test_block_that_slides_down_thirty_degrees(friction, acceleration):
    # Exact evaluations outside this project: what holds back 1 kg is g sin - a, what presses it g cos.
    held, pressed = GRAVITY * math.sin(math.radians(30)) - acceleration, GRAVITY * math.cos(math.radians(30))
    assert friction_from_sled(held, pressed).typical == pytest.approx(friction, abs=1e-6)


@MANY
@given(st.floats(0, 50), st.floats(0.01, 50), st.floats(0, 10))
def test_bounds_of_the_sled_hold_and_units_cancel(force, weight, error):
    reading = friction_from_sled(force, weight, reading_error=error)
    assert 0 <= reading.low <= reading.typical <= reading.high
    assert reading.high * weight == pytest.approx(force + error, rel=1e-12)
    assert reading.low * weight == pytest.approx(max(0, force - error), rel=1e-12)
    grams = friction_from_sled(force * 101.97, weight * 101.97, reading_error=error * 101.97)
    assert grams.typical == pytest.approx(reading.typical, rel=1e-12)


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_sleds_that_make_no_sense_are_refused(bad):
    with pytest.raises(RangeError, match=rf"force must be zero or more: got {bad!r}\. Measure it again"):
        friction_from_sled(bad, 2)
    with pytest.raises(RangeError, match=rf"reading_error must be zero or more: got {bad!r}\. Measure it again"):
        friction_from_sled(0.5, 2, reading_error=bad)
    for weight in (bad, 0):
        with pytest.raises(RangeError, match=rf"weight must be a positive number: got {weight!r}\. Measure it again"):
            friction_from_sled(0.5, weight)


# The set flat


@pytest.mark.parametrize(("diameter", "height", "flat"), [(73, 70, 4.7124), (66, 65, 1.5708)])
def test_flats_of_the_squeezed_tubes(diameter, height, flat):
    # Tube of kept rim between plates, exact evaluations outside this project: height and flat.
    angle = math.degrees(math.atan(flat / height))
    assert rolling_angle(diameter, flat) == pytest.approx(angle, abs=1e-4)
    assert flat_width(diameter, angle) == pytest.approx(flat, abs=1e-4)


def outline(diameter, flat):
    """Give points round a section with two opposite flats, level, its middle at the origin."""
    height = diameter - 2 * flat / math.pi
    turns = np.linspace(-math.pi / 2, math.pi / 2, 20001)
    right = np.column_stack([flat / 2 + height / 2 * np.cos(turns), height / 2 * np.sin(turns)])
    return np.vstack([right, -right])


def height_of_middle(rim, turned):
    """Height of the section's middle over the board when it has rolled on by this angle."""
    return float((rim @ [math.sin(turned), math.cos(turned)]).max())


@pytest.mark.parametrize(("diameter", "flat"), [(66, 0.5), (66, 5.47), (66, 20), (73, 4.7124), (58, 60), (65, 95)])
def test_flat_bottle_rolls_where_its_energy_first_falls(diameter, flat):
    rim = outline(diameter, flat)
    girth = np.hypot(*np.diff(np.vstack([rim, rim[:1]]), axis=0).T).sum()
    assert girth == pytest.approx(math.pi * diameter, rel=1e-6)

    def gained(angle):
        # Rolling without slip moves the middle along the board by its height times the turn; from just off the flat.
        start, step = 1e-3, 1e-3
        rise = height_of_middle(rim, start + step) - height_of_middle(rim, start)
        along = step * height_of_middle(rim, start + step / 2)
        return rise * math.cos(angle) - along * math.sin(angle)

    # The turn looked at is finite: a few thousandths of the angle.
    found = math.degrees(brentq(gained, 0, math.pi / 2))
    assert rolling_angle(diameter, flat) == pytest.approx(found, rel=6e-3)


@pytest.mark.parametrize("flat", [2, 10, 40])
def test_once_rolling_it_goes_on_to_the_next_flat(flat):
    # Just above the angle the energy falls all the way through half a turn; just below it rises at first.
    rim, turns = outline(66, flat), np.linspace(0, math.pi, 721)
    middles = np.array([height_of_middle(rim, turn) for turn in turns])
    along = np.concatenate([[0], np.cumsum((middles[1:] + middles[:-1]) / 2 * np.diff(turns))])
    limit = math.radians(rolling_angle(66, flat))
    steeper, shallower = ((middles * math.cos(a) - along * math.sin(a)) for a in (limit * 1.02, limit * 0.98))
    assert (np.diff(steeper) < 0).all()
    assert shallower[1] > shallower[0]


@MANY
@given(st.floats(20, 120), st.floats(0, 89.9))
def test_width_and_angle_are_inverse(diameter, angle):
    flat = flat_width(diameter, angle)
    assert 0 <= flat < math.pi * diameter / 2
    assert rolling_angle(diameter, flat) == pytest.approx(angle, abs=1e-8)
    height = diameter - 2 * flat / math.pi
    assert flat == pytest.approx(height * math.tan(math.radians(angle)), rel=1e-9, abs=1e-12)


def test_flat_at_its_limits():
    assert flat_width(66, 0) == 0
    assert rolling_angle(66, 0) == 0  # round: rolls on a level board
    assert rolling_angle(66, math.pi * 33 * (1 - 1e-12)) == pytest.approx(90, abs=1e-6)  # pressed quite flat
    assert flat_width(66, 0.1) == pytest.approx(66 * math.radians(0.1), rel=2e-3)  # small: d times the angle


def test_height_of_a_kept_rim_is_not_the_diameter_nor_that_of_a_cut_flat():
    # Traps: tan = b/d forgets that the section is lower; b/sqrt(d^2 - b^2) is a round bar with the flat cut off.
    slope = math.tan(math.radians(rolling_angle(66, 20)))
    assert slope - 20 / 66 > 0.05
    assert slope - 20 / math.sqrt(66**2 - 20**2) > 0.04


@pytest.mark.parametrize("bad", [-0.1, 90, math.nan, math.inf])
def test_angles_that_make_no_sense_are_refused(bad):
    with pytest.raises(RangeError, match=f"at least 0 and less than 90 degrees: got {bad!r}. Read it from level"):
        flat_width(66, bad)


@pytest.mark.parametrize("bad", [-0.1, math.pi * 33, math.nan, math.inf])
def test_flats_that_make_no_sense_are_refused(bad):
    with pytest.raises(RangeError, match=rf"got {bad!r} mm \(allowed 0 to below 103\.673 mm\)\. Measure it again"):
        rolling_angle(66, bad)


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
@pytest.mark.parametrize("function", [flat_width, rolling_angle])
def test_diameters_that_make_no_sense_are_refused(function, bad):
    with pytest.raises(RangeError, match=f"diameter must be a positive number: got {bad!r}. Measure it again"):
        function(bad, 5)
