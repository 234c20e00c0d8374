"""Loading a column and turning its rotor, on any engine.

Times and limits here decide when a vend is over, not how things move.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from colsim.physics.cross_section import CrossSection
from colsim.physics.engines import Contacts, Engine, Settings, State
from colsim.physics.mechanism import Mechanism, why_blocked, why_held
from colsim.physics.scene import Body
from colsim.physics.softness import SoftBodies

__all__ = ["Frame", "LostContainerError", "Turn", "VendingColumn"]

LOOK = 20  # steps between two looks at the state
EXTREMES_EVERY = 2  # looks between two at forces, which cost as much as all else that is looked at
FLATTEST = 0.5  # of its diameter that a container may lose
REST_SPEED = 2.0  # [mm/s] below which everything counts as at rest
REST_TIME = 0.1  # [s] for which it must stay so
LONGEST_WAIT = 3.0  # [s] after which a column that never quite rests is taken as it is
STALL_TIME = 0.5  # [s] in which a drum that is not blocked must make
STALL_SHARE = 0.1  # at least this share of its turn at full speed
TOUCHING = 1.0  # [mm] apart at which two containers in the drum count as in one pocket
LAYING_GAP = 1.0  # [mm] above what lies there, at which a container is let go
ANGLE_TOLERANCE = 2e-4  # [rad] short of its place at which the drum is stopped, 0.02 mm at the rim
PLACE_TOLERANCE = 5e-3  # [rad] at which it counts as in its place if a load keeps it from coming closer, 0.5 mm


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
    """

    time: float
    drum_angle: float
    state: State
    bodies: tuple[Body, ...] = ()


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
    overlap : float
        Greatest overlap of two bodies at every second look [mm].
    shared : bool
        Whether two containers lay touching within the drum, so in one pocket, at any such look.
    """

    dropped: tuple[int, ...]
    blocked: bool
    duration: float
    peak_force: float
    overlap: float
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
        self._section, self._engine, self._watch = section, engine, watch
        self._step = settings.step
        self._time = 0.0
        self._speed = speed
        self._target = 0.0
        self._bodies: dict[int, Body] = {}
        self._dropped: list[int] = []
        self._dispensed = 0
        self._turns = 0
        self._peak_force = self._overlap = 0.0
        self._shared = self._turning = False
        self._looks = 0
        self._reach = 0.0  # of the largest container that was ever in
        self._soft = SoftBodies(engine, settings, section)
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
        return why_held(self.contacts(), self.state, self._soft.grips)

    def why_blocked(self) -> Mechanism:
        """Tell what blocks the drum."""
        weight = math.hypot(*self._section.scene.gravity) * sum(body.mass for body in self._bodies.values())
        bound = sum(self._soft.grips.values()) > weight
        return why_blocked(self.contacts(), self.state, self._section.drum_radius, bound=bound)

    @property
    def dispensed(self) -> int:
        """Number of containers that have come out."""
        return self._dispensed

    def frame(self) -> Frame:
        """Give a picture of the column as it is now."""
        state, now = self.state, {**self._bodies, **self._soft.shapes}
        bodies = tuple(now[index] for index in state.index.tolist()) if self._soft else ()
        return Frame(self._time, self._engine.drum_angle, state, bodies)

    def _reach_of(self, index: int) -> float:
        """Give how far the outline of a container goes from its centre now [mm]."""
        return self._soft.reach_of(index) if index in self._soft else self._bodies[index].reach

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
        state = self.state
        for index, (px, py) in zip(state.index.tolist(), state.position.tolist(), strict=True):
            distance = body.reach + self._reach_of(index)
            if abs(px - x) < distance:
                y = max(y, py + math.sqrt(distance**2 - (px - x) ** 2))
        for edge in self._section.lifted_edges:
            if edge.distance((x, y)) < body.reach:  # it finds no room beside the edge, so it lies on the lip
                lip_x, lip_y = edge.start
                y = lip_y + math.sqrt(body.reach**2 - (lip_x - x) ** 2)
        self._engine.add(body, (x, y + LAYING_GAP), angle)
        self._soft.add(body)
        self._bodies[body.index] = body
        self._reach = max(self._reach, body.reach)
        self._wait_for_rest()
        state = self.state
        highest = state.position[state.index == body.index, 1]
        return bool(np.all(highest + body.height / 2 <= self._section.top))

    def take_out(self, index: int) -> None:
        """Take out a container that does not go in, or has come out."""
        self._engine.remove(index)
        self._soft.remove(index)
        del self._bodies[index]

    def set_flats(self) -> None:
        """Have soft containers keep that share of their flats which sets, as they lie now.

        Raises
        ------
        LostContainerError
            If one is squeezed flatter than this model goes.
        """
        if self._soft.flattest > FLATTEST:
            raise LostContainerError(
                f"a container is squeezed to {1 - self._soft.flattest:.0%} of its diameter, which no bottle stands"
            )
        if self._soft.set_flats():
            self._wait_for_rest()

    def turn(self) -> Turn:
        """Turn the drum by one pocket and wait until everything is at rest.

        Raises
        ------
        LostContainerError
            If a container leaves other than by the outlet.
        """
        self._dropped = []
        self._peak_force = self._overlap = 0.0
        self._shared, self._turning = False, True
        self._turns += 1
        # From the start, not from where the drum is: relative targets would add up their errors.
        self._target = self._section.turn * self._turns * 2 * math.pi / self._section.pockets
        begun = self._time
        blocked = not self._reach_target()
        if not blocked:
            self._engine.hold()
            self._wait_for_rest()
        self._turning = False
        return Turn(tuple(self._dropped), blocked, self._time - begun, self._peak_force, self._overlap, self._shared)

    def _reach_target(self) -> bool:
        """Turn until the drum is in its place, or makes too little way towards it."""
        window = max(1, round(STALL_TIME / (LOOK * self._step)))
        least = STALL_SHARE * self._speed * STALL_TIME
        short = [self._short_of_target()]
        while abs(short[-1]) > ANGLE_TOLERANCE:
            # At full speed up to its place, so that how often we look does not shape how the drum stops.
            steps = LOOK
            if abs(short[-1]) < 1.5 * LOOK * self._speed * self._step:
                steps = max(2, math.ceil(abs(short[-1]) / (self._speed * self._step)))
            rate = min(short[-1] / (steps * self._step), self._speed)
            self._engine.drive(self._section.turn * rate)
            self._look(steps)
            short.append(self._short_of_target())
            if len(short) > window and short[-1 - window] - short[-1] < least:
                return abs(short[-1]) <= PLACE_TOLERANCE
        return True

    def _short_of_target(self) -> float:
        """Give the angle that the drum still has to go [rad]."""
        return self._section.turn * (self._target - self._engine.drum_angle)

    def _wait_for_rest(self) -> None:
        quiet, look_time = 0.0, LOOK * self._step
        for _ in range(round(LONGEST_WAIT / look_time)):
            self._look()
            quiet = quiet + look_time if self._fastest() < REST_SPEED and self._soft.settled else 0.0
            if quiet >= REST_TIME:
                return

    def _fastest(self) -> float:
        """Give the greatest speed of a centre along an axis, or of a rim [mm/s]."""
        glance = self._engine.glance()
        return max(glance.speed, self._reach * glance.spin)

    def _look(self, steps: int = LOOK) -> None:
        """Let some steps pass, then take out what has dropped."""
        self._soft.advance(steps)
        self._time += steps * self._step
        if self._watch is not None:
            self._watch(self.frame())
        self._looks += 1
        if self._turning and self._looks % EXTREMES_EVERY == 0:
            self._note_extremes()
        glance = self._engine.glance()
        if glance.lowest > 0.0 and glance.widest < self._section.width / 2:
            return
        state = self.state
        for index, (x, y) in zip(state.index.tolist(), state.position.tolist(), strict=True):
            self._place(index, x, y)

    def _note_extremes(self) -> None:
        """Keep what a turn is asked for beside what came: peak force, overlap, two in one pocket."""
        force, overlap = self._engine.extremes()
        self._peak_force, self._overlap = max(self._peak_force, force / 1000.0), max(self._overlap, overlap)
        self._shared = self._shared or self._two_in_one_pocket()

    def _two_in_one_pocket(self) -> bool:
        state, radius = self.state, self._section.drum_radius
        places = zip(state.index.tolist(), state.position.tolist(), strict=True)
        within = [(index, place) for index, place in places if math.hypot(*place) < radius]
        for (one, at), (other, there) in combinations(within, 2):
            if math.dist(at, there) < self._reach_of(one) + self._reach_of(other) + TOUCHING:
                return True
        return False

    def _place(self, index: int, x: float, y: float) -> None:
        from_axis = math.hypot(x, y)
        if from_axis < self._section.housing_radius:
            return
        if y < 0 and abs(x) < self._section.housing_radius:
            if from_axis > self._section.housing_radius + self._reach_of(index):
                self.take_out(index)
                self._dropped.append(index)
                self._dispensed += 1
        elif not (y > 0 and abs(x) < self._section.width / 2):
            raise LostContainerError(f"container {index} is at ({x:g}, {y:g}) mm, outside the column")
