"""Text of a scenario in pictures: shown as it is, whatever signs are in it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from matplotlib.axes import Axes
from matplotlib.text import Text

__all__ = ["PLAIN", "label_of", "show_as_is"]

PLAIN: dict[str, Any] = {"parse_math": False, "usetex": False}
"""For text that holds titles and names: a $ in it begins no formula."""


def label_of(name: str) -> str:
    """Give the label by which a legend shows a name; it leaves out what begins with an underscore.

    Parameters
    ----------
    name : str
        Of a container.

    Returns
    -------
    str
    """
    return f" {name}" if name.startswith("_") else name


def show_as_is(ax: Axes) -> None:
    """Have title and legend show their text as it is.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        With its legend.
    """
    legend = ax.get_legend()
    texts: Iterable[Text] = (ax.title, *(legend.get_texts() if legend is not None else ()))
    for text in texts:
        text.set(**PLAIN)
