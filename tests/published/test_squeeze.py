"""Squeezed bottles: published rings and tubes, worked sizes, and a second way to each formula over its range."""

import math

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_bvp
from scipy.optimize import brentq, minimize_scalar

from colsim.errors import RangeError
from colsim.theory import squeeze as theory
from colsim.theory.squeeze import Bottle, Section, bulge, ring_stiffness, section_between, section_under, stadium_force

AIR = 101.325  # kPa
ROUND = math.pi * 65**2 / 4  # area of the section of 65 mm
LOST, GAINED = theory.PINCHED_RING, 2 / math.pi - 0.5


def bottle(**changes):
    """Give the bottle of the worked sizes: 65 mm, body of 130 mm, wall of 0.1 mm, 4 % gas, still."""
    sizes = {"diameter": 65, "length": 130, "wall_thickness": 0.1, "modulus": 3000, "poisson": 0.38}
    return Bottle(**{**sizes, "headspace": 0.04, "body_share": 0.85, **changes})


# The ring


def test_published_rings():
    # What one point moves is half the diameter lost. A narrow ring is free to curl: Poisson's ratio 0.
    # Finite-element benchmark after Timoshenko (1955), wnwk.com 3634178: 8 N, R = 2 m, E = 2.0e11 Pa, I = 1.33333e-8 m4
    # (taken as a wall 1 m long): 1.79e-3 m (exact 1.78535e-3), at the side 1.64e-3 m (exact 1.63944e-3).
    wall = 1000 * (12 * 1.33333e-8) ** (1 / 3)
    load_point = 8 / (1000 * ring_stiffness(wall, 2000, 2e5, 0)) / 2
    assert load_point == pytest.approx(1.78535, rel=4e-6)
    assert load_point * GAINED / LOST == pytest.approx(1.63944, rel=4e-6)
    # solver-docs.pages.dev, pinched ring: 10 N, R = 0.1 m, 10 x 5 mm, E = 200 GPa: 3.57e-5 m (exact 3.57068e-5).
    assert 10 / (10 * ring_stiffness(5, 100, 2e5, 0)) / 2 == pytest.approx(3.57068e-2, rel=4e-6)


@pytest.mark.parametrize(
    ("wall", "radius", "metre", "long"), [(0.25, 36, 669.94, 0.10049), (0.1, 32.5, 58.273, 8.741e-3)]
)
def test_tubes_of_two_bottles(wall, radius, metre, long):
    # N/m for each metre, and N/mm for 150 mm: E = 3 GPa, nu = 0.4, evaluated outside this project.
    assert 1e6 * ring_stiffness(wall, radius, 3000, 0.4) == pytest.approx(metre, rel=1e-5)
    assert 150 * ring_stiffness(wall, radius, 3000, 0.4) == pytest.approx(long, rel=6e-5)


def test_slips_in_the_constants_of_the_ring_are_traps():
    # The second page prints 0.14868 for 0.14878, and 4/pi - pi/4 for the widening.
    stiffness = ring_stiffness(1, 100, 2e5, 0)
    assert 2e5 / 12 / 100**3 / stiffness == pytest.approx(0.149, abs=5e-4)  # ASTM D2412, from memory
    assert 2e5 / 12 / 100**3 / stiffness == pytest.approx(0.14878, abs=5e-6)
    assert abs(2e5 / 12 / 100**3 / stiffness - 0.14868) > 9e-5
    assert abs(GAINED - 0.136620) < 5e-7
    assert abs(GAINED - (4 / math.pi - math.pi / 4)) > 0.3
    # A tube's wall cannot curl, a beam's can: leaving 1 - nu^2 out is 16 % at 0.4. Half the wall is an eighth as stiff.
    assert ring_stiffness(1, 100, 2e5, 0.4) / stiffness == pytest.approx(1 / 0.84, rel=1e-12)
    assert ring_stiffness(0.5, 100, 2e5, 0) / stiffness == pytest.approx(1 / 8, rel=1e-12)


