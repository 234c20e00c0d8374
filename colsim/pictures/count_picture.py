"""How the risk depends on how many containers are loaded."""

from __future__ import annotations

import matplotlib.pyplot as plt
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from colsim.advice.count_table import risk_by_count
from colsim.advice.decision import Decision, Status
from colsim.errors import ScenarioError
from colsim.pictures.column_picture import INK, LINER, MARK, PAPER, SPACER
from colsim.pictures.comparison_picture import LEAST
from colsim.pictures.limit import limit_label
from colsim.pictures.plain import show_as_is
from colsim.sampling.checks import require_kind

__all__ = ["plot_count"]

_MARKERS = {Status.MEETS: ("o", LINER, "meets"), Status.FAILS: ("X", MARK, "fails")}
_UNSETTLED = ("D", SPACER, "not settled")


def plot_count(decision: Decision, ax: Axes | None = None) -> Axes:
    """Draw the risk against the count: best guess with its interval, how far it could be from that, and the limit.

    Parameters
    ----------
    decision : Decision
        As `find_count` gives it.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes if not given.

    Returns
    -------
    matplotlib.axes.Axes
        Bad vends, or bad loadings where the limit is set for these, in 1000, logarithmic. The shape of a dot is its
        verdict; the count that is recommended has a ring, and what goes wrong stands beside each that fails.

    Raises
    ------
    ScenarioError
        If it is given something else than a decision, or one that is not about a count.
    """
    require_kind("decision", decision, Decision, "as find_count gives it")
    if decision.decision != "count":
        raise ScenarioError(f"decision: got {decision.decision!r}; allowed: 'count', as find_count gives it")
    if ax is None:
        _, ax = plt.subplots(figsize=(7.2, 4.6), layout="constrained")
    scenario = decision.options[0].fills.scenario
    table = _per_thousand(risk_by_count(decision))
    ax.set_facecolor(PAPER)
    _draw_risks(ax, table)
    if decision.recommended is not None:
        _draw_ring(ax, table, decision)
    _name_mechanisms(ax, table)
    target = scenario.target
    ax.axhline(1000 * target.limit, color=MARK, linestyle="--", label=limit_label(target))
    counts = table["count [containers]"]
    ax.set(
        yscale="log",
        ylim=(LEAST / 1.5, 1500),
        xlim=(min(counts) - 0.8, max(counts) + 0.8),
        xlabel="containers loaded [containers]",
        ylabel=f"{target.counted} in 1000 [-]",
        title=scenario.title,
    )
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=3, fontsize="small", frameon=False)
    show_as_is(ax)
    return ax


def _per_thousand(table: pd.DataFrame) -> pd.DataFrame:
    """Bring the risks onto the axis, which has no zero."""
    risks = ["rate", "low", "high", "could be low", "could be high"]
    return table.assign(**{name: (1000 * table[name]).clip(lower=LEAST) for name in risks})


def _draw_risks(ax: Axes, table: pd.DataFrame) -> None:
    counts = table["count [containers]"]
    ax.vlines(
        counts, table["could be low"], table["could be high"], color=INK, linewidth=6, alpha=0.2, label="could be"
    )
    for (marker, color, verdict), rows in _by_verdict(table):
        ax.errorbar(
            rows["count [containers]"],
            rows["rate"],
            yerr=[rows["rate"] - rows["low"], rows["high"] - rows["rate"]],
            fmt=marker,
            color=color,
            ecolor=INK,
            capsize=3,
            markersize=8,
            label=f"best guess: {verdict}",
        )


def _by_verdict(table: pd.DataFrame) -> list[tuple[tuple[str, str, str], pd.DataFrame]]:
    """Split the table by verdict, without those that do not occur."""
    looks = table["status"].map(lambda status: _MARKERS.get(Status(status), _UNSETTLED))
    return [(look, table[looks == look]) for look in (*_MARKERS.values(), _UNSETTLED) if (looks == look).any()]


def _draw_ring(ax: Axes, table: pd.DataFrame, decision: Decision) -> None:
    row = table[table["count [containers]"] == decision.recommended].iloc[0]
    words = "load" if decision.status is Status.MEETS else "least bad, not settled:"
    ax.plot(
        [row["count [containers]"]],
        [row["rate"]],
        "o",
        markersize=17,
        fillstyle="none",
        color=INK,
        linestyle="none",
        label=f"{words} {row['count [containers]']}",
    )


def _name_mechanisms(ax: Axes, table: pd.DataFrame) -> None:
    for row in table[table["status"] == Status.FAILS].to_dict("records"):
        ax.annotate(
            row["mechanism"],
            (row["count [containers]"], LEAST),
            xytext=(-9, 0),
            textcoords="offset points",
            rotation=90,
            ha="right",
            va="bottom",
            fontsize="x-small",
            color=INK,
        )
