"""The first compile, shared with a second process: half the wait on two cores.

Kernels lie in a list. This process compiles it from the front, a helper from the back, each into
the same folder on disk; whoever comes second to a kernel reads it there. A helper that fails costs
time and nothing else. A mark in the folder says that all is done, so a later start asks one file.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import inspect
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from byrewright.engine.jit import code_hash, kernel_folder
from byrewright.engine.shape import Day, State, Tables

ROOMS = ("vessels", "lines", "network", "loop", "traffic", "energy", "control")
"""Modules of `engine/kernels`, as this process takes them; the helper takes them backwards."""
AXES = {
    "F": 2, "I": 2, "S": 2, "W": 2, "session": 2, "cold": 3, "count": 1, "cow": 2, "cows": 3,
    "cows_day": 3, "evened": 1, "flows": 1, "g": 1, "items": 2, "loads": 2, "most": 4, "n": 1,
    "num": 1, "out": 3, "par": 1, "plugs": 3, "price": 1, "ring": 2, "rows": 2, "seen": 2,
    "share": 4, "source_c": 1, "vac": 3, "values": 1, "weather": 1,
}  # fmt: skip
"""How many axes the arrays have that kernels are given, by the name of argument or field."""
GROUPS = {group.__name__: group for group in (Tables, Day, State)}

Progress = Callable[[str, float], None]
_lock = threading.Lock()
_helper: subprocess.Popen[bytes] | None = None
_asked = False


def mark() -> Path:
    """The file that says that this version is compiled."""
    return kernel_folder() / f"compiled-{code_hash()}"


def begin() -> None:
    """Start the helper, once, where nothing is compiled yet."""
    global _helper, _asked
    with _lock:
        if _asked:
            return
        _asked = True
        if mark().exists() or not sys.executable or _switched_off():
            return
        home = str(Path(__file__).resolve().parents[2])
        path = os.pathsep.join(p for p in (home, os.environ.get("PYTHONPATH", "")) if p)
        env = {**os.environ, "NUMBA_CACHE_DIR": str(kernel_folder()), "PYTHONPATH": path}
        with contextlib.suppress(OSError):
            _helper = subprocess.Popen(
                [sys.executable, "-m", "byrewright.engine.ahead"], env=env,
                stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            )  # fmt: skip


def finish(tell: Progress | None = None) -> None:
    """Compile every kernel that the loop calls, or read it from disk; the loop itself is left."""
    global _helper
    if mark().exists() or _switched_off():
        return
    with _lock:
        kernels = list(_kernels(ROOMS))
        for i, one in enumerate(kernels):
            if tell is not None:
                tell("compiling", i / len(kernels))
            _compile(one)
        if _helper is not None:
            _helper.terminate()  # all is done: it would only read what it left to this process
            _helper.wait()
            _helper = None
        with contextlib.suppress(OSError):
            mark().touch()


def _switched_off() -> bool:
    import numba

    return bool(numba.config.DISABLE_JIT)  # type: ignore[attr-defined]


def _kernels(rooms: tuple[str, ...]) -> Iterator[Any]:
    """Kernels of some modules, what is called before what calls it; not the loop over all."""
    for room in rooms:
        module = importlib.import_module(f"byrewright.engine.kernels.{room}")
        for one in vars(module).values():
            if one is getattr(module, "run", None):
                continue
            if hasattr(one, "py_func") and one.py_func.__module__ == module.__name__:
                yield one


def _compile(one: Any) -> None:
    if one.signatures:
        return
    import numba

    plain = {"float": numba.float64, "int": numba.int64, "bool": numba.boolean}

    def typed(name: str, kind: str) -> Any:
        if kind in plain:
            return plain[kind]
        if kind in GROUPS:
            group = GROUPS[kind]
            fields = [typed(f, str(group.__annotations__[f])) for f in group._fields]
            return numba.types.NamedTuple(fields, group)  # type: ignore[no-untyped-call]
        item = numba.float64 if "Floats" in kind else numba.int64
        return numba.types.Array(item, AXES[name], "C")

    arguments = inspect.signature(one.py_func).parameters.items()
    one.compile(tuple(typed(name, str(a.annotation)) for name, a in arguments))


if __name__ == "__main__":
    gc.disable()  # short-lived: rings of garbage would be looked for a tenth of its time
    for each in _kernels(ROOMS[::-1]):
        _compile(each)
