"""Soft bottles between boards, under loads and with flats that have set, against `theory.squeeze`.

Its curve is that of a taut tube between plates (Tire Science and Technology 3 (1975) 29), a ring (Roark table 9.2
case 1, from memory) and a sealed gas (Boyle), each checked by itself in tests/published.
"""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq
from tests_shared import make_engine

from colsim import Scenario
from colsim.physics.choice import PYMUNK
from colsim.physics.contact_law import MIN_STIFFNESS
from colsim.physics.cross_section import build_cross_section, container_body
from colsim.physics.engines import Settings
from colsim.physics.scene import Body, Chain, ContactParameters, Line, Scene
from colsim.physics.vending import VendingColumn
from colsim.theory.contact import three_flats_ratio
from colsim.theory.squeeze import Bottle

WHOLE_FILLS = {
    "test_a_stack_with_set_flats_lies_as_high_as_it_did_under_the_same_load",
    "test_what_has_set_stays_when_the_load_goes_and_what_is_elastic_does_not",
}
G = 9806.65  # [mm/s2]
MASS = 0.52
WATER = Bottle(diameter=65, length=130, wall_thickness=0.1, modulus=3000, poisson=0.38, headspace=0.04, body_share=0.85)
KINDS = {
    "still": WATER,
    "brim-full": replace(WATER, headspace=0.0),
    "under a vacuum": replace(WATER, pressure=-8.0),
    "with stiff ends": replace(WATER, end_stiffness=60.0),
    "carbonated": replace(WATER, pressure=300.0, wall_thickness=0.3),
}


def soft(bottle=WATER, index=0, set_fraction=0.0, mass=MASS):
    d = bottle.diameter
    return Body(
        index, d, 0.0, mass, 0.2 * mass * (d / 2) ** 2, contact=ContactParameters.of_bottle(bottle, set_fraction)
    )


def between_boards(bottle, squeeze):
    """Hold a bottle between two boards that leave it so much less than its diameter, and let it come to rest."""
    half = (bottle.diameter - squeeze) / 2
    boards = (Chain((Line((-500.0, -half), (500.0, -half), 0.0),)), Chain((Line((500.0, half), (-500.0, half), 0.0),)))
    engine = make_engine(Scene((0.0, 0.0), boards, 0.0))
    engine.add(soft(bottle), (0.0, 0.1))
    engine.advance(1500)
    return engine


@pytest.mark.parametrize("squeeze", [0.5, 2.0, 4.0, 7.0, 10.0, 14.0])
@pytest.mark.parametrize("kind", KINDS)
def test_between_two_boards_a_bottle_presses_as_its_squeeze_curve_says(kind, squeeze):
    # Exact by the law: two dents of half the squeeze take (s/d)^2 off the area, each contact bears all of the force.
    # Where a vacuum would draw the boards together, contacts keep MIN_STIFFNESS instead.
    engine = between_boards(KINDS[kind], squeeze)
    contacts = engine.contacts()
    least = MIN_STIFFNESS * squeeze / 2 / 1000
    assert len(contacts.body) == 2
    forces = np.abs(contacts.force[:, 1]) / 1000
    assert forces == pytest.approx([max(least, KINDS[kind].force(squeeze))] * 2, rel=0.01, abs=0.002)
    assert engine.dents()[0, 1, 1] == pytest.approx(squeeze, rel=1e-3)
    assert engine.state().position[0, 1] == pytest.approx(0.0, abs=0.02)


def dents_under(bottle, forces):
    """Give the dents [mm] that forces [N] make in a bottle, at the pressure of the area that all of them take."""

    def area_left(stiffness):
        lost = sum(math.pi / 2 * (force / stiffness) ** 2 for force in forces) / (math.pi / 4 * bottle.diameter**2)
        pressure = bottle.pressure_when(min(lost, 1.0)) / 1000
        return stiffness - 2 * bottle.ring_force(1.0) - math.pi * pressure * bottle.length

    stiffness = brentq(area_left, 0.3, 1e4)
    return [force / stiffness for force in forces]


