"""Forces at rest: in a zig-zag stack without friction, and in a bulk solid in a silo (Janssen)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from colsim.theory._checks import require, require_positive
from colsim.theory.packing import stack_pitch

__all__ = [
    "ZigzagForces",
    "janssen_stress",
    "silo_hydraulic_radius",
    "slot_hydraulic_radius",
    "zigzag_forces",
    "zigzag_virial",
]


@dataclass(frozen=True)
class ZigzagForces:
    """Forces in a zig-zag stack at rest, from the top down.

    Attributes
    ----------
    contacts : tuple of float
        Force between neighbours [N], one fewer than there are containers; the first is under the top container.
    walls : tuple of float
        Force of each container on its wall [N].
    floor : float
        Force of the bottom container on the floor [N].
    """

    contacts: tuple[float, ...]
    walls: tuple[float, ...]
    floor: float


def _checked_pitch(n: int, diameter: float, width: float, weight: float) -> float:
    require(
        isinstance(n, int) and not isinstance(n, bool) and n >= 1,
        f"n must be a whole number of containers, at least 1: got {n!r}. Count them again",
    )
    require_positive(weight=weight)
    return stack_pitch(diameter, width)


def zigzag_forces(n: int, diameter: float, width: float, weight: float) -> ZigzagForces:
    r"""Give the forces in a frictionless zig-zag stack that rests on a level floor.

    Each container bears the weight of all above it along the line to the next, and its wall takes the sideways
    part. The bottom one is pushed against its wall by one neighbour only.

    .. math:: N_k = \frac{k w}{\cos\varphi}, \qquad
        P_k = (2k - 1) w \tan\varphi \;(k < n), \qquad P_n = (n - 1) w \tan\varphi, \qquad
        \sin\varphi = \frac{W - d}{d}

    Parameters
    ----------
    n : int
        Number of containers, at least 1.
    diameter, width : float
        Diameter d of the containers and clear width W of the column [mm].
    weight : float
        Weight w of one container [N].

    Returns
    -------
    ZigzagForces
        Contact forces N, wall forces P and floor force n w, counted from the top [N].

    Raises
    ------
    RangeError
        If n is not a whole number of at least 1, if a length or the weight is not positive and finite, or
        where `stack_pitch` raises (W < d, W/d beyond 1.866).

    Notes
    -----
    Equal, rigid, round containers that alternate between parallel upright walls, no friction anywhere. At W/d = 1.866
    itself containers two places apart touch; the forces are those with none between these.

    References
    ----------
    Balance of each disc. The geometry is that of Irastorza, Carlevaro and Pugnaloni, arXiv:1311.1069.

    Examples
    --------
    >>> forces = zigzag_forces(8, 66.0, 73.0, 3.6)
    >>> round(forces.contacts[0], 4), round(forces.walls[-1], 4), round(forces.floor, 4)
    (3.6204, 2.6879, 28.8)
    """
    pitch = _checked_pitch(n, diameter, width, weight)
    along, aside = diameter / pitch, (width - diameter) / pitch
    return ZigzagForces(
        contacts=tuple(k * weight * along for k in range(1, n)),
        walls=(*((2 * k - 1) * weight * aside for k in range(1, n)), (n - 1) * weight * aside),
        floor=n * weight,
    )


def zigzag_virial(n: int, diameter: float, width: float, weight: float, *, k: int) -> tuple[float, float]:
    r"""Give the virial of one container of a frictionless zig-zag stack, sideways and upright.

    The load on a container is the virial of its contact forces, M = -sum f (x) (x - centre): two opposite forces F on
    points h apart give F h. The sideways part exceeds the upright one above W/d = 1.5.

    .. math:: M_{xx} = \frac{d}{2} w (2k - 1) \frac{c (1 + c)}{\sqrt{1 - c^2}}, \qquad
        M_{yy} = \frac{d}{2} w (2k - 1) \sqrt{1 - c^2}, \qquad c = \frac{W}{d} - 1

    Parameters
    ----------
    n : int
        Number of containers, at least 2.
    diameter, width : float
        Diameter d of the containers and clear width W of the column [mm].
    weight : float
        Weight w of one container [N].
    k : int
        Place of the container, counted from the top: 1 to n - 1.

    Returns
    -------
    tuple of float
        Sideways part and upright part [N mm].

    Raises
    ------
    RangeError
        As `zigzag_forces`, or if k is not a whole number from 1 to n - 1: the bottom container stands on the floor,
        and the formula does not hold for it.

    Notes
    -----
    As for `zigzag_forces`. There is a shear part too, of size d w c / 2 for every k and of alternating sign, for the
    neighbour below presses harder than the one above; so the two parts come near the principal values only far
    from the top.

    References
    ----------
    The forces of `zigzag_forces`, each on an arm of d/2 along the line to the centre; the weight acts at the centre
    and drops out.

    Examples
    --------
    >>> sideways, upright = zigzag_virial(8, 60.0, 108.0, 5.0, k=3)
    >>> round(sideways / upright, 6)
    4.0
    """
    pitch = _checked_pitch(n, diameter, width, weight)
    require(
        isinstance(k, int) and not isinstance(k, bool) and 1 <= k < n,
        f"k must be a whole number from 1 (the top) to n - 1: got {k!r} with n = {n}. The bottom container stands on "
        "the floor, and the formula does not hold for it; take its forces from zigzag_forces",
    )
    c, cosine = (width - diameter) / diameter, pitch / diameter
    borne = diameter / 2 * (2 * k - 1) * weight
    return borne * c * (1 + c) / cosine, borne * cosine


def silo_hydraulic_radius(diameter: float) -> float:
    r"""Give the ratio of cross-section to rim of a circular silo.

    .. math:: \frac{A}{U} = \frac{D}{4}

    Parameters
    ----------
    diameter : float
        Inner diameter D [mm].

    Returns
    -------
    float
        Hydraulic radius A/U [mm], for `janssen_stress`.

    Raises
    ------
    RangeError
        If the diameter is not positive and finite.

    Notes
    -----
    Half the radius, not the radius.

    References
    ----------
    Plane geometry.

    Examples
    --------
    >>> silo_hydraulic_radius(1000.0)
    250.0
    """
    require_positive(diameter=diameter)
    return diameter / 4


def slot_hydraulic_radius(width: float) -> float:
    r"""Give the ratio of cross-section to rim of a plane slot, whose end walls bear nothing.

    .. math:: \frac{A}{U} = \frac{W}{2}

    Parameters
    ----------
    width : float
        Distance W between the two walls [mm].

    Returns
    -------
    float
        Hydraulic radius A/U [mm], for `janssen_stress`.

    Raises
    ------
    RangeError
        If the width is not positive and finite.

    Notes
    -----
    The limit of a rectangle W by B, A/U = W B / (2 W + 2 B), for B without bound.

    References
    ----------
    Plane geometry.

    Examples
    --------
    >>> slot_hydraulic_radius(70.0)
    35.0
    """
    require_positive(width=width)
    return width / 2


def janssen_stress(
    depth: float,
    hydraulic_radius: float,
    *,
    density: float,
    friction: float,
    stress_ratio: float,
    gravity: float = 9.80665,
) -> float:
    r"""Give the vertical stress at a depth in a bulk solid between walls with friction.

    Near the top it grows as in a liquid; deep down the walls bear all further weight, and it tends to a constant.

    .. math:: \sigma_v = \rho g z_0 \left(1 - e^{-z/z_0}\right), \qquad z_0 = \frac{A}{U \mu K}

    Parameters
    ----------
    depth : float
        Depth z below the level top [mm], zero or more.
    hydraulic_radius : float
        Cross-section over rim, A/U [mm]: `silo_hydraulic_radius` or `slot_hydraulic_radius`, or your own.
    density : float
        Bulk density [kg/m3].
    friction : float
        Friction of filling on wall [-]; 0 gives the stress in a liquid.
    stress_ratio : float
        Horizontal over vertical stress, K [-]; solids at rest have about 0.3 to 0.6.
    gravity : float
        Acceleration of free fall [m/s2].

    Returns
    -------
    float
        Vertical stress [kPa]; K times this is the horizontal stress.

    Raises
    ------
    RangeError
        If depth or friction is negative or not finite, or another number is not positive and finite.

    Notes
    -----
    Friction fully mobilised upward along all walls, one K everywhere, no load on the top. A filling poured in
    without settling bears less on its walls. Good for a trend (growth that levels off), not to the per cent; and a
    stack of a few containers is no filling.

    References
    ----------
    H. A. Janssen 1895, translated by M. Sperl, Granular Matter 8 (2006) 59, arXiv:cond-mat/0511618. Range of
    K: D. Schulze, Stresses in Silos. A public code prints rho g R / (K mu) for a silo of radius R deep down: twice
    too much.

    Examples
    --------
    >>> filling = {"density": 1000.0, "friction": 0.5, "stress_ratio": 0.4, "gravity": 9.81}
    >>> round(janssen_stress(5000.0, silo_hydraulic_radius(1000.0), **filling), 4)
    12.0379
    """
    for name, value in {"depth": depth, "friction": friction}.items():
        require(math.isfinite(value) and value >= 0, f"{name} must be zero or more: got {value!r}. Measure it again")
    require_positive(hydraulic_radius=hydraulic_radius, density=density, stress_ratio=stress_ratio, gravity=gravity)
    hydrostatic = density * gravity * depth * 1e-6
    depths = depth * friction * stress_ratio / hydraulic_radius
    return hydrostatic * (-math.expm1(-depths) / depths if depths > 0 else 1.0)
