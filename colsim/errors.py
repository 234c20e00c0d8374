"""The errors that colsim raises on purpose; all share one root."""

from __future__ import annotations

from collections.abc import Sequence


class ColsimError(Exception):
    """Root of every error that colsim raises on purpose."""


class ScenarioError(ColsimError, ValueError):
    """A description that cannot be simulated.

    Attributes
    ----------
    problems : tuple of (str, str)
        One pair a problem: the dotted path of the field (empty for the whole
        scenario), and what is wrong with it, what is allowed and what to do.
    """

    def __init__(self, problems: str | Sequence[tuple[str, str]]) -> None:
        self.problems: tuple[tuple[str, str], ...] = (("", problems),) if isinstance(problems, str) else tuple(problems)
        super().__init__("\n".join(f"{p}: {m}" if p else m for p, m in self.problems))

    def __reduce__(self) -> tuple[type[ScenarioError], tuple[tuple[tuple[str, str], ...]]]:
        # Exception pickles its message only; a worker process must hand over the problems.
        return (type(self), (self.problems,))


class RangeError(ColsimError, ValueError):
    """A closed form was asked for a value outside the range where it holds."""


class SimulationError(ColsimError, RuntimeError):
    """A simulation could not be carried through; the message names the seed that replays it."""


class StoppedError(SimulationError):
    """Ctrl-C came before there was anything to answer from."""


class OutputError(ColsimError, OSError):
    """A result could not be written where it was asked for."""
