"""The scenes on MuJoCo, a general-purpose engine with a solver, contact finding and joints of its own.

It serves as a witness: what both engines say of a scene is not the artefact of one of them. It has the law of contact
of `colsim.physics.contact_law` for round containers of constant stiffness. Discs are spheres held to the
plane, whose section is the disc and whose contacts are closed forms. A line is a box without thickness to speak of, a
convex arc a whole cylinder, a corner a cylinder without radius to speak of, a concave arc a chain of chords. Of these
only what a container faces counts: the line that its centre lies beside, the arc or corner in whose angle it lies.
Else each end of a box beside a dent would press as well, and a corner or a rounded land be several times as stiff.

How its soft constraint becomes a spring and a damper: of a contact with the inverse mass A it solves R f = a' - a for
the force, with the acceleration a that comes of it, the wanted a' = k x - b v and R = A (1 - d)/d. So

    f = K x - c v - m' a,    K = k/R,    c = b/R,    m' = 1/R = (d/(1 - d)) / A,

a spring and a damper beside an added mass, which a small impedance d makes vanish. So does the lift that its convex law
of friction gives to what slides, d/(1 - d) mu m v/h at the speed v and the step h.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

import mujoco
import numba
import numpy as np

from colsim.errors import ScenarioError
from colsim.physics.contact_law import overlap_share
from colsim.physics.engines import (
    ContactRow,
    Contacts,
    DivergedError,
    FloatArray,
    IntArray,
    Settings,
    State,
    run_by_steps,
)
from colsim.physics.monitor import Monitor
from colsim.physics.scene import (
    Arc,
    Body,
    Chain,
    Friction,
    Line,
    Part,
    Piece,
    Point,
    Scene,
    friction_with,
    straightened,
)
from colsim.theory.contact import damping_ratio

__all__ = ["SETTINGS", "MujocoEngine"]

SETTINGS = Settings(step=0.0005, iterations=50, chord_turn=2.0)
"""A step of half a millisecond, at most 50 Newton steps, chords of two degrees (0.02 mm off the arc).

