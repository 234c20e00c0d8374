"""The reference engine: pymunk's shapes, contact detection and motion, with explicit forces of the contact law.

pymunk's own contact solver has no effect: the velocities that it leaves are overwritten at every step.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import pymunk
import pymunk.batch

from colsim.physics import pymunk_contacts as arrays
from colsim.physics.contact_law import MIN_STIFFNESS, RIGID_STIFFNESS, TANGENTIAL_RATIO
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
from colsim.physics.pymunk_forces import APPLY_FORCES, ForceSettings
from colsim.physics.scene import Arc, Body, Chain, Line, Part, Piece, Point, Scene, friction_with, straightened
from colsim.theory.contact import damping_ratio

__all__ = ["LONGEST_STEP", "PymunkEngine", "compile_now"]

LONGEST_STEP = 1e-4
"""Longest step with explicit forces [s]."""

_COLLINEAR = 1e-6  # sine of the turn at a joint, below which both pieces count as one line
_ROUNDING = 1e-9  # of the number of substeps
_HUGE_SLOP = 1e9  # [mm] of overlap without position correction by pymunk
_PIECE, _SIDE_WALL, _CONTAINER, _BULGE = 0b1, 0b10, 0b100, 0b1000  # collision categories
_SIDES = (Part.LEFT_WALL, Part.RIGHT_WALL)
_POSES = pymunk.batch.BodyFields.POSITION | pymunk.batch.BodyFields.ANGLE
_VELOCITIES = pymunk.batch.BodyFields.VELOCITY | pymunk.batch.BodyFields.ANGULAR_VELOCITY
_PAIRS = (
    pymunk.batch.ArbiterFields.BODY_A_ID
    | pymunk.batch.ArbiterFields.BODY_B_ID
    | pymunk.batch.ArbiterFields.CONTACT_COUNT
    | pymunk.batch.ArbiterFields.NORMAL
    | pymunk.batch.ArbiterFields.POINT_A_1
    | pymunk.batch.ArbiterFields.POINT_B_1
    | pymunk.batch.ArbiterFields.DISTANCE_1
    | pymunk.batch.ArbiterFields.POINT_A_2
    | pymunk.batch.ArbiterFields.POINT_B_2
    | pymunk.batch.ArbiterFields.DISTANCE_2
)
_GEOMETRY_COLUMNS = 12  # of those fields that are floating-point

_Section = pymunk.Circle | pymunk.Segment | pymunk.Poly


class PymunkEngine:
    """One scene on pymunk; the same calls in the same order give the same result.

    Convex arcs are exact; concave ones are replaced by chords.

    Parameters
    ----------
    scene : Scene
        Walls, frictions, gravity and drum.
    settings : Settings, optional
        Time step, divided into equal substeps of at most ``longest_step``, and angle of chords. Iterations are ignored.
    longest_step : float
        Longest substep [s].
    tangential_ratio : float
        Ratio of tangential to normal stiffness of a contact [-].
    """

    def __init__(
        self,
        scene: Scene,
        settings: Settings | None = None,
        *,
        longest_step: float = LONGEST_STEP,
        tangential_ratio: float = TANGENTIAL_RATIO,
    ) -> None:
        self.settings = settings or Settings()
        self._substeps = max(1, math.ceil(self.settings.step / longest_step - _ROUNDING))
        self._force_settings = ForceSettings(self.settings.step / self._substeps, *scene.gravity, tangential_ratio)
        self._space = space = pymunk.Space()
        space.iterations, space.collision_persistence = 1, 1
        space.collision_slop, space.collision_bias = _HUGE_SLOP, 1.0
        self._bodies: dict[int, tuple[pymunk.Body, list[_Section]]] = {}
        self._index: IntArray = np.empty(0, dtype=np.int64)
        self._bulge_shapes: list[tuple[int, float, _Section]] = []
        self._parts: list[Part] = []
        self._piece_bodies: list[pymunk.Body] = []
        self._drum_bodies: list[pymunk.Body] = []
        rows: list[list[float]] = []
        for chain in scene.walls:
            rows += self._add_chain(chain, on_drum=False)
        drum = np.zeros(2)
        bodies = np.zeros((2, arrays.BODY_COLUMNS))
        bodies[:, [arrays.STIFFNESS, arrays.LAGGED_STIFFNESS]] = RIGID_STIFFNESS
        bodies[:, arrays.DAMPING] = -1.0  # rigid: see `pair_damping`
        self._moment = math.inf
        if scene.drum is not None:
            self._moment = scene.drum.moment
            drum[arrays.TORQUE] = scene.drum.torque_limit
            bodies[-1, arrays.INVERSE_MOMENT] = 1.0 / self._moment
            rows += self._add_chain(scene.drum.outline, on_drum=True)
        table = scene.friction_table
        frictions = [
            [friction_with(piece.friction, k) for k in range(len(table))]
            for chain in (*scene.walls, *([scene.drum.outline] if scene.drum else []))
            for piece in chain.pieces
        ]
        empty = np.zeros(0, dtype=np.int64)
        self._world = arrays.PymunkWorld(
            bodies=bodies,
            pymunk_rows=empty,
            drum_rows=empty,
            ids=np.zeros(0, dtype=np.uint64),
            rows_by_id=empty,
            pieces=np.array(rows, dtype=np.float64).reshape(-1, arrays.PIECE_COLUMNS),
            piece_friction=np.array(frictions, dtype=np.float64).reshape(-1, len(table)),
            body_friction=np.array(table, dtype=np.float64),
            slips=np.zeros((2, 0, len(rows))),
            contacts=np.zeros((2, 0, arrays.CONTACT_COLUMNS)),
            pairs=np.zeros((2, 0, arrays.PAIR_COLUMNS), dtype=np.int64),
            order=empty,
            drum=drum,
            counts=np.zeros(1, dtype=np.int64),
        )
        self._read_bodies, self._read_pairs = pymunk.batch.Buffer(), pymunk.batch.Buffer()
        self._stale = True

    def _add_chain(self, chain: Chain, *, on_drum: bool) -> Iterator[list[float]]:
        """Add the pieces of a chain, each on its own body, whose id identifies its contacts; give their rows."""
        simple = [(k, line) for k, piece in enumerate(chain.pieces) for line in self._simple(piece)]
        for k, piece in enumerate(chain.pieces):
            kind = pymunk.Body.KINEMATIC if on_drum else pymunk.Body.STATIC
            body = pymunk.Body(body_type=kind)
            self._space.add(body)
            self._piece_bodies.append(body)
            self._parts.append(piece.part)
            if on_drum:
                self._drum_bodies.append(body)
            side_wall = isinstance(piece, Line) and piece.part in _SIDES and not on_drum
            category = _SIDE_WALL if side_wall else _PIECE
            for place, (owner, each) in enumerate(simple):
                if owner == k:
                    before = simple[place - 1][1] if place > 0 or chain.closed else None
                    after = simple[(place + 1) % len(simple)][1] if place + 1 < len(simple) or chain.closed else None
                    shape = _piece_shape(body, before, each, after)
                    shape.filter = pymunk.ShapeFilter(categories=category, mask=_CONTAINER | _BULGE)
                    self._space.add(shape)
            row = [0.0, 1.0, 0.0, -1.0, 0.0, float(on_drum)]
            if isinstance(piece, Arc):
                middle, half = piece.from_angle + piece.sweep / 2, min(abs(piece.sweep) / 2, math.pi)
                convex = piece.sweep < 0
                row[:5] = [float(convex), math.cos(middle), math.sin(middle), math.cos(half), float(not convex)]
            yield row

    def _simple(self, piece: Piece) -> Iterator[Piece]:
        if isinstance(piece, Arc) and piece.sweep < 0:
            yield piece
        else:
            yield from straightened(piece, self.settings.chord_turn)

    @property
    def drum_angle(self) -> float:
        """Angle of the drum [rad], counterclockwise."""
        return float(self._world.bodies[-1, arrays.ANGLE])

    def add(
        self, body: Body, position: Point, angle: float = 0.0, velocity: Point = (0.0, 0.0), spin: float = 0.0
    ) -> None:
        """Add a body.

        Parameters
        ----------
        body, position, angle, velocity, spin
            As for `Engine.add`: position [mm], angle [rad], velocity [mm/s], spin [rad/s].
        """
        rigid = pymunk.Body(body.mass, body.moment)
        rigid.position, rigid.angle, rigid.velocity, rigid.angular_velocity = position, angle, velocity, spin
        self._space.add(rigid)
        self._bodies[body.index] = (rigid, [])
        row = np.zeros(arrays.BODY_COLUMNS)
        row[[arrays.X, arrays.Y, arrays.ANGLE, arrays.VX, arrays.VY, arrays.SPIN]] = *position, angle, *velocity, spin
        row[[arrays.INVERSE_MASS, arrays.INVERSE_MOMENT]] = 1.0 / body.mass, 1.0 / body.moment
        row[[arrays.SURFACE, arrays.DAMPING, arrays.LAGGED_STIFFNESS]] = (
            body.surface,
            damping_ratio(body.restitution),
            MIN_STIFFNESS,
        )
        place, world = int(np.searchsorted(self._index, body.index)), self._world
        self._index = np.insert(self._index, place, body.index)
        slips = np.insert(np.insert(world.slips, place, 0.0, axis=1), len(self._parts) + place, 0.0, axis=2)
        self._world = world._replace(bodies=np.insert(world.bodies, place, row, axis=0), slips=slips)
        self._change()
        self.reshape(body)

    def remove(self, index: int) -> None:
        """Remove a body.

        Parameters
        ----------
        index : int
            As for `Engine.remove`.
        """
        rigid, shapes = self._bodies.pop(index)
        self._space.remove(*shapes, rigid)
        place, world = int(np.searchsorted(self._index, index)), self._world
        self._index = np.delete(self._index, place)
        slips = np.delete(np.delete(world.slips, place, axis=1), len(self._parts) + place, axis=2)
        self._world = world._replace(bodies=np.delete(world.bodies, place, axis=0), slips=slips)
        self._change()

    def _change(self) -> None:
        self._world.counts[0] = 0
        self._stale = True

    def reshape(self, body: Body) -> None:
        """Give an added body another section and contact parameters; position, mass and velocity stay.

        Parameters
        ----------
        body : Body
            As for `Engine.reshape`.
        """
        rigid, shapes = self._bodies[body.index]
        self._space.remove(*shapes)
        shapes[:] = [_section(body, rigid)]
        mask = _PIECE | _CONTAINER | (0 if body.bulges else _SIDE_WALL)
        shapes[0].filter = pymunk.ShapeFilter(categories=_CONTAINER, mask=mask)
        if body.bulges:  # the side walls collide with a second outline
            shapes.append(_section(body, rigid))
            shapes[1].filter = pymunk.ShapeFilter(categories=_BULGE, mask=_SIDE_WALL)
        self._space.add(*shapes)
        row = self._world.bodies[int(np.searchsorted(self._index, body.index))]
        row[[arrays.REACH, arrays.FLAT_ANGLE]] = body.reach, body.flat_angle
        row[[arrays.HALF_FLAT, arrays.HALF_SIDE]] = body.flat / 2, body.side / 2
        row[arrays.RADIUS] = body.corner_radius if body.side > 0 else body.height / 2
        row[arrays.CONTACT_PARAMETERS] = body.contact_row
        self._stale = True

    def drive(self, rate: float) -> None:
        """Set the target rate of the motor, which it approaches within its torque limit, and release the drum.

        Parameters
        ----------
        rate : float
            As for `Engine.drive` [rad/s].
        """
        self._world.bodies[-1, arrays.INVERSE_MOMENT] = 1.0 / self._moment
        self._world.drum[arrays.RATE] = rate

    def hold(self) -> None:
        """Lock the drum at its angle, as its self-locking gear does, until `drive` is called."""
        self._world.bodies[-1, [arrays.INVERSE_MOMENT, arrays.SPIN]] = 0.0
        for body in self._drum_bodies:
            body.angular_velocity = 0.0

    def advance(self, steps: int) -> None:
        """Do this many time steps.

        Parameters
        ----------
        steps : int
            How many, each divided into the substeps of this engine.

        Raises
        ------
        DivergedError
            If a speed is NaN or too high.
        """
        if self._stale:
            self._index_bodies()
        space, world, settings = self._space, self._world, self._force_settings
        for _ in range(steps * self._substeps):
            space.step(settings.step)
            poses = _floats(_read(self._read_bodies, pymunk.batch.get_space_bodies, space, _POSES), 3)
            pairs = _read(self._read_pairs, pymunk.batch.get_space_arbiters, space, _PAIRS)
            data = arrays.StepData(poses, _integers(pairs, 3), _floats(pairs, _GEOMETRY_COLUMNS), self._velocities)
            if 2 * len(data.pairs) > len(world.order):
                world = self._world = _with_capacity(world, 4 * len(data.pairs))
            if not APPLY_FORCES(world, data, settings):
                raise DivergedError("the simulation diverged: a speed is NaN or too high")
            pymunk.batch.set_space_bodies(space, _VELOCITIES, self._write_bodies)
            for row, radius, shape in self._bulge_shapes:
                shape.unsafe_set_radius(radius + float(world.bodies[row, arrays.BULGE]))

    def _index_bodies(self) -> None:
        """Find the row and id of each body in pymunk's list, after bodies or shapes have changed."""
        ids = _read(self._read_bodies, pymunk.batch.get_space_bodies, self._space, pymunk.batch.BodyFields.BODY_ID)
        pymunk_row = {body_id: row for row, body_id in enumerate(_integers(ids, 1)[:, 0].tolist())}
        row_by_id = {self._bodies[index][0].id: row for row, index in enumerate(self._index.tolist())}
        row_by_id |= {body.id: -1 - k for k, body in enumerate(self._piece_bodies)}
        self._world = self._world._replace(
            pymunk_rows=np.array([pymunk_row[self._bodies[i][0].id] for i in self._index.tolist()], dtype=np.int64),
            drum_rows=np.array([pymunk_row[body.id] for body in self._drum_bodies], dtype=np.int64),
            ids=np.array(sorted(row_by_id), dtype=np.uint64),
            rows_by_id=np.array([row_by_id[body_id] for body_id in sorted(row_by_id)], dtype=np.int64),
        )
        self._velocities = np.zeros((len(pymunk_row), 3))
        self._write_bodies = pymunk.batch.Buffer()
        self._write_bodies.set_float_buf(self._velocities)
        self._bulge_shapes = []
        for row, index in enumerate(self._index.tolist()):
            shapes = self._bodies[index][1]
            if len(shapes) > 1:
                self._bulge_shapes.append((row, shapes[0].radius, shapes[1]))
        self._stale = False

    def run(self, monitor: Monitor, checks: int) -> int:
        """Advance until the monitor's wait is over or a container has left, for at most this many checks.

        Parameters
        ----------
        monitor, checks
            As for `Engine.run`.

        Returns
        -------
        int
            As `Engine.run`.

        Raises
        ------
        DivergedError
            As `advance`.
        """
        return run_by_steps(self, monitor, checks)

    def reaches(self) -> FloatArray:
        """Give the greatest distance of each outline from its centre, ordered as `state`, of shape (n,) [mm]."""
        return self._world.bodies[:-2, arrays.REACH].copy()

    def state(self) -> State:
        """Give positions and velocities, ordered by index."""
        rows = self._world.bodies[:-2].copy()
        return State(
            self._index,
            rows[:, arrays.X : arrays.Y + 1],
            rows[:, arrays.ANGLE],
            rows[:, arrays.VX : arrays.VY + 1],
            rows[:, arrays.SPIN],
        )

    def contacts(self) -> Contacts:
        """Give the contacts of the last step."""
        return Contacts.of_rows(self._contact_rows())

    def _contact_rows(self) -> Iterator[ContactRow]:
        count, pieces = int(self._world.counts[0]), len(self._parts)
        for contact, (first, _, partner, _) in zip(
            self._world.contacts[0, :count].tolist(), self._world.pairs[0, :count].tolist(), strict=True
        ):
            nx, ny, x, y = contact[: arrays.OVERLAP]
            normal, friction = contact[arrays.NORMAL_FORCE], contact[arrays.FRICTION_FORCE]
            other, part = (-1, self._parts[partner]) if partner < pieces else (int(self._index[partner - pieces]), None)
            force = (nx * normal - ny * friction, ny * normal + nx * friction)
            yield int(self._index[first]), other, part, (x, y), (nx, ny), force, contact[arrays.OVERLAP]

    def dents(self) -> FloatArray:
        """Give the dent tensor of each container at the last step, ordered as `state`, of shape (n, 2, 2) [mm]."""
        tensors = np.zeros((len(self._index) + 2, 2, 2))
        contacts, pairs = self._loaded_contacts()
        normal = contacts[:, [arrays.NX, arrays.NY]]
        # Several points of one pair, such as both ends of a flat, are one dent.
        for side, dent in ((arrays.FIRST, arrays.DENT_A), (arrays.SECOND, arrays.DENT_B)):
            dents = (contacts[:, arrays.WEIGHT] * contacts[:, dent])[:, None, None]
            np.add.at(tensors, pairs[:, side], dents * normal[:, :, None] * normal[:, None, :])
        return tensors[:-2]

    def extremes(self) -> tuple[float, float, float]:
        """Give the greatest contact force [mN], the deepest dent [mm], and the greatest dent over diameter [-]."""
        contacts, pairs = self._loaded_contacts()
        if not len(contacts):
            return 0.0, 0.0, 0.0
        force = float(np.hypot(contacts[:, arrays.NORMAL_FORCE], contacts[:, arrays.FRICTION_FORCE]).max())
        dents = contacts[:, [arrays.DENT_A, arrays.DENT_B]]
        diameter = np.sqrt(self._world.bodies[:, arrays.ROUND_AREA] * 4.0 / math.pi)
        diameter[-2:] = math.inf
        dents[diameter[pairs[:, : arrays.PARTNER]] == math.inf] = 0.0
        return force, float(dents.max()), float((dents / diameter[pairs[:, : arrays.PARTNER]]).max())

    def _loaded_contacts(self) -> tuple[FloatArray, IntArray]:
        """Give the contacts of the last step that bear a force, and their pairs."""
        count = int(self._world.counts[0])
        contacts, pairs = self._world.contacts[0, :count], self._world.pairs[0, :count]
        bears = contacts[:, arrays.NORMAL_FORCE] > 0.0
        return contacts[bears], pairs[bears]


