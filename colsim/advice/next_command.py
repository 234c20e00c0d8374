"""The command to type next, as it must be typed."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from typing import Any

__all__ = ["command"]


def command(name: str, file: str, changes: Mapping[str, Any] | None = None, *more: str) -> str:
    """Write a command line of colsim.

    Parameters
    ----------
    name : str
        Of the command.
    file : str
        The scenario, as the user gave it.
    changes : mapping of str to object, optional
        What to change in it, by dotted path.
    *more : str
        Further words.

    Returns
    -------
    str

    Examples
    --------
    >>> command("count", "my column.toml", {"rotor.spacer_thickness": 12.0})
    "colsim count 'my column.toml' --set rotor.spacer_thickness=12"
    """
    words = ["colsim", name, file, *more]
    for path, value in (changes or {}).items():
        words += ["--set", f"{path}={value:g}" if isinstance(value, float) else f"{path}={value}"]
    return shlex.join(words)
