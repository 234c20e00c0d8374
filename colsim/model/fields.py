"""What the fields of a description hold: how they are read, what they allow, and what a table of all keys says."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from operator import ge, gt, le, lt
from types import MappingProxyType
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic import BaseModel, BeforeValidator
from pydantic.fields import FieldInfo

from colsim.model.units import Quantity

__all__ = ["Key", "bounds_of", "choices_of", "is_within", "keys", "metadata_of", "part_of", "quantity_of", "reader_of"]


def reader_of(field: FieldInfo) -> Callable[[Any], float] | None:
    """Find what reads a number of a field.

    Parameters
    ----------
    field : FieldInfo
        Of a description.

    Returns
    -------
    callable or None
        Gives the number [unit of the field]; None if the field holds no measured number.
    """
    return next((m.func for m in metadata_of(field) if isinstance(m, BeforeValidator)), None)  # type: ignore[return-value]


def metadata_of(field: FieldInfo) -> list[Any]:
    """List what is annotated to a field, and to what it may be other than None.

    Parameters
    ----------
    field : FieldInfo
        Of a description.

    Returns
    -------
    list of object
    """
    inner = (get_args(option)[1:] for option in get_args(field.annotation) if get_origin(option) is Annotated)
    return [*field.metadata, *(mark for marks in inner for mark in marks)]


def choices_of(annotation: Any) -> list[str]:
    """List the words that a field may hold.

    Parameters
    ----------
    annotation : type
        Of the field.

    Returns
    -------
    list of str
        Empty if it is no choice of words.
    """
    return [
        str(choice)
        for option in (annotation, *get_args(annotation))
        if get_origin(option) is Literal
        for choice in get_args(option)
    ]


def quantity_of(field: FieldInfo) -> Quantity | None:
    """Find what a field measures.

    Parameters
    ----------
    field : FieldInfo
        Of a description.

    Returns
    -------
    Quantity or None
        None if its numbers have no unit.
    """
    reader = reader_of(field)
    return reader.keywords["quantity"] if isinstance(reader, partial) else None


_BOUNDS: Mapping[str, tuple[str, Callable[[float, float], bool]]] = MappingProxyType(
    {"gt": ("above", gt), "ge": ("at least", ge), "lt": ("below", lt), "le": ("at most", le)}
)


def bounds_of(metadata: Iterable[Any]) -> list[str]:
    """Say between which bounds the numbers of a field lie.

    Parameters
    ----------
    metadata : iterable of object
        What is annotated to the field, as `metadata_of` lists it.

    Returns
    -------
    list of str
        One for each bound, such as ``above 0``.
    """
    return [f"{_BOUNDS[key][0]} {bound:g}" for key, bound in _bounds(metadata)]


def is_within(value: float, metadata: Iterable[Any]) -> bool:
    """Tell whether a number lies within the bounds of its field.

    Parameters
    ----------
    value : float
        [unit of the field]
    metadata : iterable of object
        What is annotated to the field, as `metadata_of` lists it.

    Returns
    -------
    bool
    """
    return all(_BOUNDS[key][1](value, bound) for key, bound in _bounds(metadata))


def _bounds(metadata: Iterable[Any]) -> list[tuple[str, float]]:
    found = [m for item in metadata for m in (item.metadata if isinstance(item, FieldInfo) else (item,))]
    return [(key, getattr(m, key)) for key in _BOUNDS for m in found if hasattr(m, key)]


@dataclass(frozen=True)
class Key:
    """One key of a description: its dotted path, what is allowed, its default, and how it is measured."""

    path: str
    allowed: str
    default: str
    description: str


def keys(model: type[BaseModel], prefix: str = "") -> Iterator[Key]:
    """List every key that a description may hold, those of its parts included.

    Parameters
    ----------
    model : type
        A `Description`.
    prefix : str
        Path of the description itself, with a dot at its end.

    Yields
    ------
    Key
    """
    for name, field in model.model_fields.items():
        part = part_of(field.annotation)
        path, default = f"{prefix}{name}", _default_of(field)
        if part is None:
            allowed = " | ".join(choices_of(field.annotation)) or " and ".join(bounds_of(metadata_of(field)))
            yield Key(path, allowed, default, field.description or "")
            continue
        kind = next((get_origin(o) for o in (field.annotation, *get_args(field.annotation)) if get_origin(o)), None)
        allowed = "tables by name" if kind is dict else "a list of tables" if kind is tuple else "a table"
        yield Key(path, allowed, default, field.description or "")
        yield from keys(part, f"{path}.NAME." if kind is dict else f"{path}.")


def _default_of(field: FieldInfo) -> str:
    if field.is_required():
        return "required"
    if field.default_factory is not None or field.default in (None, ()):
        return "may be left out"
    return f"if not given: {field.default}"


def part_of(annotation: Any) -> type[BaseModel] | None:
    """Find the description within an annotation such as ``tuple[Liner, ...]``.

    Parameters
    ----------
    annotation : type
        Of a field.

    Returns
    -------
    type or None
        None if it holds no description.
    """
    for candidate in (annotation, *get_args(annotation)):
        if isinstance(candidate, type) and issubclass(candidate, BaseModel):
            return candidate
    return None
