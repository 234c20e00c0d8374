"""The scenes on MuJoCo, a general-purpose engine with other contacts, another solver and other joints than pymunk's.

It serves as a witness: what both engines say of a scene is not the artefact of one of them. Discs are spheres held to
the plane, whose section is the disc and whose contacts are closed forms. A piece is a box without thickness to speak
of, a convex arc a whole cylinder that lies behind what follows it; only the drum's lands, beside which the pockets are
open, are cut into chords. So no joint of the other engine is used here.
"""

from __future__ import annotations

import math

import mujoco
import numpy as np

from colsim.errors import ScenarioError
from colsim.physics.engines import Contacts, FloatArray, IntArray, Settings, State, in_looks, in_slices
from colsim.physics.giving_way import GivingWay, Pace
from colsim.physics.scene import Arc, Body, Chain, Friction, Line, Part, Point, Scene, friction_with, straightened
from colsim.physics.watching import Watch

__all__ = ["SETTINGS", "MujocoEngine"]

SETTINGS = Settings(step=0.00025, iterations=50, chord_turn=2.0)
"""A step of a quarter of a millisecond, at most 50 Newton steps, chords of two degrees (0.02 mm off the arc)."""

_RIGID_ONLY = "MuJoCo runs rigid containers here: give one without a soft wall"
_MM = 1e-3  # MuJoCo works in metres: its tolerances are made for that
_THIN, _WIDE = 0.05 * _MM, 0.1  # thickness of a piece, and half its extent across the plane [m]
# Time constant of a contact in steps, the least that is stable, and its damping ratio. Critical damping throws a disc
# back at up to a fifth of its speed, so that fewer stacks come to rest in an arch; four times that hardly does.
_STIFF = (2.0, 4.0)
# Share of a contact's wanted acceleration that it gets, at first touch and from 0.2 mm deep on: more at once is noise
# in a stack at rest; less lets a container be pressed through a nip that should hold the drum up.
_IMPEDANCE = (0.95, 0.999, 0.0002, 0.5, 2.0)
_FRICTION_STIFFER = 20.0  # than normals, so that a held stack hardly creeps
_ROLLING = 0.1 * _MM  # lever of the weight that resists rolling: what a contact throws back would roll without end
_UNMOVED = 1e6  # [kg m2] of the gear, and of a drum that is held
_GEAR, _DRUM = 0, 1  # their degrees of freedom


