"""Containers of several surfaces: each rubs with its own friction on every piece, and each pair with its own.

Accelerations are measured over 0.2 s, from 0.05 s on, when what slides has drawn any tangential spring; the engines are
of first order, so 1 % is allowed.
"""

import math
from itertools import pairwise

import numpy as np
import pytest
from tests_shared import ROTOR, make_engine

from colsim import Scenario, replay
from colsim.physics.cross_section import build_cross_section
from colsim.physics.engines import Settings
from colsim.physics.scene import Arc, Body, Chain, ContactParameters, Line, Part, Scene

WHOLE_FILLS = {
    "test_two_kinds_that_are_alike_vend_as_one_to_the_last_bit",
    "test_every_part_of_a_column_carries_the_frictions_of_the_kinds_in_the_order_of_loading",
}
G = 9806.65  # [mm/s2] standard gravity
R = 33.0
CANNOT_TURN = 1e12  # [kg mm2]
BEGUN, TIME = 0.05, 0.2

# Between the two surfaces: what pymunk's own product of two factors contact, and what it cannot give.
AS_PRODUCT = ((0.3, math.sqrt(0.15)), (math.sqrt(0.15), 0.5))
LOWER, HIGHER = ((0.3, 0.05), (0.05, 0.5)), ((0.3, 0.9), (0.9, 0.5))
WALLS = {
    "line": lambda friction: Line((-1e5, 0.0), (1e5, 0.0), friction, Part.FLOOR),
    # So large that it is level to 1 in 1000 over the way slid.
    "convex arc": lambda friction: Arc((0.0, -1e6), 1e6, math.pi / 2 + 0.002, -0.004, friction),
}


def on_a_plane(wall, frictions, table, degrees):
    """Give a floor, with gravity turned so that it falls to the right, and a body of each surface on it, dented."""
    th = math.radians(degrees)
    scene = Scene((G * math.sin(th), -G * math.cos(th)), (Chain((WALLS[wall](frictions),)),), table)
    engine, dent = make_engine(scene), 0.5 * G * math.cos(th) / 140e3
    for surface in range(len(table)):
        engine.add(Body(surface, 2 * R, 0.0, 0.5, CANNOT_TURN, surface=surface), (200.0 * surface, R - dent))
    return engine


def accelerations(engine):
    """Give how fast each gains speed along x [mm/s2]."""
    engine.advance(round(BEGUN / engine.settings.step))
    before = engine.state().velocity[:, 0]
    engine.advance(round(TIME / engine.settings.step))
    return (engine.state().velocity[:, 0] - before) / TIME


@pytest.mark.parametrize("degrees", [30, 45])
@pytest.mark.parametrize("frictions", [(0.1, 0.2), (0.4, 0.1), (0.0, 0.5)])
@pytest.mark.parametrize("wall", WALLS)
def test_each_surface_slides_down_an_incline_with_its_own_friction(wall, frictions, degrees):
    # Coulomb: a = g (sin - mu cos), whatever the mass and whatever rubs on the same plane beside it.
    th = math.radians(degrees)
    engine = on_a_plane(wall, frictions, AS_PRODUCT, degrees)
    assert accelerations(engine) == pytest.approx(
        [G * (math.sin(th) - mu * math.cos(th)) for mu in frictions], rel=0.01
    )


def test_three_surfaces_slide_each_by_itself():
    frictions = (0.1, 0.3, 0.2)
    table = tuple(tuple(math.sqrt(a * b) for b in (0.2, 0.3, 0.6)) for a in (0.2, 0.3, 0.6))
    engine = on_a_plane("line", frictions, table, 45)
    expected = [G * math.sqrt(0.5) * (1 - mu) for mu in frictions]
    assert accelerations(engine) == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("wall", WALLS)
def test_a_surface_stays_where_its_own_friction_holds_it(wall):
    # tan 30 deg = 0.577: 0.6 holds, 0.55 does not.
    engine = on_a_plane(wall, (0.55, 0.6), AS_PRODUCT, 30)
    engine.advance(300)
    slides, stays = engine.state().velocity[:, 0]
    assert slides > 10
    assert abs(stays) < 1


