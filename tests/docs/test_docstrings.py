"""Docstrings of what is public say what it takes, gives and refuses, as its signature and its code have it."""

import ast
import importlib.util
import inspect
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

import colsim
from colsim import errors

PACKAGE = Path(colsim.__file__).parent
ROOMS = {"theory", "model", "physics", "sampling", "advice", "pictures", "outputs", "screen", "cli", "cli_new"}
OURS = {name for name, each in vars(errors).items() if inspect.isclass(each) and issubclass(each, errors.ColsimError)}
SECTIONS = ("Parameters", "Returns", "Yields", "Raises", "Notes", "References", "Examples", "Attributes")
Function = ast.FunctionDef


@dataclass(frozen=True)
class Module:
    """The functions of one module by name, methods as ``Class.name``, and what its other names stand for."""

    functions: dict[str, Function]
    imported: dict[str, tuple[str, str]]
    public: tuple[str, ...]


def read(text):
    """Read a module's text; public are the functions and the methods of classes that ``__all__`` names."""
    tree = ast.parse(text)
    functions, imported, named = {}, {}, []
    for node in tree.body:
        match node:
            case ast.FunctionDef():
                functions[node.name] = node
            case ast.ClassDef():
                functions |= {f"{node.name}.{each.name}": each for each in node.body if isinstance(each, Function)}
            case ast.ImportFrom(module=str(module)):
                imported |= {alias.asname or alias.name: (module, alias.name) for alias in node.names}
            case ast.Assign(targets=[ast.Name(id="__all__")]):
                named = ast.literal_eval(node.value)
    public = tuple(name for name in functions if name.split(".")[0] in named and not is_private(name))
    return Module(functions, imported, public)


def is_private(name):
    return name.rpartition(".")[2].startswith("_")


def module_named(name):
    try:
        found = importlib.util.find_spec(name)
    except ModuleNotFoundError:
        found = None
    return read(Path(found.origin).read_text(encoding="utf-8")) if found and found.origin else None


def walk(node):
    """Walk through what may raise to the caller: not through what a handler of any of our errors stands around."""
    for child in ast.iter_child_nodes(node):
        inside = isinstance(child, ast.Try) and any(catches(handler) for handler in child.handlers)
        if inside:
            for part in (*child.handlers, *child.orelse, *child.finalbody):
                yield part
                yield from walk(part)
            continue
        yield child
        yield from walk(child)


def catches(handler):
    names = (
        {node.id for node in ast.walk(handler.type) if isinstance(node, ast.Name)} if handler.type else {"Exception"}
    )
    return bool(names & (OURS | {"Exception", "ValueError"}))


def raised(module, name, *, callees=True, seen=()):
    """Give the names of our errors that a function raises itself, by its own helpers, or by what it calls directly."""
    if name in seen or name not in module.functions:
        return set()
    found, owner = set(), name.rpartition(".")[0]
    for node in walk(module.functions[name]):
        match node:
            case ast.Raise(exc=ast.Call(func=ast.Name(id=error))) if error in OURS:
                found.add(error)
            case ast.Call(func=ast.Name(id=called)) if called in module.functions:
                found |= by_call(module, called, callees, (*seen, name))
            case ast.Call(func=ast.Attribute(value=ast.Name(id="self"), attr=called)):
                found |= by_call(module, f"{owner}.{called}", callees, (*seen, name))
            case ast.Call(func=ast.Name(id=called)) if callees and called in module.imported:
                where, its_name = module.imported[called]
                other = module_named(where) if where.startswith("colsim.") else None
                if other is not None and where.count(".") > 1:
                    found |= raised(other, its_name, callees=False)
    return found


def by_call(module, called, callees, seen):
    """Follow a call within a module: a private helper is part of the function, a public one is a callee."""
    if is_private(called):
        return raised(module, called, callees=callees, seen=seen)
    return raised(module, called, callees=False, seen=seen) if callees else set()


def sections_of(docstring):
    """Split a docstring in numpy's form into its sections, each a list of lines."""
    found, current = {}, "Summary"
    lines = inspect.cleandoc(docstring or "").split("\n")
    for line, after in zip(lines, [*lines[1:], ""], strict=True):
        if line in SECTIONS and set(after) == {"-"}:
            current = line
        elif not (line and set(line) == {"-"}):
            found.setdefault(current, []).append(line)
    return found


def entries_of(lines):
    """Give the entries of a section of parameters by name, each with its type and description as one text."""
    found, names = {}, []
    for line in lines:
        if line and not line.startswith(" "):
            names = [name.strip("* ") for name in line.partition(":")[0].split(",")]
            found |= dict.fromkeys(names, line)
        else:
            found |= {name: found[name] + line for name in names}
    return found


def arguments_of(function):
    """Give the arguments as the signature has them, ``*args`` and ``**kwargs`` included, without self and cls."""
    given = function.args
    listed = [*given.posonlyargs, *given.args, given.vararg, *given.kwonlyargs, given.kwarg]
    return [each for each in listed if each is not None and each.arg not in ("self", "cls")]


def is_command(arguments):
    """Tell whether a function is a command: its docstring is what ``--help`` prints, beside the help of each option."""
    said = [ast.unparse(each.annotation) for each in arguments]
    return bool(said) and all("typer.Option(" in each or "typer.Argument(" in each for each in said)


