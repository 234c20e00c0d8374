"""Scenarios as TOML text: read with hints on what people write, and written."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any, get_args, get_origin

from pydantic import BaseModel

from colsim.errors import ScenarioError
from colsim.model.fields import part_of, quantity_of

__all__ = ["read_toml", "to_toml"]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_VALUE = r"^[^=#\"']*=\s*"
_HINTS = (
    (_VALUE + r"\d+,\d+\s*(#|$)", "write a decimal point"),
    (_VALUE + r'"[^"]*"\s*"', """put text that holds an inch sign in single quotes, as in '2 9/16"', or write in"""),
    (_VALUE + r"([-+]?[\d.]+\s*[^\s\d#_.:eE-]|[-+]?\d+[\s-]+\d|[^\W\d]|[^\x00-\x7f])", ""),
)
"""Lines that are no TOML, and what to write instead; nothing for text without quotes."""
_QUOTES = 'put text and measurements with units in quotes, as in "2.6 in"'


def read_toml(text: str) -> dict[str, Any]:
    """Read TOML text.

    Parameters
    ----------
    text : str
        Perhaps with a byte order mark.

    Returns
    -------
    dict
        Values by key.

    Raises
    ------
    ScenarioError
        If it is not TOML; with what to write where the line shows it.
    """
    try:
        return tomllib.loads(text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}"))
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(f"is not TOML: {error}{_what_to_write(text, str(error))}") from None


def _what_to_write(text: str, message: str) -> str:
    if "Cannot overwrite" in message or "Cannot declare" in message:
        return "; each key and each [table] may stand once: leave one out"
    place = re.search(r"at line (\d+)", message)
    lines = text.splitlines()
    line = lines[int(place[1]) - 1] if place and int(place[1]) <= len(lines) else ""
    for pattern, hint in _HINTS:
        if re.search(pattern, line):
            return f"; {hint or _QUOTES}"
    return ""


def to_toml(model: type[BaseModel], data: Mapping[str, Any]) -> str:
    """Write the tables of a description as TOML text.

    Parameters
    ----------
    model : type
        The description.
    data : mapping
        Tables as `Description.as_given` writes them.

    Returns
    -------
    str
        Each number with its unit in a comment.
    """
    return "\n".join(_table(model, data, "")).strip("\n") + "\n"


def _table(model: type[BaseModel], data: Mapping[str, Any], path: str) -> Iterator[str]:
    """Write plain values first, then the tables within, as TOML asks."""
    given = {name: value for name, value in data.items() if value is not None}
    parts = {name: part_of(model.model_fields[name].annotation) for name in given}
    for name, value in given.items():
        if parts[name] is None or not value:
            quantity = quantity_of(model.model_fields[name])
            unit = f"  # {quantity.base}" if quantity is not None and value != [] else ""
            yield f"{name} = {_written(value)}{unit}"
    for name, value in given.items():
        part, at = parts[name], f"{path}{name}"
        if part is None or not value:
            continue
        if isinstance(value, list):
            for item in value:
                yield from ("", f"[[{at}]]", *_table(part, item, f"{at}."))
        elif _is_named(model, name):
            for key, item in value.items():
                inner = f"{at}.{_key(key)}"
                yield from ("", f"[{inner}]", *_table(part, item, f"{inner}."))
        else:
            yield from ("", f"[{at}]", *_table(part, value, f"{at}."))


def _is_named(model: type[BaseModel], name: str) -> bool:
    """Tell whether a field holds several parts by name."""
    annotation = model.model_fields[name].annotation
    return any(get_origin(option) is dict for option in (annotation, *get_args(annotation)))


def _key(name: str) -> str:
    return name if _BARE_KEY.fullmatch(name) else _quoted(name)


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, Mapping):
        inner = ", ".join(f"{_key(key)} = {_written(item)}" for key, item in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(_written(item) for item in value)}]"
    return repr(value)


def _quoted(text: str) -> str:
    """Write text as TOML does, which is as JSON does but for one sign that it takes for a control."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
