"""Where a turn ends."""

import math

from tests_shared import ROOT

from colsim import Scenario, simulate_fill


def test_a_drum_held_in_its_place_under_a_stack_is_not_taken_for_blocked():
    # In these fills the stack presses on one side of the pocket's floor and holds the drum a little short of its place.
    scenario = Scenario.from_toml(ROOT / "examples" / "alder-hall-2.toml").changed(**{"rotor.spacer_thickness": 12})
    for number in (8, 17):
        fill = simulate_fill(scenario, seed=4417, fill=number)
        assert fill.failure is None
        assert abs(fill.frames[-1].drum_angle + 2 * math.pi * len(fill.vends)) < 5e-4


def test_a_drum_stuck_close_to_its_place_is_blocked():
    # Turned by a motor too weak for the stack, the drum stops anywhere; the fill must end all the same.
    scenario = Scenario.from_toml(ROOT / "examples" / "alder-hall-2.toml").changed(**{"rotor.torque_limit": 0.3})
    fill = simulate_fill(scenario, seed=1)
    assert fill.failure.outcome == "stall"
    assert fill.left == fill.loaded - fill.dispensed