def compile_now() -> None:
    """Compile the forces, or load them from the disk cache."""
    engine = PymunkEngine(Scene((0.0, -1.0), (), 0.0))
    engine.add(Body(0, 1.0, 0.0, 1.0, 1.0), (0.0, 0.0))
    engine.advance(1)


def _read(buffer: pymunk.batch.Buffer, getter: Any, space: pymunk.Space, fields: Any) -> pymunk.batch.Buffer:
    """Have pymunk write fields to a buffer, in place of its content."""
    buffer.clear()
    getter(space, fields, buffer)
    return buffer


def _floats(buffer: pymunk.batch.Buffer, columns: int) -> FloatArray:
    return np.frombuffer(buffer.float_buf(), dtype=np.float64).reshape(-1, columns)


def _integers(buffer: pymunk.batch.Buffer, columns: int) -> npt.NDArray[np.uint64]:
    return np.frombuffer(buffer.int_buf(), dtype=np.uint64).reshape(-1, columns)


def _with_capacity(world: arrays.PymunkWorld, capacity: int) -> arrays.PymunkWorld:
    """Give the world room for more contacts; those of the last step are lost."""
    return world._replace(
        contacts=np.zeros((2, capacity, arrays.CONTACT_COLUMNS)),
        pairs=np.zeros((2, capacity, arrays.PAIR_COLUMNS), dtype=np.int64),
        order=np.zeros(capacity, dtype=np.int64),
    )


