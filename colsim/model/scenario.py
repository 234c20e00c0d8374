"""The whole description of one column and what it vends."""

from __future__ import annotations

import copy
import math
import tomllib
from collections.abc import Iterator, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any, Self

from pydantic import Field, model_validator

from colsim.errors import ScenarioError
from colsim.model.base import Description
from colsim.model.column import Column
from colsim.model.conditions import Conditions, OnHand
from colsim.model.container import Container
from colsim.model.contradictions import contradictions
from colsim.model.loading import Loading, Target
from colsim.model.paths import opened, put
from colsim.model.rotor import Rotor
from colsim.model.spread import Spread, StandIn
from colsim.model.stand_ins import (
    CREEP_EXPONENT,
    FRICTION_OF_CONTAINERS,
    FRICTION_ON_LINER,
    FRICTION_ON_WALL,
    any_of,
    wetted,
)
from colsim.theory.packing import WIDEST_ZIGZAG, capacity

__all__ = ["Scenario"]

DENSEST_PACKING = math.pi / (2 * math.sqrt(3))  # share of the plane, Thue 1892; a strip holds no more
_SHRINKINGS = 6  # halvings of an assumed range's end that would contradict what was measured


class Scenario(Description):
    """One column, what it vends, how it is loaded, and what is asked of it."""

    title: str = Field("untitled", description="what you call this column")
    container: Container | None = Field(
        None, description="what is vended, where it is of one kind: a table, or the name of a catalogue entry"
    )
    containers: dict[str, Container] = Field(
        default_factory=dict, description="what is vended, where it is of several kinds: a table of tables by name"
    )
    column: Column = Field(description="walls, liners, floor and throat")
    rotor: Rotor = Field(description="drum, pocket, spacer and motor")
    loading: Loading = Field(description="how many go in and how")
    conditions: Conditions = Field(default_factory=Conditions, description="how it is in the machine")
    on_hand: OnHand = Field(default_factory=OnHand, description="what there is to put in")
    target: Target = Field(default_factory=Target, description="what the operator will put up with")

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
        return _with_stand_ins(data)

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

    @property
    def products(self) -> Mapping[str, Container]:
        """Containers by name; one given in the short form is named ``container``."""
        return {"container": self.container} if self.container is not None else self.containers

    def product_of(self, item: int) -> str:
        """Name the kind of one container.

        Parameters
        ----------
        item : int
            Place in the order of loading, from 0; those of a top-up follow.

        Returns
        -------
        str
            A key of `products`.
        """
        for layer in self.loading.layers:
            if item < layer.count:
                return layer.container
            item -= layer.count
        return self.loading.layers[-1].container if self.loading.layers else next(iter(self.products))

    @property
    def loaded_products(self) -> Mapping[str, Container]:
        """Those of `products` that are loaded, from the bottom up."""
        names = dict.fromkeys(layer.container for layer in self.loading.layers) or dict.fromkeys(self.products)
        return {name: self.products[name] for name in names}

    @property
    def load(self) -> str:
        """What is loaded, in words."""
        if not self.loading.layers:
            return f"{self.loading.total} {next(iter(self.products.values())).name}"
        return " on ".join(f"{layer.count} {layer.container}" for layer in reversed(self.loading.layers))

    def friction_between(self, first: str, second: str) -> float:
        """Give the friction of a container of one kind on one of another.

        Parameters
        ----------
        first, second : str
            Keys of `products`.

        Returns
        -------
        float
            [-]; of two kinds ``loading.mixed_friction``, or the geometric mean of what each has with its like.
        """
        a, b = self.products[first].friction, self.products[second].friction
        if first != second and self.loading.mixed_friction is not None:
            return self.loading.mixed_friction
        return a if a == b else math.sqrt(a * b)

    def friction_on_wall(self, container: Container, wall: str, height: float) -> float:
        """Give the friction of a container on a wall, or on the liner that covers it there.

        Parameters
        ----------
        container : Container
            One of `products`.
        wall : str
            ``"left"`` or ``"right"``.
        height : float
            Above the throat [mm].

        Returns
        -------
        float
            [-]
        """
        zone = next((z for z in self.column.liner_zones(wall) if z.bottom <= height <= z.top), None)
        if zone is not None:
            return zone.friction if container.liner_friction is None else container.liner_friction
        return self.column.wall_friction if container.wall_friction is None else container.wall_friction

    def greatest_count(self) -> int:
        """Give a number of containers that the column cannot exceed.

        Returns
        -------
        int
            Capacity of the space from the pocket's floor to the top of the walls, as the closed form gives it; where
            that form ends (width beyond 1.866 diameters), as the densest packing of the plane allows.
        """
        thickness = min(product.height for product in self.loaded_products.values())
        height = self.column.height + self.rotor.clear_depth
        if self.column.width <= WIDEST_ZIGZAG * thickness:
            return capacity(height, thickness, self.column.width)
        return math.floor(DENSEST_PACKING * height * self.column.width / (math.pi / 4 * thickness**2))

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
        path = Path(path)
        try:
            data = tomllib.loads(path.read_bytes().decode("utf-8"))
        except OSError as error:
            raise ScenarioError(
                f"{path}: cannot be read ({error.strerror}); give the path of a scenario file"
            ) from None
        except UnicodeDecodeError:
            raise ScenarioError(f"{path}: is not a text file in UTF-8; give the path of a scenario file") from None
        except tomllib.TOMLDecodeError as error:
            raise ScenarioError(
                f'{path}: is not TOML: {error}; put text and measurements with units in quotes, as in "2.6 in"'
            ) from None
        if not data:
            raise ScenarioError(
                f"{path}: is empty; describe container, column, rotor and loading, as in the shipped example"
            )
        try:
            return cls(**data)
        except ScenarioError as error:
            raise ScenarioError(
                [(f"{path}: {where}" if where else str(path), what) for where, what in error.problems]
            ) from None

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
            If a path is unknown, or the changed scenario contradicts itself.

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
        """
        return container.without_effect | (frozenset() if self.conditions.days else frozenset({"creep_exponent"}))

    def _is_without_effect(self, path: str) -> bool:
        """Tell whether nothing in a simulation depends on a field of a container."""
        part, _, field = path.rpartition(".")
        products = {
            "container" if self.container is not None else f"containers.{name}": each
            for name, each in self.products.items()
        }
        return part in products and field in self.without_effect(products[part])

    def pooled(self) -> Self:
        """Return the scenario in which every unknown is drawn evenly over its range, once a fill."""
        return self.changed(**{path: spread.pooled() for path, spread in self.unknowns().items()})

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
            The end, or the first of the way's half, quarter and so on that is allowed; the typical value if none is.
        """
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


