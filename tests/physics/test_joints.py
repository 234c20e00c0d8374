"""No joint stands proud, each corner has one owner, and each piece its own friction.

What slides is laid down dented by its own weight, by the law of contact: weight over stiffness.
"""

import math
from itertools import pairwise

import numpy as np
import pytest
from tests_shared import ROOT, make_engine, small_scenario

from colsim import Scenario
from colsim.physics.choice import PYMUNK
from colsim.physics.cross_section import build_cross_section
from colsim.physics.engines import Settings
from colsim.physics.scene import Arc, Body, Chain, Drum, Line, Part, Scene

R = 30.0
G = 9806.65
MASS, CONTACT = 0.5, 140e3  # [kg] and, of one contact of what shows 70 N/mm between boards, [mN/mm]
DENT = MASS * G / CONTACT  # [mm], under its own weight


def sliding(chain, position, velocity, gravity=(0.0, 0.0), settings=None):
    engine = make_engine(Scene(gravity, (chain,), 1.0), settings or Settings())
    engine.add(Body(0, 2 * R, 0.0, MASS, 0.5 * MASS * R**2), position, velocity=velocity)
    return engine


@pytest.mark.parametrize("pieces", [2, 7, 40])
def test_a_disc_slides_over_flush_joints_without_a_bump(pieces):
    ends = np.linspace(0.0, 400.0, pieces + 1)
    chain = Chain(tuple(Line((a, 0.0), (b, 0.0), 0.0) for a, b in pairwise(ends)))
    engine = sliding(chain, (-20.0 + R, R - DENT), (200.0, 0.0), gravity=(0.0, -G))
    for _ in range(170):
        engine.advance(10)
        state = engine.state()
        assert abs(state.velocity[0, 1]) < 1e-6
        assert state.velocity[0, 0] == pytest.approx(200.0, abs=1e-6)
    assert state.position[0, 0] > 340


def test_each_piece_slows_a_disc_by_its_own_friction():
    # A hoop-like disc that cannot turn slides at mu g on each side of the joint.
    chain = Chain((Line((0.0, 0.0), (500.0, 0.0), 0.1), Line((500.0, 0.0), (2000.0, 0.0), 0.4)))
    engine = make_engine(Scene((0.0, -G), (chain,), 0.3))
    engine.add(Body(0, 2 * R, 0.0, MASS, 1e9), (100.0, R - DENT), velocity=(1500.0, 0.0))
    slowed = {0.1: [], 0.4: []}
    while engine.state().velocity[0, 0] > 200:
        before = engine.state()
        engine.advance(10)
        after = engine.state()
        if before.position[0, 0] > 525 or 120 < before.position[0, 0] < after.position[0, 0] < 495:
            mu = 0.1 if after.position[0, 0] < 500 else 0.4
            slowed[mu].append((before.velocity[0, 0] - after.velocity[0, 0]) / 0.01 / G)
    for mu, found in slowed.items():
        assert len(found) > 5
        assert np.abs(np.array(found) - mu).max() < 1e-6


def test_a_disc_goes_round_a_drum_as_on_a_true_circle():
    # Frictionless, from rest near the top: v2 = 2 g (R + r) (1 - cos), until it leaves at cos = 2/3 of the start's
    # height (a standard problem of mechanics); the centre keeps to its circle but for the dent that its weight makes,
    # which is twice as deep at most while it comes down on its spring.
    radius = 95.0
    chain = Chain((Arc((0.0, 0.0), radius, math.pi, -math.pi, 0.0, Part.LAND),))
    engine = sliding(chain, (2.0, math.sqrt((radius + R) ** 2 - 4.0)), (0.0, 0.0), gravity=(0.0, -G))
    start = engine.state().position[0, 1]
    while (place := engine.state().position[0])[1] > 0.75 * start:
        engine.advance(1)
        assert -2 * DENT < math.hypot(*engine.state().position[0]) - radius - R < 0.01
    assert math.hypot(*engine.state().velocity[0]) == pytest.approx(math.sqrt(2 * G * (start - place[1])), rel=0.02)


def test_a_convex_arc_is_touched_on_the_arc_only():
    # A quarter circle from the left to the top: a disc above it is held, one to the right of its end falls past.
    chain = Chain((Arc((0.0, 0.0), 50.0, math.pi, -math.pi / 2, 0.5, Part.LAND),))
    for x, held in ((-0.5, True), (0.5, False)):
        engine = sliding(chain, (x, 50.0 + R - DENT), (0.0, 0.0), gravity=(0.0, -G))
        engine.advance(3)
        assert (len(engine.contacts().body) == 1) == held
        assert (engine.state().velocity[0, 1] > -1.0) == held


