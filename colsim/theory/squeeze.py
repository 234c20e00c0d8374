"""Stiffness of a bottle between plates: the bare wall as a ring, the pressure in a membrane of constant girth."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.optimize import brentq

from colsim.theory._checks import require, require_positive

__all__ = [
    "Bottle",
    "Section",
    "bulge",
    "ring_stiffness",
    "sealed_pressure",
    "section_between",
    "section_under",
    "stadium_force",
]

ATMOSPHERE = 101.325
"""Atmospheric pressure [kPa]."""
PINCHED_RING = math.pi / 4 - 2 / math.pi
"""Diameter that a thin ring loses along two opposite forces F, over F R^3/(E I): 0.14878 [-]."""

BULGE_SHARE = math.pi / 2 - 1
"""Width gained over height lost of a taut tube between two plates [-]."""


def _within(name: str, value: float, low: float, high: float, to_do: str) -> None:
    inside = math.isfinite(value) and low <= value <= high
    require(inside, f"{name} must be between {low:g} and {high:g}: got {value!r}. {to_do}")


def _check_squeeze(squeeze: float, diameter: float) -> None:
    require_positive(diameter=diameter)
    _within("squeeze [mm]", squeeze, 0, diameter, "Take the height between the walls off the diameter")


def ring_stiffness(wall_thickness: float, radius: float, modulus: float, poisson: float) -> float:
    r"""Give the stiffness of the bare wall between two plates, for each mm of its length.

    .. math:: k = \frac{E t^3}{12 (1 - \nu^2)} \frac{1}{(\pi/4 - 2/\pi) R^3}

    Parameters
    ----------
    wall_thickness, radius : float
        Thickness t of the wall and radius R of the section [mm].
    modulus : float
        Young's modulus E of the wall [MPa].
    poisson : float
        Poisson's ratio of the wall [-]; 0 for a narrow ring, which is in plane stress.

    Returns
    -------
    float
        Force per mm of diameter lost, per mm of length [N/mm per mm].

    Raises
    ------
    RangeError
        If a size is not positive and finite, the wall thicker than a tenth of the radius, or not 0 <= nu <= 0.5.

    Notes
    -----
    Thin elastic ring, no pressure, no ends, small squeeze: at a tenth of the diameter it is 14 % too stiff.

    References
    ----------
    Timoshenko, Strength of Materials; Roark, table 9.2, case 1 (both from memory).

    Examples
    --------
    >>> round(150 * ring_stiffness(0.25, 36.0, 3000.0, 0.40), 5)
    0.10049
    """
    require_positive(wall_thickness=wall_thickness, radius=radius, modulus=modulus)
    _within("wall_thickness [mm]", wall_thickness, 0, radius / 10, "A thicker wall is no thin ring: take it as rigid")
    _within("poisson", poisson, 0, 0.5, "Metals and plastics have 0.3 to 0.45")
    return modulus * wall_thickness**3 / (12 * (1 - poisson**2) * PINCHED_RING * radius**3)


def stadium_force(squeeze: float, diameter: float, pressure: float, length: float) -> float:
    r"""Give the force with which a taut tube under pressure presses on two plates.

    .. math:: F = p\,b\,L, \qquad b = \frac{\pi}{2} s, \qquad s = d - h

    Parameters
    ----------
    squeeze, diameter : float
        Diameter lost s and diameter d before [mm].
    pressure : float
        Gauge pressure p at this squeeze [kPa].
    length : float
        Length L of the contact along the axis [mm].

    Returns
    -------
    float
        Force [N]; negative if a vacuum pulls the plates together.

    Raises
    ------
    RangeError
        If a size is not positive and finite, the pressure not finite, or not 0 <= s <= d.

    Notes
    -----
    Inextensible wall without bending stiffness: two flats b and two half circles, with (s/d)^2 of the area lost.

    References
    ----------
    Tire Science and Technology 3 (1975) 29: an inflated ring between plates, linear up to high deflection.

    Examples
    --------
    >>> round(stadium_force(3.0, 73.0, 300.0, 150.0), 2)
    212.06
    """
    _check_squeeze(squeeze, diameter)
    require_positive(length=length)
    require(math.isfinite(pressure), f"pressure must be a finite number of kPa: got {pressure!r}. Measure it again")
    return pressure / 1000 * math.pi / 2 * squeeze * length


def bulge(squeeze: float, diameter: float) -> float:
    r"""Give the width that a taut tube gains when it is squeezed between two plates.

    .. math:: h + b - d = (\pi/2 - 1)\,s

    Parameters
    ----------
    squeeze, diameter : float
        As for `stadium_force` [mm].

    Returns
    -------
    float
        Width gained [mm].

    Raises
    ------
    RangeError
        If the diameter is not positive and finite, or not 0 <= s <= d.

    Notes
    -----
    0.571 of the squeeze, where pressure shapes the wall; a bare ring widens by 0.918 of it at first.

    References
    ----------
    Plane geometry: the girth pi h + 2 b stays pi d.

    Examples
    --------
    >>> round(bulge(9.5, 65.0), 1)
    5.4
    """
    _check_squeeze(squeeze, diameter)
    return BULGE_SHARE * squeeze


@dataclass(frozen=True)
class Section:
    """A taut wall between plates on two axes, a rectangle with rounded corners [mm]; area lost is a share [-]."""

    flat_top: float
    flat_side: float
    corner_radius: float
    height: float
    width: float
    area_lost: float


def _section(flat_top: float, flat_side: float, diameter: float) -> Section:
    flats = flat_top + flat_side
    r = max(0.0, diameter / 2 - flats / math.pi)
    lost = (flats**2 / math.pi - flat_top * flat_side) / (math.pi * diameter**2 / 4)
    return Section(flat_top, flat_side, r, flat_side + 2 * r, flat_top + 2 * r, min(1.0, lost))


def section_under(load_top: float, load_side: float, diameter: float, pressure: float, length: float) -> Section:
    r"""Give the section of a taut tube that is pressed on two axes.

    .. math:: b_i = \frac{F_i}{p L}, \quad r = \frac{d}{2} - \frac{b_1 + b_2}{\pi}, \quad h = b_2 + 2 r,
        \quad w = b_1 + 2 r, \quad x = \frac{(b_1 + b_2)^2/\pi - b_1 b_2}{\pi d^2/4}

    Parameters
    ----------
    load_top, load_side : float
        Forces F_1 on top and bottom and F_2 on both sides [N], zero or more, without the part that the ring bears.
    diameter, pressure, length : float
        As for `stadium_force` [mm, kPa, mm]; the pressure above 0.

    Returns
    -------
    Section
        Flats b_1 and b_2, corner radius r, height h, width w, share x of the area lost.

    Raises
    ------
    RangeError
        If a load is negative, another number not positive, or no corner is left (r < 0).

    Notes
    -----
    As for `stadium_force`; no friction. Holds for 0 <= r <= h/2; at h/2 the sides are free, a stadium.

    References
    ----------
    Membrane theory: the tension is uniform, so all corners have one radius; flats and corners add up to the girth.

    Examples
    --------
    >>> round(section_under(212.06, 0.0, 73.0, 300.0, 150.0).height, 3)
    70.0
    """
    require_positive(diameter=diameter, pressure=pressure, length=length)
    flat = pressure / 1000 * length
    for name, load in {"load_top": load_top, "load_side": load_side, "both loads": load_top + load_side}.items():
        _within(f"{name} [N]", load, 0, math.pi * diameter / 2 * flat, "Plates only press. Put fewer on top")
    return _section(load_top / flat, load_side / flat, diameter)


def corner_between(width: float, height: float, diameter: float) -> float:
    """Give the corner radius r of `section_between` [mm], unchecked; it may be negative."""
    return (2 * width + 2 * height - math.pi * diameter) / (8 - 2 * math.pi)


def section_between(width: float, height: float, diameter: float) -> Section:
    r"""Give the section of a taut tube that is held to a width and a height.

    .. math:: r = \frac{2 w + 2 h - \pi d}{8 - 2\pi}, \qquad b_1 = w - 2 r, \qquad b_2 = h - 2 r

    Parameters
    ----------
    width, height, diameter : float
        Width w between the sides, height h between top and bottom, diameter d before [mm].

    Returns
    -------
    Section
        As `section_under`, which gives it for the loads p b_1 L and p b_2 L.

    Raises
    ------
    RangeError
        If a length is not positive and finite, or not 0 <= r <= min(w, h)/2.

    Notes
    -----
    As for `section_under`, with its references.

    Examples
    --------
    >>> round(section_between(66.0, 57.0, 65.0).area_lost, 4)
    0.0196
    """
    require_positive(width=width, height=height, diameter=diameter)
    r, most = corner_between(width, height, diameter), min(width, height) / 2
    ends = min(max(r, 0.0), most)
    r = ends if abs(r - ends) < 1e-9 * diameter else r  # a stadium within rounding
    to_do = "Less leaves the wall no room: measure again. More leaves one pair of plates untouched: take the stadium"
    _within(f"corner radius of {diameter:g} mm held to {width:g} by {height:g} mm", r, 0, most, to_do)
    return _section(width - 2 * r, height - 2 * r, diameter)


def sealed_pressure(
    area_lost: float, headspace: float, body_share: float, wall_stretch: float, initial_pressure: float
) -> float:
    r"""Give the gauge pressure in a sealed container that has lost a share of its cross-section; also compiled.

    .. math:: f - \varphi x + \beta (P - P_0) = f\,P_0 / P, \qquad p = P - p_a

    Parameters
    ----------
    area_lost : float
        Share x of the area of the round section, 0 to 1 [-].
    headspace, body_share : float
        Shares f and phi of the volume inside that are gas, and that are within the straight body [-].
    wall_stretch : float
        Share beta of the volume by which pressure expands the wall [1/kPa].
    initial_pressure : float
        Absolute pressure P_0 of the round section [kPa].

    Returns
    -------
    float
        Gauge pressure p [kPa].

    References
    ----------
    Boyle's law and the expansion of a thin tube, as `Bottle`.

    Examples
    --------
    >>> round(sealed_pressure(0.02, 0.04, 0.85, 1.9e-4, 101.325), 2)
    35.2
    """
    # The positive root of beta P^2 + b P - f P_0 = 0, without cancellation for either sign of b.
    b = headspace - body_share * area_lost - wall_stretch * initial_pressure
    root = math.sqrt(b**2 + 4.0 * wall_stretch * headspace * initial_pressure)
    absolute = 2.0 * headspace * initial_pressure / (root + b) if b > 0.0 else (root - b) / (2.0 * wall_stretch)
    return absolute - ATMOSPHERE


@dataclass(frozen=True, kw_only=True)
class Bottle:
    r"""A sealed bottle between two plates: wall, gas and liquid under a load.

    .. math:: F = \Big(e k + \frac{\pi}{2} p\Big) L s, \qquad
        f - \varphi \frac{s^2}{d^2} + \beta (p - p_0) = f\,\frac{p_0 + p_a}{p + p_a}, \qquad
        \beta = \frac{R}{E t} \Big(\frac{5}{2} - 2 \nu\Big)

    Parameters
    ----------
    diameter, length, wall_thickness : float
        Diameter d = 2 R, length L of the straight body, thickness t of its wall [mm].
    modulus, poisson : float
        Young's modulus E [MPa] and Poisson's ratio nu [-] of the wall.
    headspace, body_share : float
        Share f of the volume inside that is gas, 0 if brim-full, and share phi within the straight body [-].
    pressure : float
        Gauge pressure p_0 before the squeeze [kPa]: 0 if still, below 0 if filled warm and served cold.
    end_stiffness : float
        Factor e on the ring's stiffness for base and shoulder [-], from a squeeze test.

    Raises
    ------
    RangeError
        If a number is outside its range; phi > 1 means that the sizes contradict each other.

    Notes
    -----
    The liquid is incompressible, the gas isothermal and of constant amount, the strain of the wall small; k as
    `ring_stiffness`. With e = 1 the stiffness is a lower bound, since base and shoulder keep the body round.

    References
    ----------
    Thin closed tube: volume grows by twice the hoop strain and the axial strain. Boyle's law. Virtual work.

    Examples
    --------
    >>> water = Bottle(diameter=65, length=130, wall_thickness=0.1, modulus=3000, poisson=0.38, headspace=0.04,
    ...     body_share=0.85)
    >>> round(water.squeeze_under(73.0), 2)
    9.45
    """

    diameter: float
    length: float
    wall_thickness: float
    modulus: float
    poisson: float
    headspace: float
    body_share: float
    pressure: float = 0.0
    end_stiffness: float = 1.0

    def __post_init__(self) -> None:
        require_positive(diameter=self.diameter, length=self.length, body_share=self.body_share)
        ring_stiffness(self.wall_thickness, self.diameter / 2, self.modulus, self.poisson)  # checks the wall
        _within("headspace", self.headspace, 0, 0.9, "Divide the gas by the volume inside")
        _within("body_share", self.body_share, 0, 1, "The body is part of the bottle: measure body and contents again")
        _within("pressure [kPa]", self.pressure, -100, 2000, "Give gauge pressure, 0 for a still drink")
        _within("end_stiffness", self.end_stiffness, 1, 1e6, "Ring and skin alone are the least: give 1")

    @property
    def wall_stretch(self) -> float:
        """Share beta of the volume by which pressure expands the wall [1/kPa]."""
        return self.diameter / 2 / (self.modulus * self.wall_thickness) * (2.5 - 2 * self.poisson) / 1000

    def pressure_when(self, area_lost: float) -> float:
        """Give the gauge pressure for a share of the section's area that is lost.

        Parameters
        ----------
        area_lost : float
            Share x of the area of the round section [-]; of `Section` too.

        Returns
        -------
        float
            Gauge pressure p [kPa].

        Raises
        ------
        RangeError
            If not 0 <= x <= 1.
        """
        _within("area_lost", area_lost, 0, 1, "It is the share of the round section's area")
        initial = self.pressure + ATMOSPHERE
        return sealed_pressure(area_lost, self.headspace, self.body_share, self.wall_stretch, initial)

    def ring_force(self, squeeze: float) -> float:
        """Give the part of the force that the bare wall bears, ends and ribs included.

        Parameters
        ----------
        squeeze : float
            Diameter lost s [mm]; not checked.

        Returns
        -------
        float
            Force e k L s [N].
        """
        ring = ring_stiffness(self.wall_thickness, self.diameter / 2, self.modulus, self.poisson)
        return self.length * self.end_stiffness * ring * squeeze

    def force(self, squeeze: float) -> float:
        """Give the force between two plates.

        Parameters
        ----------
        squeeze : float
            Diameter lost s [mm].

        Returns
        -------
        float
            Force F [N]; below 0 where a vacuum pulls the plates together.

        Raises
        ------
        RangeError
            If not 0 <= s <= d.
        """
        return self._stiffness(squeeze) * squeeze

    def _stiffness(self, squeeze: float) -> float:
        _check_squeeze(squeeze, self.diameter)
        skin = math.pi / 2 * self.pressure_when((squeeze / self.diameter) ** 2) / 1000
        return self.ring_force(1.0) + self.length * skin

    def forces_between(self, width: float, height: float) -> tuple[float, float]:
        """Give the forces of a bottle that walls hold to a width, and a load to a height.

        Parameters
        ----------
        width, height : float
            Width w between the sides and height h between top and bottom [mm].

        Returns
        -------
        tuple of (float, float)
            Force on top, (p b_1 + e k s) L, and on both sides, p b_2 L [N]: flats b of `section_between`, p that of
            its area lost, and s = d - h. The ring bears on top alone; its part is negative where h > d.

        Raises
        ------
        RangeError
            As `section_between`: if a length is not positive and finite, or the section would not touch both pairs.
        """
        section = section_between(width, height, self.diameter)
        skin = self.pressure_when(section.area_lost) / 1000 * self.length
        return skin * section.flat_top + self.ring_force(self.diameter - height), skin * section.flat_side

    def squeeze_under(self, load: float) -> float:
        """Give the largest squeeze that carries a load.

        Parameters
        ----------
        load : float
            Force F of the plates [N], zero or more.

        Returns
        -------
        float
            Diameter lost s [mm].

        Raises
        ------
        RangeError
            If a vacuum draws it flat without a load, or the load is below 0, not finite, or above what it bears flat.

        Notes
        -----
        The root is unique for a positive load. For zero load a vacuum can give two equilibria: the round section, which
        is unstable, and this.
        """
        flat = self.force(self.diameter)
        require(flat >= 0, f"pressure must not draw it flat unloaded: got {self.pressure:g} kPa. Measure it again")
        _within("load [N]", load, 0, flat, "Plates only press. Put fewer on top")
        least = float(brentq(self._stiffness, 0.0, self.diameter)) if self._stiffness(0.0) < 0 else 0.0
        if self.force(least) >= load:
            return least
        return float(brentq(lambda squeeze: self.force(squeeze) - load, least, self.diameter))
