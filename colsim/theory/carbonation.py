"""Pressure of the carbon dioxide in a closed drink, by a chart and by the solubility of the gas.

A drink with less gas than in equilibrium with one atmosphere of carbon dioxide has a gauge pressure below 0; air in the
bottle adds to it. A still drink has pressure 0, and these functions do not apply.
"""

from __future__ import annotations

import math

from colsim.theory._checks import require

__all__ = ["chart_pressure", "gauge_pressure", "henry_pressure", "pressure_spread", "weiss_pressure"]

ATMOSPHERE = 101.325
"""Atmospheric pressure [kPa]."""
MOLAR_VOLUME = 22.414
"""Volume of a mole of gas at 0 deg C and one atmosphere [L/mol]."""
KILOPASCALS_PER_PSI = 6.894757
"""Conversion [kPa/psi]."""
VOLUMES = (1.0, 5.0)
"""Range of carbonation of the formulas [volumes]; soft drinks have 1.5 to 4."""
COLDEST, CHART_ENDS, HOTTEST = -1.5, 18.5, 40.0
"""Lower limit of all formulas, upper limit of the chart (30 to 65 F, roughly) and of the others [deg C]."""
BLEND_BEGINS = 10.0
"""Temperature from which `gauge_pressure` blends the chart into Henry's law, up to `CHART_ENDS` [deg C]."""


def _check(volumes: float, temperature: float, hottest: float, to_do: str) -> None:
    low, high = VOLUMES
    require(
        math.isfinite(volumes) and low <= volumes <= high,
        f"volumes must be between {low:g} and {high:g}: got {volumes!r}. Ask the bottler; a still drink has pressure 0",
    )
    require(
        math.isfinite(temperature) and COLDEST <= temperature <= hottest,
        f"temperature must be between {COLDEST:g} and {hottest:g} deg C: got {temperature!r}. {to_do}",
    )


def chart_pressure(volumes: float, temperature: float) -> float:
    r"""Give the gauge pressure that brewers' carbonation charts print, by the usual fit.

    .. math:: P = -16.6999 - 0.0101059\,T + 0.00116512\,T^2 + 0.173354\,T V + 4.24267\,V - 0.0684226\,V^2

    with P in psi and T in deg F; converted here.

    Parameters
    ----------
    volumes : float
        Carbon dioxide V in the drink [volumes], litres at 0 deg C and one atmosphere in a litre.
    temperature : float
        Temperature of the drink [deg C].

    Returns
    -------
    float
        Gauge pressure at rest [kPa].

    Raises
    ------
    RangeError
        If not 1 <= V <= 5, or the temperature is not between -1.5 and 18.5 deg C (30 to 65 F).

    Notes
    -----
    A fit to charts for beer; beyond its range it comes out low. The range of volumes is assumed.

    References
    ----------
    Ten independent public codes; a thread on homebrewtalk.com (357703) works out 22.235 psi for 32 F and 4 volumes,
    though it leaves out the constant in typing the formula.

    Examples
    --------
    >>> round(chart_pressure(4.0, 0.0) / 6.894757, 3)
    22.235
    """
    _check(volumes, temperature, CHART_ENDS, "Use henry_pressure, or gauge_pressure, above")
    t, v = 32 + 1.8 * temperature, volumes
    psi = -16.6999 - 0.0101059 * t + 0.00116512 * t**2 + 0.173354 * t * v + 4.24267 * v - 0.0684226 * v**2
    return psi * KILOPASCALS_PER_PSI


def henry_pressure(volumes: float, temperature: float) -> float:
    r"""Give the gauge pressure by Henry's law, with the solubility of carbon dioxide in water at 25 deg C.

    .. math:: p = p_a \Big(\frac{V}{22.414\,H} - 1\Big), \qquad
        H = 0.034 \exp\Big[2400 \Big(\frac{1}{T} - \frac{1}{298.15}\Big)\Big]

    with H in mol/(L atm) and T in K.

    Parameters
    ----------
    volumes, temperature : float
        As for `chart_pressure` [volumes, deg C].

    Returns
    -------
    float
        Gauge pressure at rest [kPa].

    Raises
    ------
    RangeError
        If not 1 <= V <= 5, or the temperature is not between -1.5 and 40 deg C.

    Notes
    -----
    Pure water, ideal gas, no air. Best near 25 deg C; at 0 the pressure above a vacuum is 9 % higher than Weiss's, as
    the chart's is. Sugar raises the pressure by several percent (from memory).

    References
    ----------
    Sander, Atmos. Chem. Phys. 23 (2023) 10901, lists 3.3e-4 to 3.4e-4 mol/(m3 Pa) and 2300 to 2400 K; 0.034 mol/(L atm)
    is 3.36e-4.

    Examples
    --------
    >>> round(henry_pressure(3.7, 25.0) / 6.894757, 2)
    56.66
    """
    _check(volumes, temperature, HOTTEST, "Let the drink come into this range")
    solubility = 0.034 * math.exp(2400 * (1 / (temperature + 273.15) - 1 / 298.15))
    return ATMOSPHERE * (volumes / (MOLAR_VOLUME * solubility) - 1)


