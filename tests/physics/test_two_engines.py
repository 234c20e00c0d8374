"""Our engine against an independent general-purpose one, on the same scenes and draws; those of the benchmark."""

import importlib
import math
from dataclasses import replace

import numpy as np
import pytest
from tests_shared import ROOT

from colsim.errors import ScenarioError
from colsim.physics.engines import Settings
from colsim.physics.pymunk_engine import PymunkEngine
from colsim.physics.scene import Arc, Body, Chain, Drum, Line, Part, Scene
from colsim.sampling import Outcome, simulate_fill

G = 9806.65  # [mm/s2]
ROUND = Body(0, 66.0, 0.0, 0.5, 0.5 * 33.0**2 / 2)


@pytest.fixture(scope="module")
def benchmark():
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(ROOT / "benchmarks"))
        yield importlib.import_module("two_engines")


@pytest.fixture(scope="module")
def coarse(benchmark):
    return replace(benchmark.SETTINGS, step=0.0005)


def on_a_slope(benchmark, friction, degrees):
    floor = Chain((Line((-1e4, 0.0), (1e4, 0.0), friction, Part.FLOOR),))
    gravity = (G * math.sin(math.radians(degrees)), -G * math.cos(math.radians(degrees)))
    engine = benchmark.MujocoEngine(Scene(gravity, (floor,), 0.25))
    engine.add(ROUND, (0.0, 33.0))
    return engine


@pytest.mark.parametrize(("friction", "part"), [(0.4, 2 / 3), (0.1, 1 - 0.1 / math.tan(math.radians(30)))])
def test_the_witness_rolls_and_slips_as_it_should(benchmark, friction, part):
    # OpenStax University Physics 1, 11.1: a solid cylinder on 30 deg rolls from tan/3 = 0.19 on, with 2/3 g sin.
    engine = on_a_slope(benchmark, friction, 30)
    engine.advance(1200)
    assert engine.state().velocity[0, 0] == pytest.approx(part * G / 2 * 0.3, rel=0.01)


@pytest.mark.parametrize("ours", [True, False])
def test_what_slides_stays_on_its_floor_in_ours_and_is_thrown_off_in_the_witness(benchmark, ours):
    # Coulomb: a solid cylinder that starts sliding at v rolls at 2/3 v, and never leaves the floor (Goldstein, Poole,
    # Safko, Classical Mechanics, from memory). A convex law throws it up at friction times speed: (mu v)^2 / 2 g high.
    speed, friction = 450.0, 0.25
    kind, settings = (PymunkEngine, Settings()) if ours else (benchmark.MujocoEngine, benchmark.SETTINGS)
    floor = Chain((Line((-1e4, 0.0), (1e4, 0.0), friction, Part.FLOOR),))
    engine = kind(Scene((0.0, -G), (floor,), 0.25), settings)
    engine.add(ROUND, (0.0, 33.0), velocity=(speed, 0.0))
    highest = 0.0
    for _ in range(100):
        engine.advance(round(0.001 / settings.step))
        highest = max(highest, float(engine.state().position[0, 1]) - 33.0)
    assert engine.state().velocity[0, 0] == pytest.approx(2 / 3 * speed, rel=0.01)
    thrown = (friction * speed) ** 2 / (2 * G)
    if ours:
        assert highest < 0.02 * thrown
    else:
        assert 0.5 * thrown < highest < thrown


def test_the_witness_tells_its_contacts_as_ours_does(benchmark):
    engine = on_a_slope(benchmark, 0.4, 0)
    engine.advance(1200)
    found = engine.contacts()
    assert found.part == (Part.FLOOR,)
    assert found.force == pytest.approx(np.array([[0.0, 0.5 * G]]), rel=1e-3, abs=1.0)
    assert found.point == pytest.approx(np.array([[0.0, 0.0]]), abs=0.02)
    assert found.normal == pytest.approx(np.array([[0.0, 1.0]]), abs=1e-9)


def test_the_witness_has_a_motor_of_limited_torque(benchmark):
    # Free it speeds up at torque over moment, 1 N m over 0.01 kg m2, to the rate it is told; held it does not move.
    outline = Chain((Arc((0.0, 0.0), 50.0, 0.0, -2 * math.pi, 0.2, Part.LAND),), closed=True)
    engine = benchmark.MujocoEngine(Scene((0.0, -G), (), 0.2, Drum(outline, 1e4, 1e6)))
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


