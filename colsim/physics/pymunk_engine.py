"""The rigid-body engine on pymunk."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np
import numpy.typing as npt
import pymunk
import pymunk.batch

from colsim.physics.engines import (
    ContactRow,
    Contacts,
    FloatArray,
    IntArray,
    Settings,
    State,
    in_looks,
    in_slices,
)
from colsim.physics.giving_way import GivingWay, Pace
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
    reach_of,
    straightened,
)
from colsim.physics.watching import Watch

__all__ = ["PymunkEngine"]

# pymunk multiplies the frictions of two shapes; containers must share one factor, which must not be zero.
_LEAST_FACTOR = 1e-6
_STILL, _MOVING = 0b1, 0b10  # categories; each surface of containers has its own, from the second bit up
_SAME_PLACE = 1e-6  # [mm]
_FLUSH = 1e-6  # sine of the turn between pieces that lie in one line
_DRUM_MASS = 1e3  # [kg]; the pivot carries it, only the moment matters
_MOTION = (
    pymunk.batch.BodyFields.POSITION
    | pymunk.batch.BodyFields.ANGLE
    | pymunk.batch.BodyFields.VELOCITY
    | pymunk.batch.BodyFields.ANGULAR_VELOCITY
)
_VIRIAL = (
    pymunk.batch.ArbiterFields.BODY_A_ID
    | pymunk.batch.ArbiterFields.BODY_B_ID
    | pymunk.batch.ArbiterFields.CONTACT_COUNT
    | pymunk.batch.ArbiterFields.TOTAL_IMPULSE
    | pymunk.batch.ArbiterFields.NORMAL
    | pymunk.batch.ArbiterFields.POINT_A_1
    | pymunk.batch.ArbiterFields.POINT_A_2
)
_PRESSING = pymunk.batch.ArbiterFields.TOTAL_IMPULSE | pymunk.batch.ArbiterFields.DISTANCE_1


class PymunkEngine:
    """One scene on pymunk, deterministic for the same calls in the same order.

    Parameters
    ----------
    scene : Scene
        Walls, frictions, gravity and drum.
    settings : Settings, optional
        Step, solver rounds, fineness of arcs.
    """

    def __init__(self, scene: Scene, settings: Settings | None = None) -> None:
        self.settings = settings or Settings()
        self._table = scene.friction_table
        self._factors = [max(math.sqrt(row[k]), _LEAST_FACTOR) for k, row in enumerate(self._table)]
        self._space = space = pymunk.Space()
        space.gravity = scene.gravity
        space.iterations = self.settings.iterations
        space.collision_slop = self.settings.slop
        self._parts: dict[pymunk.Shape, Part] = {}
        self._bodies: dict[int, tuple[pymunk.Body, _Section]] = {}
        self._made: dict[int, Body] = {}
        self._reach: dict[int, float] = {}
        self._grips: dict[int, pymunk.PivotJoint] = {}
        self._index_of_id: dict[int, int] = {}
        self._buffer = pymunk.batch.Buffer()
        self._index: IntArray = np.empty(0, dtype=np.int64)
        self._order: IntArray | None = None
        self._row: dict[int, int] = {}  # of pymunk's own number of a body
        # Collision types: first the containers', one a surface; then all straight pieces; then each convex arc.
        self._straight = len(self._factors)
        self._collision_types = self._straight + 1
        self._tell_mixed_pairs_apart()
        for chain in scene.walls:
            self._add_chain(chain, space.static_body)
        self._drum: pymunk.Body | None = None
        if scene.drum is not None:
            self._drum_moment = scene.drum.moment
            self._drum = pymunk.Body(_DRUM_MASS, scene.drum.moment)
            self._motor = pymunk.SimpleMotor(space.static_body, self._drum, 0.0)
            self._motor.max_force = scene.drum.torque_limit
            pivot = pymunk.PivotJoint(space.static_body, self._drum, (0.0, 0.0))
            space.add(self._drum, pivot, self._motor)
            self._add_chain(scene.drum.outline, self._drum)

    def _tell_mixed_pairs_apart(self) -> None:
        """Give containers of two surfaces their own friction where the product of their factors is not it."""
        for a, b in combinations(range(len(self._factors)), 2):
            friction = self._table[a][b]
            if math.isclose(friction, self._factors[a] * self._factors[b], rel_tol=1e-12):
                continue

            def set_friction(
                arbiter: pymunk.Arbiter, space: pymunk.Space, data: object, friction: float = friction
            ) -> None:
                arbiter.friction = friction

            self._space.on_collision(a, b, pre_solve=set_friction)

    def _add_chain(self, chain: Chain, body: pymunk.Body) -> None:
        pieces = list(self._simple_pieces(chain))
        for k, piece in enumerate(pieces):
            before = pieces[k - 1] if k > 0 or chain.closed else None
            after = pieces[(k + 1) % len(pieces)] if k + 1 < len(pieces) or chain.closed else None
            for factor, surfaces in self._by_factor(piece.friction).items():
                shape: pymunk.Shape
                if isinstance(piece, Arc):
                    shape = self._circle(piece, body, surfaces)
                else:
                    # Without thickness a piece has no round end that could stand proud of its neighbour.
                    shape = pymunk.Segment(body, piece.start, piece.end, 0.0)
                    shape.set_neighbors(*_neighbours(before, piece, after))
                    shape.collision_type = self._straight
                shape.friction = factor
                shape.elasticity = 1.0
                shape.filter = pymunk.ShapeFilter(categories=_STILL, mask=sum(_MOVING << s for s in surfaces))
                self._parts[shape] = piece.part
                self._space.add(shape)

    def _by_factor(self, friction: Friction) -> dict[float, list[int]]:
        """Sort the surfaces by the factor that gives each its friction with a piece: a copy of the piece for each."""
        found: dict[float, list[int]] = {}
        for surface, own in enumerate(self._factors):
            found.setdefault(friction_with(friction, surface) / own, []).append(surface)
        return found

    def _simple_pieces(self, chain: Chain) -> Iterator[Piece]:
        for piece in chain.pieces:
            if isinstance(piece, Arc) and piece.sweep < 0:
                yield piece
            else:
                yield from straightened(piece, self.settings.chord_turn)

    def _circle(self, arc: Arc, body: pymunk.Body, surfaces: Iterable[int]) -> pymunk.Circle:
        """Make a convex arc of a whole circle that refuses what touches it elsewhere than on the arc."""
        circle = pymunk.Circle(body, arc.radius, arc.centre)
        circle.collision_type = self._collision_types
        self._collision_types += 1
        middle, half = arc.from_angle + arc.sweep / 2, -arc.sweep / 2

        def keep_what_touches_the_arc(arbiter: pymunk.Arbiter, space: pymunk.Space, data: object) -> None:
            normal = arbiter.normal
            off = math.remainder(math.atan2(normal.y, normal.x) - body.angle - middle, 2 * math.pi)
            arbiter.process_collision = abs(off) <= half

        for surface in surfaces:
            self._space.on_collision(circle.collision_type, surface, pre_solve=keep_what_touches_the_arc)
        return circle

    @property
    def drum_angle(self) -> float:
        """Angle of the drum [rad], counterclockwise."""
        return float(self._drum.angle) if self._drum is not None else 0.0

    def add(
        self, body: Body, position: Point, angle: float = 0.0, velocity: Point = (0.0, 0.0), spin: float = 0.0
    ) -> None:
        """Put a body in."""
        rigid = pymunk.Body(body.mass, body.moment)
        rigid.position, rigid.angle, rigid.velocity, rigid.angular_velocity = position, angle, velocity, spin
        shape = self._shape(body, rigid)
        self._space.add(rigid, shape)
        self._bodies[body.index], self._made[body.index] = (rigid, shape), body
        self._reach[body.index] = body.reach
        self._index_of_id[rigid.id] = body.index
        self._order = None

    def _shape(self, body: Body, rigid: pymunk.Body) -> _Section:
        shape: _Section
        if body.side > 0:
            shape = pymunk.Poly(rigid, _corners(body), radius=body.corner_radius)
        elif body.flat > 0:
            shape = pymunk.Segment(rigid, *_ends(body.flat, body.flat_angle), body.height / 2)
        else:
            shape = pymunk.Circle(rigid, body.height / 2)
        shape.friction = self._factors[body.surface]
        shape.elasticity = body.restitution
        shape.filter = pymunk.ShapeFilter(categories=_MOVING << body.surface)
        shape.collision_type = body.surface
        return shape

    def reshape(self, index: IntArray, sections: FloatArray) -> None:
        """Give bodies that are in other sections: height, flat, side, angle of the flat; all else stays as it was."""
        for number, (height, flat, side, flat_angle) in zip(index.tolist(), sections.tolist(), strict=True):
            rigid, shape = self._bodies[number]
            self._reach[number] = reach_of(height, flat, side)
            ends = (shape.a, shape.b) if isinstance(shape, pymunk.Segment) else None
            box = side > 0 or isinstance(shape, pymunk.Poly)
            if not box and _same_ends(ends, _ends(flat, flat_angle) if flat > 0 else None):
                shape.unsafe_set_radius(height / 2)
            else:
                # Not unsafe_set_endpoints: it turns a segment's normal to the wrong side, and the body sinks in 4 mm.
                body = replace(self._made[number], height=height, flat=flat, side=side, flat_angle=flat_angle)
                other = self._shape(body, rigid)
                self._space.remove(shape)
                self._space.add(other)
                self._bodies[number] = (rigid, other)

    def grip(self, index: int, limit: float) -> None:
        """Hold a body back by at most a force [mN], whichever way it moves; 0 lets go."""
        joint = self._grips.get(index)
        if joint is None and limit > 0.0:
            rigid = self._bodies[index][0]
            joint = self._grips[index] = pymunk.PivotJoint(self._space.static_body, rigid, rigid.position)
            joint.error_bias = 1.0  # it does not pull back to where it began
            self._space.add(joint)
        if joint is not None:
            joint.max_force = limit
            if limit <= 0.0:
                self._space.remove(self._grips.pop(index))

    def remove(self, index: int) -> None:
        """Take a body out."""
        self.grip(index, 0.0)
        rigid, shape = self._bodies.pop(index)
        del self._made[index], self._reach[index]
        del self._index_of_id[rigid.id]
        self._space.remove(shape, rigid)
        self._order = None

    def drive(self, rate: float) -> None:
        """Have the motor turn the drum at this rate [rad/s], as far as its torque allows."""
        if self._drum is not None:
            self._drum.moment = self._drum_moment
            self._motor.rate = -rate

    def hold(self) -> None:
        """Have the gear hold the drum where it is, whatever presses on it, until it is driven again."""
        # A motor at rate 0 would not do: letting bodies out of overlap turns the drum past it, step by step.
        if self._drum is not None:
            self._drum.moment = math.inf
            self._drum.angular_velocity = 0.0
            self._motor.rate = 0.0

    def advance(self, steps: int) -> None:
        """Let this many time steps pass."""
        step, dt = self._space.step, self.settings.step
        for _ in range(steps):
            step(dt)

    def advance_giving_way(self, steps: int, soft: GivingWay, pace: Pace) -> None:
        """Let this many time steps pass, with soft sections following what presses on them after every slice."""
        in_slices(self, steps, soft, pace)

    def look_on(self, watch: Watch, soft: GivingWay, pace: Pace, looks: int) -> int:
        """Let time pass until what is watched for has come, a container has left, or there were so many looks."""
        return in_looks(self, watch, soft, pace, looks)

    def reaches(self) -> FloatArray:
        """Give how far each outline goes from its centre now, ordered as `state` is, of shape (n,) [mm]."""
        return np.array([self._reach[index] for index in sorted(self._reach)])

    def state(self) -> State:
        """Give positions and velocities, ordered by index."""
        if self._order is None:
            self._index, self._order = self._find_order()
        values = self._read(_MOTION, self._buffer)[self._order]
        return State(self._index, values[:, 0:2], values[:, 2], values[:, 3:5], values[:, 5])

    def _read(self, fields: pymunk.batch.BodyFields, buffer: pymunk.batch.Buffer) -> FloatArray:
        buffer.clear()
        pymunk.batch.get_space_bodies(self._space, fields, buffer)
        return np.frombuffer(buffer.float_buf(), dtype=np.float64).reshape(-1, 6)

    def _find_order(self) -> tuple[IntArray, IntArray]:
        """Give the indices in order, and the row of each in pymunk's own order, which lasts till the next change."""
        buffer = pymunk.batch.Buffer()
        self._read(_MOTION | pymunk.batch.BodyFields.BODY_ID, buffer)
        ids = memoryview(buffer.int_buf()).cast("P").tolist()
        rows = sorted((self._index_of_id[i], row) for row, i in enumerate(ids) if i in self._index_of_id)
        found = np.array(rows, dtype=np.int64).reshape(-1, 2)
        place = {index: k for k, index in enumerate(found[:, 0].tolist())}
        self._row = {i: place[self._index_of_id[i]] for i in ids if i in self._index_of_id}
        return found[:, 0], found[:, 1]

    def contacts(self) -> Contacts:
        """Give the contacts of the last step."""
        rows: list[ContactRow] = []
        for index, (rigid, _) in sorted(self._bodies.items()):
            rigid.each_arbiter(self._collect, index, rows)
        return Contacts.of_rows(rows)

    def virials(self) -> FloatArray:
        """Give what presses on each body at the last step, ordered as `state` is, of shape (n, 2, 2) [mN mm]."""
        return self._mean_virials([self._pressing()])

    def advance_loaded(self, steps: int) -> FloatArray:
        """Let this many time steps pass; give the mean over them of what `virials` gives."""
        seen = []
        for _ in range(steps):
            self.advance(1)
            seen.append(self._pressing())
        return self._mean_virials(seen)

    def _pressing(self) -> tuple[FloatArray, npt.NDArray[np.uintp], FloatArray]:
        """Read the contacts of the last step, and where the bodies are."""
        position = self.state().position
        self._buffer.clear()
        pymunk.batch.get_space_arbiters(self._space, _VIRIAL, self._buffer)
        rows = np.frombuffer(self._buffer.float_buf(), dtype=np.float64).reshape(-1, 8).copy()
        return rows, np.frombuffer(self._buffer.int_buf(), dtype=np.uintp).reshape(-1, 3).copy(), position

    def _mean_virials(self, seen: list[tuple[FloatArray, npt.NDArray[np.uintp], FloatArray]]) -> FloatArray:
        """Give the mean virial on each body over several steps."""
        count = len(seen[0][2])
        rows, whole = (np.concatenate([each[k] for each in seen]) for k in (0, 1))
        step = np.repeat(np.arange(len(seen)), [len(each[0]) for each in seen])
        # pymunk lists them by where they lie in memory: sums must not depend on that.
        order = np.lexsort((*rows[:, :6].T, step))
        rows, whole, step = rows[order], whole[order], step[order]
        position = np.concatenate([each[2] for each in seen])
        impulse, normal = rows[:, 0:2], rows[:, 2:4]
        # Where they touch in two points the force stands at their middle; the second is not a number else.
        middle = np.where((whole[:, 2] == 2)[:, None], (rows[:, 4:6] + rows[:, 6:8]) / 2, rows[:, 4:6])
        inward = -np.sign((impulse * normal).sum(axis=1))  # the normal points from the first body into the second
        force = inward[:, None] * impulse / self.settings.step
        found = np.zeros((count, 2, 2))
        for side, sign in ((0, 1.0), (1, -1.0)):
            at = np.array([self._row.get(i, -1) for i in whole[:, side].tolist()], dtype=np.int64)
            ours = at >= 0
            lever = middle[ours] - position[count * step[ours] + at[ours]]
            pair = np.einsum("ki,kj->kij", sign * force[ours], lever)
            np.subtract.at(found, at[ours], (pair + pair.transpose(0, 2, 1)) / 2)
        return found / len(seen)

    def extremes(self) -> tuple[float, float]:
        """Give the greatest contact force [mN] and the greatest overlap of what presses [mm] of the last step."""
        self._buffer.clear()
        pymunk.batch.get_space_arbiters(self._space, _PRESSING, self._buffer)
        rows = np.frombuffer(self._buffer.float_buf(), dtype=np.float64).reshape(-1, 3)
        if not len(rows):
            return 0.0, 0.0
        squared = np.einsum("ij,ij->i", rows[:, :2], rows[:, :2])
        pressing = rows[squared > 0.0, 2]  # a contact that is refused off its arc has no impulse
        return math.sqrt(squared.max()) / self.settings.step, max(0.0, -float(pressing.min(initial=0.0)))

    def _collect(
        self,
        arbiter: pymunk.Arbiter,
        index: int,
        rows: list[ContactRow],
    ) -> None:
        first, second = arbiter.shapes
        mine = self._bodies[index][1]
        other = second if first is mine else first
        other_index = self._index_of_id.get(other.body.id, -1) if other.body is not None else -1
        if 0 <= other_index < index:
            return
        points = arbiter.contact_point_set.points
        if not points:
            return
        position = self._bodies[index][0].position
        normal, impulse = arbiter.normal, arbiter.total_impulse
        middles = [(p.point_a + p.point_b) / 2 for p in points]
        if normal.dot(position - middles[0]) < 0:
            normal = -normal
        if normal.dot(impulse) < 0:
            impulse = -impulse
        force: Point = (impulse.x / self.settings.step, impulse.y / self.settings.step)
        part, inward = self._parts.get(other), (normal.x, normal.y)
        for point, middle in zip(points, middles, strict=True):
            rows.append((index, other_index, part, (middle.x, middle.y), inward, force, -point.distance))
            force = (math.nan, math.nan)


