"""The reference engine does what the law of contact says, and the same again."""

import math
from dataclasses import replace

import numpy as np
import pytest
from tests_shared import small_scenario

from colsim.physics.compiled_engine import CompiledEngine
from colsim.physics.contact_law import area_lost, bulge_per_side, container_stiffness, stiffness_at
from colsim.physics.cross_section import build_cross_section
from colsim.physics.engines import DivergedError, Settings
from colsim.physics.pymunk_engine import PymunkEngine
from colsim.physics.scene import FIRM_CONTACT, Arc, Body, Chain, ContactParameters, Drum, Line, Part, Scene
from colsim.sampling import simulate_fill
from colsim.theory.contact import greatest_overlap
from colsim.theory.squeeze import Bottle

G = 9806.65
R = 33.0
STILL_WATER = Bottle(
    diameter=2 * R, length=130, wall_thickness=0.2, modulus=3000, poisson=0.38, headspace=0.04, body_share=0.85
)
WATER = ContactParameters.of_bottle(STILL_WATER)
EXPLICIT = Settings(step=1e-4, iterations=0)


def disc(index=0, contact=FIRM_CONTACT, restitution=0.2, mass=0.5):
    return Body(index, 2 * R, 0.0, mass, mass * R**2 / 2, restitution, contact=contact)


def flattened(index=0, flat=4.0):
    return replace(disc(index), height=62.0, flat=flat)


def floor(friction=0.3, tilt=0.0):
    x, y = 3000.0 * math.cos(tilt), 3000.0 * math.sin(tilt)
    return Chain((Line((-x, -y), (x, y), friction, Part.FLOOR),))


def on_the_floor(body, height=R, kind=PymunkEngine, **more):
    engine = kind(Scene((0.0, -G), (floor(),), 0.3), **more)
    engine.add(body, (0.0, height))
    return engine


def law(contact, dents, diameter=2 * R):
    """Give the stiffness of each contact of a container with these dents [mN/mm]."""
    lost = sum(area_lost(dent, 0.0) for dent in dents) / (math.pi / 4 * diameter**2)
    return container_stiffness(
        contact.constant_stiffness,
        contact.length,
        contact.headspace,
        contact.body_share,
        contact.wall_stretch,
        contact.initial_pressure,
        lost,
    )


@pytest.mark.parametrize("contact", [FIRM_CONTACT, WATER], ids=["firm", "water"])
@pytest.mark.parametrize("mass", [0.5, 3.0])
def test_a_weight_dents_what_it_lies_with_by_the_law(contact, mass):
    engine = on_the_floor(disc(contact=contact, mass=mass))
    engine.advance(1000)
    contacts = engine.contacts()
    (dent,) = contacts.overlap
    assert contacts.force == pytest.approx(np.array([[0.0, mass * G]]), rel=1e-3, abs=1e-3 * mass * G)
    assert law(contact, [dent]) * dent == pytest.approx(mass * G, rel=0.01)
    assert engine.state().position[0, 1] == pytest.approx(R - dent, abs=1e-9)
    assert engine.dents()[0] == pytest.approx(np.array([[0.0, 0.0], [0.0, dent]]), abs=1e-9)
    assert engine.extremes() == pytest.approx((mass * G, dent, dent / (2 * R)), rel=1e-3)
    assert contacts.point == pytest.approx(np.array([[0.0, 0.0]]), abs=1e-6)


@pytest.mark.parametrize("contact", [FIRM_CONTACT, WATER], ids=["firm", "water"])
def test_a_stack_is_lower_by_what_each_contact_gives_way(contact):
    engine = PymunkEngine(Scene((0.0, -G), (floor(),), 0.3))
    for k in range(4):
        engine.add(disc(k, contact), (0.0, R + 2 * R * k))
    engine.advance(1500)
    height = engine.state().position[:, 1]
    dents = engine.dents()[:, 1, 1]
    loads = 0.5 * G * np.array([4.0, 3.0, 2.0, 1.0])
    contacts = engine.contacts()
    # Ordered by body: the floor under the lowest one comes first, then what each carries.
    assert contacts.body.tolist() == [0, 0, 1, 2]
    assert contacts.other.tolist() == [-1, 1, 2, 3]
    assert np.abs(contacts.force[:, 1]) == pytest.approx(loads, rel=5e-3)
    # What both give way at a contact: one spring of the lowest one, then two in series.
    lost = contacts.overlap
    below, above = loads, np.append(loads[1:], 0.0)
    stiffness = np.array(
        [
            law(contact, [dent * low / (low + up), dent * up / (low + up)])
            for dent, low, up in zip(dents, below, above, strict=True)
        ]
    )
    expected = loads / stiffness + np.append(0.0, loads[1:] / stiffness[:-1])
    assert lost == pytest.approx(expected, rel=0.01)
    assert height == pytest.approx(R + 2 * R * np.arange(4) - np.cumsum(lost), abs=1e-6)


