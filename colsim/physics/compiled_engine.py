"""The compiled engine: the kernel behind the interface of `Engine`."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from colsim.physics.contact_law import MIN_STIFFNESS, RIGID_STIFFNESS
from colsim.physics.engines import ContactRow, Contacts, DivergedError, FloatArray, IntArray, Settings, State
from colsim.physics.kernel import world as arrays
from colsim.physics.kernel.stepping import DIVERGED, ENTRY_POINTS
from colsim.physics.monitor import Monitor, new_monitor
from colsim.physics.scene import Arc, Body, Chain, Friction, Line, Part, Piece, Point, Scene, friction_with
from colsim.theory.contact import damping_ratio
from colsim.theory.squeeze import ATMOSPHERE

__all__ = ["CompiledEngine", "compile_now"]

_COLLINEAR = 1e-6  # [rad]; joints with a smaller turn have no corner
_UNBOUNDED = (-1e12, 1e12, -1e12, 1e12)  # [mm]; pieces of the drum are selected by its reach, not by a box
_BY_BODY = ("bodies", "corners", "warm_start", "warm_start_keys", "warm_start_counts")  # arrays with a row a body


class CompiledEngine:
    """One scene on the compiled kernel; the same calls in the same order give the same result.

    Arcs are exact. `advance` and `run` release the GIL.

    Parameters
    ----------
    scene : Scene
        Walls, frictions, gravity and drum.
    settings : Settings, optional
        Time step and solver iterations.
    """

    def __init__(self, scene: Scene, settings: Settings | None = None) -> None:
        self.settings = settings or Settings()
        self._step = arrays.StepSettings(self.settings.step, self.settings.iterations, *scene.gravity)
        table = scene.friction_table
        pieces = [piece for chain in scene.walls for piece in _pieces(chain, on_drum=False)]
        pieces.sort(key=lambda piece: -piece[2][arrays.TOP])
        fixed = len(pieces)
        if scene.drum is not None:
            pieces += _pieces(scene.drum.outline, on_drum=True)
        self._parts = [part for part, _, _ in pieces]
        rows = [row for _, _, row in pieces]
        frictions = [[friction_with(friction, k) for k in range(len(table))] for _, friction, _ in pieces]
        self._drum = np.zeros(5)
        if scene.drum is not None:
            self._drum[arrays.DRUM_REACH] = max(math.hypot(*_far_end(piece)) for piece in scene.drum.outline.pieces)
            self._drum[arrays.TORQUE] = scene.drum.torque_limit
            self._drum[arrays.MOMENT] = scene.drum.moment
        self._index: IntArray = np.empty(0, dtype=np.int64)
        self._world = arrays.World(
            bodies=np.zeros((2, arrays.BODY_COLUMNS)),
            corners=np.zeros((2, 4, 2)),
            top_down=np.zeros(2, dtype=np.uint64),
            pieces=np.array(rows, dtype=np.float64).reshape(-1, arrays.PIECE_COLUMNS),
            piece_friction=np.array(frictions, dtype=np.float64).reshape(-1, len(table)),
            body_friction=np.array(table, dtype=np.float64),
            contacts=np.zeros((arrays.MAX_CONTACTS, arrays.CONTACT_COLUMNS)),
            pairs=np.zeros((arrays.MAX_CONTACTS, 2), dtype=np.uint64),
            features=np.zeros((arrays.MAX_CONTACTS, 2), dtype=np.int64),
            solve_order=np.zeros(arrays.MAX_CONTACTS, dtype=np.uint64),
            manifold=np.zeros((arrays.MAX_BODY_CONTACTS, arrays.POINT_COLUMNS)),
            warm_start=np.zeros((2, arrays.MAX_BODY_CONTACTS, 3)),
            warm_start_keys=np.zeros((2, arrays.MAX_BODY_CONTACTS), dtype=np.int64),
            warm_start_counts=np.zeros(2, dtype=np.int64),
            drum=self._drum,
            counts=np.array([0, fixed, len(rows), 0], dtype=np.int64),
        )
        self._world.bodies[:, [arrays.STIFFNESS, arrays.LAGGED_STIFFNESS]] = RIGID_STIFFNESS
        self._world.bodies[:, arrays.DAMPING] = -1.0  # rigid: see `pair_damping`

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
        row = np.zeros(arrays.BODY_COLUMNS)
        row[[arrays.X, arrays.Y, arrays.ANGLE]] = *position, angle
        row[[arrays.VX, arrays.VY, arrays.SPIN]] = *velocity, spin
        row[arrays.INVERSE_MASS], row[arrays.INVERSE_MOMENT] = 1.0 / body.mass, 1.0 / body.moment
        row[arrays.SURFACE], row[arrays.INDEX] = body.surface, body.index
        row[arrays.DAMPING] = damping_ratio(body.restitution)
        place = int(np.searchsorted(self._index, body.index))
        self._index = np.insert(self._index, place, body.index)
        self._resize(lambda rows: np.insert(rows, place, 0, axis=0))
        self._world.bodies[place] = row
        self.reshape(body)

    def _resize(self, change: Callable[[npt.NDArray[Any]], npt.NDArray[Any]]) -> None:
        """Insert or delete a row in all arrays with a row for each body."""
        world = self._world
        changed = {name: change(getattr(world, name)) for name in _BY_BODY}
        count = len(self._index)
        top_down = np.zeros(count + 2, dtype=np.uint64)
        top_down[:count] = np.argsort(-changed["bodies"][:count, arrays.Y], kind="stable")
        world.counts[[arrays.CONTAINERS, arrays.CONTACTS]] = count, 0
        self._world = world._replace(**changed, top_down=top_down)

    def _row(self, index: int) -> int:
        return int(np.searchsorted(self._index, index))

    def reshape(self, body: Body) -> None:
        """Give an added body another section and contact parameters; position, mass and velocity stay.

        Parameters
        ----------
        body : Body
            As for `Engine.reshape`.
        """
        place, contact = self._row(body.index), body.contact
        row = self._world.bodies[place]
        row[arrays.CONTACT_PARAMETERS] = body.contact_row
        row[arrays.CAN_BULGE] = float(body.bulges)
        if row[arrays.LAGGED_STIFFNESS] <= 0.0:  # newly added
            pressure = contact.initial_pressure - ATMOSPHERE
            row[arrays.STIFFNESS] = row[arrays.LAGGED_STIFFNESS] = max(
                MIN_STIFFNESS, contact.constant_stiffness + math.pi * pressure * contact.length
            )
        ENTRY_POINTS.change_section(self._world, place, body.height, body.flat, body.side, body.flat_angle)

    def remove(self, index: int) -> None:
        """Remove a body.

        Parameters
        ----------
        index : int
            As for `Engine.remove`.
        """
        place = self._row(index)
        self._index = np.delete(self._index, place)
        self._resize(lambda rows: np.delete(rows, place, axis=0))

    def drive(self, rate: float) -> None:
        """Set the target rate of the motor, which it approaches within its torque limit, and release the drum.

        Parameters
        ----------
        rate : float
            As for `Engine.drive` [rad/s].
        """
        ENTRY_POINTS.drive(self._world, rate)

    def hold(self) -> None:
        """Lock the drum at its angle, as its self-locking gear does, until `drive` is called."""
        if self._drum[arrays.MOMENT] > 0.0:
            self._world.bodies[-1, [arrays.INVERSE_MOMENT, arrays.SPIN]] = 0.0
            self._drum[[arrays.RATE, arrays.MOTOR_IMPULSE]] = 0.0

    def advance(self, steps: int) -> None:
        """Do this many time steps.

        Parameters
        ----------
        steps : int
            How many.

        Raises
        ------
        DivergedError
            If a speed is NaN or too high, or the contact buffer is full.
        """
        _require(diverged=not ENTRY_POINTS.advance(self._world, steps, self._step))

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
        result = ENTRY_POINTS.run(self._world, self._step, monitor, checks)
        _require(diverged=result == DIVERGED)
        return result

    def reaches(self) -> FloatArray:
        """Give the greatest distance of each outline from its centre, ordered as `state`, of shape (n,) [mm]."""
        return self._world.bodies[: len(self._index), arrays.REACH].copy()

    def state(self) -> State:
        """Give positions and velocities, ordered by index."""
        rows = self._world.bodies[: len(self._index)].copy()
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
        world, step = self._world, self.settings.step
        for k in range(int(world.counts[arrays.CONTACTS])):
            contact, (i, j), piece = world.contacts[k], world.pairs[k].tolist(), int(world.features[k, arrays.PIECE])
            nx, ny = contact[[arrays.NX, arrays.NY]].tolist()
            normal, friction = contact[[arrays.NORMAL_IMPULSE, arrays.FRICTION_IMPULSE]].tolist()
            force = ((nx * normal - ny * friction) / step, (ny * normal + nx * friction) / step)
            point = (
                float(world.bodies[i, arrays.X] + contact[arrays.AX]),
                float(world.bodies[i, arrays.Y] + contact[arrays.AY]),
            )
            other = int(self._index[j]) if piece < 0 else -1
            part = None if piece < 0 else self._parts[piece]
            yield int(self._index[i]), other, part, point, (nx, ny), force, float(contact[arrays.OVERLAP])

    def dents(self) -> FloatArray:
        """Give the dent tensor of each container at the last step, ordered as `state`, of shape (n, 2, 2) [mm]."""
        tensors = np.zeros((len(self._index), 2, 2))
        ENTRY_POINTS.add_dents(self._world, tensors)
        return tensors

    def extremes(self) -> tuple[float, float, float]:
        """Give the greatest contact force [mN], the deepest dent [mm], and the greatest dent over diameter [-]."""
        impulse, dent, dent_share = ENTRY_POINTS.extremes(self._world)
        return impulse / self.settings.step, dent, dent_share


def _require(*, diverged: bool) -> None:
    if diverged:
        raise DivergedError("the simulation diverged: a speed is NaN or too high, or there are too many contacts")


def compile_now() -> None:
    """Compile the kernel, or load it from the disk cache."""
    engine = CompiledEngine(Scene((0.0, -1.0), (), 0.0))
    engine.add(Body(0, 1.0, 0.0, 1.0, 1.0), (0.0, 0.0))
    engine.advance(1)
    engine.dents()
    engine.extremes()
    engine.run(new_monitor(engine.settings.step), 1)


def _pieces(chain: Chain, *, on_drum: bool) -> Iterator[tuple[Part, Friction, list[float]]]:
    """Give the rows of a chain: its pieces, and the convex corners at joints and free ends."""
    for piece in chain.pieces:
        if isinstance(piece, Line):
            length = math.dist(piece.start, piece.end)
            row = _piece_row(arrays.LINE, piece.start, length, box=_box(piece, on_drum))
            row[arrays.DIRECTION_X], row[arrays.DIRECTION_Y] = piece.direction(0.0)
            row[arrays.SIDE_WALL] = float(piece.part in (Part.LEFT_WALL, Part.RIGHT_WALL))
            yield piece.part, piece.friction, row
            continue
        kind = arrays.OUTSIDE if piece.sweep < 0 else arrays.INSIDE
        middle, half = piece.from_angle + piece.sweep / 2, abs(piece.sweep) / 2
        yield (
            piece.part,
            piece.friction,
            _piece_row(kind, piece.centre, piece.radius, middle, half, box=_box(piece, on_drum)),
        )
    joints = [*pairwise(chain.pieces), *([(chain.pieces[-1], chain.pieces[0])] if chain.closed else [])]
    for before, after in joints:
        (ax, ay), (bx, by) = before.direction(1.0), after.direction(0.0)
        turn = math.atan2(ax * by - ay * bx, ax * bx + ay * by)
        if turn < -_COLLINEAR:  # to the right, away from free space: a convex corner
            owner = before if isinstance(before, Line) or isinstance(after, Arc) else after
            middle = math.atan2(ax, -ay) + turn / 2  # bisects the two normals
            yield owner.part, owner.friction, _corner(before.end, middle, -turn / 2, on_drum)
    if not chain.closed:
        for end, share, way in ((chain.pieces[0], 0.0, -1.0), (chain.pieces[-1], 1.0, 1.0)):
            if isinstance(end, Line) or end.sweep > 0:  # a convex arc needs no corner at its end
                dx, dy = end.direction(share)
                point = end.start if share == 0.0 else end.end
                yield end.part, end.friction, _corner(point, math.atan2(way * dy, way * dx), math.pi / 2, on_drum)


def _corner(point: Point, middle: float, half: float, on_drum: bool) -> list[float]:
    x, y = point
    box = _UNBOUNDED if on_drum else (x, x, y, y)
    return _piece_row(arrays.CORNER, point, 0.0, middle, half, box=box)


def _piece_row(
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
    """Give the bounding box of a piece: left, right, bottom, top [mm]."""
    if on_drum:
        return _UNBOUNDED
    if isinstance(piece, Line):
        points = [piece.start, piece.end]
    else:  # that of the whole circle
        (x, y), r = piece.centre, piece.radius
        points = [(x - r, y - r), (x + r, y + r)]
    xs, ys = zip(*points, strict=True)
    return (min(xs), max(xs), min(ys), max(ys))


def _far_end(piece: Piece) -> Point:
    """Give the end of a piece farther from the axis."""
    return max(piece.start, piece.end, key=lambda point: math.hypot(*point))
