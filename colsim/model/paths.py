"""Changing one value of a description by its dotted path."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args, get_origin

from pydantic import BaseModel

from colsim.errors import ScenarioError
from colsim.model.base import Description, part_of
from colsim.model.refusals import nearest_key

__all__ = ["opened", "put"]


def opened(name: str, value: Any) -> Any:
    """Give a part that was written whole as a table of its values.

    Parameters
    ----------
    name : str
        The field that holds it; a container may be written as the name of a catalogue entry.
    value : object
        A description, a table, or text.

    Returns
    -------
    object
        A new table, or the value itself if it is neither.
    """
    if isinstance(value, Description):
        return value.as_given()
    if isinstance(value, str) and name == "container":
        return {"like": value}
    return dict(value) if isinstance(value, Mapping) else value


def put(data: dict[str, Any], model: type[BaseModel], path: str, value: Any) -> None:
    """Put a value into the tables of a description.

    Parameters
    ----------
    data : dict
        Tables as `Description.as_given` writes them; changed in place.
    model : type
        The description.
    path : str
        Dotted path of the value.
    value : object
        New value.

    Raises
    ------
    ScenarioError
        If there is no such path.
    """
    *parents, last = path.split(".")
    table: Any = data
    at: Any = model
    for k, name in enumerate(parents):
        table, at = _step(table, at, name, parents[k - 1] if k else name, path)
    _require(at, last, table, path)
    if isinstance(table, list):
        table[int(last)] = value
    else:
        table[last] = value


def _step(table: Any, at: Any, name: str, holder: str, path: str) -> tuple[Any, Any]:
    """Go one part down: give its table, opened, and what it describes."""
    _require(at, name, table, path)
    if isinstance(table, list):
        table[int(name)] = inner = opened(holder, table[int(name)])
        return inner, at[0]
    if isinstance(at, tuple):
        table[name] = inner = opened("container", table[name])
        return inner, at[0]
    annotation = at.model_fields[name].annotation
    part, several = (
        part_of(annotation),
        any(get_origin(o) in (tuple, dict) for o in (annotation, *get_args(annotation))),
    )
    if part is None:
        raise ScenarioError(f'unknown path "{path}": it goes too deep')
    if several:
        kind: type = dict if get_origin(annotation) is dict else list
        table[name] = inner = kind(table.get(name) or ())
        return inner, (part,)
    table[name] = inner = opened(name, table.get(name) or {})
    if not isinstance(inner, dict):
        raise ScenarioError([(name, f"got {inner!r}; allowed: a table of its values")])
    return inner, part


def _require(at: Any, name: str, table: Any, path: str) -> None:
    """Refuse a name that there is not, or a place beyond the last."""
    if isinstance(at, tuple):
        known = list(table) if isinstance(table, dict) else [str(k) for k in range(len(table))]
    else:
        known = list(at.model_fields)
    if name not in known:
        near = f"known: {', '.join(known)}" if isinstance(table, list) else nearest_key(name, known)
        near = near if known else "there is none"
        raise ScenarioError(f'unknown path "{path}": {near}')
