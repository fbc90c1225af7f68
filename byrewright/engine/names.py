"""The compiled plant as a record: arrays, and the names that go with them."""

from __future__ import annotations

from dataclasses import dataclass, field

from byrewright.engine import shape as sh


@dataclass(slots=True)
class Names:
    """What stands behind each row of the arrays."""

    vessels: list[str] = field(default_factory=list)
    transfers: list[str] = field(default_factory=list)
    transfer_machines: list[str] = field(default_factory=list)
    branches: list[str] = field(default_factory=list)
    exchangers: list[str] = field(default_factory=list)
    filters: list[str] = field(default_factory=list)
    chillers: list[str] = field(default_factory=list)
    cooled: list[str] = field(default_factory=list)
    heated: list[str] = field(default_factory=list)
    laundry: list[str] = field(default_factory=list)
    pumps: list[str] = field(default_factory=list)
    compressors: list[str] = field(default_factory=list)
    meters: list[str] = field(default_factory=list)
    places: list[str] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    troughs: list[str] = field(default_factory=list)
    lines: list[list[str]] = field(default_factory=list)
    """Of each line its pipes."""
    deck: str = ""
    drive: str = ""
    gate: str = ""
    tanker: str = ""
    calf: str = ""
    air: str = ""


@dataclass(slots=True)
class Compiled:
    """A plant ready to be stepped: arrays, names, the state at the start, and what is noted."""

    tables: sh.Tables
    start: sh.State
    names: Names
    step_s: float
    milkings: int
    cows: int
    origin_s: float
    removal: tuple[float, float, float]
    pace_s: float
    litres: dict[str, float]
    kg_l: dict[str, float]
    notes: list[str]
    vacuum_known: str
    withheld_apart: bool
    variants: list[dict[str, str]]
    milk_kg_l: float
    key: str = ""

    def vessel(self, tag: str) -> int:
        """The row of a vessel."""
        return self.names.vessels.index(tag)
