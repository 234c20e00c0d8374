"""Files that a run leaves: refused before the work where they cannot be, and written whole or not at all."""

from __future__ import annotations

import os
import re
import secrets
import stat
import tempfile
import time
import unicodedata
from collections.abc import Iterable, Sequence
from contextlib import suppress
from itertools import combinations, count
from pathlib import Path
from typing import TYPE_CHECKING, Any

from colsim.errors import OutputError

if TYPE_CHECKING:
    import pandas as pd

try:
    import fcntl
except ImportError:  # not on Windows, where what is open cannot be removed anyway
    fcntl = None  # type: ignore[assignment]

__all__ = ["require_outputs", "table_as_csv", "write_whole"]

_PART = re.compile(r"\.colsim-[0-9a-f]{32}\.part")
_OLD = 24 * 3600.0  # [s] after which a file that is being written was left behind, where no lock tells
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # how cells begin that a spreadsheet runs
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
_THERE = os.O_RDWR | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)


def require_outputs(
    files: Iterable[Path | None], *, folder: Path | None = None, scenario: Path | None = None, force: bool = False
) -> None:
    """Refuse, before the work, files that cannot be written after it.

    Parameters
    ----------
    files : iterable of Path or None
        What is to be written; None for what was not asked for.
    folder : Path, optional
        One that is made if it is not there yet; all others must be there.
    scenario : Path, optional
        What is read, and never replaced.
    force : bool
        Whether files that are there already may be replaced.

    Raises
    ------
    OutputError
        If one cannot be written where it is to be, is there already, or is the scenario; or if two are the same file,
        by links or by upper and lower case too.
    """
    wanted = [path for path in files if path is not None]
    if folder is not None:
        _require_folder_to_be(folder)
    for path in wanted:
        if path.parent != folder:
            _require_writable(path.parent)
        if path.exists() and not path.is_file():
            raise OutputError(f"{path}: is a folder or device; give the path of a file to write")
        if scenario is not None and _is_same(path, scenario):
            raise OutputError(
                f"{path}: is the scenario itself, which no output replaces, not even with --force; give another name"
            )
    _require_names_of_their_own(wanted)
    for path in wanted:
        if os.path.lexists(path) and not force:
            raise OutputError(
                f"{path}: there is such a file already, and it stays as it is; give another name, or --force to "
                "replace it"
            )


def _require_names_of_their_own(wanted: Sequence[Path]) -> None:
    for first, second in combinations(wanted, 2):
        if _is_same(first, second):
            raise OutputError(f"{second}: is the same file as {first}; give each output a name of its own")
        for inner, outer in ((first, second), (second, first)):
            if _place(outer) in _place(inner).parents:
                raise OutputError(f"{outer}: is to be the folder of {inner} as well; give one of them another name")


def _require_writable(folder: Path) -> None:
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise OutputError(
            f"{folder}: cannot be written to ({error.strerror}); give a folder that exists and is yours"
        ) from None


def _require_folder_to_be(folder: Path) -> None:
    there = next(path for path in (folder, *folder.absolute().parents) if os.path.lexists(path))
    if not there.is_dir():
        raise OutputError(f"{folder}: cannot be made ({there} is a file); give another folder")
    _require_writable(there)


def _is_same(first: Path, second: Path) -> bool:
    with suppress(OSError):
        if os.path.samefile(first, second):
            return True
    return _place(first) == _place(second)


def _place(path: Path) -> Path:
    """Say where a path leads, in the same way for names that some file systems take as one."""
    try:
        led = path.resolve()
    except (OSError, RuntimeError):  # links that go round
        led = path.absolute()
    return Path(unicodedata.normalize("NFC", str(led)).casefold())


