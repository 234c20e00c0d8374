"""The linear programme of contact forces against statics that is solved by hand.

Derived here, where nothing else is named: three balances a body, |T| <= mu N at each contact.
"""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from colsim.errors import RangeError
from colsim.theory.equilibrium import ContactState, channel_critical_friction, imbalance, is_admissible, margin
from colsim.theory.nip import critical_friction
from colsim.theory.packing import WIDEST_ZIGZAG

TRIANGLES = WIDEST_ZIGZAG  # width over diameter at which the next but one touches


def stack(sides, diameters, width, wall, between=None, rolling=0.0):
    """Lay discs against the left (-1) or right wall of a straight channel open below, each on the one before.

    Every two that touch are in contact. Rolling is the lever over the lesser radius. None if two would overlap.
    """
    radii = np.broadcast_to(diameters, len(sides)) / 2
    x = np.array([side * (width / 2 - r) for side, r in zip(sides, radii, strict=True)])
    rises = [math.sqrt((radii[k] + radii[k + 1]) ** 2 - (x[k] - x[k + 1]) ** 2) for k in range(len(x) - 1)]
    centre = np.column_stack([x, np.cumsum([0.0, *rises])])
    rows = [(k, -1, (side * width / 2, y), (-side, 0), wall, r) for k, (side, (_, y), r) in
            enumerate(zip(sides, centre, radii, strict=True))]  # fmt: skip
    for i, j in itertools.combinations(range(len(sides)), 2):
        way = centre[j] - centre[i]
        gap = math.hypot(*way) - radii[i] - radii[j]
        if gap < -1e-9:
            return None
        if gap < 1e-9:
            up = way / math.hypot(*way)
            friction = wall if between is None else between
            rows.append((i, j, centre[i] + radii[i] * up, -up, friction, min(radii[i], radii[j])))
    body, other, point, normal, friction, radius = zip(*rows, strict=True)
    weight = np.column_stack([np.zeros(len(radii)), -((radii / radii.mean()) ** 2)])
    return ContactState(centre, weight, body, other, point, normal, friction, lever=rolling * np.array(radius))


def zigzag(n, ratio, wall, between=None, rolling=0.0):
    return stack([(-1) ** (k + 1) for k in range(n)], 60.0, ratio * 60.0, wall, between, rolling)


def slope(degrees, friction, *, base=20.0, height=10.0, lever=0.0):
    """Give a block of weight 1 on a slope, on the two ends of its base; base 0 is a disc on one point."""
    a = math.radians(degrees)
    along, up = np.array([math.cos(a), math.sin(a)]), np.array([-math.sin(a), math.cos(a)])
    points = [share * along for share in ((-base / 2, base / 2) if base else (0.0,))]
    count = len(points)
    return ContactState(
        [height / 2 * up], (0, -1), [0] * count, [-1] * count, points, up, friction, lever=np.array(lever)
    )


def wedge(degrees, friction, *, weight, fixed=math.nan):
    """Give a disc of radius 10 between two plates that close upwards, and would let it drop."""
    half = math.radians(degrees) / 2
    normals = np.array([[math.cos(half), -math.sin(half)], [-math.cos(half), -math.sin(half)]])
    return ContactState(
        [[0, 0]],
        (0, -weight),
        [0, 0],
        [-1, -1],
        -10 * normals,
        normals,
        friction,
        fixed_normal=np.array([fixed, math.nan]),
    )


@pytest.mark.parametrize("ratio", [1.3, 1.42, 1.5, 1.6, 1.7, 1.835, 1.84])
@pytest.mark.parametrize("n", [1, 2, 3, 8])
def test_round_discs_in_a_straight_open_channel_never_hold(ratio, n):
    # All sink at one speed, each rolling on its own wall: nothing slides, gravity works, no force can take it up.
    for wall, between in ((3, 3), (3, 0.3), (0.3, 3)):
        assert not is_admissible(zigzag(n, ratio, wall, between))
    assert channel_critical_friction(ratio * 60, 60, n, 0.0) == math.inf


def test_discs_of_unequal_diameters_never_hold_either():
    rng, tried = np.random.default_rng(4417), 0
    while tried < 40:
        n = int(rng.integers(2, 9))
        sides, diameters = [(-1) ** k for k in range(n)], 60 * rng.uniform(0.9, 1.1, n)
        shape = (sides, diameters, 60 * rng.uniform(1.3, 1.84))
        if stack(*shape, 1.0) is None:
            continue
        tried += 1
        assert not is_admissible(stack(*shape, 3.0))
        # The test has teeth: the same stacks hold as soon as something resists rolling.
        assert is_admissible(stack(*shape, 3.0, rolling=0.02))
    assert margin(stack(*shape, 3.0)) == math.inf


