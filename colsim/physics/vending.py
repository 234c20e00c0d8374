"""Loading a column and turning its rotor, on any engine; `watching` says when a turn is over."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from colsim.physics.cross_section import CrossSection
from colsim.physics.engines import Contacts, Engine, FloatArray, Settings, State
from colsim.physics.mechanism import Mechanism, why_blocked, why_held
from colsim.physics.scene import Body, Point
from colsim.physics.watching import DROPPED, LOST, ONE_LEFT, OVER, begin, has_left, judge_rest, new_watch

__all__ = ["Frame", "LostContainerError", "Turn", "VendingColumn"]

DEEPEST = 0.2  # of its diameter that a container may be dented at one contact
LAYING_GAP = 1.0  # [mm] above what lies there, at which a container is let go
SINGLE_FILE = 3.0  # [mm] beside a container, below which its bulge can meet both side walls
MANY = 1 << 30  # looks


class LostContainerError(Exception):
    """A container left the column other than by the outlet, or its place is not a number."""


@dataclass(frozen=True)
class Frame:
    """A picture of the column at one time.

    Attributes
    ----------
    time : float
        [s]
    drum_angle : float
        [rad]
    state : State
        Where the bodies are and how they move.
    bodies : tuple of Body
        Their sections at that time, in the same order; empty where all are as they were laid in.
    dents : ndarray, shape (n, 2, 2)
        How far each is pressed in, as `Engine.dents` gives it [mm].
    """

    time: float
    drum_angle: float
    state: State
    bodies: tuple[Body, ...] = ()
    dents: FloatArray = field(default_factory=lambda: np.zeros((0, 2, 2)))


@dataclass(frozen=True)
class Turn:
    """What one turn of the drum by one pocket did.

    Attributes
    ----------
    dropped : tuple of int
        Indices of the containers that came, in order.
    blocked : bool
        Whether the drum stopped short of its place.
    duration : float
        Until everything was at rest [s].
    peak_force : float
        Greatest contact force at every second look [N]; a knock in between is not in it.
    dent : float
        Deepest dent of a container at one contact, at every second look [mm].
    shared : bool
        Whether two containers lay touching within the drum, so in one pocket, at any such look.
    """

    dropped: tuple[int, ...]
    blocked: bool
    duration: float
    peak_force: float
    dent: float
    shared: bool


class VendingColumn:
    """One column with its containers, being loaded and vended.

    Parameters
    ----------
    section : CrossSection
        Scene and places.
    engine : Engine
        Made for that scene, without bodies yet.
    settings : Settings
        The engine's own.
    speed : float
        Rate at which the motor turns the drum [rad/s].
    watch : callable, optional
        Given a `Frame` at every look, a fiftieth of a second apart.
    """

    def __init__(
        self,
        section: CrossSection,
        engine: Engine,
        *,
        settings: Settings,
        speed: float,
        watch: Callable[[Frame], None] | None = None,
    ) -> None:
        self._section, self._engine, self._show = section, engine, watch
        self._watch = new_watch(settings.step)
        self._row = self._watch.row[0]
        self._row["speed"], self._row["turn"] = speed, section.turn
        self._row["drum_radius"], self._row["housing_radius"] = section.drum_radius, section.housing_radius
        self._row["half_width"] = section.width / 2
        self._bodies: dict[int, Body] = {}
        self._dropped: list[int] = []
        self._dispensed = 0
        self._turns = 0
        engine.hold()

    @property
    def state(self) -> State:
        """Where the containers are."""
        return self._engine.state()

    @property
    def left(self) -> tuple[int, ...]:
        """Indices of the containers in the column."""
        return tuple(self._bodies)

    def contacts(self) -> Contacts:
        """Give the contacts as they are now."""
        return self._engine.contacts()

    def why_held(self) -> Mechanism:
        """Tell what holds the containers up."""
        return why_held(self.contacts(), self.state)

    def why_blocked(self) -> Mechanism:
        """Tell what blocks the drum."""
        weight = math.hypot(*self._section.scene.gravity) * sum(body.mass for body in self._bodies.values())
        return why_blocked(self.contacts(), self.state, self._section.drum_radius, weight)

    @property
    def dispensed(self) -> int:
        """Number of containers that have come out."""
        return self._dispensed

    def frame(self) -> Frame:
        """Give a picture of the column as it is now."""
        state = self.state
        bodies = tuple(self._bodies[index] for index in state.index.tolist())
        return Frame(float(self._row["time"]), self._engine.drum_angle, state, bodies, self._engine.dents())

    def lay(self, body: Body, across: float, angle: float = 0.0) -> bool:
        """Lay a container on what is there, without overlap, and let it come to rest.

        Parameters
        ----------
        body : Body
            The container.
        across : float
            Where it is laid across the free width, from -1 (left wall) to 1 (right wall).
        angle : float
            How it is turned [rad].

        Returns
        -------
        bool
            Whether it came to rest below the column's top.
        """
        x = across * (self._section.width / 2 - body.reach)
        y = self._section.floor_top + body.reach
        for reach, (px, py) in zip(self._engine.reaches().tolist(), self.state.position.tolist(), strict=True):
            distance = body.reach + reach
            if abs(px - x) < distance:
                y = max(y, py + math.sqrt(distance**2 - (px - x) ** 2))
        for edge in self._section.lifted_edges:
            if edge.distance((x, y + LAYING_GAP)) < body.reach:  # no room beside the edge: it lies on the lip
                lip_x, lip_y = edge.start
                y = lip_y + math.sqrt(body.reach**2 - (lip_x - x) ** 2)
        if self._meets_drum((x, y + LAYING_GAP), body.reach):
            y = max(y, math.sqrt((self._section.drum_radius + body.reach) ** 2 - x**2))
        if body.gives.length > 0.0 and 0.0 <= self._section.width - body.height < SINGLE_FILE:
            body = replace(body, bulges=True)
        self._engine.add(body, (x, y + LAYING_GAP), angle)
        self._bodies[body.index] = body
        self._row["reach"] = max(self._row["reach"], body.reach)
        self._pass(turning=False)
        state = self.state
        highest = state.position[state.index == body.index, 1]
        return bool(np.all(highest + body.height / 2 <= self._section.top))

    def _meets_drum(self, point: Point, reach: float) -> bool:
        """Tell whether the drum, as it is turned now, comes nearer to a point than a reach."""
        drum, (x, y) = self._section.scene.drum, point
        if drum is None:
            return False
        cosine, sine = math.cos(self._engine.drum_angle), math.sin(self._engine.drum_angle)
        turned = (cosine * x + sine * y, cosine * y - sine * x)
        return any(piece.distance(turned) < reach for piece in drum.outline.pieces)

    def take_out(self, index: int) -> None:
        """Take out a container that does not go in, or has come out."""
        self._engine.remove(index)
        del self._bodies[index]

    def set_flats(self) -> None:
        """Have soft containers keep that share of their flats which sets, across what presses on them most now."""
        state, changed = self.state, False
        for index, angle, dents in zip(state.index.tolist(), state.angle.tolist(), self._engine.dents(), strict=True):
            body = self._bodies[index]
            most, direction = _most_pressed(dents)
            squeeze = body.gives.set_fraction * (most + body.set_squeeze)
            if squeeze <= body.set_squeeze:
                continue
            diameter = body.height + body.set_squeeze
            self._bodies[index] = replace(
                body,
                height=diameter - squeeze,
                flat=math.pi / 2 * squeeze,
                flat_angle=direction - angle + math.pi / 2,
                set_squeeze=squeeze,
            )
            self._engine.reshape(self._bodies[index])
            changed = True
        if changed:
            self._pass(turning=False)

    def turn(self) -> Turn:
        """Turn the drum by one pocket and wait until everything is at rest.

        Raises
        ------
        LostContainerError
            If a container leaves other than by the outlet.
        """
        self._dropped = []
        row, begun = self._row, float(self._row["time"])
        row["peak_force"], row["dent"], row["dent_share"], row["shared"], row["vending"] = 0.0, 0.0, 0.0, False, True
        self._turns += 1
        # From the start, not from where the drum is: relative targets would add up their errors.
        row["target"] = self._section.turn * self._turns * 2 * math.pi / self._section.pockets
        self._pass(turning=True)
        blocked = bool(row["blocked"])
        if not blocked:
            self._engine.hold()
            self._pass(turning=False)
        row["vending"] = False
        if row["dent_share"] > DEEPEST:
            raise LostContainerError(
                f"a container is dented by {row['dent_share']:.0%} of its diameter at one contact, which this model "
                "does not reach"
            )
        return Turn(
            dropped=tuple(self._dropped),
            blocked=blocked,
            duration=float(row["time"]) - begun,
            peak_force=float(row["peak_force"]),
            dent=float(row["dent"]),
            shared=bool(row["shared"]),
        )

    def _pass(self, *, turning: bool) -> None:
        """Turn the drum to its target, or wait until everything is at rest, and take out what drops meanwhile."""
        begin(self._watch, turning=turning)
        looks = MANY if self._show is None else 1
        while (found := self._engine.look_on(self._watch, looks)) != OVER:
            if self._show is not None:
                self._show(self.frame())
            if found == ONE_LEFT:
                self._take_out_what_left()
                judge_rest(self._watch, self.state.velocity, self.state.spin)

    def _take_out_what_left(self) -> None:
        state, reaches = self.state, self._engine.reaches()
        for index, (x, y), reach in zip(state.index.tolist(), state.position.tolist(), reaches.tolist(), strict=True):
            where = has_left(self._watch, x, y, reach)
            if where == DROPPED:
                self.take_out(index)
                self._dropped.append(index)
                self._dispensed += 1
            elif where == LOST:
                raise LostContainerError(f"container {index} is at ({x:g}, {y:g}) mm, outside the column")


def _most_pressed(dents: FloatArray) -> tuple[float, float]:
    """Give the greatest height lost along one axis [mm], and the direction of that axis [rad]."""
    (xx, xy), (_, yy) = dents.tolist()
    return (xx + yy) / 2 + math.hypot((xx - yy) / 2, xy), math.atan2(2.0 * xy, xx - yy) / 2
