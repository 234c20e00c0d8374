"""Columns whose order of outcomes is known from an earlier, independent trial (values from memory, not published).

The trial fixed pocket 82 x 80 mm, drum radius 95, clearance 2, column 90, friction 0.25 and a motor of 8 N m, and its
containers did not give way. It left open the drum's speed and the rounding of its edges, here as the library assumes
them (45 rpm, 10 mm), and the count, here five. So containers are as stiff here as the stiffest that is assumed, and
softer ones only compared with these. `benchmarks/known_columns.py` shows how far the window's edges move with each.
"""

import pytest

from colsim import Scenario, simulate_fill

WHOLE_FILLS = {
    "test_the_spacer_window_moves_down_as_the_container_grows",
    "test_softer_ones_get_through_above_the_window_of_stiff_ones",
    "test_a_wide_column_bridges_on_rough_walls_and_not_on_smooth_ones",
}
ROTOR = {"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80}
MASS = {58: 0.45, 62: 0.48, 66: 0.54, 73: 0.64}
STIFF, USUAL, SOFT = 150, 70, 20  # between two boards [N/mm]


def failed(scenario, fills):
    return sum(simulate_fill(scenario, seed=1, number=k).failure is not None for k in range(fills))


def narrow(diameter, spacer, stiffness):
    return Scenario(
        container={"diameter": diameter, "mass": MASS[diameter], "stiffness": stiffness},
        column={"width": 90, "height": 1000, "wall_friction": 0.25},
        rotor={**ROTOR, "torque_limit": 8, "spacer_thickness": spacer},
        loading={"count": 5},
    )


# The trial had 58 mm clean at 6 mm and 62 mm failing at 0. Here both stand at the window's lower edge, which the trial
# saw move by 2 mm between two engines, and fail in about half of the fills; so neither is asked for.
@pytest.mark.parametrize(
    ("diameter", "fails", "clean"),
    [
        (58, (0,), (12, 18)),
        (62, (), (6, 12, 18)),
        (66, (18,), (0, 6, 12)),
        (73, (12, 18), (0, 6)),
    ],
)
def test_the_spacer_window_moves_down_as_the_container_grows(diameter, fails, clean):
    # The trial called 18 failed fills of 24 a failing spacer and 2 of 24 a clean one: three and one quarter of 8.
    found = {spacer: failed(narrow(diameter, spacer, STIFF), 8) for spacer in (*fails, *clean)}
    assert all(found[s] >= 6 for s in fails), found
    assert all(found[s] <= 2 for s in clean), found


@pytest.mark.parametrize(("diameter", "spacer", "stiff", "soft"), [(66, 18, STIFF, USUAL), (73, 12, USUAL, SOFT)])
def test_softer_ones_get_through_above_the_window_of_stiff_ones(diameter, spacer, stiff, soft):
    # Above the window the one that comes stands proud of the drum; the motor has to dent it by what it lacks.
    assert failed(narrow(diameter, spacer, stiff), 8) >= 6
    assert failed(narrow(diameter, spacer, soft), 8) <= 2


@pytest.mark.parametrize(("friction", "share"), [(0.12, 0), (0.30, 1)])
def test_a_wide_column_bridges_on_rough_walls_and_not_on_smooth_ones(friction, share):
    scenario = Scenario(
        container={"like": "591 ml carbonated", "stiffness": USUAL},
        column={"width": 124, "height": 1200, "throat": 90, "floor_slope": 60, "wall_friction": friction},
        rotor=ROTOR,
        loading={"count": 8},
    )
    assert failed(scenario, 4) == 4 * share
