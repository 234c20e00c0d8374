"""The interface of an engine that simulates bodies in contact, and the types that it takes and gives."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np
import numpy.typing as npt

from colsim.physics.monitor import (
    CONTAINER_LEFT,
    DONE,
    RUNNING,
    Monitor,
    any_outside,
    note_extremes,
    record_check,
    steps_to_next_check,
    update_rest,
)
from colsim.physics.scene import Body, Part, Point

__all__ = [
    "MAX_SPEED",
    "ContactRow",
    "Contacts",
    "DivergedError",
    "Engine",
    "FloatArray",
    "IntArray",
    "Settings",
    "State",
    "run_by_steps",
]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

MAX_SPEED = 1e7
"""Speed above which a simulation has diverged, far above any in a column [mm/s]."""


class DivergedError(Exception):
    """The simulation diverged: a speed is NaN or too high, or there are too many contacts. Its results are invalid."""


@dataclass(frozen=True)
class Settings:
    """Numerical settings of an engine.

    Attributes
    ----------
    step : float
        Time step [s].
    iterations : int
        Most solver iterations a step of the compiled engine, fewer if they converge; 0 selects the explicit solver,
        which needs a step of 0.1 ms or less.
    chord_turn : float
        Greatest angle between neighbouring chords of an arc, for engines that replace arcs by chords [deg].
    """

    step: float = 0.001
    iterations: int = 12
    chord_turn: float = 1.0


@dataclass(frozen=True)
class State:
    """Positions and velocities of the bodies, ordered by index.

    Attributes
    ----------
    index : ndarray, shape (n,)
        Indices of the bodies.
    position : ndarray, shape (n, 2)
        Centres [mm].
    angle : ndarray, shape (n,)
        [rad]
    velocity : ndarray, shape (n, 2)
        [mm/s]
    spin : ndarray, shape (n,)
        [rad/s]
    """

    index: IntArray
    position: FloatArray
    angle: FloatArray
    velocity: FloatArray
    spin: FloatArray


def run_by_steps(engine: Engine, monitor: Monitor, checks: int) -> int:
    """Do what `Engine.run` does, by means of an engine's other methods.

    Parameters
    ----------
    engine : Engine
        What is to run.
    monitor, checks
        As for `Engine.run`.

    Returns
    -------
    int
        As `Engine.run`.

    Raises
    ------
    DivergedError
        If the engine's `Engine.advance` does.
    """
    for _ in range(checks):
        steps = steps_to_next_check(monitor, engine.drum_angle)
        if steps == 0:
            return DONE
        if monitor.row["turning"][0]:
            engine.drive(float(monitor.row["rate"][0]))
        engine.advance(steps)
        state, reaches = engine.state(), engine.reaches()
        if record_check(monitor):
            note_extremes(monitor, *engine.extremes(), state.position, reaches)
        if any_outside(monitor, state.position, reaches):
            return CONTAINER_LEFT
        update_rest(monitor, state.velocity, state.spin)
    return RUNNING


ContactRow = tuple[int, int, Part | None, Point, Point, Point, float]
"""One contact, in the order of the attributes of `Contacts`."""


@dataclass(frozen=True)
class Contacts:
    """The contacts of the last step, a row each, ordered by body, then by the other body or piece.

    Attributes
    ----------
    body : ndarray, shape (n,)
        Index of the body that the force acts on.
    other : ndarray, shape (n,)
        Index of the other body (always the greater one), or -1 for a piece.
    part : tuple of (Part or None), length n
        Part of the scene that the piece belongs to; None between two bodies.
    point : ndarray, shape (n, 2)
        [mm]
    normal : ndarray, shape (n, 2)
        Unit vector into the body.
    force : ndarray, shape (n, 2)
        On the body, friction included [mN].
    overlap : ndarray, shape (n,)
        Depth by which the undeformed outlines overlap, the sum of both dents [mm].
    """

    body: IntArray
    other: IntArray
    part: tuple[Part | None, ...]
    point: FloatArray
    normal: FloatArray
    force: FloatArray
    overlap: FloatArray

    @classmethod
    def of_rows(cls, rows: Iterable[ContactRow]) -> Self:
        """Sort contacts, so that no result depends on the order in which an engine lists them.

        Parameters
        ----------
        rows : iterable of ContactRow
            Point [mm], normal [-], force [mN] and overlap [mm] among the values of each.

        Returns
        -------
        Contacts
        """
        rows = sorted(rows, key=lambda row: (row[0], row[1], row[2] or "", row[3]))
        return cls(
            body=np.array([row[0] for row in rows], dtype=np.int64),
            other=np.array([row[1] for row in rows], dtype=np.int64),
            part=tuple(row[2] for row in rows),
            point=np.array([row[3] for row in rows], dtype=np.float64).reshape(-1, 2),
            normal=np.array([row[4] for row in rows], dtype=np.float64).reshape(-1, 2),
            force=np.array([row[5] for row in rows], dtype=np.float64).reshape(-1, 2),
            overlap=np.array([row[6] for row in rows], dtype=np.float64),
        )


class Engine(Protocol):
    """A simulation of one scene.

    It starts with the scene's walls and drum (at angle 0, not turning), without bodies.
    """

    @property
    def drum_angle(self) -> float:
        """Angle of the drum [rad], counterclockwise."""

    def add(
        self, body: Body, position: Point, angle: float = 0.0, velocity: Point = (0.0, 0.0), spin: float = 0.0
    ) -> None:
        """Add a body.

        Parameters
        ----------
        body : Body
            Its index must not be there yet.
        position : (float, float)
            Centre [mm].
        angle : float
            Angle of the body's x axis to that of the scene, counterclockwise [rad].
        velocity : (float, float)
            [mm/s]
        spin : float
            Counterclockwise [rad/s].
        """

    def remove(self, index: int) -> None:
        """Remove a body.

        Parameters
        ----------
        index : int
            Of a body that was added.
        """

    def reshape(self, body: Body) -> None:
        """Give an added body another section and contact parameters; position, mass and velocity stay.

        Parameters
        ----------
        body : Body
            Its index must be that of a body that was added.
        """

    def drive(self, rate: float) -> None:
        """Set the target rate of the motor, which it approaches within its torque limit, and release the drum.

        Parameters
        ----------
        rate : float
            Counterclockwise [rad/s].
        """

    def hold(self) -> None:
        """Lock the drum at its angle, as its self-locking gear does, until `drive` is called."""

    def advance(self, steps: int) -> None:
        """Do this many time steps.

        Parameters
        ----------
        steps : int
            How many.

        Raises
        ------
        DivergedError
            If a speed is NaN or above `MAX_SPEED`, or there are more contacts than the engine has room for.
        """

    def run(self, monitor: Monitor, checks: int) -> int:
        """Advance until the monitor's wait is over or a container has left, for at most this many checks.

        Parameters
        ----------
        monitor : Monitor
            What to wait for; changed in place.
        checks : int
            Checks of the state, at most.

        Returns
        -------
        int
            DONE, CONTAINER_LEFT or RUNNING of `monitor`. After CONTAINER_LEFT the caller must call `update_rest` for
            that check, once the container is removed.

        Raises
        ------
        DivergedError
            As `advance`.
        """

    def reaches(self) -> FloatArray:
        """Give the greatest distance of each outline from its centre, ordered as `state`, of shape (n,) [mm]."""

    def state(self) -> State:
        """Give positions and velocities."""

    def contacts(self) -> Contacts:
        """Give the contacts of the last step."""

    def dents(self) -> FloatArray:
        r"""Give the dent tensor of each container at the last step.

        .. math:: D = \sum_c \delta_c\, n_c \otimes n_c

        with the dents and normals of its contacts that bear a force. Between two boards the greater eigenvalue is the
        height lost.

        Returns
        -------
        ndarray, shape (n, 2, 2)
            Ordered as `state` [mm].
        """

    def extremes(self) -> tuple[float, float, float]:
        """Give the greatest contact force [mN], the deepest dent [mm], and the greatest dent over diameter [-]."""