def test_ring_by_its_least_bending_energy():
    # For R = E I = 1, forces F along and Q across; the moment under F is what gives the least energy.
    def least(along, across):
        def energy(top):
            def moment(a):
                return top - along / 2 * math.sin(a) + across / 2 * (1 - math.cos(a))

            return 2 * quad(lambda a: moment(a) ** 2, 0, math.pi / 2)[0]

        found = minimize_scalar(energy, bracket=(-1, 1), tol=1e-10)
        return found.fun, found.x

    energy, top = least(1, 0)
    assert top == pytest.approx(0.31831, abs=5e-6)  # Roark, from memory: F R/pi, and 0.18169 at the side
    assert 0.5 - top == pytest.approx(0.18169, abs=5e-6)
    assert 8 * 2 * top == pytest.approx(5.09296, abs=1e-5)  # N m in the benchmark, printed 5.09
    assert 2 * energy == pytest.approx(LOST, rel=1e-8)  # quadratic in the forces: F times its slope is twice it
    assert abs(least(1, 1)[0] - least(1, -1)[0]) / 2 == pytest.approx(GAINED, rel=1e-8)


def elastica(force):
    """Diameters lost and gained by a ring of R = E I = 1, bent as far as it bends."""

    def slopes(_, y):
        return np.array([y[1], force / 2 * np.cos(y[0]), np.cos(y[0]), -np.sin(y[0])])

    arc = np.linspace(0, math.pi / 2, 40)
    ring = np.array([arc, np.ones_like(arc), np.sin(arc), np.cos(arc)])
    ends = solve_bvp(slopes, lambda a, b: np.array([a[0], b[0] - math.pi / 2, a[2], b[3]]), arc, ring, tol=1e-9).sol
    return 2 - 2 * ends(0)[3], 2 * ends(math.pi / 2)[2] - 2


def test_ring_by_the_elastica():
    pressed, pulled = elastica(0.02), elastica(-0.02)
    assert (pressed[0] - pulled[0]) / 0.04 == pytest.approx(LOST, rel=1e-4)
    assert (pressed[1] - pulled[1]) / 0.04 == pytest.approx(GAINED, rel=1e-4)
    # As the notes say: at a tenth of the diameter (0.2 of 2) the straight line is 14 % above the elastica.
    assert 0.2 / LOST / brentq(lambda force: elastica(force)[0] - 0.2, 0.5, 2) == pytest.approx(1.14, abs=0.006)


# The taut tube


@pytest.mark.parametrize(
    "row", [(73, 70, 150, 4.7124, 212.06, 0.998311, 70.686), (66, 65, 110, 1.5708, 51.836, 0.99977, 51.836)]
)
def test_two_tubes_at_three_bar_between_plates(row):
    # Evaluated outside this project; linear at constant pressure as in Tire Science and Technology 3 (1975) 29.
    diameter, height, length, flat, force, area, stiffness = row
    found = stadium_force(diameter - height, diameter, 300, length)
    assert [found, found / (diameter - height)] == pytest.approx([force, stiffness], rel=2e-5)
    section = section_under(found, 0, diameter, 300, length)
    assert [section.flat_top, section.height] == pytest.approx([flat, height], abs=5e-5)
    assert 1 - section.area_lost == pytest.approx(area, abs=6e-7)
    if diameter == 73:  # "about 700 times" the bare wall of 0.25 mm
        assert stiffness / (150 * ring_stiffness(0.25, 36, 3000, 0.4)) == pytest.approx(700, rel=0.01)


def outline(section, corners=20_000):
    """Area and girth of the polygon along a section's outline."""
    w, h, r = section.width / 2, section.height / 2, section.corner_radius
    turns = np.concatenate([np.linspace(0, math.pi / 2, corners) + k * math.pi / 2 for k in range(4)])
    across, up = np.repeat([[1, 1], [-1, 1], [-1, -1], [1, -1]], corners, axis=0).T
    x, y = across * (w - r) + r * np.cos(turns), up * (h - r) + r * np.sin(turns)
    dx, dy = np.roll(x, -1) - x, np.roll(y, -1) - y
    return abs(np.sum(x * dy - y * dx)) / 2, np.sum(np.hypot(dx, dy))


