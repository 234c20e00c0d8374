"""The independent engine against closed forms, and its law of contact against ours."""

import importlib
import math
from dataclasses import replace

import numpy as np
import pytest
from tests_shared import ROOT, ROTOR

from colsim import Scenario
from colsim.errors import ScenarioError
from colsim.physics.compiled_engine import CompiledEngine
from colsim.physics.cross_section import build_cross_section
from colsim.physics.engines import Settings
from colsim.physics.scene import Arc, Body, Chain, ContactParameters, Drum, Line, Part, Scene
from colsim.sampling import Outcome, replay, simulate_fill
from colsim.theory.contact import contact_time, damping_ratio, greatest_overlap

G = 9806.65  # [mm/s2]
CONTACT = 140.0  # [N/mm]
ROUND = Body(0, 66.0, 0.0, 0.5, 0.5 * 33.0**2 / 2, restitution=0.2, contact=ContactParameters.of_boards(CONTACT / 2))
SUNK = 0.5 * G / 1000 / CONTACT  # [mm] under its weight


@pytest.fixture(scope="module")
def witness():
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(ROOT / "benchmarks"))
        yield importlib.import_module("mujoco_engine")


def narrow(diameter, count):
    return Scenario(
        container={"diameter": diameter, "mass": 0.5},
        column={"width": 90, "height": 1000, "wall_friction": 0.25},
        rotor=ROTOR,
        loading={"count": count},
    )


def floor(friction=0.25, degrees=0.0, gravity=G):
    line = Line((-1e4, 0.0), (1e4, 0.0), friction, Part.FLOOR)
    down = (gravity * math.sin(math.radians(degrees)), -gravity * math.cos(math.radians(degrees)))
    return Scene(down, (Chain((line,)),), 0.25)


def on(witness, scene, *places, body=ROUND, step=0.00025, **motion):
    engine = witness.MujocoEngine(scene, replace(witness.SETTINGS, step=step))
    for index, place in enumerate(places):
        engine.add(replace(body, index=index), place, **motion)
    return engine


def test_a_weight_sinks_in_by_weight_over_stiffness(witness):
    engine = on(witness, floor(), (0.0, 33.0))
    engine.advance(400)
    found = engine.contacts()
    assert found.part == (Part.FLOOR,)
    assert found.overlap == pytest.approx([SUNK], rel=0.01)
    assert found.force == pytest.approx(np.array([[0.0, 0.5 * G]]), rel=1e-3, abs=1.0)
    assert found.point == pytest.approx(np.array([[0.0, 0.0]]), abs=1e-3)
    assert found.normal == pytest.approx(np.array([[0.0, 1.0]]), abs=1e-9)
    assert engine.extremes() == pytest.approx((0.5 * G, SUNK, SUNK / 66.0), rel=0.01)
    assert engine.dents()[0] == pytest.approx(np.diag([0.0, SUNK]), abs=0.01 * SUNK)


def test_two_containers_give_way_in_series(witness):
    engine = on(witness, floor(), (0.0, 33.0), (0.0, 99.0))
    engine.advance(800)
    assert engine.contacts().overlap == pytest.approx([2 * SUNK, 2 * SUNK], rel=0.01)  # twice the load, half as stiff
    assert engine.dents()[:, 1, 1] == pytest.approx([3 * SUNK, SUNK], rel=0.01)


def test_the_softer_of_two_is_dented_more(witness):
    engine = on(witness, floor(), (0.0, 33.0))
    engine.add(replace(ROUND, index=1, mass=0.25, contact=ContactParameters.of_boards(CONTACT / 8)), (0.0, 99.0))
    engine.advance(1600)
    assert engine.dents()[:, 1, 1] == pytest.approx([1.5 * SUNK + SUNK / 2, 2.0 * SUNK], rel=0.01)


