"""Forces at rest: worked stacks and fillings, all balances of a stack solved at once, and the wall's share added up."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from colsim.errors import RangeError
from colsim.theory.nip import line_of_centres
from colsim.theory.packing import WIDEST_ZIGZAG
from colsim.theory.statics import (
    janssen_stress,
    silo_hydraulic_radius,
    slot_hydraulic_radius,
    zigzag_forces,
    zigzag_virial,
)

MANY = settings(max_examples=80, deadline=None, derandomize=True)
stacks = st.tuples(st.integers(1, 14), st.floats(40, 90), st.floats(1, WIDEST_ZIGZAG - 1e-9), st.floats(0.05, 20))


def balanced(n, diameter, width, weight):
    """Solve both balances of every disc at once for all 2 n forces; give contacts, walls, floor and virials."""
    side = (-1.0) ** np.arange(n)  # +1: on the right wall
    rise = math.sqrt(diameter**2 - (width - diameter) ** 2)
    centres = np.column_stack([side * (width - diameter) / 2, -rise * np.arange(n)])
    pushes = []  # one a force: the discs it pushes, each with direction and place
    for i in range(n - 1):
        up = (centres[i] - centres[i + 1]) / np.linalg.norm(centres[i] - centres[i + 1])
        middle = (centres[i] + centres[i + 1]) / 2
        pushes.append([(i, up, middle), (i + 1, -up, middle)])
    for i in range(n):
        pushes.append([(i, np.array([-side[i], 0.0]), centres[i] + [side[i] * diameter / 2, 0])])
    pushes.append([(n - 1, np.array([0.0, 1.0]), centres[-1] - [0, diameter / 2])])
    matrix = np.zeros((2 * n, len(pushes)))
    for column, push in enumerate(pushes):
        for disc, direction, _ in push:
            matrix[2 * disc : 2 * disc + 2, column] += direction
    sizes = np.linalg.solve(matrix, np.tile([0.0, weight], n))
    virials = np.zeros((n, 2, 2))
    for size, push in zip(sizes, pushes, strict=True):
        for disc, direction, place in push:
            virials[disc] -= size * np.outer(direction, place - centres[disc])
    return sizes[: n - 1], sizes[n - 1 : -1], sizes[-1], virials


# The zig-zag


def test_forces_of_the_worked_stack():
    # Exact evaluation outside this project: 66 mm in 73 mm, 8 discs of 3.6 N, contacts and walls from the top.
    forces = zigzag_forces(8, 66, 73, 3.6)
    contacts = [3.6204, 7.2408, 10.8613, 14.4817, 18.1021, 21.7225, 25.3429]
    walls = [0.3840, 1.1520, 1.9199, 2.6879, 3.4559, 4.2238, 4.9918, 2.6879]
    assert forces.contacts == pytest.approx(contacts, abs=5.1e-5)
    assert forces.walls == pytest.approx(walls, abs=5.1e-5)
    assert forces.floor == pytest.approx(28.8, rel=1e-12)
    assert zigzag_forces(2, 66, 73, 1).walls[0] == pytest.approx(0.1066622, abs=5e-8)  # the tilt's tangent


@MANY
@given(stacks)
def test_forces_solve_all_balances_of_the_stack(stack):
    n, diameter, ratio, weight = stack
    contacts, walls, floor, _ = balanced(n, diameter, ratio * diameter, weight)
    forces = zigzag_forces(n, diameter, ratio * diameter, weight)
    assert forces.contacts == pytest.approx(contacts, rel=1e-8)
    assert forces.walls == pytest.approx(walls, rel=1e-7, abs=1e-9 * n * weight)
    assert forces.floor == pytest.approx(floor, rel=1e-9)


@MANY
@given(stacks)
def test_left_and_right_walls_bear_the_same_and_the_floor_all_the_weight(stack):
    n, diameter, ratio, weight = stack
    forces = zigzag_forces(n, diameter, ratio * diameter, weight)
    assert len(forces.contacts) == n - 1
    assert len(forces.walls) == n
    assert sum(forces.walls[::2]) == pytest.approx(sum(forces.walls[1::2]), rel=1e-9, abs=1e-12)
    assert forces.floor == pytest.approx(n * weight, rel=1e-12)
    assert min(forces.walls) >= 0
    assert all(upper < lower for upper, lower in pairwise(forces.contacts))


def test_zigzag_at_its_limits():
    assert zigzag_forces(1, 66, 73, 3.6) == zigzag_forces(1, 66, 90, 3.6)  # one alone leans on nothing
    assert zigzag_forces(1, 66, 73, 3.6).walls == (0,)
    straight = zigzag_forces(4, 66, 66, 2)
    assert straight.contacts == (2, 4, 6)
    assert straight.walls == (0, 0, 0, 0)
    # At 1.866 the line of centres is 30 degrees above the level: cosine 1/2, tangent sqrt 3, by hand.
    widest = zigzag_forces(3, 60, 60 * WIDEST_ZIGZAG, 1)
    assert widest.contacts == pytest.approx([2, 4])
    assert widest.walls == pytest.approx([math.sqrt(3), 3 * math.sqrt(3), 2 * math.sqrt(3)])


def test_slips_with_the_zigzag_are_traps():
    # The bottom disc has one neighbour, not two; the tilt is from the vertical, not from the level.
    forces, tilt = zigzag_forces(8, 66, 73, 3.6), math.radians(line_of_centres(73, 66))
    assert forces.contacts[0] == pytest.approx(3.6 / math.sin(tilt), rel=1e-12)
    assert forces.contacts[0] < 0.2 * 3.6 / math.cos(tilt)
    assert forces.walls[-1] < 0.5 * (2 * 8 - 1) * 3.6 / math.tan(tilt)


# Its virial


@MANY
@given(stacks.filter(lambda stack: stack[0] > 1))
def test_virial_is_that_of_the_balanced_forces(stack):
    n, diameter, ratio, weight = stack
    width = ratio * diameter
    virials = balanced(n, diameter, width, weight)[3]
    unit = n * weight * diameter
    for k in range(1, n):
        sideways, upright = zigzag_virial(n, diameter, width, weight, k=k)
        assert sideways == pytest.approx(virials[k - 1, 0, 0], rel=1e-7, abs=1e-9 * unit)
        assert upright == pytest.approx(virials[k - 1, 1, 1], rel=1e-7)
        # What the two leave out: a shear part that is the same for all; no torque, so both of its places agree.
        shear = (-1) ** (k - 1) * diameter * weight * (width / diameter - 1) / 2
        assert virials[k - 1, 0, 1] == pytest.approx(virials[k - 1, 1, 0], abs=1e-9 * unit)
        assert abs(virials[k - 1, 0, 1]) == pytest.approx(abs(shear), rel=1e-6, abs=1e-9 * unit)


def test_virial_of_the_worked_widths():
    # At W/d 1.8 the pinch sideways is 4 times the one from above and 2.4 times the mean weight on the container.
    sideways, upright = zigzag_virial(8, 60, 108, 5, k=3)
    assert sideways / upright == pytest.approx(4, rel=1e-12)
    assert sideways / 60 == pytest.approx(2.4 * (3 - 0.5) * 5, rel=1e-12)
    assert sideways == pytest.approx(60 / 2 * 5 * 5 * 0.8 * 1.8 / 0.6, rel=1e-12)  # by hand
    assert upright == pytest.approx(60 / 2 * 5 * 5 * 0.6, rel=1e-12)


@pytest.mark.parametrize("ratio", [1.0, 1.2, 1.4, 1.5, 1.6, 1.8, 1.86])
def test_the_pinch_turns_sideways_at_one_and_a_half_diameters(ratio):
    sideways, upright = zigzag_virial(9, 66, ratio * 66, 3, k=4)
    c = ratio - 1
    assert sideways / upright == pytest.approx(c / (1 - c), rel=1e-9, abs=1e-12)
    assert np.sign(round(sideways - upright, 9)) == np.sign(ratio - 1.5)


def test_virial_in_a_straight_column_is_the_mean_of_the_weights_above_and_below():
    # Forces k - 1 and k weights on points d apart.
    assert zigzag_virial(9, 66, 66, 3, k=4) == (0, pytest.approx(66 * 3 * 3.5, rel=1e-12))


def test_the_bottom_one_carries_another_virial():
    # Trap: the formula with k = n. The floor pushes straight up, and the wall bears one neighbour only.
    bottom = balanced(8, 66, 99, 3.6)[3][-1]
    c, borne = 0.5, 66 / 2 * 3.6 * 15
    assert abs(bottom[0, 0] / (borne * c * (1 + c) / math.sqrt(1 - c**2)) - 1) > 0.3
    assert abs(bottom[1, 1] / (borne * math.sqrt(1 - c**2)) - 1) > 0.05
    with pytest.raises(RangeError, match=r"k must be .* got 8 with n = 8\. The bottom .* take its forces from"):
        zigzag_virial(8, 66, 99, 3.6, k=8)


@pytest.mark.parametrize("function", [zigzag_forces, lambda n, d, w, weight: zigzag_virial(n, d, w, weight, k=1)])
def test_stacks_that_make_no_sense_are_refused(function):
    for n in (0, -1, 2.0, True, "3"):
        with pytest.raises(RangeError, match=r"n must be a whole number .* at least 1: got .*\. Count them again"):
            function(n, 66, 73, 3.6)
    for bad in (0, -1, math.nan, math.inf):
        with pytest.raises(RangeError, match=f"positive number: got {bad!r}. Measure it again"):
            function(3, 66, 73, bad)
        with pytest.raises(RangeError, match=f"positive number: got {bad!r}. Measure it again"):
            function(3, bad, 73, 3.6)
    with pytest.raises(RangeError, match=r"got width 65 mm with diameter 66 mm\. The container does not fit"):
        function(3, 66, 65, 3.6)
    with pytest.raises(RangeError, match=r"at most 1\.866: got 1\.9 .*count the containers"):
        function(3, 60, 114, 3.6)


@pytest.mark.parametrize("k", [0, -1, 1.0, True, 3, 4])
def test_places_that_do_not_exist_are_refused(k):
    with pytest.raises(
        RangeError, match=rf"k must be a whole number from 1 \(the top\) to n - 1: got {k!r} with n = 3"
    ):
        zigzag_virial(3, 66, 73, 3.6, k=k)


# Janssen

# Density kg/m3, A/U mm, friction, K, depth mm; then z0 m, vertical and horizontal stress Pa with g = 9.81: exact
# evaluations outside this project. No textbook example with readable numbers was found.
FILLINGS = [
    ((1000, silo_hydraulic_radius(1000), 0.5, 0.4, 5000), (1.25, 12037.9, 4815.2)),
    ((800, silo_hydraulic_radius(5000), 0.4, 0.5, 20000), (6.25, 47050.6, 23525.3)),
    ((900, slot_hydraulic_radius(70), 0.3, 0.6, 700), (0.19444, 1669.8, 1001.9)),
]


@pytest.mark.parametrize(("inputs", "outputs"), FILLINGS)
def test_fillings_of_the_table(inputs, outputs):
    (density, radius, friction, ratio, depth), (z0, vertical, horizontal) = inputs, outputs
    filling = {"density": density, "friction": friction, "stress_ratio": ratio, "gravity": 9.81}
    found = 1000 * janssen_stress(depth, radius, **filling)
    assert found == pytest.approx(vertical, abs=0.051)
    assert ratio * found == pytest.approx(horizontal, abs=0.051)
    plateau = 1000 * janssen_stress(1e9, radius, **filling)
    reach = plateau / (density * 9.81)
    assert reach == pytest.approx(z0, abs=5e-6)
    assert 1000 * janssen_stress(3000 * reach, radius, **filling) / plateau == pytest.approx(0.9502, abs=5e-5)


fillings = st.fixed_dictionaries(
    {"density": st.floats(100, 3000), "friction": st.floats(0.01, 1.2), "stress_ratio": st.floats(0.2, 1.5)}
)


@settings(MANY, max_examples=25)
@given(fillings, st.floats(20, 5000), st.floats(0.01, 6))
def test_stress_solves_the_balance_of_slices(filling, radius, depths):
    # In Pa and m: d(stress)/dz = rho g - (U/A) mu K stress. Then the whole: weight less what the walls bear.
    drag = filling["friction"] * filling["stress_ratio"] / (radius / 1000)
    heavy, depth = filling["density"] * 9.80665, depths / drag
    solved = solve_ivp(lambda _, stress: heavy - drag * stress, (0, depth), [0.0], rtol=1e-9, atol=1e-9 * heavy * depth)
    found = 1000 * janssen_stress(1000 * depth, radius, **filling)
    assert found == pytest.approx(solved.y[0, -1], rel=1e-6)
    borne = quad(lambda z: drag * 1000 * janssen_stress(1000 * z, radius, **filling), 0, depth)[0]
    assert found == pytest.approx(heavy * depth - borne, rel=1e-6, abs=1e-9 * heavy * depth)


@MANY
@given(fillings, st.floats(20, 5000), st.floats(0, 1e5), st.floats(0.001, 1e4))
def test_stress_grows_with_depth_and_stays_below_liquid_and_plateau(filling, radius, depth, further):
    stress = janssen_stress(depth, radius, **filling)
    assert 0 <= stress <= janssen_stress(depth + further, radius, **filling) * (1 + 1e-12)
    liquid = filling["density"] * 9.80665 * depth * 1e-6
    assert stress <= liquid * (1 + 1e-12)
    plateau = filling["density"] * 9.80665 * radius * 1e-6 / (filling["friction"] * filling["stress_ratio"])
    assert stress <= plateau * (1 + 1e-12)


def test_janssen_at_its_limits():
    filling = {"density": 1000.0, "stress_ratio": 0.4}
    assert janssen_stress(0, 250, friction=0.5, **filling) == 0
    assert janssen_stress(5000, 250, friction=0, **filling) == pytest.approx(1000 * 9.80665 * 5 / 1000, rel=1e-15)
    assert janssen_stress(5000, 250, friction=1e-300, **filling) == janssen_stress(5000, 250, friction=0, **filling)
    assert janssen_stress(1e-3, 250, friction=0.5, **filling) == pytest.approx(9.80665e-6, rel=1e-6)  # z << z0


def test_plateau_with_the_whole_radius_is_a_trap():
    # A public code: rho g R / (k mu) with R the radius, and twice too much.
    plateau = janssen_stress(1e9, silo_hydraulic_radius(1000), density=1000, friction=0.5, stress_ratio=0.4)
    wrong = 1000 * 9.80665 * 0.5 / (0.4 * 0.5) / 1000
    assert plateau == pytest.approx(wrong / 2, rel=1e-12)


def test_hydraulic_radii_are_area_over_rim():
    turns = np.linspace(0, 2 * math.pi, 20001)
    x, y = 500 * np.cos(turns), 500 * np.sin(turns)
    area, rim = np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]) / 2, np.hypot(np.diff(x), np.diff(y)).sum()
    assert silo_hydraulic_radius(1000) == pytest.approx(area / rim, rel=1e-6)
    assert slot_hydraulic_radius(70) == pytest.approx(70 * 1e9 / (2 * (70 + 1e9)), rel=1e-6)
    assert silo_hydraulic_radius(70) == slot_hydraulic_radius(70) / 2  # a slot's walls bear half as well


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
@pytest.mark.parametrize("name", ["depth", "hydraulic_radius", "density", "friction", "stress_ratio", "gravity"])
def test_fillings_that_make_no_sense_are_refused(name, bad):
    given = {"depth": 5000, "hydraulic_radius": 250, "density": 1000, "friction": 0.5, "stress_ratio": 0.4}
    with pytest.raises(RangeError, match=rf"{name} must be .*: got {bad!r}\. Measure it again"):
        janssen_stress(**given | {name: bad})


@pytest.mark.parametrize("function", [silo_hydraulic_radius, slot_hydraulic_radius])
@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_silos_that_make_no_sense_are_refused(function, bad):
    with pytest.raises(RangeError, match=f"must be a positive number: got {bad!r}. Measure it again"):
        function(bad)
