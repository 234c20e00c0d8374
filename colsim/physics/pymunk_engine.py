"""The reference engine: pymunk's shapes, contacts and motion, with the law of contact laid on explicitly.

pymunk finds what touches and moves everything by the speeds that it is told. Its own contact forces are left out: what
its solver makes of the speeds is written over at every step.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import pymunk
import pymunk.batch

from colsim.physics import pymunk_contacts as of
from colsim.physics.contact_law import LEAST_STIFFNESS, RIGID, TANGENTIAL_SHARE
from colsim.physics.engines import (
    ContactRow,
    Contacts,
    DivergedError,
    FloatArray,
    IntArray,
    Settings,
    State,
    in_looks,
)
from colsim.physics.pymunk_forces import LAY_ON, Acting
from colsim.physics.scene import Arc, Body, Chain, Line, Part, Piece, Point, Scene, friction_with, straightened
from colsim.physics.watching import Watch
from colsim.theory.contact import damping_ratio

__all__ = ["LONGEST_STEP", "PymunkEngine"]

LONGEST_STEP = 1e-4
"""Step that explicit forces take at most [s]."""

_FLUSH = 1e-6  # sine of the turn between pieces that lie in one line
_LEEWAY = 1e-9  # share of a step by which the settings' one may exceed a whole number of ours
_NO_BIAS = 1e9  # [mm] of overlap that pymunk leaves as it is
_PIECE, _SIDE_WALL, _CONTAINER, _BULGE = 0b1, 0b10, 0b100, 0b1000  # categories
_SIDES = (Part.LEFT_WALL, Part.RIGHT_WALL)
_PLACES = pymunk.batch.BodyFields.POSITION | pymunk.batch.BodyFields.ANGLE
_SPEEDS = pymunk.batch.BodyFields.VELOCITY | pymunk.batch.BodyFields.ANGULAR_VELOCITY
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
_PAIR_NUMBERS = 12  # of those fields that are not whole

_Section = pymunk.Circle | pymunk.Segment | pymunk.Poly


class PymunkEngine:
    """One scene on pymunk, deterministic for the same calls in the same order.

    Convex arcs stay arcs; chords stand for concave ones.

    Parameters
    ----------
    scene : Scene
        Walls, frictions, gravity and drum.
    settings : Settings, optional
        Step and fineness of chords. Each step is cut into equal ones that are short enough; rounds do not matter.
    longest_step : float
        Step that is short enough [s].
    tangential_share : float
        Stiffness of the tangential spring of a contact over that of the normal one [-].
    """

    def __init__(
        self,
        scene: Scene,
        settings: Settings | None = None,
        *,
        longest_step: float = LONGEST_STEP,
        tangential_share: float = TANGENTIAL_SHARE,
    ) -> None:
        self.settings = settings or Settings()
        self._substeps = max(1, math.ceil(self.settings.step / longest_step - _LEEWAY))
        self._acting = Acting(self.settings.step / self._substeps, *scene.gravity, tangential_share)
        self._space = space = pymunk.Space()
        space.iterations, space.collision_persistence = 1, 1
        space.collision_slop, space.collision_bias = _NO_BIAS, 1.0
        self._bodies: dict[int, tuple[pymunk.Body, list[_Section]]] = {}
        self._index: IntArray = np.empty(0, dtype=np.int64)
        self._swelling: list[tuple[int, float, _Section]] = []
        self._parts: list[Part] = []
        self._piece_bodies: list[pymunk.Body] = []
        self._drum_bodies: list[pymunk.Body] = []
        rows: list[list[float]] = []
        for chain in scene.walls:
            rows += self._add_chain(chain, on_drum=False)
        drum = np.zeros(2)
        bodies = np.zeros((2, of.BODY_COLUMNS))
        bodies[:, [of.STIFFNESS, of.SHARING]] = RIGID
        self._moment = math.inf
        if scene.drum is not None:
            self._moment = scene.drum.moment
            drum[of.TORQUE] = scene.drum.torque_limit
            bodies[-1, of.INVERSE_MOMENT] = 1.0 / self._moment
            rows += self._add_chain(scene.drum.outline, on_drum=True)
        table = scene.friction_table
        frictions = [
            [friction_with(piece.friction, k) for k in range(len(table))]
            for chain in (*scene.walls, *([scene.drum.outline] if scene.drum else []))
            for piece in chain.pieces
        ]
        whole = np.zeros(0, dtype=np.int64)
        self._loaded = of.Loaded(
            bodies=bodies,
            places=whole,
            turning=whole,
            ids=np.zeros(0, dtype=np.uint64),
            meant=whole,
            pieces=np.array(rows, dtype=np.float64).reshape(-1, of.PIECE_COLUMNS),
            friction=np.array(frictions, dtype=np.float64).reshape(-1, len(table)),
            between=np.array(table, dtype=np.float64),
            slips=np.zeros((2, 0, len(rows))),
            contacts=np.zeros((2, 0, of.CONTACT_COLUMNS)),
            pairs=np.zeros((2, 0, of.PAIR_COLUMNS), dtype=np.int64),
            order=whole,
            drum=drum,
            counts=np.zeros(1, dtype=np.int64),
        )
        self._read_bodies, self._read_pairs = pymunk.batch.Buffer(), pymunk.batch.Buffer()
        self._changed = True

    def _add_chain(self, chain: Chain, *, on_drum: bool) -> Iterator[list[float]]:
        """Put in the pieces of a chain, each on a body of its own, by which its contacts are told; give their rows."""
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
        return float(self._loaded.bodies[-1, of.ANGLE])

    def add(
        self, body: Body, position: Point, angle: float = 0.0, velocity: Point = (0.0, 0.0), spin: float = 0.0
    ) -> None:
        """Put a body in."""
        rigid = pymunk.Body(body.mass, body.moment)
        rigid.position, rigid.angle, rigid.velocity, rigid.angular_velocity = position, angle, velocity, spin
        self._space.add(rigid)
        self._bodies[body.index] = (rigid, [])
        row = np.zeros(of.BODY_COLUMNS)
        row[[of.X, of.Y, of.ANGLE, of.VX, of.VY, of.SPIN]] = *position, angle, *velocity, spin
        row[[of.INVERSE_MASS, of.INVERSE_MOMENT]] = 1.0 / body.mass, 1.0 / body.moment
        row[[of.SURFACE, of.DAMPING, of.SHARING]] = body.surface, damping_ratio(body.restitution), LEAST_STIFFNESS
        place, loaded = int(np.searchsorted(self._index, body.index)), self._loaded
        self._index = np.insert(self._index, place, body.index)
        slips = np.insert(np.insert(loaded.slips, place, 0.0, axis=1), len(self._parts) + place, 0.0, axis=2)
        self._loaded = loaded._replace(bodies=np.insert(loaded.bodies, place, row, axis=0), slips=slips)
        self._change()
        self.reshape(body)

    def remove(self, index: int) -> None:
        """Take a body out."""
        rigid, shapes = self._bodies.pop(index)
        self._space.remove(*shapes, rigid)
        place, loaded = int(np.searchsorted(self._index, index)), self._loaded
        self._index = np.delete(self._index, place)
        slips = np.delete(np.delete(loaded.slips, place, axis=1), len(self._parts) + place, axis=2)
        self._loaded = loaded._replace(bodies=np.delete(loaded.bodies, place, axis=0), slips=slips)
        self._change()

    def _change(self) -> None:
        self._loaded.counts[0] = 0
        self._changed = True

    def reshape(self, body: Body) -> None:
        """Give a body that is in another section, and what has set of it; place, mass and speed stay as they were."""
        rigid, shapes = self._bodies[body.index]
        self._space.remove(*shapes)
        shapes[:] = [_section(body, rigid)]
        beside = _PIECE | _CONTAINER | (0 if body.bulges else _SIDE_WALL)
        shapes[0].filter = pymunk.ShapeFilter(categories=_CONTAINER, mask=beside)
        if body.bulges:  # what the side walls meet is an outline of its own
            shapes.append(_section(body, rigid))
            shapes[1].filter = pymunk.ShapeFilter(categories=_BULGE, mask=_SIDE_WALL)
        self._space.add(*shapes)
        row = self._loaded.bodies[int(np.searchsorted(self._index, body.index))]
        row[[of.REACH, of.FLAT_ANGLE]] = body.reach, body.flat_angle
        row[[of.HALF_FLAT, of.HALF_SIDE]] = body.flat / 2, body.side / 2
        row[of.RADIUS] = body.corner_radius if body.side > 0 else body.height / 2
        row[of.LAW] = body.law
        self._changed = True

    def drive(self, rate: float) -> None:
        """Have the motor turn the drum at this rate [rad/s], as far as its torque allows."""
        self._loaded.bodies[-1, of.INVERSE_MOMENT] = 1.0 / self._moment
        self._loaded.drum[of.RATE] = rate

    def hold(self) -> None:
        """Have the gear hold the drum where it is, whatever presses on it, until it is driven again."""
        self._loaded.bodies[-1, [of.INVERSE_MOMENT, of.SPIN]] = 0.0
        for body in self._drum_bodies:
            body.angular_velocity = 0.0

    def advance(self, steps: int) -> None:
        """Let this many time steps pass.

        Raises
        ------
        DivergedError
            If a speed comes up that none could have.
        """
        if self._changed:
            self._take_stock()
        space, loaded, acting = self._space, self._loaded, self._acting
        for _ in range(steps * self._substeps):
            space.step(acting.step)
            places = _numbers(_told(self._read_bodies, pymunk.batch.get_space_bodies, space, _PLACES), 3)
            pairs = _told(self._read_pairs, pymunk.batch.get_space_arbiters, space, _PAIRS)
            seen = of.Seen(places, _whole(pairs, 3), _numbers(pairs, _PAIR_NUMBERS), self._speeds)
            if 2 * len(seen.who) > len(loaded.order):
                loaded = self._loaded = _roomier(loaded, 4 * len(seen.who))
            if not LAY_ON(loaded, seen, acting):
                raise DivergedError("the simulation diverged: a speed above all bounds")
            pymunk.batch.set_space_bodies(space, _SPEEDS, self._write_bodies)
            for row, radius, shape in self._swelling:
                shape.unsafe_set_radius(radius + float(loaded.bodies[row, of.BULGE]))

    def _take_stock(self) -> None:
        """Find where everything stands in pymunk's list, and by what number, after something came or went."""
        told = _told(self._read_bodies, pymunk.batch.get_space_bodies, self._space, pymunk.batch.BodyFields.BODY_ID)
        row_of = {number: row for row, number in enumerate(_whole(told, 1)[:, 0].tolist())}
        meant = {self._bodies[index][0].id: row for row, index in enumerate(self._index.tolist())}
        meant |= {body.id: -1 - k for k, body in enumerate(self._piece_bodies)}
        self._loaded = self._loaded._replace(
            places=np.array([row_of[self._bodies[i][0].id] for i in self._index.tolist()], dtype=np.int64),
            turning=np.array([row_of[body.id] for body in self._drum_bodies], dtype=np.int64),
            ids=np.array(sorted(meant), dtype=np.uint64),
            meant=np.array([meant[number] for number in sorted(meant)], dtype=np.int64),
        )
        self._speeds = np.zeros((len(row_of), 3))
        self._write_bodies = pymunk.batch.Buffer()
        self._write_bodies.set_float_buf(self._speeds)
        self._swelling = []
        for row, index in enumerate(self._index.tolist()):
            shapes = self._bodies[index][1]
            if len(shapes) > 1:
                self._swelling.append((row, shapes[0].radius, shapes[1]))
        self._changed = False

    def look_on(self, watch: Watch, looks: int) -> int:
        """Let time pass until what is watched for has come, a container has left, or there were so many looks.

        Raises
        ------
        DivergedError
            As `advance`.
        """
        return in_looks(self, watch, looks)

    def reaches(self) -> FloatArray:
        """Give how far each outline goes from its centre now, ordered as `state` is, of shape (n,) [mm]."""
        return self._loaded.bodies[:-2, of.REACH].copy()

    def state(self) -> State:
        """Give positions and velocities, ordered by index."""
        rows = self._loaded.bodies[:-2].copy()
        return State(
            self._index,
            rows[:, of.X : of.Y + 1],
            rows[:, of.ANGLE],
            rows[:, of.VX : of.VY + 1],
            rows[:, of.SPIN],
        )

    def contacts(self) -> Contacts:
        """Give the contacts of the last step."""
        return Contacts.of_rows(self._contact_rows())

    def _contact_rows(self) -> Iterator[ContactRow]:
        count, pieces = int(self._loaded.counts[0]), len(self._parts)
        for contact, (first, _, touched, _) in zip(
            self._loaded.contacts[0, :count].tolist(), self._loaded.pairs[0, :count].tolist(), strict=True
        ):
            nx, ny, x, y = contact[: of.OVERLAP]
            normal, friction = contact[of.NORMAL], contact[of.FRICTION]
            other, part = (-1, self._parts[touched]) if touched < pieces else (int(self._index[touched - pieces]), None)
            force = (nx * normal - ny * friction, ny * normal + nx * friction)
            yield int(self._index[first]), other, part, (x, y), (nx, ny), force, contact[of.OVERLAP]

    def dents(self) -> FloatArray:
        """Give how far each container is pressed in at the last step, ordered as `state`, of shape (n, 2, 2) [mm]."""
        found = np.zeros((len(self._index) + 2, 2, 2))
        contacts, pairs = self._pressing()
        normal = contacts[:, [of.NX, of.NY]]
        # Two points between the same two, such as both ends of a flat, dent it once.
        for side, dent in ((of.FIRST, of.DENT_A), (of.SECOND, of.DENT_B)):
            sized = (contacts[:, of.GROUP] * contacts[:, dent])[:, None, None]
            np.add.at(found, pairs[:, side], sized * normal[:, :, None] * normal[:, None, :])
        return found[:-2]

    def extremes(self) -> tuple[float, float, float]:
        """Give the greatest contact force [mN], the deepest dent of a container [mm], and that over diameter [-]."""
        contacts, pairs = self._pressing()
        if not len(contacts):
            return 0.0, 0.0, 0.0
        force = float(np.hypot(contacts[:, of.NORMAL], contacts[:, of.FRICTION]).max())
        dents = contacts[:, [of.DENT_A, of.DENT_B]]
        diameter = np.sqrt(self._loaded.bodies[:, of.ROUND_AREA] * 4.0 / math.pi)
        diameter[-2:] = math.inf
        dents[diameter[pairs[:, : of.TOUCHED]] == math.inf] = 0.0
        return force, float(dents.max()), float((dents / diameter[pairs[:, : of.TOUCHED]]).max())

    def _pressing(self) -> tuple[FloatArray, IntArray]:
        """Give the contacts of the last step that bear anything, and who they are between."""
        count = int(self._loaded.counts[0])
        contacts, pairs = self._loaded.contacts[0, :count], self._loaded.pairs[0, :count]
        presses = contacts[:, of.NORMAL] > 0.0
        return contacts[presses], pairs[presses]