class MujocoEngine:
    """One scene on MuJoCo; containers must be round, of one surface, and must not bounce.

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
            raise ScenarioError("MuJoCo runs one kind of container here: give a scenario with one")
        self._between = scene.friction_table[0][0]
        self._gravity = math.hypot(*scene.gravity) * _MM
        self._bodies: dict[int, Body] = {}
        self._parts: dict[str, Part] = {}
        self._spec = spec = mujoco.MjSpec()
        option = spec.option
        option.gravity = [scene.gravity[0] * _MM, 0.0, scene.gravity[1] * _MM]
        option.timestep, option.iterations = self.settings.step, self.settings.iterations
        option.cone, option.solver = mujoco.mjtCone.mjCONE_ELLIPTIC, mujoco.mjtSolver.mjSOL_NEWTON
        option.integrator = mujoco.mjtIntegrator.mjINT_EULER
        option.impratio = _FRICTION_STIFFER
        for chain in scene.walls:
            self._add_chain(chain, spec.worldbody)
        self._turns = scene.drum is not None
        if scene.drum is not None:
            # The gear turns at the rate it is told; what exceeds the torque slips between it and the drum.
            gear = self._turning(spec.worldbody, "gear", _UNMOVED / _MM**2)
            drum = self._turning(gear, "drum", scene.drum.moment)
            self._resist(drum.first_joint(), scene.drum.torque_limit * 1e-6)
            self._add_chain(scene.drum.outline, drum)
        self._model = spec.compile()
        self._data = mujoco.MjData(self._model)
        self.hold()

    @staticmethod
    def _turning(around: mujoco.MjsBody, name: str, moment: float) -> mujoco.MjsBody:
        body = around.add_body(name=name)
        body.mass, body.explicitinertial = 1.0, True
        body.inertia = [moment * _MM**2] * 3
        body.add_joint(name=name, type=mujoco.mjtJoint.mjJNT_HINGE, axis=[0, -1, 0])
        return body

    def _resist(self, joint: mujoco.MjsJoint, torque: float) -> None:
        """Have a hinge resist turning by up to a torque [N m]."""
        joint.frictionloss = torque
        joint.solref_friction, joint.solimp_friction = self._surface(0.0)["solref"], list(_IMPEDANCE)

    def _add_chain(self, chain: Chain, body: mujoco.MjsBody) -> None:
        for piece in chain.pieces:
            if isinstance(piece, Arc) and piece.sweep < 0 and piece.part is not Part.LAND:
                self._add_piece(
                    body,
                    piece.part,
                    piece.friction,
                    type=mujoco.mjtGeom.mjGEOM_CYLINDER,
                    pos=[piece.centre[0] * _MM, 0.0, piece.centre[1] * _MM],
                    size=[piece.radius * _MM, _WIDE, 0.0],
                    quat=[math.sqrt(0.5), math.sqrt(0.5), 0.0, 0.0],
                )
                continue
            for line in straightened(piece, self.settings.chord_turn):
                self._add_line(line, body)

    def _add_line(self, line: Line, body: mujoco.MjsBody) -> None:
        along = line.direction(0.5)
        middle = np.add(line.start, line.end) / 2 * _MM - np.array([-along[1], along[0]]) * _THIN / 2
        half_angle = -math.atan2(along[1], along[0]) / 2  # about y, which points away from the reader
        self._add_piece(
            body,
            line.part,
            line.friction,
            type=mujoco.mjtGeom.mjGEOM_BOX,
            pos=[middle[0], 0.0, middle[1]],
            size=[math.dist(line.start, line.end) / 2 * _MM, _WIDE, _THIN / 2],
            quat=[math.cos(half_angle), 0.0, math.sin(half_angle), 0.0],
        )

    def _add_piece(self, body: mujoco.MjsBody, part: Part, friction: Friction, **shape: object) -> None:
        name = f"piece {len(self._parts)}"
        self._parts[name] = part
        value = friction_with(friction, 0)
        # What has priority gives a contact its friction; containers bring their own only among themselves.
        body.add_geom(name=name, priority=1, contype=1, conaffinity=2, **self._surface(value), **shape)

    def _surface(self, friction: float) -> dict[str, object]:
        time_constant, damping = _STIFF
        return {
            "friction": [max(friction, 1e-5), 0.0, 0.0],
            "condim": 3,
            "solref": [time_constant * self.settings.step, damping],
            "solimp": list(_IMPEDANCE),
        }

    @property
    def drum_angle(self) -> float:
        """Angle of the drum [rad], counterclockwise."""
        return float(self._data.qpos[_GEAR] + self._data.qpos[_DRUM]) if self._turns else 0.0

    def add(
        self, body: Body, position: Point, angle: float = 0.0, velocity: Point = (0.0, 0.0), spin: float = 0.0
    ) -> None:
        """Put a body in."""
        if body.flat > 0 or body.restitution > 0:
            raise ScenarioError("MuJoCo runs round containers that do not bounce here: set_flat 0, restitution 0")
        name = f"body {body.index}"
        added = self._spec.worldbody.add_body(name=name)
        added.mass, added.explicitinertial = body.mass, True
        added.inertia = [body.moment * _MM**2] * 3
        for axis, kind, direction in (
            ("x", mujoco.mjtJoint.mjJNT_SLIDE, [1, 0, 0]),
            ("y", mujoco.mjtJoint.mjJNT_SLIDE, [0, 0, 1]),
            ("turn", mujoco.mjtJoint.mjJNT_HINGE, [0, -1, 0]),
        ):
            joint = added.add_joint(name=f"{name} {axis}", type=kind, axis=direction)
            if axis == "turn":
                self._resist(joint, body.mass * self._gravity * _ROLLING)
        radius = body.height / 2 * _MM
        sphere = {"type": mujoco.mjtGeom.mjGEOM_SPHERE, "size": [radius, 0, 0], **self._surface(self._between)}
        added.add_geom(name=name, contype=3, conaffinity=3, **sphere)
        self._bodies[body.index] = body
        self._compile()
        for axis, place, speed in (
            ("x", position[0] * _MM, velocity[0] * _MM),
            ("y", position[1] * _MM, velocity[1] * _MM),
            ("turn", angle, spin),
        ):
            joint = self._data.joint(f"{name} {axis}")
            joint.qpos[0], joint.qvel[0] = place, speed

    def reshape(self, index: IntArray, sections: FloatArray) -> None:
        """Refuse: bodies keep their shapes here."""
        raise ScenarioError(_RIGID_ONLY)

    def advance_loaded(self, steps: int) -> FloatArray:
        """Refuse: bodies keep their shapes here."""
        raise ScenarioError(_RIGID_ONLY)

    def advance_giving_way(self, steps: int, soft: GivingWay, pace: Pace) -> None:
        """Let this many time steps pass; no soft sections here."""
        in_slices(self, steps, soft, pace)

    def look_on(self, watch: Watch, soft: GivingWay, pace: Pace, looks: int) -> int:
        """Let time pass until what is watched for has come, a container has left, or there were so many looks."""
        return in_looks(self, watch, soft, pace, looks)

    def reaches(self) -> FloatArray:
        """Give the radii, ordered as `state` is [mm]."""
        return np.array([self._bodies[index].reach for index in sorted(self._bodies)])

    def grip(self, index: int, limit: float) -> None:
        """Refuse: only a soft wall presses on both sides."""
        raise ScenarioError(_RIGID_ONLY)

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

    def drive(self, rate: float) -> None:
        """Have the motor turn the drum at this rate [rad/s], as far as its torque allows."""
        if self._turns:
            # The drum does not jump with the gear.
            self._data.qvel[_DRUM] += self._data.qvel[_GEAR] - rate
            self._data.qvel[_GEAR] = rate
            self._model.dof_armature[_DRUM] = 0.0

    def hold(self) -> None:
        """Have the gear hold the drum where it is, whatever presses on it, until it is driven again."""
        if self._turns:
            self._data.qvel[: _DRUM + 1] = 0.0
            self._model.dof_armature[_DRUM] = _UNMOVED

    def advance(self, steps: int) -> None:
        """Let this many time steps pass."""
        mujoco.mj_step(self._model, self._data, nstep=steps)

    def state(self) -> State:
        """Give positions and velocities, ordered by index."""
        index = np.array(sorted(self._bodies), dtype=np.int64)
        first = [int(self._model.joint(f"body {k} x").qposadr[0]) for k in index.tolist()]
        rows = np.array(first, dtype=np.int64)[:, None] + np.arange(3)
        place, speed = self._data.qpos[rows], self._data.qvel[rows]
        return State(index, place[:, :2] / _MM, place[:, 2], speed[:, :2] / _MM, speed[:, 2])

    def contacts(self) -> Contacts:
        """Give the contacts of the last step."""
        rows = []
        names = {f"body {index}": index for index in self._bodies}
        local = np.zeros(6)
        for k in range(self._data.ncon):
            contact = self._data.contact[k]
            first, second = (self._model.geom(int(geom)).name for geom in contact.geom)
            mujoco.mj_contactForce(self._model, self._data, k, local)
            frame = contact.frame.reshape(3, 3)
            normal, force = frame[0], frame.T @ local[:3]  # from the first into the second
            one, two = names.get(first, -1), names.get(second, -1)
            if two < 0 or 0 <= one < two:
                index, other, sign, part = one, two, -1.0, self._parts.get(second)
            else:
                index, other, sign, part = two, one, 1.0, self._parts.get(first)
            if index < 0:
                continue
            turned = (sign * normal[[0, 2]], sign * force[[0, 2]] * 1000.0)
            rows.append((index, other, part, tuple(contact.pos[[0, 2]] / _MM), *turned, -contact.dist / _MM))
        return Contacts.of_rows(rows)

    def extremes(self) -> tuple[float, float]:
        """Give the greatest contact force [mN] and the greatest overlap of what presses [mm] of the last step."""
        found = self.contacts()
        if not len(found.body):
            return 0.0, 0.0
        return float(np.hypot(*found.force.T).max()), max(0.0, float(found.overlap.max()))
