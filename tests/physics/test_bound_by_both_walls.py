"""Soft bottles whose bulge fills the column, against closed forms: section, grip, and what the grip can hold."""

import math

import numpy as np
import pytest
from tests_shared import make_engine

from colsim import Scenario
from colsim.physics.cross_section import build_cross_section, container_body
from colsim.physics.engines import Settings
from colsim.physics.giving_way import beside
from colsim.physics.mechanism import Mechanism
from colsim.physics.scene import Body, Chain, Line, Scene
from colsim.physics.section_under_load import held_between, held_table
from colsim.physics.vending import VendingColumn
from colsim.sampling import Outcome, simulate_fill
from colsim.theory.squeeze import Bottle, section_between

G = 9806.65  # [mm/s2]
MASS = 0.515
WATER = Bottle(
    diameter=65, length=130, wall_thickness=0.08, modulus=3000, poisson=0.38, headspace=0.04, body_share=0.85
)


def narrow(friction, count=8, width=66.0, **container):
    return Scenario(
        title="thin walls in a narrow column",
        container={"diameter": 65, "mass": MASS, "empty_mass": 0.015, "drink": "still", "headspace": 0.04}
        | {"wall_thickness": 0.08, "set_fraction": 0.0, "friction": 0.25}
        | container,
        column={"width": width, "height": 1500, "wall_friction": friction},
        rotor={"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80, "spacer_thickness": 12},
        loading={"count": count},
    )


def loaded(scenario):
    section = build_cross_section(scenario)
    engine = make_engine(section.scene)
    column = VendingColumn(section, engine, settings=Settings(), speed=1.0)
    bodies = [container_body(scenario.container, k, 0, scenario.conditions) for k in range(scenario.loading.total)]
    for body in bodies:
        column.lay(body, 0.0)
    return column, bodies


def bound_section(bottle, width, along):
    return held_between(held_table(bottle, width), along)


def down_the_stack(bottle, width, friction, count):
    """Give heights and grips from the second from the top down, each wall sliding with all its friction (Janssen)."""
    above, weight, found = 0.0, MASS * G / 1000, []
    for _ in range(count):
        below = above + weight
        for _ in range(100):
            squeeze, side = bound_section(bottle, width, (above + below) / 2)
            below = above + weight - 2 * friction * side
        found.append((bottle.diameter - squeeze, 2 * friction * side))
        above = below
    return found


@pytest.mark.parametrize("load", [10.0, 30.0, 73.0, 150.0])
def test_the_table_of_bound_sections_is_that_of_the_bottle(load):
    squeeze, side = bound_section(WATER, 66.0, load)
    assert WATER.forces_between(66.0, 65.0 - squeeze) == pytest.approx((load, side), rel=2e-3, abs=0.01)


def test_what_does_not_reach_the_walls_is_not_bound():
    # 66 mm are met from a squeeze of 1 / (pi/2 - 1) on, where the box is the stadium of free theory.
    touching = 1 / (math.pi / 2 - 1)
    assert WATER.forces_between(66.0, 65.0 - touching) == pytest.approx((WATER.force(touching), 0.0), abs=1e-6)
    assert bound_section(WATER, 66.0, 0.99 * WATER.force(touching)) == (0.0, 0.0)
    squeeze, side = bound_section(WATER, 66.0, 1.05 * WATER.force(touching))
    assert squeeze > touching
    assert side > 0.0


@pytest.mark.parametrize("height", [58.0, 55.0, 50.0])
def test_the_work_of_the_load_is_what_gas_and_wall_take_up(height):
    # Energy of Boyle's gas, stretched wall and linear ring, apart from the forces: F dh = -dE, the width held.
    air = 101.325

    def energy(h):
        lost = section_between(66.0, h, 65.0).area_lost
        p = WATER.pressure_when(lost)
        inside = math.pi / 4 * 65**2 * WATER.length / WATER.body_share  # [mm3]
        gas = -WATER.headspace * air * math.log(air / (p + air)) - air * (WATER.headspace - _gas(WATER, p))
        wall = WATER.wall_stretch * p**2 / 2
        return inside * (gas + wall) / 1000 + WATER.ring_force(1.0) * (65.0 - h) ** 2 / 2

    step = 1e-3
    assert (energy(height - step) - energy(height + step)) / (2 * step) == pytest.approx(
        WATER.forces_between(66.0, height)[0], rel=1e-5
    )


def _gas(bottle, pressure):
    """Give the share of the inside that the gas takes at a gauge pressure."""
    return bottle.headspace * (bottle.pressure + 101.325) / (pressure + 101.325)


@pytest.mark.parametrize("width", [65.0, 65.5, 66.0, 67.5])
def test_no_wall_holds_what_is_pressed_from_above_alone(width):
    # With an empty pocket below, the lowest bears nothing under it, so its load is half of what is above. It would
    # hold if 2 mu N >= F + w with N(F / 2): then mu >= F / (2 N). From d = W on, b2 / b1 <= 1 - (4 - pi) / 2 = 0.571.
    for above in (10.0, 40.0, 120.0):
        _, side = bound_section(WATER, width, above / 2)
        assert side <= (1 - (4 - math.pi) / 2) * above / 2 + 1e-9
        if side > 0:
            assert above / (2 * side) > 1.75


def test_smooth_walls_leave_the_stack_its_weight():
    column, bodies = loaded(narrow(0.0))
    expected = down_the_stack(bodies[0].wall.bottle, 66.0, 0.0, 7)
    seen = {body.index: body for body in column.frame().bodies}
    for k, (height, _) in zip(range(7, 0, -1), expected, strict=True):
        assert seen[k].height == pytest.approx(height, abs=0.1)
        if height < 65 - 1 / (math.pi / 2 - 1) - 0.2:
            assert seen[k].side > 0.0
            assert seen[k].flat + seen[k].height - seen[k].side == pytest.approx(65.9, abs=0.06)


def test_rough_walls_carry_part_of_it():
    # Friction is at most what slides, up where a bottle sinks and down where one that a fall pressed comes up again
    # (Janssen's active and passive states, from memory); where between these it stays depends on what came before.
    column, bodies = loaded(narrow(0.3))
    bottle = bodies[0].wall.bottle
    active, smooth, passive = (down_the_stack(bottle, 66.0, friction, 7) for friction in (0.3, 0.0, -0.3))
    seen = {body.index: body for body in column.frame().bodies}
    off = []
    for k, (tall, _), (middle, _), (low, _) in zip(range(7, 0, -1), active, smooth, passive, strict=True):
        assert low - 0.1 <= seen[k].height <= tall + 0.1
        off.append(abs(seen[k].height - middle))
    assert max(off) > 0.15  # it makes a difference


@pytest.mark.parametrize("share", [0.0, 0.4, 1.5])
def test_a_grip_takes_its_force_off_the_weight(share):
    engine = make_engine(Scene((0.0, -G), (), 0.3))
    engine.add(Body(0, 60.0, 0.0, 0.5, 0.5 * 900), (0.0, 0.0))
    engine.grip(0, share * 0.5 * G)
    engine.advance(200)
    assert engine.state().velocity[0, 1] == pytest.approx(-G * 0.2 * max(0.0, 1 - share), rel=1e-6, abs=1e-6)
    engine.grip(0, 0.0)
    engine.advance(100)
    assert engine.state().velocity[0, 1] == pytest.approx(-G * (0.2 * max(0.0, 1 - share) + 0.1), rel=1e-6)
    engine.grip(0, 1.0)
    engine.remove(0)  # with its grip
    engine.advance(1)


def test_a_box_lies_on_its_flat_as_high_as_it_is():
    floor = Chain((Line((-500.0, 0.0), (500.0, 0.0), 0.4),))
    engine = make_engine(Scene((0.0, -G), (floor,), 0.4))
    disc = Body(0, 65.0, 0.0, 0.5, 0.5 * 900)
    engine.add(disc, (0.0, 32.5), angle=0.5)
    engine.reshape(np.array([0]), np.array([[58.0, 14.0, 8.0, -0.52]]))
    engine.advance(1500)
    found = engine.contacts()
    assert engine.state().position[0, 1] == pytest.approx(29.0, abs=0.05)
    assert math.sin(float(engine.state().angle[0]) - 0.52) == pytest.approx(0.0, abs=2e-3)
    assert np.ptp(found.point[:, 0]) == pytest.approx(14.0, abs=0.1)


def test_walls_press_only_where_there_is_wall_and_less_than_3_mm():
    column, _ = loaded(narrow(0.3, count=5, width=68.5))
    assert all(body.side == 0.0 for body in column.frame().bodies)
    section = build_cross_section(narrow(0.3))
    foot = section.floor_top
    walls, frictions = section.side_walls(0)
    length, friction = beside(walls, frictions, foot + 200.0, foot + 210.0)
    assert (length, friction) == pytest.approx((20.0, 6.0))
    below, _ = beside(walls, frictions, foot - 60.0, foot - 50.0)
    assert below == 0.0


def test_pushing_a_bound_stack_up_is_what_blocks():
    # Each bottle adds to the force that pushes it up (1 + mu b2/b1) / (1 - mu b2/b1): at 0.8 the motor cannot.
    for friction, outcome in ((0.1, None), (0.8, Outcome.STALL)):
        failure = simulate_fill(narrow(friction, count=10), seed=1).failure
        assert (failure.outcome if failure else None) is outcome
    assert failure.mechanism is Mechanism.BIND
