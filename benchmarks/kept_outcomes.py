"""Outcomes of a long benchmark, kept as they come, so that a run that was cut short goes on where it ended.

They count only for the code that made them: a fingerprint of all that bears on a fill is kept with them.
"""

from __future__ import annotations

import ast
import json
import zlib
from pathlib import Path

import colsim

__all__ = ["KeptOutcomes"]

PACKAGE = Path(colsim.__file__).parent
MADE_BY = ("theory", "model", "physics", *(f"sampling/{name}.py" for name in ("draws", "course", "vend", "one_fill")))


class KeptOutcomes:
    """Pairs of outcomes by name, in a file; a digit a pair: 1 if only the first failed, 2 only the second, 3 both.

    Parameters
    ----------
    path : Path
        Of the file; what it holds is dropped if other code made it.
    *more : Path
        Further source files that bear on the outcomes.
    """

    def __init__(self, path: Path, *more: Path) -> None:
        self.path, self.made_by = path, fingerprint(*more)
        self.digits: dict[str, str] = {}
        if path.exists():
            held = json.loads(path.read_text(encoding="utf-8"))
            if held["made_by"] == self.made_by:
                self.digits = held["outcomes"]

    def __getitem__(self, name: str) -> list[tuple[bool, bool]]:
        return [(digit in "13", digit in "23") for digit in self.digits.get(name, "")]

    def __setitem__(self, name: str, outcomes: list[tuple[bool, bool]]) -> None:
        self.digits[name] = "".join(str(first + 2 * second) for first, second in outcomes)
        part = self.path.with_suffix(".part")
        text = json.dumps({"made_by": self.made_by, "outcomes": self.digits}, indent=0)
        part.write_text(text + "\n", encoding="utf-8")
        part.replace(self.path)


def fingerprint(*more: Path) -> int:
    """Give a number that changes with the code that a fill passes through, but not with its comments."""
    rooms = [PACKAGE / name for name in MADE_BY]
    files = [*(path for room in rooms for path in ([room] if room.suffix else sorted(room.rglob("*.py")))), *more]
    return zlib.crc32("".join(code_of(path.read_text(encoding="utf-8")) for path in files).encode())


def code_of(text: str) -> str:
    """Give a module's code without comments and docstrings."""
    tree = ast.parse(text)
    for node in ast.walk(tree):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)) and ast.get_docstring(node) is not None:
            node.body = node.body[1:] or [ast.Pass()]
    return ast.unparse(tree)