@pytest.mark.parametrize("ratio", [1.3, 1.42, 1.6, 1.84])
@pytest.mark.parametrize("rolling", [0.001, 0.05, 0.2])
def test_any_resistance_to_rolling_leaves_the_wedge_criterion(ratio, rolling):
    # Wall, disc, disc, wall as a strut: it meets each of its contacts at theta/2, and can be pressed without limit.
    critical = math.sqrt((2 - ratio) / ratio)
    for n in range(2, 13):
        assert is_admissible(zigzag(n, ratio, 1.0005 * critical, rolling=rolling))
        assert not is_admissible(zigzag(n, ratio, 0.9995 * critical, rolling=rolling))
    assert not is_admissible(zigzag(1, ratio, 3.0, rolling=rolling))  # one alone has nothing to press on


@pytest.mark.parametrize(("ratio", "n", "rolling"), [(1.42, 2, 0.01), (1.6, 5, 0.1), (1.835, 12, 0.001)])
def test_the_least_friction_is_that_of_the_closed_form(ratio, n, rolling):
    found = channel_critical_friction(ratio * 66, 66, n, rolling)
    assert found == pytest.approx(critical_friction(ratio * 66, 66), rel=1e-5)


@pytest.mark.parametrize("ratio", [1.42, 1.7, 1.84])
@pytest.mark.parametrize("rolling", [0.0005, 0.01, 0.12, 0.3])
def test_unequal_frictions(ratio, rolling):
    """Wall friction at a given one between containers that is above the wedge criterion.

    A disc that touches one wall and one neighbour is held by two forces in one line. It leaves the wall's normal by phi
    and the neighbour's by theta - phi; moved along both surfaces by rho r, its ends let phi be theta/2 -+ atan rho. Of
    two discs, what the middle point gives to one it takes from the other: tan phi = tan(theta/2) - rho d / W at least.
    """
    theta, between = math.acos(ratio - 1), 1.4 * math.tan(math.acos(ratio - 1) / 2)
    both = math.tan(max(theta - math.atan(between), 0.0))
    for n, alone in ((2, math.tan(theta / 2) - rolling / ratio), (3, math.tan(theta / 2 - math.atan(rolling)))):
        found = channel_critical_friction(ratio * 60, 60, n, rolling, container_friction=between)
        assert found == pytest.approx(max(alone, both), rel=1e-4)
        if rolling == 0.0005:
            assert found == pytest.approx(math.tan(theta / 2), rel=0.01)


def test_unequal_frictions_of_six():
    # Second witness, another program: W/d 1.7, 0.6 between containers, rho 0.12 holds from 0.286 on.
    assert channel_critical_friction(102, 60, 6, 0.12, container_friction=0.6) == pytest.approx(0.286, abs=5e-4)
    # Below the wedge criterion between containers no wall helps, unless rho makes up for the difference.
    assert channel_critical_friction(102, 60, 6, 0.05, container_friction=0.3) == math.inf
    assert channel_critical_friction(102, 60, 6, 0.2, container_friction=0.3) == pytest.approx(
        math.tan(math.acos(0.7) - math.atan(0.3)), rel=1e-4
    )


@pytest.mark.parametrize("rolling", [0.001, 0.01, 0.05])
@pytest.mark.parametrize("n", [2, 4, 12])
def test_the_forces_that_it_takes_grow_as_resistance_to_rolling_falls(n, rolling):
    # Power of a pair that rolls down: 2 w v against rho N v at each wall and 2 rho N v between, so N = w / (2 rho).
    state = zigzag(n, 1.6, 1.0, rolling=rolling)
    assert is_admissible(state, largest_normal=1.001 / (2 * rolling))
    assert not is_admissible(state, largest_normal=0.999 / (2 * rolling))


@pytest.mark.parametrize("ratio", [1.6, 1.7, 1.8, 1.95])
@pytest.mark.parametrize("n", [4, 8])
def test_two_left_two_right_hold_from_friction_one(ratio, n):
    # Two on one wall, one above the other: the wedge between wall and neighbour is a right angle, half of it 45 deg.
    sides = [-1 if k % 4 < 2 else 1 for k in range(n)]
    assert margin(stack(sides, 60.0, ratio * 60, 1.0)) == pytest.approx(1.0, rel=1e-4)


