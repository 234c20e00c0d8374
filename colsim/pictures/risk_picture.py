"""How the risk of a vend depends on how full the column is."""

from __future__ import annotations

import matplotlib.pyplot as plt
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from colsim.pictures.column_picture import INK, LINER, MARK, PAPER
from colsim.sampling import Fills

__all__ = ["plot_risk"]


def plot_risk(fills: Fills, ax: Axes | None = None) -> Axes:
    """Draw the risk of a vend against the containers in the column, with the target.

    Parameters
    ----------
    fills : Fills
        What was simulated.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes if not given.

    Returns
    -------
    matplotlib.axes.Axes
        The table of `Fills.hazard` as points with 95 % intervals: it shows whether trouble sits in a full column, which
        loading fewer would cure, or all the way down.
    """
    if ax is None:
        _, ax = plt.subplots(figsize=(6.4, 4.0), layout="constrained")
    table = fills.hazard()
    table = table[~table["topped up"]]  # a second load of the same height would lie over the first
    rate = table["rate"].to_numpy()
    spread = [rate - table["low"].to_numpy(), table["high"].to_numpy() - rate]
    ax.set_facecolor(PAPER)
    ax.errorbar(
        table["containers left"],
        rate,
        yerr=spread,
        fmt="o",
        color=LINER,
        ecolor=INK,
        capsize=3,
        label="simulated, 95 % interval",
    )
    target = fills.scenario.target.failures_per_vend
    ax.axhline(target, color=MARK, linestyle="--", label=f"limit you set: {1000 * target:g} in 1000")
    top = min(1.05, 1.2 * max(table["high"].max(), 2 * target))
    ax.set(
        xlabel="containers in the column before the vend [containers]",
        ylabel="share of vends that go wrong [-]",
        ylim=(-0.02 * top, top),
        title=f"{fills.scenario.title}\n{fills.risk().per_fill.failures} of {len(fills.fills)} fills failed",
    )
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.set_xlim(fills.scenario.loading.total + 0.5, 0.5)
    ax.legend(loc="upper center", fontsize="small", frameon=False)
    return ax
