"""How kernels are compiled, and where the compiled code is kept.

The folder is named by a hash of every kernel source and of the versions it depends on, and is set
before the first kernel is defined: a change in a called function of another file is then never
missed. It lies beside the sources, or in the user's cache folder where that cannot be written.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

from byrewright.caches import cache_folder

F = TypeVar("F", bound=Callable[..., Any])

HERE = Path(__file__).resolve().parent
SOURCES = ("engine", "physics", "plant", "standards", "studies/vacuum", "studies/slopes.py")
KERNELS = (
    "engine/kernels",
    "engine/airnet.py",
    "engine/airmarch.py",
    "engine/liquidnet.py",
    "engine/shape.py",
    "engine/columns.py",
    "engine/jit.py",
    "physics",
)
"""What ends in a compiled plant, and what ends in compiled code."""


@cache
def code_hash(rooms: tuple[str, ...] = KERNELS) -> str:
    """A short hash of sources of this package, and of the versions that compile them."""
    import numba
    import numpy

    checks = os.environ.get("NUMBA_BOUNDSCHECK", "")
    versions = f"{sys.version}{numba.__version__}{numpy.__version__}{checks}"
    digest = hashlib.sha256(versions.encode())
    for room in rooms:
        place = HERE.parent / room
        for path in [place] if place.is_file() else sorted(place.rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


@cache
def kernel_folder() -> Path:
    """Where the code of this version's kernels is kept."""
    asked = os.environ.get("NUMBA_CACHE_DIR")
    return Path(asked) if asked else cache_folder(f"kernels-{code_hash()}")


def _compiler() -> None:
    """Settings of the compiler, once, before anything is compiled.

    The first level of optimising compiles a tenth faster than the third, and the day runs as fast.
    """
    from numba.core import config

    os.environ.setdefault("NUMBA_OPT", "1")
    config.reload_config()  # type: ignore[no-untyped-call]
    if not os.environ.get("NUMBA_CACHE_DIR"):
        setattr(config, "CACHE_DIR", str(kernel_folder()))  # noqa: B010  (not in its stubs)


def _prepare(*, allocates: bool, inner: bool = False) -> Callable[[Any], Any]:
    import numba

    options: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}
    if not allocates:
        # Where nothing is allocated, a kernel without reference counts runs in half the time.
        options["_nrt"] = False
    if inner:
        # What only kernels call needs no door for the interpreter: a tenth less to compile.
        options |= {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
    return cast("Callable[[Any], Any]", numba.njit(**options))


_compiler()
_njit = _prepare(allocates=False)
_njit_inner = _prepare(allocates=False, inner=True)
_njit_allocating = _prepare(allocates=True)


def kernel(function: F) -> F:
    """Compile on first call, keep on disk, let other threads run. It may make no arrays."""
    return cast("F", _njit(function))


def inner(function: F) -> F:
    """The same for a function that only other kernels call; Python cannot call it."""
    return cast("F", _njit_inner(function))


def array_kernel(function: F) -> F:
    """The same as `kernel` for a function that makes arrays of its own."""
    return cast("F", _njit_allocating(function))
