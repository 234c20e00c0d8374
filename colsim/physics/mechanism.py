"""Why a column failed, from the contact forces at rest."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from colsim.physics.engines import Contacts, State
from colsim.physics.scene import Part

__all__ = ["Mechanism", "why_blocked", "why_held"]

_DRUM_PARTS = frozenset({Part.LAND, Part.LEADING_SIDE, Part.TRAILING_SIDE, Part.POCKET_FLOOR})
_CORNER_PARTS = frozenset({Part.THROAT_EDGE, Part.FLOOR, Part.HOUSING})
_LIFTED_PARTS = frozenset({Part.LIFTED_EDGE})
_ALL_PARTS = frozenset(Part)
_SIDES = (Part.LEFT_WALL, Part.RIGHT_WALL)
_MIN_SHARE = 0.1  # of the upward forces, from which on a corner or lifted edge counts as the cause


class Mechanism(StrEnum):
    """What held the containers or the drum."""

    NIP_OF_TWO = "nip of two"
    THROAT_CORNER = "throat corner"
    LIFTED_EDGE = "lifted liner edge"
    SECOND_IN_POCKET = "second one in the pocket"
    BIND = "bulge against both walls"
    FIRST_PROUD = "first one proud of the drum"
    UNKNOWN = "unknown"


def why_blocked(contacts: Contacts, state: State, drum_radius: float, weight: float) -> Mechanism:
    """Tell what blocks the drum.

    Parameters
    ----------
    contacts, state : Contacts, State
        With the drum blocked.
    drum_radius : float
        [mm]
    weight : float
        Of all containers [mN].

    Returns
    -------
    Mechanism
        The bulge, if the friction of the side walls on containers between both exceeds the weight to be lifted.
        Otherwise by the container with the greatest force from the drum: the first one, standing proud, if it is the
        innermost in the drum; a second one if another is nearer to the axis; the throat if none is within the drum.
    """
    bound = _between_side_walls(contacts)
    downward = sum(
        -fy
        for body, part, fy in zip(contacts.body.tolist(), contacts.part, contacts.force[:, 1].tolist(), strict=True)
        if body in bound and part in _SIDES
    )
    if downward > weight:
        return Mechanism.BIND
    on_drum = [k for k, part in enumerate(contacts.part) if part in _DRUM_PARTS]
    if not on_drum:
        return Mechanism.UNKNOWN
    force = np.hypot(*contacts.force[on_drum].T)
    pressed = int(contacts.body[on_drum[int(np.argmax(force))]])
    from_axis = np.hypot(*state.position.T)
    innermost = int(np.argmin(from_axis))
    if from_axis[innermost] >= drum_radius:
        return Mechanism.THROAT_CORNER
    return Mechanism.FIRST_PROUD if int(state.index[innermost]) == pressed else Mechanism.SECOND_IN_POCKET


def why_held(contacts: Contacts, state: State) -> Mechanism:
    """Tell what holds up a stack over an empty pocket.

    Parameters
    ----------
    contacts, state : Contacts, State
        With everything at rest.

    Returns
    -------
    Mechanism
        From the upward forces of fixed parts on the lowest container and those in contact with it: a lifted edge or a
        corner if it bears at least a tenth of them, the lifted edge first; otherwise the bulge, if one of these
        containers is between both side walls; otherwise the nip of two between plain walls.
    """
    if not len(state.index):
        return Mechanism.UNKNOWN
    lowest = int(state.index[int(np.argmin(state.position[:, 1]))])
    pairs = zip(contacts.body.tolist(), contacts.other.tolist(), strict=True)
    keystones = {lowest, *(i for pair in pairs if lowest in pair and -1 not in pair for i in pair)}
    borne = {_LIFTED_PARTS: 0.0, _CORNER_PARTS: 0.0, _ALL_PARTS: 0.0}
    for body, part, force in zip(contacts.body.tolist(), contacts.part, contacts.force[:, 1].tolist(), strict=True):
        if body in keystones and part is not None and force > 0.0:
            for kind in borne:
                borne[kind] += force if kind is _ALL_PARTS or part in kind else 0.0
    if borne[_LIFTED_PARTS] >= _MIN_SHARE * borne[_ALL_PARTS] > 0.0:
        return Mechanism.LIFTED_EDGE
    if borne[_CORNER_PARTS] >= _MIN_SHARE * borne[_ALL_PARTS] > 0.0:
        return Mechanism.THROAT_CORNER
    return Mechanism.NIP_OF_TWO if keystones.isdisjoint(_between_side_walls(contacts)) else Mechanism.BIND


def _between_side_walls(contacts: Contacts) -> set[int]:
    """Give the containers on which both side walls exert a force."""
    pressed: dict[Part, set[int]] = {part: set() for part in _SIDES}
    for body, part, force in zip(contacts.body.tolist(), contacts.part, contacts.force, strict=True):
        if part is not None and part in _SIDES and force.any():
            pressed[part].add(body)
    return set.intersection(*pressed.values())