_Section = pymunk.Circle | pymunk.Segment | pymunk.Poly


def _corners(body: Body) -> list[Point]:
    """Give the centres of a box's rounded corners in the body's own frame."""
    c, s = math.cos(body.flat_angle), math.sin(body.flat_angle)
    x, y = body.flat / 2, body.side / 2
    return [(c * a - s * b, s * a + c * b) for a, b in ((-x, -y), (x, -y), (x, y), (-x, y))]


def _ends(flat: float, angle: float) -> tuple[Point, Point]:
    """Give the ends of a stadium's middle line in the body's own frame."""
    x, y = flat / 2 * math.cos(angle), flat / 2 * math.sin(angle)
    return (-x, -y), (x, y)


def _same_ends(one: tuple[Point, Point] | None, other: tuple[Point, Point] | None) -> bool:
    """Tell whether two middle lines are the same; a disc has none."""
    if one is None or other is None:
        return one is other
    return all(math.dist(a, b) <= _SAME_PLACE for a, b in zip(one, other, strict=True))


def _neighbours(before: Piece | None, line: Line, after: Piece | None) -> tuple[Point, Point]:
    """Give pymunk the two points by which it refuses contacts at the ends of a segment.

    Each corner belongs to one piece. A line keeps the contacts in the wedge of a convex corner at its end, and at its
    start where an arc comes before; a flush corner belongs to the arc, or to the first of two lines. In a concave
    corner both refuse: what touches there touches the pieces' insides. A loose end refuses nothing.
    """
    (x0, y0), (x1, y1) = line.start, line.end
    refuse = (y0 - y1, x1 - x0)  # towards free space: a neighbour there has every contact at that end refused
    at_start, at_end = (x0 + refuse[0], y0 + refuse[1]), (x1 + refuse[0], y1 + refuse[1])
    if before is None:
        at_start = line.start
    elif isinstance(before, Arc) and _turn(before, line) < -_FLUSH:
        along = before.direction(1.0)
        at_start = (x0 - along[0], y0 - along[1])
    if after is None:
        at_end = line.end
    elif _turn(line, after) < (-_FLUSH if isinstance(after, Arc) else _FLUSH):
        along = after.direction(0.0)
        at_end = (x1 + along[0], y1 + along[1])
    return at_start, at_end


def _turn(before: Piece, after: Piece) -> float:
    """Give the sine of the turn to the left from the end of one piece to the start of the next."""
    (ax, ay), (bx, by) = before.direction(1.0), after.direction(0.0)
    return ax * by - ay * bx
