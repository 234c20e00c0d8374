"""The command `new`: a scenario file to fill in, and what every command knows."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any

import typer
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from colsim.errors import ScenarioError
from colsim.model import Column, Container, Liner, Loading, Rotor, Scenario, Target
from colsim.model.conditions import Conditions, OnHand
from colsim.model.fields import choices_of, part_of, quantity_of
from colsim.model.generic_sizes import figures_of
from colsim.model.squeeze_test import SqueezeReading
from colsim.outputs import require_outputs, write_whole
from colsim.screen import say
from colsim.version import __version__

__all__ = ["new", "scenario_to_fill_in", "take_options"]

_WIDTH = 110
_USUAL_DIAMETER = 66.0  # [mm], of which the guesses are multiples where no container is named
_NOT_ON_SITE = frozenset(
    {"modulus", "end_stiffness", "creep_exponent", "liquid_spin", "set_fraction", "tested_diameter"}
)
"""Keys that nobody measures beside a machine; `colsim schema --table` has them."""
_HEAD = """\
# A scenario to fill in: one column, what it vends, and how it is loaded. As it is, it can be read and checked.
# Replace each guess in braces with your measurement. Take the # away from what else you know; what stays behind a # is
# taken as unknown or as said there. Measurements are text with a unit ("66.5 mm", "2 9/16 in", "1 lb 3 oz") or bare
# numbers in the unit that is named. Then: colsim check FILE
"""


def new(
    like: Annotated[
        str | None,
        typer.Option("--from", metavar="NAME", help="container of the catalogue to start from", show_default=False),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="PATH", help="write it here; printed if not given", show_default=False),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="replace a file that is there already")] = False,
) -> None:
    """Print a scenario file to fill in, with every key worth measuring and how it is measured."""
    try:
        text = scenario_to_fill_in(like)
    except ScenarioError as error:
        raise ScenarioError([("--from", what) for _, what in error.problems]) from None
    if output is None:
        say(text.removesuffix("\n"))
        return
    require_outputs([output], force=force)
    say(f"written: {write_whole(output, text.encode('utf-8'), force=force)}")


def _print_version(wanted: bool) -> None:
    if wanted:
        say(f"colsim {__version__}")
        raise typer.Exit


def take_options(
    version: Annotated[
        bool, typer.Option("--version", help="print the version and leave", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    """Take what may stand before any command."""


def scenario_to_fill_in(like: str | None = None) -> str:
    """Write a scenario file to fill in.

    Parameters
    ----------
    like : str, optional
        Name of a container of the catalogue to start from.

    Returns
    -------
    str
        TOML text, which is a valid scenario as it is.

    Raises
    ------
    ScenarioError
        If the catalogue has no such container.
    """
    figures: Mapping[str, Any] = {} if like is None else {name: f.value for name, f in figures_of(like).items()}
    guesses = _guesses(figures.get("diameter", _USUAL_DIAMETER))
    if like is None:
        own = {"name": '"container"', **guesses["container"]}
    else:
        own = {"like": f'"{like}"', "name": f'"{like}"'}
    lines = [
        'title = "site, machine, column"',
        *_part("container", Container, own, figures),
        *_part("container.squeeze_test", SqueezeReading, among=Container),
        *_part("column", Column, guesses["column"]),
        *_part("column.liners", Liner, among=Column),
        *_part("rotor", Rotor, guesses["rotor"]),
        *_part("loading", Loading, {"count": "8"}),
        *_part("conditions", Conditions),
        *_part("on_hand", OnHand),
        *_part("target", Target),
    ]
    return "\n".join([_HEAD, *lines]) + "\n"


def _guesses(diameter: float) -> dict[str, dict[str, str]]:
    """Give wide ranges for what must be given, which go together, by a diameter [mm]."""

    def of_diameters(low: float, high: float) -> str:
        return _unknown(f"{low * diameter:.0f} mm", f"{high * diameter:.0f} mm")

    return {
        "container": {"diameter": of_diameters(0.95, 1.05), "mass": _unknown("350 g", "600 g")},
        "column": {
            "width": of_diameters(1.2, 1.45),
            "height": _unknown("700 mm", "1000 mm"),
            "wall_surface": '"painted_steel"',
        },
        "rotor": {
            "radius": of_diameters(1.35, 1.6),
            "pockets": "1",
            "pocket_width": of_diameters(1.1, 1.25),
            "pocket_depth": of_diameters(1.05, 1.2),
        },
    }


def _unknown(low: str, high: str) -> str:
    return f'{{ kind = "unknown", low = "{low}", high = "{high}" }}'


def _part(
    path: str,
    model: type[BaseModel],
    given: Mapping[str, str] | None = None,
    usual: Mapping[str, Any] | None = None,
    *,
    among: type[BaseModel] = Scenario,
) -> Iterator[str]:
    """Write one table: what is given as it is, all else behind a #.

    Parameters
    ----------
    path : str
        Of the table.
    model : type
        What it describes.
    given : mapping of str to str, optional
        Values in TOML, by key.
    usual : mapping of str to object, optional
        Values that the catalogue gives, by key.
    among : type
        What holds the table; what another part than a scenario holds is one of a list, all of it behind a #.

    Yields
    ------
    str
        A line.
    """
    given, usual, several = given or {}, usual or {}, among is not Scenario
    about = among.model_fields[path.rpartition(".")[2]].description
    yield from ("", "#" * _WIDTH, *_comment(about))
    yield f"# [[{path}]]" if several else f"[{path}]"
    for name, field in model.model_fields.items():
        if name in _NOT_ON_SITE or part_of(field.annotation) is not None or (name == "like" and name not in given):
            continue
        yield from ("", *_comment(field.description))
        if name in given:
            yield f"{name} = {given[name]}"
        else:
            yield f"# {name} = {_example(field, usual.get(name))}"


def _comment(text: str | None) -> list[str]:
    return textwrap.wrap(text or "", _WIDTH, initial_indent="# ", subsequent_indent="# ")


def _example(field: FieldInfo, usual: Any) -> str:
    """Give the value that holds if the key is left out, or room for one."""
    value = usual if usual is not None else field.get_default(call_default_factory=True)
    if words := choices_of(field.annotation):
        first = value if value in words else words[0]
        others = " | ".join(word for word in words if word != first)
        return f'"{first}"  # or {others}'
    if isinstance(value, bool):
        return "true" if value else "false"
    quantity = quantity_of(field)
    if quantity is not None and isinstance(value, tuple):
        return f'["__ {quantity.base}", "__ {quantity.base}"]'
    if isinstance(value, (int, float)):
        return f'"{value:g} {quantity.base}"' if quantity is not None else f"{value:g}"
    if quantity is not None:
        return f'"__ {quantity.base}"'
    return "__"
