"""The catalogue of generic container sizes, as containers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from colsim.model.container import Container
from colsim.model.generic_sizes import GENERIC_SIZES, Figure, figures_of, values_of

__all__ = ["CATALOGUE", "Entry", "Figure", "find_entry"]


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
        return values_of(self.name)

    def container(self) -> Container:
        """Make the container."""
        return Container(**self.values())


CATALOGUE: Mapping[str, Entry] = MappingProxyType({name: Entry(name, sizes) for name, sizes in GENERIC_SIZES.items()})


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
    return Entry(name, figures_of(name))
