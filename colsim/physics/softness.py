"""How the sections of soft-walled containers follow what presses on them.

Once in a while the load on each container is read from its contacts and its section moved part of the way to the one
that this load makes. The load is the virial of the contact forces, so that a container on top of another, one pinched
between a wall and its neighbours, and anything between are one case.

Where a column leaves less than 3 mm beside a container and its bulge fills that, both walls press on it. It is then a
box with rounded corners a little narrower than the column, which touches neither wall, and what they do to it, the
friction of what they are pressed with, holds it back by a force of its own.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from colsim.physics.cross_section import CrossSection
from colsim.physics.engines import Engine, FloatArray, Settings
from colsim.physics.scene import Body, SoftWall
from colsim.theory.squeeze import Bottle, bulge, section_between

__all__ = ["Load", "SoftBodies", "bound_section", "loads", "squeeze_of"]

SLICE = 0.005  # [s] between two looks at the loads, and two changes of the sections
FASTEST = 10.0  # [mm/s] at which a height or a flat changes
FLAT_STEP = 0.25  # [mm] in which a flat that sets grows
UNSEEN = 0.002  # [mm] between a section and what is wanted that is let be
SEEN = 0.01  # [mm] in which heights change for the engine
SAME_LOAD = 0.02  # [N] by which a load may differ from one whose section is known
SINGLE_FILE = 3.0  # [mm] beside a container, below which both walls can press on it
GAP = 0.1  # [mm] by which a box is narrower than the column
BOX_STEP = 0.05  # [mm] in which a box changes
STILL = 0.1  # [mm] by which a height may change in the time of a response while it counts as settled
_LOST = np.concatenate([[0.0], np.geomspace(1e-6, 0.9, 120)])  # shares of the area at which sections are worked out


@dataclass(frozen=True)
class Load:
    """What presses on one section.

    Attributes
    ----------
    greatest, across : float
        Eigenvalues of the virial of the contact forces, the greater first [mN mm].
    angle : float
        Direction of the greater one [rad].
    """

    greatest: float
    across: float
    angle: float


def loads(virials: FloatArray) -> list[Load]:
    """Give what presses on each body, as one number along each of two axes.

    Parameters
    ----------
    virials : ndarray, shape (n, 2, 2)
        As `Engine.virials` gives them [mN mm].

    Returns
    -------
    list of Load
        In the same order.
    """
    values, vectors = np.linalg.eigh(virials)
    angles = np.arctan2(vectors[:, 1, 1], vectors[:, 0, 1])
    rows = zip(values[:, 1].tolist(), values[:, 0].tolist(), angles.tolist(), strict=True)
    return [Load(greatest, across, angle) for greatest, across, angle in rows]


@lru_cache(maxsize=256)
def _pressures(bottle: Bottle) -> FloatArray:
    """Give the gauge pressure at each share of the area lost [kPa]."""
    return np.array([bottle.pressure_when(lost) for lost in _LOST.tolist()])


def squeeze_of(bottle: Bottle, along: float, across: float) -> float:
    r"""Give how much lower a section is along the axis of the greater load.

    .. math:: b_i = \frac{F_i}{p L}, \qquad s = \frac{2}{\pi} (b_1 + b_2) - b_2, \qquad F_1 = p\,b_1 L + e k L s

    Parameters
    ----------
    bottle : Bottle
        Wall, gas and liquid.
    along, across : float
        Forces along the two axes, the greater first [N]; below zero counts as none.

    Returns
    -------
    float
        Squeeze s, diameter less height along the greater load [mm].

    Notes
    -----
    Interpolated between sections of the same ratio of the loads, up to the one that has lost nine tenths of its area.
    Where a vacuum draws the section out of round without load, the most squeezed of the sections that carry it is
    taken, as it is the one that lasts. The ring bears along the greater load alone.

    References
    ----------
    Membrane theory, as `theory.squeeze.section_under`.
    """
    if along <= 0.0:
        along, across = 0.0, 0.0
    ratio = min(max(across, 0.0) / along, 1.0) if along > 0 else 0.0
    flat = bottle.diameter / 2 * np.sqrt(math.pi * _LOST / ((1 + ratio) ** 2 / math.pi - ratio))
    squeeze = (2 / math.pi) * (1 + ratio) * flat - ratio * flat
    force = _pressures(bottle) / 1000 * flat * bottle.length + bottle.ring_force(1.0) * squeeze
    begin = int(np.flatnonzero(force <= 0.0)[-1])
    return float(np.interp(along, force[begin:], squeeze[begin:]))


@lru_cache(maxsize=256)
def _bound(bottle: Bottle, width: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give squeezes [mm] from where the bulge meets both walls, and what top and sides then bear [N]."""
    girth = math.pi * bottle.diameter
    touching = (girth - 2 * width) / (math.pi - 2)
    heights = np.linspace(min(touching, bottle.diameter), max(girth / 2 - width, 0.0), 200)[:-1]
    forces = np.array([bottle.forces_between(width, height) for height in heights.tolist()])
    return bottle.diameter - heights, forces[:, 0], forces[:, 1]


