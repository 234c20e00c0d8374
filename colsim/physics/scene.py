"""What an engine simulates, in no engine's own terms: chains of pieces, a drum, round and flattened bodies.

Units of this room: mm, kg, s, rad. A force is then in kg mm/s2, which is mN, and a torque in mN mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Self

from colsim.theory.squeeze import ATMOSPHERE, Bottle

__all__ = [
    "FIRM",
    "Arc",
    "Body",
    "Chain",
    "Drum",
    "Friction",
    "Line",
    "Part",
    "Piece",
    "Point",
    "Scene",
    "Yielding",
    "friction_with",
    "reach_of",
    "straightened",
]

Point = tuple[float, float]
Friction = float | tuple[float, ...]
"""Friction of a piece against a container: one for all, or one for each surface that containers have."""


def friction_with(friction: Friction, surface: int) -> float:
    """Give the friction of a piece against containers of one surface [-]."""
    return friction[surface] if isinstance(friction, tuple) else friction


class Part(StrEnum):
    """What a piece belongs to, so that a contact can be named."""

    LEFT_WALL = "left wall"
    RIGHT_WALL = "right wall"
    LIFTED_EDGE = "lifted liner edge"
    FLOOR = "floor"
    THROAT_EDGE = "throat edge"
    HOUSING = "housing"
    LAND = "land"
    LEADING_SIDE = "leading side of the pocket"
    TRAILING_SIDE = "trailing side of the pocket"
    POCKET_FLOOR = "pocket floor"
    OTHER = "other"


@dataclass(frozen=True)
class Line:
    """A straight piece; free space lies to the left of the way from start to end."""

    start: Point
    end: Point
    friction: Friction
    part: Part = Part.OTHER

    def direction(self, share: float) -> Point:
        """Give the unit vector along the way at a share of it."""
        dx, dy = self.end[0] - self.start[0], self.end[1] - self.start[1]
        length = math.hypot(dx, dy)
        return (dx / length, dy / length)

    def distance(self, point: Point) -> float:
        """Give the distance of a point from the piece."""
        (x0, y0), (x1, y1) = self.start, self.end
        dx, dy = x1 - x0, y1 - y0
        share = ((point[0] - x0) * dx + (point[1] - y0) * dy) / (dx * dx + dy * dy)
        share = min(max(share, 0.0), 1.0)
        return math.hypot(point[0] - x0 - share * dx, point[1] - y0 - share * dy)


@dataclass(frozen=True)
class Arc:
    """A piece of a circle, travelled from one angle through ``sweep`` (counterclockwise positive) [rad]."""

    centre: Point
    radius: float
    from_angle: float
    sweep: float
    friction: Friction
    part: Part = Part.OTHER

    def at(self, share: float) -> Point:
        """Give the point at a share of the way along the arc."""
        angle = self.from_angle + share * self.sweep
        return (self.centre[0] + self.radius * math.cos(angle), self.centre[1] + self.radius * math.sin(angle))

    def distance(self, point: Point) -> float:
        """Give the distance of a point from the arc."""
        x, y = point[0] - self.centre[0], point[1] - self.centre[1]
        off = math.remainder(math.atan2(y, x) - self.from_angle - self.sweep / 2, 2 * math.pi)
        if abs(off) <= abs(self.sweep) / 2:
            return abs(math.hypot(x, y) - self.radius)
        return min(math.dist(point, self.start), math.dist(point, self.end))

    def direction(self, share: float) -> Point:
        """Give the unit vector along the way at a share of it."""
        angle = self.from_angle + share * self.sweep + math.copysign(math.pi / 2, self.sweep)
        return (math.cos(angle), math.sin(angle))

    @property
    def start(self) -> Point:
        """First point of the arc."""
        return self.at(0.0)

    @property
    def end(self) -> Point:
        """Last point of the arc."""
        return self.at(1.0)


Piece = Line | Arc


def straightened(piece: Piece, chord_turn: float) -> Iterator[Line]:
    """Cut a piece into straight ones.

    Parameters
    ----------
    piece : Line or Arc
        A line is given back as it is.
    chord_turn : float
        Greatest angle by which one chord of an arc turns against the next [deg].

    Yields
    ------
    Line
        Straight pieces in order, each with the friction and part of the whole.
    """
    if isinstance(piece, Line):
        yield piece
        return
    count = max(1, math.ceil(math.degrees(abs(piece.sweep)) / chord_turn))
    points = [piece.at(k / count) for k in range(count + 1)]
    for start, end in pairwise(points):
        yield Line(start, end, piece.friction, piece.part)


@dataclass(frozen=True)
class Chain:
    """Pieces that follow each other end to start, with free space to the left of the way along them."""

    pieces: tuple[Piece, ...]
    closed: bool = False


@dataclass(frozen=True)
class Drum:
    """A turning outline around the origin, driven by a motor of limited torque.

    Attributes
    ----------
    outline : Chain
        Closed chain in the drum's own frame, at drum angle 0.
    moment : float
        Moment of inertia [kg mm2].
    torque_limit : float
        Greatest torque of the motor [mN mm].
    """

    outline: Chain
    moment: float
    torque_limit: float


def reach_of(height: float, flat: float, side: float) -> float:
    """Give the greatest distance of a section's outline from its centre [mm]."""
    return math.hypot(flat, side) / 2 + (height - side) / 2


