"""What single parts of a scenario cannot see: sizes that do not go together."""

from __future__ import annotations

from collections.abc import Iterator

from colsim.errors import ScenarioError
from colsim.model.container import Container
from colsim.model.one_line import as_escapes, is_one_line
from colsim.model.parts import ScenarioParts
from colsim.model.refusals import nearest_name

__all__ = ["container_contradictions", "contradictions"]

_Problem = tuple[str, str]


def contradictions(scenario: ScenarioParts) -> Iterator[_Problem]:
    """List what does not go together.

    Parameters
    ----------
    scenario : ScenarioParts
        Whose parts are each allowed on their own.

    Yields
    ------
    (str, str)
        Dotted path, and what is wrong with it, what is allowed and what to do.
    """
    problems = list(_names(scenario))
    if not problems:
        for name, container in scenario.loaded_products.items():
            who = "the container" if scenario.container is not None else name
            problems += container_contradictions(scenario, container, who)
        problems += _rotor(scenario)
    if not problems and scenario.loading.total > (most := scenario.greatest_count()):
        path = "loading.layers" if scenario.loading.layers else "loading.count"
        text = f"got {scenario.loading.total}; at most {most} fit; load fewer or measure the column's height again"
        problems.append((path, text))
    yield from problems


def _names(scenario: ScenarioParts) -> Iterator[_Problem]:
    if (scenario.container is None) == (not scenario.containers):
        given = "both" if scenario.containers else "neither"
        yield "", f"got {given} of container and containers; allowed: container for one kind, containers for several"
        return
    for name in scenario.containers:
        if not name or "." in name:
            yield f"containers.{as_escapes(name)}", 'allowed: a name without a dot, as in [containers."slim can"]'
        elif not is_one_line(name):
            text = "got a name with a control character; allowed: one line of text without; take it out"
            yield f"containers.{as_escapes(name)}", text
    if len(scenario.containers) > 1 and not scenario.loading.layers:
        yield "loading.layers", "missing; say from the bottom up how many of which container lie in the column"
    for k, layer in enumerate(scenario.loading.layers):
        if layer.container not in scenario.products:
            near = nearest_name(layer.container, list(scenario.products))
            yield f"loading.layers.{k}.container", f'got "{layer.container}", which is not described; {near}'


def container_contradictions(scenario: ScenarioParts, container: Container, who: str) -> Iterator[tuple[str, str]]:
    """List what keeps one container from going through a column.

    Parameters
    ----------
    scenario : ScenarioParts
        Whose column and rotor count.
    container : Container
        Perhaps as drawn.
    who : str
        What it is called.

    Yields
    ------
    (str, str)
        As `contradictions`.
    """
    column, rotor = scenario.column, scenario.rotor
    try:
        if container.is_soft:
            container.bottle(scenario.conditions)
        else:
            container.board_stiffness(scenario.conditions)
    except ScenarioError as error:
        own = "container" if scenario.container is not None else f"containers.{who}"
        for path, text in error.problems:
            yield path if path.startswith("conditions.") else f"{own}.{path}" if path else own, text
    for name, width in (("column.width", column.width), ("column.throat", column.throat_width)):
        if container.breadth > width:
            text = f"got {width:g} mm; {who} is {container.breadth:g} mm wide and does not go through"
            yield name, f"{text}; measure both again"
    if column.width >= 2 * container.height:
        yield (
            "column.width",
            f"got {column.width:g} mm; two of {container.height:g} mm ({who}) lie abreast in it (allowed: below "
            f"{2 * container.height:g} mm), which is not modelled",
        )
    if container.breadth > rotor.clear_width:
        yield (
            "rotor.pocket_width",
            f"got {rotor.pocket_width:g} mm, of which the spacer leaves {rotor.clear_width:g} mm; {who} is "
            f"{container.breadth:g} mm wide and does not go in; take a thinner spacer or another rotor",
        )
    for k, liner in enumerate(column.liners):
        if liner.lifted_edge >= container.height:
            yield (
                f"column.liners.{k}.lifted_edge",
                f"got {liner.lifted_edge:g} mm; allowed: below {container.height:g} mm, the height of {who}, which "
                "would lie on it as on a shelf; measure it again, or press the edge flush",
            )


def _rotor(scenario: ScenarioParts) -> Iterator[_Problem]:
    column, rotor = scenario.column, scenario.rotor
    if column.throat_width >= 2 * rotor.radius:
        yield (
            "rotor.radius",
            f"got {rotor.radius:g} mm; a drum of {2 * rotor.radius:g} mm must be wider than the throat "
            f"({column.throat_width:g} mm) or containers fall past it; measure both again",
        )
        return
    taken, there = column.throat_edge_length(rotor.housing_radius), column.edge_room
    if taken >= there:
        text = f"got {column.throat_radius:g} mm; that takes {taken:.0f} of the {there:.0f} mm of wall or floor"
        yield "column.throat_radius", f"{text}; measure the edge's radius again, or leave it out"
