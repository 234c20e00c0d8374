"""The contact law by itself, as plain numbers; both engines call these functions."""

import ast
import math

import pytest
from tests_shared import ROOT

from colsim.physics import contact_law as law

PHYSICS = ROOT / "colsim" / "physics"


def test_two_opposite_dents_take_the_area_of_a_squeezed_tube():
    # Stadium: a taut tube between plates loses (pi/4) s^2 of its area.
    assert 2 * law.area_lost(1.5, 0.0) == pytest.approx(math.pi / 4 * 3.0**2)
    # A dent on a permanent one takes what the whole takes beyond it.
    assert law.area_lost(1.5, 2.0) == pytest.approx(law.area_lost(3.5, 0.0) - law.area_lost(2.0, 0.0))


@pytest.mark.parametrize(("degrees", "lies"), [(0.0, True), (0.7, True), (0.9, False), (90.0, False), (180.0, True)])
def test_a_contact_lies_on_a_flat_within_0_8_degrees_on_either_side(degrees, lies):
    flat_angle, off = 0.3, math.radians(degrees)
    nx, ny = -math.sin(flat_angle + off), math.cos(flat_angle + off)
    assert law.set_dent_at(2.0, nx, ny, flat_angle) == (2.0 if lies else 0.0)
    assert law.set_dent_at(0.0, nx, ny, flat_angle) == 0.0


@pytest.mark.parametrize("fraction", [0.25, 0.5, 0.8])
def test_a_set_flat_bears_the_load_that_set_it_at_the_same_total_dent(fraction):
    stiffness, total = 3e4, 4.0  # dent under that load
    set_dent = fraction * total
    dent = total - set_dent

    def force(x):
        return law.stiffness_at(stiffness, x, set_dent, fraction) * x

    assert force(dent) == pytest.approx(stiffness * total)
    assert force(2 * dent) == pytest.approx(stiffness * (set_dent + 2 * dent))
    assert force(dent / 2) == pytest.approx(stiffness * (set_dent + dent / 2) / 2)
    assert force(0.0) == 0.0
    assert law.stiffness_at(stiffness, dent, 0.0, fraction) == stiffness


def test_friction_follows_its_spring_up_to_coulombs_limit_and_slides_beyond():
    stiffness, inverse_mass, limit = 5e5, 2.0, 1000.0
    force, slip = law.friction_force(stiffness, 1e-3, inverse_mass, 0.0, limit)
    assert (force, slip) == (-500.0, 1e-3)
    for direction in (1.0, -1.0):
        force, slip = law.friction_force(stiffness, 0.01 * direction, inverse_mass, 0.0, limit)
        assert force == -limit * direction
        assert slip == pytest.approx(limit / stiffness * direction)  # stretched as far as the limit stretches it
    damper = law.damping_coefficient(stiffness, inverse_mass, law.TANGENTIAL_DAMPING)
    assert law.friction_force(stiffness, 0.0, inverse_mass, 0.1, limit)[0] == pytest.approx(-0.1 * damper)


def test_damping_of_a_pair_is_the_mean_or_that_of_the_container_at_a_rigid_part():
    assert law.pair_damping(0.2, 0.6) == pytest.approx(0.4)
    assert law.pair_damping(0.2, -1.0) == 0.2


def test_points_of_a_pair_share_its_damper():
    whole = law.contact_damper(1e5, 1.0, 2.0, 0.3)
    parts = [law.contact_damper(1e5 * weight, weight, 2.0, 0.3) for weight in (0.25, 0.75)]
    assert whole == pytest.approx(2 * 0.3 * math.sqrt(1e5 / 2.0))
    assert sum(parts) == pytest.approx(whole)


@pytest.mark.parametrize("module", ["kernel/stiffness.py", "kernel/solver.py", "pymunk_forces.py"])
def test_engines_take_the_law_from_here(module):
    tree = ast.parse((PHYSICS / module).read_text(encoding="utf-8"))
    own = {node.name.strip("_") for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    assert own.isdisjoint(law.__all__)
    called = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    assert called.isdisjoint({"sqrt", "exp", "expm1", "cos", "sin"})  # no formula of its own