def _with_stand_ins(data: dict[str, Any]) -> dict[str, Any]:
    """Put in what surfaces, condensation and days in the column stand for, where it was not measured."""
    conditions, column = (opened(name, data.get(name)) for name in ("conditions", "column"))
    wet = isinstance(conditions, dict) and conditions.get("wet") is True
    column = column if isinstance(column, dict) else {}
    walls = FRICTION_ON_WALL.get(str(column.get("wall_surface")), {}) if column.get("wall_friction") is None else {}
    days = conditions.get("days") if isinstance(conditions, dict) else None

    def stood_in(table: Any) -> Any:
        return _with_creep(_with_friction(table, walls, wet=wet), days)

    if data.get("container") is not None:
        data["container"] = stood_in(data["container"])
    if isinstance(data.get("containers"), dict):
        data["containers"] = {name: stood_in(table) for name, table in data["containers"].items()}
    if wet and walls:
        data["column"] = column = {**column, "wall_friction": wetted(any_of(walls.values()))}
    if wet and isinstance(column.get("liners"), (list, tuple)):
        data["column"] = {**column, "liners": [_with_wet_friction(liner) for liner in column["liners"]]}
    return data


def _with_friction(table: Any, walls: Mapping[Any, StandIn], *, wet: bool) -> Any:
    surface = str(table.get("surface")) if isinstance(table, dict) else ""
    if surface not in FRICTION_OF_CONTAINERS:
        return table
    found = {"friction": FRICTION_OF_CONTAINERS[surface]}
    if surface in walls:
        found["wall_friction"] = walls[surface]
    return {
        **table,
        **{name: wetted(spread) if wet else spread for name, spread in found.items() if table.get(name) is None},
    }


def _with_wet_friction(liner: Any) -> Any:
    liner = opened("liners", liner)
    condition = str(liner.get("condition")) if isinstance(liner, dict) else ""
    if condition not in FRICTION_ON_LINER or liner.get("friction") is not None:
        return liner
    return {**liner, "friction": wetted(FRICTION_ON_LINER[condition])}


def _with_creep(table: Any, days: Any) -> Any:
    """Put in by how much a soft wall gets softer, which matters to one that lies for days alone."""
    lies = isinstance(days, (int, float)) and days > 0
    soft = isinstance(table, dict) and Container.is_described_soft(table)
    if not (lies and soft) or table.get("creep_exponent") is not None:
        return table
    return {**table, "creep_exponent": CREEP_EXPONENT}


def _unset(model: Description, prefix: str) -> list[tuple[str, Any]]:
    found = [
        (f"{prefix}{name}", getattr(model, name))
        for name in type(model).model_fields
        if name not in model.model_fields_set and not isinstance(getattr(model, name), Description)
    ]
    return found + [pair for name, part in model.parts() for pair in _unset(part, f"{prefix}{name}.")]