@pytest.mark.parametrize("squeeze", [0.0, 0.5, 5.0, 20.0, 50.0, 65.0])
def test_stadium_by_its_outline_and_by_virtual_work(squeeze):
    section = section_under(stadium_force(squeeze, 65, 30, 130), 0, 65, 30, 130)
    area, girth = outline(section)
    assert girth == pytest.approx(math.pi * 65, rel=1e-8)
    assert area == pytest.approx(ROUND * (1 - (squeeze / 65) ** 2), abs=1e-4)
    assert section.area_lost == pytest.approx((squeeze / 65) ** 2, abs=1e-12)
    assert [section.height, section.width] == pytest.approx([65 - squeeze, 65 + bulge(squeeze, 65)], abs=1e-9)

    def volume(s):  # a rectangle and two half circles
        return 130 * ((65 - s) * math.pi * s / 2 + math.pi * (65 - s) ** 2 / 4)

    slope = (volume(squeeze + 0.001) - volume(squeeze - 0.001)) / 0.002
    assert stadium_force(squeeze, 65, 30, 130) == pytest.approx(-0.030 * slope, abs=1e-6)  # F = p dV/dh
    assert volume(squeeze) / 130 == pytest.approx(area, abs=1e-4)


@pytest.mark.parametrize(("height", "lost", "stadium"), [(57, 0.0196, 0.0151), (52, 0.0545, 0.0400)])
def test_walls_that_press_too_cost_more_area_than_the_stadium(height, lost, stadium):
    # Worked by hand for 65 mm held 66 mm wide; the trap is to take (s/d)^2 there.
    assert section_between(66, height, 65).area_lost == pytest.approx(lost, abs=5e-5)
    assert ((65 - height) / 65) ** 2 == pytest.approx(stadium, abs=5e-5)


@pytest.mark.parametrize("side", [0.0, 0.1, 0.2, 0.5])
@pytest.mark.parametrize("top", [0.0, 0.1, 0.3, 0.5])
def test_section_is_a_polygon_and_a_disc(top, side):
    # Minkowski sum of the rectangle of the flats and the disc: area b1 b2 + girth x r + pi r^2; then by the outline.
    most = math.pi * 65 / 2 * 0.030 * 130
    s = section_under(top * most, side * most, 65, 30, 130)
    b1, b2, r = s.flat_top, s.flat_side, s.corner_radius
    assert [0.030 * 130 * b1, 0.030 * 130 * b2] == pytest.approx([top * most, side * most])
    assert 0 <= r <= min(s.height, s.width) / 2 + 1e-12
    area = b1 * b2 + 2 * (b1 + b2) * r + math.pi * r**2
    assert area == pytest.approx(ROUND * (1 - s.area_lost), abs=1e-9)
    assert area == pytest.approx(s.width * s.height - (4 - math.pi) * r**2, abs=1e-9)
    assert outline(s) == pytest.approx((area, math.pi * 65), abs=1e-4)
    assert list(vars(section_between(s.width, s.height, 65)).values()) == pytest.approx(
        list(vars(s).values()), abs=1e-7
    )


@pytest.mark.parametrize(("width", "height"), [(66, 57), (66, 52), (64, 62), (60, 60), (78, 40)])
def test_forces_on_both_axes_are_what_the_area_loses(width, height):
    def area(w, h):
        return ROUND * (1 - section_between(w, h, 65).area_lost)

    s, e = section_between(width, height, 65), 1e-4
    assert (area(width, height + e) - area(width, height - e)) / (2 * e) == pytest.approx(s.flat_top, abs=1e-6)
    assert (area(width + e, height) - area(width - e, height)) / (2 * e) == pytest.approx(s.flat_side, abs=1e-6)