def _section(body: Body, rigid: pymunk.Body) -> _Section:
    if body.side > 0:
        return pymunk.Poly(rigid, _corners(body), radius=body.corner_radius)
    if body.flat > 0:
        x, y = body.flat / 2 * math.cos(body.flat_angle), body.flat / 2 * math.sin(body.flat_angle)
        return pymunk.Segment(rigid, (-x, -y), (x, y), body.height / 2)
    return pymunk.Circle(rigid, body.height / 2)


def _corners(body: Body) -> list[Point]:
    """Give the centres of a box's rounded corners in the body's own frame."""
    c, s = math.cos(body.flat_angle), math.sin(body.flat_angle)
    x, y = body.flat / 2, body.side / 2
    return [(c * a - s * b, s * a + c * b) for a, b in ((-x, -y), (x, -y), (x, y), (-x, y))]


def _piece_shape(body: pymunk.Body, before: Piece | None, piece: Piece, after: Piece | None) -> pymunk.Shape:
    """Make a segment, or for a convex arc its whole circle, whose contacts off the arc `pymunk_contacts` drops."""
    if isinstance(piece, Arc):
        return pymunk.Circle(body, piece.radius, piece.centre)
    # Zero thickness, so that no round end protrudes beyond the neighbour.
    segment = pymunk.Segment(body, piece.start, piece.end, 0.0)
    segment.set_neighbors(*_neighbours(before, piece, after))
    return segment


