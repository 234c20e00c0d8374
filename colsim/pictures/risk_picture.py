"""How the risk depends on how full the column is."""

from __future__ import annotations

import textwrap

import matplotlib.pyplot as plt
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from colsim.pictures.column_picture import INK, LINER, MARK, PAPER
from colsim.pictures.limit import limit_label
from colsim.pictures.plain import PLAIN, show_as_is
from colsim.sampling import Fills
from colsim.sampling.checks import require_kind

__all__ = ["plot_risk"]

_LETTERS = 70  # in a line
_AFTER_A_TOP_UP = "#7a4f9a"


def plot_risk(fills: Fills, ax: Axes | None = None) -> Axes:
    """Draw the risk against the containers in the column, with the limit.

    Parameters
    ----------
    fills : Fills
        What was simulated.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes if not given.

    Returns
    -------
    matplotlib.axes.Axes
        Where the limit is set for vends, the table of `Fills.hazard` [share of vends] as points with 95 % intervals: it
        shows whether trouble sits in a full column, which loading fewer would cure, or all the way down. Where it is
        set for fills, that of `Fills.failed_so_far` [share of loadings], whose last point is the risk of a loading.
        Without a valid fill, words in place of the points.

    Raises
    ------
    ScenarioError
        If it is given something else.
    """
    require_kind("fills", fills, Fills, "as simulate_fills gives them")
    if ax is None:
        _, ax = plt.subplots(figsize=(6.4, 4.0), layout="constrained")
    target = fills.scenario.target
    table = fills.failed_so_far() if target.unit == "fill" else fills.hazard()
    ax.set_facecolor(PAPER)
    _draw_points(ax, table, "95 % interval at every look" if fills.looked_often else "95 % interval")
    ax.axhline(target.limit, color=MARK, linestyle="--", label=limit_label(target))
    if table.empty:
        _say_why_there_is_nothing(ax, fills)
    what = "loadings that have failed by then" if target.unit == "fill" else "vends that go wrong"
    top = min(1.05, 1.2 * max([2 * target.limit, *table["high"]]))
    ax.set(
        xlabel="containers in the column before the vend [containers]",
        ylabel=f"share of {what} [-]",
        ylim=(-0.02 * top, top),
        title=f"{fills.scenario.title}\n{fills.risk().per_fill.failures} of {len(fills)} fills failed",
    )
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.set_xlim(fills.scenario.loading.total + 0.5, 0.5)
    ax.legend(loc="upper center", fontsize="small", frameon=False)
    show_as_is(ax)
    return ax


def _draw_points(ax: Axes, table: pd.DataFrame, interval: str) -> None:
    """Draw rates with their intervals; those after a top-up stand beside those of the first load."""
    again = table["topped up"].astype(bool)
    for rows, marker, color, beside, what in (
        (table[~again], "o", LINER, 0.0, "simulated"),
        (table[again], "^", _AFTER_A_TOP_UP, 0.2, "after the top-up"),
    ):
        if rows.empty:
            continue
        rate = rows["rate"].to_numpy()
        ax.errorbar(
            rows["containers left"] - beside,
            rate,
            yerr=[rate - rows["low"].to_numpy(), rows["high"].to_numpy() - rate],
            fmt=marker,
            color=color,
            ecolor=INK,
            capsize=3,
            label=f"{what}, {interval}",
        )


def _say_why_there_is_nothing(ax: Axes, fills: Fills) -> None:
    why = f"no valid fill; the first: {fills[0].invalid}" if len(fills) else "no fill was simulated"
    # Broken here: matplotlib looks for formulas where it breaks lines itself.
    ax.text(
        0.5,
        0.6,
        textwrap.fill(why, _LETTERS),
        transform=ax.transAxes,
        ha="center",
        fontsize="small",
        color=INK,
        **PLAIN,
    )