@pytest.mark.parametrize(
    "outline",
    [
        (Arc((0.0, 0.0), 95.0, 0.0, -2 * math.pi, 0.2, Part.LAND),),
        (  # a wedge whose corner is up, of two lines that both end there
            Line((-60.0, 35.0), (0.0, 95.0), 0.2, Part.LAND),
            Line((0.0, 95.0), (60.0, 35.0), 0.2, Part.LAND),
            Line((60.0, 35.0), (-60.0, 35.0), 0.2, Part.LAND),
        ),
    ],
)
@pytest.mark.parametrize("driven", [False, True])
def test_the_drum_presses_with_one_spring_at_a_land_and_at_a_corner(witness, outline, driven):
    scene = Scene((0.0, -G), (), 0.2, Drum(Chain(outline, closed=True), 9000.0, 8e6))
    engine = on(witness, scene, (0.0, 128.0))
    if driven:
        engine.drive(0.0)
    engine.advance(400)
    assert engine.contacts().part == (Part.LAND,)
    assert engine.contacts().overlap == pytest.approx([SUNK], rel=0.01)


@pytest.mark.parametrize("restitution", [0.2, 0.5, 0.8])
def test_it_bounces_as_a_damped_spring_that_never_pulls(witness, restitution):
    step, damping = 0.00005, damping_ratio(restitution)
    body = replace(ROUND, restitution=restitution)
    engine = on(witness, floor(gravity=1e-6), (0.0, 33.01), body=body, step=step, velocity=(0.0, -100.0))
    deepest, pressed = 0.0, 0
    for _ in range(200):
        engine.advance(1)
        deepest, pressed = max(deepest, engine.extremes()[1]), pressed + (engine.extremes()[0] > 0.0)
    assert engine.state().velocity[0, 1] == pytest.approx(100 * restitution, rel=0.04)
    assert pressed * step == pytest.approx(contact_time(CONTACT, 0.5, damping), abs=2 * step)
    assert deepest == pytest.approx(greatest_overlap(100.0, CONTACT, 0.5, damping), rel=0.04)


@pytest.mark.parametrize(("friction", "part"), [(0.4, 2 / 3), (0.1, 1 - 0.1 / math.tan(math.radians(30)))])
def test_it_rolls_and_slips_as_it_should(witness, friction, part):
    # OpenStax University Physics 1, 11.1: a solid cylinder on 30 deg rolls from tan/3 = 0.19 on, with 2/3 g sin.
    engine = on(witness, floor(friction, 30), (0.0, 33.0 - SUNK * math.cos(math.radians(30))))
    engine.advance(1200)
    assert engine.state().velocity[0, 0] == pytest.approx(part * G / 2 * 0.3, rel=0.002)


def test_what_slides_stays_on_its_floor(witness):
    # Coulomb: a solid cylinder that starts sliding at v rolls at 2/3 v, and never leaves the floor (Goldstein, Poole,
    # Safko, Classical Mechanics, from memory). A stiff convex law throws it up at friction times speed.
    speed, friction, highest = 450.0, 0.25, 0.0
    engine = on(witness, floor(friction), (0.0, 33.0 - SUNK), velocity=(speed, 0.0))
    for _ in range(100):
        engine.advance(4)
        highest = max(highest, float(engine.state().position[0, 1]) - 33.0 + SUNK)
    assert engine.state().velocity[0, 0] == pytest.approx(2 / 3 * speed, rel=0.01)
    assert highest < 0.001 * (friction * speed) ** 2 / (2 * G)


def test_what_sticks_hardly_creeps(witness):
    # On 10 deg with friction above tan(10 deg), one that cannot roll.
    engine = on(witness, floor(0.4, 10), (0.0, 33.0 - SUNK), body=replace(ROUND, moment=1e9))
    engine.advance(4000)
    assert abs(engine.state().position[0, 0]) < 0.02


def test_it_has_a_motor_of_limited_torque(witness):
    # Free it speeds up at torque over moment, 1 N m over 0.01 kg m2, to the rate it is told; held it does not move.
    outline = Chain((Arc((0.0, 0.0), 50.0, 0.0, -2 * math.pi, 0.2, Part.LAND),), closed=True)
    engine = on(witness, Scene((0.0, -G), (), 0.2, Drum(outline, 1e4, 1e6)))
    engine.drive(3.0)
    engine.advance(100)  # 25 ms
    assert engine.drum_angle == pytest.approx(100 * 0.025**2 / 2, rel=0.02)
    engine.advance(1000)
    turned = engine.drum_angle
    engine.advance(400)
    assert engine.drum_angle - turned == pytest.approx(0.3, rel=1e-3)
    engine.hold()
    turned = engine.drum_angle
    engine.advance(400)
    assert engine.drum_angle == pytest.approx(turned, abs=1e-6)


