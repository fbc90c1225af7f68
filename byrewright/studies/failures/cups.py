"""How many cups fall when pumps stop: asked of the air network in time, once for each case."""

from __future__ import annotations

from functools import cached_property

from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.failures.flows import WHOLE, leak_l_min, vacuum
from byrewright.studies.failures.structure import Asked
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.vacuum import steady, transient
from byrewright.studies.vacuum.building import network_of
from byrewright.studies.vacuum.network import Network, NoNetwork
from byrewright.studies.vacuum.situations import Lowered, Situation, pumps_running

AFTER_S = 15.0
"""How long the vacuum is followed after the pumps stopped, or are back."""


class Cups:
    """The cups of one plant. Its network is built when first asked."""

    def __init__(self, plant: Plant, rules: Rulebook, duty: Duty) -> None:
        self.plant = plant
        self.rules = rules
        self.units = duty.units_on
        self._known: dict[tuple[tuple[str, ...], float], float] = {}

    @cached_property
    def _network(self) -> tuple[Network, Situation] | None:
        try:
            network = network_of(self.plant, self.rules)
        except NoNetwork:
            return None
        return network, steady.standard_situations(network)["milking"]

    @property
    def looked_at(self) -> bool:
        """Whether the plant has an air network to ask; else no cups are taken to fall while any
        pump runs."""
        return self._network is not None

    def fall(self, asked: Asked, dark_s: float = 0.0) -> float:
        """Cups that fall at once, before people act; pumps are without power for `dark_s`."""
        held, _ = vacuum(asked)
        if not asked.pulse().untouched or leak_l_min(asked, False) >= WHOLE:
            return float(round(self.units))
        if not held.goes_on or any(a.verb not in ("slow", "close") for a in held.acts):
            return float(round(self.units))
        if self._network is None:
            return float(round(self.units)) if dark_s else 0.0
        network, milking = self._network
        lost: list[str] = []
        for pump in asked.s.pumps:
            mine = [p.name for p in network.pumps if p.machine.id == pump.id]
            if asked.runs(pump.id) != () or dark_s:
                lost += mine
            else:
                lost += mine[: int(asked.w.lost.get(pump.id, 0.0) * len(mine) + 0.5)]
        if not set(lost) & set(pumps_running(network, milking.mode)):
            return 0.0
        key = (tuple(lost), dark_s)
        if key not in self._known:
            self._known[key] = self._march(network, milking, lost, dark_s)
        return self._known[key]

    def _march(self, network: Network, milking: Situation, lost: list[str], dark_s: float) -> float:
        names = [p.name for p in network.pumps]
        running = pumps_running(network, milking.mode)
        ready = [n for n in names if n not in lost and n not in running]
        later = dark_s or self.rules.number("vacuum.standby_delay_s")

        def rows(network: Network, lowered: Lowered) -> list[transient.Row]:
            from byrewright.engine.airmarch import ON_PUMP

            begin = transient.BEFORE_S
            stop = [(begin, ON_PUMP, names.index(n), 0.0) for n in lost if n in running]
            back = lost if dark_s else ready
            return stop + [(begin + later, ON_PUMP, names.index(n), 1.0) for n in back]

        event = transient.Event("lost", "pumps stop", later + AFTER_S, rows, running=running)
        try:
            return float(round(transient.march(network, event, milking).units_falling))
        except steady.NotSolved:
            return float(round(self.units))

    def again_s(self, fallen: float) -> float:
        """Seconds until fallen cups are rinsed and on again."""
        people = max((m.operators for m in self.plant.milkings), default=1)
        return fallen * self.rules.number("failures.cup_again_s") / max(people, 1)
