"""Generic container sizes, with where each figure comes from.

Nothing here replaces a calliper: makers differ, and a millimetre decides a spacer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from colsim.errors import ScenarioError
from colsim.model.container import Container
from colsim.model.refusals import nearest_name

__all__ = ["CATALOGUE", "Entry", "Figure", "find_entry", "without_entry"]

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


@dataclass(frozen=True)
class Entry:
    """One generic size.

    Attributes
    ----------
    name : str
        Name by which a scenario asks for it.
    figures : mapping of str to Figure
        Figure by the field of `Container` that it fills: lengths in mm, masses in kg; words stand for unknown ranges.
    """

    name: str
    figures: Mapping[str, Figure]

    def values(self) -> dict[str, Any]:
        """Give the fields of a `Container` that this entry fills."""
        return {"name": self.name, **{field: figure.value for field, figure in self.figures.items()}}

    def container(self) -> Container:
        """Make the container."""
        return Container(**self.values())


def _entry(name: str, **figures: tuple[float | str, str]) -> Entry:
    return Entry(name, MappingProxyType({field: Figure(*figure) for field, figure in figures.items()}))


CATALOGUE: Mapping[str, Entry] = MappingProxyType(
    {
        entry.name: entry
        for entry in (
            _entry(
                "12 fl oz can",
                diameter=(66.1, _CAN_SHEET),
                length=(122.2, _CAN_SHEET),
                mass=(0.385, f"{COMMON_PRACTICE}, 0.38 to 0.39 kg"),
                empty_mass=(0.0136, _CAN_ARTICLE),
                body_length=(105.0, _CAN_BODY),
                drink=("cola_like", _FIZZY),
            ),
            _entry(
                "sleek can 12 fl oz",
                diameter=(57.5, f"{_MEMORY}, 57 to 58 mm"),
                length=(156.0, COMMON_PRACTICE),
                mass=(0.383, COMMON_PRACTICE),
                empty_mass=(0.0136, f"{COMMON_PRACTICE}, taken as the 12 fl oz can's"),
                body_length=(134.0, _CAN_BODY),
                drink=("cola_like", _FIZZY),
            ),
            _entry(
                "slim can 250 ml",
                diameter=(53.0, _MEMORY),
                length=(135.0, COMMON_PRACTICE),
                mass=(0.27, COMMON_PRACTICE),
                empty_mass=(0.011, COMMON_PRACTICE),
                body_length=(116.0, _CAN_BODY),
                drink=("cola_like", _FIZZY),
            ),
            _entry(
                "500 ml still water",
                diameter=(64.5, f"{COMMON_PRACTICE}, 63 to 66 mm"),
                length=(205.0, f"{COMMON_PRACTICE}, 200 to 210 mm"),
                mass=(0.515, f"{COMMON_PRACTICE}, 0.51 to 0.52 kg"),
                empty_mass=(0.0125, f"{COMMON_PRACTICE}; trade press gives 9 to 19 g over the years"),
                drink=("still", f"{COMMON_PRACTICE}, as its name says"),
                wall_feel=("thin", f"{COMMON_PRACTICE}: sidewall of light water bottles 0.08 to 0.15 mm"),
            ),
            _entry(
                "500 ml carbonated",
                diameter=(66.5, f"{COMMON_PRACTICE}, 65 to 68 mm"),
                length=(228.0, f"{COMMON_PRACTICE}, 220 to 235 mm"),
                mass=(0.54, COMMON_PRACTICE),
                empty_mass=(0.0225, f"{COMMON_PRACTICE}; trade press gives 18.5 to 27 g for 355 to 591 ml"),
                drink=("cola_like", _FIZZY),
            ),
            _entry(
                "591 ml carbonated",
                diameter=(73.0, f"{COMMON_PRACTICE}, 72 to 74 mm"),
                length=(228.0, f"{COMMON_PRACTICE}, 220 to 235 mm"),
                mass=(0.64, f"{COMMON_PRACTICE}, 0.63 to 0.65 kg"),
                empty_mass=(0.025, f"{COMMON_PRACTICE}; trade press gives 18.5 to 27 g for 355 to 591 ml"),
                drink=("cola_like", _FIZZY),
            ),
        )
    }
)


def find_entry(name: str) -> Entry:
    """Find a catalogue entry by its name.

    Parameters
    ----------
    name : str
        Name as `CATALOGUE` has it.

    Returns
    -------
    Entry

    Raises
    ------
    ScenarioError
        If there is none of that name.
    """
    if not isinstance(name, str) or name not in CATALOGUE:
        near = nearest_name(str(name), list(CATALOGUE))
        raise ScenarioError([("like", f'got "{name}", which is not in the catalogue; {near}')])
    return CATALOGUE[name]


def without_entry(values: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out of a container's values those that its catalogue entry gives all the same."""
    entry = find_entry(values["like"]).values() if values.get("like") is not None else {}
    return {field: value for field, value in values.items() if field not in entry or value != entry[field]}