Springs and dampers act explicitly: what hardly bounces takes half the step, and a coarser one is refused.
"""

_REFUSED = "MuJoCo runs round containers of one surface and of constant stiffness here"
_MM = 1e-3  # MuJoCo works in metres: its tolerances are made for that
_THIN, _WIDE = 0.05 * _MM, 0.1  # thickness of a piece, and half its extent across the plane [m]
_SHARP = 1e-3 * _MM  # radius of a corner
_FLUSH = 1e-6  # [rad] of turn between pieces that lie in one line
_IMPEDANCE = 1e-4  # the least that MuJoCo takes
_MOST_DAMPED = 0.75  # share of its speed that the damper of one contact may take in one step; from 1 on stacks shake
_STICKING = 1e-2  # compliance of friction over the inverse mass of a contact: how far it is from stopping in one step
_MOTOR = 0.999  # impedance of the motor's friction
_UNMOVED = 1e6  # [kg m2] of the gear, and of a drum that is held
_GEAR, _DRUM = 0, 1  # their degrees of freedom
# Columns of what tells who faces a piece: place, axis, bounds, and what it is.
_X, _Y, _AXIS_X, _AXIS_Y, _LEAST, _BELOW, _KIND, _ON_DRUM, _REGION = range(9)
_CONTAINER, _STRAIGHT, _ROUND = 0.0, 1.0, 2.0


class MujocoEngine:
    """One scene on MuJoCo; containers must be round, of one surface and of constant stiffness.

    Parameters
    ----------
    scene : Scene
        Walls, frictions, gravity and drum.
    settings : Settings, optional
        Step, most Newton steps, chords.
    """

    def __init__(self, scene: Scene, settings: Settings | None = None) -> None:
        self.settings = settings or SETTINGS
        if len(scene.friction_table) != 1:
            raise ScenarioError(f"{_REFUSED}: give a scenario with one kind")
        self._between = scene.friction_table[0][0]
        self._bodies: dict[int, Body] = {}
        self._sticks = (-1.0, -_IMPEDANCE / self.settings.step)  # friction that stops what slides in one step
        self._parts: dict[str, Part] = {}
        self._faced: dict[str, list[float]] = {}
        self._spec = spec = mujoco.MjSpec()
        option = spec.option
        option.gravity = [scene.gravity[0] * _MM, 0.0, scene.gravity[1] * _MM]
        option.timestep, option.iterations = self.settings.step, self.settings.iterations
        option.cone, option.solver = mujoco.mjtCone.mjCONE_ELLIPTIC, mujoco.mjtSolver.mjSOL_NEWTON
        option.integrator = mujoco.mjtIntegrator.mjINT_EULER
        option.impratio = (1.0 - _IMPEDANCE) / _IMPEDANCE / _STICKING
        option.disableflags |= mujoco.mjtDisableBit.mjDSBL_ISLAND  # they are made before contacts are sifted
        for chain in scene.walls:
            self._add_chain(chain, spec.worldbody, on_drum=False)
        self._turns, self._held = scene.drum is not None, True
        self._moment = math.inf
        if scene.drum is not None:
            self._moment = scene.drum.moment * _MM**2
            # The gear turns at the rate it is told; what exceeds the torque slips between it and the drum.
            gear = self._turning(spec.worldbody, "gear", _UNMOVED)
            drum = self._turning(gear, "drum", self._moment)
            joint = drum.first_joint()
            joint.frictionloss = scene.drum.torque_limit * 1e-6
            joint.solref_friction = [2.0 * self.settings.step, 1.0]  # takes the slip in one step
            joint.solimp_friction = [_MOTOR, _MOTOR, _MM, 0.5, 2.0]
            self._add_chain(scene.drum.outline, drum, on_drum=True)
        self._model = spec.compile()
        self._data = mujoco.MjData(self._model)
        self._tell_masses()
        self.hold()

    @staticmethod
    def _turning(around: mujoco.MjsBody, name: str, moment: float) -> mujoco.MjsBody:
        body = around.add_body(name=name)
        body.mass, body.explicitinertial = 1.0, True
        body.inertia = [moment] * 3
        body.add_joint(name=name, type=mujoco.mjtJoint.mjJNT_HINGE, axis=[0, -1, 0])
        return body

    def _add_chain(self, chain: Chain, body: mujoco.MjsBody, *, on_drum: bool) -> None:
        for piece in chain.pieces:
            if isinstance(piece, Line):
                self._add_line(piece, body, _beside(piece, on_drum))
            elif piece.sweep < 0:
                self._add_round(piece, body, piece.centre, piece.radius * _MM, _within(piece, 0.0, 1.0, on_drum))
            else:
                chords = list(straightened(piece, self.settings.chord_turn))
                for k, chord in enumerate(chords):
                    share, next_share = k / len(chords), (k + 1) / len(chords)
                    self._add_line(chord, body, _within(piece, share, next_share, on_drum))
        joints = [*pairwise(chain.pieces), *([(chain.pieces[-1], chain.pieces[0])] if chain.closed else [])]
        for before, after in joints:
            (ax, ay), (bx, by) = before.direction(1.0), after.direction(0.0)
            turn = math.atan2(ax * by - ay * bx, ax * bx + ay * by)
            if turn < -_FLUSH:  # to the right, away from free space: the corner stands out
                owner = before if isinstance(before, Line) else after
                self._add_corner(owner, body, before.end, math.atan2(ax, -ay) + turn / 2, -turn / 2, on_drum)
        if not chain.closed:
            for end, share, way in ((chain.pieces[0], 0.0, -1.0), (chain.pieces[-1], 1.0, 1.0)):
                dx, dy = end.direction(share)
                point = end.start if share == 0.0 else end.end
                self._add_corner(end, body, point, math.atan2(way * dy, way * dx), math.pi / 2, on_drum)

    def _add_line(self, line: Line, body: mujoco.MjsBody, faced: list[float]) -> None:
        along = line.direction(0.5)
        middle = np.add(line.start, line.end) / 2 * _MM - np.array([-along[1], along[0]]) * _THIN / 2
        half_angle = -math.atan2(along[1], along[0]) / 2  # about y, which points away from the reader
        self._add_piece(
            line,
            body,
            faced,
            type=mujoco.mjtGeom.mjGEOM_BOX,
            pos=[middle[0], 0.0, middle[1]],
            size=[math.dist(line.start, line.end) / 2 * _MM, _WIDE, _THIN / 2],
            quat=[math.cos(half_angle), 0.0, math.sin(half_angle), 0.0],
        )

    def _add_corner(
        self, owner: Piece, body: mujoco.MjsBody, point: Point, middle: float, half: float, on_drum: bool
    ) -> None:
        """Add a corner that is faced within half an angle of its middle [rad]."""
        self._add_round(owner, body, point, _SHARP, _in_angle(point, middle, half, on_drum))

    def _add_round(self, owner: Piece, body: mujoco.MjsBody, centre: Point, radius: float, faced: list[float]) -> None:
        self._add_piece(
            owner,
            body,
            faced,
            type=mujoco.mjtGeom.mjGEOM_CYLINDER,
            pos=[centre[0] * _MM, 0.0, centre[1] * _MM],
            size=[radius, _WIDE, 0.0],
            quat=[math.sqrt(0.5), math.sqrt(0.5), 0.0, 0.0],
        )

    def _add_piece(self, owner: Piece, body: mujoco.MjsBody, faced: list[float], **shape: object) -> None:
        name = f"piece {len(self._parts)}"
        self._parts[name], self._faced[name] = owner.part, faced
        # What has priority gives a contact its friction; containers bring their own only among themselves.
        body.add_geom(name=name, priority=1, contype=1, conaffinity=2, **_surface(owner.friction), **shape)

    @property
    def drum_angle(self) -> float:
        """Angle of the drum [rad], counterclockwise."""
        return float(self._data.qpos[_GEAR] + self._data.qpos[_DRUM]) if self._turns else 0.0

    def add(
        self, body: Body, position: Point, angle: float = 0.0, velocity: Point = (0.0, 0.0), spin: float = 0.0
    ) -> None:
        """Put a body in."""
        if body.flat > 0 or body.contact.length > 0 or body.set_squeeze > 0:
            raise ScenarioError(f"{_REFUSED}: give one without set flats and without gas that stiffens it")
        damped = (
            2.0
            * damping_ratio(body.restitution)
            * math.sqrt(body.contact.constant_stiffness / body.mass)
            * self.settings.step
        )
        if damped > _MOST_DAMPED:
            finer = self.settings.step * _MOST_DAMPED / damped
            raise ScenarioError(
                f"the damper of a contact takes {damped:.2f} of its speed in a step; take {finer:.2g} s"
            )
        name = f"body {body.index}"
        added = self._spec.worldbody.add_body(name=name)
        added.mass, added.explicitinertial = body.mass, True
        added.inertia = [body.moment * _MM**2] * 3
        for axis, kind, direction in (
            ("x", mujoco.mjtJoint.mjJNT_SLIDE, [1, 0, 0]),
            ("y", mujoco.mjtJoint.mjJNT_SLIDE, [0, 0, 1]),
            ("turn", mujoco.mjtJoint.mjJNT_HINGE, [0, -1, 0]),
        ):
            added.add_joint(name=f"{name} {axis}", type=kind, axis=direction)
        sphere = {"type": mujoco.mjtGeom.mjGEOM_SPHERE, "size": [body.height / 2 * _MM, 0, 0]}
        added.add_geom(name=name, contype=3, conaffinity=3, **sphere, **_surface(self._between))
        self._bodies[body.index] = body
        self._compile()
        for axis, place, speed in (
            ("x", position[0] * _MM, velocity[0] * _MM),
            ("y", position[1] * _MM, velocity[1] * _MM),
            ("turn", angle, spin),
        ):
            joint = self._data.joint(f"{name} {axis}")
            joint.qpos[0], joint.qvel[0] = place, speed

    def reshape(self, body: Body) -> None:
        """Refuse: bodies keep their sections here."""
        raise ScenarioError(f"{_REFUSED}: give one without set flats")

    def remove(self, index: int) -> None:
        """Take a body out."""
        self._spec.delete(self._spec.body(f"body {index}"))
        del self._bodies[index]
        self._compile()

    def _compile(self) -> None:
        """Make the model anew, with everything where it was and as fast."""
        armature = self._model.dof_armature[_DRUM] if self._turns else 0.0
        self._model, self._data = self._spec.recompile(self._model, self._data)
        if self._turns:
            self._model.dof_armature[_DRUM] = armature
        self._tell_masses()

    def _tell_masses(self) -> None:
        """Have MuJoCo take 1/m of each container for the inverse mass of a contact, and nothing of walls and drum."""
        model = self._model
        model.body_invweight0[:] = 0.0
        self._regions = np.zeros((model.ngeom, _REGION))
        for name, faced in self._faced.items():
            self._regions[model.geom(name).id] = faced
        self._springs = np.zeros((model.ngeom, 3))
        for index, body in self._bodies.items():
            name = f"body {index}"
            model.body_invweight0[model.body(name).id, 0] = 1.0 / body.mass
            self._springs[model.geom(name).id] = (
                body.contact.constant_stiffness,
                1.0 / body.mass,
                damping_ratio(body.restitution),
            )

    def drive(self, rate: float) -> None:
        """Have the motor turn the drum at this rate [rad/s], as far as its torque allows."""
        if self._turns:
            # The drum does not jump with the gear.
            self._data.qvel[_DRUM] += self._data.qvel[_GEAR] - rate
            self._data.qvel[_GEAR] = rate
            self._model.dof_armature[_DRUM], self._held = 0.0, False

    def hold(self) -> None:
        """Have the gear hold the drum where it is, whatever presses on it, until it is driven again."""
        if self._turns:
            self._data.qvel[: _DRUM + 1] = 0.0
            self._model.dof_armature[_DRUM], self._held = _UNMOVED, True

    def advance(self, steps: int) -> None:
        """Let this many time steps pass.

        Raises
        ------
        DivergedError
            If MuJoCo found an acceleration, speed or place that is not a number or absurd.
        """
        model, data = self._model, self._data
        for _ in range(steps):
            mujoco.mj_step1(model, data)
            if data.ncon:
                self._sift()
                mujoco.mj_makeConstraint(model, data)
                mujoco.mj_projectConstraint(model, data)
                mujoco.mj_referenceConstraint(model, data)
            mujoco.mj_step2(model, data)
        bad = (mujoco.mjtWarning.mjWARN_BADQPOS, mujoco.mjtWarning.mjWARN_BADQVEL, mujoco.mjtWarning.mjWARN_BADQACC)
        if any(data.warning[kind].number for kind in bad):
            raise DivergedError("the simulation diverged: MuJoCo found what is not a number, or absurd")

    def _sift(self) -> None:
        """Drop the contacts with what is not faced, and give the others their springs and dampers."""
        contacts = self._data.contact
        found = _Found(
            contacts.geom,
            contacts.frame,
            contacts.dist,
            contacts.pos,
            contacts.exclude,
            contacts.solref,
            self._data.geom_xpos,
            self._regions,
            self._springs,
        )
        _sift(found, self.drum_angle, 0.0 if self._held else 1.0 / self._moment)
        contacts.solreffriction[:] = self._sticks

    def run(self, monitor: Monitor, checks: int) -> int:
        """Advance until the monitor's wait is over or a container has left, for at most this many checks."""
        return run_by_steps(self, monitor, checks)

    def reaches(self) -> FloatArray:
        """Give the radii, ordered as `state` is [mm]."""
        return np.array([self._bodies[index].reach for index in sorted(self._bodies)])

    def state(self) -> State:
        """Give positions and velocities, ordered by index."""
        index = np.array(sorted(self._bodies), dtype=np.int64)
        first = [int(self._model.joint(f"body {k} x").qposadr[0]) for k in index.tolist()]
        rows = np.array(first, dtype=np.int64)[:, None] + np.arange(3)
        place, speed = self._data.qpos[rows], self._data.qvel[rows]
        return State(index, place[:, :2] / _MM, place[:, 2], speed[:, :2] / _MM, speed[:, 2])

    def contacts(self) -> Contacts:
        """Give the contacts of the last step."""
        return Contacts.of_rows(self._contact_rows())

    def _contact_rows(self) -> list[ContactRow]:
        rows: list[ContactRow] = []
        names = {f"body {index}": index for index in self._bodies}
        local = np.zeros(6)
        for k in range(self._data.ncon):
            contact = self._data.contact[k]
            first, second = (self._model.geom(int(geom)).name for geom in contact.geom)
            if contact.exclude or first not in names or (second not in names and second not in self._parts):
                continue  # not faced, or with a body that has been taken out since
            mujoco.mj_contactForce(self._model, self._data, k, local)
            frame = contact.frame.reshape(3, 3)
            normal, force = frame[0], frame.T @ local[:3]  # from the first into the second
            index, other, sign = names[first], names.get(second, -1), -1.0
            if 0 <= other < index:
                index, other, sign = other, index, 1.0
            turned = (tuple(sign * normal[[0, 2]]), tuple(sign * force[[0, 2]] * 1000.0))
            rows.append(
                (index, other, self._parts.get(second), tuple(contact.pos[[0, 2]] / _MM), *turned, -contact.dist / _MM)
            )
        return rows

    def _dents(self) -> list[tuple[int, float, Point]]:
        """Give the containers that are pressed at the last step, how deep [mm], and the normals."""
        found = self.contacts()
        listed = zip(found.body.tolist(), found.other.tolist(), found.overlap, found.normal, found.force, strict=True)
        dents = []
        for body, other, overlap, normal, force in listed:
            if normal @ force > 0.0:
                share = (
                    1.0
                    if other < 0
                    else overlap_share(
                        self._bodies[body].contact.constant_stiffness, self._bodies[other].contact.constant_stiffness
                    )
                )
                dents.append((body, share * overlap, normal))
                if other >= 0:
                    dents.append((other, (1.0 - share) * overlap, normal))
        return dents

    def dents(self) -> FloatArray:
        """Give how far each is pressed in at the last step, ordered as `state` is, of shape (n, 2, 2) [mm]."""
        order = {index: place for place, index in enumerate(sorted(self._bodies))}
        found = np.zeros((len(order), 2, 2))
        for index, dent, normal in self._dents():
            found[order[index]] += dent * np.outer(normal, normal)
        return found

    def extremes(self) -> tuple[float, float, float]:
        """Give the greatest contact force [mN], the deepest dent of one [mm], and that over its diameter [-]."""
        force = np.hypot(*self.contacts().force.T).max(initial=0.0)
        dents = [(dent, dent / self._bodies[index].height) for index, dent, _ in self._dents()]
        dent, share = np.array([(0.0, 0.0), *dents]).max(axis=0)
        return float(force), float(dent), float(share)