def test_free_section_is_a_disc_and_the_two_axes_are_alike():
    assert section_between(65, 65, 65) == Section(0, 0, 32.5, 65, 65, 0)
    a, b = section_under(30, 10, 65, 30, 130), section_under(10, 30, 65, 30, 130)
    assert (a.height, a.width, a.area_lost) == (b.width, b.height, b.area_lost)


# The sealed bottle


@pytest.mark.parametrize("headspace", [0.0, 1e-6, 0.01, 0.04, 0.3])
@pytest.mark.parametrize("before", [-90.0, -8.0, 0.0, 30.0, 300.0])
@pytest.mark.parametrize("wall", [0.06, 0.3, 3.0])
def test_pressure_by_bisection(headspace, before, wall):
    b = bottle(headspace=headspace, pressure=before, wall_thickness=wall)
    for lost in (0.0, 1e-6, 0.02, 0.05, 0.4, 1.0):
        low, high = -AIR, 1e6
        for _ in range(100):  # the balance of volumes as it is written, times the absolute pressure
            p = (low + high) / 2
            gas = headspace - 0.85 * lost + b.wall_stretch * (p - before)
            low, high = (p, high) if gas * (p + AIR) < headspace * (before + AIR) else (low, p)
        assert b.pressure_when(lost) == pytest.approx(low, rel=1e-8, abs=1e-6)


def test_pressure_at_its_limits():
    rigid, full = bottle(modulus=1e18, pressure=20), bottle(headspace=0, pressure=-8)
    boyle = (20 + AIR) * 0.04 / (0.04 - 0.85 * 0.02) - AIR
    assert rigid.pressure_when(0.02) == pytest.approx(boyle, rel=1e-9)
    assert full.pressure_when(0.02) == pytest.approx(-8 + 0.85 * 0.02 / full.wall_stretch, rel=1e-9)
    assert bottle(headspace=1e-9, pressure=-8).pressure_when(0.02) == pytest.approx(full.pressure_when(0.02), rel=1e-5)
    for before in (-100, -8, 0, 300, 2000):
        assert bottle(pressure=before).pressure_when(0) == pytest.approx(before, abs=1e-9)
    # Wall 1.9e-4 and gas f / p_a = 3.9e-4 per kPa, worked by hand; small squeezes share their volume between them.
    assert full.wall_stretch == pytest.approx(1.9e-4, abs=5e-6)
    hoop, axial = (32.5 / (3000 * 0.1) / 1000 * share for share in (1 - 0.38 / 2, 1 / 2 - 0.38))  # closed thin tube
    assert full.wall_stretch == pytest.approx((1 + hoop) ** 2 * (1 + axial) - 1, rel=1e-3)
    assert bottle().pressure_when(1e-7) == pytest.approx(0.85e-7 / (full.wall_stretch + 0.04 / AIR), rel=1e-3)


@pytest.mark.parametrize(("before", "headspace"), [(-8.0, 0.04), (0.0, 0.04), (0.0, 0.01), (120.0, 0.04), (300.0, 0.1)])
def test_force_is_the_slope_of_the_energy(before, headspace):
    # Gas (Boyle), air outside and wall (taut by p0, stiff by 1/beta), as shares of the volume inside, take the stretch
    # of least energy; the ring adds k L s^2 / 2.
    b = bottle(pressure=before, headspace=headspace)

    def energy(squeeze):
        x = 0.85 * (squeeze / 65) ** 2

        def stored(u):
            gas = -headspace * (before + AIR) * math.log((headspace - x + u) / headspace)
            return gas + AIR * (u - x) + before * u + u**2 / (2 * b.wall_stretch)

        low = max(x - headspace, -0.05) + 1e-9
        least = minimize_scalar(stored, bounds=(low, low + 0.5), method="bounded", options={"xatol": 1e-10}).fun
        return least * ROUND * 130 / 0.85 / 1000 + 130 * ring_stiffness(0.1, 32.5, 3000, 0.38) * squeeze**2 / 2

    for squeeze in (1.0, 4.0, 9.0, 14.0):
        slope = (energy(squeeze + 0.02) - energy(squeeze - 0.02)) / 0.04
        assert b.force(squeeze) == pytest.approx(slope, rel=2e-4, abs=2e-3)