def bound_section(bottle: Bottle, width: float, along: float) -> tuple[float, float]:
    """Give squeeze [mm] and force on each side [N] of a bottle that both walls keep from bulging.

    Parameters
    ----------
    bottle : Bottle
        Wall, gas and liquid.
    width : float
        Between the walls, not less than the diameter [mm].
    along : float
        Force on top [N].

    Returns
    -------
    squeeze, side : float
        Diameter less height, and force with which each wall is pressed; (0, 0) where the bulge does not reach them.

    References
    ----------
    `theory.squeeze.Bottle.forces_between`, interpolated.
    """
    squeezes, top, side = _bound(bottle, width)
    if along <= top[0] or len(squeezes) < 2:
        return 0.0, 0.0
    return float(np.interp(along, top, squeezes)), max(0.0, float(np.interp(along, top, side)))


class SoftBodies:
    """The soft ones among a column's containers, and the sections that they have taken.

    Parameters
    ----------
    engine : Engine
        That they are in.
    settings : Settings
        Its time step, and how fast sections follow loads.
    section : CrossSection, optional
        Whose walls press on what fills its width; without it none do.
    """

    def __init__(self, engine: Engine, settings: Settings, section: CrossSection | None = None) -> None:
        self._engine, self._section = engine, section
        self._slice = max(1, round(SLICE / settings.step))
        passing = self._slice * settings.step
        self._most = FASTEST * passing
        self._share = -math.expm1(-passing / settings.response)
        self._look_back = max(1, round(settings.response / passing))
        self._keep = math.exp(-passing / settings.memory)
        self._soft: dict[int, _Soft] = {}
        self._virials = np.zeros((0, 2, 2))  # running means, in the order of the soft ones

    def __bool__(self) -> bool:
        return bool(self._soft)

    @property
    def flattest(self) -> float:
        """Greatest squeeze of any of them, as a share of its diameter [-]."""
        return max((soft.squeeze / soft.body.height for soft in self._soft.values()), default=0.0)

    @property
    def settled(self) -> bool:
        """Whether all sections are those that their loads make."""
        return all(soft.changed <= STILL for soft in self._soft.values())

    @property
    def grips(self) -> Mapping[int, float]:
        """By how much the walls hold back those on which both press, by index [mN]."""
        return {number: soft.grip for number, soft in self._soft.items() if soft.grip > 0.0}

    def add(self, body: Body) -> None:
        """Take note of a container that has been put in, if it is soft."""
        if body.wall is not None:
            width = self._section.width if self._section is not None else math.inf
            single = 0.0 <= width - body.height < SINGLE_FILE
            past: deque[tuple[float, float]] = deque(maxlen=self._look_back)
            self._soft[body.index] = _Soft(body, body.wall, past, width if single else math.inf)
            self._virials = np.concatenate([self._virials, np.zeros((1, 2, 2))])

    def remove(self, index: int) -> None:
        """Forget a container that has come out."""
        if index in self._soft:
            self._virials = np.delete(self._virials, list(self._soft).index(index), axis=0)
            del self._soft[index]

    def advance(self, steps: int) -> Mapping[int, Body]:
        """Let time pass, with every section going towards what its load makes; give the bodies that have changed."""
        if not self._soft:
            self._engine.advance(steps)
            return {}
        changed: dict[int, Body] = {}
        rows = np.searchsorted(self._engine.state().index, list(self._soft))
        for begun in range(0, steps, self._slice):
            self._engine.advance(min(self._slice, steps - begun))
            self._virials = self._keep * self._virials + (1.0 - self._keep) * self._engine.virials()[rows]
            for number, soft in self._soft.items():
                if soft.give_way(self._share, self._most):
                    changed[number] = soft.shape()
                    self._engine.reshape(changed[number])
        state = self._engine.state()
        placed = dict(zip(state.index.tolist(), zip(state.position[:, 1], state.angle, strict=True), strict=True))
        for (number, soft), load in zip(self._soft.items(), loads(self._virials), strict=True):
            height, angle = placed[number]
            beside, friction = self._walls_beside(soft, float(height))
            soft.want(load, -float(angle), beside=beside)
            if soft.take_grip(friction):
                self._engine.grip(number, soft.grip)
        return changed

    def _walls_beside(self, soft: _Soft, height: float) -> tuple[bool, float]:
        """Tell whether there is wall beside the flat sides of a container, and give both frictions as means over them.

        Where the walls end beside them only what is above the end presses.
        """
        if self._section is None or not math.isfinite(soft.width):
            return False, 0.0
        half = max(soft.side, GAP) / 2
        length, friction = self._section.walls_beside(height - half, height + half, soft.body.surface)
        return length > 0.0, friction / (2 * half)

    def set_flats(self) -> bool:
        """Have the share that sets of every flat come to stay, across what presses now; tell whether any does."""
        state = self._engine.state()
        turned = dict(zip(state.index.tolist(), state.angle.tolist(), strict=True))
        setting = False
        for (number, soft), load in zip(self._soft.items(), loads(self._virials), strict=True):
            setting |= soft.set_flat(load.angle - turned[number])
        return setting