@pytest.mark.parametrize("n", [3, 4, 8])
def test_triangles_hold_from_the_tangent_of_fifteen_degrees(n):
    # Once the next but one touches, one colour per wall no longer parts the contacts, and rolling is locked.
    assert margin(zigzag(n, TRIANGLES, 1.0)) == pytest.approx(math.tan(math.radians(15)), rel=1e-4)


@pytest.mark.parametrize("degrees", [10, 30, 60, 90])
def test_a_disc_in_a_wedge(degrees):
    # Crushing rolls (Coulson and Richardson vol. 2, from memory): gripped iff mu >= tan of half the included angle.
    needed = math.tan(math.radians(degrees) / 2)
    assert margin(wedge(degrees, 1.0, weight=0.0, fixed=5.0)) == pytest.approx(needed, rel=1e-5)
    assert margin(wedge(degrees, 1.0, weight=1.0)) == pytest.approx(needed, rel=1e-5)
    # Pressed by no more than P, the two carry 2 P (mu cos - sin) of half the angle.
    half, friction = math.radians(degrees) / 2, 1.5 * needed
    pressed = 1 / (2 * (friction * math.cos(half) - math.sin(half)))
    assert is_admissible(wedge(degrees, friction, weight=1.0), largest_normal=1.001 * pressed)
    assert not is_admissible(wedge(degrees, friction, weight=1.0), largest_normal=0.999 * pressed)


@pytest.mark.parametrize("degrees", [1, 20, 45, 60])
def test_a_block_on_a_slope(degrees):
    # Slides unless mu >= tan of the slope; tips over its lower edge, whatever the friction, beyond tan = base / height.
    needed = math.tan(math.radians(degrees))
    assert margin(slope(degrees, 1.0)) == pytest.approx(needed, rel=1e-5)
    assert is_admissible(slope(degrees, 3.0, base=1.001 * 10 * needed))
    assert not is_admissible(slope(degrees, 3.0, base=0.999 * 10 * needed))


def test_a_flat_and_a_lever_resist_rolling_alike():
    # A disc rolls at tan = rho, a flat of width b on a height h at tan = b / h: two points stand for rho = b / h.
    for degrees in (3, 10):
        rho = math.tan(math.radians(degrees))
        assert is_admissible(slope(degrees, 1.0, base=0.0, lever=1.001 * rho * 5))
        assert not is_admissible(slope(degrees, 1.0, base=0.0, lever=0.999 * rho * 5))
    assert not is_admissible(slope(3, 1.0, base=0.0))


@pytest.mark.parametrize("degrees", [40, 60, 75])
def test_a_ladder_against_a_smooth_wall(degrees):
    # Textbook statics: a uniform ladder stands from mu = 1 / (2 tan angle) at the ground on.
    end = 2 * np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
    ladder = ContactState([end / 2], (0, -1), [0, 0], [-1, -1], [[0, 0], end], [[0, 1], [-1, 0]], [1.0, 0.0])
    assert margin(ladder) == pytest.approx(1 / (2 * math.tan(math.radians(degrees))), rel=1e-5)


def test_a_body_bound_between_walls_hangs_by_the_drag_of_known_forces():
    # Both walls press 20 N on it: the drag carries 2 mu 20 N of the 10 N that it weighs, from mu 0.25 on.
    walls = [[-30, 0], [30, 0]]
    state = ContactState([[0, 0]], (0, -10), [0, 0], [-1, -1], walls, [[1, 0], [-1, 0]], 0.5, fixed_normal=np.array(20))
    assert margin(state) == pytest.approx(0.5, rel=1e-5)
    assert not is_admissible(replace(state, fixed_normal=np.array([20, 19])))  # no body presses unequally on two walls


def test_bodies_that_need_no_friction_and_bodies_that_nothing_holds():
    assert margin(slope(0, 0.5)) == 0.0
    floating = ContactState([[0, 0]], (0, -1), *np.empty((2, 0), int), *np.empty((2, 0, 2)), np.empty(0))
    assert margin(floating) == math.inf
    assert is_admissible(replace(floating, weight=np.zeros(2)))


def test_units_and_handedness_do_not_matter():
    state = stack([-1, 1, -1, -1], [60, 63, 58, 61], 100.0, 0.7, 0.9, rolling=0.03)
    expected = margin(state)
    assert 0 < expected < math.inf
    grown = replace(state, centre=1e3 * state.centre, point=1e3 * state.point, lever=1e3 * state.lever)
    mirror = np.array([-1, 1])
    turned = {name: mirror * getattr(state, name) for name in ("centre", "weight", "point", "normal")}
    for other in (grown, replace(state, weight=1e-4 * state.weight), replace(state, **turned)):
        assert margin(other) == pytest.approx(expected, rel=1e-5)


