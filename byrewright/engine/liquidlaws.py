"""From pipes and machines to the elements of the liquid network, with the fluid that flows."""

from __future__ import annotations

import math
from dataclasses import dataclass

from byrewright.engine.liquidnet import CENTRIFUGAL, ONE_WAY, PARAMETERS, PIPE, POWER
from byrewright.physics.air import equivalent_length_m
from byrewright.physics.constants import GRAVITY_M_S2
from byrewright.physics.coolant import Coolant, drop_share
from byrewright.physics.milk import milk_viscosity_mpa_s
from byrewright.physics.wash_heat import saturation_kpa
from byrewright.plant.plant import Pipe
from byrewright.plant.primitives import Figure, Loss, Pump
from byrewright.standards.rulebook import Rulebook

L_MIN = 1.0 / 60_000
"""One litre a minute, m3/s."""

Element = tuple[int, list[float]]
"""Law and parameters of an element."""

DIRT = ("filter.drop_clean_kpa", "filter.drop_half_kpa", "filter.drop_full_kpa")
"""Rules of a filter's drop: clean, half used, due for a change."""
HOT_C = 60.0
"""Wash as it goes round, in the middle of its cooling (common practice, no source)."""
NO_SOCK = -1.0
"""Dirt of a filter whose sock is out."""


@dataclass(frozen=True, slots=True)
class Fluid:
    """A liquid as it flows: density, viscosity, and the pressure at which it boils."""

    name: str
    density_kg_m3: float
    viscosity_mpa_s: float
    boils_kpa_abs: float

    def head_m(self, kpa: float) -> float:
        """The height of this liquid that stands for a pressure."""
        return kpa * 1000 / (self.density_kg_m3 * GRAVITY_M_S2)

    def kpa(self, head_m: float) -> float:
        """The pressure of a height of this liquid."""
        return head_m * self.density_kg_m3 * GRAVITY_M_S2 / 1000


def fluids(rules: Rulebook, chilled: Coolant) -> dict[str, Fluid]:
    """The liquids of a plant: milk as it leaves the cow's side, water, hot wash, chilled liquid."""
    warm = rules.number("milk.at_receiver_c")
    return {
        "milk": Fluid("milk", rules.number("milk.density_kg_m3"),
                      milk_viscosity_mpa_s(warm, extrapolate=True), saturation_kpa(warm)),
        "water": Fluid("water", rules.number("water.density_kg_m3"), 1.3, saturation_kpa(10.0)),
        "wash": Fluid("wash", rules.number("water.density_kg_m3"), 0.65, saturation_kpa(HOT_C)),
        "coolant": Fluid("coolant", chilled.density_kg_m3, chilled.viscosity_mpa_s,
                         saturation_kpa(4.0)),
    }  # fmt: skip


class Laws:
    """The laws of elements under one rulebook."""

    def __init__(self, rules: Rulebook, chilled: Coolant) -> None:
        self.rules = rules
        self.chilled = chilled
        self.rough_mm = rules.number("pipe.roughness_stainless_mm")

    def figure(self, what: Figure) -> float:
        """A number, or the rule's of that key."""
        return self.rules.number(what) if isinstance(what, str) else what

    def pipe(self, pipe: Pipe, fluid: Fluid, many: int = 1) -> Element:
        """Friction of a full pipe with its fittings as equivalent length, or of many alike."""
        bore = pipe.bore_mm / 1000
        length = equivalent_length_m(pipe.bore_mm, pipe.length_m, pipe.fittings, self.rules)
        number = 4000 * fluid.density_kg_m3 / (math.pi * bore * fluid.viscosity_mpa_s)
        return PIPE, [
            8 / (math.pi**2 * GRAVITY_M_S2 * bore**4) / many**2, length / bore,
            self.rough_mm / pipe.bore_mm, number / many, 0.0,
        ]  # fmt: skip

    def heads(self, k: float, bore_mm: float) -> Element:
        """A loss in velocity heads."""
        return PIPE, [
            8 / (math.pi**2 * GRAVITY_M_S2 * (bore_mm / 1000) ** 4), 0.0, 0.0, 1.0, k,
        ]  # fmt: skip

    def machine(self, loss: Loss, fluid: Fluid, bore_mm: float, dirt: float,
                half: bool) -> list[Element]:  # fmt: skip
        """What a machine's way loses."""
        found: list[Element] = []
        bore = loss.bore_mm or bore_mm
        k = self.figure(loss.half_k if half else loss.k)
        if loss.opens_kpa is not None:
            opens = fluid.head_m(self.figure(loss.opens_kpa))
            r = 8 * k / (math.pi**2 * GRAVITY_M_S2 * (bore / 1000) ** 4)
            return [(ONE_WAY, [opens, r])]
        if k > 0:
            found.append(self.heads(k, bore))
        kpa = self.sock_kpa(dirt) if loss.sock else self.figure(loss.drop_kpa)
        if fluid.name == "coolant":
            kpa *= drop_share(self.chilled)
        at = self.rated_l_min(loss)
        if kpa > 0 and at > 0:
            n = self.figure(loss.exponent)
            found.append((POWER, [fluid.head_m(kpa) / (at * L_MIN) ** n, n]))
        return found

    def rated_l_min(self, loss: Loss) -> float:
        """The flow at which a machine's drop is told."""
        if loss.at_kw > 0:
            return 60 * loss.at_kw / (self.chilled.kj_l_k * self.rules.number("coolant.rise_k"))
        at = self.figure(loss.at_l_min) * loss.times
        return at / self.rules.number(loss.per) if loss.per else at

    def sock_kpa(self, dirt: float) -> float:
        """A filter's drop at its usual flow: dirt 0 clean, 0.5 half used, 1 due; below 0 none."""
        if dirt < 0:
            return self.rules.number("filter.drop_empty_kpa")
        clean, half, full = (self.rules.number(key) for key in DIRT)
        if dirt <= 0.5:
            return clean + 2 * dirt * (half - clean)
        return half + (2 * dirt - 1) * (full - half)

    def pump(self, pump: Pump, speed: float) -> Element:
        """A centrifugal pump's curve through shut-off, rated and run-out point."""
        assert pump.head_m is not None
        n = self.rules.number
        q1, h1 = pump.flow_l_min * L_MIN, pump.head_m
        h0, h2 = n("pump.shut_off_ratio") * h1, n("pump.run_out_head_ratio") * h1
        q2 = n("pump.run_out_flow_ratio") * q1
        b = math.log((h0 - h2) / (h0 - h1)) / math.log(q2 / q1)
        return CENTRIFUGAL, [h0, (h0 - h1) / q1**b, b, speed]

    def stopped(self, pump: Pump) -> Element:
        """A pump that stands and can be pushed through."""
        head = (pump.head_m or 1.0) * self.rules.number("pump.stopped_share")
        return POWER, [head / (pump.flow_l_min * L_MIN) ** 2, 2.0]


def padded(row: list[float]) -> list[float]:
    """Parameters filled up to the width of the array."""
    return (row + [0.0] * PARAMETERS)[:PARAMETERS]
