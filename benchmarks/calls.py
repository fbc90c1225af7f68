"""Which functions of byrewright each test calls: a plugin of pytest for bench_mutation.py.

`pytest -p benchmarks.calls` writes to the file that the variable CALLS_TO names, by test: seconds,
and what it called, as `path:first line` for a function and `rule:key` for a rule that was read.
Compiled functions are not seen.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from collections.abc import Generator
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

import pytest

from byrewright.standards.rulebook import Rulebook

ROOT = f"{Path.cwd()}{os.sep}"
PACKAGE = f"{ROOT}byrewright{os.sep}"
codes: set[CodeType] = set()
rules: set[str] = set()
found: dict[str, tuple[float, list[str]]] = {}


def _called(frame: FrameType, _event: str, _what: Any) -> None:
    codes.add(frame.f_code)


def _read(book: Rulebook, key: str, look: Any = Rulebook.__getitem__) -> Any:
    rules.add(f"rule:{key}")
    return look(book, key)


Rulebook.__getitem__ = _read  # type: ignore[method-assign, assignment]


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Generator[None, object, object]:
    """Follow one test with its fixtures."""
    codes.clear()
    rules.clear()
    begun = time.perf_counter()
    threading.settrace(_called)
    sys.settrace(_called)
    try:
        return (yield)
    finally:
        sys.settrace(None)
        threading.settrace(None)  # type: ignore[arg-type]
        mine = {c for c in codes if c.co_filename.startswith(PACKAGE)}
        names = {f"{c.co_filename.removeprefix(ROOT)}:{c.co_firstlineno}" for c in mine}
        found[item.nodeid] = (time.perf_counter() - begun, sorted(names | rules))


def pytest_sessionfinish() -> None:
    """Write what was found."""
    Path(os.environ["CALLS_TO"]).write_text(json.dumps(found), encoding="utf-8")
