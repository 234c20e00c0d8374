"""The scene of a scenario, in the plane across the containers' axes.

The drum's axis is the origin, y points up. Walls, floor, throat edge and housing of one side form one chain.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from colsim.model import Column, Container, Rotor, Scenario
from colsim.model.conditions import Conditions
from colsim.model.units import STANDARD_GRAVITY
from colsim.physics.scene import (
    Arc,
    Body,
    Chain,
    ContactParameters,
    Drum,
    Friction,
    Line,
    Part,
    Piece,
    Point,
    Scene,
)

__all__ = ["CrossSection", "build_cross_section", "container_body"]

# Assumed: drum and gear have the inertia of a 2 kg cylinder. A limited motor must accelerate it, and its momentum helps
# through a nip: from 0.5 to 40 kg one column's share of failed fills went from 0.33 to 0.63 (24 fills each).
_DRUM_MASS = 2.0
# Assumed: the housing leaves the lowest 140 deg of the drum open, so that a pocket empties well before it points down.
_OUTLET_HALF_ANGLE = math.radians(70.0)
# Assumed: a lifted edge curls away from the wall over the uppermost 25 mm of its sheet, and is rigid.
_CURL_LENGTH = 25.0
# Walls extend above the column's top, so that a container laid on a full stack is still between them.
_HEADROOM = 400.0


@dataclass(frozen=True)
class CrossSection:
    """The scene of a column, and the dimensions that loading and vending need.

    Attributes
    ----------
    scene : Scene
        Geometry for the engine.
    pockets : int
        Number of pockets of the drum.
    turn : int
        Sense of rotation of the drum: -1 clockwise, +1 counterclockwise.
    turns_to_first : int
        Turns that bring the first container of a fresh load from the throat to the outlet.
    throat : float
        Height of the throat above the drum's axis [mm]; the column's height is measured from here.
    floor_top : float
        Height at which the parallel walls begin [mm].
    top : float
        Height of the column's top [mm].
    width : float
        Clear width between the parallel walls [mm].
    drum_radius, housing_radius : float
        [mm]
    pocket_floor : float
        Height of the pocket's floor above the drum's axis, pocket up [mm].
    lifted_edges : tuple of Line
        Curled parts of liners, from the bottom up: each from its lip down to where the sheet is flush with the wall.
    """

    scene: Scene
    pockets: int
    turn: int
    turns_to_first: int
    throat: float
    floor_top: float
    top: float
    width: float
    drum_radius: float
    housing_radius: float
    pocket_floor: float
    lifted_edges: tuple[Line, ...]


def build_cross_section(scenario: Scenario) -> CrossSection:
    """Build the scene across the containers' axes.

    Parameters
    ----------
    scenario : Scenario
        A scenario.

    Returns
    -------
    CrossSection
    """
    column, rotor = scenario.column, scenario.rotor
    frictions = _Frictions(scenario)
    throat = math.sqrt(rotor.housing_radius**2 - (column.throat_width / 2) ** 2)
    turn = -1 if rotor.turn == "clockwise" else 1
    lean = math.radians(column.lean)
    gravity = 1000.0 * STANDARD_GRAVITY
    walls = tuple(_side(column, rotor, frictions, throat, side) for side in (-1, 1))
    return CrossSection(
        scene=Scene(
            gravity=(gravity * math.sin(lean), -gravity * math.cos(lean)),
            walls=walls,
            body_friction=frictions.between,
            drum=Drum(
                _drum_outline(rotor, frictions.rotor, turn), _DRUM_MASS * rotor.radius**2 / 2, rotor.torque_limit * 1e6
            ),
        ),
        pockets=rotor.pockets,
        turn=turn,
        turns_to_first=_turns_to_first(rotor),
        throat=throat,
        floor_top=throat + column.floor_height,
        top=throat + column.height,
        width=column.width,
        drum_radius=rotor.radius,
        housing_radius=rotor.housing_radius,
        pocket_floor=rotor.radius - rotor.clear_depth,
        lifted_edges=tuple(
            sorted((edge for chain in walls for edge in _slopes(chain)), key=lambda edge: edge.start[1])
        ),
    )


class _Frictions:
    """Friction of each part with each kind of container, in the order of loading; a plain number if all are equal."""

    def __init__(self, scenario: Scenario) -> None:
        column, products = scenario.column, scenario.loaded_products
        self._kinds = tuple(products.values())
        self.wall = self._each("wall_friction", column.wall_friction)
        self.floor = self.wall if column.floor_friction is None else self._each("", column.floor_friction)
        self.rotor = self._each("rotor_friction", scenario.rotor.friction)
        self.between = tuple(tuple(scenario.friction_between(a, b) for b in products) for a in products)

    def liner(self, friction: float) -> Friction:
        return self._each("liner_friction", friction)

    def _each(self, own: str, otherwise: float) -> Friction:
        values = [getattr(kind, own, None) for kind in self._kinds]
        found = tuple(otherwise if value is None else value for value in values)
        return found[0] if len(set(found)) == 1 else found


def container_body(container: Container, index: int, surface: int = 0, conditions: Conditions | None = None) -> Body:
    """Give the body of one container.

    Parameters
    ----------
    container : Container
        Its measurements.
    index : int
        Position in the order of loading, from 0.
    surface : int
        Number of its kind among those loaded.
    conditions : Conditions, optional
        Temperatures and days under load, for the pressure and the wall of a soft container.

    Returns
    -------
    Body

    Raises
    ------
    ScenarioError
        If a drink with carbonation is colder or hotter than its pressure is known for, the numbers of a soft wall are
        outside the range where its closed form holds, or the gas of a firm one presses too little to hold any shape.
    """
    bottle = container.bottle(conditions)
    if bottle is None:
        contact = ContactParameters.of_boards(container.board_stiffness(conditions))
    else:
        contact = ContactParameters.of_bottle(bottle, container.set_fraction or 0.0)
    # A measured flat on a soft wall counts as set under load; on a firm container it is a panel.
    set_squeeze = container.diameter - container.height if contact.set_fraction > 0.0 else 0.0
    return Body(
        index=index,
        height=container.height,
        flat=container.set_flat,
        mass=container.mass,
        moment=container.moment_of_inertia,
        restitution=container.restitution,
        surface=surface,
        contact=contact,
        set_squeeze=set_squeeze,
    )


def _turns_to_first(rotor: Rotor) -> int:
    """Give the number of turns that bring a pocket from the throat to the outlet."""
    pitch = 2 * math.pi / rotor.pockets
    start = 0.0 if rotor.rest == "pocket_up" else -pitch / 2
    return math.ceil((math.pi - _OUTLET_HALF_ANGLE - start) / pitch)


def _side(column: Column, rotor: Rotor, frictions: _Frictions, throat: float, side: int) -> Chain:
    """Build one side: on the left from the wall's top down to the end of the housing, on the right upwards."""
    pieces: list[Piece] = []
    floor_top = (side * column.width / 2, throat + column.floor_height)
    edge = _throat_edge(column, rotor, throat, side, frictions.floor)
    if column.floor_height > 0:
        pieces += _wall_pieces(column, frictions, floor_top[1], throat, side)
        pieces.append(Line(floor_top, edge.start, frictions.floor, Part.FLOOR))
    else:
        pieces += _wall_pieces(column, frictions, edge.start[1], throat, side)
    if edge.radius > 0:
        pieces.append(edge)
    from_angle = math.atan2(edge.end[1], edge.end[0])
    to_angle = -math.pi / 2 + side * _OUTLET_HALF_ANGLE
    sweep = to_angle - from_angle
    if side < 0:
        sweep = (sweep + math.pi * 4) % (2 * math.pi)
    pieces.append(Arc((0.0, 0.0), rotor.housing_radius, from_angle, sweep, frictions.rotor, Part.HOUSING))
    return Chain(tuple(pieces)) if side < 0 else Chain(tuple(_reversed(piece) for piece in reversed(pieces)))


