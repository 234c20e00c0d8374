"""How the sections of soft-walled containers follow what presses on them.

Once in a while the load on each container is read from its contacts and its section moved part of the way to the one
that this load makes. The load is the virial of the contact forces, so that a container on top of another, one pinched
between a wall and its neighbours, and anything between are one case.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from colsim.physics.engines import Engine, FloatArray, Settings
from colsim.physics.scene import Body, SoftWall
from colsim.theory.squeeze import Bottle

__all__ = ["Load", "SoftBodies", "loads", "squeeze_of"]

SLICE = 0.005  # [s] between two looks at the loads, and two changes of the sections
FASTEST = 10.0  # [mm/s] at which a height or a flat changes
FLAT_STEP = 0.25  # [mm] in which a flat that sets grows
UNSEEN = 0.002  # [mm] between a section and what is wanted that is let be
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


class SoftBodies:
    """The soft ones among a column's containers, and the sections that they have taken.

    Parameters
    ----------
    engine : Engine
        That they are in.
    settings : Settings
        Its time step, and how fast sections follow loads.
    """

    def __init__(self, engine: Engine, settings: Settings) -> None:
        self._engine = engine
        self._slice = max(1, round(SLICE / settings.step))
        passing = self._slice * settings.step
        self._most = FASTEST * passing
        self._share = -math.expm1(-passing / settings.response)
        self._look_back = max(1, round(settings.response / passing))
        self._keep = math.exp(-passing / settings.memory)
        self._soft: dict[int, _Soft] = {}

    def __bool__(self) -> bool:
        return bool(self._soft)

    @property
    def flattest(self) -> float:
        """Greatest squeeze of any of them, as a share of its diameter [-]."""
        return max((soft.squeeze / soft.body.height for soft in self._soft.values()), default=0.0)

    @property
    def settled(self) -> bool:
        """Whether all sections are those that their loads make."""
        return all(soft.changed_in(self._look_back) <= STILL for soft in self._soft.values())

    def add(self, body: Body) -> None:
        """Take note of a container that has been put in, if it is soft."""
        if body.wall is not None:
            self._soft[body.index] = _Soft(body, body.wall)

    def remove(self, index: int) -> None:
        """Forget a container that has come out."""
        self._soft.pop(index, None)

    def advance(self, steps: int) -> Mapping[int, Body]:
        """Let time pass, with every section going towards what its load makes; give the bodies that have changed."""
        if not self._soft:
            self._engine.advance(steps)
            return {}
        changed: dict[int, Body] = {}
        for begun in range(0, steps, self._slice):
            self._engine.advance(min(self._slice, steps - begun))
            index = self._engine.state().index.tolist()
            for number, virial in zip(index, self._engine.virials(), strict=True):
                if number in self._soft:
                    soft = self._soft[number]
                    soft.virial = self._keep * soft.virial + (1.0 - self._keep) * virial
            for number, soft in self._soft.items():
                if soft.give_way(self._share, self._most):
                    changed[number] = soft.shape()
                    self._engine.reshape(changed[number])
        for soft, load in zip(self._soft.values(), self._loads(), strict=True):
            soft.want(load)
        return changed

    def _loads(self) -> list[Load]:
        return loads(np.array([soft.virial for soft in self._soft.values()]).reshape(-1, 2, 2))

    def set_flats(self) -> bool:
        """Have the share that sets of every flat come to stay, across what presses now; tell whether any does."""
        state = self._engine.state()
        turned = dict(zip(state.index.tolist(), state.angle.tolist(), strict=True))
        setting = False
        for (number, soft), load in zip(self._soft.items(), self._loads(), strict=True):
            setting |= soft.set_flat(load.angle - turned[number])
        return setting


@dataclass
class _Soft:
    """One soft container: what it is without load, the running mean of its virial, and its section."""

    body: Body
    wall: SoftWall
    virial: FloatArray = field(default_factory=lambda: np.zeros((2, 2)))
    squeeze: float = 0.0
    wanted: float = 0.0
    past: list[tuple[float, float]] = field(default_factory=list)
    flat: float = 0.0
    flat_to_set: float = 0.0
    flat_angle: float = 0.0

    def want(self, load: Load) -> None:
        """Take up the squeeze that a load makes, at least that which has set."""
        height, width = self.body.height - self.squeeze, self.body.height + self.squeeze / 2
        wanted = squeeze_of(self.wall.bottle, load.greatest / height / 1000.0, load.across / width / 1000.0)
        self.wanted = max(wanted, 2.0 / math.pi * self.flat_to_set)

    def give_way(self, share: float, most: float) -> bool:
        """Go a share of the way to what is wanted, but not too far at once; tell whether anything changed."""
        if abs(self.wanted - self.squeeze) < UNSEEN and abs(self.flat_to_set - self.flat) < UNSEEN:
            self.past.append((self.squeeze, self.flat))
            return False
        before = self.squeeze, self.flat
        self.squeeze += min(max(share * (self.wanted - self.squeeze), -most), most)
        # A stadium is wider than the disc that it was, so it too must come bit by bit.
        if abs(self.flat_to_set - self.flat) > UNSEEN:
            self.flat += min(max(share * (self.flat_to_set - self.flat), -most), most)
        self.past.append(before)
        return True

    def changed_in(self, looks: int) -> float:
        """Give by how much squeeze or flat differ from so many changes ago [mm]; at first it has not settled."""
        del self.past[:-looks]
        if len(self.past) < looks:
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
        # In steps, since an engine may have to forget a body's contacts to give it other ends.
        done = abs(self.flat_to_set - self.flat) <= UNSEEN
        flat = (self.flat if done else FLAT_STEP * round(self.flat / FLAT_STEP)) or self.body.flat
        return replace(self.body, height=self.body.height - self.squeeze, flat=flat, flat_angle=self.flat_angle)
