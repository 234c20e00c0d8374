"""What the rest of colsim asks of a rigid-body engine."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np
import numpy.typing as npt

from colsim.physics.giving_way import GivingWay, Pace, slice_over
from colsim.physics.scene import Body, Part, Point
from colsim.physics.watching import (
    AGAIN,
    ONE_LEFT,
    OVER,
    Watch,
    after_look,
    any_left,
    has_settled,
    judge_rest,
    next_look,
    note_extremes,
)

__all__ = [
    "ContactRow",
    "Contacts",
    "Engine",
    "FloatArray",
    "IntArray",
    "Settings",
    "State",
    "TornApartError",
    "in_looks",
    "in_slices",
]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


class TornApartError(Exception):
    """A simulation holds what no column can, such as a number that is none: what it says cannot be believed."""


@dataclass(frozen=True)
class Settings:
    """How finely an engine works.

    Attributes
    ----------
    step : float
        Time step [s].
    iterations : int
        Rounds of the contact solver a step; the compiled engine stops before if nothing changes any more.
    chord_turn : float
        Greatest angle between neighbours of the chords that stand for an arc, where an engine needs chords [deg].
    slop : float
        Overlap of two bodies that is left uncorrected [mm].
    response : float
        Time in which a soft section goes most of the way to the one that its load makes [s].
    memory : float
        Time over which the loads on soft sections are averaged, as those of single steps jump [s].
    """

    step: float = 0.001
    iterations: int = 20
    chord_turn: float = 1.0
    slop: float = 0.02
    response: float = 0.2
    memory: float = 0.05


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


def in_slices(engine: Engine, steps: int, soft: GivingWay, pace: Pace) -> None:
    """Do what `Engine.advance_giving_way` does with an engine's other methods."""
    if not len(soft.sections):
        engine.advance(steps)
        return
    for begun in range(0, steps, pace.steps):
        virials, state = engine.advance_loaded(min(pace.steps, steps - begun)), engine.state()
        if slice_over(soft, virials, state.angle, state.position[:, 1], pace):
            seen = soft.sections[soft.sections["seen"]]
            height = seen["diameter"] - seen["shown_squeeze"]
            shown = (height, seen["shown_flat"], seen["shown_side"], seen["shown_angle"])
            engine.reshape(state.index[seen["place"]], np.stack(shown, axis=1))
            for row in soft.sections[soft.sections["gripped_anew"]]:
                engine.grip(int(state.index[row["place"]]), float(row["grip"]))


def in_looks(engine: Engine, watch: Watch, soft: GivingWay, pace: Pace, looks: int) -> int:
    """Do what `Engine.look_on` does with an engine's other methods."""
    for _ in range(looks):
        steps = next_look(watch, engine.drum_angle)
        if steps == 0:
            return OVER
        if watch.row["turning"][0]:
            engine.drive(float(watch.row["rate"][0]))
        engine.advance_giving_way(steps, soft, pace)
        state, reaches = engine.state(), engine.reaches()
        if after_look(watch):
            note_extremes(watch, *engine.extremes(), state.position, reaches)
        if any_left(watch, state.position, reaches):
            return ONE_LEFT
        judge_rest(watch, state.velocity, state.spin, has_settled(soft))
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
        On the body, friction included [mN]. Where two bodies touch in two points the force stands whole in one
        of the two rows, not always the first, and the other holds nan.
    overlap : ndarray, shape (n,)
        Depth by which the two overlap [mm]; negative where they are apart.
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

    def reshape(self, index: IntArray, sections: FloatArray) -> None:
        """Give bodies that are in other sections; all else stays as it was.

        Parameters
        ----------
        index : ndarray of int, shape (k,)
            Which bodies.
        sections : ndarray, shape (k, 4)
            Height, flat, side [mm] and angle of the flat [rad] of each, as of `scene.Body`.
        """

    def grip(self, index: int, limit: float) -> None:
        """Have what presses on both sides of a body hold it back, by at most a force [mN], until it is given another.

        It acts against motion whichever way it goes, and is no contact; 0 lets go.
        """

    def drive(self, rate: float) -> None:
        """Have the motor turn the drum at this rate [rad/s], as far as its torque allows."""

    def hold(self) -> None:
        """Have the gear hold the drum where it is, whatever presses on it, until it is driven again."""

    def advance(self, steps: int) -> None:
        """Let this many time steps pass."""

    def advance_loaded(self, steps: int) -> FloatArray:
        """Let this many time steps pass; give the mean over them of what `virials` gives."""

    def advance_giving_way(self, steps: int, soft: GivingWay, pace: Pace) -> None:
        """Let this many time steps pass, with soft sections following what presses on them after every slice."""

    def look_on(self, watch: Watch, soft: GivingWay, pace: Pace, looks: int) -> int:
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

    def virials(self) -> FloatArray:
        r"""Give what presses on each body at the last step, ordered as `state` is, of shape (n, 2, 2) [mN mm].

        .. math:: M = -\sum_c \tfrac12 \left(f_c \otimes (x_c - x) + (x_c - x) \otimes f_c\right)

        Between two plates with force F a height h apart its greater eigenvalue is F h; the weight, which acts at the
        centre, has no part in it.
        """

    def extremes(self) -> tuple[float, float]:
        """Give the greatest contact force [mN] and the greatest overlap of what presses [mm] of the last step."""
