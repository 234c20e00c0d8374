"""A contact as spring and damper: numbers by hand, limits, an integrated motion, and a membrane that is minimised."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize

from colsim.errors import RangeError
from colsim.theory.contact import (
    MAX_DAMPING,
    contact_time,
    damping_ratio,
    greatest_overlap,
    in_series,
    restitution,
    skin_stiffness,
    three_flats_ratio,
)
from colsim.theory.squeeze import stadium_force

DAMPINGS = [0.0, 1e-6, 0.05, 0.3, 0.717, 0.99, 1.0, 1.01, 1.5, 2.0]


def integrated(damping):
    """Give restitution, contact time and deepest overlap of m x'' = -k x - c x' in units of v, 1/omega_0, v/omega_0.

    The body has left when the force k x + c x' would turn into a pull.
    """

    def motion(_, state):
        return [state[1], -state[0] - 2 * damping * state[1]]

    def pulls(t, state):
        return state[0] + 2 * damping * state[1] if t > 0 else 1.0

    pulls.terminal, pulls.direction = True, -1
    found = solve_ivp(motion, (0.0, 50.0), [0.0, 1.0], events=pulls, rtol=1e-11, atol=1e-13, dense_output=True)
    time = float(found.t_events[0][0])
    deepest = brentq(lambda t: float(found.sol(t)[1]), 0.0, time)
    return -float(found.y_events[0][0][1]), time, float(found.sol(deepest)[0])


@pytest.mark.parametrize("damping", DAMPINGS)
def test_restitution_time_and_overlap_are_those_of_the_integrated_motion(damping):
    # The law: Schaefer, Dippel, Wolf, J. Phys. I France 6 (1996) 5. Second witness for its end at zero force, derived:
    # an integrator of ordinary differential equations that stops there.
    bounced, time, deepest = integrated(damping)
    assert restitution(damping) == pytest.approx(bounced, rel=1e-7)
    assert contact_time(2.0, 0.5, damping) * math.sqrt(2000 / 0.5) == pytest.approx(time, rel=1e-7)
    assert greatest_overlap(30.0, 2.0, 0.5, damping) == pytest.approx(30 / math.sqrt(2000 / 0.5) * deepest, rel=1e-7)


def test_numbers_worked_by_hand():
    # k = 140 N/mm and m = 0.56 kg make omega_0 = sqrt(140000 / 0.56) = 500 /s: half a period is pi / 500 = 6.2832 ms,
    # and 100 mm/s go 0.2 mm deep. With zeta = 1/2: arccos = pi/3, sqrt(1 - zeta^2) = sqrt(3)/2, so that
    # e = exp(-2 pi / (3 sqrt 3)) = 0.29844, t = 4 pi / (3 sqrt 3) / 500 = 4.8368 ms, x = 0.2 sqrt(e) = 0.10926 mm.
    assert contact_time(140.0, 0.56) == pytest.approx(6.2832e-3, rel=1e-5)
    assert greatest_overlap(100.0, 140.0, 0.56) == pytest.approx(0.2, rel=1e-12)
    assert restitution(0.5) == pytest.approx(0.29844, abs=5e-6)
    assert contact_time(140.0, 0.56, 0.5) == pytest.approx(4.8368e-3, rel=1e-5)
    assert greatest_overlap(100.0, 140.0, 0.56, 0.5) == pytest.approx(0.10926, abs=5e-6)


def test_limits_of_the_damping():
    # None: all of the speed comes back. Critical: x = v t exp(-t), force zero at t = 2, where the speed is exp(-2).
    # Much: the damper alone bears, and the force is zero after t = 2 ln(2 zeta) / zeta, at a speed of 1 / (2 zeta)^2.
    assert restitution(0.0) == 1.0
    assert restitution(1e-4) == pytest.approx(1 - math.pi * 1e-4, abs=1e-7)
    assert restitution(1.0) == pytest.approx(math.exp(-2.0), rel=1e-12)
    assert contact_time(1.0, 1e-3, 1.0) == pytest.approx(2.0 / 1000, rel=1e-12)
    for near in (1 - 1e-8, 1 + 1e-8, 1 - 1e-12):
        assert restitution(near) == pytest.approx(math.exp(-2.0), rel=1e-7)
    assert restitution(50.0) == pytest.approx(1 / 100**2, rel=3e-3)
    assert contact_time(1.0, 1e-3, 50.0) == pytest.approx(2 * math.log(100.0) / 50 / 1000, rel=3e-3)
    falling = [restitution(damping) for damping in np.linspace(0.0, 5.0, 200)]
    assert all(np.diff(falling) < 0)


def test_a_spring_that_never_pulls_throws_back_more_than_one_that_holds_until_they_part():
    # exp(-pi zeta / sqrt(1 - zeta^2)) is what Schaefer, Dippel, Wolf give for the whole half period.
    for damping in (0.1, 0.5, 0.9):
        whole = math.exp(-math.pi * damping / math.sqrt(1 - damping**2))
        assert whole < restitution(damping) < 1
    assert restitution(0.01) == pytest.approx(math.exp(-math.pi * 0.01), rel=3e-4)


def test_damping_and_restitution_invert_each_other():
    assert damping_ratio(1.0) == pytest.approx(0.0, abs=1e-9)
    for wanted in (0.999, 0.8, 0.5, 0.2, math.exp(-2.0), 0.06):
        assert restitution(damping_ratio(wanted)) == pytest.approx(wanted, rel=1e-9)
    assert damping_ratio(0.0) == damping_ratio(0.04) == MAX_DAMPING
    assert restitution(MAX_DAMPING) == pytest.approx(0.0478, abs=5e-5)


def test_two_springs_in_series():
    # Under one force F they give way by F/k1 + F/k2 (statics).
    assert in_series(30.0, 60.0) == pytest.approx(20.0)
    for first, second in ((1.0, 1e9), (140.0, 7.0)):
        assert 1 / in_series(first, second) == pytest.approx(1 / first + 1 / second)


@pytest.mark.parametrize("squeeze", [0.1, 3.0, 12.0])
def test_two_springs_of_a_skin_are_what_it_shows_between_two_boards(squeeze):
    # Tire Science and Technology 3 (1975) 29, by `theory.squeeze`: an inflated ring between plates is linear. Worked by
    # hand: 300 kPa along 150 mm are pi 0.3 150 = 141.4 N/mm a contact, 212.06 N at a squeeze of 3 mm.
    one = skin_stiffness(300.0, 150.0)
    assert one == pytest.approx(141.37, abs=0.01)
    assert in_series(one, one) * squeeze == pytest.approx(stadium_force(squeeze, 73.0, 300.0, 150.0), rel=1e-12)


def greatest_area(walls, dent, edges=30):
    """Give the greatest area of an inextensible loop, of radius 1 if round, between walls 1 - dent from its middle.

    The loop is a chain of equal edges, and of a mirror-symmetric one only the part from the middle of a flat to that of
    the next corner is looked at; its edges' directions are the unknowns, with the place of the first.
    """
    corner = math.pi / walls  # direction from the middle of a flat to that of a corner
    edge = corner / edges

    def points(unknown):
        x = np.concatenate([[0.0], np.cumsum(edge * np.cos(unknown[1:]))])
        return x, unknown[0] + np.concatenate([[0.0], np.cumsum(edge * np.sin(unknown[1:]))])

    def area(unknown):
        x, y = points(unknown)
        return walls * float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))

    def off_the_ray(unknown):
        x, y = points(unknown)
        return x[-1] * math.cos(corner) + y[-1] * math.sin(corner)

    even = (np.arange(edges) + 0.5) * edge
    found = minimize(
        lambda unknown: -area(unknown),
        np.concatenate([[dent - 1.0], even]),
        constraints=[
            {"type": "eq", "fun": off_the_ray},
            {"type": "ineq", "fun": lambda unknown: points(unknown)[1] + 1.0 - dent},
        ],
        method="SLSQP",
        options={"ftol": 1e-12, "maxiter": 300},
    )
    assert found.success, found.message
    return -float(found.fun)


@pytest.mark.parametrize(("walls", "ratio"), [(2, 1.0), (3, three_flats_ratio())])
def test_pressure_in_a_loop_between_two_or_three_walls_presses_as_the_ratio_says(walls, ratio):
    # Gas at a pressure p fills the greatest area, and by virtual work each of the walls bears F = p L dA/d(delta) / n.
    # With F = ratio pi p L delta the area lost is n ratio pi delta^2 / 2. The loop is found by a programme.
    dent = 0.08
    lost = greatest_area(walls, 0.0) - greatest_area(walls, dent)
    assert lost == pytest.approx(walls * ratio * math.pi * dent**2 / 2, rel=0.01)


def test_three_flats_at_120_degrees():
    # Worked by hand apart from this code: dent 0.189 b, F = 5.29 p L delta, 1.68 times pi p L, area lost 7.92 delta^2.
    ratio = three_flats_ratio()
    assert ratio == pytest.approx(1.68, abs=0.01)
    assert math.pi * ratio == pytest.approx(5.29, abs=0.01)
    assert 3 * math.pi * ratio / 2 == pytest.approx(7.92, abs=0.03)
    assert 1 / (math.pi * ratio) == pytest.approx(0.189, abs=5e-4)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: restitution(-0.1), "damping must be 0 or more"),
        (lambda: restitution(math.nan), "damping must be 0 or more"),
        (lambda: damping_ratio(1.01), "restitution must be between 0 and 1"),
        (lambda: contact_time(0.0, 0.5), "stiffness"),
        (lambda: greatest_overlap(-1.0, 1.0, 1.0), "speed must be 0 mm/s or more"),
        (lambda: in_series(1.0, 0.0), "second"),
        (lambda: skin_stiffness(-3.0, 1.0), "pressure"),
    ],
)
def test_what_is_out_of_range_is_refused(call, message):
    with pytest.raises(RangeError, match=message):
        call()
