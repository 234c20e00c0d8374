"""Whether rigid bodies can be in equilibrium under contact forces within Coulomb's limit, by linear programme.

An admissible state may be at rest; others cannot. N and mm may be replaced by any other units of force and length.
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

__all__ = ["ContactState", "channel_critical_friction", "imbalance", "is_admissible", "margin"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_MAX_NORMAL = 1e6  # mean weights; above it rounding errors act like resistance to rolling
_MAX_FRICTION = 1e3  # a state not admissible with this friction counts as admissible with none
_PRECISION = 1e-6  # relative, of the least friction


@dataclass(frozen=True, eq=False)
class ContactState:
    """Bodies in contact, without the forces between them; arrays are broadcast to their shapes.

    Attributes
    ----------
    centre, weight : ndarray, shape (n, 2)
        Centres of mass [mm], and weights as vectors [N], which may be zero.
    body, other : ndarray, shape (m,)
        Rows of the body that each contact force acts on, and of the one with the reaction; -1 if that is fixed.
    point, normal : ndarray, shape (m, 2)
        Contact point [mm], and unit normal into ``body``.
    friction : ndarray, shape (m,)
        Coefficient [-].
    fixed_normal : ndarray, shape (m,)
        Prescribed normal force [N]; nan, the default, if it is unknown.
    lever : ndarray, shape (m,)
        Greatest offset of the normal force from its point along the surface [mm], which resists rolling; default 0.

    Raises
    ------
    RangeError
        If shapes do not match, a body is missing or in contact with itself, or a number is out of range.
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
        n, m = np.size(self.centre) // 2, np.size(self.body)
        shapes = {"centre": (n, 2), "weight": (n, 2), "point": (m, 2), "normal": (m, 2)}
        for name in (each.name for each in fields(self)):
            shape, given = shapes.get(name, (m,)), getattr(self, name)
            try:
                value = np.broadcast_to(given, shape)
                value = value.astype(np.int64 if name in ("body", "other") else np.float64, casting="same_kind")
            except (TypeError, ValueError) as error:
                raise RangeError(f"{name} must be numbers of shape {shape}: got {given!r}. Give each a row") from error
            bad = np.isinf(value) if name == "fixed_normal" else ~np.isfinite(value)
            bad |= (value < 0) & (name in ("friction", "fixed_normal", "lever"))
            require(not bad.any(), f"{name} must be finite, and no size negative: got {given!r}. Measure it again")
            value.flags.writeable = False
            object.__setattr__(self, name, value)
        exist = (self.body >= 0) & (self.body < n) & (self.other >= -1) & (self.other < n) & (self.body != self.other)
        given = f"{self.body.tolist()!r}, {self.other.tolist()!r}. Number the bodies from 0 in the order of centre"
        require(n > 0 and bool(exist.all()), f"body and other must be two of {n} bodies, or other -1: got {given}")
        unit = np.abs(np.hypot(*self.normal.T) - 1.0) < 1e-6
        require(bool(unit.all()), f"normal must be unit vectors: got {self.normal.tolist()!r}. Divide by the lengths")


def imbalance(state: ContactState, forces: FloatArray) -> tuple[FloatArray, FloatArray]:
    r"""Give the residual force and torque of each body under given contact forces.

    .. math:: \frac{G_i + \sum_c \pm f_c}{|G_i|}, \quad \frac{\sum_c \pm (x_c - x_i) \times f_c}{a_i |G_i|}

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
        Residual torque about each centre, in its own weight times a, the longest arm of its contacts [-].

    Raises
    ------
    RangeError
        If the forces are not finite or not one vector a contact.

    Notes
    -----
    Friction and ``lever`` have no effect. Residuals of a weightless body are in mean weights of the others.

    References
    ----------
    Newton's laws at rest.

    Examples
    --------
    >>> block = ContactState([[0, 5]], [0, -2], [0], [-1], [0, 0], [0, 1], 0.3)
    >>> force, torque = imbalance(block, [[0, 1.5]])
    >>> force.tolist(), torque.tolist()
    ([[0.0, -0.25]], [0.0])
    """
    forces = np.asarray(forces, dtype=np.float64)
    fit = forces.shape == state.point.shape and bool(np.isfinite(forces).all())
    require(fit, f"forces must be finite, of shape {state.point.shape}: got {forces.tolist()!r}. Give each contact one")
    weight, arm, _ = _scales(state)
    acting = _on_bodies(state, forces, np.zeros(len(forces))).sum(axis=2)
    return (acting[:, :2] + state.weight) / weight[:, None], acting[:, 2] / (arm * weight)


