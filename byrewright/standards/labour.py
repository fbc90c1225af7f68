"""Operators: seconds a cow for each task of the routine."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.standards.model import Known, Value

VALUES: tuple[Value, ...] = (
    Value("labour.task_spread_s", 2.0, "s", "normal spread of a task time, either way",
          "armstrong", "read", "typical", least=0.0),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Task:
    """One task of a routine: seconds a cow in a parlour of fixed stalls."""

    key: str
    title: str
    parallel_s: float
    herringbone_s: float
    source: str = "armstrong"
    known: Known = "read"


TASKS: tuple[Task, ...] = (
    Task("enter", "enter", 4, 5),
    Task("pre_spray", "spray teats before milking", 4, 5),
    Task("pre_dip", "dip teats before milking", 5, 6),
    Task("wipe", "wipe teats", 6, 7),
    Task("prime", "prime", 5, 5),
    Task("fore_strip", "strip fore-milk", 8, 8),
    Task("attach", "attach", 10, 10),
    Task("re_attach", "attach again", 1.5, 1.5),
    Task("post_spray", "spray teats after milking", 3, 4),
    Task("post_dip", "dip teats after milking", 4, 5),
    Task("exit", "leave (rapid exit)", 2, 2),
)
"""Task times; not rotary figures for entering and leaving."""

ROTARY_EXAMPLE: tuple[tuple[str, float], ...] = (
    ("clean dirty teats", 1.0),
    ("attach", 6.0),
    ("activate remover", 1.0),
    ("other", 1.0),
    ("idle", 1.0),
)
"""Rotary routine, s a cow (nz_levy, read): 10 s in all, 54 stalls, 9 min turn."""
