"""Geometry and properties of what is simulated, independent of the engine: chains of pieces, drum, bodies.

Units in `colsim.physics`: mm, kg, s, rad; forces are thus in kg mm/s2 = mN, torques in mN mm.
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
    "FIRM_CONTACT",
    "Arc",
    "Body",
    "Chain",
    "ContactParameters",
    "Drum",
    "Friction",
    "Line",
    "Part",
    "Piece",
    "Point",
    "Scene",
    "friction_with",
    "reach_of",
    "straightened",
]

Point = tuple[float, float]
Friction = float | tuple[float, ...]
"""Friction between a piece and containers: one for all, or one for each surface of containers."""


def friction_with(friction: Friction, surface: int) -> float:
    """Give the friction between a piece and containers of one surface.

    Parameters
    ----------
    friction : float or tuple of float
        Of the piece: one for all, or one for each surface [-].
    surface : int
        Number of the surface.

    Returns
    -------
    float
        [-]
    """
    return friction[surface] if isinstance(friction, tuple) else friction


class Part(StrEnum):
    """Part of a column that a piece belongs to."""

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
    """A line segment; free space is on the left of its direction."""

    start: Point
    end: Point
    friction: Friction
    part: Part = Part.OTHER

    def direction(self, share: float) -> Point:
        """Give the unit tangent, which is the same all along.

        Parameters
        ----------
        share : float
            Share of the length [-], without effect; as for `Arc.direction`.

        Returns
        -------
        (float, float)
            [-]
        """
        dx, dy = self.end[0] - self.start[0], self.end[1] - self.start[1]
        length = math.hypot(dx, dy)
        return (dx / length, dy / length)

    def distance(self, point: Point) -> float:
        """Give the distance of a point from the line.

        Parameters
        ----------
        point : (float, float)
            [mm]

        Returns
        -------
        float
            [mm]
        """
        (x0, y0), (x1, y1) = self.start, self.end
        dx, dy = x1 - x0, y1 - y0
        share = ((point[0] - x0) * dx + (point[1] - y0) * dy) / (dx * dx + dy * dy)
        share = min(max(share, 0.0), 1.0)
        return math.hypot(point[0] - x0 - share * dx, point[1] - y0 - share * dy)


@dataclass(frozen=True)
class Arc:
    """A circular arc from one angle through ``sweep`` (counterclockwise positive) [rad]; free space is on its left.

    It is convex if the sweep is negative.
    """

    centre: Point
    radius: float
    from_angle: float
    sweep: float
    friction: Friction
    part: Part = Part.OTHER

    def at(self, share: float) -> Point:
        """Give the point at a share of the length.

        Parameters
        ----------
        share : float
            From 0, the start, to 1, the end [-].

        Returns
        -------
        (float, float)
            [mm]
        """
        angle = self.from_angle + share * self.sweep
        return (self.centre[0] + self.radius * math.cos(angle), self.centre[1] + self.radius * math.sin(angle))

    def distance(self, point: Point) -> float:
        """Give the distance of a point from the arc.

        Parameters
        ----------
        point : (float, float)
            [mm]

        Returns
        -------
        float
            [mm]
        """
        x, y = point[0] - self.centre[0], point[1] - self.centre[1]
        from_middle = math.remainder(math.atan2(y, x) - self.from_angle - self.sweep / 2, 2 * math.pi)
        if abs(from_middle) <= abs(self.sweep) / 2:
            return abs(math.hypot(x, y) - self.radius)
        return min(math.dist(point, self.start), math.dist(point, self.end))

    def direction(self, share: float) -> Point:
        """Give the unit tangent at a share of the length.

        Parameters
        ----------
        share : float
            From 0, the start, to 1, the end [-].

        Returns
        -------
        (float, float)
            [-]
        """
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
    """Replace an arc by chords.

    Parameters
    ----------
    piece : Line or Arc
        A line stays as it is.
    chord_turn : float
        Greatest angle between neighbouring chords [deg].

    Yields
    ------
    Line
        In order, each with friction and part of the piece.
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
    """Pieces joined end to start, with free space on their left."""

    pieces: tuple[Piece, ...]
    closed: bool = False


