"""Folders for what can be worked out again: compiled code, compiled plants, routes of pipes."""

from __future__ import annotations

import atexit
import contextlib
import os
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

F = TypeVar("F", bound=Callable[..., Any])
HERE = Path(__file__).resolve().parent


def cache_folder(name: str) -> Path:
    """A folder that can be written, for compiled code, compiled plants or routes.

    That named by BYREWRIGHT_CACHE, else beside the sources, else in the user's cache folder; where
    none of them can be written, a folder that goes when the program ends.
    """
    asked = os.environ.get("BYREWRIGHT_CACHE")
    first = [Path(asked)] if asked else []
    for base in (*first, HERE / "engine" / "__pycache__", *_own_folders()):
        folder = base / name
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=folder):
                return folder
        except OSError:
            continue
    return _passing(name)


@cache
def _passing(name: str) -> Path:
    made = Path(tempfile.mkdtemp(prefix=f"byrewright-{name}-"))
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    return made


def _own_folders() -> list[Path]:
    """Folders of the user's own: that of caches, and that of the session, which goes with it."""
    found = []
    if caches := os.environ.get("XDG_CACHE_HOME"):
        found.append(Path(caches) / "byrewright")
    else:
        with contextlib.suppress(RuntimeError):  # no home and no account entry
            found.append(Path.home() / ".cache" / "byrewright")
    if session := os.environ.get("XDG_RUNTIME_DIR"):
        found.append(Path(session) / "byrewright")
    return found


def compiled_in(name: str) -> Callable[[F], F]:
    """Compile functions on first call, with numba, and keep the code in a folder that can be
    written, whatever the sources lie in and whatever else is compiled in this process."""
    os.environ.setdefault("NUMBA_OPT", "1")  # as `engine.jit` does
    import numba
    from numba.core import config

    folder = os.environ.get("NUMBA_CACHE_DIR") or str(cache_folder(f"kernels-{name}"))
    njit = cast("Callable[[F], F]", numba.njit(cache=True, nogil=True))

    def compiled(function: F) -> F:
        before = getattr(config, "CACHE_DIR", "")
        setattr(config, "CACHE_DIR", folder)  # noqa: B010  (not in its stubs)
        try:
            return njit(function)
        finally:
            setattr(config, "CACHE_DIR", before)  # noqa: B010

    return compiled


def keep(path: Path, data: bytes, most: int) -> None:
    """Put a file into a cache in one step, and let the oldest of its kind go beyond `most`.

    What cannot be written is not kept: a cache is never a reason to stop.
    """
    with contextlib.suppress(OSError):
        handle, part = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            os.replace(part, path)
        except OSError:
            os.unlink(part)
            raise
        kept = sorted(path.parent.glob(f"*{path.suffix}"), key=_age)
        for old in kept[:-most]:
            old.unlink(missing_ok=True)


def _age(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:  # another process let it go
        return 0.0
