"""Whether rigid bodies can stand still under contact forces that friction allows, by linear programme.

Each contact pushes with a normal force that is not negative and a tangential one of at most the friction times it; each
body needs its two forces and its torque in balance. Which of the possible forces act, and whether the bodies come to
rest at all, it does not say: what is not admissible cannot hold, what is admissible may. Any one unit of force does,
any one of length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog

from colsim.errors import RangeError, SimulationError
from colsim.theory._checks import require, require_positive
from colsim.theory.packing import stack_pitch

__all__ = [
    "ContactState",
    "channel_critical_friction",
    "imbalance",
    "is_admissible",
    "least_largest_normal",
    "margin",
]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_ENDLESS = 1e6  # mean weights; forces that would have to be greater count as not possible
_ROUGHEST = 1e3  # no surface has a greater friction; what it does not hold none holds
_PRECISION = 1e-6  # relative, of the least friction


@dataclass(frozen=True, eq=False)
class ContactState:
    """Bodies in contact, without the forces between them.

    Attributes
    ----------
    centre : ndarray, shape (n, 2)
        Where the weights act [mm].
    weight : ndarray, shape (n, 2)
        Weight of each body as a vector [N]; may be zero.
    body : ndarray, shape (m,)
        Number of the body that each contact pushes, from 0.
    other : ndarray, shape (m,)
        Number of the body that is pushed back, or -1 for what does not move.
    point : ndarray, shape (m, 2)
        [mm]
    normal : ndarray, shape (m, 2)
        Unit vector into ``body``.
    friction : ndarray, shape (m,)
        Coefficient [-].
    fixed_normal : ndarray, shape (m,)
        Normal force where it is known beforehand [N], nan where the balances decide it; nan everywhere if left out.
    lever : ndarray, shape (m,)
        Greatest distance by which the normal force may stand off its point along the surface [mm]: resistance to
        rolling. Zero if left out.

    Raises
    ------
    RangeError
        If shapes do not go together, a number is none, a body does not exist or touches itself, a normal is no unit
        vector, or a friction, fixed force or lever is negative.
    """

    centre: FloatArray
    weight: FloatArray
    body: IntArray
    other: IntArray
    point: FloatArray
    normal: FloatArray
    friction: FloatArray
    fixed_normal: FloatArray = field(default_factory=lambda: np.array(math.nan))
    lever: FloatArray = field(default_factory=lambda: np.array(0.0))

    def __post_init__(self) -> None:
        n, m = len(self.centre), len(self.body)
        shapes = {"centre": (n, 2), "weight": (n, 2), "point": (m, 2), "normal": (m, 2)}
        for name in (each.name for each in fields(self)):
            shape, kind = shapes.get(name, (m,)), np.int64 if name in ("body", "other") else np.float64
            given = np.asarray(getattr(self, name))
            if not given.ndim:
                given = np.broadcast_to(given, shape)
            if not given.size:
                given = given.reshape(shape).astype(kind)
            require(
                given.shape == shape and np.can_cast(given.dtype, kind, "same_kind"),
                f"{name} must be numbers of shape {shape}: got shape {given.shape} of {given.dtype} with {n} bodies "
                f"and {m} contacts. Give a row to each",
            )
            value = given.astype(kind)
            bad = np.isinf(value) if name == "fixed_normal" else ~np.isfinite(value)
            require(not bad.any(), f"{name} must be finite: got {value.tolist()!r}. Measure it again")
            value.flags.writeable = False
            object.__setattr__(self, name, value)
        self._check_bodies(n)
        lengths = np.hypot(*self.normal.T)
        require(
            bool(np.all(np.abs(lengths - 1.0) < 1e-6)),
            f"normal must be unit vectors: got lengths {lengths.tolist()!r}. Divide each by its length",
        )
        for name in ("friction", "fixed_normal", "lever"):
            value = getattr(self, name)
            require(not np.any(value < 0), f"{name} must be zero or more: got {value.tolist()!r}. Measure it again")

    def _check_bodies(self, n: int) -> None:
        exist = (self.body >= 0) & (self.body < n) & (self.other >= -1) & (self.other < n)
        require(
            n > 0 and bool(np.all(exist & (self.body != self.other))),
            f"body must be 0 to {n - 1}, and other a different one or -1: got {self.body.tolist()!r} and "
            f"{self.other.tolist()!r}. Number the bodies from 0 in the order of centre",
        )


def imbalance(state: ContactState, forces: FloatArray) -> tuple[FloatArray, FloatArray]:
    r"""Give what given contact forces leave unbalanced.

    .. math:: \Delta F_i = \frac{G_i + \sum_c \pm f_c}{|G_i|}, \qquad
              \Delta M_i = \frac{\sum_c \pm (x_c - x_i) \times f_c}{a_i |G_i|}, \qquad a_i = \max_c |x_c - x_i|

    Parameters
    ----------
    state : ContactState
        Bodies and contacts.
    forces : ndarray, shape (m, 2)
        Force of each contact on its ``body``, friction included [N]; the ``other`` gets the opposite.

    Returns
    -------
    force : ndarray, shape (n, 2)
        Residual force on each body, in its own weights [-].
    torque : ndarray, shape (n,)
        Residual torque about each centre, in its own weight times the longest arm of its contacts [-].

    Raises
    ------
    RangeError
        If the forces are not finite or not one vector a contact.

    Notes
    -----
    Forces act at the points; ``lever`` is not used. A body without weight is measured in the mean weight of the others.
    Neither the sign of the normal forces nor the friction is looked at.

    References
    ----------
    Newton's laws at rest.

    Examples
    --------
    A block of 2 N on a table that pushes with 1.5 N:

    >>> block = ContactState([[0, 5]], [[0, -2]], [0], [-1], [[0, 0]], [[0, 1]], [0.3])
    >>> force, torque = imbalance(block, [[0, 1.5]])
    >>> force.tolist(), torque.tolist()
    ([[0.0, -0.25]], [0.0])
    """
    forces = np.asarray(forces, dtype=np.float64)
    require(
        forces.shape == state.point.shape and bool(np.isfinite(forces).all()),
        f"forces must be finite and of shape {state.point.shape}: got {forces.tolist()!r}. Give a vector to each contact",
    )
    weight, arm, _ = _scales(state)
    acting = _on_bodies(state, forces, np.zeros(len(forces))).sum(axis=2)
    return (acting[:, :2] + state.weight) / weight[:, None], acting[:, 2] / (arm * weight)


def least_largest_normal(state: ContactState) -> float:
    r"""Give the greatest normal force of those that hold the bodies with as little of it as can be.

    .. math:: \min_{N, T, M} \max_c N_c \quad \text{with} \quad |T_c| \le \mu_c N_c, \quad |M_c| \le b_c N_c,
              \quad \text{all bodies in balance}

    Parameters
    ----------
    state : ContactState
        Bodies and contacts.

    Returns
    -------
    float
        Greatest of the normal forces that are not fixed [N]; inf if no forces hold the bodies.

    Raises
    ------
    SimulationError
        If the programme cannot be decided within the precision of its numbers.

    Notes
    -----
    Forces of more than a million mean weights count as none: rounding would pass for resistance to rolling.

    References
    ----------
    Each contact's force is a mixture of the extreme ones that friction and lever allow, with no share negative
    (Coulomb's cone in the plane); solved with HiGHS through scipy.optimize.linprog.

    Examples
    --------
    A disc of 2 N in a right-angled groove without friction:

    >>> h = 2**-0.5
    >>> groove = ContactState([[0, 0]], [[0, -2]], [0, 0], [-1, -1], [[h, -h], [-h, -h]], [[-h, h], [h, h]], [0, 0])
    >>> round(least_largest_normal(groove), 6)
    1.414214
    """
    weight, arm, unit = _scales(state)
    tangent = np.column_stack([-state.normal[:, 1], state.normal[:, 0]])
    leanings = [(along, off) for along in (1, -1) for off in ((1, -1) if state.lever.any() else (0,))]
    blocks = [
        _on_bodies(state, state.normal + along * state.friction[:, None] * tangent, off * state.lever)
        for along, off in leanings
    ]
    balances = np.concatenate(blocks, axis=2) * (unit / weight)[:, None, None]
    balances[:, 2] /= arm[:, None]
    wanted = np.zeros(balances.shape[:2])
    wanted[:, :2] = -state.weight / weight[:, None]
    normals = np.tile(np.eye(len(state.body)), len(leanings))
    fixed = ~np.isnan(state.fixed_normal)
    # Turned round, the programme always has a solution: how much of the load do normal forces of at most one unit bear?
    load = np.concatenate([wanted.ravel(), state.fixed_normal[fixed] / unit])
    found = linprog(
        [*np.zeros(normals.shape[1]), -1.0],
        A_ub=np.column_stack([normals[~fixed], np.zeros(np.count_nonzero(~fixed))]),
        b_ub=np.ones(np.count_nonzero(~fixed)),
        A_eq=np.column_stack([np.concatenate([balances.reshape(wanted.size, -1), normals[fixed]]), -load]),
        b_eq=np.zeros(len(load)),
        bounds=[(0.0, None)] * normals.shape[1] + [(0.0, _ENDLESS)],
        method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )
    if found.status != 0:
        raise SimulationError(f"the balances could not be decided: {found.message} Look for contacts given twice")
    share = -float(found.fun)
    return unit / share if share * _ENDLESS > 1.0 else math.inf


def is_admissible(state: ContactState, *, largest_normal: float | None = None) -> bool:
    r"""Tell whether some contact forces that friction allows hold the bodies.

    .. math:: N_c \ge 0, \quad |T_c| \le \mu_c N_c, \quad |M_c| \le b_c N_c, \quad \text{three balances a body}

    Parameters
    ----------
    state : ContactState
        Bodies and contacts.
    largest_normal : float, optional
        Greatest normal force that a contact may bear [N]; a million mean weights if left out. Fixed ones are exempt.

    Returns
    -------
    bool

    Raises
    ------
    RangeError
        If the largest normal force is not positive and finite.
    SimulationError
        As `least_largest_normal`.

    Notes
    -----
    Necessary for rest, not sufficient: two surfaces pressed together without limit hold anything between them, and
    nothing says that they are. Bound the normal force when contacts come from measured or simulated places.

    References
    ----------
    As for `least_largest_normal`.

    Examples
    --------
    >>> slope = [[-0.6, 0.8]]
    >>> [is_admissible(ContactState([[0, 0]], [[0, -1]], [0], [-1], [[0, 0]], slope, [mu])) for mu in (0.74, 0.76)]
    [False, True]
    """
    if largest_normal is None:
        return math.isfinite(least_largest_normal(state))
    require_positive(largest_normal=largest_normal)
    return least_largest_normal(state) <= largest_normal


def margin(state: ContactState, *, largest_normal: float | None = None) -> float:
    r"""Give the least common factor on all frictions at which the bodies can still be held.

    .. math:: k^* = \min \{k : \text{admissible with } k \mu_c\}

    Parameters
    ----------
    state : ContactState
        Bodies and contacts.
    largest_normal : float, optional
        As for `is_admissible`.

    Returns
    -------
    float
        Factor [-], to a millionth of itself: 0 if they hold without friction, above 1 if they cannot hold as
        they are, inf if no friction up to 1000 holds them.

    Raises
    ------
    RangeError, SimulationError
        As `is_admissible`.

    Notes
    -----
    Necessary, not sufficient: with the frictions scaled by any factor below this the bodies must fall; above it they
    may hold, or fall all the same. The places are kept; bodies that give way find others.

    References
    ----------
    More friction only adds to the forces that are allowed, so one factor parts what can hold from what cannot;
    found by bisection.

    Examples
    --------
    >>> slope = [[-0.6, 0.8]]
    >>> round(margin(ContactState([[0, 0]], [[0, -1]], [0], [-1], [[0, 0]], slope, [0.5])), 5)
    1.5
    """
    return _least_factor(state, np.ones(len(state.body), dtype=np.bool_), largest_normal)


def channel_critical_friction(  # noqa: PLR0913
    width: float,
    diameter: float,
    n: int,
    rolling: float,
    *,
    container_friction: float | None = None,
    largest_normal: float | None = None,
) -> float:
    r"""Give the least friction at which a zig-zag stack can hold itself up in a plain channel open below.

    .. math:: \mu_c = \tan\frac{\theta}{2} = \sqrt{\frac{2d - W}{W}} \quad \text{for equal frictions and any } \rho > 0,
              \qquad \mu_c = \infty \quad \text{for } \rho = 0

    Parameters
    ----------
    width : float
        Clear width W of the channel [mm].
    diameter : float
        Diameter d of the containers [mm].
    n : int
        Number of containers, at least 1.
    rolling : float
        Resistance to rolling rho [-]: moment at a contact over normal force times radius, at most; set flats of
        width b give b / d.
    container_friction : float, optional
        Coefficient between containers [-]; that of the walls if left out.
    largest_normal : float, optional
        Greatest normal force of a contact, in weights of one container; a million if left out.

    Returns
    -------
    float
        Coefficient [-], of wall and containers or of the wall alone; inf if no friction up to 1000 holds them.

    Raises
    ------
    RangeError
        If a length is not positive and finite, if not d < W <= 1.866 d, if n is no whole number of at least 1, or if
        rolling or container_friction is negative or not finite.
    SimulationError
        As `least_largest_normal`.

    Notes
    -----
    Equal, rigid, round containers that alternate between parallel upright walls. Found by linear programme, not by the
    equation. The forces it takes grow as the weight over 2 rho, so what is admissible at a small rho hardly ever holds.

    References
    ----------
    Virtual power: give all centres one velocity along the walls and let each container roll on its own wall; without
    resistance to rolling no contact does work, and gravity does.

    Examples
    --------
    >>> round(channel_critical_friction(104.0, 64.0, 6, 0.05), 4)
    0.4804
    >>> channel_critical_friction(104.0, 64.0, 6, 0.0)
    inf
    """
    require(
        isinstance(n, int) and not isinstance(n, bool) and n >= 1,
        f"n must be a whole number of containers, at least 1: got {n!r}. Count them again",
    )
    for name, value in {"rolling": rolling, "container_friction": container_friction}.items():
        if value is not None:
            require(
                math.isfinite(value) and value >= 0, f"{name} must be zero or more: got {value!r}. Measure it again"
            )
    pitch = stack_pitch(diameter, width)
    require(width > diameter, f"width must be over the diameter: got {width:g} mm with {diameter:g} mm. It binds")
    side = np.where(np.arange(n) % 2, 1.0, -1.0)
    centre = np.column_stack([side * (width - diameter) / 2, np.arange(n) * pitch])
    wall, upper = np.column_stack([side, np.zeros(n)]), np.diff(centre, axis=0) / diameter
    pairs = np.arange(n - 1)
    points = np.concatenate([centre + wall * diameter / 2, centre[:-1] + upper * diameter / 2])
    state = ContactState(
        centre=centre,
        weight=np.tile([0.0, -1.0], (n, 1)),
        body=np.concatenate([np.arange(n), pairs]),
        other=np.concatenate([np.full(n, -1), pairs + 1]),
        point=points,
        normal=-np.concatenate([wall, upper]),
        friction=np.concatenate(
            [np.ones(n), np.full(n - 1, 1.0 if container_friction is None else container_friction)]
        ),
        lever=np.full(2 * n - 1, rolling * diameter / 2),
    )
    scaled = (state.other < 0) | (container_friction is None)
    return _least_factor(state, scaled, largest_normal)


def _scales(state: ContactState) -> tuple[FloatArray, FloatArray, float]:
    """Give a force and a length by which to measure each body's balances, and a force for all."""
    weight = np.hypot(*state.weight.T)
    heavy = weight[weight > 0]
    fixed = state.fixed_normal[state.fixed_normal > 0]
    unit = float(heavy.mean()) if heavy.size else float(fixed.max(initial=0.0)) or 1.0
    arm = np.zeros(len(weight))
    for bodies in (state.body, state.other):
        at = bodies >= 0
        np.maximum.at(arm, bodies[at], np.hypot(*(state.point[at] - state.centre[bodies[at]]).T))
    return np.where(weight > 0, weight, unit), np.where(arm > 0, arm, 1.0), unit


def _on_bodies(state: ContactState, forces: FloatArray, moments: FloatArray) -> FloatArray:
    """Give what each contact does to each body: two forces and a torque, of shape (n, 3, m)."""
    acting = np.zeros((len(state.centre), 3, len(state.body)))
    for bodies, sign in ((state.body, 1.0), (state.other, -1.0)):
        at = np.flatnonzero(bodies >= 0)
        on, force = bodies[at], sign * forces[at]
        arm = state.point[at] - state.centre[on]
        acting[on, 0, at], acting[on, 1, at] = force.T
        acting[on, 2, at] = arm[:, 0] * force[:, 1] - arm[:, 1] * force[:, 0] + sign * moments[at]
    return acting


def _least_factor(state: ContactState, scaled: npt.NDArray[np.bool_], largest_normal: float | None) -> float:
    """Find the least factor on some of the frictions with which the bodies can be held."""

    def held(factor: float) -> bool:
        friction = np.where(scaled, np.minimum(factor * state.friction, _ROUGHEST), state.friction)
        return is_admissible(replace(state, friction=friction), largest_normal=largest_normal)

    if held(0.0):
        return 0.0
    rough = state.friction[scaled & (state.friction > 0)]
    high = _ROUGHEST / float(rough.min(initial=_ROUGHEST))
    if not held(high):
        return math.inf
    low = 1.0
    while low > _PRECISION and held(low):
        low, high = low / 2, low
    low = min(low, high / 2)
    while high - low > _PRECISION * high:
        middle = math.sqrt(low * high)
        low, high = (low, middle) if held(middle) else (middle, high)
    return high
