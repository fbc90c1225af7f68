"""The plant's own air network as data: nodes, segments, pumps, units and where they sit."""

from __future__ import annotations

from dataclasses import dataclass, replace

from byrewright.physics.airflow import (
    air_density_kg_m3,
)
from byrewright.plant.graph import Edge
from byrewright.plant.plant import Pipe, Plant
from byrewright.plant.roles import PumpsVacuum, RegulatesVacuum
from byrewright.standards.rulebook import Rulebook


@dataclass(frozen=True, slots=True)
class PipeSegment:
    """A way for air between two nodes: a pipe, a piece of a line, or a way inside a machine."""

    name: str
    what: str
    a: int
    b: int
    bore_mm: float
    length_m: float
    equivalent_m: float
    loss: float
    rough_mm: float
    pipe: Pipe | None = None
    machine: str | None = None
    one_way: bool = False
    open_in: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PumpPlace:
    """A vacuum pump at its node. `displacement` in L/min, `slip` as in `physics.airflow`."""

    machine: PumpsVacuum
    name: str
    node: int
    displacement: float
    slip: float
    efficiency: float
    rated_l_min_free: float


@dataclass(frozen=True, slots=True)
class Network:
    """The air network: nodes with names and volumes, segments, and where things sit."""

    plant: Plant
    rules: Rulebook
    ambient_kpa_abs: float
    temperature_c: float
    nodes: tuple[str, ...]
    volumes_l: tuple[float, ...]
    segments: tuple[PipeSegment, ...]
    units_at: tuple[tuple[int, float], ...]
    pulses_at: tuple[tuple[int, float], ...]
    pumps: tuple[PumpPlace, ...]
    regulators: tuple[tuple[RegulatesVacuum, int], ...]
    receivers: tuple[int, ...]
    body: int
    sense: int
    set_vacuum_kpa: float
    fill: float
    edges: tuple[Edge, ...]
    left_out: tuple[str, ...] = ()

    @property
    def units(self) -> float:
        """Milking units on the network."""
        return sum(n for _, n in self.units_at)

    @property
    def milk_point(self) -> int:
        """Node of Vm and A1: the first receiver, or where vacuum is sensed when there is none."""
        return self.receivers[0] if self.receivers else self.sense

    @property
    def regulation_point(self) -> int:
        """Node of Vr: a working regulator's connection, or where speed control senses."""
        working = [node for machine, node in self.regulators if machine.usual() == "works"]
        return working[0] if working else self.sense

    @property
    def varies(self) -> bool:
        """Whether any pump follows the load by its speed."""
        return any(p.machine.speed == "variable" for p in self.pumps)

    def kg_s(self, l_min_free: float) -> float:
        """Mass flow of a flow of free air."""
        density = air_density_kg_m3(self.ambient_kpa_abs, self.temperature_c)
        return l_min_free / 60_000.0 * density

    def l_min_free(self, kg_s: float) -> float:
        """Free air of a mass flow."""
        return kg_s / self.kg_s(1.0)

    def without_fitting(self, name: str, fitting: str) -> Network:
        """The same network with one fitting of a pipe taken out."""
        each = self.rules.number(f"fitting.{fitting}_diameters") / 1000.0
        return replace(
            self,
            segments=tuple(
                replace(s, equivalent_m=s.equivalent_m - each * s.bore_mm) if s.name == name else s
                for s in self.segments
            ),
        )

    def without_loss(self, name: str) -> Network:
        """The same network with the loss inside one machine taken out."""
        return replace(
            self,
            segments=tuple(
                replace(s, loss=1e-3) if s.name == name and s.what == "fitting" else s
                for s in self.segments
            ),
        )


class NoNetwork(Exception):
    """The plant has no air network to solve; the text says what is missing."""
