"""What the rest of colsim asks of an engine that simulates bodies in contact."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np
import numpy.typing as npt

from colsim.physics.scene import Body, Part, Point
from colsim.physics.watching import (
    AGAIN,
    ONE_LEFT,
    OVER,
    Watch,
    after_look,
    any_left,
    judge_rest,
    next_look,
    note_extremes,
)

__all__ = [
    "ContactRow",
    "Contacts",
    "DivergedError",
    "Engine",
    "FloatArray",
    "IntArray",
    "Settings",
    "State",
    "in_looks",
]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


class DivergedError(Exception):
    """A simulation diverged or holds what no column can, such as NaN: what it says cannot be believed."""


@dataclass(frozen=True)
class Settings:
    """How finely an engine works.

    Attributes
    ----------
    step : float
        Time step [s].
    iterations : int
        Rounds of the compiled engine's solver a step, which stops before if nothing changes any more; 0 has it lay on
        forces explicitly, which takes a step of 0.1 ms or less.
    chord_turn : float
        Greatest angle between neighbours of the chords that stand for an arc, where an engine needs chords [deg].
    """

    step: float = 0.001
    iterations: int = 12
    chord_turn: float = 1.0


@dataclass(frozen=True)
class State:
    """Where the bodies are and how they move, ordered by index.

    Attributes
    ----------
    index : ndarray, shape (n,)
        Whole numbers of the bodies.
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


def in_looks(engine: Engine, watch: Watch, looks: int) -> int:
    """Do what `Engine.look_on` does with an engine's other methods."""
    for _ in range(looks):
        steps = next_look(watch, engine.drum_angle)
        if steps == 0:
            return OVER
        if watch.row["turning"][0]:
            engine.drive(float(watch.row["rate"][0]))
        engine.advance(steps)
        state, reaches = engine.state(), engine.reaches()
        if after_look(watch):
            note_extremes(watch, *engine.extremes(), state.position, reaches)
        if any_left(watch, state.position, reaches):
            return ONE_LEFT
        judge_rest(watch, state.velocity, state.spin)
    return AGAIN


ContactRow = tuple[int, int, Part | None, Point, Point, Point, float]
"""One contact, in the order of the attributes of `Contacts`."""


@dataclass(frozen=True)
class Contacts:
    """The contacts of the last step, a row each, ordered by body, then by what it touches.

    Attributes
    ----------
    body : ndarray, shape (n,)
        Index of the body that the force acts on.
    other : ndarray, shape (n,)
        Index of the other body (always the greater one), or -1 for a piece.
    part : tuple of (Part or None), length n
        What the piece belongs to; None between two bodies.
    point : ndarray, shape (n, 2)
        [mm]
    normal : ndarray, shape (n, 2)
        Unit vector into the body.
    force : ndarray, shape (n, 2)
        On the body, friction included [mN].
    overlap : ndarray, shape (n,)
        Depth by which the two overlap, which is what both give way [mm].
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
        """Put contacts in order: engines list them in that of their own tables, on which nothing must depend."""
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

    Every engine starts with the scene's walls and drum (at angle 0, not turning) and no bodies.
    """

    @property
    def drum_angle(self) -> float:
        """Angle of the drum [rad], counterclockwise."""

    def add(
        self, body: Body, position: Point, angle: float = 0.0, velocity: Point = (0.0, 0.0), spin: float = 0.0
    ) -> None:
        """Put a body in."""

    def remove(self, index: int) -> None:
        """Take a body out."""

    def reshape(self, body: Body) -> None:
        """Give a body that is in another section, and what has set of it; place, mass and speed stay as they were."""

    def drive(self, rate: float) -> None:
        """Have the motor turn the drum at this rate [rad/s], as far as its torque allows."""

    def hold(self) -> None:
        """Have the gear hold the drum where it is, whatever presses on it, until it is driven again."""

    def advance(self, steps: int) -> None:
        """Let this many time steps pass."""

    def look_on(self, watch: Watch, looks: int) -> int:
        """Let time pass until what is watched for has come, a container has left, or there were so many looks.

        Returns
        -------
        int
            OVER, ONE_LEFT or AGAIN of `watching`; after ONE_LEFT the rest of that look has not been judged.
        """

    def reaches(self) -> FloatArray:
        """Give how far each outline goes from its centre now, ordered as `state` is, of shape (n,) [mm]."""

    def state(self) -> State:
        """Give positions and velocities."""

    def contacts(self) -> Contacts:
        """Give the contacts of the last step."""

    def dents(self) -> FloatArray:
        r"""Give how far each container is pressed in at the last step, ordered as `state` is, of shape (n, 2, 2) [mm].

        .. math:: D = \sum_c \delta_c\, n_c \otimes n_c

        with the dents and normals of its contacts that press. Between two boards its greater eigenvalue is the height
        lost.
        """

    def extremes(self) -> tuple[float, float, float]:
        """Give the greatest contact force [mN], the deepest dent of a container [mm] and that over its diameter."""
