"""The drum: absolute places, limited torque, sense of turning; and mirror images."""

import math

import numpy as np
import pytest
from scipy.stats import binom
from tests_shared import make_engine, small_scenario

from colsim import simulate_fill
from colsim.physics.choice import PYMUNK
from colsim.physics.cross_section import build_cross_section, container_body
from colsim.physics.engines import Settings
from colsim.physics.scene import Body, Chain, Drum, Line, Scene
from colsim.physics.vending import VendingColumn

WHOLE_FILLS = {"test_mirrored_columns_fail_as_often"}


def column(scenario):
    section = build_cross_section(scenario)
    engine = make_engine(section.scene)
    return VendingColumn(section, engine, settings=Settings(), speed=4.7), engine, section


@pytest.mark.parametrize(("turn", "sense"), [("clockwise", -1), ("counterclockwise", 1)])
@pytest.mark.parametrize("pockets", [1, 2])
def test_the_drum_stops_at_absolute_angles_however_often_it_turns(turn, sense, pockets, engine_name):
    vending, engine, _ = column(small_scenario(**{"rotor.turn": turn, "rotor.pockets": pockets}))
    short = []
    for k in range(1, 5 if engine_name == PYMUNK else 13):
        assert not vending.turn().blocked
        short.append(sense * k * 2 * math.pi / pockets - engine.drum_angle)
    assert max(map(abs, short)) < 5e-4  # 0.05 mm at the rim
    assert abs(short[-1] - short[1]) < 1e-6  # and it does not add up


def test_the_motor_presses_with_no_more_than_its_torque():
    # An arm presses a disc onto a wall: force times arm is the torque limit, 2 N m.
    arm = Chain((Line((150.0, 0.0), (0.0, 0.0), 0.0),))
    wall = Chain((Line((0.0, -66.0), (200.0, -66.0), 0.0),))
    engine = make_engine(Scene((0.0, 0.0), (wall,), 1.0, Drum(arm, 1e4, 2e6)))
    engine.add(Body(0, 65.9, 0.0, 0.5, 270.0), (100.0, -33.0))
    engine.drive(-3.0)
    engine.advance(500)
    contacts = engine.contacts()
    assert len(contacts.body) == 2
    on_arm = int(np.argmax(contacts.point[:, 1]))  # the disc gives way a little along the arm
    expected = 2e6 / math.hypot(*contacts.point[on_arm])
    assert np.hypot(*contacts.force[on_arm]) == pytest.approx(expected, rel=0.01)
    assert abs(engine.drum_angle) < 0.01


def positions(scenario, sides, steps):
    section = build_cross_section(scenario)
    engine = make_engine(section.scene)
    for i, x in enumerate(sides):
        engine.add(container_body(scenario.container, i), (x, 130.0 + 75.0 * i))
    engine.drive(section.turn * 1.0)
    engine.advance(steps)
    return engine.state().position


def test_a_mirrored_scene_moves_as_the_mirror_image():
    # Short and smooth: two discs falling and rolling on walls and drum. Chaos later on amplifies rounding.
    clockwise = small_scenario()
    mirrored = clockwise.changed(**{"rotor.turn": "counterclockwise"})
    a = positions(clockwise, (9.0, -8.0), 200)
    b = positions(mirrored, (-9.0, 8.0), 200)
    assert np.abs(a * [-1.0, 1.0] - b).max() < 1e-3


def test_mirrored_columns_fail_as_often():
    # 62 mm with no spacer and a weak motor fails in about half the fills. Of 2 n fills the split of failures between
    # the two senses is hypergeometric, narrower than a binomial(total, 1/2): its 5e-5 tails bound the difference.
    scenario = small_scenario(5, **{"container.diameter": 62, "container.mass": 0.48, "container.stiffness": 70})
    counts = []
    for turn in ("clockwise", "counterclockwise"):
        turned = scenario.changed(**{"rotor.turn": turn, "rotor.torque_limit": 8})
        counts.append(sum(simulate_fill(turned, seed=11, number=k).failure is not None for k in range(20)))
    total = sum(counts)
    assert 5 < total < 35, counts  # both senses all failed or none would show nothing
    low, high = binom.ppf([5e-5, 1 - 5e-5], total, 0.5)
    assert low <= counts[0] <= high, counts
