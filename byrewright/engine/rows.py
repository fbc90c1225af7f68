"""The plant as rows, between its primitives and the arrays of the kernels."""

from __future__ import annotations

from dataclasses import dataclass, field

from byrewright.engine.shape import STORE
from byrewright.errors import ByrewrightError
from byrewright.plant.primitives import Batch, Chill, Cooled, Filter, Heated, Recovers, Vessel

MILKING, WASHING, RINSING, DRAINING, IDLE = "milking", "wash", "rinse", "drain_down", "idle"
COWS, DRAIN, SOLD, FED, DUMPED, LOST = (
    "(cows)", "(drain)", "(sold)", "(fed)", "(dumped)", "(lost)",
)  # fmt: skip
"""Vessels that stand for the world outside: where milk comes from and where all goes."""


class DoesNotCompile(ByrewrightError):
    """A plant the engine refuses; the text is one sentence that names the part and what to do."""


def levels_l(vessel: Vessel | None, volume_l: float) -> tuple[float, float, float, float]:
    """Levels of a vessel that lead a pump: it is held at, the pump stops at, starts at, and runs
    full at, L. What is not stated follows from the first."""
    held = vessel.led_at_l if vessel and vessel.led_at_l else 0.35 * volume_l
    stop = vessel.stop_at_l if vessel and vessel.stop_at_l else 0.25 * held
    start = vessel.start_at_l if vessel and vessel.start_at_l else 0.6 * held
    return held, stop, start, min(2.0 * held, 0.9 * volume_l)


@dataclass(slots=True)
class VesselRow:
    """A vessel as the kernel has it."""

    id: str
    cap_kg: float
    role: int = STORE
    substance: int = 0
    ua: float = 0.0
    wall: str = ""
    washed: bool = False
    ice_kj: float = 0.0
    c: float = 0.0
    t0: float = 4.0
    spill: str = ""
    empties: str = ""
    fill: bool = False
    start_kg: float = 0.0
    start_c: float = 0.0
    litres: float = 0.0
    kg_l: float = 1.0
    hot_c: float = 0.0


@dataclass(slots=True)
class Branch:
    """One branch of a transfer: where it leads, through which exchangers and filter.

    `ways` is its flow by state of the valves and set of pumps that run, at full speed; `slow` the
    same where the pumps give each share of `columns.SLOWED`; `line` whether it goes through the
    line of its pumps.
    """

    dst: str
    exchangers: tuple[str, ...] = ()
    filter: str = ""
    ways: dict[tuple[int, int], float] = field(default_factory=dict)
    passes: tuple[str, ...] = ()
    line: bool = False
    slow: dict[tuple[int, int], list[float]] = field(default_factory=dict)


@dataclass(slots=True)
class TransferRow:
    """A transfer as the kernel has it, with its branches."""

    id: str
    machine: str
    src: str
    law: int
    most_kg_s: float
    led: str = ""
    full: float = 0.0
    start: float = 0.0
    stop: float = 0.0
    floor: float = 0.0
    kw: float = 0.0
    tau: float = 1.0
    steps: float = 1.0
    exchanger: str = ""
    bank: int = 0
    cmd: float = 1.0
    leader: str = ""
    bit: int = -2
    most: dict[tuple[int, int], float] = field(default_factory=dict)
    part: dict[tuple[int, int], float] = field(default_factory=dict)
    lift: dict[tuple[int, int], float] = field(default_factory=dict)
    branches: dict[tuple[str, tuple[str, ...], str], Branch] = field(default_factory=dict)


@dataclass(slots=True)
class ExchangerRow:
    """An exchanger as the kernel has it."""

    id: str
    machine: str
    ua: float
    ratio: float
    cold: str = ""
    chilled: int = -1


@dataclass(slots=True)
class Trough:
    """A wash vessel, the transfers that fill it (hot ones with their share), and its drain."""

    vessel: str
    share: float
    hot: list[tuple[str, float]]
    cold: str
    """Recovered water for the first rinse, where there is any."""
    clean: str
    """Water as it comes, for every other step."""
    drain: str


@dataclass(slots=True)
class LineRow:
    """A line of milk from a group of pumps on: what it holds, and what stays after a wash."""

    pipes: tuple[str, ...]
    cap_kg: float
    stays_kg: float


@dataclass(slots=True)
class Lowered:
    """The plant as rows, before it becomes arrays."""

    vessels: dict[str, VesselRow] = field(default_factory=dict)
    transfers: list[TransferRow] = field(default_factory=list)
    exchangers: list[ExchangerRow] = field(default_factory=list)
    filters: list[tuple[str, Filter]] = field(default_factory=list)
    chillers: list[tuple[str, Chill, str]] = field(default_factory=list)
    cooled: list[tuple[str, Cooled, int]] = field(default_factory=list)
    recoveries: list[tuple[str, Recovers]] = field(default_factory=list)
    heated: list[tuple[str, Heated]] = field(default_factory=list)
    laundry: list[tuple[str, Batch, str]] = field(default_factory=list)
    places: list[str] = field(default_factory=list)
    loading: dict[str, str] = field(default_factory=dict)
    calf: str = ""
    tanker: str = ""
    troughs: list[Trough] = field(default_factory=list)
    lines: dict[str, LineRow] = field(default_factory=dict)
    """By the first transfer of the group that fills it."""
    chilled: list[tuple[str, str, tuple[str, ...]]] = field(default_factory=list)
    cold: dict[tuple[int, int], tuple[dict[str, float], float]] = field(default_factory=dict)
    filter_loss: dict[str, list[float]] = field(default_factory=dict)
    running: int = 1
    withheld_apart: bool = True
    withheld_stays: bool = True
    notes: list[str] = field(default_factory=list)
    states: int = 0
