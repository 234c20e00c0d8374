"""Several containers in one column, side by side."""

from __future__ import annotations

import matplotlib.pyplot as plt
from matplotlib.axes import Axes

from colsim.advice.comparison import Comparison
from colsim.pictures.column_picture import INK, LINER, MARK, PAPER

__all__ = ["plot_comparison"]

LEAST = 0.1  # bad vends in 1000 at which the axis begins; what is below is drawn there


def plot_comparison(comparison: Comparison, ax: Axes | None = None) -> Axes:
    """Draw the risk of each container: best guess, and how far it could be from that.

    Parameters
    ----------
    comparison : Comparison
        What was simulated.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes if not given.

    Returns
    -------
    matplotlib.axes.Axes
        Bad vends in 1000, logarithmic, with the limit; a line a container, labelled with its spacer and verdict. What
        does not go in has words instead.
    """
    if ax is None:
        _, ax = plt.subplots(figsize=(8.0, 1.6 + 0.55 * len(comparison.candidates)), layout="constrained")
    ax.set_facecolor(PAPER)
    table = comparison.to_dataframe()
    named = False
    for row, (candidate, line) in enumerate(zip(comparison.candidates, table.to_dict("records"), strict=True)):
        if candidate.option is None:
            ax.text(LEAST * 1.15, row, f"does not go in: {candidate.refused[:60]}", va="center", fontsize="small")
            continue
        low, high, rate = (max(LEAST, 1000 * line[key]) for key in ("could be low", "could be high", "rate"))
        ax.plot([low, high], [row, row], color=INK, linewidth=2, label=None if named else "could be")
        ax.plot([rate], [row], "o", color=LINER, markersize=8, label=None if named else "best guess")
        named = True
    target = comparison.scenario.target.failures_per_vend
    ax.axvline(1000 * target, color=MARK, linestyle="--", label=f"limit you set: {1000 * target:g} in 1000")
    labels = [
        candidate.name
        if candidate.option is None
        else f"{candidate.name}\n{candidate.option.value:g} mm spacer: {candidate.verdict}"
        for candidate in comparison.candidates
    ]
    ax.set(
        xscale="log",
        xlim=(LEAST, 1000),
        ylim=(len(labels) - 0.5, -0.5),
        xlabel="bad vends in 1000 [-]",
        title=f"{comparison.scenario.title}: column {comparison.scenario.column.width:g} mm",
    )
    ax.set_yticks(range(len(labels)), labels=labels, fontsize="small")
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.22), ncols=3, fontsize="small", frameon=False)
    return ax
