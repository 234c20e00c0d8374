"""What is said of values that are refused: what they were, what is allowed, and what to do."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from colsim.errors import ScenarioError
from colsim.model.fields import bounds_of, is_within, metadata_of, quantity_of, reader_of
from colsim.model.units import is_number, likely_units, read_friction

__all__ = ["KEYS_BY_WORD", "AsRead", "nearest_key", "nearest_name", "problems_of"]

_SURE = 0.85  # likeness above which a name is taken for a slip of the pen, and not for a word of its own

KEYS_BY_WORD: Mapping[str, str] = MappingProxyType(
    {
        word: key
        for key, words in {
            "container": "bottle can product",
            "container.diameter": "bottle_diameter can_diameter container_diameter",
            "container.mass": "weight full_weight bottle_weight can_weight",
            "container.empty_mass": "empty_weight tare",
            "container.gauge_pressure": "pressure",
            "container.restitution": "bounce rebound",
            "container.set_flat": "flat flat_spot flat_width",
            "container.stiffness": "firmness spring_rate",
            "container.surface": "label",
            "column": "lane stack shaft",
            "column.width": "lane_width column_width stack_width wall_distance",
            "column.height": "lane_height column_height stack_height",
            "column.throat": "throat_width neck outlet_width",
            "column.throat_radius": "edge_radius",
            "column.floor_slope": "slope floor_angle hopper_angle",
            "column.lean": "tilt",
            "column.wall_surface": "wall_material wall_paint",
            "column.liners": "liner sheet sheets lining",
            "column.liners.lifted_edge": "lift lifted",
            "rotor": "wheel drum",
            "rotor.radius": "wheel_radius drum_radius rotor_radius",
            "rotor.pocket_width": "mouth_width slot_width",
            "rotor.pocket_depth": "slot_depth",
            "rotor.pockets": "slots compartments",
            "rotor.spacer_thickness": "shim spacer insert shim_thickness insert_thickness",
            "rotor.housing_clearance": "clearance gap play",
            "rotor.lead_in": "mouth_radius chamfer",
            "rotor.speed": "rpm wheel_speed drum_speed rotor_speed",
            "rotor.torque_limit": "torque motor_torque stall_torque",
            "rotor.turn": "direction sense",
            "loading.count": "bottles cans fill_height fill_level",
            "loading.layers": "layer",
            "loading.top_up_at": "refill_at",
            "conditions.wet": "condensation dew",
            "conditions.days": "shelf_days",
            "on_hand.spacers": "shims inserts",
            "target.failures_per_vend": "failure_rate jam_rate",
        }.items()
        for word in words.split()
    }
)
"""Keys by what people call them."""


class AsRead(float):
    """A number that a reader made of what was given, so that it was no bare number."""


def nearest_name(name: str, known: list[str]) -> str:
    """Say which known name a mistyped one is nearest to, or list what there is.

    Parameters
    ----------
    name : str
        What was given.
    known : list of str
        Names that there are.

    Returns
    -------
    str
    """
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    return f'did you mean "{near[0]}"?' if near else f"known: {', '.join(known)}"


def nearest_key(name: str, known: list[str]) -> str:
    """Say which key is meant by a mistyped one or by a word that people use for it, or list what there is.

    Parameters
    ----------
    name : str
        What was given.
    known : list of str
        Keys that there are in its place.

    Returns
    -------
    str
    """
    key = KEYS_BY_WORD.get(name.strip().casefold().replace(" ", "_").replace("-", "_"))
    if key is None or difflib.get_close_matches(name, known, n=1, cutoff=_SURE):
        return nearest_name(name, known)
    return f"did you mean {key}?"


def problems_of(error: ValidationError, model: type[BaseModel], given: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """List what is wrong with what was given for a description.

    Parameters
    ----------
    error : ValidationError
        What refused it.
    model : type
        The description.
    given : mapping of str to object
        Values by field, as they were written.

    Yields
    ------
    (str, str)
        Dotted path, and what it got, what is allowed and what to do.
    """
    for detail in error.errors():
        path = ".".join(str(part) for part in detail["loc"])
        raised = detail.get("ctx", {}).get("error")
        if isinstance(raised, ScenarioError):
            for inner, message in raised.problems:
                yield ".".join(part for part in (path, inner) if part), message
        else:
            yield path, _message(detail, model, _at(given, detail["loc"]))


def _at(given: Any, location: Sequence[int | str]) -> Any:
    """Give what was written at a place; None if there is nothing."""
    for part in location:
        try:
            given = given[part]
        except (KeyError, IndexError, TypeError):
            return None
    return given


def _message(detail: ErrorDetails, model: type[BaseModel], written: Any) -> str:
    field = model.model_fields.get(str(detail["loc"][0])) if detail["loc"] else None
    how = f". How to measure: {field.description}" if field is not None and field.description else ""
    kind = detail["type"]
    if kind == "extra_forbidden":
        return f"unknown key; {nearest_key(str(detail['loc'][-1]), list(model.model_fields))}"
    if kind == "missing":
        return f"missing; add it{how}"
    if kind == "finite_number":
        return f"got {detail['input']!r}; allowed: a finite number{how}"
    looks = "" if field is None else _looks_like(written, field)
    return f"got {detail['input']!r}; {_allowed(field, detail)}{looks}{how}"


def _allowed(field: FieldInfo | None, detail: ErrorDetails) -> str:
    bounds = bounds_of(metadata_of(field) if field is not None else ())
    if detail["type"].startswith("int"):
        bounds.insert(0, "a whole number")
    return f"allowed: {' and '.join(bounds)}" if bounds else f"{detail['msg'][0].lower()}{detail['msg'][1:]}"


def _looks_like(written: Any, field: FieldInfo) -> str:
    """Say in which unit a bare number that is out of bounds would be allowed."""
    if not is_number(written) or isinstance(written, AsRead):
        return ""
    quantity, bounds = quantity_of(field), metadata_of(field)
    if quantity is not None:
        units = list(likely_units(float(written), quantity, lambda value: is_within(value, bounds)))
    else:
        units = ["deg"] if reader_of(field) is read_friction and 2 < written <= 60 else []
    if not units:
        return ""
    texts = " or ".join(f'"{written:g} {unit}"' for unit in units)
    base = "-" if quantity is None else quantity.base
    return f"; a bare number is in {base}, and this looks like {' or '.join(units)}: write {texts}"
