"""The day's kernels as the plain Python they are written in, on a state made by hand.

A law is so asked in milliseconds; that the compiled ones do the same is asked by the day itself.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import cache
from types import FunctionType, SimpleNamespace
from typing import Any

from byrewright.engine import shape as sh
from byrewright.engine.compiled import Compiled, compile_plant
from tests import plants

NEAR = 1e-9  # sums in another order
DT = 2.0  # s a step: what a second gives and what a step gives are not the same number
CP = 4.0  # kJ/(kg K) of whatever is in a vessel here
_spaces: dict[str, dict[str, Any]] = {}


def _space(name: str) -> dict[str, Any]:
    """The names of a module, with plain functions where it has compiled ones."""
    if name not in _spaces:
        space = _spaces[name] = dict(vars(sys.modules[name]))
        for key, one in list(space.items()):
            if hasattr(one, "py_func"):
                space[key] = _plain(one)
    return _spaces[name]


def _plain(one: Any) -> Any:
    code = one.py_func
    return FunctionType(code.__code__, _space(code.__module__), code.__name__, code.__defaults__)


def plain(one: Any) -> Callable[..., Any]:
    """A kernel as it is written, also where compiling is switched off."""
    if not hasattr(one, "py_func"):
        return one  # type: ignore[no-any-return]
    found: Callable[..., Any] = _space(one.py_func.__module__)[one.py_func.__name__]
    return found


@cache
def compiled() -> Compiled:
    """A rotary with everything on it."""
    return compile_plant(plants.rotary(12, 60, groups=2))


def arrays() -> SimpleNamespace:
    """Its arrays, to be changed at will."""
    T, state = compiled().tables, compiled().start.copy()
    T = sh.Tables(*(a.copy() for a in T))
    return SimpleNamespace(
        T=T, state=state, F=T.F, I=T.I, par=T.par, num=T.num, S=state.items, g=state.g, n=state.n,
        plugs=state.plugs,
    )  # fmt: skip


def stepped() -> SimpleNamespace:
    """The same with a step of `DT` and liquids of `CP`."""
    found = arrays()
    found.par[sh.PAR_DT] = DT
    found.par[sh.PAR_CP : sh.PAR_CP + sh.SUBSTANCES] = CP
    return found


def empty() -> SimpleNamespace:
    """The same with nothing in any vessel."""
    found = stepped()
    found.S[found.T.rows("vessels"), : sh.HEAT + 1] = 0.0
    return found


def row(at: SimpleNamespace, section: str, place: int = 0) -> int:
    """A row of a section; the test asks of a plant that has it."""
    rows = at.T.rows(section)
    assert rows.stop > rows.start + place, section
    return int(rows.start) + place