@pytest.mark.parametrize("load", [20.0, 73.0])
@pytest.mark.parametrize("kind", ["still", "under a vacuum", "carbonated"])
def test_under_a_weight_a_bottle_gives_way_as_its_squeeze_curve_says(kind, load):
    # A plate of this weight, which hardly gives way itself, on a bottle on the floor: the upper contact bears the load,
    # the lower one the bottle's weight more. The curve at their mean is off by the square of half their difference.
    bottle, mass, own = KINDS[kind], load / (G / 1000), MASS * G / 1000
    d = bottle.diameter
    floor = Chain((Line((-500.0, 0.0), (500.0, 0.0), 0.3),))
    engine = make_engine(Scene((0.0, -G), (floor,), 0.0))
    engine.add(soft(bottle), (0.0, d / 2))
    plate = Body(1, 20.0, 400.0, mass, 1e9, contact=ContactParameters.of_boards(1e3))
    engine.add(plate, (0.0, d - bottle.squeeze_under(load) + 10.0))
    engine.advance(3000)
    assert np.abs(engine.state().velocity).max() < 0.5
    expected = dents_under(bottle, [load, load + own])
    assert engine.dents()[0, 1, 1] == pytest.approx(sum(expected), rel=0.005)
    assert sum(expected) == pytest.approx(bottle.squeeze_under(load + own / 2), rel=0.01)
    height = d - sum(expected) + 10.0 - load / 2e3
    assert engine.state().position[1, 1] == pytest.approx(height, abs=0.01 * sum(expected))


def test_a_pile_gives_way_as_the_law_and_the_squeeze_curve_say():
    d, count, weight = WATER.diameter, 5, MASS * G / 1000
    pieces = [(-d / 2 - 0.05, 1e3), (-d / 2 - 0.05, 0.0), (d / 2 + 0.05, 0.0), (d / 2 + 0.05, 1e3)]
    walls = Chain(tuple(Line(a, b, 0.0) for a, b in pairwise(pieces)))
    engine = make_engine(Scene((0.0, -G), (walls,), 0.0))
    for k in range(count):
        engine.add(soft(index=k), (0.0, d * (k + 0.5)))
    engine.advance(3000)
    # The k-th from the top bears k weights above and one more below; the curve knows the mean of both only.
    for k, dents in enumerate(engine.dents()[::-1]):
        expected = dents_under(WATER, [k * weight, (k + 1) * weight])
        assert dents[1, 1] == pytest.approx(sum(expected), rel=0.01)
        if k >= 3:
            assert dents[1, 1] == pytest.approx(WATER.squeeze_under((k + 0.5) * weight), rel=0.02)


def test_three_contacts_at_120_degrees_press_less_than_a_taut_skin_would():
    # The law of independent dents: pressure by the area that three dents take, each contact a spring of its own. A taut
    # skin would take 1.69 times the force at that pressure (derived, `theory.contact.three_flats_ratio`).
    dent, bottle = 3.0, KINDS["carbonated"]
    inner = 2 * (bottle.diameter / 2 - dent)
    corners = [(inner * math.cos(a), inner * math.sin(a)) for a in (0.1, 0.1 + 2.0944, 0.1 + 4.1888, 0.1)]
    triangle = Chain(tuple(Line(a, b, 0.0) for a, b in pairwise(corners)), closed=True)
    engine = make_engine(Scene((0.0, 0.0), (triangle,), 0.0))
    engine.add(soft(bottle), (0.0, 0.0))
    engine.advance(1500)
    lost = 3 * math.pi / 2 * dent**2 / (math.pi / 4 * bottle.diameter**2)
    skin = math.pi * bottle.pressure_when(lost) / 1000 * bottle.length
    forces = np.hypot(*engine.contacts().force.T) / 1000
    assert forces == pytest.approx([(skin + 2 * bottle.ring_force(1.0)) * dent] * 3, rel=0.005)
    assert three_flats_ratio() * skin * dent > 1.6 * forces.max()


