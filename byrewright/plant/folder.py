"""A folder that changes as a whole, as a pack does: all of it new, or all as it was."""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from byrewright.errors import ByrewrightError

Own = Callable[[Path], bool]
"""Whether a file of a folder, named from there, belongs to what is put into it."""
OLD = ".old"
"""Ending of the folder in which the old files wait for the new ones."""


class FolderRefused(ByrewrightError):
    """The files cannot be put where it was asked for; the text says where they could."""


@contextmanager
def beside(folder: Path) -> Iterator[Path]:
    """A folder to build in beside the one that is asked for; gone afterwards, whatever happened.

    What others left there that died over it is cleared first.
    """
    if folder.is_symlink() or folder.exists():
        folder = folder.resolve()
        if not folder.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, "is a file, not a folder", str(folder))
        if Path.cwd().is_relative_to(folder):
            raise FolderRefused(
                f"{folder}: you are in this folder, and the whole of it changes in one step; name "
                f"another, such as {folder / 'made'}"
            )
    folder.parent.mkdir(parents=True, exist_ok=True)
    _clear_leftovers(folder)
    made = Path(tempfile.mkdtemp(prefix=_prefix(folder) + f"{os.getpid()}-", dir=folder.parent))
    try:
        made.chmod(0o755)
        yield made
    except OSError as why:
        if why.filename is None or str(made) in str(why.filename):
            raise type(why)(why.errno, why.strerror, str(folder)) from None
        raise
    finally:
        shutil.rmtree(made, ignore_errors=True)


def _prefix(folder: Path) -> str:
    return f".{folder.name}.pack-"


def _clear_leftovers(folder: Path) -> None:
    """Put back what a builder that is gone had moved away, and remove what it had half built."""
    for left in sorted(folder.parent.glob(f"{_prefix(folder)}*")):
        number = left.name.removeprefix(_prefix(folder)).partition("-")[0]
        if number.isdigit() and _runs(int(number)):
            continue
        if left.suffix == OLD and not folder.exists():
            left.rename(folder)
        shutil.rmtree(left, ignore_errors=True)


def _runs(number: int) -> bool:
    """Whether a process of this number is there."""
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def put(path: Path, data: bytes) -> None:
    """Write a file of a folder that is being built, down to the disk."""
    path.parent.mkdir(exist_ok=True)
    with path.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def into_place(made: Path, folder: Path, own: Own) -> list[Path]:
    """What was built, where it was asked for, in one step; the files of it there.

    `own` says of a file of the old folder that the new one takes its place or that it goes.

    What else the folder holds (a brief, a site's log) comes along as the same files, not as copies:
    a program that has them open goes on with them.
    """
    folder = folder.resolve()
    names = sorted(p.relative_to(made) for p in made.rglob("*") if p.is_file())
    if not folder.exists():
        made.rename(folder)
    else:
        shutil.copymode(folder, made)
        _take_along(folder, made, own)
        old = _swap(made, folder)
        _take_along(old, folder, own)  # what somebody wrote there in the meantime
        shutil.rmtree(old, ignore_errors=True)
    return [folder / n for n in names]


def _take_along(old: Path, new: Path, own: Own) -> None:
    """What is of others, from one folder into another, where it is not there already."""
    for path in sorted(old.rglob("*")):
        name = path.relative_to(old)
        to = new / name
        if to.is_symlink() or to.exists() or (own(name) and not path.is_dir()):
            continue
        if path.is_symlink():
            to.symlink_to(os.readlink(path))
        elif path.is_dir():
            to.mkdir()
            shutil.copystat(path, to)
        else:
            try:
                os.link(path, to)
            except OSError:
                raise FolderRefused(
                    f"{old}: holds other files ({name}), which this disk cannot keep beside new "
                    "ones; name a folder that is empty or not there"
                ) from None


def _swap(made: Path, folder: Path) -> Path:
    """Exchange two folders in one step where the system can, else in two; where the old one is."""
    if _exchanged(made, folder):
        return made
    old = made.with_name(made.name + OLD)
    folder.rename(old)
    try:
        made.rename(folder)
    except BaseException:
        old.rename(folder)
        raise
    return old


AT_HERE, EXCHANGE = -100, 2


def _exchanged(one: Path, other: Path) -> bool:
    """Whether Linux exchanged the names of two folders (renameat2(2))."""
    call = getattr(ctypes.CDLL(None), "renameat2", None) if sys.platform == "linux" else None
    if call is None:
        return False
    done: int = call(AT_HERE, os.fsencode(one), AT_HERE, os.fsencode(other), EXCHANGE)
    return done == 0
