"""Angle of nip against published problems."""

import math

import pytest

from colsim.theory.nip import critical_friction, line_of_centres, roll_nip_angle


def test_crushing_rolls_worked_problem():
    # Coulson and Richardson, Chemical Engineering vol. 2, crushing rolls (statement from memory): rolls of 1 m, gap
    # 12.5 mm, nip angle 31 deg grip particles of 25.36 mm radius; the textbook rounds to 25 mm.
    assert roll_nip_angle(1000, 12.5, 2 * 25.36) == pytest.approx(31, abs=0.005)


def test_solved_problem_of_a_three_centimetre_feed():
    # Solved problem in mechanical operations: feed 3 cm, product 1 cm, friction 0.29; half angle atan 0.29 = 16.17 deg
    # and roll diameter 47.542 cm at full precision (printed 47.5).
    assert roll_nip_angle(475.42, 10, 30) / 2 == pytest.approx(math.degrees(math.atan(0.29)), abs=0.001)


@pytest.mark.parametrize("ratio", [1.0, 1.2, 1.5, 1.8, 1.99])
def test_critical_friction_is_the_tangent_of_half_the_line_of_centres(ratio):
    # Second witness: half-angle identity, over the whole range.
    angle = math.radians(line_of_centres(ratio * 66, 66))
    assert critical_friction(ratio * 66, 66) == pytest.approx(math.tan(angle / 2), rel=1e-12)