@pytest.mark.parametrize("share", [0.5, 1.0, 2.0])
@pytest.mark.parametrize(("friction", "expected"), [(0.5, 2 / 3 * 0.5), (0.05, 0.5 - 0.05 * math.sqrt(0.75))])
def test_a_disc_rolls_or_slides_down_a_slope_whatever_the_tangential_spring(share, friction, expected):
    tilt = math.radians(30)
    engine = PymunkEngine(
        Scene((G * math.sin(tilt), -G * math.cos(tilt)), (floor(friction),), 0.3), tangential_ratio=share
    )
    engine.add(disc(), (-500.0, R - 0.01))
    engine.advance(100)
    before = engine.state().velocity[0, 0]
    engine.advance(200)
    assert (engine.state().velocity[0, 0] - before) / 0.2 / G == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("restitution", [0.5, 0.8])
@pytest.mark.parametrize("other", [False, True], ids=["floor", "disc"])
def test_it_bounces_as_far_as_its_restitution_says(restitution, other):
    engine = PymunkEngine(Scene((0.0, 0.0), (floor(),), 0.3))
    if other:
        engine.add(disc(0, restitution=restitution), (0.0, 100.0))
        engine.add(disc(1, restitution=restitution), (0.0, 101.0 + 2 * R), velocity=(0.0, -600.0))
    else:
        engine.add(disc(0, restitution=restitution), (0.0, R + 1.0), velocity=(0.0, -600.0))
    engine.advance(100)
    velocity = engine.state().velocity[:, 1]
    parting = velocity[1] - velocity[0] if other else velocity[0]
    assert parting == pytest.approx(600.0 * restitution, rel=0.02)


def test_it_goes_as_deep_as_the_spring_lets_it():
    engine = PymunkEngine(Scene((0.0, 0.0), (floor(),), 0.3), Settings(step=1e-4))
    engine.add(disc(restitution=1.0), (0.0, R + 1.0), velocity=(0.0, -300.0))
    deepest = 0.0
    for _ in range(200):
        engine.advance(1)
        deepest = max(deepest, engine.extremes()[1])
    assert deepest == pytest.approx(greatest_overlap(300.0, FIRM_CONTACT.constant_stiffness / 1000, 0.5), rel=0.01)


def test_both_ends_of_a_flat_bear_one_spring_together():
    engine = on_the_floor(flattened(), 31.0)
    engine.advance(1000)
    contacts = engine.contacts()
    assert contacts.part == (Part.FLOOR, Part.FLOOR)
    assert contacts.force == pytest.approx(np.array([[0.0, 0.25 * G]] * 2), rel=1e-3, abs=1.0)
    assert np.abs(contacts.point[:, 0]) == pytest.approx([2.0, 2.0], abs=0.02)
    dent = 0.5 * G / FIRM_CONTACT.constant_stiffness
    assert contacts.overlap == pytest.approx([dent] * 2, rel=1e-3)
    assert engine.dents()[0, 1, 1] == pytest.approx(dent, rel=1e-3)
    assert engine.state().position[0, 1] == pytest.approx(31.0 - dent, abs=1e-5)


def test_a_flat_that_has_set_bears_the_load_that_set_it_where_it_lay():
    # Half of what the load took stays: it lies as low as it did under the load, its own dent the other half.
    contact = replace(FIRM_CONTACT, set_fraction=0.5)
    under_load = 3.0 * G / FIRM_CONTACT.constant_stiffness
    set_squeeze = 2 * 0.5 * under_load
    body = replace(
        disc(contact=contact, mass=3.0),
        height=2 * R - set_squeeze,
        set_squeeze=set_squeeze,
        flat=math.pi / 2 * set_squeeze,
    )
    engine = on_the_floor(body, body.height / 2)
    engine.advance(1500)
    dent = float(engine.contacts().overlap.max())
    assert dent == pytest.approx(0.5 * under_load, rel=0.01)
    assert stiffness_at(FIRM_CONTACT.constant_stiffness, dent, set_squeeze / 2, 0.5) * dent == pytest.approx(
        3.0 * G, rel=0.01
    )


def test_a_disc_touches_the_chords_of_an_arc_as_one():
    bowl = Chain((Arc((0.0, 50.0), 41.0, math.pi, math.pi, 0.3, Part.POCKET_FLOOR),))
    engine = PymunkEngine(Scene((0.0, -G), (bowl,), 0.3))
    engine.add(disc(), (0.0, 9.0 + R))
    engine.advance(1000)
    contacts = engine.contacts()
    assert contacts.force == pytest.approx(np.array([[0.0, 0.5 * G]]), rel=1e-3, abs=1.0)
    assert contacts.overlap == pytest.approx([0.5 * G / FIRM_CONTACT.constant_stiffness], rel=1e-3)
    assert 0.0 <= contacts.point[0, 1] - 9.0 < 0.03


