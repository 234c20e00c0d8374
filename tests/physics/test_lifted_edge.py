"""A lifted liner edge: rigid, a lip towards the column and a slope below it.

What has no room between lip and far wall gets through if it is pressed hard enough to be dented by what it lacks.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from tests_shared import make_engine, small_scenario

from colsim import Scenario, replay, simulate_fill
from colsim.physics.cross_section import build_cross_section, container_body
from colsim.physics.engines import Settings
from colsim.physics.mechanism import Mechanism
from colsim.physics.scene import Part
from colsim.physics.vending import VendingColumn
from colsim.sampling import Outcome

STIFFNESS = 70.0  # between two boards [N/mm]
WHOLE_FILLS = {
    "test_a_lip_that_leaves_far_less_than_the_container_always_holds_it",
    "test_a_lip_that_leaves_more_than_the_container_lets_a_narrow_stack_pass",
    "test_a_flush_edge_is_no_obstacle_at_all",
}


def lined(lift, *, wall="left", count=6, width=78, diameter=73, friction=0.15):
    return Scenario(
        container={"diameter": diameter, "mass": 0.6, "stiffness": STIFFNESS},
        column={
            "width": width,
            "height": 900,
            "wall_friction": friction,
            "liners": [{"wall": wall, "top": 200, "friction": friction, "lifted_edge": lift}],
        },
        rotor={"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80, "spacer_thickness": 4},
        loading={"count": count},
    )


def squeezed_through(lift, diameter=73, width=78):
    """Give load [N], angle [rad] and force on the lip [N] of a smooth disc on lip and far wall, all the way through.

    Derived: with its centre at an angle a above the lip the springs of lip and wall, k each, have taken up what it
    lacks, N/k and N cos(a)/k: r (1 + cos) - gap = 2 N cos / k, and the load is N sin.
    """
    angle = np.linspace(0.5, 0.0, 5001)
    lacks = diameter / 2 * (1 + np.cos(angle)) - (width - lift)
    force = 2 * STIFFNESS * lacks / (2 * np.cos(angle))
    return force * np.sin(angle), angle, force


@pytest.mark.parametrize("wall", ["left", "right"])
def test_a_lip_that_leaves_far_less_than_the_container_always_holds_it(wall):
    # 78 mm less 12 is 66, 7 below the 73 mm of the container: it takes more than the stack weighs, and its springs take
    # up more than three that hang there would give by sinking a diameter (derived, k lack^2 / 4).
    load, *_ = squeezed_through(12)
    assert load.max() > 2 * 6 * 0.6 * 9.80665
    assert 2 * STIFFNESS * 7**2 / 4 > 3 * 0.6 * 9.80665 * 73
    for friction in (0.0, 0.3):
        again = replay(lined(12, wall=wall, friction=friction), seed=1)
        assert again.fill.failure.outcome is Outcome.BRIDGE
        assert again.fill.failure.mechanism is Mechanism.LIFTED_EDGE
        lip = again.section.lifted_edges[-1].start[1]
        held = again.frames[-1].state.position[:, 1]
        assert held.min() > lip


@pytest.mark.parametrize("lift", [8, 10])
def test_a_lip_holds_up_to_the_load_at_which_the_springs_let_the_disc_through(lift):
    load, angle, force = squeezed_through(lift)
    greatest = int(np.argmax(load))
    for share in (0.96, 1.04):
        section = build_cross_section(lined(lift, friction=0.0, count=1))
        # Laid down where it bears this load, or the greatest one, so that nothing falls.
        k = int(np.argmax(load >= min(share, 0.9999) * load[greatest]))
        mass = share * load[greatest] / 9.80665
        body = replace(container_body(lined(lift).container, 0), mass=mass, moment=mass * 36.5**2 / 2)
        engine = make_engine(section.scene, Settings())
        dent = force[k] / (2 * STIFFNESS)
        tip_y = section.lifted_edges[0].start[1]
        x, y = section.width / 2 - 36.5 + dent * math.cos(angle[k]), tip_y + (36.5 - dent) * math.sin(angle[k])
        engine.add(body, (x, y))
        engine.advance(1500)
        if share > 1:
            assert engine.state().position[0, 1] < tip_y - 10
        else:
            assert engine.state().position[0] == pytest.approx([x, y], abs=0.02)
            assert engine.dents()[0, 0, 0] == pytest.approx(
                dent * (math.cos(angle[k]) ** 2 + math.cos(angle[k])), rel=0.01
            )


def test_a_lip_that_leaves_more_than_the_container_lets_a_narrow_stack_pass():
    # 78 mm less 4 is 74, above 73: against the other wall each passes without touching the lip.
    assert simulate_fill(lined(4), seed=1).failure is None


def test_a_flush_edge_is_no_obstacle_at_all():
    flush, none = (replay(scenario, seed=1) for scenario in (lined(0), lined(0).changed(**{"column.liners": []})))
    assert [v.outcome for v in flush.fill.vends] == [v.outcome for v in none.fill.vends]
    assert not flush.section.lifted_edges


def test_a_disc_rests_on_lip_and_far_wall_as_statics_has_it():
    """Three forces through the centre: the far wall pushes sideways, the lip along its line to the centre."""
    section = build_cross_section(lined(10, friction=0.0, count=1))
    engine = make_engine(section.scene, Settings())
    container = lined(10).container
    (tip_x, tip_y), radius = section.lifted_edges[0].start, container.diameter / 2
    x = section.width / 2 - radius
    y = tip_y + math.sqrt(radius**2 - (x - tip_x) ** 2)
    engine.add(container_body(container, 0), (x, y))
    engine.advance(1000)
    contacts, (x, y) = engine.contacts(), engine.state().position[0]
    force = {part: abs(contacts.force[k]) for k, part in enumerate(contacts.part)}
    weight = container.mass * 9806.65
    lean = (x - tip_x) / (y - tip_y)
    assert set(force) == {Part.LIFTED_EDGE, Part.RIGHT_WALL}
    assert force[Part.LIFTED_EDGE][1] == pytest.approx(weight, rel=1e-3)
    assert force[Part.RIGHT_WALL][0] == pytest.approx(weight * lean, rel=1e-3)


def test_what_is_laid_in_beside_a_lip_does_not_overlap_it():
    scenario = small_scenario(9).changed(
        **{"column.liners": [{"wall": "both", "top": 300, "friction": 0.25, "lifted_edge": 8}]}
    )
    section = build_cross_section(scenario)
    engine = make_engine(section.scene, Settings())
    places, add = [], engine.add
    engine.add = lambda body, position, angle: (places.append(position), add(body, position, angle))
    column = VendingColumn(section, engine, settings=Settings(), speed=1.0)
    for item in range(9):
        body = container_body(scenario.container, item)
        column.lay(body, -1.0 if item % 2 else 1.0)
        assert all(edge.distance(places[-1]) >= body.reach for edge in section.lifted_edges)
    assert any(abs(y - edge.start[1]) < 66 for _, y in places for edge in section.lifted_edges)  # some lay beside a lip
