"""A mixed tank that fills and is cooled: temperature minute by minute, heat conserved."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from byrewright.physics.errors import check
from byrewright.standards.rulebook import Rulebook, default_rulebook


@dataclass(frozen=True, slots=True)
class TankRun:
    """Content and temperature at the end of each minute, and the heat taken out."""

    content_l: tuple[float, ...]
    temperature_c: tuple[float, ...]
    cooled_kwh: float

    def warmest_c(self) -> float:
        """The warmest the mix became."""
        return max(self.temperature_c)

    def minutes_until(self, limit_c: float) -> int | None:
        """The first minute from which it stays at or below a temperature; nothing if never."""
        last = next(
            (i for i in range(len(self.temperature_c) - 1, -1, -1)
             if self.temperature_c[i] > limit_c + 1e-9),
            -1,
        )  # fmt: skip
        return None if last == len(self.temperature_c) - 1 else last + 1


def fill_and_cool(
    *,
    start_l: float,
    start_c: float,
    inflow_l_min: Callable[[int], float],
    inflow_c: float,
    minutes: int,
    cooling_kw: float,
    set_c: float,
    other_heat_kw: float = 0.0,
    least_content_l: float = 0.0,
    still_kw: Callable[[float], float] | None = None,
    touched: Callable[[float], float] = lambda content_l: 1.0,
    chilled_c: float | None = None,
    rules: Rulebook | None = None,
) -> TankRun:
    """Step a mixed tank by the minute: heat in with the milk and from outside, heat taken out.

    C dT = q rho cp (T_in - T) dt + P dt - Q dt; cooling stops at the set temperature and below
    the content at which the agitator stirs. Q is the rated cooling times the share of the
    evaporator that is touched; where a chilled liquid takes the heat, in proportion to
    T - T_chilled up to the full rating (`tank.jacket_full_k`). Derived (heat balance); no layering.

    Args:
        inflow_l_min: milk flow in a minute counted from 0.
        other_heat_kw: agitator and wall of a full tank, while the agitator reaches the milk.
        still_kw: heat while it does not, from the content in L; None where it is the same.
        least_content_l: content from which cooling works.
        touched: share of the evaporator that milk touches, from the content in L.
        chilled_c: temperature of the chilled liquid; None where refrigerant cools the tank itself.

    >>> run = fill_and_cool(start_l=1000.0, start_c=35.0, inflow_l_min=lambda _: 0.0, inflow_c=35.0,
    ...                     minutes=120, cooling_kw=17.43, set_c=0.5)
    >>> round(run.temperature_c[-1], 1)
    4.0
    """
    rules = rules or default_rulebook()
    check("content at the start", start_l, 0.0, unit="L")
    check("cooling", cooling_kw, 0.0, unit="kW")
    check("minutes", minutes, 1, 100_000)
    per_l = rules.number("milk.density_kg_m3") / 1000.0 * rules.number("milk.cp_kj_kgk")
    full_k = rules.number("tank.jacket_full_k")
    content, temperature, taken = start_l, start_c, 0.0
    capacity, warms, share, stirred = 0.0, 0.0, 0.0, False
    contents, temperatures = [], []
    for minute in range(minutes):
        added = inflow_l_min(minute)
        if added > 0.0 or (minute == 0 and content > 0.0):  # what hangs on the content alone
            temperature = (content * temperature + added * inflow_c) / (content + added)
            content += added
            capacity = content * per_l
            stirred = content >= least_content_l
            warms = other_heat_kw if stirred or still_kw is None else still_kw(content)
            share = touched(content) if stirred else 0.0
        if content > 0.0:
            temperature += 60.0 * warms / capacity
        if stirred and content > 0.0:
            wanted = max(0.0, (temperature - set_c) * capacity)
            part = share
            if chilled_c is not None:
                part *= min(1.0, max(0.0, temperature - chilled_c) / full_k)
            heat = min(60.0 * cooling_kw * part, wanted)
            temperature -= heat / capacity
            taken += heat
        contents.append(content)
        temperatures.append(temperature)
    return TankRun(tuple(contents), tuple(temperatures), taken / 3600.0)


NEAR = 9
"""Times that the most is halved to begin the search near what a tank takes, 10 kW of 5000."""


def least_cooling_kw(holds: Callable[[float], bool], most_kw: float = 5000.0) -> float | None:
    """The least cooling for which a condition holds, to 0.1 %; nothing if `most_kw` does not.

    >>> round(least_cooling_kw(lambda kw: kw >= 12.0), 1)
    12.0
    """
    if not holds(most_kw):
        return None
    low, high = 0.0, most_kw / 2.0**NEAR  # halves of the most, begun near what tanks take
    while high < most_kw and not holds(high):
        low, high = high, 2.0 * high
    while high - low > 0.001 * high + 1e-6:
        mid = (low + high) / 2
        low, high = (low, mid) if holds(mid) else (mid, high)
    return high