def single_file(set_fraction, **container):
    sizes = {"diameter": 65, "mass": 0.515, "empty_mass": 0.015, "drink": "still", "headspace": 0.04}
    return Scenario(
        title="thin walls in single file",
        container=sizes | {"wall_thickness": 0.1, "set_fraction": set_fraction, "friction": 0.25} | container,
        column={"width": 68.5, "height": 1500, "wall_friction": 0.0},
        rotor={"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80, "spacer_thickness": 12},
        loading={"count": 6},
    )


def loaded(scenario):
    section = build_cross_section(scenario)
    engine = make_engine(section.scene)
    column = VendingColumn(section, engine, settings=Settings(), speed=1.0)
    for k in range(scenario.loading.total):
        column.lay(container_body(scenario.container, k, 0, scenario.conditions), 0.0)
    return column, engine


@pytest.mark.parametrize("squeeze", [4.0, 9.0])
@pytest.mark.parametrize("fraction", [0.1, 0.5, 0.9, 1.0])
@pytest.mark.parametrize("kind", ["still", "carbonated"])
def test_a_flat_that_has_set_bears_the_load_that_set_it_where_it_lay_under_it(kind, fraction, squeeze):
    # Derived from what "set" is to mean: between boards that leave it as much as before it presses as before. What has
    # set whole would do so at once; there the force comes back within a tenth of the dent.
    bottle, has_set = KINDS[kind], fraction * squeeze
    half = (bottle.diameter - squeeze) / 2 - (0.0 if fraction < 1 else 0.05 * squeeze)
    boards = (Chain((Line((-500.0, -half), (500.0, -half), 0.3),)), Chain((Line((500.0, half), (-500.0, half), 0.3),)))
    # Where the force comes back within a tenth, a contact is eleven times as stiff, which takes a finer step.
    engine = make_engine(Scene((0.0, 0.0), boards, 0.0), Settings(step=0.001 if fraction < 1 else 0.0002))
    body = soft(bottle, set_fraction=fraction)
    flat = math.pi / 2 * has_set
    engine.add(replace(body, height=bottle.diameter - has_set, flat=flat, set_squeeze=has_set), (0.0, 0.0))
    engine.advance(1000)
    contacts = engine.contacts()
    up = contacts.force[:, 1] / 1000
    assert len(up) == 4
    expected = bottle.force(squeeze if fraction < 1 else 1.1 * squeeze)
    assert [up[up > 0].sum(), -up[up < 0].sum()] == pytest.approx([expected] * 2, rel=0.01)


@pytest.mark.parametrize("fraction", [0.0, 0.3, 0.7, 1.0])
def test_a_stack_with_set_flats_lies_as_high_as_it_did_under_the_same_load(fraction):
    # Where flats lie level. Those that roll by some degrees, as they may, no longer lie flat on each other, and are
    # lower by what had set; that is within the 2 % too.
    column, engine = loaded(single_file(fraction))
    before, pressed = column.state, np.linalg.eigvalsh(engine.dents())[:, 1]
    column.set_flats()
    after, bodies = column.state, column.frame().bodies
    tall = before.position[-1, 1] - before.position[0, 1]
    assert after.position[-1, 1] - after.position[0, 1] == pytest.approx(tall, rel=0.02)
    assert [body.set_squeeze for body in bodies] == pytest.approx(fraction * pressed, rel=1e-6)
    assert [65 - body.height for body in bodies] == pytest.approx(fraction * pressed, rel=1e-6)
    assert [body.flat for body in bodies] == pytest.approx(math.pi / 2 * fraction * pressed, rel=1e-6)
    if fraction == 0.0:  # nothing has changed
        assert [body.contact for body in bodies] == [bodies[0].contact] * 6
        np.testing.assert_array_equal(after.position, before.position)


@pytest.mark.parametrize("fraction", [0.0, 0.5, 1.0])
def test_what_has_set_stays_when_the_load_goes_and_what_is_elastic_does_not(fraction):
    column, engine = loaded(single_file(fraction))
    pressed = np.linalg.eigvalsh(engine.dents())[0, 1]
    column.set_flats()
    for k in range(1, 6):
        column.take_out(k)
    engine.advance(2000)
    (body,) = column.frame().bodies
    assert body.set_squeeze == pytest.approx(fraction * pressed, rel=1e-6)
    left = float(np.linalg.eigvalsh(engine.dents())[0, 1])
    if fraction == 0.0:  # round again, but for what its own weight takes
        bottle = single_file(0.0).container.bottle()
        assert left == pytest.approx(dents_under(bottle, [0.515 * G / 1000])[0], rel=0.02)
    else:  # on the flat it gives way less than a round one, and lies level
        assert left < 0.5 * (pressed - body.set_squeeze) + 0.1 * pressed
        assert abs(math.sin(float(column.state.angle[0]) + body.flat_angle)) < 0.03


@pytest.mark.parametrize(("flat_angle", "flat"), [(0.0, 11.0), (0.4, 11.0), (2.0, 3.0)])
def test_a_body_given_another_flat_touches_as_one_made_with_it(flat_angle, flat, engine_name):
    # A stadium turned by its flat's angle lies on the ground as high as it is, on two points, dented by its load.
    floor = Chain((Line((-500.0, 0.0), (500.0, 0.0), 0.4),))
    engine = make_engine(Scene((0.0, -G), (floor,), 0.4))
    firm = replace(soft(), contact=ContactParameters.of_boards(70.0))
    engine.add(firm, (0.0, 32.5), angle=0.02 - flat_angle)
    engine.reshape(replace(firm, height=58.0, flat=flat, flat_angle=flat_angle))
    engine.advance(1500 if engine_name == PYMUNK else 2500)
    state, found = engine.state(), engine.contacts()
    assert math.sin(float(state.angle[0]) + flat_angle) == pytest.approx(0.0, abs=2e-3)
    assert state.position[0, 1] == pytest.approx(29.0 - MASS * G / 140e3, abs=0.005)
    assert np.ptp(found.point[:, 0]) == pytest.approx(flat, abs=0.1)


def test_a_box_lies_on_its_flat_as_high_as_it_is(engine_name):
    floor = Chain((Line((-500.0, 0.0), (500.0, 0.0), 0.4),))
    engine = make_engine(Scene((0.0, -G), (floor,), 0.4))
    firm = replace(soft(), contact=ContactParameters.of_boards(70.0))
    engine.add(firm, (0.0, 32.5), angle=0.53)
    engine.reshape(replace(firm, height=58.0, flat=14.0, side=8.0, flat_angle=-0.52))
    engine.advance(1000 if engine_name == PYMUNK else 1500)
    found = engine.contacts()
    assert engine.state().position[0, 1] == pytest.approx(29.0 - MASS * G / 140e3, abs=0.005)
    assert math.sin(float(engine.state().angle[0]) - 0.52) == pytest.approx(0.0, abs=2e-3)
    assert np.ptp(found.point[:, 0]) == pytest.approx(14.0, abs=0.1)


def test_a_flat_measured_on_a_soft_wall_counts_as_one_that_has_set():
    scenario = single_file(0.5, set_flat=4.0)
    container = next(iter(scenario.products.values()))
    body = container_body(container, 0)
    assert body.height + body.set_squeeze == pytest.approx(container.diameter)
    assert body.flat == 4.0
    panel = container_body(type(container)(diameter=65, mass=0.5, set_flat=4.0, stiffness=70), 0)
    assert panel.set_squeeze == 0.0
