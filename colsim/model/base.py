"""The base of every description: frozen, checked when made, refusing what it does not know."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from colsim.errors import ScenarioError
from colsim.model.units import QUANTITIES, as_float, read_quantity

__all__ = ["Angle", "Description", "Key", "Length", "Mass", "Number", "Torque", "TurningSpeed", "keys", "nearest_name"]


def _finite(unit: str) -> Any:
    def extend(schema: dict[str, Any]) -> None:
        schema["unit"] = unit
        if unit != "-":
            schema["type"] = ["number", "string"]

    return Field(allow_inf_nan=False, json_schema_extra=extend)


def _reads(name: str) -> BeforeValidator:
    return BeforeValidator(lambda value: read_quantity(value, QUANTITIES[name]))


def _plain_number(value: Any) -> float:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return as_float(value)
    raise ScenarioError(f"got {value!r}; allowed: a plain number without a unit, such as 0.25")


Length = Annotated[float, _finite("mm"), _reads("length")]
Mass = Annotated[float, _finite("kg"), _reads("mass")]
Angle = Annotated[float, _finite("deg"), _reads("angle")]
TurningSpeed = Annotated[float, _finite("rpm"), _reads("speed of turning")]
Torque = Annotated[float, _finite("N m"), _reads("torque")]
Number = Annotated[float, _finite("-"), BeforeValidator(_plain_number)]


class Description(BaseModel):
    """What a user measured, as a frozen object that is checked when it is made.

    Raises
    ------
    ScenarioError
        If a value is missing, unreadable or out of bounds, a key is unknown, or values contradict each
        other. The message names the field, what it got, what is allowed and what to do.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    def __init__(self, **data: Any) -> None:
        try:
            super().__init__(**data)
        except ValidationError as error:
            raise ScenarioError(tuple(_problems(error, type(self)))) from None


def nearest_name(name: str, known: list[str]) -> str:
    """Say which known name a mistyped one is nearest to, or list what there is."""
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    return f'did you mean "{near[0]}"?' if near else f"known: {', '.join(known)}"


def _problems(error: ValidationError, model: type[BaseModel]) -> Iterator[tuple[str, str]]:
    for detail in error.errors():
        path = ".".join(str(part) for part in detail["loc"])
        raised = detail.get("ctx", {}).get("error")
        if isinstance(raised, ScenarioError):
            for inner, message in raised.problems:
                yield ".".join(part for part in (path, inner) if part), message
        else:
            yield path, _message(detail, model)


def _message(detail: ErrorDetails, model: type[BaseModel]) -> str:
    field = model.model_fields.get(str(detail["loc"][0])) if detail["loc"] else None
    how = f". How to measure: {field.description}" if field is not None and field.description else ""
    kind = detail["type"]
    if kind == "extra_forbidden":
        return f"unknown key; {nearest_name(str(detail['loc'][-1]), list(model.model_fields))}"
    if kind == "missing":
        return f"missing; add it{how}"
    if kind == "finite_number":
        return f"got {detail['input']!r}; allowed: a finite number{how}"
    return f"got {detail['input']!r}; {_allowed(field, detail)}{how}"


def _allowed(field: FieldInfo | None, detail: ErrorDetails) -> str:
    bounds = _bounds(field.metadata if field is not None else ())
    if detail["type"].startswith("int"):
        bounds.insert(0, "a whole number")
    return f"allowed: {' and '.join(bounds)}" if bounds else f"{detail['msg'][0].lower()}{detail['msg'][1:]}"


def _bounds(metadata: Iterable[Any]) -> list[str]:
    words = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
    found = [m for item in metadata for m in (item.metadata if isinstance(item, FieldInfo) else (item,))]
    return [f"{word} {getattr(m, key):g}" for key, word in words.items() for m in found if hasattr(m, key)]


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
        part = _part(field.annotation)
        if part is not None:
            yield from keys(part, f"{prefix}{name}.")
            continue
        choices = [str(c) for c in get_args(field.annotation)] if get_origin(field.annotation) is Literal else []
        inner = [
            m for option in get_args(field.annotation) if get_origin(option) is Annotated for m in get_args(option)[1:]
        ]
        allowed = " | ".join(choices) or " and ".join(_bounds([*field.metadata, *inner]))
        default = "may be left out" if field.default in (None, ()) else f"if not given: {field.default}"
        if field.is_required():
            default = "required"
        yield Key(f"{prefix}{name}", allowed, default, field.description or "")


def _part(annotation: Any) -> type[BaseModel] | None:
    """Find the description within an annotation such as ``tuple[Liner, ...]``, if there is one."""
    for candidate in (annotation, *get_args(annotation)):
        if isinstance(candidate, type) and issubclass(candidate, BaseModel):
            return candidate
    return None
