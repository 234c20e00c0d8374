"""A stack at rest in an engine, as a `ContactState` whose equilibrium can be checked without the engine.

Units of the result: mm and N.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from colsim.physics.cross_section import CrossSection
from colsim.physics.engines import Contacts, FloatArray, IntArray
from colsim.physics.scene import Body, Part, Piece, Point, Scene, friction_with
from colsim.physics.vending import Frame
from colsim.theory.equilibrium import ContactState

__all__ = ["StackAtRest", "stack_at_rest"]


@dataclass(frozen=True)
class StackAtRest:
    """Bodies at rest, with the engine's own forces.

    Attributes
    ----------
    index : ndarray, shape (n,)
        Index of each body of the state.
    state : ContactState
        Bodies and contacts; each point of a flat is a contact of its own.
    forces : ndarray, shape (m, 2)
        The engine's force of each contact on its ``body``, friction included [N].
    """

    index: IntArray
    state: ContactState
    forces: FloatArray


def stack_at_rest(section: CrossSection, bodies: Sequence[Body], frame: Frame, contacts: Contacts) -> StackAtRest:
    """Convert an engine's state at rest to bodies, contacts and forces.

    Parameters
    ----------
    section : CrossSection
        Scene with its frictions and gravity.
    bodies : sequence of Body
        At least all that are in the column.
    frame : Frame
        Positions of the bodies, and drum angle.
    contacts : Contacts
        At the same time.

    Returns
    -------
    StackAtRest
        Friction of a contact is that of both surfaces, or of the nearest piece of the part in contact.

    Raises
    ------
    RangeError
        If no body is left.
    """
    index, scene = frame.state.index, section.scene
    by_index = {body.index: body for body in bodies}
    row = {number: k for k, number in enumerate(index.tolist())}
    friction = []
    for number, other, part, point in zip(
        contacts.body.tolist(), contacts.other.tolist(), contacts.part, contacts.point, strict=True
    ):
        surface = by_index[number].surface
        if part is None:
            friction.append(scene.friction_table[surface][by_index[other].surface])
        else:
            friction.append(friction_with(_nearest_piece(scene, frame.drum_angle, part, point).friction, surface))
    gravity = np.array(scene.gravity) / 1000.0
    state = ContactState(
        centre=frame.state.position,
        weight=np.array([by_index[number].mass * gravity for number in index.tolist()]).reshape(-1, 2),
        body=np.array([row[number] for number in contacts.body.tolist()], dtype=np.int64),
        other=np.array([row.get(number, -1) for number in contacts.other.tolist()], dtype=np.int64),
        point=contacts.point,
        normal=contacts.normal,
        friction=np.array(friction, dtype=np.float64),
    )
    return StackAtRest(index, state, contacts.force / 1000.0)


def _nearest_piece(scene: Scene, drum_angle: float, part: Part, point: FloatArray) -> Piece:
    """Find the piece of a part that is nearest to a point."""
    found = [(piece.distance(local), piece) for piece, local in _in_frames(scene, drum_angle, point)]
    return min((pair for pair in found if pair[1].part is part), key=lambda pair: pair[0])[1]


def _in_frames(scene: Scene, drum_angle: float, point: FloatArray) -> Iterator[tuple[Piece, Point]]:
    """Give every piece with the point in the frame of the piece: the drum's pieces turn with the drum."""
    x, y = point.tolist()
    for chain in scene.walls:
        for piece in chain.pieces:
            yield piece, (x, y)
    if scene.drum is not None:
        c, s = math.cos(drum_angle), math.sin(drum_angle)
        for piece in scene.drum.outline.pieces:
            yield piece, (c * x + s * y, c * y - s * x)