def problems_of(module, name):
    """List what a docstring lacks or has too much of."""
    function = module.functions[name]
    sections = sections_of(ast.get_docstring(function))
    arguments = arguments_of(function)
    if is_command(arguments):
        return
    described = entries_of(sections.get("Parameters", []))
    if list(described) != [each.arg for each in arguments]:
        yield f"Parameters: {list(described)} instead of {[each.arg for each in arguments]}"
    for each in arguments:
        if ast.unparse(each.annotation) in ("float", "float | None") and "[" not in described.get(each.arg, "["):
            yield f"Parameters: {each.arg} has no unit"
    returns = ast.unparse(function.returns)
    is_property = any(isinstance(each, ast.Name) and each.id == "property" for each in function.decorator_list)
    short = not arguments and len(ast.get_docstring(function).split("\n")) == 1
    if returns != "None" and not is_property and not short:
        section = "Yields" if returns.startswith("Iterator") else "Returns"
        if section not in sections:
            yield f"{section}: missing"
        elif re.search(r"\b(float|Estimate|Risk|DataFrame)\b", returns) and "[" not in "".join(sections[section]):
            yield f"{section}: no unit"
    # What takes nothing can pass nothing on that a callee would refuse.
    errors_raised, said = raised(module, name, callees=bool(arguments)), " ".join(sections.get("Raises", []))
    missing = {error for error in errors_raised if not re.search(rf"\b{error}\b", said)}
    if missing and not is_property:
        yield f"Raises: {', '.join(sorted(missing))} missing"


MODULES = {
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts): path
    for path in sorted(PACKAGE.rglob("*.py"))
    if path.stem not in ("__init__", "__main__")
}
COVERED = [name for name in MODULES if name.split(".")[1] in ROOMS]


def test_every_room_is_covered():
    assert {name.split(".")[1] for name in MODULES} == ROOMS | {"errors", "version"}


@pytest.mark.parametrize("name", COVERED)
def test_what_is_public_says_what_it_takes_gives_and_refuses(name):
    module = read(MODULES[name].read_text(encoding="utf-8"))
    found = {each: list(problems_of(module, each)) for each in module.public}
    assert {each: problems for each, problems in found.items() if problems} == {}


def test_every_module_of_a_room_says_what_is_public():
    for name in COVERED:
        found = importlib.import_module(name)
        assert found.__all__, name
        assert all(hasattr(found, each) for each in found.__all__), name


GOOD = '''
from colsim.sampling.checks import require_whole
__all__ = ["turn"]

def turn(angle: float, count: int) -> float:
    """Turn.

    Parameters
    ----------
    angle : float
        [rad]
    count : int
        How often.

    Returns
    -------
    float
        [rad]

    Raises
    ------
    ScenarioError
        If it cannot be.
    """
    return _turned(angle, require_whole("count", count))

def _turned(angle: float, count: int) -> float:
    if angle < 0:
        raise RangeError("no")
    return angle
'''


@pytest.mark.parametrize(
    ("change", "problem"),
    [
        (("", ""), "Raises: RangeError missing"),  # by a helper of its own
        (("ScenarioError\n", "RangeError\n"), "Raises: ScenarioError missing"),  # by what it calls
        (("ScenarioError\n", "RangeError, ScenarioError\n"), None),
        (("    if angle < 0:\n        raise RangeError", "    print"), None),
        (("angle : float\n        [rad]", "angle : float\n        Of it."), "Parameters: angle has no unit"),
        (("    count : int\n        How often.\n", ""), "Parameters: ['angle'] instead of ['angle', 'count']"),
        (("float\n        [rad]\n\n    Raises", "float\n        It.\n\n    Raises"), "Returns: no unit"),
        (("    Returns\n    -------\n    float\n        [rad]\n\n", ""), "Returns: missing"),
        (
            ("count: int)", "count: int, *more: int)"),
            "Parameters: ['angle', 'count'] instead of ['angle', 'count', 'more']",
        ),
    ],
)
def test_what_a_docstring_lacks_is_found(change, problem):
    module = read(GOOD.replace(*change) if change[0] else GOOD)
    assert module.public == ("turn",)
    found = list(problems_of(module, "turn"))
    assert found == [] if problem is None else problem in found


def test_of_a_command_help_says_what_it_takes():
    command = 'def turn(fast: Annotated[bool, typer.Option(help="faster")] = False) -> None:\n    """Turn."""\n'
    assert list(problems_of(read(f'__all__ = ["turn"]\n{command}'), "turn")) == []
    plain = list(problems_of(read(f'__all__ = ["turn"]\n{command.replace("typer.Option", "Some")}'), "turn"))
    assert plain == ["Parameters: [] instead of ['fast']"]


@pytest.mark.parametrize("name", ["simulate_fill", "simulate_fills", "replay", "Fills", "Fill", "Replay"])
def test_signatures_are_short_enough_to_read(name):
    shown = str(inspect.signature(getattr(colsim, name)))
    assert len(shown) < 300
    assert "Annotated" not in shown
    assert "<" not in shown  # no object without a name
