"""Everything solved of one plant, from which findings, readings and tables are written."""

from __future__ import annotations

from dataclasses import dataclass, replace

from byrewright.studies.vacuum.milkline import LineAnswer
from byrewright.studies.vacuum.network import Network
from byrewright.studies.vacuum.sensitivity import Effect, FittingEffect
from byrewright.studies.vacuum.steady import Steady, solve
from byrewright.studies.vacuum.transient import Run, Tuned


@dataclass(frozen=True, slots=True)
class Case:
    """A plant's network and its answers. `running` names the pumps of the milking mode."""

    network: Network
    running: tuple[str, ...]
    states: dict[str, Steady]
    reserve: Steady
    manual: Steady
    reserve_alone: Steady | None
    effects: list[Effect]
    fittings: list[FittingEffect]
    runs: dict[str, Run]
    tuned: list[Tuned]
    tuned_with: tuple[str, ...]
    lines: tuple[LineAnswer, ...]

    @property
    def milking(self) -> Steady:
        """All units milking."""
        return self.states["milking"]

    def flat_out(self, state: Steady) -> float:
        """What the pumps of a state would draw at full speed at its vacuum, L/min free."""
        held = tuple(
            (p.node, state.at(p.node))
            for p in self.network.pumps
            if p.name in {q.name for q in state.pumps if q.speed > 0.0}
        )
        situation = replace(state.situation, held=held, speed_held=1.0)
        return solve(self.network, situation).pump_flow_l_min_free
