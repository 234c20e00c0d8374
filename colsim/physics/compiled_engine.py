"""The engine in machine code: what the kernel computes, as the rest of colsim asks it of an engine."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from colsim.physics.contact_law import LEAST_STIFFNESS, RIGID
from colsim.physics.engines import ContactRow, Contacts, DivergedError, FloatArray, IntArray, Settings, State
from colsim.physics.kernel import world as of
from colsim.physics.kernel.looking import DIVERGED, ENTRIES
from colsim.physics.scene import Arc, Body, Chain, Friction, Line, Part, Piece, Point, Scene, friction_with
from colsim.physics.watching import Watch, new_watch
from colsim.theory.contact import damping_ratio
from colsim.theory.squeeze import ATMOSPHERE

__all__ = ["CompiledEngine", "compile_now"]

_FLUSH = 1e-6  # sine of the turn between pieces that lie in one line
_EVERYWHERE = (-1e12, 1e12, -1e12, 1e12)  # [mm], of a piece of the drum, which is looked at where the drum is near


class CompiledEngine:
    """One scene in machine code, deterministic for the same calls in the same order.

    Arcs stay arcs. The GIL is released while time passes.

    Parameters
    ----------
    scene : Scene
        Walls, frictions, gravity and drum.
    settings : Settings, optional
        Step and solver rounds.
    """

    def __init__(self, scene: Scene, settings: Settings | None = None) -> None:
        self.settings = settings or Settings()
        self._step = of.StepSettings(self.settings.step, self.settings.iterations, *scene.gravity)
        table = scene.friction_table
        pieces = [piece for chain in scene.walls for piece in _pieces(chain, on_drum=False)]
        pieces.sort(key=lambda piece: -piece[2][of.TOP])
        still = len(pieces)
        if scene.drum is not None:
            pieces += _pieces(scene.drum.outline, on_drum=True)
        self._parts = [part for part, _, _ in pieces]
        rows = [row for _, _, row in pieces]
        frictions = [[friction_with(friction, k) for k in range(len(table))] for _, friction, _ in pieces]
        self._drum = np.zeros(5)
        if scene.drum is not None:
            self._drum[of.DRUM_REACH] = max(math.hypot(*_farthest(piece)) for piece in scene.drum.outline.pieces)
            self._drum[of.TORQUE] = scene.drum.torque_limit
            self._drum[of.MOMENT] = scene.drum.moment
        self._index: IntArray = np.empty(0, dtype=np.int64)
        self._world = of.World(
            bodies=np.zeros((2, of.BODY_COLUMNS)),
            corners=np.zeros((2, 4, 2)),
            order=np.zeros(2, dtype=np.uint64),
            pieces=np.array(rows, dtype=np.float64).reshape(-1, of.PIECE_COLUMNS),
            piece_friction=np.array(frictions, dtype=np.float64).reshape(-1, len(table)),
            between=np.array(table, dtype=np.float64),
            contacts=np.zeros((of.MOST_CONTACTS, of.CONTACT_COLUMNS)),
            pairs=np.zeros((of.MOST_CONTACTS, 2), dtype=np.uint64),
            where=np.zeros((of.MOST_CONTACTS, 2), dtype=np.int64),
            sequence=np.zeros(of.MOST_CONTACTS, dtype=np.uint64),
            hits=np.zeros((of.MOST_OF_ONE, of.HIT_COLUMNS)),
            kept=np.zeros((2, of.MOST_OF_ONE, 3)),
            kept_key=np.zeros((2, of.MOST_OF_ONE), dtype=np.int64),
            kept_count=np.zeros(2, dtype=np.int64),
            drum=self._drum,
            counts=np.array([0, still, len(rows), 0], dtype=np.int64),
        )
        self._world.bodies[:, [of.STIFFNESS, of.SHARING]] = RIGID
        self._world.bodies[:, of.DAMPING] = -1.0  # what touches them bounces by its own

    @property
    def drum_angle(self) -> float:
        """Angle of the drum [rad], counterclockwise."""
        return float(self._world.bodies[-1, of.ANGLE])

    def add(
        self, body: Body, position: Point, angle: float = 0.0, velocity: Point = (0.0, 0.0), spin: float = 0.0
    ) -> None:
        """Put a body in."""
        row = np.zeros(of.BODY_COLUMNS)
        row[[of.X, of.Y, of.ANGLE]] = *position, angle
        row[[of.VX, of.VY, of.SPIN]] = *velocity, spin
        row[of.INVERSE_MASS], row[of.INVERSE_MOMENT] = 1.0 / body.mass, 1.0 / body.moment
        row[of.SURFACE], row[of.NUMBER] = body.surface, body.index
        row[of.DAMPING] = damping_ratio(body.restitution)
        place = int(np.searchsorted(self._index, body.index))
        self._index = np.insert(self._index, place, body.index)
        self._resized(lambda rows: np.insert(rows, place, 0, axis=0))
        self._world.bodies[place] = row
        self.reshape(body)

    def _resized(self, change: Callable[[npt.NDArray[Any]], npt.NDArray[Any]]) -> None:
        """Give every array that has a row a body one more or one less; what is kept of the others stays theirs."""
        world = self._world
        changed = {
            name: change(getattr(world, name)) for name in ("bodies", "corners", "kept", "kept_key", "kept_count")
        }
        count = len(self._index)
        order = np.zeros(count + 2, dtype=np.uint64)
        order[:count] = np.argsort(-changed["bodies"][:count, of.Y], kind="stable")
        world.counts[0], world.counts[3] = count, 0
        self._world = world._replace(**changed, order=order)

    def _row(self, index: int) -> int:
        return int(np.searchsorted(self._index, index))

    def reshape(self, body: Body) -> None:
        """Give a body that is in another section, and what has set of it; place, mass and speed stay as they were."""
        place, gives = self._row(body.index), body.gives
        row = self._world.bodies[place]
        row[of.LAW] = body.law
        row[of.BULGES] = float(body.bulges)
        if row[of.SHARING] <= 0.0:  # newly put in
            pressure = gives.filled - ATMOSPHERE
            row[of.STIFFNESS] = row[of.SHARING] = max(LEAST_STIFFNESS, gives.firm + math.pi * pressure * gives.length)
        ENTRIES.change_section(self._world, place, body.height, body.flat, body.side, body.flat_angle)

    def remove(self, index: int) -> None:
        """Take a body out."""
        place = self._row(index)
        self._index = np.delete(self._index, place)
        self._resized(lambda rows: np.delete(rows, place, axis=0))

    def drive(self, rate: float) -> None:
        """Have the motor turn the drum at this rate [rad/s], as far as its torque allows."""
        ENTRIES.drive(self._world, rate)

    def hold(self) -> None:
        """Have the gear hold the drum where it is, whatever presses on it, until it is driven again."""
        if self._drum[of.MOMENT] > 0.0:
            self._world.bodies[-1, [of.INVERSE_MOMENT, of.SPIN]] = 0.0
            self._drum[[of.RATE, of.MOTOR_IMPULSE]] = 0.0

    def advance(self, steps: int) -> None:
        """Let this many time steps pass.

        Raises
        ------
        DivergedError
            If more contacts came up than any real stack has, or a speed that none could have.
        """
        _require(diverged=not ENTRIES.advance(self._world, steps, self._step))

    def look_on(self, watch: Watch, looks: int) -> int:
        """Let time pass until what is watched for has come, a container has left, or there were so many looks.

        Raises
        ------
        DivergedError
            As `advance`.
        """
        found = ENTRIES.look_on(self._world, self._step, watch, looks)
        _require(diverged=found == DIVERGED)
        return found

    def reaches(self) -> FloatArray:
        """Give how far each outline goes from its centre now, ordered as `state` is, of shape (n,) [mm]."""
        return self._world.bodies[: len(self._index), of.REACH].copy()

    def state(self) -> State:
        """Give positions and velocities, ordered by index."""
        rows = self._world.bodies[: len(self._index)].copy()
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
        world, step = self._world, self.settings.step
        for k in range(int(world.counts[of.CONTACTS])):
            contact, (i, j), piece = world.contacts[k], world.pairs[k].tolist(), int(world.where[k, of.PIECE])
            nx, ny, normal, across = contact[[of.NX, of.NY, of.NORMAL_IMPULSE, of.FRICTION_IMPULSE]].tolist()
            force = ((nx * normal - ny * across) / step, (ny * normal + nx * across) / step)
            point = (
                float(world.bodies[i, of.X] + contact[of.AX]),
                float(world.bodies[i, of.Y] + contact[of.AY]),
            )
            other = int(self._index[j]) if piece < 0 else -1
            part = None if piece < 0 else self._parts[piece]
            yield int(self._index[i]), other, part, point, (nx, ny), force, float(contact[of.OVERLAP])

    def dents(self) -> FloatArray:
        """Give how far each container is pressed in at the last step, ordered as `state` is, shape (n, 2, 2) [mm]."""
        found = np.zeros((len(self._index), 2, 2))
        ENTRIES.add_dents(self._world, found)
        return found

    def extremes(self) -> tuple[float, float, float]:
        """Give the greatest contact force [mN], the deepest dent of a container [mm] and that over its diameter."""
        impulse, dent, share = ENTRIES.greatest(self._world)
        return impulse / self.settings.step, dent, share


def _require(*, diverged: bool) -> None:
    if diverged:
        raise DivergedError("the simulation diverged: a speed above all bounds, or too many contacts")


def compile_now() -> None:
    """Have all machine code compiled, or loaded if it was before."""
    engine = CompiledEngine(Scene((0.0, -1.0), (), 0.0))
    engine.add(Body(0, 1.0, 0.0, 1.0, 1.0), (0.0, 0.0))
    engine.advance(1)
    engine.dents()
    engine.extremes()
    engine.look_on(new_watch(engine.settings.step), 1)


def _pieces(chain: Chain, *, on_drum: bool) -> Iterator[tuple[Part, Friction, list[float]]]:
    """Give the rows of a chain: its pieces, and the corners that stand out between them or at a loose end."""
    for piece in chain.pieces:
        if isinstance(piece, Line):
            length = math.dist(piece.start, piece.end)
            row = _as_row(of.LINE, piece.start, length, box=_box(piece, on_drum))
            row[of.ALONG_X], row[of.ALONG_Y] = piece.direction(0.0)
            row[of.SIDE_WALL] = float(piece.part in (Part.LEFT_WALL, Part.RIGHT_WALL))
            yield piece.part, piece.friction, row
            continue
        kind = of.OUTSIDE if piece.sweep < 0 else of.INSIDE
        middle, half = piece.from_angle + piece.sweep / 2, abs(piece.sweep) / 2
        yield (
            piece.part,
            piece.friction,
            _as_row(kind, piece.centre, piece.radius, middle, half, box=_box(piece, on_drum)),
        )
    joints = [*pairwise(chain.pieces), *([(chain.pieces[-1], chain.pieces[0])] if chain.closed else [])]
    for before, after in joints:
        (ax, ay), (bx, by) = before.direction(1.0), after.direction(0.0)
        turn = math.atan2(ax * by - ay * bx, ax * bx + ay * by)
        if turn < -_FLUSH:  # to the right, away from free space: the corner stands out
            owner = before if isinstance(before, Line) or isinstance(after, Arc) else after
            middle = math.atan2(ax, -ay) + turn / 2  # between both normals
            yield owner.part, owner.friction, _corner(before.end, middle, -turn / 2, on_drum)
    if not chain.closed:
        for end, share, way in ((chain.pieces[0], 0.0, -1.0), (chain.pieces[-1], 1.0, 1.0)):
            if isinstance(end, Line) or end.sweep > 0:  # a round end needs no corner
                dx, dy = end.direction(share)
                point = end.start if share == 0.0 else end.end
                yield end.part, end.friction, _corner(point, math.atan2(way * dy, way * dx), math.pi / 2, on_drum)


def _corner(point: Point, middle: float, half: float, on_drum: bool) -> list[float]:
    x, y = point
    box = _EVERYWHERE if on_drum else (x, x, y, y)
    return _as_row(of.CORNER, point, 0.0, middle, half, box=box)


def _as_row(
    kind: float,
    origin: Point,
    size: float,
    middle: float = 0.0,
    half: float = 0.0,
    *,
    box: tuple[float, float, float, float],
) -> list[float]:
    return [kind, *origin, size, math.cos(middle), math.sin(middle), math.cos(min(half, math.pi)), *box, 0.0]


def _box(piece: Piece, on_drum: bool) -> tuple[float, float, float, float]:
    """Give a box around a piece: left, right, bottom, top [mm]."""
    if on_drum:
        return _EVERYWHERE
    if isinstance(piece, Line):
        points = [piece.start, piece.end]
    else:  # the box around the whole of its circle holds the arc
        (x, y), r = piece.centre, piece.radius
        points = [(x - r, y - r), (x + r, y + r)]
    xs, ys = zip(*points, strict=True)
    return (min(xs), max(xs), min(ys), max(ys))


def _farthest(piece: Piece) -> Point:
    """Give the end of a piece that lies farther from the axis."""
    return max(piece.start, piece.end, key=lambda point: math.hypot(*point))
