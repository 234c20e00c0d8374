"""How far a soft bottle gives way under what lies on it."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes

from colsim.model import Container
from colsim.model.conditions import Conditions
from colsim.model.softness import height_band
from colsim.model.squeeze_test import SqueezeReading, weight
from colsim.pictures.column_picture import INK, LINER, MARK, PAPER
from colsim.pictures.plain import show_as_is
from colsim.sampling.checks import require_kind

__all__ = ["plot_squeeze"]

USUAL_ON_TOP = 14.0  # bottles above the lowest one up to which the curve goes, where no reading goes further
POINTS = 80
_MARKS = {"cold": "o", "warm": "^"}


def plot_squeeze(container: Container, conditions: Conditions | None = None, ax: Axes | None = None) -> Axes:
    """Draw the height of a soft bottle between boards against the load on top of it.

    Parameters
    ----------
    container : Container
        A soft one.
    conditions : Conditions, optional
        Temperatures of loading and of service; 20 deg C is assumed where one is not given. Days, over which its wall
        creeps; readings are of a fresh one and then lie above the curve.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes if not given.

    Returns
    -------
    matplotlib.axes.Axes
        Height [mm] against load [N], and on top in bottles of the same kind: typical, from the softest to the stiffest
        that the unknowns allow, and the readings of the squeeze test. Beyond the last reading the curve is dashed: it
        is extrapolated.

    Raises
    ------
    ScenarioError
        If it is given something else than a container, or one that has no soft wall.

    Notes
    -----
    Half of the bottle's own weight is added to what lies on top, as its upper side bears none of it and its lower side
    all. Bottles stand one straight above the other here; in a zig-zag a column's load is another.
    """
    require_kind("container", container, Container, "make one with Container(...)")
    own = weight(container.mass)
    tested = [reading.load_on_top(container.mass) for reading in container.squeeze_test]
    loads = np.linspace(0.0, max([USUAL_ON_TOP * own, *(1.2 * load for load in tested)]), POINTS)
    band = height_band(container, loads.tolist(), conditions)
    if ax is None:
        _, ax = plt.subplots(figsize=(6.4, 4.2), layout="constrained")
    ax.set_facecolor(PAPER)
    if band.lowest != band.highest:
        ax.fill_between(
            loads, band.lowest, band.highest, color=LINER, alpha=0.2, linewidth=0, label="softest to stiffest"
        )
    typical, within = np.array(band.typical), loads <= max(tested, default=np.inf)
    ax.plot(loads[within], typical[within], color=LINER, label="by the squeeze test" if tested else "typical")
    if not within.all():
        beyond = loads >= loads[within][-1]
        ax.plot(loads[beyond], typical[beyond], color=LINER, linestyle="--", label="extrapolated")
    ax.axhline(container.diameter, color=INK, linestyle=":", label=f"round: {container.diameter:g} mm")
    _draw_readings(ax, container)
    ax.set(
        xlabel="load on top [N]",
        ylabel="height between boards [mm]",
        xlim=(0.0, float(loads[-1])),
        title=container.name,
    )
    top = ax.secondary_xaxis("top", functions=(lambda x: np.divide(x, own), lambda x: np.multiply(x, own)))
    top.set_xlabel("the same bottles above it [bottles]")
    ax.legend(loc="best", fontsize="small", frameon=False)
    show_as_is(ax)
    return ax


def _draw_readings(ax: Axes, container: Container) -> None:
    """Draw the readings of the squeeze test, cold and warm with marks of their own."""
    by_word: dict[str, list[SqueezeReading]] = {}
    for reading in container.squeeze_test:
        by_word.setdefault(reading.temperature or "cold", []).append(reading)
    for word, readings in by_word.items():
        ax.plot(
            [reading.load_on_top(container.mass) for reading in readings],
            [reading.height for reading in readings],
            _MARKS[word],
            color=MARK,
            label="read" if len(by_word) == 1 else f"read {word}",
        )
