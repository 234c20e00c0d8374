"""Soft bottles that their bulge presses against both side walls: how hard, and what that can hold.

The law of contact knows no bulge but here: a bottle that is pressed in by s up and down stands out by 0.285 s on each
side (a taut tube, plane geometry: the girth stays), so that walls which leave c/2 a side dent it by 0.285 s - c/2.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from tests_shared import make_engine

from colsim import Scenario
from colsim.physics.contact_law import bulge_per_side
from colsim.physics.cross_section import build_cross_section, container_body
from colsim.physics.engines import Settings
from colsim.physics.mechanism import Mechanism
from colsim.physics.scene import Body, Chain, ContactParameters, Line, Part, Scene
from colsim.physics.vending import VendingColumn
from colsim.sampling import Outcome, simulate_fill
from colsim.theory.squeeze import Bottle, bulge, section_between

WHOLE_FILLS = {
    "test_only_a_column_that_leaves_less_than_3_mm_is_filled_by_a_bulge",
    "test_pushing_a_bound_stack_up_is_what_blocks",
}
G = 9806.65  # [mm/s2]
D, MASS = 65.0, 0.515
WATER = Bottle(diameter=D, length=130, wall_thickness=0.08, modulus=3000, poisson=0.38, headspace=0.04, body_share=0.85)
FIZZY = replace(WATER, pressure=300.0, wall_thickness=0.3)
SHARE = math.pi * (4 - math.pi) / 4
"""Of the forces on all four sides of a taut skin, what four independent dents with a bulge come to [-]."""


def sides(width, friction=0.0, high=2000.0):
    """Give both side walls, open above and below."""
    return (
        Chain((Line((-width / 2, high), (-width / 2, -high), friction, Part.LEFT_WALL),)),
        Chain((Line((width / 2, -high), (width / 2, high), friction, Part.RIGHT_WALL),)),
    )


def soft(bottle, index=0, mass=MASS):
    contact = ContactParameters.of_bottle(bottle)
    return Body(index, D, 0.0, mass, 0.2 * mass * (D / 2) ** 2, contact=contact, bulges=True)


def held(bottle, width, squeeze):
    """Hold a bottle to a width by side walls and to a height by boards; give its forces upright and across [N]."""
    half = (D - squeeze) / 2
    boards = (Chain((Line((-500.0, -half), (500.0, -half), 0.0),)), Chain((Line((500.0, half), (-500.0, half), 0.0),)))
    engine = make_engine(Scene((0.0, 0.0), (*boards, *sides(width)), 0.0))
    engine.add(soft(bottle), (0.0, 0.0))
    engine.advance(1500)
    contacts = engine.contacts()
    across = np.array([part in (Part.LEFT_WALL, Part.RIGHT_WALL) for part in contacts.part])
    force = (contacts.force * contacts.normal).sum(axis=1) / 1000
    return force[~across], force[across]


def test_the_bulge_is_that_of_a_taut_tube():
    assert 2 * bulge_per_side(6.0) == pytest.approx(bulge(6.0, D))
    assert bulge_per_side(1.0) == pytest.approx(0.285, abs=5e-4)


@pytest.mark.parametrize(("width", "squeeze"), [(65.0, 3.0), (65.0, 9.0), (66.0, 4.0), (66.0, 9.0), (67.5, 8.0)])
@pytest.mark.parametrize("bottle", [WATER, FIZZY], ids=["still", "carbonated"])
def test_both_walls_press_by_what_of_the_bulge_they_leave_no_room_for(bottle, width, squeeze):
    # Derived from the law: k = pi p L + 2 ring, with p at the area that all four dents take; k s/2 up and down, and
    # k (0.285 s - c/2) on each side.
    dent = bulge(squeeze, D) / 2 - (width - D) / 2
    lost = math.pi / 2 * (2 * (squeeze / 2) ** 2 + 2 * dent**2) / (math.pi / 4 * D**2)
    stiffness = math.pi * bottle.pressure_when(lost) / 1000 * bottle.length + 2 * bottle.ring_force(1.0)
    upright, across = held(bottle, width, squeeze)
    assert upright == pytest.approx([stiffness * squeeze / 2] * 2, rel=0.01)
    assert across == pytest.approx([stiffness * dent] * 2, rel=0.01)


@pytest.mark.parametrize(("width", "squeeze"), [(65.0, 3.0), (65.0, 9.0), (66.0, 9.0)])
def test_walls_press_two_thirds_as_hard_as_those_of_a_taut_skin_would(width, squeeze):
    # `Bottle.forces_between` has the exact section of a taut skin between four walls, with flats of
    # (0.571 s - c) 2 / (4 - pi) at its sides. Derived from it: at one pressure the law has pi (4 - pi)/4 = 0.674 of the
    # side force at any width, and where the column leaves nothing of the upright one too, so that their ratio, 0.571,
    # is the exact one.
    skin = replace(FIZZY, headspace=0.9)  # so much gas that its pressure hardly goes by the area
    upright, across = held(skin, width, squeeze)
    exact_up, exact_side = skin.forces_between(width, D - squeeze)
    section = section_between(width, D - squeeze, D)
    assert across == pytest.approx([SHARE * exact_side] * 2, rel=0.02)
    if width == D:
        assert upright == pytest.approx([SHARE * exact_up] * 2, rel=0.02)
        assert across[0] / upright[0] == pytest.approx(section.flat_side / section.flat_top, rel=1e-3)


def test_below_what_the_bulge_needs_no_wall_presses():
    # 66 mm are met from a squeeze of 1 / (pi/2 - 1) on.
    touching = 1.0 / (math.pi / 2 - 1)
    upright, across = held(WATER, 66.0, 0.9 * touching)
    assert upright == pytest.approx([WATER.force(0.9 * touching)] * 2, rel=0.01)
    assert len(across) == 0
    _, across = held(WATER, 66.0, 1.1 * touching)
    assert len(across) == 2


def pressed_from_above(width, friction, above):
    """Take the post from below a bottle on which a plate lies, and give how far the bottle sinks in 0.3 s [mm]."""
    foot = -D / 2 - 150.0
    ground = Chain((Line((-20.0, foot), (20.0, foot), 0.3),))
    engine = make_engine(Scene((0.0, -G), (*sides(width, friction), ground), 0.0))
    stiff = ContactParameters.of_boards(1e3)
    engine.add(soft(WATER), (0.0, 0.0))
    engine.add(Body(1, 20.0, 30.0, above / (G / 1000), 1e9, contact=stiff), (0.0, D / 2 + 10.0))
    engine.add(Body(2, 150.0, 20.0, 1.0, 1e9, contact=stiff, side=140.0), (0.0, -D / 2 - 75.0))
    engine.advance(1500)
    before = engine.state()
    assert np.abs(before.velocity).max() < 2.0
    engine.remove(2)
    engine.advance(300)
    return before.position[0, 1] - engine.state().position[0, 1]


@pytest.mark.parametrize("width", [65.0, 65.5, 67.0])
@pytest.mark.parametrize("above", [20.0, 100.0])
def test_no_bottle_is_held_by_itself_when_it_is_pressed_from_above_alone(width, above):
    # With nothing below only what presses from above, F = k s, makes a bulge: each wall presses with at most 0.285 k s,
    # and friction holds F and the weight only from 1 / (2 0.285) = 1.75 on (derived; the exact section says the same).
    for friction in (0.3, 1.6):
        assert pressed_from_above(width, friction, above) > 100.0


def test_from_the_friction_on_at_which_the_walls_bear_it_all_it_is_held():
    # F (2 mu 0.285 - 1) of the walls has to bear its weight: with 100 N above and no room beside it, from 1.84 on.
    assert (1 + MASS * G / 1000 / 100.0) / (2 * bulge_per_side(1.0)) == pytest.approx(1.84, abs=0.005)
    assert pressed_from_above(D, 2.5, 100.0) < 1.0


def narrow(friction, count=8, width=66.0):
    return Scenario(
        title="thin walls in a narrow column",
        container={"diameter": 65, "mass": MASS, "empty_mass": 0.015, "drink": "still", "headspace": 0.04}
        | {"wall_thickness": 0.08, "set_fraction": 0.0, "friction": 0.25},
        column={"width": width, "height": 1500, "wall_friction": friction},
        rotor={"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80, "spacer_thickness": 12},
        loading={"count": count},
    )


@pytest.mark.parametrize(("width", "fills"), [(65.0, True), (67.9, True), (68.1, False)])
def test_only_a_column_that_leaves_less_than_3_mm_is_filled_by_a_bulge(width, fills):
    scenario = narrow(0.0, count=3, width=width)
    section = build_cross_section(scenario)
    column = VendingColumn(section, make_engine(section.scene), settings=Settings(), speed=1.0)
    for k in range(3):
        column.lay(container_body(scenario.container, k, 0, scenario.conditions), 0.0)
    assert [body.bulges for body in column.frame().bodies] == [fills] * 3


def test_pushing_a_bound_stack_up_is_what_blocks():
    # Each bottle adds to the force that pushes it up what walls bear of it: with a friction of 0.8 the motor cannot.
    for friction, outcome in ((0.1, None), (0.8, Outcome.STALL)):
        failure = simulate_fill(narrow(friction, count=10), seed=1).failure
        assert (failure.outcome if failure else None) is outcome
    assert failure.mechanism is Mechanism.BIND