def test_imbalance_of_forces_found_by_hand():
    # Disc of 2 N in a right-angled groove: a second of 4 N right above it: each side bears 6 N / sqrt 2.
    h = math.sqrt(0.5)
    normals = np.array([[h, h], [-h, h], [0, -1]])
    points = [[-10 * h, -10 * h], [10 * h, -10 * h], [0, 10]]
    state = ContactState([[0, 0], [0, 25]], [[0, -2], [0, -4]], [0, 0, 0], [-1, -1, 1], points, normals, 0.0)
    forces = np.array([[3, 3], [-3, 3], [0, -4]])
    for residual in imbalance(state, forces):
        assert residual == pytest.approx(np.zeros(residual.shape), abs=1e-12)
    force, torque = imbalance(state, forces * [[1], [1], [1.2]])
    assert force == pytest.approx(np.array([[0, -0.4], [0, 0.2]]), abs=1e-12)
    assert torque == pytest.approx([0, 0], abs=1e-12)
    # One newton of friction to the right on the lower, so to the left on the upper: both are turned clockwise.
    force, torque = imbalance(state, np.add(forces, [[0, 0], [0, 0], [1, 0]]))
    assert force == pytest.approx(np.array([[0.5, 0], [-0.25, 0]]), abs=1e-12)
    assert torque == pytest.approx([-10 / (2 * 10), -15 / (4 * 15)])


@pytest.mark.parametrize("gone", range(3))
def test_a_stack_that_lacks_a_wall_holds_no_longer(gone):
    state = stack([-1, -1, 1, 1], 60.0, 100.0, 1.2)
    assert is_admissible(state)
    left = np.arange(len(state.body)) != gone
    parts = (getattr(state, name)[left] for name in ("body", "other", "point", "normal", "friction"))
    assert not is_admissible(ContactState(state.centre, state.weight, *parts))


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"friction": -0.1}, "friction must be finite, and no size negative: got -0.1"),
        ({"friction": math.nan}, "friction must be finite"),
        ({"fixed_normal": math.inf}, "fixed_normal must be finite"),
        ({"lever": -1}, "lever must be finite"),
        ({"point": [[0, math.inf]]}, "point must be finite"),
        ({"normal": [[0, 2]]}, "unit vectors"),
        ({"body": [1]}, "two of 1 bodies, or other -1"),
        ({"other": [0]}, "two of 1 bodies, or other -1"),
        ({"other": [-2]}, "two of 1 bodies, or other -1"),
        ({"body": [0.5]}, r"body must be numbers of shape \(1,\)"),
        ({"weight": [1, 2, 3]}, r"weight must be numbers of shape \(1, 2\)"),
        ({"centre": np.empty((0, 2)), "weight": np.empty((0, 2))}, "two of 0 bodies, or other -1"),
        ({"friction": "rough"}, "friction must be numbers"),
    ],
)
def test_states_that_make_no_sense_are_refused(change, why):
    sound = {"centre": [[0, 5]], "weight": (0, -1), "body": [0], "other": [-1], "point": (0, 0), "normal": (0, 1)}
    with pytest.raises(RangeError, match=why):
        ContactState(**{**sound, "friction": 0.3, **change})


def test_questions_that_make_no_sense_are_refused():
    with pytest.raises(RangeError, match="forces must be finite"):
        imbalance(slope(10, 0.3), [[0, 1]])
    for bad in (0, -1, math.nan, math.inf):
        with pytest.raises(RangeError, match="largest_normal must be a positive number"):
            is_admissible(slope(10, 0.3), largest_normal=bad)
    for arguments, why in (
        ((60, 60, 3, 0.1), "It binds"),
        ((59, 60, 3, 0.1), "does not fit"),
        ((115, 60, 3, 0.1), "at most 1.866"),
        ((90, 60, 0, 0.1), "n must be"),
        ((90, 60, True, 0.1), "n must be"),
        ((90, 60, 3, -0.1), "rolling must be zero or more"),
    ):
        with pytest.raises(RangeError, match=why):
            channel_critical_friction(*arguments)
    with pytest.raises(RangeError, match="container_friction must be zero or more"):
        channel_critical_friction(90, 60, 3, 0.1, container_friction=math.nan)