def _told(buffer: pymunk.batch.Buffer, tell: Any, space: pymunk.Space, fields: Any) -> pymunk.batch.Buffer:
    """Have pymunk write into a buffer; what was in it is gone."""
    buffer.clear()
    tell(space, fields, buffer)
    return buffer


def _numbers(buffer: pymunk.batch.Buffer, columns: int) -> FloatArray:
    return np.frombuffer(buffer.float_buf(), dtype=np.float64).reshape(-1, columns)


def _whole(buffer: pymunk.batch.Buffer, columns: int) -> npt.NDArray[np.uint64]:
    return np.frombuffer(buffer.int_buf(), dtype=np.uint64).reshape(-1, columns)


def _roomier(loaded: of.Loaded, room: int) -> of.Loaded:
    """Make room for more contacts; those of the last step are lost."""
    return loaded._replace(
        contacts=np.zeros((2, room, of.CONTACT_COLUMNS)),
        pairs=np.zeros((2, room, of.PAIR_COLUMNS), dtype=np.int64),
        order=np.zeros(room, dtype=np.int64),
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
    """Make a convex arc of a whole circle, whose contacts off the arc are left out, and a line of a segment."""
    if isinstance(piece, Arc):
        return pymunk.Circle(body, piece.radius, piece.centre)
    # Without thickness a piece has no round end that could stand proud of its neighbour.
    segment = pymunk.Segment(body, piece.start, piece.end, 0.0)
    segment.set_neighbors(*_neighbours(before, piece, after))
    return segment


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