RIGID = {"modulus": 1e12, "wall_thickness": 1e-5}  # neither stretches nor bears


@pytest.mark.parametrize(
    ("changes", "squeeze", "printed"),
    [
        ({}, 9.45, 0.006),
        ({"headspace": 0}, 6.9, 0.05),
        (RIGID, 7.85, 0.006),
        ({**RIGID, "length": 160, "body_share": 1}, 7.0, 0.05),
        ({"wall_thickness": 0.3, "pressure": 300}, 1.2, 0.05),
    ],
)
def test_worked_squeezes_under_seventy_three_newtons(changes, squeeze, printed):
    # Worked by hand apart from this code (E = 3 GPa, nu = 0.38), rounded as given.
    found = bottle(**changes).squeeze_under(73)
    assert found == pytest.approx(squeeze, abs=printed)
    assert changes or bulge(found, 65) == pytest.approx(5.4, abs=0.05)


def test_bottle_filled_warm_and_served_cold_is_out_of_round_with_no_load():
    # Worked by hand: at -8 kPa F(3) = -3.0 N, and no force again at 4.8 mm.
    b = bottle(pressure=-8)
    assert [b.force(3), b.force(0)] == pytest.approx([-3.0, 0], abs=0.05)
    assert b.squeeze_under(0) == pytest.approx(4.8, abs=0.05)
    assert b.squeeze_under(0) < b.squeeze_under(1e-6) < b.squeeze_under(0) + 1e-5 < b.squeeze_under(5)
    # Between plates the ring bears a vacuum of 2 k / pi; in n = 2 buckling 0.026 kPa, worked by hand with nu = 0.4.
    assert pytest.approx(0.026, abs=5e-4) == 3 * 3000 * 0.1**3 / 12 / (1 - 0.4**2) / 32.5**3 * 1000
    borne = 2000 / math.pi * ring_stiffness(0.1, 32.5, 3000, 0.38)
    assert bottle(pressure=-0.999 * borne).squeeze_under(0) == 0 < bottle(pressure=-1.001 * borne).squeeze_under(0)


@settings(max_examples=150, deadline=None, derandomize=True)
@example(-8.0, 0.04, 0.1, 1.0, 0.0)
@example(-8.0, 0.0, 0.1, 1.0, 0.5)
@example(0.0, 0.0, 0.06, 1.0, 1.0)
@given(st.floats(-60, 400), st.floats(0, 0.3), st.floats(0.05, 0.4), st.floats(1, 200), st.floats(0, 1))
def test_squeeze_and_load_invert_each_other(pressure, headspace, wall, ends, share):
    b = bottle(pressure=pressure, headspace=headspace, wall_thickness=wall, end_stiffness=ends)
    load = share**4 * b.force(65)
    assert b.force(b.squeeze_under(load)) == pytest.approx(load, rel=1e-6, abs=1e-6)
    least = b.squeeze_under(0)  # the right branch begins here: before it no force, beyond it force only grows
    assert all(b.force(s) <= 1e-9 for s in np.linspace(0, least, 10))
    assert all(np.diff([b.force(s) for s in np.linspace(least, 65, 30)]) > 0)
    squeeze = least + share * (65 - least)
    assume(b.force(squeeze) >= 0)
    assert b.squeeze_under(b.force(squeeze)) == pytest.approx(squeeze, abs=1e-5)