@pytest.mark.parametrize("turned", [0.0, 1.0, -7.3])
def test_an_arc_of_the_drum_turns_with_it(turned):
    outline = Chain((Arc((0.0, 0.0), 50.0, math.pi / 4, -math.pi / 2, 0.5, Part.LAND),))
    engine = make_engine(Scene((0.0, 0.0), (), 1.0, Drum(outline, 1e5, 1e12)))
    engine.drive(turned / 0.1)
    engine.advance(100)
    engine.drive(0.0)
    engine.advance(2)
    assert engine.drum_angle == pytest.approx(turned, abs=1e-6)
    for k, (offset, touches) in enumerate(((0.7, True), (0.9, False), (-0.7, True), (-0.9, False))):
        angle = turned + offset
        away = 50.0 + R - 0.05
        engine.add(Body(k, 2 * R, 0.0, 0.5, 100.0), (away * math.cos(angle), away * math.sin(angle)))
        engine.advance(1)
        assert (len(engine.contacts().body) == 1) == touches
        engine.remove(k)


@pytest.mark.parametrize("chord_turn", [4.0, 1.0])
def test_a_disc_inside_a_housing_loses_only_what_the_chords_turn(chord_turn, engine_name):
    # Without friction or rebound each chord's turn d takes v (1 - cos d): over a half circle exp(-pi d / 2). An arc
    # that stays one takes nothing.
    radius = 97.0
    chain = Chain((Arc((0.0, 0.0), radius, math.pi, math.pi, 0.0, Part.HOUSING),))
    engine = sliding(chain, (-radius + R + 0.01, 0.0), (0.0, -200.0), settings=Settings(chord_turn=chord_turn))
    engine.advance(900)
    state = engine.state()
    share = (math.atan2(state.position[0, 1], state.position[0, 0]) + math.pi) % (2 * math.pi) / math.pi
    assert 0.7 < share < 1.0
    left = math.exp(-math.pi * share * math.radians(chord_turn) / 2) if engine_name == PYMUNK else 1.0
    assert math.hypot(*state.velocity[0]) / 200 == pytest.approx(left, abs=0.02)


def test_one_piece_owns_a_convex_corner_and_two_hold_in_a_concave_one():
    roof = Chain((Line((-200.0, -100.0), (0.0, 0.0), 1.0), Line((0.0, 0.0), (200.0, -100.0), 1.0)))
    engine = sliding(roof, (0.0, R - DENT), (0.0, 0.0), gravity=(0.0, -G))
    engine.advance(3)
    assert len(engine.contacts().body) == 1
    valley = Chain((Line((-200.0, 100.0), (0.0, 0.0), 1.0), Line((0.0, 0.0), (200.0, 100.0), 1.0)))
    engine = sliding(valley, (0.0, R / math.cos(math.atan(0.5))), (0.0, 0.0), gravity=(0.0, -G))
    engine.advance(300)
    assert len(engine.contacts().body) == 2


LAND = Arc((0.0, 0.0), 95.0, math.radians(150), math.radians(-60), 0.5, Part.LAND)  # from upper left to the top
SIDE = Line((0.0, 95.0), (0.0, 20.0), 0.5, Part.LEADING_SIDE)


@pytest.mark.parametrize("degrees", [1, 20, 45, 70, 89])
@pytest.mark.parametrize("mirrored", [False, True])
def test_a_sharp_edge_between_arc_and_line_is_owned_once_all_round(degrees, mirrored):
    # Land, then the pocket's side, and the other way round: a disc comes straight at the edge from within its wedge.
    if mirrored:
        land = Arc((0.0, 0.0), 95.0, math.pi / 2, math.radians(-60), 0.5, Part.LAND)
        pieces = (Line(SIDE.end, SIDE.start, 0.5, Part.TRAILING_SIDE), land)
    else:
        pieces = (LAND, SIDE)
    angle = math.radians(90 + degrees if mirrored else 90 - degrees)
    away = (math.cos(angle), math.sin(angle))
    distance = R + 0.15
    engine = sliding(Chain(pieces), (distance * away[0], 95.0 + distance * away[1]), (-100 * away[0], -100 * away[1]))
    engine.advance(2)  # 1.5 ms on the way, and 0.5 of the contact's 2.9
    contacts = engine.contacts()
    assert len(contacts.body) == 1
    assert contacts.normal[0] == pytest.approx(away, abs=0.02)
    engine.advance(18)
    left = engine.state().velocity[0] @ away  # it bounces as hardly as damping allows, and straight back
    assert 0.0 < left < 20.0
    assert np.hypot(*engine.state().velocity[0]) == pytest.approx(left, rel=0.02)


