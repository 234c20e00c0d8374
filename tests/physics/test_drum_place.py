"""Where a turn ends."""

import math

import pytest
from tests_shared import ROOT

from colsim import Scenario, replay, simulate_fill
from colsim.physics.monitor import DROPPED, INSIDE, LOST, new_monitor, whereabouts

WHOLE_FILLS = {
    "test_a_drum_held_in_its_place_under_a_stack_is_not_taken_for_blocked",
    "test_a_drum_stuck_close_to_its_place_is_blocked",
}


def test_a_drum_held_in_its_place_under_a_stack_is_not_taken_for_blocked():
    # In these fills the stack presses on one side of the pocket's floor and holds the drum a little short of its place.
    scenario = Scenario.from_toml(ROOT / "examples" / "alder-hall-2.toml").changed(**{"rotor.spacer_thickness": 12})
    for number in (8, 17):
        again = replay(scenario, seed=4417, number=number)
        assert again.fill.failure is None
        assert abs(again.frames[-1].drum_angle + 2 * math.pi * len(again.fill.vends)) < 5e-4


@pytest.mark.parametrize(
    ("place", "where"),
    [
        ((0.0, 400.0), INSIDE),
        ((46.0, 200.0), LOST),  # through the wall
        ((90.0, -30.0), INSIDE),  # in the drum
        ((0.0, -125.0), INSIDE),  # half out of it
        ((0.0, -131.0), DROPPED),
        ((100.0, -90.0), DROPPED),  # thrown out sideways
        ((140.0, -40.0), LOST),
    ],
)
def test_a_container_has_left_by_the_outlet_once_it_is_clear_of_the_housing(place, where):
    monitor = new_monitor(0.001)
    monitor.row["housing_radius"], monitor.row["half_width"] = 97.0, 45.0
    assert whereabouts(monitor, *place, 33.0) == where


def test_a_drum_stuck_close_to_its_place_is_blocked():
    # Turned by a motor too weak for the stack, the drum stops anywhere; the fill must end all the same.
    scenario = Scenario.from_toml(ROOT / "examples" / "alder-hall-2.toml").changed(**{"rotor.torque_limit": 0.3})
    fill = simulate_fill(scenario, seed=1)
    assert fill.failure.outcome == "stall"
    assert fill.left == fill.loaded - fill.dispensed
