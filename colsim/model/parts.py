"""The parts of a scenario, and what they say together."""

from __future__ import annotations

import math
from collections.abc import Mapping
from numbers import Integral

from pydantic import Field

from colsim.errors import ScenarioError
from colsim.model.base import Description
from colsim.model.checks import require_a, require_known, require_numbers
from colsim.model.column import Column
from colsim.model.conditions import Conditions, OnHand
from colsim.model.container import Container
from colsim.model.loading import Loading, Target
from colsim.model.one_line import OneLine
from colsim.model.rotor import Rotor
from colsim.theory.packing import WIDEST_ZIGZAG, capacity

__all__ = ["ScenarioParts"]

DENSEST_PACKING = math.pi / (2 * math.sqrt(3))  # share of the plane, Thue 1892; a strip holds no more


class ScenarioParts(Description):
    """The parts of a scenario, each checked by itself; `Scenario` checks them together."""

    title: OneLine = Field(
        "untitled", description="what you call this column: one line of text without control characters"
    )
    container: Container | None = Field(
        None,
        description="what is vended, where it is of one kind, in place of containers: a table, or the name of a "
        "catalogue entry",
    )
    containers: dict[str, Container] = Field(
        default_factory=dict,
        description="what is vended, where it is of several kinds, in place of container: a table of tables by name, "
        "each name without a dot, and one line of text without control characters",
    )
    column: Column = Field(description="walls, liners, floor and throat")
    rotor: Rotor = Field(description="drum, pocket, spacer and motor")
    loading: Loading = Field(description="how many go in and how")
    conditions: Conditions = Field(default_factory=Conditions, description="how it is in the machine")
    on_hand: OnHand = Field(default_factory=OnHand, description="what there is to put in")
    target: Target = Field(default_factory=Target, description="what the operator will put up with")

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

        Raises
        ------
        ScenarioError
            If the place is no whole number, or below 0.
        """
        if not isinstance(item, Integral) or item < 0:
            raise ScenarioError([("item", f"got {item!r}; allowed: a whole number of 0 or more")])
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
            return f"{self.loading.total} x {next(iter(self.products.values())).name}"
        return " on ".join(f"{layer.count} x {layer.container}" for layer in reversed(self.loading.layers))

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

        Raises
        ------
        ScenarioError
            If one is no key of `products`.
        """
        require_known("first", first, self.products)
        require_known("second", second, self.products)
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

        Raises
        ------
        ScenarioError
            If there is no such wall, or container or height are none.
        """
        require_a("container", container, Container, "a Container")
        require_numbers(height=height)
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