def is_admissible(state: ContactState, *, largest_normal: float | None = None) -> bool:
    r"""Tell whether some contact forces within Coulomb's limit balance all bodies.

    .. math:: N_c \ge 0, \quad |T_c| \le \mu_c N_c, \quad |M_c| \le b_c N_c, \quad \text{three balances a body}

    Parameters
    ----------
    state : ContactState
        Bodies and contacts.
    largest_normal : float, optional
        Greatest normal force of a contact [N]; a million mean weights if left out. Fixed ones are exempt.

    Returns
    -------
    bool

    Raises
    ------
    RangeError
        If the largest normal force is not positive and finite.
    SimulationError
        If a friction is so near its bound that rounding decides.

    Notes
    -----
    Necessary for rest, not sufficient: the forces exist, but need not arise. Give a largest normal force for measured
    or simulated contacts, since errors of their points resist rolling like a small ``lever``.

    References
    ----------
    Each force is a non-negative combination of the extreme rays of Coulomb's cone. HiGHS, by scipy.optimize.linprog.

    Examples
    --------
    >>> [is_admissible(ContactState([[0, 0]], [0, -1], [0], [-1], [0, 0], [-0.6, 0.8], mu)) for mu in (0.74, 0.76)]
    [False, True]
    """
    least = _least_largest_normal(state)
    if math.isnan(least):
        raise SimulationError("undecided: friction is at its very bound, to a millionth or so. Change it a little")
    return _is_within(least, largest_normal)


def margin(state: ContactState, *, largest_normal: float | None = None) -> float:
    r"""Give the least common factor on all frictions at which the state is still admissible.

    .. math:: k^* = \min \{k : \text{admissible with } k \mu_c\}

    Parameters
    ----------
    state : ContactState
        Bodies and contacts.
    largest_normal : float, optional
        As for `is_admissible` [N].

    Returns
    -------
    float
        Factor [-], relative precision 1e-5: 0 if admissible without friction, inf if not up to friction 1000.

    Raises
    ------
    RangeError
        If the largest normal force is not positive and finite.

    Notes
    -----
    Necessary, not sufficient: with a lower factor the bodies must move; with this or a higher one they may stay.

    References
    ----------
    Bisection: more friction only adds admissible forces, so there is one such factor.

    Examples
    --------
    >>> round(margin(ContactState([[0, 0]], [0, -1], [0], [-1], [0, 0], [-0.6, 0.8], 0.5)), 5)
    1.5
    """
    return _least_factor(state, np.ones(len(state.body), dtype=np.bool_), largest_normal)


def channel_critical_friction(
    width: float, diameter: float, n: int, rolling: float, *, container_friction: float | None = None
) -> float:
    r"""Give the least friction at which a zig-zag stack can hold itself up in a plain channel open below.

    Found by linear programme. For two or more and equal frictions it comes to

    .. math:: \mu_c = \tan\frac{\theta}{2} = \sqrt{\frac{2d - W}{W}} \ (\rho > 0), \quad \mu_c = \infty \ (\rho = 0)

    Parameters
    ----------
    width, diameter : float
        Clear width W of the channel, diameter d of the containers [mm].
    n : int
        Number of containers, at least 1.
    rolling : float
        Resistance to rolling rho [-]: greatest moment over normal force and radius; b / d for set flats b wide.
    container_friction : float, optional
        Coefficient between containers [-]; that of the walls if left out.

    Returns
    -------
    float
        Coefficient of walls and containers, or of the walls alone [-]; inf if none up to 1000 will do.

    Raises
    ------
    RangeError
        If not d < W <= 1.866 d, or n is no whole number of at least 1, or another is negative or not finite.

    Notes
    -----
    Equal, rigid, round containers that alternate between parallel upright walls. The normal forces needed are at least
    the weight over 2 rho, so a state that is admissible at a small rho hardly ever arises.

    References
    ----------
    Virtual power: if all descend at one speed and each rolls on its wall, nothing slides, but gravity does work.

    Examples
    --------
    >>> round(channel_critical_friction(104.0, 64.0, 6, 0.05), 4), channel_critical_friction(104.0, 64.0, 6, 0.0)
    (0.4804, inf)
    """
    require(type(n) is int and n >= 1, f"n must be a whole number, at least 1: got {n!r}. Count the containers again")
    between = 1.0 if container_friction is None else container_friction
    for name, value in {"rolling": rolling, "container_friction": between}.items():
        require(math.isfinite(value) and value >= 0, f"{name} must be zero or more: got {value!r}. Measure it again")
    pitch = stack_pitch(diameter, width)
    require(width > diameter, f"width must be over the diameter: got {width:g} mm with {diameter:g} mm. It binds")
    bodies, side = np.arange(n), np.where(np.arange(n) % 2, 1.0, -1.0)
    centre = np.column_stack([side * (width - diameter) / 2, bodies * pitch])
    outward = np.concatenate([np.column_stack([side, np.zeros(n)]), np.diff(centre, axis=0) / diameter])
    body, at_wall = np.concatenate([bodies, bodies[:-1]]), np.arange(2 * n - 1) < n
    other, point = np.where(at_wall, -1, body + 1), centre[body] + outward * diameter / 2
    friction, lever = np.where(at_wall, 1.0, between), np.array(rolling * diameter / 2)
    state = ContactState(centre, np.array([0.0, -1.0]), body, other, point, -outward, friction, lever=lever)
    return _least_factor(state, at_wall | (container_friction is None), None)