def _neighbours(before: Piece | None, line: Line, after: Piece | None) -> tuple[Point, Point]:
    """Give the two neighbour points by which pymunk rejects contacts at the ends of a segment.

    Each corner belongs to one piece. A line keeps the contacts of a convex corner at its end, and at its start if an
    arc precedes it. A collinear joint belongs to the arc, or to the first of two lines. In a concave corner both pieces
    reject: a body there touches their interiors. A free end rejects nothing.
    """
    (x0, y0), (x1, y1) = line.start, line.end
    reject = (y0 - y1, x1 - x0)  # towards free space: a neighbour there rejects all contacts at that end
    at_start, at_end = (x0 + reject[0], y0 + reject[1]), (x1 + reject[0], y1 + reject[1])
    if before is None:
        at_start = line.start
    elif isinstance(before, Arc) and _turn(before, line) < -_COLLINEAR:
        along = before.direction(1.0)
        at_start = (x0 - along[0], y0 - along[1])
    if after is None:
        at_end = line.end
    elif _turn(line, after) < (-_COLLINEAR if isinstance(after, Arc) else _COLLINEAR):
        along = after.direction(0.0)
        at_end = (x1 + along[0], y1 + along[1])
    return at_start, at_end


def _turn(before: Piece, after: Piece) -> float:
    """Give the sine of the turn to the left from the end of one piece to the start of the next."""
    (ax, ay), (bx, by) = before.direction(1.0), after.direction(0.0)
    return ax * by - ay * bx