def _wall_pieces(column: Column, frictions: _Frictions, bottom: float, throat: float, side: int) -> list[Piece]:
    """Divide one wall at the ends of its liners; from the top down."""
    wall, part = ("left", Part.LEFT_WALL) if side < 0 else ("right", Part.RIGHT_WALL)
    x = side * column.width / 2
    pieces: list[Piece] = []  # from the bottom up

    def flush(low: float, high: float, friction: Friction) -> None:
        if high > low:
            pieces.append(Line((x, high), (x, low), friction, part))

    reached = bottom
    for zone in column.liner_zones(wall):
        begin, end = max(throat + zone.bottom, bottom), throat + zone.top
        if end <= begin:
            continue
        friction = frictions.liner(zone.friction)
        flush(reached, begin, frictions.wall)
        foot = max(begin, end - _CURL_LENGTH) if zone.lifted_edge > 0 else end
        flush(begin, foot, friction)
        if zone.lifted_edge > 0:
            lip = (x - side * zone.lifted_edge, end)
            pieces.append(Line(lip, (x, foot), friction, Part.LIFTED_EDGE))
            pieces.append(Line((x, end), lip, friction, Part.LIFTED_EDGE))
        reached = end
    flush(reached, throat + column.height + _HEADROOM, frictions.wall)
    return pieces[::-1]