def write_whole(path: Path, content: bytes, *, force: bool = False) -> Path:
    """Write a file whole or not at all, and durably.

    It is written beside its place under a name that nobody can foresee, and put there when it is complete. What earlier
    runs left of that kind when they were killed is removed.

    Parameters
    ----------
    path : Path
        Where to; a link is replaced itself, and what it leads to stays as it is.
    content : bytes
        All of it.
    force : bool
        Whether to replace what is there.

    Returns
    -------
    Path
        Where it is: the path, or without `force` the next name that is free, if something came to be there meanwhile.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    _clear(path.parent)
    try:
        part, open_part = _new_part(path.parent)
        try:
            _write_all(open_part, content)
            os.fsync(open_part)
            written = _put(part, path, force=force)
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)
            os.close(open_part)
    except OSError as error:
        raise OutputError(
            f"{path}: cannot be written ({error.strerror}); make room there, or give another path"
        ) from None
    _keep_entry(path.parent)
    return written


def _new_part(folder: Path) -> tuple[Path, int]:
    """Open a file that nobody else has, locked so that a run that clears the folder leaves it there."""
    while True:
        part = folder / f".colsim-{secrets.token_hex(16)}.part"
        try:
            descriptor = os.open(part, _NEW, 0o666)  # less what the umask takes
        except FileExistsError:
            continue
        with suppress(OSError):  # no locks on this file system: its age tells
            if fcntl is not None:
                fcntl.flock(descriptor, fcntl.LOCK_EX)
        if os.path.lexists(part):
            return part, descriptor
        os.close(descriptor)  # cleared between its making and its locking


def _write_all(descriptor: int, content: bytes) -> None:
    rest = memoryview(content)
    while rest:
        rest = rest[os.write(descriptor, rest) :]


def _put(part: Path, path: Path, *, force: bool) -> Path:
    """Put a complete file where it belongs."""
    if force:
        os.replace(part, path)
        return path
    name, numbers = path, count(2)
    while True:
        try:
            _put_where_nothing_is(part, name)
        except FileExistsError:
            name = path.with_name(f"{path.stem}-{next(numbers)}{path.suffix}")
        else:
            return name


def _put_where_nothing_is(part: Path, path: Path) -> None:
    try:
        os.link(part, path)  # unlike a renaming, this replaces nothing
    except FileExistsError:
        raise
    except OSError:  # no hard links on this file system
        if os.path.lexists(path):
            raise FileExistsError from None
        os.replace(part, path)


def _keep_entry(folder: Path) -> None:
    """Have the name of a new file survive a power cut, where the system offers that for a folder."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _clear(folder: Path) -> None:
    """Remove what runs that were killed left in a folder while they wrote; what a run is writing now is locked."""
    with suppress(OSError):
        for name in os.listdir(folder):
            if _PART.fullmatch(name):
                with suppress(OSError):
                    _remove_if_left_behind(folder / name)


def _remove_if_left_behind(part: Path) -> None:
    descriptor = os.open(part, _THERE)
    try:
        if _is_left_behind(descriptor):
            part.unlink()
    finally:
        os.close(descriptor)


def _is_left_behind(descriptor: int) -> bool:
    about = os.fstat(descriptor)
    if not stat.S_ISREG(about.st_mode) or (hasattr(os, "geteuid") and about.st_uid != os.geteuid()):
        return False
    if fcntl is not None:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            pass
        else:
            return True
    return time.time() - about.st_mtime > _OLD


def table_as_csv(table: pd.DataFrame) -> bytes:
    """Write a table as CSV that a spreadsheet shows and does not run.

    Parameters
    ----------
    table : pandas.DataFrame
        Of numbers and text.

    Returns
    -------
    bytes
        In UTF-8. Text that begins with ``=``, ``+``, ``-``, ``@``, a tab or a carriage return has an apostrophe before
        it; numbers are as they are.

    Examples
    --------
    >>> import pandas as pd
    >>> print(table_as_csv(pd.DataFrame({"name": ["=1+1", "can"], "rate": [-0.5, 1.0]})).decode())
    name,rate
    '=1+1,-0.5
    can,1.0
    <BLANKLINE>
    """
    safe = table.rename(columns=_as_text)
    for column, kind in safe.dtypes.items():
        if kind.kind not in "biufc":
            safe[column] = safe[column].map(_as_text)
    text: str = safe.to_csv(index=False, lineterminator="\n")
    return text.encode("utf-8")


def _as_text(cell: Any) -> Any:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell
