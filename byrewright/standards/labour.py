"""Operators: how the times of their tasks spread."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("labour.task_spread_s", 2.0, "s", "normal spread of a task time, either way",
          "armstrong", "read", "typical", least=0.0),
)  # fmt: skip
