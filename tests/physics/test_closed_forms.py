"""The engine against closed forms of rigid-body mechanics.

Accelerations are measured over 0.2 to 0.5 s at a step of 1 ms; the engine is of first order, so a relative error of a
few steps over the time (about 1 %) is allowed. Where a closed form knows no dents, the discs are STIFF: ten times as
stiff as containers are, at a step that is shorter by as much as their contacts are.
"""

import math

import numpy as np
import pytest
from tests_shared import make_engine

from colsim.physics.choice import COMPILED
from colsim.physics.engines import Settings
from colsim.physics.scene import FIRM_CONTACT, Body, Chain, ContactParameters, Drum, Line, Part, Scene

G = 9806.65  # [mm/s2] standard gravity
R = 33.0
STEP = 0.001
SHORT, FINE = 0.00025, 0.00002
STIFF = ContactParameters.of_boards(700.0)


def disc(mass=0.5, share=0.5, restitution=0.0, index=0, contact=FIRM_CONTACT):
    """Give a disc whose moment is the share of m r2: 1/2 solid, 1 hoop."""
    return Body(index, 2 * R, 0.0, mass, share * mass * R**2, restitution, contact=contact)


def on_a_plane(friction, degrees=0.0, gravity=G, step=STEP):
    """Give a long level floor, with gravity turned so that it falls to the right."""
    th = math.radians(degrees)
    floor = Chain((Line((-1e5, 0.0), (1e5, 0.0), friction, Part.FLOOR),))
    return make_engine(Scene((gravity * math.sin(th), -gravity * math.cos(th)), (floor,), 0.3), Settings(step=step))


def moving(engine):
    """Give velocity along x, rim speed (positive where it rolls to the right) and velocity along y."""
    state = engine.state()
    return state.velocity[0, 0], -state.spin[0] * R, state.velocity[0, 1]


@pytest.mark.parametrize("degrees", [10, 30, 45, 60])
@pytest.mark.parametrize(("share", "part", "needed"), [(0.5, 2 / 3, 1 / 3), (1.0, 1 / 2, 1 / 2)])
def test_rolling_and_slipping_on_an_incline(degrees, share, part, needed):
    # Solid disc a = 2/3 g sin, mu >= tan/3; hoop a = 1/2 g sin, mu >= tan/2: OpenStax University Physics 1, 11.1
    # (60 deg, mu 0.6: the hollow one slips, the solid one does not).
    th = math.radians(degrees)
    for factor, rolls in ((1.05, True), (0.95, False)):
        mu = factor * needed * math.tan(th)
        engine = on_a_plane(mu, degrees)
        engine.add(disc(share=share), (0.0, R))
        engine.advance(300)
        along, rim, _ = moving(engine)
        expected = part * G * math.sin(th) if rolls else G * (math.sin(th) - mu * math.cos(th))
        assert along == pytest.approx(expected * 0.3, rel=0.01)
        spin_up = expected if rolls else mu * G * math.cos(th) / share
        assert rim == pytest.approx(spin_up * 0.3, rel=0.01)
        assert (abs(along - rim) < 0.005 * along) == rolls


def test_slipping_disc_at_thirty_degrees():
    # Derived: mu 0.1: a = 4.05404, alpha R = 2 mu g cos = 1.69856 m/s2.
    engine = on_a_plane(0.1, 30)
    engine.add(disc(), (0.0, R))
    engine.advance(400)
    along, rim, _ = moving(engine)
    assert along / 0.4 == pytest.approx(4054.04, rel=0.005)
    assert rim / 0.4 == pytest.approx(1698.56, rel=0.005)


def test_sliding_turns_into_rolling():
    # Derived: v0 3 m/s, mu 0.2: rolls after 0.509858 s at 2 m/s, 1.274645 m away.
    engine = on_a_plane(0.2)
    engine.add(disc(), (0.0, R), velocity=(3000.0, 0.0))
    steps, along, rim = 0, 3000.0, 0.0
    while along - rim >= 1.0:
        engine.advance(1)
        steps += 1
        along, rim, _ = moving(engine)
    assert steps * STEP == pytest.approx(0.509858, abs=0.003)
    assert along == pytest.approx(2000.0, rel=0.003)
    assert engine.state().position[0, 0] == pytest.approx(1274.645, rel=0.005)