@pytest.mark.parametrize("turned", [0.0, 0.4, 1.1, 1.5])
def test_a_flat_aslant_in_an_arc_presses_with_its_ends_as_often_as_these_touch(turned):
    # Chords of 1 deg are shorter than the flat, and pymunk gives a second point where a chord ends.
    bowl = Chain((Arc((0.0, 0.0), 98.0, math.pi, math.pi, 0.3, Part.POCKET_FLOOR),))
    found = []
    for kind, settings in ((PymunkEngine, Settings(step=1e-4)), (CompiledEngine, EXPLICIT)):
        engine = kind(Scene((0.0, 0.0), (bowl,), 0.3), settings)
        engine.add(flattened(flat=15.0), (0.0, -68.0), turned)
        engine.advance(1)
        contacts = engine.contacts()
        found.append((len(contacts.body), contacts.force.sum(axis=0), contacts.overlap.max()))
    (count, force, overlap), (other_count, other_force, other_overlap) = found
    assert count == other_count == (2 if turned == 0.0 else 1)
    assert overlap == pytest.approx(other_overlap, abs=0.02)
    assert force == pytest.approx(other_force, rel=0.02, abs=2e-3 * abs(other_force).max())


def test_a_flat_on_a_slope_does_not_creep():
    # Its lower end bears nearly all: the upper one alone would slide.
    tilt = math.radians(10.0)
    engine = PymunkEngine(Scene((G * math.sin(tilt), -G * math.cos(tilt)), (floor(0.25),), 0.3))
    engine.add(flattened(flat=15.0), (0.0, 31.0))
    engine.advance(2000)
    upper, lower = sorted(engine.contacts().force[:, 1])
    assert 0.0 < upper < 0.2 * lower
    before = engine.state()
    engine.advance(3000)
    assert engine.state().position == pytest.approx(before.position, abs=1e-4)
    assert engine.state().angle == pytest.approx(before.angle, abs=1e-6)


def test_what_stands_close_bulges_against_both_side_walls():
    walls = (
        Chain((Line((-R - 0.5, 500.0), (-R - 0.5, 0.0), 0.0, Part.LEFT_WALL),)),
        Chain((Line((R + 0.5, 0.0), (R + 0.5, 500.0), 0.0, Part.RIGHT_WALL),)),
        floor(),
    )
    engine = PymunkEngine(Scene((0.0, -G), walls, 0.3))
    for k in range(3):
        engine.add(replace(disc(k, WATER), bulges=k < 2), (0.0, R + 2 * R * k))
    engine.advance(1500)
    contacts, lower = engine.contacts(), engine.dents()[:, 1, 1]
    for part, way in ((Part.LEFT_WALL, 1.0), (Part.RIGHT_WALL, -1.0)):
        at = [k for k, p in enumerate(contacts.part) if p is part]
        assert contacts.body[at].tolist() == [0, 1]
        assert contacts.overlap[at] == pytest.approx(bulge_per_side(lower[:2]) - 0.5, abs=1e-3)
        assert contacts.point[at, 0] == pytest.approx([-way * (R + 0.5)] * 2, abs=1e-3)
        assert (way * contacts.force[at, 0] > 100.0).all()
    assert contacts.force[0, 1] == pytest.approx(1.5 * G, rel=5e-3)


def test_dents_that_stiffen_each_other_do_not_swing_from_step_to_step():
    # A still drink is nearly slack at first: its stiffness grows faster than its dent.
    engine = PymunkEngine(Scene((0.0, -G), (floor(),), 0.3))
    for k in range(4):
        engine.add(disc(k, WATER), (0.0, R + 2 * R * k))
    engine.advance(800)
    before = engine.dents()[:, 1, 1]
    engine.advance(1)
    assert engine.dents()[:, 1, 1] == pytest.approx(before, rel=5e-3)
    assert before.max() < 7.0


@pytest.mark.parametrize("body", [disc(), flattened(), replace(flattened(), side=6.0)], ids=["disc", "flat", "box"])
def test_it_moves_as_the_explicit_compiled_engine_does(body):
    # Other shapes, other contact detection, other motion; one law. A fall into a funnel over a rounded edge.
    funnel = (
        Chain(
            (
                Line((-120.0, 300.0), (-50.0, 60.0), 0.3, Part.LEFT_WALL),
                Line((-50.0, 60.0), (-50.0, 20.0), 0.2, Part.HOUSING),
                Arc((0.0, 20.0), 50.0, math.pi, math.pi, 0.3, Part.POCKET_FLOOR),
                Line((50.0, 20.0), (50.0, 60.0), 0.2, Part.HOUSING),
            )
        ),
    )
    found = []
    for kind, settings in ((PymunkEngine, Settings(chord_turn=0.25)), (CompiledEngine, EXPLICIT)):
        engine = kind(Scene((0.0, -G), funnel, 0.25), settings)
        engine.add(body, (-20.0, 90.0), 0.3)
        engine.add(replace(body, index=1), (-40.0, 190.0), velocity=(0.0, -100.0))
        engine.advance(round(0.1 / settings.step))
        found.append(engine.state())
    ours, other = found
    assert np.abs(ours.velocity).max() > 10.0
    assert ours.position == pytest.approx(other.position, abs=0.05)
    assert ours.angle == pytest.approx(other.angle, abs=2e-3)


