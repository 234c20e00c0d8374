"""Why a column failed, read from the contacts that hold it."""

from __future__ import annotations

from collections.abc import Collection
from enum import StrEnum

import numpy as np

from colsim.physics.engines import Contacts, State
from colsim.physics.scene import Part

__all__ = ["Mechanism", "why_blocked", "why_held"]

_DRUM = frozenset({Part.LAND, Part.LEADING_SIDE, Part.TRAILING_SIDE, Part.POCKET_FLOOR})
_CORNER = frozenset({Part.THROAT_EDGE, Part.FLOOR, Part.HOUSING})
_LIFTED = frozenset({Part.LIFTED_EDGE})
_ANYTHING = frozenset(Part)
_SHARE = 0.1


class Mechanism(StrEnum):
    """What held the containers or the drum."""

    NIP_OF_TWO = "nip of two"
    THROAT_CORNER = "throat corner"
    LIFTED_EDGE = "lifted liner edge"
    SECOND_IN_POCKET = "second one in the pocket"
    BIND = "bulge against both walls"
    FIRST_PROUD = "first one proud of the drum"
    UNKNOWN = "unknown"


def why_blocked(contacts: Contacts, state: State, drum_radius: float, *, bound: bool = False) -> Mechanism:
    """Tell what blocks the drum.

    Parameters
    ----------
    contacts, state : Contacts, State
        With the drum blocked.
    drum_radius : float
        [mm]
    bound : bool
        Whether both walls hold back the containers by more than these weigh.

    Returns
    -------
    Mechanism
        The grip of both walls if it is more than a weight to be lifted, as it grows with what pushes against it.
        Else by the container that the drum presses hardest: proud if it is the innermost one in the pocket, a second
        one if another lies nearer the axis within the drum.
    """
    if bound:
        return Mechanism.BIND
    on_drum = [k for k, part in enumerate(contacts.part) if part in _DRUM]
    if not on_drum:
        return Mechanism.UNKNOWN
    force = np.hypot(*contacts.force[on_drum].T)
    pressed = int(contacts.body[on_drum[int(np.nanargmax(force))]])
    from_axis = np.hypot(*state.position.T)
    innermost = int(np.argmin(from_axis))
    if from_axis[innermost] >= drum_radius:
        return Mechanism.THROAT_CORNER
    return Mechanism.FIRST_PROUD if int(state.index[innermost]) == pressed else Mechanism.SECOND_IN_POCKET


def why_held(contacts: Contacts, state: State, gripped: Collection[int] = ()) -> Mechanism:
    """Tell what holds up a stack over an empty pocket.

    Parameters
    ----------
    contacts, state : Contacts, State
        With everything at rest.
    gripped : collection of int
        Indices of the containers on which both walls press.

    Returns
    -------
    Mechanism
        By the fixed parts that bear the lowest container and those it touches: a lifted edge or a corner if it gives
        at least a tenth of what they are borne by, the lifted edge first; else the grip of both walls, if they have
        the lowest one or one that it touches; else the nip of two between plain walls.
    """
    if not len(state.index):
        return Mechanism.UNKNOWN
    lowest = int(state.index[int(np.argmin(state.position[:, 1]))])
    pairs = zip(contacts.body.tolist(), contacts.other.tolist(), strict=True)
    keystones = {lowest, *(i for pair in pairs if lowest in pair and -1 not in pair for i in pair)}
    borne = {_LIFTED: 0.0, _CORNER: 0.0, _ANYTHING: 0.0}
    for body, part, force in zip(contacts.body.tolist(), contacts.part, contacts.force[:, 1].tolist(), strict=True):
        if body in keystones and part is not None and force > 0.0:
            for kind in borne:
                borne[kind] += force if kind is _ANYTHING or part in kind else 0.0
    if borne[_LIFTED] >= _SHARE * borne[_ANYTHING] > 0.0:
        return Mechanism.LIFTED_EDGE
    if borne[_CORNER] >= _SHARE * borne[_ANYTHING] > 0.0:
        return Mechanism.THROAT_CORNER
    return Mechanism.NIP_OF_TWO if keystones.isdisjoint(gripped) else Mechanism.BIND