@dataclass(frozen=True)
class Drum:
    """A rotating outline around the origin, driven by a motor of limited torque.

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
    """Give the greatest distance of a section's outline from its centre.

    Parameters
    ----------
    height, flat, side : float
        As of `Body` [mm].

    Returns
    -------
    float
        [mm]
    """
    return math.hypot(flat, side) / 2 + (height - side) / 2


@dataclass(frozen=True)
class ContactParameters:
    """Parameters of a container in the contact law, `contact_law`.

    Attributes
    ----------
    constant_stiffness : float
        Constant part k_0 of the stiffness of one contact [mN/mm]: twice the stiffness between two boards without gas.
    length : float
        Length of wall under gas pressure [mm]; 0 if the stiffness is constant.
    headspace, body_share : float
        Shares of the volume inside that are gas, and that are within the straight body [-].
    wall_stretch : float
        Share of the volume by which pressure expands the wall [1/kPa].
    initial_pressure : float
        Absolute pressure without load [kPa].
    set_fraction : float
        Share of a flat that is permanent once the load is gone [-]: 0 none of it, 1 all.
    """

    constant_stiffness: float
    length: float = 0.0
    headspace: float = 0.0
    body_share: float = 0.0
    wall_stretch: float = 0.0
    initial_pressure: float = ATMOSPHERE
    set_fraction: float = 0.0

    @classmethod
    def of_boards(cls, stiffness: float) -> Self:
        """Make those of a constant stiffness between two boards: each of the two contacts is twice as stiff.

        Parameters
        ----------
        stiffness : float
            Force over the height lost [N/mm].

        Returns
        -------
        ContactParameters
        """
        return cls(2000.0 * stiffness)

    @classmethod
    def of_bottle(cls, bottle: Bottle, set_fraction: float = 0.0) -> Self:
        """Make those with which a container has the squeeze curve of a bottle between two boards.

        Parameters
        ----------
        bottle : Bottle
            Its wall, gas and sizes.
        set_fraction : float
            Share of a flat that is permanent once the load is gone [-].

        Returns
        -------
        ContactParameters
        """
        return cls(
            constant_stiffness=2000.0 * bottle.ring_force(1.0),
            length=bottle.length,
            headspace=bottle.headspace,
            body_share=bottle.body_share,
            wall_stretch=bottle.wall_stretch,
            initial_pressure=bottle.pressure + ATMOSPHERE,
            set_fraction=set_fraction,
        )


FIRM_CONTACT = ContactParameters.of_boards(70.0)
"""About those of a can, or of a bottle of carbonated drink, at room temperature."""


@dataclass(frozen=True)
class Body:
    """A container's cross-section: a disc, a stadium (two flats), or a box with rounded corners (four flats).

    Attributes
    ----------
    index : int
        Unique small whole number; results are ordered by it.
    height : float
        Least thickness of the section [mm]; the diameter of a disc.
    flat : float
        Width of each of its two flats [mm]; 0 for a disc. They are parallel to the body's x axis.
    mass : float
        [kg]
    moment : float
        Moment of inertia about the centre [kg mm2].
    restitution : float
        Rebound speed over impact speed against a rigid surface [-].
    surface : int
        Number of its surface in the friction tables of the scene.
    flat_angle : float
        Angle of the flats to the body's x axis [rad].
    contact : ContactParameters
        Parameters in the contact law.
    side : float
        Height of each of its two flat sides [mm]; above 0 the section is a box with rounded corners.
    set_squeeze : float
        Permanent loss of height that came with its set flats [mm].
    bulges : bool
        Whether its bulge under load touches both side walls, as in single file.
    """

    index: int
    height: float
    flat: float
    mass: float
    moment: float
    restitution: float = 0.0
    surface: int = 0
    flat_angle: float = 0.0
    contact: ContactParameters = FIRM_CONTACT
    side: float = 0.0
    set_squeeze: float = 0.0
    bulges: bool = False

    @property
    def contact_row(self) -> tuple[float, ...]:
        """Inputs of the contact law in the order of columns that engines use.

        Constant stiffness, length, headspace, body share, wall stretch and initial pressure of `ContactParameters`;
        area of the round section [mm2]; permanent dent of each set flat [mm]; set fraction [-].
        """
        contact, round_diameter = self.contact, self.height + self.set_squeeze
        return (
            contact.constant_stiffness,
            contact.length,
            contact.headspace,
            contact.body_share,
            contact.wall_stretch,
            contact.initial_pressure,
            math.pi / 4 * round_diameter**2,
            self.set_squeeze / 2,
            contact.set_fraction,
        )

    @property
    def corner_radius(self) -> float:
        """Radius of the rounded parts of the section [mm]."""
        return (self.height - self.side) / 2

    @property
    def reach(self) -> float:
        """Greatest distance of the outline from the centre [mm]."""
        return reach_of(self.height, self.flat, self.side)


@dataclass(frozen=True)
class Scene:
    """Everything but the containers.

    Attributes
    ----------
    gravity : (float, float)
        [mm/s2]
    walls : tuple of Chain
        Everything fixed.
    body_friction : float or tuple of tuple of float
        Friction between two containers [-]: one for all, or a symmetric table by their surfaces.
    drum : Drum or None
        The drum, if there is one.
    """

    gravity: Point
    walls: tuple[Chain, ...]
    body_friction: float | tuple[tuple[float, ...], ...]
    drum: Drum | None = None

    @property
    def friction_table(self) -> tuple[tuple[float, ...], ...]:
        """Friction between two containers by their surfaces [-]."""
        return self.body_friction if isinstance(self.body_friction, tuple) else ((self.body_friction,),)
