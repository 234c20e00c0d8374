"""Why a column failed, read from the contacts that hold it."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from colsim.physics.engines import Contacts, State
from colsim.physics.scene import Part

__all__ = ["Mechanism", "why_blocked", "why_held"]

_DRUM = frozenset({Part.LAND, Part.LEADING_SIDE, Part.TRAILING_SIDE, Part.POCKET_FLOOR})
_CORNER = frozenset({Part.THROAT_EDGE, Part.FLOOR, Part.HOUSING})


class Mechanism(StrEnum):
    """What held the containers or the drum."""

    NIP_OF_TWO = "nip of two"
    THROAT_CORNER = "throat corner"
    SECOND_IN_POCKET = "second one in the pocket"
    FIRST_PROUD = "first one proud of the drum"
    UNKNOWN = "unknown"


def why_blocked(contacts: Contacts, state: State, drum_radius: float) -> Mechanism:
    """Tell what blocks the drum.

    Parameters
    ----------
    contacts, state : Contacts, State
        With the drum blocked.
    drum_radius : float
        [mm]

    Returns
    -------
    Mechanism
        By the container that the drum presses hardest: proud if it is the innermost one in the pocket, a second
        one if another lies nearer the axis within the drum.
    """
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


def why_held(contacts: Contacts, state: State) -> Mechanism:
    """Tell what holds up a stack over an empty pocket.

    Parameters
    ----------
    contacts, state : Contacts, State
        With everything at rest.

    Returns
    -------
    Mechanism
        By what the lowest container rests on.
    """
    if not len(state.index):
        return Mechanism.UNKNOWN
    lowest = int(state.index[int(np.argmin(state.position[:, 1]))])
    parts = {part for body, part in zip(contacts.body.tolist(), contacts.part, strict=True) if body == lowest}
    return Mechanism.THROAT_CORNER if parts & _CORNER else Mechanism.NIP_OF_TWO
