"""Asked by every topic: the next size of a list, and a machine's figure as an input."""

from __future__ import annotations

from collections.abc import Sequence

from byrewright.plant.machine import Machine
from byrewright.plant.record import describe
from byrewright.results import Input


def next_of(need: float, sizes: Sequence[float]) -> float:
    """The smallest size at or above `need`; the largest when none is.

    >>> next_of(8.1, (7.5, 11.0))
    11.0
    """
    return float(next((s for s in sorted(sizes) if s >= need * (1 - 1e-9)), max(sizes)))


def field(machine: Machine, name: str, symbol: str = "") -> Input:
    """A figure of the plant file as an input: stated there, or its default and the reason.

    >>> from byrewright.plant.kinds.water import WaterTank
    >>> one = field(WaterTank(id="WT1", volume_l=500), "volume_l", "V")
    >>> one.symbol, one.value, one.unit, one.source
    ('V', 500.0, 'L', 'plant file')
    """
    declared = describe(name, type(machine).model_fields[name])
    value = getattr(machine, name)
    number = isinstance(value, int | float) and not isinstance(value, bool)
    stated = name in machine.model_fields_set
    return Input(
        symbol or name, f"{declared.meaning} ({machine.id})",
        value if number else ("not stated" if value is None else str(value)), declared.unit,
        "plant file" if stated else f"default: {declared.why or 'not stated'}",
    )  # fmt: skip
