"""Soft-walled sections against closed forms: what presses on them, and how far they give way."""

import math
from dataclasses import replace

import numpy as np
import pytest
from tests_shared import make_engine

from colsim.physics.engines import Settings
from colsim.physics.scene import Body, Chain, Line, Scene, SoftWall
from colsim.physics.section_under_load import load_of, pressures_of, squeeze_under_loads
from colsim.physics.softness import SoftBodies
from colsim.theory.squeeze import Bottle, section_under
from colsim.theory.statics import zigzag_virial

G = 9806.65  # [mm/s2]
STEP = 0.001
WATER = Bottle(diameter=65, length=130, wall_thickness=0.1, modulus=3000, poisson=0.38, headspace=0.04, body_share=0.85)
MASS = 0.52


def between_walls(width, friction=0.0, iterations=20):
    half = width / 2
    pieces = (
        Line((-half, 5e3), (-half, 0.0), friction),
        Line((-half, 0.0), (half, 0.0), friction),
        Line((half, 0.0), (half, 5e3), friction),
    )
    return make_engine(Scene((0.0, -G), (Chain(pieces),), friction), Settings(step=STEP, iterations=iterations))


def soft_disc(index, bottle=WATER, set_fraction=0.0, mass=MASS):
    d = bottle.diameter
    return Body(index, d, 0.0, mass, 0.2 * mass * (d / 2) ** 2, wall=SoftWall(bottle, set_fraction))


def pile(count, set_fraction=0.0, bottle=WATER, seconds=4.0):
    """Pile soft ones up in single file between smooth walls, and let them give way."""
    engine = between_walls(bottle.diameter + 0.2)
    soft = SoftBodies(engine, Settings(step=STEP))
    for k in range(count):
        body = soft_disc(k, bottle, set_fraction)
        engine.add(body, (0.0, bottle.diameter * (k + 0.5) + 0.1))
        soft.add(body)
    for _ in range(round(seconds / 0.02)):
        engine.advance_giving_way(20, soft.rows, soft.pace)
    return engine, soft


def squeeze_of(bottle, along, across):
    ring = bottle.ring_force(1.0)
    return squeeze_under_loads(pressures_of(bottle), bottle.diameter, bottle.length, ring, along, across)


@pytest.mark.parametrize("ratio", [1.2, 1.8])
def test_virial_of_a_zig_zag(ratio):
    # Closed form from the balance of each disc (frictionless): within 2 % wanted, within 0.2 % measured.
    n, d, weight = 8, 66.0, 0.5 * G
    engine = between_walls(ratio * d, iterations=200)
    pitch = d * math.sqrt(1 - (ratio - 1) ** 2)
    for k in range(n):
        engine.add(Body(k, d, 0.0, 0.5, 0.25 * 33**2), ((-1) ** k * (ratio - 1) * d / 2, d / 2 + k * pitch))
    engine.advance(1500)
    found = [load_of(virial) for virial in engine.virials()]
    shear = d * weight * (ratio - 1) / 2  # as its notes say; the sign alternates, which eigenvalues do not see
    for k in range(1, n):  # the lowest stands on the ground
        across, up = zigzag_virial(n, d, ratio * d, weight, k=k)
        low, high = np.linalg.eigvalsh([[across, shear], [shear, up]])
        greatest, least, _ = found[n - k]
        assert greatest == pytest.approx(high, rel=0.02)
        assert least == pytest.approx(low, rel=0.02, abs=0.02 * high)


def test_virial_of_a_body_between_two_is_its_height_times_the_force():
    engine = between_walls(66.2)
    for k in range(4):
        engine.add(replace(soft_disc(k), wall=None), (0.0, 65 * (k + 0.5)))
    engine.advance(1000)
    for k, virial in enumerate(engine.virials()):
        greatest, _, angle = load_of(virial)
        assert greatest == pytest.approx((3 - k + 0.5) * MASS * G * 65, rel=0.01)
        assert math.sin(angle) ** 2 == pytest.approx(1.0, abs=1e-3)


def test_load_of_a_virial_is_what_a_library_says():
    # numpy.linalg.eigh as the witness, over a hundred symmetric matrices.
    draws = np.random.default_rng(3).normal(size=(100, 2, 2))
    for virial in draws + draws.transpose(0, 2, 1):
        greatest, least, angle = load_of(virial)
        values, vectors = np.linalg.eigh(virial)
        assert (least, greatest) == pytest.approx(values.tolist())
        assert abs(vectors[:, 1] @ (math.cos(angle), math.sin(angle))) == pytest.approx(1.0)


