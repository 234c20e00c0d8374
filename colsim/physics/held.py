"""What stands still in an engine, as a state whose balances can be checked without the engine.

Units of the result: mm and N.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import lsq_linear

from colsim.physics.cross_section import CrossSection
from colsim.physics.engines import Contacts, FloatArray, IntArray
from colsim.physics.scene import Body, Part, Piece, Point, Scene, friction_with
from colsim.physics.vending import Frame
from colsim.theory.equilibrium import ContactState, imbalance

__all__ = ["Held", "contact_state_of"]

_OFF_PIECE = 0.5  # [mm] from every piece of its part: a contact that an arc has refused, if it bears nothing
_ONE_NORMAL = 1e-6  # by which the normals of two points of one contact differ at most


@dataclass(frozen=True)
class Held:
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


def contact_state_of(section: CrossSection, bodies: Sequence[Body], frame: Frame, contacts: Contacts) -> Held:
    """Turn what an engine shows at rest into bodies, contacts and forces.

    Parameters
    ----------
    section : CrossSection
        Scene with its frictions and gravity.
    bodies : sequence of Body
        At least those that are in the column.
    frame : Frame
        Where they are, and how far the drum is turned.
    contacts : Contacts
        Of the same moment.

    Returns
    -------
    Held

    Raises
    ------
    RangeError
        If no body is left.

    Notes
    -----
    Friction is that of the two surfaces, or of the nearest piece of the part that is touched. Where a flat touches in
    several points an engine tells only the whole force. Its resultant is put where the torques of all bodies come
    nearest to balance (least squares), but not beyond the outermost points, and shared between those two; friction
    takes the same shares, so that it is within its limit at the points if it is in all. Forces are therefore tested as
    strictly as those of discs, torques only as far as no such share could mend them.
    """
    index, scene = frame.state.index, section.scene
    known = {body.index: body for body in bodies}
    row = {number: k for k, number in enumerate(index.tolist())}
    friction, kept = [], []
    for k, (number, other, part) in enumerate(
        zip(contacts.body.tolist(), contacts.other.tolist(), contacts.part, strict=True)
    ):
        surface = known[number].surface
        if part is None:
            friction.append(scene.friction_table[surface][known[other].surface])
            kept.append(k)
            continue
        off, piece = _nearest_piece(scene, frame.drum_angle, part, contacts.point[k])
        if off <= _OFF_PIECE or np.any(contacts.force[k] != 0.0):
            friction.append(friction_with(piece.friction, surface))
            kept.append(k)
    gravity = np.array(scene.gravity) / 1000.0
    state = ContactState(
        centre=frame.state.position,
        weight=np.array([known[number].mass * gravity for number in index.tolist()]).reshape(-1, 2),
        body=np.array([row[number] for number in contacts.body[kept].tolist()], dtype=np.int64),
        other=np.array([row.get(number, -1) for number in contacts.other[kept].tolist()], dtype=np.int64),
        point=contacts.point[kept],
        normal=contacts.normal[kept],
        friction=np.array(friction, dtype=np.float64),
    )
    return Held(index, state, _shared_out(state, [contacts.part[k] for k in kept], contacts.force[kept] / 1000.0))


def _nearest_piece(scene: Scene, drum_angle: float, part: Part, point: FloatArray) -> tuple[float, Piece]:
    """Find the piece of a part that lies nearest to a point, and how far off it is [mm]."""
    found = [(piece.distance(place), piece) for piece, place in _places(scene, drum_angle, point) if piece.part is part]
    return min(found, key=lambda pair: pair[0])


def _places(scene: Scene, drum_angle: float, point: FloatArray) -> Iterator[tuple[Piece, Point]]:
    """Give every piece, and where a point is to it: the drum's pieces turn with the drum."""
    x, y = point.tolist()
    for chain in scene.walls:
        for piece in chain.pieces:
            yield piece, (x, y)
    if scene.drum is not None:
        c, s = math.cos(drum_angle), math.sin(drum_angle)
        for piece in scene.drum.outline.pieces:
            yield piece, (c * x + s * y, c * y - s * x)


def _shared_out(state: ContactState, parts: Sequence[Part | None], told: FloatArray) -> FloatArray:
    """Share the forces that were told for several points at once among the outermost of them."""
    forces = np.nan_to_num(told)
    pairs: list[tuple[int, int]] = []
    for points in _of_one_contact(state, parts, told).values():
        tangent = np.array([-state.normal[points[0], 1], state.normal[points[0], 0]])
        along = state.point[points] @ tangent
        first, last = points[int(np.argmin(along))], points[int(np.argmax(along))]
        whole = forces[points].sum(axis=0)
        forces[points] = 0.0
        forces[first] += whole / 2
        forces[last] += whole / 2
        pairs.append((first, last))
    if not pairs:
        return forces
    _, torque = imbalance(state, forces)
    shifts = []
    for first, last in pairs:
        shift = np.zeros_like(forces)
        shift[first], shift[last] = forces[first], -forces[last]
        shifts.append(imbalance(state, forces + shift)[1] - torque)
    shares = lsq_linear(np.column_stack(shifts), -torque, bounds=(-1.0, 1.0)).x
    for (first, last), share in zip(pairs, shares.tolist(), strict=True):
        half = forces[first].copy()
        forces[first], forces[last] = half * (1.0 + share), half * (1.0 - share)
    return forces


def _of_one_contact(
    state: ContactState, parts: Sequence[Part | None], told: FloatArray
) -> Mapping[tuple[int, int, Part | None, int], list[int]]:
    """Gather the points of each contact whose force was told only as a whole.

    Rows are in the order of their places, so the one with the force may come after; and pieces of one part that follow
    in one line share their points. So all points between the same two with one normal are one contact.
    """
    found: dict[tuple[int, int, Part | None, int], list[int]] = {}
    for k in np.flatnonzero(np.isnan(told[:, 0])).tolist():
        alike = [
            j
            for j in range(len(told))
            if state.body[j] == state.body[k]
            and state.other[j] == state.other[k]
            and parts[j] is parts[k]
            and np.abs(state.normal[j] - state.normal[k]).max() < _ONE_NORMAL
        ]
        found[(int(state.body[k]), int(state.other[k]), parts[k], alike[0])] = alike
    return found