def _least_largest_normal(state: ContactState) -> float:
    """Minimise the greatest free normal force and give it; inf if no forces balance, nan if undecided."""
    weight, arm, unit = _scales(state)
    tangent = np.column_stack([-state.normal[:, 1], state.normal[:, 0]]) * state.friction[:, None]
    extremes = [(slip, off) for slip in (1, -1) for off in ((1, -1) if state.lever.any() else (0,))]
    balances = np.concatenate(
        [_on_bodies(state, state.normal + slip * tangent, off * state.lever) for slip, off in extremes], axis=2
    )
    balances *= (unit / weight)[:, None, None]
    balances[:, 2] /= arm[:, None]
    normals, fixed = np.tile(np.eye(len(state.body)), len(extremes)), ~np.isnan(state.fixed_normal)
    borne = np.column_stack([-state.weight / weight[:, None], np.zeros(len(weight))])
    load = np.concatenate([borne.ravel(), state.fixed_normal[fixed] / unit])
    equal = np.concatenate([balances.reshape(3 * len(weight), -1), normals[fixed]])
    # Inverted, so that it is always feasible: the greatest share of the load that unit normal forces bear.
    for tolerance in (1e-10, 1e-7):  # the finer one may fail within 3e-6 of the bound
        found = linprog(
            [*np.zeros(normals.shape[1]), -1.0],
            A_ub=np.pad(normals[~fixed], ((0, 0), (0, 1))),
            b_ub=np.ones(np.count_nonzero(~fixed)),
            A_eq=np.column_stack([equal, -load]),
            b_eq=np.zeros(len(load)),
            bounds=[(0.0, None)] * normals.shape[1] + [(0.0, _MAX_NORMAL)],
            options={"primal_feasibility_tolerance": tolerance, "dual_feasibility_tolerance": tolerance},
        )
        if found.status == 0 and found.fun is not None:
            return -unit / found.fun if -found.fun * _MAX_NORMAL > 1.0 else math.inf
    return math.nan


def _is_within(least: float, largest_normal: float | None) -> bool:
    """Tell whether forces exist, and within the largest normal force."""
    if largest_normal is not None:
        require_positive(largest_normal=largest_normal)
    return math.isfinite(least) and (largest_normal is None or least <= largest_normal)


def _scales(state: ContactState) -> tuple[FloatArray, FloatArray, float]:
    """Give the scales of force and length of each body, and one of force for all."""
    weight, arm = np.hypot(*state.weight.T), np.zeros(len(state.weight))
    heavy, fixed = weight[weight > 0], state.fixed_normal[state.fixed_normal > 0]
    unit = float(heavy.mean()) if heavy.size else float(fixed.max(initial=0.0)) or 1.0
    for bodies in (state.body, state.other):
        at = bodies >= 0
        np.maximum.at(arm, bodies[at], np.hypot(*(state.point[at] - state.centre[bodies[at]]).T))
    return np.where(weight > 0, weight, unit), np.where(arm > 0, arm, 1.0), unit


def _on_bodies(state: ContactState, forces: FloatArray, moments: FloatArray) -> FloatArray:
    """Give the two force components and the torque of each contact on each body, of shape (n, 3, m)."""
    acting = np.zeros((len(state.centre), 3, len(state.body)))
    for bodies, sign in ((state.body, 1.0), (state.other, -1.0)):
        at = np.flatnonzero(bodies >= 0)
        on, force, arm = bodies[at], sign * forces[at], state.point[at] - state.centre[bodies[at]]
        acting[on, 0, at], acting[on, 1, at] = force.T
        acting[on, 2, at] = arm[:, 0] * force[:, 1] - arm[:, 1] * force[:, 0] + sign * moments[at]
    return acting


def _least_factor(state: ContactState, scaled: npt.NDArray[np.bool_], largest_normal: float | None) -> float:
    """Find the least factor on some of the frictions at which the state is admissible."""

    def admissible(factor: float) -> bool:
        friction = np.where(scaled, np.minimum(factor * state.friction, _MAX_FRICTION), state.friction)
        return _is_within(_least_largest_normal(replace(state, friction=friction)), largest_normal)

    if admissible(0.0):
        return 0.0
    least_friction = float(state.friction[scaled & (state.friction > 0)].min(initial=_MAX_FRICTION))
    low, high = _PRECISION, _MAX_FRICTION / least_friction
    if not admissible(high):
        return math.inf
    while high - low > _PRECISION * high:
        middle = math.sqrt(low * high)
        low, high = (low, middle) if admissible(middle) else (middle, high)
    return high