@pytest.mark.parametrize("restitution", [0.3, 0.5])
def test_bounce(restitution):
    # h1/h0 = e^2 (a standard problem of mechanics), as the mean over the phase within a step at which it comes down.
    # Gravity is not left out: in 5 ms of contact it changes a speed of 3.1 m/s by 1.6 %; and 0.1 ms of explicit damping
    # is off by up to 1.4 %, 1 ms of the implicit one by 2.6 % (measured, see test_springs).
    speed, found = math.sqrt(2 * G * 500.0), []
    for phase in np.arange(0.05, 1.0, 0.1).tolist():
        engine = on_a_plane(0.0)
        height = (3 + phase) * speed * STEP
        engine.add(
            disc(restitution=restitution), (0.0, R + height), velocity=(0.0, -math.sqrt(speed**2 - 2 * G * height))
        )
        engine.advance(14)
        assert len(engine.contacts().body) == 0
        top = engine.state().position[0, 1] - R + moving(engine)[2] ** 2 / (2 * G)
        found.append(math.sqrt(top / 500.0))
    assert np.mean(found) == pytest.approx(restitution, rel=0.055)


@pytest.mark.parametrize(
    ("vx", "mu", "after", "rim"),
    [(1.0, 0.3, 2 / 3, 2 / 3), (3.0, 0.1, 2.85, 0.30)],
)
def test_oblique_impact_sticks_or_slides(vx, mu, after, rim, engine_name):
    # Derived: Coulomb impact of a disc without spin, vy 2, e 0.5: sticks if mu >= vx / (3 (1+e) vy). At a fiftieth of
    # these speeds, which only scale it, the dent that shortens the lever is at most v / omega_0, 0.2 % of the radius.
    vy = {1.0: 2.0, 3.0: 1.0}[vx]
    engine = on_a_plane(mu, gravity=0.0, step=FINE)
    engine.add(disc(restitution=0.5), (0.0, R + 0.01), velocity=(20 * vx, -20 * vy))
    engine.advance(round(0.01 / FINE))
    along, found_rim, up = moving(engine)
    assert len(engine.contacts().body) == 0
    assert up == pytest.approx(10 * vy, rel=0.01)
    # About the point of contact nothing turns it, whatever the friction does: vx' + omega R / 2 = vx.
    assert along + found_rim / 2 == pytest.approx(20 * vx, rel=0.002)
    if vx == 1.0 and engine_name != COMPILED:
        # Friction that is a damped tangential spring swings as it sticks, so that it leaves sliding a little one way or
        # the other: measured 0.05 to 0.11 of the sliding before, by how stiff and damped the spring is.
        assert abs(found_rim - along) / (20 * vx) <= 0.12
        return
    assert along == pytest.approx(20 * after, rel=0.01)
    assert found_rim == pytest.approx(20 * rim, rel=0.01)


@pytest.mark.parametrize("included", [10, 20, 30, 40])
@pytest.mark.parametrize(("factor", "held"), [(0.97, False), (1.03, True)])
def test_a_light_disc_between_closing_plates(included, factor, held):
    # A weightless disc in a wedge is held if mu >= tan(half the included angle), else expelled; the wedge form of the
    # angle of nip, Coulson and Richardson vol. 2, section 2.3. The lower plate closes as a drum turning about the apex.
    half = math.radians(included / 2)
    mu = factor * math.tan(half)
    away = R / math.tan(half)  # from the apex to the contacts
    length = 3 * away
    upper = Chain((Line((length * math.cos(half), length * math.sin(half)), (0.0, 0.0), mu),))
    c, s = length * math.cos(half), -length * math.sin(half)
    lower = Chain((Line((0.0, 0.0), (c, s), mu),))
    # 10 N at the contact dents each side by 0.07 mm.
    drum = Drum(lower, 1e4, 1e4 * away)
    engine = make_engine(Scene((0.0, 0.0), (upper,), 1.0, drum), Settings(step=0.0005, iterations=50))
    centre = R / math.sin(half)
    engine.add(disc(), (centre, 0.0))
    engine.drive(0.05)
    engine.advance(600)
    moved = math.hypot(*engine.state().position[0]) - centre
    assert (moved < 0.5) == held, moved


