"""The whole description of one column and what it vends."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any, Self

from pydantic import model_validator

from colsim.errors import ScenarioError
from colsim.model.base import Description
from colsim.model.checks import require_a, require_numbers
from colsim.model.container import Container
from colsim.model.contradictions import contradictions
from colsim.model.parts import ScenarioParts
from colsim.model.paths import opened, put
from colsim.model.spread import Spread, StandIn
from colsim.model.together import with_stand_ins
from colsim.model.toml_text import read_toml, to_toml

__all__ = ["Scenario"]

_SHRINKINGS = 6  # halvings of an assumed range's end that would contradict what was measured


class Scenario(ScenarioParts):
    """One column, what it vends, how it is loaded, and what is asked of it."""

    @model_validator(mode="before")
    @classmethod
    def _fill_in_by_surface(cls, data: Any) -> Any:
        """Let containers be named, and let surfaces stand in for frictions, which takes more than one part to know."""
        if not isinstance(data, dict):
            return data
        data = dict(data)
        if data.get("container") is not None:
            data["container"] = opened("container", data["container"])
        if isinstance(data.get("containers"), Mapping):
            data["containers"] = {name: opened("container", value) for name, value in data["containers"].items()}
        return with_stand_ins(data)

    @model_validator(mode="after")
    def _check(self) -> Self:
        self._assume_throat_radius()
        problems = tuple(contradictions(self)) or tuple(self._contradictions_at_ends())
        if problems:
            raise ScenarioError(problems)
        return self

    def _assume_throat_radius(self) -> None:
        """Let an edge that nobody measured be as round as its floor and the drum leave room for."""
        housing = self.rotor.housing_radius
        if self.column.throat_width >= 2 * housing:
            return  # refused elsewhere
        column = self.column.model_copy()
        column._assume_at_most("throat_radius", column.greatest_throat_radius(housing))
        self.__dict__["column"] = column

    def _contradictions_at_ends(self) -> Iterator[tuple[str, str]]:
        """Look at each end of each spread with everything else at its typical value."""
        spreads = dict(self.all_spreads())
        if not spreads:
            return
        data = self.as_given()
        for path, spread in spreads.items():
            put(data, type(self), path, spread.typical)
        for path, spread in spreads.items():
            for end in dict.fromkeys((spread.low, spread.high)):
                at_end = copy.deepcopy(data)
                put(at_end, type(self), path, end)
                try:
                    type(self)(**at_end)
                except ScenarioError as error:
                    for where, what in error.problems:
                        yield where, f"with {path} at its end of {end:g}: {what}"

    @classmethod
    def from_toml(cls, path: str | Path) -> Self:
        """Read a scenario from a TOML file.

        Parameters
        ----------
        path : str or Path
            File with the tables ``container``, ``column``, ``rotor``, ``loading`` and perhaps ``target``.

        Returns
        -------
        Scenario

        Raises
        ------
        ScenarioError
            If the file cannot be read, is not TOML, or does not describe a column that can be simulated.
        """
        require_a("path", path, (str, Path), "the path of a scenario file, as text or Path")
        try:
            content = Path(path).read_bytes()
        except (OSError, ValueError) as error:
            why = error.strerror if isinstance(error, OSError) else error
            raise ScenarioError(f"{path}: cannot be read ({why}); give the path of a scenario file") from None
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise ScenarioError(
                f"{path}: is not a text file in UTF-8; give the path of a scenario file, or save it as UTF-8"
            ) from None
        return cls._from_text(text, str(path))

    @classmethod
    def from_toml_text(cls, text: str) -> Self:
        """Read a scenario from the text of a TOML file.

        Parameters
        ----------
        text : str
            As a file holds it, or as `to_toml` writes it.

        Returns
        -------
        Scenario

        Raises
        ------
        ScenarioError
            As `from_toml`.
        """
        require_a("text", text, str, "the text of a scenario file")
        return cls._from_text(text, "")

    @classmethod
    def _from_text(cls, text: str, path: str) -> Self:
        """Read a scenario, and name the file in what is refused."""
        start = f"{path}: " if path else ""
        try:
            data = read_toml(text)
            if not data:
                raise ScenarioError(
                    "is empty; describe container, column, rotor and loading, as in the shipped example"
                )
            return cls(**data)
        except ScenarioError as error:
            raise ScenarioError(
                [(f"{start}{where}" if where else path, what) for where, what in error.problems]
            ) from None

    def to_toml(self) -> str:
        """Write the scenario as the text of a TOML file, with what was given and nothing that follows from it.

        Returns
        -------
        str
            `from_toml_text` reads an equal scenario from it. Each number stands in the unit that is named beside it.

        Examples
        --------
        >>> scenario = Scenario(
        ...     container="12 fl oz can",
        ...     column={"width": "3 in", "height": 900, "wall_friction": 0.2},
        ...     rotor={"radius": 80, "pockets": 1, "pocket_width": 74, "pocket_depth": 68},
        ...     loading={"count": 10},
        ... )
        >>> print(scenario.to_toml())
        [container]
        like = "12 fl oz can"
        <BLANKLINE>
        [column]
        width = 76.2  # mm
        height = 900.0  # mm
        wall_friction = 0.2
        <BLANKLINE>
        [rotor]
        radius = 80.0  # mm
        pockets = 1
        pocket_width = 74.0  # mm
        pocket_depth = 68.0  # mm
        <BLANKLINE>
        [loading]
        count = 10
        <BLANKLINE>
        >>> Scenario.from_toml_text(scenario.to_toml()) == scenario
        True
        """
        return to_toml(type(self), self.as_given())

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.to_toml())}</pre>"

    def changed(self, **changes: Any) -> Self:
        """Return a copy with some values changed.

        Parameters
        ----------
        **changes
            New values by dotted path, as in ``changed(**{"rotor.spacer_thickness": 12})``; one of several containers
            by its name, one of several liners or layers by its place from 0. A plain number replaces a spread.

        Returns
        -------
        Scenario

        Raises
        ------
        ScenarioError
            If a path is unknown, a value is not allowed, or the changed scenario contradicts itself.

        Examples
        --------
        >>> scenario = Scenario(
        ...     container="12 fl oz can",
        ...     column={"width": 76, "height": 900, "wall_friction": 0.2},
        ...     rotor={"radius": 80, "pockets": 1, "pocket_width": 74, "pocket_depth": 68},
        ...     loading={"count": 10},
        ... )
        >>> scenario.changed(**{"rotor.spacer_thickness": "1/8 in"}).rotor.spacer_thickness
        3.175
        """
        data = self.as_given()
        for path, value in changes.items():
            put(data, type(self), path, value)
        return type(self)(**data)

    def assumed(self) -> dict[str, Any]:
        """List the values that were not given and stand at their defaults.

        Returns
        -------
        dict
            Value by dotted path, in the order of the description.
        """
        return dict(_unset(self, ""))

    def varying(self) -> dict[str, Spread]:
        """List what differs from fill to fill or from container to container.

        Returns
        -------
        dict
            Spread by dotted path.
        """
        return {path: spread for path, spread in self.all_spreads() if spread.kind == "varies"}

    def unknowns(self) -> dict[str, Spread]:
        """List what nobody measured that a simulation takes into account.

        Returns
        -------
        dict
            Spread by dotted path: what was given as unknown, what plain words stand in for, and the defaults that
            were left at that. The range of a default is cut short where its end would contradict what was measured.
        """
        return dict(self._unknowns)

    @cached_property
    def _unknowns(self) -> dict[str, Spread]:
        found = {path: spread for path, spread in self.all_spreads() if spread.kind == "unknown"}
        if all(product.wall_friction is not None for product in self.loaded_products.values()):
            found.pop("column.wall_friction", None)
        for path, spread in self.assumed_spreads():
            found[path] = self._without_contradiction(path, spread)
        if (spread_of_mixed := self._mixed_friction_spread()) is not None:
            found["loading.mixed_friction"] = spread_of_mixed
        unused = tuple(f"containers.{name}." for name in self.products.keys() - self.loaded_products.keys())
        return {
            path: spread
            for path, spread in found.items()
            if spread.low < spread.high and not path.startswith(unused) and not self._is_without_effect(path)
        }

    def without_effect(self, container: Container) -> frozenset[str]:
        """Name the fields of a container that are read and kept, but that no simulation under these conditions uses.

        Parameters
        ----------
        container : Container
            One of `products`.

        Returns
        -------
        frozenset of str
            Those of its own `Container.without_effect`, and how much its wall creeps if it lies for no days.

        Raises
        ------
        ScenarioError
            If it is no container.
        """
        require_a("container", container, Container, "a Container")
        return container.without_effect | (frozenset() if self.conditions.days else frozenset({"creep_exponent"}))

    def _is_without_effect(self, path: str) -> bool:
        """Tell whether nothing in a simulation depends on a field of a container."""
        part, _, field = path.rpartition(".")
        products = {
            "container" if self.container is not None else f"containers.{name}": each
            for name, each in self.products.items()
        }
        return part in products and field in self.without_effect(products[part])

    def screened(self) -> Self:
        """Return the scenario in which every unknown is drawn once a fill, at an end of its range or between."""
        return self.changed(**{path: spread.screened() for path, spread in self.unknowns().items()})

    def _mixed_friction_spread(self) -> Spread | None:
        if self.loading.mixed_friction is not None or len(self.loaded_products) < 2:
            return None
        own = [
            product.spreads.get("friction")
            or dict(product.assumed_spreads()).get("friction")
            or Spread(kind="unknown", shape="fixed", typical=product.friction)
            for product in self.loaded_products.values()
        ]
        low, high = min(spread.low for spread in own), max(spread.high for spread in own)
        if low == high:
            return None
        names = list(self.loaded_products)
        typical = self.friction_between(names[0], names[1]) if len(names) == 2 else (low + high) / 2
        origin = "assumed: between what each kind has with its like"
        return StandIn(kind="unknown", low=low, typical=typical, high=high, origin=origin)

    def nearest_allowed(self, path: str, typical: float, end: float) -> float:
        """Give how far a number can go from its typical value towards an end without contradicting the rest.

        Parameters
        ----------
        path : str
            Of the number.
        typical, end : float
            From where, and to where [unit of the field].

        Returns
        -------
        float
            The end, or the first of the way's half, quarter and so on that is allowed; the typical value if none is
            [unit of the field].

        Raises
        ------
        ScenarioError
            If the ends are no numbers, or there is no such path.
        """
        require_numbers(typical=typical, end=end)
        put(self.as_given(), type(self), path, typical)  # refuses a path that there is not
        for k in range(_SHRINKINGS):
            value = typical + (end - typical) * 0.5**k
            try:
                self.changed(**{path: value})
            except ScenarioError:
                continue
            return value
        return typical

    def _without_contradiction(self, path: str, spread: Spread) -> Spread:
        low, high = (self.nearest_allowed(path, spread.typical, end) for end in (spread.low, spread.high))
        return StandIn(kind="unknown", low=low, typical=spread.typical, high=high, origin=spread.origin)


def _unset(model: Description, prefix: str) -> list[tuple[str, Any]]:
    found = [
        (f"{prefix}{name}", getattr(model, name))
        for name in type(model).model_fields
        if name not in model.model_fields_set and not isinstance(getattr(model, name), Description)
    ]
    return found + [pair for name, part in model.parts() for pair in _unset(part, f"{prefix}{name}.")]
