"""Kernels as Python calls them: compiled for the types of a call, and kept on disk."""

from __future__ import annotations

import ctypes
import hashlib
import itertools
import os
import sys
import threading
from collections.abc import Callable
from functools import cache, update_wrapper
from pathlib import Path
from typing import Any, TypeVar, cast

import numpy as np

from byrewright.caches import cache_folder, keep
from byrewright.compiler.values import BOOL, FLOAT, WHOLE, Array, Tuple

F = TypeVar("F", bound=Callable[..., Any])

HERE = Path(__file__).resolve().parent
KERNELS = (
    "compiler",
    "engine/kernels",
    "engine/airnet.py",
    "engine/airmarch.py",
    "engine/liquidnet.py",
    "engine/shape.py",
    "engine/columns.py",
    "place/kernel.py",
    "physics",
)
"""What ends in compiled code."""
LEVEL = 2
"""How far LLVM optimises."""
CHECKED = "BYREWRIGHT_CHECK_INDEX"
"""Variable that makes a kernel stop the program where an index leaves its array."""
MOST = 200  # pieces of machine code that are kept
_loading = threading.Lock()
_others = itertools.count()


@cache
def code_hash(rooms: tuple[str, ...] = KERNELS) -> str:
    """A short hash of sources of this package, and of the versions that compile them."""
    from importlib.metadata import version

    checks = os.environ.get(CHECKED, "")
    versions = f"{sys.version}{version('llvmlite')}{np.__version__}{checks}"
    digest = hashlib.sha256(versions.encode())
    for room in rooms:
        place = HERE.parent / room
        for path in [place] if place.is_file() else sorted(place.rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _hashed(function: Any) -> bool:
    """Whether a change in a kernel's source changes `code_hash`: another is not kept on disk."""
    source = Path(function.__code__.co_filename).resolve()
    return any(source.is_relative_to(HERE.parent / room) for room in KERNELS)


def kernel_folder() -> Path:
    """Where the machine code of this version is kept."""
    return cache_folder(f"kernels-{code_hash()}")


class _Machine:
    """This computer's processor, and what is loaded for it."""

    def __init__(self) -> None:
        import llvmlite.binding as llvm

        self.llvm = llvm
        llvm.initialize_native_target()
        llvm.initialize_native_asmprinter()
        self.cpu, self.features = llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten()
        self.target = llvm.Target.from_default_triple().create_target_machine(
            cpu=self.cpu, features=self.features, opt=LEVEL, codemodel="jitdefault", jit=True
        )
        self.engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), self.target)

    def compile(self, text: str) -> bytes:
        """Machine code of some assembly."""
        llvm = self.llvm
        module = llvm.parse_assembly(text)
        module.verify()
        options = llvm.create_pipeline_tuning_options(speed_level=LEVEL)
        builder = llvm.create_pass_builder(self.target, options)
        builder.getModulePassManager().run(module, builder)
        return bytes(self.target.emit_object(module))

    def load(self, code: bytes, name: str) -> int:
        """Where a function of some machine code begins."""
        with _loading:
            self.engine.add_object_file(self.llvm.ObjectFileRef.from_data(code))
            self.engine.finalize_object()
            return int(self.engine.get_function_address(name))


@cache
def _made() -> _Machine:
    return _Machine()


def _machine() -> _Machine:
    with _loading:
        return _made()


class _Entry:
    """A kernel compiled for the types of a call."""

    def __init__(self, kernel: Kernel, key: tuple[Any, ...]) -> None:
        self.name = kernel.py_func.__name__
        machine = _machine()
        spelled = repr((LEVEL, machine.cpu, machine.features, [_spelled(k) for k in key]))
        digest = hashlib.sha256(spelled.encode()).hexdigest()[:12]
        function = kernel.py_func
        symbol = f"{function.__module__}.{function.__name__}.{digest}"
        if not _hashed(function):
            symbol += f".{next(_others)}"
        path = kernel_folder() / f"{symbol}.code"
        code = _read(path) if _hashed(function) else None
        if code is None:
            from byrewright.compiler import door, translate

            unit = translate.Unit(checked=bool(os.environ.get(CHECKED)))
            types = tuple(_type(k) for k in key)
            made = unit.function(function, types)
            gives = _letters(made.gives)
            opened = door.door(symbol, types, made.name, made.gives)
            text = "\n".join([unit.text(), opened, translate.TAIL])
            code = gives.encode().ljust(16) + machine.compile(text)
            if _hashed(function):
                keep(path, code, MOST)
        self.gives = code[:16].decode().strip()
        place = machine.load(code[16:], symbol)
        kinds = [k for one in key for k in _handed(one)]
        self.out = ctypes.c_double * max(1, len(self.gives.strip("()")))
        self.call = ctypes.CFUNCTYPE(ctypes.c_int, *kinds, ctypes.c_void_p)(place)

    def answer(self, out: Any) -> Any:
        """What the kernel gave."""
        each = []
        for i, letter in enumerate(self.gives.strip("()")):
            if letter == "d":
                each.append(out[i])
                continue
            one = ctypes.c_longlong.from_buffer(out, 8 * i).value
            each.append(bool(one) if letter == "b" else one)
        if self.gives.startswith("("):
            return tuple(each)
        return each[0] if each else None