@pytest.mark.parametrize("change", [{"flat": 3.0}, {"restitution": 0.2}])
def test_the_witness_refuses_what_it_does_not_model(benchmark, change):
    engine = on_a_slope(benchmark, 0.4, 0)
    with pytest.raises(ScenarioError, match="set_flat 0, restitution 0"):
        engine.add(replace(ROUND, index=1, **change), (200.0, 33.0))


CLEAR = [
    (0, {"container.diameter": 57}, Outcome.STALL),
    (0, {"container.diameter": 72}, None),
    (1, {"container.diameter": 62}, None),
    (1, {"container.diameter": 75}, Outcome.STALL),
    (2, {"column.wall_friction": 0.1}, None),
    (2, {"column.wall_friction": 0.25, "container.friction": 0.25}, Outcome.BRIDGE),
    (3, {"column.liners.0.lifted_edge": 1.5}, None),
    (3, {"column.liners.0.lifted_edge": 8.5, "container.friction": 0.35}, Outcome.BRIDGE),
]


@pytest.mark.parametrize(("scene", "changes", "expected"), CLEAR)
def test_both_say_the_same_away_from_the_border(benchmark, coarse, scene, changes, expected):
    scenario = benchmark.scenes()[scene].changed(**changes)
    for kind in ({}, {"engine": benchmark.MujocoEngine, "settings": coarse}):
        fill = simulate_fill(scenario, seed=3, **kind)
        assert not fill.invalid
        assert (fill.failure.outcome if fill.failure else None) is expected, kind


@pytest.mark.parametrize(("scene", "fills", "most"), [(0, 12, 4), (1, 12, 2), (2, 8, 2)])
def test_they_differ_on_few_of_the_same_draws(benchmark, coarse, scene, fills, most):
    # At shares of 8, 1 and 4 % of the draws (the benchmark's, with this step) more come less than once in 300 times.
    scenario = benchmark.scenes()[scene]
    ours = [benchmark.failed(scenario, fill, Settings(), other=False) for fill in range(fills)]
    other = [benchmark.failed(scenario, fill, coarse, other=True) for fill in range(fills)]
    assert 0 < sum(ours) < fills
    assert sum(a != b for a, b in zip(ours, other, strict=True)) <= most


def test_the_interval_of_a_paired_difference(benchmark):
    # Tango, Statistics in Medicine 17 (1998) 891: at no difference its score is McNemar's, (b - c)^2 / (b + c).
    for only_first, only_second in ((15, 5), (14, 6), (9, 1), (8, 2)):
        low, high = benchmark.difference_interval(100, only_first, only_second, 0.95)
        assert (low > 0) == ((only_first - only_second) ** 2 / (only_first + only_second) > 1.959964**2)
        assert low < (only_first - only_second) / 100 < high
        swapped = benchmark.difference_interval(100, only_second, only_first, 0.95)
        assert swapped == pytest.approx((-high, -low), abs=1e-9)
    # Without any discordant pair the score gives +-z2 / (n + z2).
    z2 = 1.959964**2
    assert benchmark.difference_interval(100, 0, 0, 0.95) == pytest.approx((-z2 / (100 + z2), z2 / (100 + z2)), 1e-4)


def test_the_interval_holds_the_true_difference_as_often_as_it_says(benchmark):
    # 400 tables of 300 pairs with shares of 4 and 2 %: of 95 % at least 92 % come with a chance of 99.6 %.
    rng = np.random.default_rng(8)
    tables = rng.multinomial(300, [0.04, 0.02, 0.94], size=400).tolist()
    within = 0
    for only_first, only_second, _ in tables:
        low, high = benchmark.difference_interval(300, only_first, only_second, 0.95)
        within += low <= 0.02 <= high
    assert within >= 368


def test_agreement_means_that_the_whole_interval_is_narrow(benchmark):
    same = [(True, True)] * 100 + [(False, False)] * 400
    assert benchmark.compare(same, 4).agree
    assert not benchmark.compare(same[:60], 4).agree  # too few to show it
    assert not benchmark.compare(same[:-40] + [(True, False)] * 40, 4).agree