SCENARIOS = {
    "straight": small_scenario(),
    "example": Scenario.from_toml(ROOT / "examples" / "alder-hall-2.toml"),
    "wide": small_scenario(
        **{"container.diameter": 73, "column.width": 124, "column.throat": 90, "column.floor_slope": 60}
    ),
    "sharp": small_scenario(**{"rotor.lead_in": 0, "column.throat_radius": 0}),
    "two pockets": small_scenario(**{"rotor.pockets": 2, "rotor.rest": "land_up", "rotor.turn": "counterclockwise"}),
}


@pytest.mark.parametrize("scenario", SCENARIOS.values(), ids=SCENARIOS)
def test_the_pieces_of_every_chain_meet_and_roundings_are_tangent(scenario):
    section = build_cross_section(scenario)
    for chain in (*section.scene.walls, section.scene.drum.outline):
        following = pairwise((*chain.pieces, chain.pieces[0]) if chain.closed else chain.pieces)
        for a, b in following:
            assert math.dist(a.end, b.start) < 1e-9
            rounding = [p for p in (a, b) if isinstance(p, Arc) and p.radius == 10 and p.radius > 0]
            if rounding:
                assert math.dist(a.direction(1.0), b.direction(0.0)) < 1e-9


@pytest.mark.parametrize("scenario", SCENARIOS.values(), ids=SCENARIOS)
def test_throat_edge_and_floor_carry_their_own_friction(scenario):
    section = build_cross_section(scenario)
    expected = {Part.THROAT_EDGE: 0.25, Part.FLOOR: 0.25, Part.HOUSING: 0.25, Part.LAND: 0.25}
    found = {p.part: p.friction for chain in section.scene.walls for p in chain.pieces if p.part in expected}
    assert found
    assert all(expected[part] == friction for part, friction in found.items())


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("name", ["straight", "example", "wide"])
def test_a_disc_slides_down_the_real_wall_over_its_joints_without_a_bump(name, side):
    # Pressed against the wall by sideways gravity, no friction: over liner joints down to the floor or throat edge.
    scenario = SCENARIOS[name].changed(**{"column.wall_friction": 0.0, "container.friction": 0.01})
    if name == "example":
        scenario = scenario.changed(**{"column.liners": [{"bottom": 100, "top": 800, "friction": 0.0}]})
    section = build_cross_section(scenario)
    chain = section.scene.walls[0 if side < 0 else 1]
    engine = make_engine(Scene((side * G, 0.0), (chain,), 1.0))
    engine.add(
        Body(0, 2 * R, 0.0, MASS, 0.5 * MASS * R**2),
        (side * (section.width / 2 - R + DENT), section.top - 20),
        velocity=(0.0, -500.0),
    )
    while engine.state().position[0, 1] > section.floor_top + 25.0:
        engine.advance(5)
        vx, vy = engine.state().velocity[0]
        assert abs(vx) < 1e-6
        assert vy == pytest.approx(-500.0, abs=1e-6)


@pytest.mark.parametrize("side", [-1, 1])
def test_a_disc_passes_the_rounded_throat_edge_as_a_true_circle(side):
    # Pressed sideways over wall, rounded edge and housing: the centre keeps its distance from the true surface.
    scenario = SCENARIOS["straight"].changed(**{"column.wall_friction": 0.0, "rotor.friction": 0.0})
    section = build_cross_section(scenario)
    chain = section.scene.walls[0 if side < 0 else 1]
    edge = next(p for p in chain.pieces if p.part is Part.THROAT_EDGE)
    engine = make_engine(Scene((side * G, 0.0), (chain,), 1.0))
    y = edge.centre[1] + 20
    engine.add(Body(0, 2 * R, 0.0, MASS, 0.5 * MASS * R**2), (side * (45 - R + DENT), y), velocity=(0.0, -100.0))
    seen = 0
    while engine.state().position[0, 1] > edge.centre[1] - 8:
        engine.advance(1)
        x, y = engine.state().position[0]
        if y >= edge.centre[1]:
            gap = 45 - R - side * x
        else:
            gap = math.dist((x, y), edge.centre) - edge.radius - R
            seen += 1
        assert -1.5 * DENT <= gap <= 0.01
    assert seen > 20
