"""The whole description of one column and what it vends."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any, Self

from pydantic import BaseModel, Field, field_validator, model_validator

from colsim.errors import ScenarioError
from colsim.model.base import Description, nearest_name
from colsim.model.catalogue import without_entry
from colsim.model.column import Column
from colsim.model.container import Container
from colsim.model.loading import Loading, Target
from colsim.model.rotor import Rotor
from colsim.theory.packing import WIDEST_ZIGZAG, capacity

__all__ = ["Scenario"]

DENSEST_PACKING = math.pi / (2 * math.sqrt(3))  # share of the plane, Thue 1892; a strip holds no more


class Scenario(Description):
    """One column, what it vends, how it is loaded, and what is asked of it."""

    title: str = Field("untitled", description="what you call this column")
    container: Container = Field(description="what is vended: a table, or the name of a catalogue entry")
    column: Column = Field(description="walls, liners, floor and throat")
    rotor: Rotor = Field(description="drum, pocket, spacer and motor")
    loading: Loading = Field(description="how many go in and how")
    target: Target = Field(default_factory=Target, description="what the operator will put up with")

    @field_validator("container", mode="before")
    @classmethod
    def _by_name(cls, value: Any) -> Any:
        return {"like": value} if isinstance(value, str) else value

    @model_validator(mode="after")
    def _check(self) -> Self:
        problems = tuple(self._contradictions())
        if problems:
            raise ScenarioError(problems)
        return self

    def _contradictions(self) -> list[tuple[str, str]]:
        """List what single parts cannot see: sizes that do not go together."""
        container, column, rotor = self.container, self.column, self.rotor
        found = []
        for name, width in (("column.width", column.width), ("column.throat", column.throat_width)):
            if container.breadth > width:
                found.append(
                    (
                        name,
                        f"got {width:g} mm; the container is {container.breadth:g} mm wide and does not go "
                        "through; measure both again",
                    )
                )
        if column.width >= 2 * container.height:
            found.append(
                (
                    "column.width",
                    f"got {column.width:g} mm; two containers of {container.height:g} mm lie abreast in it "
                    f"(allowed: below {2 * container.height:g} mm), which is not modelled",
                )
            )
        if container.breadth > rotor.clear_width:
            found.append(
                (
                    "rotor.pocket_width",
                    f"got {rotor.pocket_width:g} mm, of which the spacer leaves {rotor.clear_width:g} mm; the "
                    "container is "
                    f"{container.breadth:g} mm wide and does not go in; take a thinner spacer or another rotor",
                )
            )
        if column.throat_width >= 2 * rotor.radius:
            found.append(
                (
                    "rotor.radius",
                    f"got {rotor.radius:g} mm; a drum of {2 * rotor.radius:g} mm must be wider than the throat "
                    f"({column.throat_width:g} mm) or containers fall past it; measure both again",
                )
            )
        else:
            found += self._throat_edge_problems()
        if not found and self.loading.count > (most := self.greatest_count()):
            found.append(
                (
                    "loading.count",
                    f"got {self.loading.count}; at most {most} fit; load fewer or measure the column's height again",
                )
            )
        return found

    def _throat_edge_problems(self) -> list[tuple[str, str]]:
        column = self.column
        taken, there = column.throat_edge_length(self.rotor.housing_radius), column.height
        if column.floor_height > 0:
            there = column.floor_height / math.sin(math.radians(column.floor_slope or 90.0))
        if taken < there:
            return []
        text = f"got {column.throat_radius:g} mm; that takes {taken:.0f} of the {there:.0f} mm of wall or floor"
        return [("column.throat_radius", f"{text}; measure the edge's radius, which is assumed where not given")]

    def greatest_count(self) -> int:
        """Give a number of containers that the column cannot exceed.

        Returns
        -------
        int
            Capacity of the space from the pocket's floor to the top of the walls, as the closed form gives it; where
            that form ends (width beyond 1.866 diameters), as the densest packing of the plane allows.
        """
        thickness = self.container.height
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
            New values by dotted path, as in ``changed(**{"rotor.spacer_thickness": 12})``.

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
        data = self.model_dump(exclude_unset=True)
        # What came from the catalogue is looked up again, so that another ``like`` brings its own sizes.
        data["container"] = without_entry(data["container"])
        for path, value in changes.items():
            *parents, last = path.split(".")
            _require_path(type(self), path)
            table = data
            for parent in parents:
                table[parent] = table = _as_table(parent, table.get(parent, {}))
            table[last] = value
        return type(self)(**data)

    def assumed(self) -> dict[str, Any]:
        """List the values that were not given and stand at their defaults.

        Returns
        -------
        dict
            Value by dotted path, in the order of the description.
        """
        return dict(_unset(self, ""))


def _as_table(name: str, value: Any) -> dict[str, Any]:
    """Open up a part that was given whole, so that one of its values can be changed."""
    if isinstance(value, BaseModel):
        return value.model_dump(exclude_unset=True)
    if isinstance(value, str) and name == "container":
        return {"like": value}
    if isinstance(value, dict):
        return dict(value)
    raise ScenarioError([(name, f"got {value!r}; allowed: a table of its values")])


def _require_path(model: type[BaseModel], path: str) -> None:
    for name in path.split("."):
        fields = model.model_fields if isinstance(model, type) and issubclass(model, BaseModel) else {}
        if name not in fields:
            raise ScenarioError(
                f'unknown path "{path}": {nearest_name(name, list(fields)) if fields else "it goes too deep"}'
            )
        model = fields[name].annotation  # type: ignore[assignment]


def _unset(model: BaseModel, prefix: str) -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, BaseModel):
            found += _unset(value, f"{prefix}{name}.")
        elif name not in model.model_fields_set:
            found.append((f"{prefix}{name}", value))
    return found
