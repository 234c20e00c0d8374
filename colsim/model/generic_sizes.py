"""Figures of generic container sizes, with where each comes from.

Nothing here replaces a calliper: makers differ, and a millimetre decides a spacer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from colsim.errors import ScenarioError
from colsim.model.refusals import nearest_name

__all__ = ["GENERIC_SIZES", "Figure", "figures_of", "values_of", "without_generic"]

COMMON_PRACTICE = "common practice"
_CAN_SHEET = (
    "can makers' dimension sheet for the 202 end 12 fl oz can: body 2.602 +- 0.007 in, flanged height 4.812 +- 0.015 in"
)
_CAN_ARTICLE = "Hosford and Duncan, Scientific American, September 1994: 0.48 oz empty"
_MEMORY = "from memory, widely printed"
_FIZZY = f"{COMMON_PRACTICE}: most soft drinks hold about 3 volumes"
_CAN_BODY = f"{COMMON_PRACTICE}: straight over some 86 % of the length, between base and neck"


@dataclass(frozen=True)
class Figure:
    """One number or word of an entry, with where it comes from."""

    value: float | str
    source: str


def _size(**figures: tuple[float | str, str]) -> Mapping[str, Figure]:
    return MappingProxyType({field: Figure(*figure) for field, figure in figures.items()})


GENERIC_SIZES: Mapping[str, Mapping[str, Figure]] = MappingProxyType(
    {
        "12 fl oz can": _size(
            diameter=(66.1, _CAN_SHEET),
            length=(122.2, _CAN_SHEET),
            mass=(0.385, f"{COMMON_PRACTICE}, 0.38 to 0.39 kg"),
            empty_mass=(0.0136, _CAN_ARTICLE),
            body_length=(105.0, _CAN_BODY),
            drink=("cola_like", _FIZZY),
        ),
        "sleek can 12 fl oz": _size(
            diameter=(57.5, f"{_MEMORY}, 57 to 58 mm"),
            length=(156.0, COMMON_PRACTICE),
            mass=(0.383, COMMON_PRACTICE),
            empty_mass=(0.0136, f"{COMMON_PRACTICE}, taken as the 12 fl oz can's"),
            body_length=(134.0, _CAN_BODY),
            drink=("cola_like", _FIZZY),
        ),
        "slim can 250 ml": _size(
            diameter=(53.0, _MEMORY),
            length=(135.0, COMMON_PRACTICE),
            mass=(0.27, COMMON_PRACTICE),
            empty_mass=(0.011, COMMON_PRACTICE),
            body_length=(116.0, _CAN_BODY),
            drink=("cola_like", _FIZZY),
        ),
        "500 ml still water": _size(
            diameter=(64.5, f"{COMMON_PRACTICE}, 63 to 66 mm"),
            length=(205.0, f"{COMMON_PRACTICE}, 200 to 210 mm"),
            mass=(0.515, f"{COMMON_PRACTICE}, 0.51 to 0.52 kg"),
            empty_mass=(0.0125, f"{COMMON_PRACTICE}; trade press gives 9 to 19 g over the years"),
            drink=("still", f"{COMMON_PRACTICE}, as its name says"),
            wall_feel=("thin", f"{COMMON_PRACTICE}: sidewall of light water bottles 0.08 to 0.15 mm"),
        ),
        "500 ml carbonated": _size(
            diameter=(66.5, f"{COMMON_PRACTICE}, 65 to 68 mm"),
            length=(228.0, f"{COMMON_PRACTICE}, 220 to 235 mm"),
            mass=(0.54, COMMON_PRACTICE),
            empty_mass=(0.0225, f"{COMMON_PRACTICE}; trade press gives 18.5 to 27 g for 355 to 591 ml"),
            drink=("cola_like", _FIZZY),
        ),
        "591 ml carbonated": _size(
            diameter=(73.0, f"{COMMON_PRACTICE}, 72 to 74 mm"),
            length=(228.0, f"{COMMON_PRACTICE}, 220 to 235 mm"),
            mass=(0.64, f"{COMMON_PRACTICE}, 0.63 to 0.65 kg"),
            empty_mass=(0.025, f"{COMMON_PRACTICE}; trade press gives 18.5 to 27 g for 355 to 591 ml"),
            drink=("cola_like", _FIZZY),
        ),
    }
)
"""By name: figure by the field of a container that it fills, lengths in mm, masses in kg; words stand for ranges."""


def figures_of(name: object) -> Mapping[str, Figure]:
    """Find the figures of a generic size.

    Parameters
    ----------
    name : str
        Name as `GENERIC_SIZES` has it.

    Returns
    -------
    mapping of str to Figure

    Raises
    ------
    ScenarioError
        If there is none of that name.
    """
    if not isinstance(name, str) or name not in GENERIC_SIZES:
        near = nearest_name(str(name), list(GENERIC_SIZES))
        raise ScenarioError([("like", f'got "{name}", which is not in the catalogue; {near}')])
    return GENERIC_SIZES[name]


def values_of(name: str) -> dict[str, Any]:
    """Give the fields of a container that a generic size fills, its name among them.

    Parameters
    ----------
    name : str
        As for `figures_of`.

    Returns
    -------
    dict of str to object

    Raises
    ------
    ScenarioError
        As `figures_of`.
    """
    return {"name": name, **{field: figure.value for field, figure in figures_of(name).items()}}


def without_generic(values: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out of a container's values those that the generic size it is like gives all the same.

    Parameters
    ----------
    values : mapping of str to object
        By field, ``like`` among them if it is like one.

    Returns
    -------
    dict of str to object

    Raises
    ------
    ScenarioError
        If ``like`` names no generic size.
    """
    generic = values_of(values["like"]) if values.get("like") is not None else {}
    return {field: value for field, value in values.items() if field not in generic or value != generic[field]}