@dataclass
class _Soft:
    """One soft container: what it is without load, and its section."""

    body: Body
    wall: SoftWall
    past: deque[tuple[float, float]]
    width: float = math.inf
    squeeze: float = 0.0
    wanted: float = 0.0
    flat: float = 0.0
    flat_to_set: float = 0.0
    flat_angle: float = 0.0
    side: float = 0.0
    side_force: float = 0.0
    grip: float = 0.0
    level: float = 0.0
    pressed_along: float = 0.0
    pressed: tuple[float, float] = (0.0, 0.0)
    free: float = 0.0
    filled: bool = False
    shown: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def want(self, load: Load, level: float, *, beside: bool) -> None:
        """Take up the squeeze that a load makes, at least that which has set; level is so in the body's own frame."""
        height, width = self.body.height - self.squeeze, self.body.height + self.squeeze / 2
        along, across = load.greatest / height / 1000.0, load.across / width / 1000.0
        self.level, self.pressed_along = level, load.angle
        least = 2.0 / math.pi * self.flat_to_set
        if max(abs(along - self.pressed[0]), abs(across - self.pressed[1])) > SAME_LOAD:
            self.pressed, self.free = (along, across), squeeze_of(self.wall.bottle, along, across)
        self.wanted = max(self.free, least)
        self.side_force = 0.0
        if beside and self.body.height + bulge(self.wanted, self.body.height) > self.width:
            squeeze, self.side_force = bound_section(self.wall.bottle, self.width, along)
            self.wanted = max(squeeze, least)

    @property
    def bound(self) -> bool:
        """Whether both walls press on it."""
        return self.side_force > 0.0

    def take_grip(self, friction: float) -> bool:
        """Take up the force by which the walls hold it back [mN]; tell whether it has changed."""
        before, self.grip = self.grip, 1000.0 * friction * self.side_force
        return self.grip != before

    def give_way(self, share: float, most: float) -> bool:
        """Go a share of the way to what is wanted, but not too far at once; tell whether it is to be seen."""
        self.past.append((self.squeeze, self.flat))
        width = self.flat + self.body.height - self.squeeze - self.side
        if abs(self.wanted - self.squeeze) >= UNSEEN:
            self.squeeze += min(max(share * (self.wanted - self.squeeze), -most), most)
        if self.bound:
            if self.filled and abs(self.squeeze - self.shown[0]) < BOX_STEP:
                return False
            self._fill_the_width(width + most)
        elif self.side > 0.0:  # let go by the walls
            self.flat, self.side, self.filled = min(self.flat, self.flat_to_set), 0.0, False
        elif abs(self.flat_to_set - self.flat) >= UNSEEN:
            # A stadium is wider than the disc that it was, so it too must come bit by bit.
            self.flat += min(max(share * (self.flat_to_set - self.flat), -most), most)
        flat = self.flat
        if not self.bound and abs(self.flat_to_set - flat) > UNSEEN:
            flat = FLAT_STEP * round(flat / FLAT_STEP)  # an engine may have to forget contacts to give it other ends
        squeeze, shown_flat, side = self.shown
        off = max(abs(self.squeeze - squeeze), abs(flat - shown_flat), abs(self.side - side))
        there = abs(self.wanted - self.squeeze) < UNSEEN and flat == self.flat
        if off < (BOX_STEP if self.bound else UNSEEN if there else SEEN):
            return False
        self.shown = self.squeeze, flat, self.side
        return True

    def _fill_the_width(self, most: float) -> None:
        """Take the flats of a bulge that reaches both walls, but no more width than it may."""
        height, free = self.body.height - self.squeeze, self.body.height + bulge(self.squeeze, self.body.height)
        self.side = section_between(self.width, height, self.body.height).flat_side if free >= self.width else 0.0
        fills = min(free, self.width - GAP)
        self.filled = most > fills
        self.flat = max(0.0, min(fills, most) - (height - self.side))

    @property
    def changed(self) -> float:
        """By how much squeeze or flat differ from a response's time ago [mm]; at first it has not settled."""
        if len(self.past) < (self.past.maxlen or 0):
            return math.inf
        return max(abs(self.squeeze - self.past[0][0]), abs(self.flat - self.past[0][1]))

    def set_flat(self, pressed_along: float) -> bool:
        """Have a share of the flat set, across a direction in the body's own frame; tell whether any does."""
        flat = self.wall.set_fraction * math.pi / 2 * self.squeeze
        if flat > 0.0:
            self.flat_to_set, self.flat_angle = flat, pressed_along + math.pi / 2
            self.past.clear()
        return flat > 0.0

    def shape(self) -> Body:
        """Give the body with its section of now: the flat that has set, rounded for the rest."""
        squeeze, flat, side = self.shown
        if self.bound:
            return replace(self.body, height=self.body.height - squeeze, flat=flat, side=side, flat_angle=self.level)
        flat = flat or self.body.flat
        return replace(
            self.body,
            height=self.body.height - squeeze,
            flat=flat,
            flat_angle=self.flat_angle,
            bulge=max(0.0, math.pi / 2 * squeeze - flat),
            bulge_angle=self.pressed_along + math.pi / 2,
        )