def test_stiffer_ends_add_to_the_ring():
    more = bottle(end_stiffness=40).force(5) - bottle().force(5)
    assert more == pytest.approx(39 * 130 * ring_stiffness(0.1, 32.5, 3000, 0.38) * 5, rel=1e-9)


# What is refused

NOTHING = "must be a positive number: got {bad!r}. Measure it again"
PLATES = "Plates only press. Put fewer on top"
REFUSED = [
    (lambda: bulge(-0.1, 65), "squeeze [mm] must be between 0 and 65: got -0.1. Take the height between the walls"),
    (lambda: stadium_force(65.1, 65, 1, 9), "squeeze [mm] must be between 0 and 65: got 65.1. Take the height"),
    (lambda: bottle().force(math.nan), "squeeze [mm] must be between 0 and 65: got nan. Take the height between"),
    (lambda: stadium_force(1, 65, math.inf, 9), "pressure must be a finite number of kPa: got inf. Measure it again"),
    (lambda: ring_stiffness(4, 30, 3000, 0), "wall_thickness [mm] must be between 0 and 3: got 4. A thicker wall"),
    (lambda: ring_stiffness(1, 30, 3000, 0.6), "poisson must be between 0 and 0.5: got 0.6. Metals and plastics"),
    (lambda: section_under(-1, 0, 65, 30, 130), f"load_top [N] must be between 0 and 398.197: got -1. {PLATES}"),
    (lambda: section_under(0, 399, 65, 30, 130), f"load_side [N] must be between 0 and 398.197: got 399. {PLATES}"),
    (lambda: section_under(200, 200, 65, 30, 130), f"both loads [N] must be between 0 and 398.197: got 400. {PLATES}"),
    (lambda: section_between(90, 60, 65), "of 65 mm held to 90 by 60 mm must be between 0 and 30: got 55.7"),
    (lambda: section_between(40, 40, 65), "between 0 and 20: got -25.7"),
    (lambda: bottle(headspace=-0.01), "headspace must be between 0 and 0.9: got -0.01. Divide the gas by the volume"),
    (lambda: bottle(body_share=1.02), "body_share must be between 0 and 1: got 1.02. The body is part of the bottle"),
    (lambda: bottle(pressure=-101.4), "pressure [kPa] must be between -100 and 2000: got -101.4. Give gauge pressure"),
    (lambda: bottle(end_stiffness=0.9), "end_stiffness must be between 1 and 1e+06: got 0.9. Ring and skin alone"),
    (lambda: bottle().pressure_when(1.1), "area_lost must be between 0 and 1: got 1.1. It is the share"),
    (lambda: bottle().squeeze_under(-1), f"got -1. {PLATES}"),
    (lambda: bottle().squeeze_under(1e7), f"got 10000000.0. {PLATES}"),
    (lambda: bottle(pressure=-99, headspace=0.9).squeeze_under(0), "must not draw it flat unloaded: got -99 kPa. Mea"),
]


@pytest.mark.parametrize(("call", "message"), REFUSED)
def test_message_says_what_it_got_what_is_allowed_and_what_to_do(call, message):
    with pytest.raises(RangeError) as caught:
        call()
    assert message in str(caught.value)


SIZED = [
    *(lambda bad, k=k: ring_stiffness(*[bad if i == k else 30 * 9.0**i for i in range(3)], 0.4) for k in range(3)),
    lambda bad: stadium_force(1, bad, 30, 130),
    lambda bad: stadium_force(1, 65, 30, bad),
    lambda bad: section_under(1, 1, 65, bad, 130),
    lambda bad: section_between(bad, 60, 65),
    *(lambda bad, k=k: bottle(**{k: bad}) for k in ("diameter", "length", "body_share", "wall_thickness", "modulus")),
]


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
@pytest.mark.parametrize("call", SIZED)
def test_sizes_that_make_no_sense_are_refused(call, bad):
    with pytest.raises(RangeError) as caught:
        call(bad)
    assert NOTHING.format(bad=bad) in str(caught.value)