D, W, N, WEIGHT = 66.0, 73.0, 8, 3.6
MASS = WEIGHT / (G / 1000)


def zigzag_of(contact, step=STEP):
    """Give eight frictionless discs of 3.6 N against alternate walls, at rest: the worked stack of 66 mm in 73 mm."""
    walls = Chain(
        (
            Line((-W / 2, 2000.0), (-W / 2, 0.0), 0.0, Part.LEFT_WALL),
            Line((-W / 2, 0.0), (W / 2, 0.0), 0.0, Part.FLOOR),
            Line((W / 2, 0.0), (W / 2, 2000.0), 0.0, Part.RIGHT_WALL),
        )
    )
    engine = make_engine(Scene((0.0, -G), (walls,), 0.0), Settings(step=step))
    pitch = math.sqrt(W * (2 * D - W))
    for i in range(N):
        engine.add(disc(MASS, index=i, contact=contact), ((-1) ** i * (W - D) / 2, D / 2 + i * pitch))
    engine.advance(round(1.5 / step))
    return engine


@pytest.fixture(scope="module")
def zigzag(engine_name):
    return zigzag_of(FIRM_CONTACT)


def forces_of(engine):
    """Give what neighbours and what walls bear, from the top down [N]."""
    contacts = engine.contacts()
    force = np.hypot(*contacts.force.T) / 1000
    between = {int(b): f for b, o, f in zip(contacts.body, contacts.other, force, strict=True) if o >= 0}
    on_wall = {
        int(b): f
        for b, part, f in zip(contacts.body, contacts.part, force, strict=True)
        if part in (Part.LEFT_WALL, Part.RIGHT_WALL)
    }
    return [between[i] for i in range(N - 2, -1, -1)], [on_wall[i] for i in range(N - 1, -1, -1)]


def test_frictionless_zigzag_forces_within_one_per_cent(engine_name):
    # Exact statics of discs in a narrow strip (geometry: arXiv:1311.1069), from the top: N_k = k w / cos,
    # walls (2k - 1) w tan, the bottom disc's (n - 1) w tan.
    between, on_wall = forces_of(zigzag_of(STIFF, SHORT))
    assert between == pytest.approx([3.6204, 7.2408, 10.8613, 14.4817, 18.1021, 21.7225, 25.3429], rel=0.01)
    assert on_wall == pytest.approx([0.3840, 1.1520, 1.9199, 2.6879, 3.4559, 4.2238, 4.9918, 2.6879], rel=0.01)


def test_a_dented_zigzag_bears_what_its_springs_and_balances_say(zigzag):
    # Derived, two unknowns a contact: the balances give forces for the angles, the springs (140 N/mm on a wall, two in
    # series between discs) give angles for the forces; repeated until neither changes.
    wall, pair = [0.0] * N, [0.0] * (N - 1)  # from the top
    for _ in range(60):
        apart = [W - D + (wall[k] + wall[k + 1]) / 140.0 for k in range(N - 1)]
        tangent = [x / math.sqrt((D - f / 70.0) ** 2 - x**2) for x, f in zip(apart, pair, strict=True)]
        pair = [(k + 1) * WEIGHT * math.hypot(1.0, t) for k, t in enumerate(tangent)]
        across = [0.0, *((k + 1) * WEIGHT * t for k, t in enumerate(tangent)), 0.0]
        wall = [across[k] + across[k + 1] for k in range(N)]
    between, on_wall = forces_of(zigzag)
    assert between == pytest.approx(pair, rel=0.005)
    assert on_wall == pytest.approx(wall, rel=0.005)
    assert max(wall) > 1.012 * 4.9918  # dents matter here


def test_weight_is_balanced_at_rest(zigzag):
    contacts = zigzag.contacts()
    for i in range(N):
        total = contacts.force[contacts.body == i].sum(axis=0) - contacts.force[contacts.other == i].sum(axis=0)
        assert np.hypot(*(total / 1000 - [0.0, WEIGHT])) < 0.001 * WEIGHT
    floor = [f[1] for f, part in zip(contacts.force, contacts.part, strict=True) if part is Part.FLOOR]
    assert sum(floor) / 1000 == pytest.approx(28.8, rel=0.001)