def _slopes(chain: Chain) -> Iterator[Line]:
    """Give the slope of each lifted edge, from its lip down to the wall."""
    for piece in chain.pieces:
        if isinstance(piece, Line) and piece.part is Part.LIFTED_EDGE and piece.start[0] != piece.end[0]:
            upper, lower = sorted((piece.start, piece.end), key=lambda point: -point[1])
            if upper[1] > lower[1]:
                yield Line(upper, lower, piece.friction, piece.part)


def _throat_edge(column: Column, rotor: Rotor, throat: float, side: int, friction: Friction) -> Arc:
    """Give the rounding between wall or floor and housing: an arc tangent to both."""
    slope = math.radians(90.0 if column.floor_slope is None else column.floor_slope)
    up = (side * math.cos(slope), math.sin(slope))
    outward = (side * math.sin(slope), -math.cos(slope))  # from free space into the wall
    radius, length = column.throat_radius, column.throat_edge_length(rotor.housing_radius)
    centre = (
        side * column.throat_width / 2 + length * up[0] + radius * outward[0],
        throat + length * up[1] + radius * outward[1],
    )
    from_angle = math.atan2(-outward[1], -outward[0])
    to_angle = math.atan2(-centre[1], -centre[0])
    sweep = (to_angle - from_angle + math.pi) % (2 * math.pi) - math.pi
    return Arc(centre, radius, from_angle, sweep, friction, Part.THROAT_EDGE)


def _drum_outline(rotor: Rotor, friction: Friction, turn: int) -> Chain:
    """Build the drum's outline, clockwise, with a pocket or a land at the top at angle 0."""
    half, floor = rotor.clear_width / 2, rotor.radius - rotor.clear_depth
    lead_in, mouth = rotor.lead_in, rotor.mouth_height
    round_centre = (half + lead_in, mouth)
    round_angle = math.atan2(mouth, half + lead_in)  # from the right of the mouth round to the land, and past it
    pitch = 2 * math.pi / rotor.pockets
    middle = math.pi / 2 + (pitch / 2 if rotor.rest == "land_up" else 0.0)
    right, left = Part.LEADING_SIDE, Part.TRAILING_SIDE
    if turn > 0:
        right, left = left, right
    pieces: list[Piece] = []
    for k in range(rotor.pockets):
        by = middle - k * pitch - math.pi / 2
        left_mouth, left_foot, right_foot, right_mouth = (
            _turned(point, by) for point in ((-half, mouth), (-half, floor), (half, floor), (half, mouth))
        )
        if lead_in > 0:
            centre = _turned((-round_centre[0], round_centre[1]), by)
            pieces.append(Arc(centre, lead_in, by + math.pi - round_angle, -(math.pi - round_angle), friction, left))
        pieces.append(Line(left_mouth, left_foot, friction, left))
        pieces.append(Line(left_foot, right_foot, friction, Part.POCKET_FLOOR))
        pieces.append(Line(right_foot, right_mouth, friction, right))
        if lead_in > 0:
            centre = _turned(round_centre, by)
            pieces.append(Arc(centre, lead_in, by + math.pi, -(math.pi - round_angle), friction, right))
        pieces.append(
            Arc(
                (0.0, 0.0), rotor.radius, by + round_angle, 2 * (math.pi / 2 - round_angle) - pitch, friction, Part.LAND
            )
        )
    return Chain(tuple(pieces), closed=True)


def _turned(point: Point, angle: float) -> Point:
    c, s = math.cos(angle), math.sin(angle)
    return (c * point[0] - s * point[1], s * point[0] + c * point[1])


def _reversed(piece: Piece) -> Piece:
    if isinstance(piece, Line):
        return Line(piece.end, piece.start, piece.friction, piece.part)
    return Arc(piece.centre, piece.radius, piece.from_angle + piece.sweep, -piece.sweep, piece.friction, piece.part)
