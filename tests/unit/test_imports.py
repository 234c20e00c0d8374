"""What importing loads, and which way imports point."""

import ast
import importlib
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import colsim

PACKAGE = Path(colsim.__file__).parent
ROOMS = ["theory", "model", "physics", "sampling", "advice", "pictures", "outputs", "screen", "cli_new", "cli"]
FREE = {"errors", "version"}  # rooms of nobody
MODULES = sorted(PACKAGE.rglob("*.py"))


def room_of(path):
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(path, only_at_import=False):
    """Full names of what a module imports, in functions too unless asked otherwise; typing-only imports included."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = tree.body if only_at_import else list(ast.walk(tree))
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


HEAVY = [
    "matplotlib",
    "pandas",
    "typer",
    "numba",
    "llvmlite",
    "pymunk",
    "scipy.stats",
    "scipy.optimize",
    "pydantic",
    "numpy",
]


def loaded(code, modules):
    """Tell which of some modules are there in a fresh process after it has run a line."""
    line = f"import sys\n{code}\nprint([m for m in {modules} if m in sys.modules])"
    return subprocess.run([sys.executable, "-c", line], check=True, capture_output=True, text=True).stdout.strip()


def test_importing_colsim_loads_nothing_heavy():
    assert loaded("import colsim; colsim.__version__; dir(colsim)", HEAVY) == "[]"


def test_describing_a_column_and_everything_else_that_is_public_loads_no_engine_and_no_plots():
    engines_and_plots = ["matplotlib", "pandas", "typer", "numba", "llvmlite", "pymunk", "scipy.stats"]
    assert loaded("from colsim import *", engines_and_plots) == "[]"


def test_a_name_that_is_asked_for_loads_its_room_alone():
    rooms = ["colsim.advice", "colsim.sampling", "colsim.model", "colsim.pictures"]
    assert loaded("from colsim import Scenario", rooms) == "['colsim.model']"
    assert loaded("import colsim; colsim.simulate_fill", rooms) == "['colsim.sampling', 'colsim.model']"


def test_every_module_is_in_a_room():
    assert {room_of(path) for path in MODULES} == {*ROOMS, *FREE, "__init__", "__main__"}


@pytest.mark.parametrize("path", [p for p in MODULES if room_of(p) in ROOMS], ids=lambda p: str(p.relative_to(PACKAGE)))
def test_rooms_import_upward_only(path):
    allowed = {*FREE, *ROOMS[: ROOMS.index(room_of(path)) + 1]}
    inner = {name.split(".")[1] for name in imported(path) if name.startswith("colsim.")}
    assert inner <= allowed
    assert "colsim" not in imported(path), "a room imports from rooms, not from the package's front"


@pytest.mark.parametrize("path", [p for p in MODULES if room_of(p) in FREE], ids=lambda p: p.stem)
def test_errors_and_version_import_no_room(path):
    assert not [name for name in imported(path) if name.startswith("colsim")]


def name_of(path):
    return ".".join(("colsim", *path.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(".__init__")


@pytest.mark.parametrize("room", ["theory", "model"])
def test_no_imports_go_round(room):
    """In functions and for typing only they would go round too; `__init__` files hold names only."""
    modules = {name_of(path): path for path in MODULES if room_of(path) == room and path.stem != "__init__"}
    graph = {
        name: {other for other in modules for found in imported(path) if f"{found}.".startswith(f"{other}.")}
        for name, path in modules.items()
    }
    assert len(graph) > 5
    assert sum(map(len, graph.values())) > 5
    assert len(list(TopologicalSorter(graph).static_order())) == len(graph)


def test_only_pictures_imports_matplotlib_at_the_top():
    drawing = {room_of(path) for path in MODULES if any(n.startswith("matplotlib") for n in imported(path, True))}
    assert drawing == {"pictures"}


def test_theory_takes_plain_numbers_only():
    outer = {name.split(".")[0] for path in (PACKAGE / "theory").glob("*.py") for name in imported(path)}
    assert outer <= {"__future__", "dataclasses", "colsim", "math", "scipy", "numpy"}


def constants_then_classes_then_the_rest(name):
    return (not name.isupper(), not name[0].isupper(), name)


def test_the_public_names_are_there_and_sorted():
    assert list(colsim.__all__) == sorted(colsim.__all__, key=constants_then_classes_then_the_rest)
    assert all(hasattr(colsim, name) for name in colsim.__all__)
    assert set(colsim.__all__) <= set(dir(colsim))


def test_each_public_name_is_what_its_room_has():
    for room, names in colsim._ROOMS.items():
        found = importlib.import_module(f"colsim.{room}")
        assert all(getattr(colsim, name) is getattr(found, name) for name in names)
    named = [name for names in colsim._ROOMS.values() for name in names]
    assert sorted([*named, "__version__"]) == sorted(colsim.__all__)


def test_for_type_checkers_the_same_names_are_imported_from_the_same_rooms():
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    (typing_only,) = [node for node in tree.body if isinstance(node, ast.If)]
    said = {node.module: {alias.name for alias in node.names} for node in typing_only.body}
    assert said == {f"colsim.{room}": set(names) for room, names in colsim._ROOMS.items()}


def test_a_name_that_is_not_there_is_an_attribute_error():
    with pytest.raises(AttributeError, match="module 'colsim' has no attribute 'simulate'"):
        colsim.simulate  # noqa: B018
