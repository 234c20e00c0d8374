"""Several containers in one column, side by side."""

from __future__ import annotations

import matplotlib.pyplot as plt
from matplotlib.axes import Axes

from colsim.advice.comparison import Comparison
from colsim.advice.spacer_options import spacer_in_words
from colsim.pictures.column_picture import INK, LINER, MARK, PAPER
from colsim.pictures.limit import limit_label
from colsim.pictures.plain import PLAIN, show_as_is
from colsim.sampling.checks import require_kind

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
        Bad vends, or bad loadings where the limit is set for these, in 1000, logarithmic, with the limit; a line a
        container, labelled with its spacer and verdict. What does not go in has words instead.

    Raises
    ------
    ScenarioError
        If it is given something else.
    """
    require_kind("comparison", comparison, Comparison, "as compare_containers gives it")
    if ax is None:
        _, ax = plt.subplots(figsize=(8.0, 1.6 + 0.55 * len(comparison.candidates)), layout="constrained")
    ax.set_facecolor(PAPER)
    target, named = comparison.scenario.target, False
    for row, candidate in enumerate(comparison.candidates):
        if candidate.option is None:
            why = f"DOES NOT FIT: {candidate.refused[:60]}"
            ax.text(LEAST * 1.15, row, why, va="center", fontsize="small", **PLAIN)
            continue
        risks = candidate.option.risks
        cases = [risks.estimate_of_target(case) for case in risks.cases]
        could_be = [min(case.low for case in cases), max(case.high for case in cases)]
        low, high = (max(LEAST, 1000 * bound) for bound in could_be)
        rate = max(LEAST, 1000 * risks.estimate_of_target().rate)
        ax.plot([low, high], [row, row], color=INK, linewidth=2, label=None if named else "could be")
        ax.plot([rate], [row], "o", color=LINER, markersize=8, label=None if named else "best guess")
        named = True
    ax.axvline(1000 * target.limit, color=MARK, linestyle="--", label=limit_label(target))
    labels = [
        candidate.name
        if candidate.option is None
        else f"{candidate.name}\n{spacer_in_words(candidate.option.value)}: {candidate.verdict}"
        for candidate in comparison.candidates
    ]
    ax.set(
        xscale="log",
        xlim=(LEAST, 1000),
        ylim=(len(labels) - 0.5, -0.5),
        xlabel=f"{target.counted} in 1000 [-]",
        title=f"{comparison.scenario.title}: column {comparison.scenario.column.width:g} mm",
    )
    ax.set_yticks(range(len(labels)), labels=labels, fontsize="small", **PLAIN)
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.22), ncols=3, fontsize="small", frameon=False)
    show_as_is(ax)
    return ax