def weiss_pressure(volumes: float, temperature: float) -> float:
    r"""Give the gauge pressure by Henry's law, with the solubility that Weiss fitted over all temperatures.

    .. math:: \ln H = -58.0931 + 90.5069\,\frac{100}{T} + 22.2940 \ln\frac{T}{100}

    with H in mol/(L atm) and T in K, in `henry_pressure`'s law.

    Parameters
    ----------
    volumes, temperature : float
        As for `chart_pressure` [volumes, deg C].

    Returns
    -------
    float
        Gauge pressure at rest [kPa].

    Raises
    ------
    RangeError
        As `henry_pressure`.

    Notes
    -----
    Pure water, ideal gas, no air. Up to 27 kPa below `gauge_pressure` when cold, and up to 24 when hot.

    References
    ----------
    Weiss, Marine Chemistry 2 (1974) 203 (the journal from memory), fresh water; constants as in public codes.

    Examples
    --------
    >>> round(weiss_pressure(4.0, 0.0) / 6.894757, 2)
    19.11
    """
    _check(volumes, temperature, HOTTEST, "Let the drink come into this range")
    t = (temperature + 273.15) / 100
    solubility = math.exp(-58.0931 + 90.5069 / t + 22.2940 * math.log(t))
    return ATMOSPHERE * (volumes / (MOLAR_VOLUME * solubility) - 1)


def gauge_pressure(volumes: float, temperature: float) -> float:
    r"""Give the gauge pressure in a closed carbonated drink: the chart when cold, Henry's law when warm.

    .. math:: p = (1 - u)\,p_{chart} + u\,p_{Henry}, \qquad u = \frac{T - 10}{18.5 - 10} \text{ from 0 to 1}

    Parameters
    ----------
    volumes, temperature : float
        As for `chart_pressure` [volumes, deg C].

    Returns
    -------
    float
        Gauge pressure at rest [kPa].

    Raises
    ------
    RangeError
        As `henry_pressure`.

    Notes
    -----
    Up to 10 deg C the chart; above 18.5, where it ends, Henry's law; between, the one passes into the other in
    proportion, without a jump. Changing over at once at 18.5 deg C would make jumps of -12, -9, 0, 7 and 15 kPa at
    1, 1.5, 3, 4 and 5 volumes. It grows with temperature and with volumes everywhere. Take it as uncertain: see
    `pressure_spread`.

    References
    ----------
    As for `chart_pressure` and `henry_pressure`.

    Examples
    --------
    >>> [round(gauge_pressure(3.0, temperature)) for temperature in (4.0, 14.0, 25.0)]
    [119, 194, 298]
    """
    _check(volumes, temperature, HOTTEST, "Let the drink come into this range")
    share = min(1.0, max(0.0, (temperature - BLEND_BEGINS) / (CHART_ENDS - BLEND_BEGINS)))
    chart = chart_pressure(volumes, temperature) if share < 1 else 0.0
    return (1 - share) * chart + share * henry_pressure(volumes, temperature)


def pressure_spread(volumes: float, temperature: float) -> tuple[float, float]:
    """Give the least and the greatest gauge pressure among the formulas that hold at this temperature.

    Parameters
    ----------
    volumes, temperature : float
        As for `chart_pressure` [volumes, deg C].

    Returns
    -------
    tuple of (float, float)
        Least and greatest gauge pressure [kPa]; `gauge_pressure` lies between.

    Raises
    ------
    RangeError
        As `henry_pressure`.

    Notes
    -----
    Chart, Henry's law and Weiss up to 18.5 deg C, the latter two above. A spread of models, for pure water: the
    drink's sugar and the air in the bottle are not in it. It is up to 11 % of the pressure above a vacuum when
    cold, and under 2 kPa from 20 to 30 deg C, which is no sign that the drink agrees as well.

    References
    ----------
    As for `chart_pressure`, `henry_pressure` and `weiss_pressure`.

    Examples
    --------
    >>> [round(end) for end in pressure_spread(3.0, 4.0)]
    [103, 119]
    """
    found = [henry_pressure(volumes, temperature), weiss_pressure(volumes, temperature)]
    if temperature <= CHART_ENDS:
        found.append(chart_pressure(volumes, temperature))
    return min(found), max(found)