@pytest.mark.parametrize(
    "change",
    [
        {"flat": 3.0},
        {"set_squeeze": 1.0},
        {"contact": ContactParameters(1e5, length=150.0)},
    ],
)
def test_it_refuses_what_it_does_not_model(witness, change):
    engine = on(witness, floor(), (0.0, 33.0))
    with pytest.raises(ScenarioError, match="round containers of one surface"):
        engine.add(replace(ROUND, index=1, **change), (200.0, 33.0))
    with pytest.raises(ScenarioError, match="round containers"):
        engine.reshape(ROUND)


def test_it_refuses_a_step_that_is_too_coarse_for_its_dampers(witness):
    # Damping ratio 2 at sqrt(k/m) = 529 per second takes more than the whole speed in half a millisecond.
    with pytest.raises(ScenarioError, match=r"takes 1\.06 of its speed in a step; take 0\.00035 s"):
        on(witness, floor(), (0.0, 33.0), body=replace(ROUND, restitution=0.0), step=0.0005)


def test_it_finds_the_contacts_that_ours_finds(witness):
    scene = build_cross_section(narrow(62, 1)).scene
    rng = np.random.default_rng(4)
    touched = 0
    for x, y, turned in np.column_stack([rng.uniform(-20, 20, 60), rng.uniform(60, 220, 60), rng.integers(1, 400, 60)]):
        found = []
        for engine in (witness.MujocoEngine(scene), CompiledEngine(scene, Settings(step=witness.SETTINGS.step))):
            engine.drive(-3.0)
            engine.advance(int(turned))
            engine.add(ROUND, (x, y))
            engine.advance(1)
            found.append(engine.contacts())
        one, other = found
        if len(other.body) and other.overlap.max() < 20.0:  # deeper, its centre may lie behind an outline
            assert one.part == other.part
            assert one.overlap == pytest.approx(other.overlap, abs=0.1)
            assert one.normal == pytest.approx(other.normal, abs=0.01)
            touched += 1
    assert touched > 20


@pytest.mark.parametrize("torque", [8, 15])
def test_both_stall_at_the_same_nip_with_the_same_force(witness, torque):
    # The trailing side's lip presses the second container against the wall.
    scenario, pressed, peaks = narrow(57, 3).changed(**{"rotor.torque_limit": torque}), [], []
    fine = Settings(step=witness.SETTINGS.step, iterations=50)
    for engine, settings in (("compiled", fine), (witness.MujocoEngine, witness.SETTINGS)):
        again = replay(scenario, seed=3, engine=engine, settings=settings)
        assert again.fill.failure.outcome is Outcome.STALL
        pressed.append(np.hypot(*again.contacts.force.T).max())
        peaks.append(again.fill.failure.peak_force)
    assert pressed[0] == pytest.approx(pressed[1], rel=0.02)
    assert peaks[0] == pytest.approx(peaks[1], rel=0.02)


def test_both_fail_on_the_same_draws(witness):
    # From clean to failing within what is drawn; of 128 such fills (four scenes, 32 each) none was told otherwise.
    scenario = narrow({"kind": "varies", "low": 58, "high": 70, "per": "fill"}, 3)
    scenario = scenario.changed(**{"rotor.torque_limit": 8, "rotor.lead_in": 6})
    failed = [
        [bool(simulate_fill(scenario, seed=23, number=fill, **how).failure) for fill in range(8)]
        for how in ({"engine": "compiled"}, {"engine": witness.MujocoEngine, "settings": witness.SETTINGS})
    ]
    assert 3 <= sum(failed[0]) <= 6
    assert sum(a != b for a, b in zip(*failed, strict=True)) <= 1