class _Found(NamedTuple):
    """What MuJoCo found to touch, a row each; where its shapes are, and what faces them."""

    geoms: IntArray
    frames: FloatArray
    distances: FloatArray
    points: FloatArray
    excluded: IntArray
    references: FloatArray
    places: FloatArray
    regions: FloatArray
    springs: FloatArray


@numba.njit(cache=True)
def _sift(found: _Found, drum_angle: float, drum_inverse_moment: float) -> None:
    """Exclude the contacts with what is not faced, and write the stiffness and damper of the others.

    MuJoCo takes them over the inverse mass that it was told of the two bodies, in which the drum does not count. The
    damping ratio goes by the whole one.
    """
    geoms, frames, points, springs = found.geoms, found.frames, found.points, found.springs
    cosine, sine = math.cos(drum_angle), math.sin(drum_angle)
    for k in range(len(geoms)):
        stiffness, told, damping = springs[geoms[k, 0]]
        inverse_mass = told
        region = found.regions[geoms[k, 1]]
        if region[_KIND] == _CONTAINER:
            other_stiffness, other_inverse_mass, other_damping = springs[geoms[k, 1]]
            stiffness = stiffness * other_stiffness / (stiffness + other_stiffness)
            inverse_mass = told = told + other_inverse_mass
            damping = (damping + other_damping) / 2.0
        else:
            x, y = found.places[geoms[k, 0], 0], found.places[geoms[k, 0], 2]
            if region[_ON_DRUM] > 0.0:
                x, y = x * cosine + y * sine, y * cosine - x * sine
            x, y = x - region[_X], y - region[_Y]
            along, beside = x * region[_AXIS_X] + y * region[_AXIS_Y], y * region[_AXIS_X] - x * region[_AXIS_Y]
            if region[_KIND] == _ROUND:
                along, beside = along / math.sqrt(x * x + y * y), 1.0
            if not (region[_LEAST] <= along < region[_BELOW] and beside > 0.0):
                found.excluded[k] = 1
                continue
            # What a container lies on is rigid, so they meet on its outline. The normal points into it.
            for i in range(3):
                points[k, i] += found.distances[k] / 2.0 * frames[k, i]
            if region[_ON_DRUM] > 0.0:
                lever = points[k, 0] * frames[k, 2] - points[k, 2] * frames[k, 0]
                inverse_mass += drum_inverse_moment * lever * lever
        damper = 2.0 * damping * math.sqrt(stiffness / inverse_mass)
        found.references[k, 0] = -stiffness * told * (1.0 - _IMPEDANCE)
        found.references[k, 1] = -damper * told * (1.0 - _IMPEDANCE)


