"""A lifted liner edge: rigid, a lip towards the column and a slope below it."""

import math

import pytest
from tests_shared import make_engine, small_scenario

from colsim import Scenario, simulate_fill
from colsim.physics.cross_section import build_cross_section, container_body
from colsim.physics.engines import Settings
from colsim.physics.mechanism import Mechanism
from colsim.physics.scene import Part
from colsim.physics.vending import VendingColumn
from colsim.sampling import Outcome


def lined(lift, *, wall="left", count=6, width=78, diameter=73, friction=0.15):
    return Scenario(
        container={"diameter": diameter, "mass": 0.6},
        column={
            "width": width,
            "height": 900,
            "wall_friction": friction,
            "liners": [{"wall": wall, "top": 200, "friction": friction, "lifted_edge": lift}],
        },
        rotor={"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80, "spacer_thickness": 4},
        loading={"count": count},
    )


@pytest.mark.parametrize("wall", ["left", "right"])
def test_a_lip_that_leaves_less_than_the_container_always_holds_it(wall):
    # 78 mm less 6 is 72, below the 73 mm of the container: nothing passes, whatever the friction.
    for friction in (0.0, 0.3):
        fill = simulate_fill(lined(6, wall=wall, friction=friction), seed=1)
        assert fill.failure.outcome is Outcome.BRIDGE
        assert fill.failure.mechanism is Mechanism.LIFTED_EDGE
        lip = fill.section.lifted_edges[-1].start[1]
        held = fill.frames[-1].state.position[:, 1]
        assert held.min() > lip


def test_a_lip_that_leaves_more_than_the_container_lets_a_narrow_stack_pass():
    # 78 mm less 4 is 74, above 73: against the other wall each passes without touching the lip.
    assert simulate_fill(lined(4), seed=1).failure is None


def test_a_flush_edge_is_no_obstacle_at_all():
    flush, none = (
        simulate_fill(scenario, seed=1) for scenario in (lined(0), lined(0).changed(**{"column.liners": []}))
    )
    assert [v.outcome for v in flush.vends] == [v.outcome for v in none.vends]
    assert not flush.section.lifted_edges


def test_a_disc_rests_on_lip_and_far_wall_as_statics_has_it():
    """Three forces through the centre: the far wall pushes sideways, the lip along its line to the centre."""
    section = build_cross_section(lined(6, friction=0.0, count=1))
    engine = make_engine(section.scene, Settings())
    container = lined(6).container
    (tip_x, tip_y), radius = section.lifted_edges[0].start, container.diameter / 2
    x = section.width / 2 - radius
    y = tip_y + math.sqrt(radius**2 - (x - tip_x) ** 2)
    engine.add(container_body(container, 0), (x, y))
    engine.advance(2000)
    contacts = engine.contacts()
    force = {part: abs(contacts.force[k]) for k, part in enumerate(contacts.part)}
    weight = container.mass * 9806.65
    lean = (x - tip_x) / (y - tip_y)
    assert set(force) == {Part.LIFTED_EDGE, Part.RIGHT_WALL}
    assert force[Part.LIFTED_EDGE][1] == pytest.approx(weight, rel=0.01)
    assert force[Part.RIGHT_WALL][0] == pytest.approx(weight * lean, rel=0.02)


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
