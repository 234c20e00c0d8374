"""What a command says: text on standard output and standard error that costs no file and steers no terminal."""

from __future__ import annotations

import errno
import io
import os
import sys
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout, suppress
from typing import TextIO

from colsim.errors import ColsimError, ScenarioError, StoppedError
from colsim.model.one_line import as_escapes

__all__ = ["INTERRUPTED", "exit_code_of", "say"]

INTERRUPTED = 130
"""Exit code of what Ctrl-C cut short, as a shell gives it."""
_READER_LEFT = frozenset({errno.EPIPE, errno.EBADF})


def say(*texts: str) -> None:
    """Write text to standard output, a line break after each.

    Parameters
    ----------
    *texts : str
        Control characters in them are shown as escapes; line breaks break lines.
    """
    for text in texts:
        sys.stdout.write(_shown(text) + "\n")
    sys.stdout.flush()


def exit_code_of(command: Callable[[], object]) -> int:
    """Run a command with standard streams that never stop it.

    What colsim refuses is said in plain text on standard error. A reader that leaves, as ``head`` does, ends it quietly
    once it is done; so does a standard output that is closed.

    Parameters
    ----------
    command : callable
        Takes nothing.

    Returns
    -------
    int
        Its own exit code; 2 if something was refused, or standard output took no more, as on a full disk; 130 if Ctrl-C
        came before there was anything to answer from.
    """
    _fill_closed_descriptors()
    out, err = _SteadyStream(sys.stdout), _SteadyStream(sys.stderr)
    with redirect_stdout(out), redirect_stderr(err):
        code = _run(command)
        out.flush()
        if out.failure is not None and out.failure.errno not in _READER_LEFT:
            why = out.failure.strerror or out.failure
            _complain(f"standard output: cannot be written to ({why}); make room, or send it elsewhere")
            code = code or 2
        err.flush()
    return code


def _run(command: Callable[[], object]) -> int:
    try:
        command()
    except ScenarioError as error:
        _complain("\n".join(as_escapes(f"{path}: {what}" if path else what) for path, what in error.problems))
        return 2
    except ColsimError as error:
        _complain(_shown(str(error)))
        return INTERRUPTED if isinstance(error, StoppedError) else 2
    except SystemExit as left:
        return left.code if isinstance(left.code, int) else int(left.code is not None)
    return 0


def _complain(text: str) -> None:
    sys.stderr.write(f"colsim: {text}\n")


def _shown(text: str) -> str:
    return "\n".join(as_escapes(line) for line in text.split("\n"))


def _fill_closed_descriptors() -> None:
    """Let nothing that is opened later, an output or a pipe of a worker, stand where a standard stream was closed."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free


class _SteadyStream(io.TextIOBase):
    """A standard stream that stops no work: it replaces letters that it lacks, and drops all once it takes no more."""

    def __init__(self, stream: TextIO | None) -> None:
        self._stream = stream
        self.failure: OSError | None = None

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return getattr(self._stream, "encoding", None) or "utf-8"

    @property
    def errors(self) -> str:  # type: ignore[override]
        return "backslashreplace"

    def writable(self) -> bool:
        return True

    def isatty(self) -> bool:
        return self._stream is not None and self._stream.isatty()

    def fileno(self) -> int:
        return super().fileno() if self._stream is None else self._stream.fileno()

    def write(self, text: str, /) -> int:
        replaced = text.encode(self.encoding, self.errors).decode(self.encoding)
        self._attempt(lambda stream: stream.write(replaced))
        return len(text)

    def flush(self) -> None:
        self._attempt(lambda stream: stream.flush())

    def _attempt(self, act: Callable[[TextIO], object]) -> None:
        if self._stream is None or self.failure is not None:
            return
        try:
            act(self._stream)
        except OSError as error:
            self.failure = error
        except ValueError:  # it was closed
            self.failure = BrokenPipeError(errno.EPIPE, "closed")
        if self.failure is not None and self._stream in (sys.__stdout__, sys.__stderr__):
            self._drop_what_waits()

    def _drop_what_waits(self) -> None:
        """Have what is still in the buffer go nowhere, where Python would complain of it at the end."""
        with suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self.fileno())
            os.close(nowhere)