def _surface(friction: Friction) -> dict[str, object]:
    return {
        "friction": [max(friction_with(friction, 0), 1e-5), 0.0, 0.0],
        "condim": 3,
        "solimp": [_IMPEDANCE, _IMPEDANCE, _MM, 0.5, 2.0],
    }


def _within(arc: Arc, share: float, next_share: float, on_drum: bool) -> list[float]:
    """Tell what faces a part of an arc: what lies in its angle."""
    middle, half = arc.from_angle + arc.sweep * (share + next_share) / 2, abs(arc.sweep) * (next_share - share) / 2
    return _in_angle(arc.centre, middle, half, on_drum)


def _in_angle(centre: Point, middle: float, half: float, on_drum: bool) -> list[float]:
    """Tell what faces an arc or corner: by the least cosine of the angle to its middle."""
    axis = (math.cos(middle), math.sin(middle))
    return [centre[0] * _MM, centre[1] * _MM, *axis, math.cos(min(half, math.pi)), 2.0, _ROUND, float(on_drum)]


def _beside(line: Line, on_drum: bool) -> list[float]:
    """Tell what faces a line: by how far along it it lies."""
    start, length = line.start, math.dist(line.start, line.end)
    return [start[0] * _MM, start[1] * _MM, *line.direction(0.5), 0.0, length * _MM, _STRAIGHT, float(on_drum)]
