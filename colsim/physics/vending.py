"""Loading a column and turning its rotor, on any engine; `monitor` decides when a turn is over."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from colsim.physics.cross_section import CrossSection
from colsim.physics.engines import Contacts, Engine, FloatArray, Settings, State
from colsim.physics.mechanism import Mechanism, why_blocked, why_held
from colsim.physics.monitor import (
    CONTAINER_LEFT,
    DONE,
    DROPPED,
    LOST,
    new_monitor,
    start_wait,
    update_rest,
    whereabouts,
)
from colsim.physics.scene import Body, Point

__all__ = ["Frame", "LostContainerError", "Turn", "VendingColumn"]

MAX_DENT_SHARE = 0.2  # dent at one contact over diameter, up to which the contact law is used
DROP_HEIGHT = 1.0  # [mm] above the stack from which a container is dropped
SINGLE_FILE_GAP = 3.0  # [mm] of play between the side walls, below which a bulge can touch both
UNLIMITED = 1 << 30  # checks


class LostContainerError(Exception):
    """A container left the column other than through the outlet, its position is NaN, or a dent is too deep."""


@dataclass(frozen=True)
class Frame:
    """State of the column at one time.

    Attributes
    ----------
    time : float
        [s]
    drum_angle : float
        [rad]
    state : State
        Positions and velocities of the bodies.
    bodies : tuple of Body
        Their sections at that time, in the same order; empty if all are as they were loaded.
    dents : ndarray, shape (n, 2, 2)
        Dent tensor of each, as `Engine.dents` gives it [mm].
    """

    time: float
    drum_angle: float
    state: State
    bodies: tuple[Body, ...] = ()
    dents: FloatArray = field(default_factory=lambda: np.zeros((0, 2, 2)))


@dataclass(frozen=True)
class Turn:
    """Result of one turn of the drum by one pocket.

    Attributes
    ----------
    dropped : tuple of int
        Indices of the containers that came out, in order.
    blocked : bool
        Whether the drum was stopped before its target.
    duration : float
        Until everything was at rest [s].
    peak_force : float
        Greatest contact force [N], checked every second check; shorter peaks in between are missed.
    dent : float
        Deepest dent of a container at one contact [mm], checked likewise.
    shared : bool
        Whether two containers touched within the drum, thus in one pocket, at any such check.
    """

    dropped: tuple[int, ...]
    blocked: bool
    duration: float
    peak_force: float
    dent: float
    shared: bool


class VendingColumn:
    """One column that is loaded and vended.

    Parameters
    ----------
    section : CrossSection
        Scene and dimensions.
    engine : Engine
        Engine of that scene, without bodies.
    settings : Settings
        Those of the engine.
    speed : float
        Full speed of the drum [rad/s].
    watch : callable, optional
        Called with a `Frame` at every check, every fiftieth of a second.
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
        self._section, self._engine, self._on_frame = section, engine, watch
        self._monitor = new_monitor(settings.step)
        self._row = self._monitor.row[0]
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
        """Positions and velocities of the containers."""
        return self._engine.state()

    @property
    def left(self) -> tuple[int, ...]:
        """Indices of the containers in the column."""
        return tuple(self._bodies)

    def contacts(self) -> Contacts:
        """Give the contacts of the last step."""
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
        """Give the present state of the column."""
        state = self.state
        bodies = tuple(self._bodies[index] for index in state.index.tolist())
        return Frame(float(self._row["time"]), self._engine.drum_angle, state, bodies, self._engine.dents())

    def lay(self, body: Body, across: float, angle: float = 0.0) -> bool:
        """Put a container on the stack, without overlap, and wait for rest.

        Parameters
        ----------
        body : Body
            The container.
        across : float
            Horizontal position [-], from -1 (at the left wall) to 1 (at the right wall).
        angle : float
            Angle of the container [rad].

        Returns
        -------
        bool
            Whether it came to rest below the column's top.

        Raises
        ------
        LostContainerError
            If a container leaves other than through the outlet.
        DivergedError
            If the simulation diverges.
        """
        x = across * (self._section.width / 2 - body.reach)
        y = self._section.floor_top + body.reach
        for reach, (px, py) in zip(self._engine.reaches().tolist(), self.state.position.tolist(), strict=True):
            distance = body.reach + reach
            if abs(px - x) < distance:
                y = max(y, py + math.sqrt(distance**2 - (px - x) ** 2))
        for edge in self._section.lifted_edges:
            if edge.distance((x, y + DROP_HEIGHT)) < body.reach:  # no room beside the edge: it rests on the lip
                lip_x, lip_y = edge.start
                y = lip_y + math.sqrt(body.reach**2 - (lip_x - x) ** 2)
        if self._meets_drum((x, y + DROP_HEIGHT), body.reach):
            y = max(y, math.sqrt((self._section.drum_radius + body.reach) ** 2 - x**2))
        if body.contact.length > 0.0 and 0.0 <= self._section.width - body.height < SINGLE_FILE_GAP:
            body = replace(body, bulges=True)
        self._engine.add(body, (x, y + DROP_HEIGHT), angle)
        self._bodies[body.index] = body
        self._row["reach"] = max(self._row["reach"], body.reach)
        self._wait(turning=False)
        state = self.state
        highest = state.position[state.index == body.index, 1]
        return bool(np.all(highest + body.height / 2 <= self._section.top))

    def _meets_drum(self, point: Point, reach: float) -> bool:
        """Tell whether a circle around a point meets the drum at its present angle."""
        drum, (x, y) = self._section.scene.drum, point
        if drum is None:
            return False
        cosine, sine = math.cos(self._engine.drum_angle), math.sin(self._engine.drum_angle)
        local = (cosine * x + sine * y, cosine * y - sine * x)
        return any(piece.distance(local) < reach for piece in drum.outline.pieces)

    def take_out(self, index: int) -> None:
        """Remove a container that has no room, or has come out.

        Parameters
        ----------
        index : int
            Of a container in the column.
        """
        self._engine.remove(index)
        del self._bodies[index]

    def set_flats(self) -> None:
        """Make a share of the present flats of soft containers permanent, on the axis of the greatest dent of each.

        If any flat grew, wait for rest.

        Raises
        ------
        LostContainerError
            If a container leaves other than through the outlet.
        DivergedError
            If the simulation diverges.
        """
        state, changed = self.state, False
        for index, angle, dents in zip(state.index.tolist(), state.angle.tolist(), self._engine.dents(), strict=True):
            body = self._bodies[index]
            height_lost, direction = _principal_dent(dents)
            squeeze = body.contact.set_fraction * (height_lost + body.set_squeeze)
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
            self._wait(turning=False)

    def turn(self) -> Turn:
        """Turn the drum by one pocket and wait for rest.

        Returns
        -------
        Turn
            What came out, whether the drum was blocked, and what was observed meanwhile.

        Raises
        ------
        LostContainerError
            If a container leaves other than through the outlet, or is dented beyond the range of the contact law.
        DivergedError
            If the simulation diverges.
        """
        self._dropped = []
        row, start = self._row, float(self._row["time"])
        row["peak_force"], row["dent"], row["dent_share"], row["shared"], row["vending"] = 0.0, 0.0, 0.0, False, True
        self._turns += 1
        # Absolute, since errors of relative targets would add up.
        row["target"] = self._section.turn * self._turns * 2 * math.pi / self._section.pockets
        self._wait(turning=True)
        blocked = bool(row["blocked"])
        if not blocked:
            self._engine.hold()
            self._wait(turning=False)
        row["vending"] = False
        if row["dent_share"] > MAX_DENT_SHARE:
            raise LostContainerError(
                f"a container is dented by {row['dent_share']:.0%} of its diameter at one contact, which this model "
                "does not reach"
            )
        return Turn(
            dropped=tuple(self._dropped),
            blocked=blocked,
            duration=float(row["time"]) - start,
            peak_force=float(row["peak_force"]),
            dent=float(row["dent"]),
            shared=bool(row["shared"]),
        )

    def _wait(self, *, turning: bool) -> None:
        """Turn the drum to its target, or wait for rest; remove containers that leave meanwhile."""
        start_wait(self._monitor, turning=turning)
        checks = UNLIMITED if self._on_frame is None else 1
        while (result := self._engine.run(self._monitor, checks)) != DONE:
            if self._on_frame is not None:
                self._on_frame(self.frame())
            if result == CONTAINER_LEFT:
                self._remove_outside()
                update_rest(self._monitor, self.state.velocity, self.state.spin)

    def _remove_outside(self) -> None:
        state, reaches = self.state, self._engine.reaches()
        for index, (x, y), reach in zip(state.index.tolist(), state.position.tolist(), reaches.tolist(), strict=True):
            place = whereabouts(self._monitor, x, y, reach)
            if place == DROPPED:
                self.take_out(index)
                self._dropped.append(index)
                self._dispensed += 1
            elif place == LOST:
                raise LostContainerError(f"container {index} is at ({x:g}, {y:g}) mm, outside the column")


def _principal_dent(dents: FloatArray) -> tuple[float, float]:
    """Give the greater principal value of a dent tensor, the height lost along its axis [mm], and that axis [rad]."""
    (xx, xy), (_, yy) = dents.tolist()
    return (xx + yy) / 2 + math.hypot((xx - yy) / 2, xy), math.atan2(2.0 * xy, xx - yy) / 2