@pytest.mark.parametrize("table", [AS_PRODUCT, LOWER, HIGHER])
@pytest.mark.parametrize("upper", [0, 1])
@pytest.mark.parametrize("lower", [0, 1])
def test_a_block_sliding_on_a_heavy_one_is_slowed_by_the_friction_of_the_two(table, upper, lower):
    # m a = mu m g, so v = v0 - mu g t; the block below is a thousand times heavier, cannot turn, and stays.
    floor = Chain((Line((-1e5, 0.0), (1e5, 0.0), 0.5, Part.FLOOR),))
    engine = make_engine(Scene((0.0, -G), (floor,), table))
    below = Body(0, 60.0, 4000.0, 500.0, CANNOT_TURN, surface=lower, contact=ContactParameters.of_boards(70e3))
    engine.add(below, (0.0, 30.0 - 500.0 * G / 140e6))
    engine.add(Body(1, 60.0, 100.0, 0.5, CANNOT_TURN, surface=upper), (-500.0, 90.0 - 0.07), velocity=(3000.0, 0.0))
    engine.advance(round(TIME / engine.settings.step))
    under, above = engine.state().velocity[:, 0]
    assert abs(under) < 1
    assert (3000.0 - above) / TIME == pytest.approx(table[upper][lower] * G, rel=0.01)