def test_a_stack_at_rest_does_not_drift(zigzag):
    before = zigzag.state().position
    zigzag.advance(10_000)
    assert np.abs(zigzag.state().position - before).max() < 1e-3 * R


def test_energy_does_not_grow():
    # Ten discs thrown about in a box, no motor: dampers and friction only take energy of motion, weight and springs.
    # A spring holds k x^2 / 2; what the step by step sum of its energy is off by is of the order of the step.
    size, rng = 400.0, np.random.default_rng(3)
    corners = [(-size, 0.0), (size, 0.0), (size, 3 * size), (-size, 3 * size)]
    box = Chain(tuple(Line(a, b, 0.3) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)), closed=True)
    engine = make_engine(Scene((0.0, -G), (box,), 0.3))
    for i in range(10):
        place = (-320.0 + 160.0 * (i % 5), 100.0 + 160.0 * (i // 5))
        body = disc(index=i, restitution=0.5)
        engine.add(body, place, velocity=tuple(rng.uniform(-2000, 2000, 2)), spin=rng.uniform(-30, 30))

    def energy():
        s, contacts = engine.state(), engine.contacts()
        kinetic = 0.5 * (0.5 * (s.velocity**2).sum() + 0.5 * R**2 * (s.spin**2).sum())
        stiffness = np.where(contacts.other < 0, 140e3, 70e3)
        return kinetic + 0.5 * G * s.position[:, 1].sum() + 0.5 * (stiffness * contacts.overlap**2).sum()

    lowest = start = energy()
    for _ in range(400):
        engine.advance(10)
        now = energy()
        assert now <= lowest + 0.01 * start
        lowest = min(lowest, now)
    assert lowest < 0.5 * start


@pytest.mark.parametrize("ratio", [0.05, 0.2])
def test_a_set_flat_starts_to_roll_at_the_angle_whose_tangent_is_flat_over_height(ratio):
    # Statics of a body on a flat of width b, centre h/2 above it: it tips where its weight leaves the flat, tan = b/h.
    height = 60.0
    body = Body(0, height, ratio * height, 0.5, 0.5 * 0.5 * 30.0**2, contact=STIFF)
    limit = math.degrees(math.atan(ratio))
    for degrees, rolls in ((0.93 * limit, False), (1.07 * limit, True)):
        engine = on_a_plane(1.5, degrees, step=SHORT)
        engine.add(body, (0.0, height / 2))
        engine.advance(round(1.0 / SHORT))
        moved = engine.state().position[0, 0]
        assert moved > 10.0 if rolls else moved < 0.5


@pytest.mark.parametrize("friction", [0.0, 0.15, 0.6])
def test_two_bodies_rub_with_their_own_friction(friction):
    # Two discs that cannot turn, one dragged past the other's flank without gravity: they exchange momentum along the
    # contact as friction times the momentum across it (Coulomb), with a head-on part of 1 m/s and 0.5 kg. The first
    # 0.2 ms of the impact are looked at, in which the line of centres turns by 0.5 degrees.
    engine = make_engine(Scene((0.0, 0.0), (), friction), Settings(step=FINE))
    for i in (0, 1):
        engine.add(
            Body(i, 2 * R, 0.0, 0.5, 1e12), (0.0, i * (2 * R + 0.01)), velocity=(0.0, 0.0) if i else (3000.0, 1000.0)
        )
    engine.advance(10)
    state, contacts = engine.state(), engine.contacts()
    normal, force = contacts.normal[0], contacts.force[0]
    across, along = force @ normal, force[1] * normal[0] - force[0] * normal[1]
    assert abs(along) == pytest.approx(friction * across, rel=1e-9, abs=1e-9)
    line = (state.position[1] - state.position[0]) / np.hypot(*(state.position[1] - state.position[0]))
    given = 0.5 * state.velocity[1]
    assert given @ line > 10
    turned = np.hypot(*(given - (given @ line) * line)) / (given @ line)
    assert turned == pytest.approx(friction, abs=math.radians(0.5) * (1 + friction))
