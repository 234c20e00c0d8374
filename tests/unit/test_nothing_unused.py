"""No constant, class or function that nothing reads, in the physics and the theory."""

import ast

import pytest
from tests_shared import ROOT

PACKAGE = ROOT / "colsim"


def defined(tree):
    """Names that a module defines at its top level, without dunders."""
    for node in tree.body:
        targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
        names = [each.id for target in targets if target for each in ast.walk(target) if isinstance(each, ast.Name)]
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            names = [node.name]
        yield from (name for name in names if not name.startswith("__"))


def read_names(tree):
    """Names that a module reads, bare or as an attribute."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr


def read_in(*folders):
    files = [path for folder in folders for path in (ROOT / folder).rglob("*.py")]
    return {name for path in files for name in read_names(ast.parse(path.read_text(encoding="utf-8")))}


@pytest.mark.parametrize(
    ("room", "readers"),
    [("physics", ("colsim",)), ("theory", ("colsim", "tests", "benchmarks"))],  # closed forms are for tests as well
)
def test_every_name_is_read(room, readers):
    used = read_in(*readers)
    unused = {
        f"{path.relative_to(PACKAGE)}: {name}"
        for path in (PACKAGE / room).rglob("*.py")
        for name in defined(ast.parse(path.read_text(encoding="utf-8")))
        if name not in used
    }
    assert not unused