def piled(table, surfaces, frictions):
    """Let ten discs fall into a box of straight walls with a rounded sill, and give how they lie and press."""
    corners = [(-150.0, 600.0), (-150.0, 0.0), (150.0, 0.0), (150.0, 600.0)]
    box = [Line(a, b, frictions) for a, b in pairwise(corners)]
    sill = Chain((Arc((0.0, -20.0), 60.0, math.pi - 0.3, 0.6 - math.pi, frictions),))
    engine = make_engine(Scene((0.0, -G), (Chain(tuple(box)), sill), table))
    for i in range(10):
        body = Body(i, 2 * R, 0.0, 0.5, 0.25 * R**2, 0.2, surface=surfaces[i])
        engine.add(body, (-90.0 + 70.0 * (i % 3) + 5.0 * i, 90.0 + 70.0 * (i // 3)))
    engine.advance(800)
    state, contacts = engine.state(), engine.contacts()
    return state.position, state.angle, state.velocity, state.spin, contacts.force


def test_equal_tables_give_the_same_as_one_surface_to_the_last_bit():
    one = piled(0.3, [0] * 10, 0.2)
    two = piled(((0.3, 0.3), (0.3, 0.3)), [0, 1] * 5, (0.2, 0.2))
    for a, b in zip(one, two, strict=True):
        np.testing.assert_array_equal(a, b)
    other = piled(((0.3, 0.3), (0.3, 0.31)), [0, 1] * 5, (0.2, 0.2))
    assert not np.array_equal(one[0], other[0])


COLUMN = {"width": 90, "height": 900, "wall_friction": 0.25, "liners": [{"top": 300, "friction": 0.15}]}
KIND = {"diameter": 66, "mass": 0.54}


def test_two_kinds_that_are_alike_vend_as_one_to_the_last_bit():
    rest = {"column": COLUMN, "rotor": ROTOR}
    layers = [{"container": name, "count": 1} for name in ("a", "b", "a", "b")]
    two = Scenario(containers={"a": KIND, "b": KIND}, loading={"layers": layers}, **rest)
    one = Scenario(container=KIND, loading={"count": 4}, **rest)
    found = [replay(scenario, seed=5) for scenario in (one, two)]
    assert [body.surface for body in found[1].bodies] == [0, 1, 0, 1]
    assert found[0].fill.vends == found[1].fill.vends
    for a, b in zip(found[0].frames, found[1].frames, strict=True):
        np.testing.assert_array_equal(a.state.position, b.state.position)
        np.testing.assert_array_equal(a.state.angle, b.state.angle)


def test_every_part_of_a_column_carries_the_frictions_of_the_kinds_in_the_order_of_loading():
    own = {"wall_friction": 0.11, "liner_friction": 0.12, "rotor_friction": 0.13, "friction": 0.14}
    scenario = Scenario(
        containers={"plain": KIND | {"friction": 0.35}, "special": KIND | own},
        column={**COLUMN, "throat": 80, "floor_slope": 45, "floor_friction": 0.41, "throat_radius": 3},
        rotor=ROTOR,
        loading={
            "layers": [{"container": "special", "count": 1}, {"container": "plain", "count": 1}],
            "mixed_friction": 0.5,
        },
    )
    section = build_cross_section(scenario)
    found = {}
    for chain in (*section.scene.walls, section.scene.drum.outline):
        for piece in chain.pieces:
            found.setdefault(piece.part, set()).add(piece.friction)
    rotor = {Part.HOUSING, Part.LAND, Part.LEADING_SIDE, Part.TRAILING_SIDE, Part.POCKET_FLOOR}
    assert found == {
        Part.LEFT_WALL: {(0.11, 0.25), (0.12, 0.15)},
        Part.RIGHT_WALL: {(0.11, 0.25), (0.12, 0.15)},
        Part.FLOOR: {0.41},
        Part.THROAT_EDGE: {0.41},
        **{part: {(0.13, 0.25)} for part in rotor},
    }
    assert section.scene.friction_table == ((0.14, 0.5), (0.5, 0.35))
    again = replay(scenario, seed=1)
    assert [body.surface for body in again.bodies] == [0, 1]  # "special" was laid in first


N, WEIGHT = 8, 3.6


@pytest.mark.parametrize("width", [1.05, 1.3, 1.51, 1.6, 1.7])
def test_the_greatest_force_in_a_stack_at_rest_is_that_of_statics(width):
    # Frictionless discs against alternate walls (geometry: arXiv:1311.1069), sin = W/d - 1: the floor carries n w, the
    # lowest two press each other with (n - 1) w / cos, and the wall the last but one with (2n - 3) w tan. Of 8 discs
    # the first is greatest up to W/d 1.484, then the second, and from 1.538 on the third. Dents turn the lines of
    # centres a little: sin and cos are those of the lowest three.
    d = 2 * R
    walls = Chain(
        (
            Line((-width * R, 2000.0), (-width * R, 0.0), (0.0, 0.0), Part.LEFT_WALL),
            Line((-width * R, 0.0), (width * R, 0.0), (0.0, 0.0), Part.FLOOR),
            Line((width * R, 0.0), (width * R, 2000.0), (0.0, 0.0), Part.RIGHT_WALL),
        )
    )
    engine = make_engine(Scene((0.0, -G), (walls,), ((0.0, 0.0), (0.0, 0.0))), Settings())
    mass = WEIGHT / (G / 1000)
    for i in range(N):
        place = ((-1) ** i * (width - 1) * R, R + i * d * math.sqrt(1 - (width - 1) ** 2))
        engine.add(Body(i, d, 0.0, mass, 0.5 * mass * R**2, surface=i % 2), place)
    engine.advance(1500)
    lines = np.abs(np.diff(engine.state().position[:3], axis=0))
    first, second = lines[:, 0] / lines[:, 1]
    assert [first, second] == pytest.approx([(width - 1) / math.sqrt(1 - (width - 1) ** 2)] * 2, rel=0.07)
    force, dent, share = engine.extremes()
    on_wall = (N - 1) * first + (N - 2) * second
    greatest = WEIGHT * max(N, (N - 1) * math.hypot(1.0, first), on_wall)
    assert force / 1000 == pytest.approx(greatest, rel=0.002)
    # The same as the greatest of all contacts, listed one by one, and the dent that it makes in a spring of 140 N/mm.
    assert force == pytest.approx(np.hypot(*engine.contacts().force.T).max(), rel=1e-12)
    assert dent == pytest.approx(greatest / 140.0, rel=0.002)
    assert share == pytest.approx(dent / d, rel=1e-9)


def test_where_nothing_touches_nothing_presses():
    engine = make_engine(Scene((0.0, 0.0), (Chain((Line((-100.0, 0.0), (100.0, 0.0), 0.2),)),), 0.3))
    assert engine.extremes() == (0.0, 0.0, 0.0)
    engine.add(Body(0, 2 * R, 0.0, 0.5, 0.25 * R**2), (0.0, 3 * R))
    engine.advance(10)
    assert engine.extremes() == (0.0, 0.0, 0.0)
