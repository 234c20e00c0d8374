"""Containers are laid without overlap and come to rest one by one."""

import itertools
import math

import numpy as np
import pytest
from tests_shared import make_engine, small_scenario

from colsim.physics.choice import PYMUNK
from colsim.physics.cross_section import build_cross_section, container_body
from colsim.physics.engines import Settings
from colsim.physics.monitor import REST_SPEED
from colsim.physics.vending import VendingColumn
from colsim.sampling.draws import draw_placement

STIFFNESS = 70.0  # of the containers between two boards [N/mm], by `small_scenario`


class Watching:
    """An engine, noting how much room each body has at the moment it is put in."""

    def __init__(self, section):
        self.engine = make_engine(section.scene)
        self.section, self.gaps, self.reach = section, [], {}

    def __getattr__(self, name):
        return getattr(self.engine, name)

    def add(self, body, position, angle=0.0, velocity=(0.0, 0.0), spin=0.0):
        state = self.engine.state()
        others = zip(state.index.tolist(), state.position.tolist(), strict=True)
        room = [math.dist(position, place) - self.reach[i] - body.reach for i, place in others]
        room.append(self.section.width / 2 - body.reach - abs(position[0]))
        room.append(position[1] - body.reach - self.section.floor_top)
        self.gaps.append(min(room))
        self.reach[body.index] = body.reach
        self.engine.add(body, position, angle, velocity, spin)


@pytest.mark.parametrize("pattern", ["alternate", "one_side", "random"])
@pytest.mark.parametrize(("width", "flat"), [(68, 0.0), (90, 0.0), (90, 6.0), (120, 0.0)])
def test_a_container_is_laid_without_overlap_and_then_rests(pattern, width, flat, engine_name):
    changes = {"column.width": width, "container.set_flat": flat, "loading.pattern": pattern}
    if width > 100:
        changes |= {"column.throat": 80, "column.floor_slope": 60}
    scenario = small_scenario(6, **changes)
    section = build_cross_section(scenario)
    fills, count = (1, 3) if engine_name == PYMUNK else (2, 6)
    for fill in range(fills):
        engine = Watching(section)
        column = VendingColumn(section, engine, settings=Settings(), speed=4.7)
        for item in range(count):
            placement = draw_placement(scenario.loading, 1, fill, item)
            assert column.lay(container_body(scenario.container, item), placement.across, placement.angle)
            # One alone on the pocket's flat floor may still roll from side to side: nothing resists rolling.
            assert np.abs(column.state.velocity).max() < (REST_SPEED if item else 10.0)
        assert min(engine.gaps) > -1e-9
        engine.advance(500)
        contacts = engine.contacts()
        # At rest each contact is dented by its own force: 140 N/mm a wall, two such in series between containers.
        wall, both = contacts.other < 0, contacts.other >= 0
        normal = (contacts.force * contacts.normal).sum(axis=1) / 1000
        bears = contacts.overlap * np.where(wall, 2 * STIFFNESS, STIFFNESS)
        if not flat:  # several points of a flat share one spring
            assert normal == pytest.approx(bears, rel=0.02, abs=0.1)
        assert normal.max() <= 1.02 * bears.max() + 0.1
        assert both.any()


@pytest.mark.parametrize("rest", ["land_up", "pocket_up"])
@pytest.mark.parametrize("across", [-1.0, -0.4, 0.0, 0.9])
def test_the_first_is_laid_clear_of_a_drum_that_stands_up_into_the_column(rest, across):
    # What is laid into the drum would be shot up by its spring.
    changes = {"rotor.rest": rest, "rotor.lead_in": 0, "rotor.pocket_width": 70, "column.throat_radius": 0}
    scenario = small_scenario(1, **changes)
    section = build_cross_section(scenario)
    engine, places = make_engine(section.scene), []
    add = engine.add
    engine.add = lambda body, position, angle: (places.append(position), add(body, position, angle))
    column = VendingColumn(section, engine, settings=Settings(), speed=4.7)
    body = container_body(scenario.container, 0)
    assert column.lay(body, across)
    assert all(piece.distance(places[0]) >= body.reach for piece in section.scene.drum.outline.pieces)
    assert column.state.position[0, 1] < places[0][1]


def test_two_of_the_same_fill_differ_in_nothing_and_two_fills_do():
    loading = small_scenario(6).loading
    across = [[draw_placement(loading, 1, fill, item).across for item in range(6)] for fill in (0, 0, 1)]
    assert across[0] == across[1] != across[2]
    signs = [math.copysign(1, x) for x in across[0]]
    assert all(a == -b for a, b in itertools.pairwise(signs))