@dataclass(frozen=True)
class Yielding:
    """How a container gives way where it is touched; `contact_law` says what force that takes.

    Attributes
    ----------
    firm : float
        Stiffness of one contact without the gas [mN/mm]: twice what a load between two boards shows.
    length : float
        Of the skin that gas presses out [mm]; 0 if all of the stiffness stands in ``firm``.
    headspace, body_share : float
        Shares of the inside that are gas, and that lie within the straight body [-].
    stretch : float
        Share of the inside by which pressure stretches the wall [per kPa].
    filled : float
        Absolute pressure before anything presses [kPa].
    set_fraction : float
        Share of a flat that stays when the load goes [-]: 0 circulates like a tyre, 1 is set for good.
    """

    firm: float
    length: float = 0.0
    headspace: float = 0.0
    body_share: float = 0.0
    stretch: float = 0.0
    filled: float = ATMOSPHERE
    set_fraction: float = 0.0

    @classmethod
    def of_boards(cls, stiffness: float) -> Self:
        """Make what shows a stiffness between two boards [N/mm]: each of its two contacts is twice as stiff."""
        return cls(2000.0 * stiffness)

    @classmethod
    def of_bottle(cls, bottle: Bottle, set_fraction: float = 0.0) -> Self:
        """Make what shows the squeeze curve of a bottle between two boards."""
        return cls(
            firm=2000.0 * bottle.ring_force(1.0),
            length=bottle.length,
            headspace=bottle.headspace,
            body_share=bottle.body_share,
            stretch=bottle.wall_stretch,
            filled=bottle.pressure + ATMOSPHERE,
            set_fraction=set_fraction,
        )


FIRM = Yielding.of_boards(70.0)
"""About what a can or a bottle of carbonated drink shows between two boards at room temperature."""


@dataclass(frozen=True)
class Body:
    """A container's cross-section: a disc, a stadium where it has a flat, a box with rounded corners with four.

    Attributes
    ----------
    index : int
        Small whole number of its own; results are ordered by it.
    height : float
        Least thickness of the section [mm]; the diameter of a disc.
    flat : float
        Width of each of its two flats [mm]; 0 for a disc. They lie along the body's own x axis.
    mass : float
        [kg]
    moment : float
        Moment of inertia about the centre [kg mm2].
    restitution : float
        Rebound speed over impact speed against a rigid surface [-].
    surface : int
        Which of the surfaces that the scene's frictions tell apart.
    flat_angle : float
        By how much the flats are turned against the body's own x axis [rad].
    gives : Yielding
        How it gives way where it is touched.
    side : float
        Height of each of its two flat sides [mm]: above 0 it is a box with rounded corners; 0 leaves half rounds.
    set_squeeze : float
        How much lower it has become for good under the load that set its flats [mm].
    bulges : bool
        Whether it stands so close between the side walls that its bulge under load meets both.
    """

    index: int
    height: float
    flat: float
    mass: float
    moment: float
    restitution: float = 0.0
    surface: int = 0
    flat_angle: float = 0.0
    gives: Yielding = FIRM
    side: float = 0.0
    set_squeeze: float = 0.0
    bulges: bool = False

    @property
    def law(self) -> tuple[float, ...]:
        """What the law of contact asks of it, as engines lay it into a row.

        Firm, length, headspace, body share, stretch, filled as of `Yielding`; area of the round section [mm2]; dent of
        each flat that has set [mm]; share of a flat that sets [-].
        """
        gives, round_diameter = self.gives, self.height + self.set_squeeze
        of_skin = (gives.firm, gives.length, gives.headspace, gives.body_share, gives.stretch, gives.filled)
        return (*of_skin, math.pi / 4 * round_diameter**2, self.set_squeeze / 2, gives.set_fraction)

    @property
    def corner_radius(self) -> float:
        """Radius of what is not flat [mm]."""
        return (self.height - self.side) / 2

    @property
    def reach(self) -> float:
        """Greatest distance of the outline from the centre [mm]."""
        return reach_of(self.height, self.flat, self.side)


@dataclass(frozen=True)
class Scene:
    """Everything that stays the same while containers come and go.

    Attributes
    ----------
    gravity : (float, float)
        [mm/s2]
    walls : tuple of Chain
        What does not move.
    body_friction : float or tuple of tuple of float
        Friction between two containers [-]: one for all, or a symmetric table by their surfaces; each piece carries
        its own against a container.
    drum : Drum or None
        What turns, if anything does.
    """

    gravity: Point
    walls: tuple[Chain, ...]
    body_friction: float | tuple[tuple[float, ...], ...]
    drum: Drum | None = None

    @property
    def friction_table(self) -> tuple[tuple[float, ...], ...]:
        """Friction between two containers by their surfaces [-]."""
        return self.body_friction if isinstance(self.body_friction, tuple) else ((self.body_friction,),)
