"""Titles and names: one line of text that any terminal, picture and file can show."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import AfterValidator

from colsim.errors import ScenarioError

__all__ = ["OneLine", "as_escapes", "is_one_line", "require_one_line"]

_NONCHARACTERS = "\ufdd0-\ufdef" + "".join(chr(0x10000 * k + 0xFFFE) + chr(0x10000 * k + 0xFFFF) for k in range(17))
_UNSHOWABLE = re.compile(
    "[\x00-\x1f\x7f-\x9f"  # control characters: they steer terminals, and XML has no room for them
    "\u2028\u2029"  # separators of lines and paragraphs
    "\u202a-\u202e\u2066-\u2069"  # what turns the direction of text, so that it reads other than it is written
    f"\ud800-\udfff{_NONCHARACTERS}]"  # what no file in UTF-8, or no XML, may hold
)
_ALLOWED = "allowed: one line of text without control characters"


def is_one_line(text: str) -> bool:
    r"""Tell whether text is one line, with nothing in it that cannot be shown.

    Parameters
    ----------
    text : str
        Such as a title.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_one_line("slim can, 2½ in $5"), is_one_line("two\nlines")
    (True, False)
    """
    return _UNSHOWABLE.search(text) is None


def as_escapes(text: str) -> str:
    r"""Write what cannot be shown in one line as escapes, so that it can be seen and does nothing.

    Parameters
    ----------
    text : str
        Any.

    Returns
    -------
    str
        Text for which `is_one_line` holds.

    Examples
    --------
    >>> print(as_escapes("red \x1b[31m, two\nlines"))
    red \x1b[31m, two\nlines
    """
    return _UNSHOWABLE.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


def require_one_line(text: str) -> str:
    """Refuse text of several lines, or with something in it that cannot be shown.

    Parameters
    ----------
    text : str
        A title, a name or an origin.

    Returns
    -------
    str
        The same.

    Raises
    ------
    ScenarioError
        If it is none.
    """
    if (found := _UNSHOWABLE.search(text)) is not None:
        raise ScenarioError(
            f'got "{as_escapes(text)}", with {as_escapes(found[0])} at place {found.start() + 1}; {_ALLOWED}; '
            "take that out"
        )
    return text


OneLine = Annotated[str, AfterValidator(require_one_line)]