def _read(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


_LETTERS = {"double": "d", "i64": "l", "i1": "b", "void": ""}


def _letters(gives: Any) -> str:
    if isinstance(gives, str):
        return _LETTERS[gives]
    return f"({''.join(_LETTERS[t] for t in gives.types)})"


_ITEMS = {np.dtype(np.float64): FLOAT, np.dtype(np.int64): WHOLE, np.dtype(np.bool_): "i8"}


def _key(one: Any, flat: list[Any], wants_float: bool = False) -> Any:
    """The type of an argument as a key, and the argument as it is handed over."""
    if isinstance(one, np.ndarray):
        flat.append(id(one))
        return one.dtype, one.ndim
    if isinstance(one, bool | np.bool_):
        flat.append(int(one))
        return "b"
    if isinstance(one, int | np.integer) and not wants_float:
        flat.append(int(one))
        return "l"
    if isinstance(one, tuple):
        if hasattr(one, "_fields"):
            return (type(one), *[_key(v, flat) for v in one])
        return (tuple, *[_key(v, flat) for v in one])
    flat.append(float(one))
    return "d"


def _spelled(key: Any) -> str:
    if isinstance(key, str):
        return key
    if isinstance(key[0], type):
        return f"{key[0].__name__}({','.join(map(_spelled, key[1:]))})"
    return f"{key[0].str}{key[1]}"


def _type(key: Any) -> Any:
    if isinstance(key, str):
        return {"d": FLOAT, "l": WHOLE, "b": BOOL}[key]
    if isinstance(key[0], type):
        names = getattr(key[0], "_fields", ())
        return Tuple(tuple(_type(k) for k in key[1:]), names)
    if key[0] not in _ITEMS:
        raise TypeError(f"no kernel takes an array of {key[0]}")
    return Array(_ITEMS[key[0]], key[1])


def _handed(key: Any) -> list[Any]:
    if isinstance(key, str):
        return [ctypes.c_double if key == "d" else ctypes.c_longlong]
    if isinstance(key[0], type):
        return [one for k in key[1:] for one in _handed(k)]
    return [ctypes.c_void_p]


class Kernel:
    """A function compiled on first call. Other threads run while it does."""

    def __init__(self, function: Any) -> None:
        update_wrapper(self, function)
        self.py_func = function
        said = list(function.__annotations__.values())
        self.floats = [one in ("float", float) for one in said]
        self.entries: dict[tuple[Any, ...], _Entry] = {}
        self.lock = threading.Lock()

    def __call__(self, *args: Any) -> Any:
        """Run it."""
        flat: list[Any] = []
        entry = self._entry(args, flat)
        out = entry.out()
        wrong = entry.call(*flat, out)
        if wrong:
            raise TypeError(f"{entry.name}: array {wrong} of its arguments is not in C order")
        return entry.answer(out)

    def ahead(self, *args: Any) -> None:
        """Compile it for arguments like these in a thread of its own."""
        threading.Thread(target=self._entry, args=(args, []), daemon=True).start()

    def _entry(self, args: tuple[Any, ...], flat: list[Any]) -> _Entry:
        said = zip(args, self.floats, strict=False)
        key = tuple([_key(one, flat, floats) for one, floats in said])
        entry = self.entries.get(key)
        if entry is None:
            with self.lock:
                entry = self.entries.get(key)
                if entry is None:
                    entry = self.entries[key] = _Entry(self, key)
        return entry


def kernel(function: F) -> F:
    """Compile on first call, keep on disk, let other threads run. It may make no arrays."""
    return cast("F", Kernel(function))
