"""Angle of nip against published problems."""

import math

import pytest

from colsim.errors import RangeError
from colsim.theory.nip import critical_friction, line_of_centres, roll_nip_angle


def test_crushing_rolls_worked_problem():
    # Coulson and Richardson, Chemical Engineering vol. 2, crushing rolls (statement from memory): rolls of 1 m, gap
    # 12.5 mm, nip angle 31 deg grip particles of 25.36 mm radius; the textbook rounds to 25 mm.
    assert roll_nip_angle(1000, 12.5, 2 * 25.36) == pytest.approx(31, abs=0.005)


def test_rounded_answer_of_the_crushing_rolls_problem_evaluated_exactly():
    # The same problem with the textbook's rounded radius of 25 mm: half angle 15.359 deg, friction 0.27467.
    angle = roll_nip_angle(1000, 12.5, 50)
    assert angle / 2 == pytest.approx(15.359, abs=5e-4)
    assert math.tan(math.radians(angle / 2)) == pytest.approx(0.27467, abs=5e-6)


def test_solved_problem_of_a_three_centimetre_feed():
    # Solved problem in mechanical operations: feed 3 cm, product 1 cm, friction 0.29; half angle atan 0.29 = 16.17 deg
    # and roll diameter 47.542 cm at full precision (printed 47.5).
    assert roll_nip_angle(475.42, 10, 30) / 2 == pytest.approx(math.degrees(math.atan(0.29)), abs=0.001)


@pytest.mark.parametrize(("roll", "ratio", "particle"), [(1000, 2, 30.9), (1000, 4, 20.4), (200, 2, 6.2)])
def test_largest_rock_gripped_has_one_nip_angle(roll, ratio, particle):
    # Wills and Finch, Mineral Processing Technology, largest rock gripped (table from memory): one friction, so one
    # angle of 19.87 deg for all rolls and reduction ratios. Diameters are printed to 0.1 mm, hence the tolerance.
    assert roll_nip_angle(roll, particle / ratio, particle) == pytest.approx(19.87, abs=0.15)


@pytest.mark.parametrize(
    ("friction", "angle"),
    [(0.10, 11.42), (0.20, 22.62), (0.25, 28.07), (0.30, 33.40), (0.35, 38.58), (0.40, 43.60)],
)
def test_largest_nip_angle_of_each_friction(friction, angle):
    # Full angle 2 atan(mu), as tabulated for crushing rolls. The particle that the rolls just grip follows from the
    # formula solved for it, p = (D + g) / cos(angle / 2) - D; putting it back must give the angle.
    roll, gap = 500.0, 5.0
    largest = (roll + gap) / math.cos(math.atan(friction)) - roll
    assert roll_nip_angle(roll, gap, largest) == pytest.approx(angle, abs=0.005)


@pytest.mark.parametrize(("roll", "gap", "particle"), [(1000, 12.5, 50), (475.42, 10, 30), (200, 0, 20)])
def test_formulas_found_on_the_web_are_traps(roll, gap, particle):
    # Witness: the triangle between the centres of roll and particle. The wrong formulas are off by more than 1 deg.
    right = math.degrees(2 * math.atan2(math.sqrt((roll + particle) ** 2 - (roll + gap) ** 2), roll + gap))
    arccos_r_over_2d = math.degrees(math.acos(particle / 2 / (2 * roll)))
    half_angle_taken_for_full = right / 2
    gap_forgotten = math.degrees(2 * math.acos(roll / (roll + particle))) if gap else math.inf
    found = roll_nip_angle(roll, gap, particle)
    assert found == pytest.approx(right, abs=1e-6)
    assert all(abs(found - wrong) > 1 for wrong in (arccos_r_over_2d, half_angle_taken_for_full, gap_forgotten))


def test_particle_as_small_as_the_gap_is_not_gripped():
    assert roll_nip_angle(500, 10, 10) == 0
    with pytest.raises(RangeError, match="falls through"):
        roll_nip_angle(500, 10, 9.99)


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_rolls_that_make_no_sense_are_refused(bad):
    with pytest.raises(RangeError, match=f"got {bad!r}"):
        roll_nip_angle(bad, 1, 30)
    with pytest.raises(RangeError):
        roll_nip_angle(500, -1 if bad == 0 else bad, 30)


@pytest.mark.parametrize("ratio", [1.0, 1.2, 1.5, 1.8, 1.99])
def test_critical_friction_is_the_tangent_of_half_the_line_of_centres(ratio):
    # Second witness: half-angle identity, over the whole range.
    angle = math.radians(line_of_centres(ratio * 66, 66))
    assert critical_friction(ratio * 66, 66) == pytest.approx(math.tan(angle / 2), rel=1e-12)


@pytest.mark.parametrize(
    ("included", "friction"), [(10, 0.08749), (20, 0.17633), (30, 0.26795), (40, 0.36397), (60, 0.57735), (90, 1.0)]
)
def test_critical_friction_is_that_of_a_wedge(included, friction):
    # Weightless disc in a wedge: both forces lie along the chord of the contacts, half the included angle from each
    # normal (plane geometry). The column in which neighbours touch at that angle is d (1 + cos) wide.
    width = 60 * (1 + math.cos(math.radians(included)))
    assert critical_friction(width, 60) == pytest.approx(friction, abs=6e-6)


@pytest.mark.parametrize(("ratio", "friction"), [(1.42, 0.64), (1.60, 0.50), (1.835, 0.30)])
def test_critical_friction_at_three_widths(ratio, friction):
    # Worked by hand from tan(theta/2) = sqrt((2d - W)/W), rounded to two places.
    assert critical_friction(ratio * 70, 70) == pytest.approx(friction, abs=0.005)


@pytest.mark.parametrize("function", [critical_friction, line_of_centres])
@pytest.mark.parametrize(
    ("width", "why"), [(59.9, "does not fit"), (120, "two lie abreast"), (math.nan, "positive"), (-1, "positive")]
)
def test_columns_that_are_no_single_file_are_refused(function, width, why):
    with pytest.raises(RangeError, match=why):
        function(width, 60)