@pytest.mark.parametrize("pressure", [-8.0, 0.0, 60.0, 300.0])
@pytest.mark.parametrize("headspace", [0.0, 0.04])
def test_squeeze_along_one_axis_is_that_of_the_bottle(pressure, headspace):
    bottle = replace(WATER, pressure=pressure, headspace=headspace)
    for load in (0.0, 2.0, 20.0, 73.0, 120.0):
        assert squeeze_of(bottle, load, 0.0) == pytest.approx(bottle.squeeze_under(load), rel=0.005, abs=0.02)


@pytest.mark.parametrize(("along", "across"), [(73.0, 0.0), (73.0, 30.0), (100.0, 100.0), (20.0, 15.0)])
def test_squeeze_along_two_axes_is_that_of_the_membrane(along, across):
    # Without its ring a bottle is the membrane of theory.squeeze, at the pressure of the area lost.
    thin = replace(WATER, wall_thickness=0.02, modulus=15000)  # the same stretch, a ring of a twenty-fifth
    squeeze = squeeze_of(thin, along, across)
    low, high = 0.0, 500.0
    for _ in range(60):
        pressure = (low + high) / 2
        try:
            lost = section_under(along, across, 65, pressure, 130).area_lost
        except ValueError:
            lost = 1.0
        low, high = (pressure, high) if thin.pressure_when(lost) > pressure else (low, pressure)
    assert 65 - section_under(along, across, 65, high, 130).height == pytest.approx(squeeze, rel=0.01)


def test_more_across_means_less_squeeze_and_loads_below_zero_count_as_none():
    assert squeeze_of(WATER, 50, 0) > squeeze_of(WATER, 50, 25) > squeeze_of(WATER, 50, 50) > 0
    assert squeeze_of(WATER, 50, -3) == squeeze_of(WATER, 50, 0)
    assert squeeze_of(WATER, -5, -8) == squeeze_of(WATER, 0, 0) == pytest.approx(0, abs=1e-6)


def test_a_pile_gives_way_as_the_bottles_formula_says():
    _, soft = pile(5)
    bodies = soft.shapes
    assert soft.settled
    for k in range(4):  # the uppermost hardly gives way
        force = (4 - k + 0.5) * MASS * G / 1000
        assert 65 - bodies[k].height == pytest.approx(WATER.squeeze_under(force), rel=0.02)
        assert bodies[k].flat == 0.0


def test_what_is_elastic_comes_back_and_what_has_set_stays():
    for set_fraction in (0.0, 0.5, 1.0):
        engine, soft = pile(5, set_fraction)
        pressed = 65 - soft.shapes[0].height
        assert soft.set_flats() == (set_fraction > 0)
        for _ in range(100):
            engine.advance_giving_way(20, soft.rows, soft.pace)
        for k in range(1, 5):
            engine.remove(k)
            soft.remove(k)
        for _ in range(100):
            engine.advance_giving_way(20, soft.rows, soft.pace)
        bodies = soft.shapes
        flat = set_fraction * math.pi / 2 * pressed
        own = WATER.squeeze_under(0.5 * MASS * G / 1000)  # half its own weight
        assert bodies[0].flat == pytest.approx(flat, rel=1e-3)
        assert 65 - bodies[0].height == pytest.approx(max(own, set_fraction * pressed), rel=0.03)
        if set_fraction > 0:  # it lies on its flat: the middle line is level
            level = float(engine.state().angle[0]) + bodies[0].flat_angle
            assert abs(math.sin(level)) < 0.02


def test_rigid_ones_are_left_alone():
    engine = between_walls(90, friction=0.3)
    soft = SoftBodies(engine, Settings(step=STEP))
    body = replace(soft_disc(0), wall=None)
    engine.add(body, (0.0, 40.0))
    soft.add(body)
    engine.advance_giving_way(40, soft.rows, soft.pace)
    assert not soft.shapes
    assert soft.settled
    assert soft.flattest == 0.0


def test_a_body_given_another_flat_touches_as_one_made_with_it():
    # A stadium turned by its flat's angle lies on the ground with its height below it, on two points.
    for flat_angle in (0.0, 0.4, 2.0):
        engine = between_walls(200, friction=0.4)
        engine.add(soft_disc(0), (0.0, 32.5), angle=0.03 - flat_angle)
        for flat in (3.0, 11.0):
            engine.reshape(np.array([0]), np.array([[58.0, flat, 0.0, flat_angle]]))
        engine.advance(2500)
        state, found = engine.state(), engine.contacts()
        assert math.sin(float(state.angle[0]) + flat_angle) == pytest.approx(0.0, abs=2e-3)
        assert state.position[0, 1] == pytest.approx(29.0, abs=0.05)
        assert np.ptp(found.point[:, 0]) == pytest.approx(11.0, abs=0.1)
        assert np.all(found.overlap < 0.05)