def test_the_motor_brings_the_drum_to_its_rate_as_far_as_its_torque_goes():
    # 1 N m over 0.01 kg m2 for 25 ms.
    outline = Chain((Arc((0.0, 0.0), 50.0, 0.0, -2 * math.pi, 0.2, Part.LAND),), closed=True)
    engine = PymunkEngine(Scene((0.0, -G), (), 0.2, Drum(outline, 1e4, 1e6)))
    engine.drive(3.0)
    engine.advance(25)
    assert engine.drum_angle == pytest.approx(100 * 0.025**2 / 2, rel=0.02)
    engine.advance(100)
    turned = engine.drum_angle
    engine.advance(100)
    assert engine.drum_angle - turned == pytest.approx(0.3, rel=1e-6)
    engine.hold()
    turned = engine.drum_angle
    engine.add(disc(), (30.0, 45.0 + R), velocity=(0.0, -1000.0))
    engine.advance(100)
    assert engine.drum_angle == turned
    engine.drive(-1.0)
    engine.advance(100)
    assert engine.drum_angle < turned


def a_busy_run():
    engine = PymunkEngine(build_cross_section(small_scenario()).scene)
    engine.drive(3.0)
    for k in range(6):
        body = flattened(k) if k % 3 == 1 else disc(k, WATER)
        engine.add(body, ((-1.0) ** k * 9.0, 130.0 + 62.0 * k), 0.4 * k)
    engine.advance(400)
    engine.remove(3)
    engine.advance(100)
    return engine


def test_two_runs_are_the_same_to_the_last_bit():
    first = a_busy_run()
    kept = [PymunkEngine(Scene((0.0, -G), (floor(),), 0.3)) for _ in range(7)]  # so that addresses differ
    second = a_busy_run()
    assert len(kept) == 7
    assert first.drum_angle == second.drum_angle != 0.0
    for name in ("position", "angle", "velocity", "spin"):
        assert getattr(first.state(), name).tobytes() == getattr(second.state(), name).tobytes()
    one, other = first.contacts(), second.contacts()
    assert len(one.body) > 5
    assert one.force.tobytes() == other.force.tobytes()


def test_a_fill_goes_as_on_the_compiled_engine():
    scenario = small_scenario(1)
    ours, other = (simulate_fill(scenario, seed=4, engine=engine) for engine in ("pymunk", "compiled"))
    assert [vend.outcome for vend in ours.vends] == [vend.outcome for vend in other.vends]
    assert ours.engine == "pymunk"
    assert not ours.invalid


def test_bodies_come_go_and_change_in_any_order():
    engine = PymunkEngine(Scene((0.0, -G), (floor(),), 0.3))
    for index in (5, 1, 3):
        engine.add(disc(index), (80.0 * index, R))
    engine.advance(50)
    engine.remove(3)
    assert len(engine.contacts().body) == 0
    engine.reshape(flattened(1))
    engine.add(disc(2), (-100.0, R))
    engine.advance(300)
    assert engine.state().index.tolist() == [1, 2, 5]
    assert engine.reaches() == pytest.approx([33.0, R, R])
    assert engine.contacts().body.tolist() == [1, 1, 2, 5]
    assert engine.state().position[:, 0] == pytest.approx([80.0, -100.0, 400.0], abs=1e-6)


@pytest.mark.parametrize("step", [1e-3, 3e-4, 5e-5])
def test_a_step_is_cut_until_it_is_short_enough(step):
    engine = on_the_floor(disc(), R + 100.0, settings=Settings(step=step))
    engine.advance(round(0.06 / step))
    assert engine.state().velocity[0, 1] == pytest.approx(-G * 0.06, rel=1e-9)
    fallen = R + 100.0 - engine.state().position[0, 1]
    assert fallen == pytest.approx(G * 0.06**2 / 2, rel=2e-3)


def test_absurd_speeds_are_told():
    engine = on_the_floor(disc(), R + 100.0)
    engine.add(disc(1), (200.0, 100.0), velocity=(math.nan, 0.0))
    with pytest.raises(DivergedError, match="diverged"):
        engine.advance(1)
