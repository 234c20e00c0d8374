"""The squeeze test: a bottle on its side between boards, its height under three loads or more, and what they say."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Annotated, Literal, Self

import numpy as np
import numpy.typing as npt
from pydantic import Field, model_validator
from scipy.optimize import least_squares
from scipy.special import chdtri

from colsim.errors import RangeError, ScenarioError
from colsim.model.base import Description, Force, Length
from colsim.model.units import STANDARD_GRAVITY, is_number
from colsim.theory.squeeze import ATMOSPHERE, Bottle

__all__ = ["SqueezeFit", "SqueezeReading", "fit_squeeze_test", "height_under", "require_readings", "weight"]

FloatArray = npt.NDArray[np.float64]

READING_ERROR = 0.5
"""Deviation of a height read off a ruler [mm], assumed."""
PRESSURE_ERROR = 0.1
"""Deviation of a calculated pressure, as a share of it above a vacuum [-], assumed."""
GREATEST_RISE = 1.0
"""By how much a height may grow under more load before the readings are taken for mixed up [mm], assumed."""
LEAST_READINGS = 3
_GREATEST_END_STIFFNESS = 1e4
_LEAST_PRESSURE, _GREATEST_SHIFT = -60.0, 200.0  # [kPa] between which an effective pressure is looked for


class SqueezeReading(Description):
    """One height of a bottle that lies on a flat board between two guides, with a board and a load on top."""

    bottles: Annotated[int, Field(ge=0, le=100)] | None = Field(
        None,
        description="how many of the same bottles stand on the board, or load in its place; take a board that weighs "
        "next to nothing",
    )
    load: Annotated[Force, Field(ge=0, le=1000)] | None = Field(
        None, description="in place of bottles: weight of board and what stands on it [N], scale in kg times 9.81"
    )
    height: Length = Field(
        gt=0, le=150, description="ruler between the boards, at both ends and averaged, guides clear of the wall [mm]"
    )
    temperature: Literal["cold", "warm"] | None = Field(
        None, description="cold: as in service; warm: as when loaded; as in service if not given"
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.bottles is None) == (self.load is None):
            given = "neither" if self.load is None else "both"
            raise ScenarioError(f"got {given} of bottles and load; allowed: one of them, to say what presses")
        return self

    def load_on_top(self, mass: float) -> float:
        """Give what presses from above.

        Parameters
        ----------
        mass : float
            Of one bottle [kg]; without effect where the load was given.

        Returns
        -------
        float
            [N]
        """
        return self.load if self.load is not None else (self.bottles or 0) * weight(mass)


def weight(mass: float) -> float:
    """Give the weight of a mass.

    Parameters
    ----------
    mass : float
        [kg]

    Returns
    -------
    float
        [N]
    """
    return mass * STANDARD_GRAVITY


def require_readings(readings: Sequence[SqueezeReading], mass: float, *, diameter: float) -> None:
    """Refuse readings that no bottle gives.

    Parameters
    ----------
    readings : sequence of SqueezeReading
        Of one test.
    mass : float
        Of a bottle [kg].
    diameter : float
        Of the one that was tested, before [mm].

    Raises
    ------
    ScenarioError
        If there are fewer than three, all under one load, or one is higher than a bottle can be or, by more than 1 mm,
        than under less load at the same temperature.
    """
    if len(readings) < LEAST_READINGS:
        text = (
            f"got {len(readings)} readings; allowed: {LEAST_READINGS} or more, such as with 0, 6 and 12 bottles on top"
        )
        raise ScenarioError([("squeeze_test", text)])
    pairs = [(reading.load_on_top(mass), reading.height, reading.temperature) for reading in readings]
    if len({load for load, _, _ in pairs}) < 2:
        text = f"got {len(pairs)} readings under one load of {pairs[0][0]:.1f} N; allowed: two loads or more"
        raise ScenarioError([("squeeze_test", f"{text}; put more on the board")])
    for k, (load, height, word) in enumerate(pairs):
        if height > diameter + GREATEST_RISE:
            text = f"got {height:g} mm; a bottle of {diameter:g} mm does not grow under a load; measure both again"
            raise ScenarioError([(f"squeeze_test.{k}.height", text)])
        for other, lower, at in pairs:
            if at == word and other < load and height > lower + GREATEST_RISE:
                text = (
                    f"got {height:g} mm under {load:.1f} N, but {lower:g} mm under {other:.1f} N; allowed: at most "
                    f"{GREATEST_RISE:g} mm more under more load; see whether readings were mixed up"
                )
                raise ScenarioError([(f"squeeze_test.{k}.height", text)])


@dataclass(frozen=True, kw_only=True)
class SqueezeFit:
    """What a squeeze test says of a bottle.

    Attributes
    ----------
    end_stiffness : float
        Factor on the ring's stiffness that fits best, at least 1 [-].
    pressure_shift : float
        By how much the pressure that fits best is above the one calculated [kPa]; 0 where the readings do not ask
        for it.
    pressure_fitted : bool
        Whether they do.
    loads : tuple of float
        What each reading bears, half of its own weight included [N].
    heights, residuals : tuple of float
        Heights read, and what they are above the heights calculated [mm].
    """

    end_stiffness: float
    pressure_shift: float
    pressure_fitted: bool
    loads: tuple[float, ...]
    heights: tuple[float, ...]
    residuals: tuple[float, ...]

    @property
    def misfit(self) -> float:
        """Root mean square of the residuals [mm]."""
        return math.sqrt(sum(residual**2 for residual in self.residuals) / len(self.residuals))

    @property
    def largest_residual(self) -> float:
        """Residual farthest from 0, with its sign [mm]."""
        return max(self.residuals, key=abs)

    @property
    def largest_load(self) -> float:
        """Largest load tested, half of its own weight included [N]."""
        return max(self.loads)

    def extrapolates(self, load: float) -> bool:
        """Tell whether a load is beyond the largest one tested, so that nothing but the formula speaks for it.

        Parameters
        ----------
        load : float
            What a bottle bears, half of its own weight included [N].

        Returns
        -------
        bool
        """
        return load > self.largest_load

    def summary(self) -> str:
        """Say in words what was found."""
        pressure = f", pressure {self.pressure_shift:+.1f} kPa off the calculated one" if self.pressure_fitted else ""
        return (
            f"end stiffness {self.end_stiffness:.3g}{pressure}; {len(self.heights)} readings missed by "
            f"{self.misfit:.2f} mm (rms), at most {abs(self.largest_residual):.2f} mm; loads above "
            f"{self.largest_load:.0f} N are extrapolated"
        )


def fit_squeeze_test(
    bottle: Bottle,
    loads: Sequence[float],
    heights: Sequence[float],
    *,
    pressures: Sequence[float] | None = None,
    fit_pressure: bool = True,
) -> SqueezeFit:
    r"""Fit the stiffness of the ends, and the pressure if the readings ask for it, to a squeeze test.

    .. math:: \min_{e \ge 1,\,q} \sum_i \big(h_i - d + s(F_i; e, p_i + q)\big)^2 / \sigma^2 + q^2 / \sigma_p^2

    Parameters
    ----------
    bottle : Bottle
        The one that was tested, as far as it is described; its own ``end_stiffness`` does not count.
    loads : sequence of float
        Force F on it [N].
    heights : sequence of float
        Height h under each [mm].
    pressures : sequence of float, optional
        Gauge pressure p before the squeeze at each reading [kPa]; the bottle's if not given.
    fit_pressure : bool
        Whether a shift q of all pressures may be fitted too.

    Returns
    -------
    SqueezeFit

    Raises
    ------
    ScenarioError
        If there are fewer than three readings, not as many loads and pressures as heights, or numbers that are no loads
        or heights.

    Notes
    -----
    The pressure is fitted where with the calculated one the misfit is more than errors of 0.5 mm make in 1 of 20 tests
    (chi square of one fewer than the readings). It is then held to the calculated one by a deviation sigma_p of a tenth
    of that above a vacuum (assumed): stiffer ends and a higher pressure look much alike, and heights alone let errors
    of reading drive the one against the other to absurd values. At 0.1 mm of wall the ring bears so little that
    factors below ten look alike; that is no fault, as they also make no difference.

    References
    ----------
    Least squares within bounds, `scipy.optimize.least_squares`, begun in three places.

    Examples
    --------
    >>> water = Bottle(diameter=65, length=130, wall_thickness=0.1, modulus=3000, poisson=0.38, headspace=0.04,
    ...     body_share=0.85, end_stiffness=200)
    >>> loads = (10.0, 40.0, 73.0)
    >>> heights = tuple(65 - water.squeeze_under(load) for load in loads)
    >>> round(fit_squeeze_test(water, loads, heights).end_stiffness)
    200
    """
    for name, given in (("loads", loads), ("heights", heights), ("pressures", pressures)):
        if given is not None and (isinstance(given, str) or not isinstance(given, (Sequence, np.ndarray))):
            raise ScenarioError([("squeeze_test", f"got {name} {given!r}; allowed: as many numbers as readings")])
    before = (bottle.pressure,) * len(loads) if pressures is None else pressures
    if not len(loads) == len(heights) == len(before) or len(heights) < LEAST_READINGS:
        text = f"got {len(loads)} loads, {len(heights)} heights and {len(before)} pressures; allowed: as many of each"
        raise ScenarioError([("squeeze_test", f"{text}, {LEAST_READINGS} or more; read again what is missing")])
    if not all(is_number(number) and math.isfinite(number) and number >= 0 for number in (*loads, *heights)):
        text = f"got loads {tuple(loads)} and heights {tuple(heights)}; allowed: finite numbers, none below 0"
        raise ScenarioError([("squeeze_test", f"{text}; read it again")])
    return _fitted(bottle, tuple(loads), tuple(heights), tuple(before), fit_pressure)


@lru_cache(maxsize=512)
def _fitted(
    bottle: Bottle,
    loads: tuple[float, ...],
    heights: tuple[float, ...],
    before: tuple[float, ...],
    fit_pressure: bool,
) -> SqueezeFit:
    """Fit; kept, as every container of a fill asks for the same."""
    doubt = PRESSURE_ERROR * (min(before) + ATMOSPHERE)

    def residuals(sought: FloatArray) -> list[float]:
        factor, shift = math.exp(sought[0]), float(sought[1]) if len(sought) > 1 else 0.0
        return [
            height - height_under(replace(bottle, end_stiffness=factor, pressure=pressure + shift), load)
            for load, height, pressure in zip(loads, heights, before, strict=True)
        ]

    def with_doubt(sought: FloatArray) -> list[float]:
        return [*residuals(sought), READING_ERROR * float(sought[1]) / doubt]

    stiffest = math.log(_GREATEST_END_STIFFNESS)
    found = _least(residuals, [(0.0, stiffest)])
    excess = float(np.sum(np.square(residuals(found)))) / READING_ERROR**2
    ask = fit_pressure and excess > chdtri(len(loads) - 1, 0.05)
    if ask:
        found = _least(with_doubt, [(0.0, stiffest), (_LEAST_PRESSURE - min(before), _GREATEST_SHIFT)])
    return SqueezeFit(
        end_stiffness=math.exp(found[0]),
        pressure_shift=float(found[1]) if ask else 0.0,
        pressure_fitted=bool(ask),
        loads=loads,
        heights=heights,
        residuals=tuple(residuals(found)),
    )


def height_under(bottle: Bottle, load: float) -> float:
    """Give the height of a bottle between two boards.

    Parameters
    ----------
    bottle : Bottle
        What is squeezed.
    load : float
        What it bears, 0 or more [N].

    Returns
    -------
    float
        [mm]; 0 where it lies flat, and for a load below 0 or not finite.
    """
    try:
        return bottle.diameter - bottle.squeeze_under(load)
    except RangeError:
        return 0.0


def _least(residuals: Callable[[FloatArray], list[float]], bounds: list[tuple[float, float]]) -> FloatArray:
    """Find the parameters of least squares within bounds: the first begun in three places, the others at 0."""
    low, high = zip(*bounds, strict=True)
    begun = ([start, *(0.0 for _ in bounds[1:])] for start in (0.1, 3.0, 6.0))
    tries = [
        least_squares(
            residuals, np.clip(start, low, high), bounds=(low, high), x_scale="jac", diff_step=[1e-4] * len(bounds)
        )
        for start in begun
    ]
    return np.asarray(min(tries, key=lambda tried: float(tried.cost)).x, dtype=np.float64)
