"""Containers are laid without overlap and come to rest one by one."""

import itertools
import math

import numpy as np
import pytest
from tests_shared import make_engine, small_scenario

from colsim.physics.cross_section import build_cross_section, container_body
from colsim.physics.engines import Settings
from colsim.physics.vending import VendingColumn
from colsim.physics.watching import REST_SPEED
from colsim.sampling.draws import draw_placement


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
def test_a_container_is_laid_without_overlap_and_then_rests(pattern, width, flat):
    changes = {"column.width": width, "container.set_flat": flat, "loading.pattern": pattern}
    if width > 100:
        changes |= {"column.throat": 80, "column.floor_slope": 60}
    scenario = small_scenario(6, **changes)
    section = build_cross_section(scenario)
    for fill in range(2):
        engine = Watching(section)
        column = VendingColumn(section, engine, settings=Settings(), speed=4.7)
        for item in range(6):
            placement = draw_placement(scenario.loading, 1, fill, item)
            assert column.lay(container_body(scenario.container, item), placement.across, placement.angle)
            # One alone on the pocket's flat floor may still roll from side to side: nothing resists rolling.
            assert np.abs(column.state.velocity).max() < (REST_SPEED if item else 10.0)
        assert min(engine.gaps) > -1e-9
        engine.advance(1000)  # what an impact pressed in is let out with a time constant of 0.16 s
        assert np.nanmax(engine.contacts().overlap) < 0.1


def test_two_of_the_same_fill_differ_in_nothing_and_two_fills_do():
    loading = small_scenario(6).loading
    across = [[draw_placement(loading, 1, fill, item).across for item in range(6)] for fill in (0, 0, 1)]
    assert across[0] == across[1] != across[2]
    signs = [math.copysign(1, x) for x in across[0]]
    assert all(a == -b for a, b in itertools.pairwise(signs))
