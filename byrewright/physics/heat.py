"""Heat exchangers, tanks and heaters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from byrewright.physics.errors import PhysicsRangeError, check
from byrewright.standards.rulebook import Rulebook, default_rulebook

DAYS_TO_SETTLE, SETTLED_K = 60, 0.01
"""Most days until a store finds itself as the day before left it, and how near that is."""
_EQUAL = 1e-9
"""Below this difference of capacity ratio from one the limit form is used."""


def effectiveness_counterflow(ntu: float, cr: float) -> float:
    """e = (1 - exp(-N(1-Cr))) / (1 - Cr exp(-N(1-Cr))); Cr = 1: N/(1+N).

    NTU 0 or more, Cr 0-1. Source: Kays and London (read).

    >>> round(effectiveness_counterflow(2.0, 0.46897), 5)
    0.78087
    """
    check("NTU", ntu, 0.0)
    check("capacity ratio", cr, 0.0, 1.0)
    return counterflow(ntu, cr)


def counterflow(ntu: float, cr: float) -> float:
    """The same without the range check, in a form that kernels can compile."""
    if 1.0 - cr < _EQUAL:
        return ntu / (1.0 + ntu)
    fall = -math.expm1(-ntu * (1.0 - cr))
    return fall / (1.0 - cr + cr * fall)


def ntu_counterflow(effectiveness: float, cr: float) -> float:
    """N = ln((1 - e Cr)/(1 - e)) / (1 - Cr); Cr = 1: e/(1-e). Source: Kays and London (read).

    >>> round(ntu_counterflow(0.9, 0.46897), 4)
    3.3035
    """
    check("effectiveness", effectiveness, 0.0, 1.0 - 1e-12)
    check("capacity ratio", cr, 0.0, 1.0)
    if 1.0 - cr < _EQUAL:
        return effectiveness / (1.0 - effectiveness)
    return math.log1p(effectiveness * (1.0 - cr) / (1.0 - effectiveness)) / (1.0 - cr)


def drawn_from_layers_c(mean_c: float, cold_c: float, hot_c: float, blend: float) -> float:
    """Temperature at which a standing heater gives: hot water lies over the cold that came in.

    With h = (mean - cold)/(hot - cold) the share that is hot: at the hot layer's temperature while
    h >= blend, then cold + (hot - cold) h/blend, as the layers have mixed; blend 0-1 (over 0). A
    heater warmer than its hot layer, or colder than what comes in, counts as mixed. Derived; one
    part in the other, the heat given is the heat lost.

    >>> drawn_from_layers_c(40.0, 10.0, 80.0, 0.15), drawn_from_layers_c(13.0, 10.0, 80.0, 0.15)
    (80.0, 30.0)
    """
    if mean_c >= hot_c or mean_c <= cold_c:
        return mean_c
    share = (mean_c - cold_c) / (hot_c - cold_c)
    return hot_c if share >= blend else cold_c + (hot_c - cold_c) * share / blend


@dataclass(frozen=True, slots=True)
class Exchanger:
    """A counterflow exchanger at one working point."""

    duty_kw: float
    hot_out_c: float
    cold_out_c: float
    effectiveness: float
    ntu: float
    capacity_ratio: float
    ua_kw_k: float


def exchanger(
    hot_kw_k: float, hot_in_c: float, cold_kw_k: float, cold_in_c: float, ua_kw_k: float
) -> Exchanger:
    """A counterflow exchanger of known UA: Q = e Cmin (Th - Tc).

    Args:
        hot_kw_k, cold_kw_k: mass flow times specific heat of each side.

    Source: effectiveness-NTU, Kays and London (read).

    >>> round(exchanger(7.86, 35.0, 16.76, 15.0, 7.86 * 2).hot_out_c, 2)
    19.38
    """
    check("capacity flow of the hot side", hot_kw_k, 0.0, unit="kW/K")
    check("capacity flow of the cold side", cold_kw_k, 0.0, unit="kW/K")
    check("UA", ua_kw_k, 0.0, unit="kW/K")
    least, most = sorted((hot_kw_k, cold_kw_k))
    if least == 0.0:
        return Exchanger(0.0, hot_in_c, cold_in_c, 0.0, 0.0, 0.0, ua_kw_k)
    ntu, cr = ua_kw_k / least, least / most
    effect = effectiveness_counterflow(ntu, cr)
    duty = effect * least * (hot_in_c - cold_in_c)
    return Exchanger(
        duty, hot_in_c - duty / hot_kw_k, cold_in_c + duty / cold_kw_k, effect, ntu, cr, ua_kw_k
    )


def ua_for_hot_out_kw_k(
    hot_kw_k: float, hot_in_c: float, cold_kw_k: float, cold_in_c: float, hot_out_c: float
) -> float:
    """UA of a counterflow exchanger that brings the hot side to a temperature.

    Raises:
        PhysicsRangeError: no size of exchanger can do it with that cold flow.

    >>> round(ua_for_hot_out_kw_k(7.86, 35.0, 16.76, 15.0, 17.0), 2)
    25.97
    """
    check("capacity flow of the hot side", hot_kw_k, 0.0, unit="kW/K", above=True)
    check("capacity flow of the cold side", cold_kw_k, 0.0, unit="kW/K", above=True)
    check("hot inlet", hot_in_c, cold_in_c, unit="degC", above=True)
    check("hot outlet", hot_out_c, cold_in_c, hot_in_c, "degC")
    least, most = sorted((hot_kw_k, cold_kw_k))
    effect = hot_kw_k * (hot_in_c - hot_out_c) / (least * (hot_in_c - cold_in_c))
    if effect >= 1.0 - 1e-9:
        coldest = hot_in_c - least / hot_kw_k * (hot_in_c - cold_in_c)
        raise PhysicsRangeError(
            f"the hot side cannot leave at {hot_out_c:g} degC: with this cold flow no exchanger "
            f"brings it below {coldest:.1f} degC"
        )
    return ntu_counterflow(effect, least / most) * least


def area_m2(ua_kw_k: float, u_w_m2k: float) -> float:
    """Heating surface: UA / U.

    >>> round(area_m2(25.97, 3000.0), 2)
    8.66
    """
    check("UA", ua_kw_k, 0.0, unit="kW/K")
    check("U", u_w_m2k, 0.0, unit="W/m2K", above=True)
    return ua_kw_k * 1000.0 / u_w_m2k


def _slowing(x: float) -> float:
    """(1 - exp(-x))/x: how far leaking heat slows a change, 1 where nothing leaks."""
    return -math.expm1(-x) / x if x > 0.0 else 1.0


def cooling_for_pull_down_kw(
    start_c: float,
    end_c: float,
    heat_capacity_kj_k: float,
    hours: float,
    ambient_c: float,
    ua_kw_k: float = 0.0,
    other_heat_kw: float = 0.0,
) -> float:
    """Cooling that brings a mixed tank down in a time: the tank equation solved for Q.

    >>> round(cooling_for_pull_down_kw(35.0, 4.0, 4048.0, 2.0, 20.0), 2)
    17.43
    """
    check("time", hours, 0.0, unit="h", above=True)
    check("end temperature", end_c, -5.0, start_c, "degC")
    check("heat capacity", heat_capacity_kj_k, 0.0, unit="kJ/K", above=True)
    check("UA", ua_kw_k, 0.0, unit="kW/K")
    seconds = 3600.0 * hours
    slowing = _slowing(ua_kw_k * seconds / heat_capacity_kj_k)
    rate = heat_capacity_kj_k * (start_c - end_c) / (seconds * slowing)
    return rate + other_heat_kw + ua_kw_k * (ambient_c - start_c)


def heating_energy_kwh(
    litres: float,
    from_c: float,
    to_c: float,
    efficiency: float = 1.0,
    rules: Rulebook | None = None,
) -> float:
    """Energy to heat water: V 4.19 dT / 3600 / efficiency, 1 kg/L.

    Source: general physics; the worked figure is derived.

    >>> round(heating_energy_kwh(1200.0, 15.0, 85.0), 1)
    97.8
    """
    check("water", litres, 0.0, unit="L")
    check("final temperature", to_c, from_c, 120.0, "degC")
    check("efficiency", efficiency, 0.0, 1.2, above=True)
    rules = rules or default_rulebook()
    mass_kg = litres * rules.number("water.density_kg_m3") / 1000.0
    return mass_kg * rules.number("water.cp_kj_kgk") * (to_c - from_c) / 3600.0 / efficiency


@dataclass(frozen=True, slots=True)
class WarmStore:
    """Water that heat warms step by step, drawn from and filled up cold in the same step."""

    kj_k: float
    """Heat that warms all of it by a kelvin."""
    most_c: float
    in_c: float
    room_c: float
    ua_kw_k: float

    def caught_kwh(self, given_kwh: Sequence[float], drawn_kj_k: Sequence[float],
                   step_h: float = 1.0) -> float:  # fmt: skip
        """Heat that it takes on a day that repeats itself, of what each step offers, kWh.

        C dT/dt = P - W (T - T_in) - UA (T - T_room) until T is the most it may be; then it takes
        what draws and the wall take. `drawn_kj_k`: heat capacity of what each step draws. All of
        it mixed, a step's heat and draws spread over the step. Derived, in closed form.

        >>> store = WarmStore(4190.0, 55.0, 15.0, 20.0, 0.0)
        >>> round(store.caught_kwh([0.0, 100.0], [2095.0, 0.0]), 1)
        18.3
        """
        at_c, caught = self.in_c, 0.0
        alike = [
            (given / step_h, drawn / 3600.0 / step_h, step_h * len(list(steps)))
            for (given, drawn), steps in groupby(zip(given_kwh, drawn_kj_k, strict=True))
        ]
        for _ in range(DAYS_TO_SETTLE):
            before_c, caught = at_c, 0.0
            for kw, drawn_kw_k, hours in alike:
                at_c, took = self._step(at_c, kw, drawn_kw_k, hours)
                caught += took
            if abs(at_c - before_c) < SETTLED_K:
                break
        return caught

    def _step(
        self, at_c: float, kw: float, drawn_kw_k: float, step_h: float
    ) -> tuple[float, float]:
        """Temperature after a step, and the heat taken in it, kWh."""
        out = drawn_kw_k + self.ua_kw_k
        to_most = drawn_kw_k * (self.most_c - self.in_c) + self.ua_kw_k * (
            self.most_c - self.room_c
        )
        full_h = 0.0 if at_c >= self.most_c else math.inf
        if out > _EQUAL:
            rate = 3600.0 * out / self.kj_k
            end_c = (kw + drawn_kw_k * self.in_c + self.ua_kw_k * self.room_c) / out
            if at_c < self.most_c < end_c:
                full_h = math.log((end_c - at_c) / (end_c - self.most_c)) / rate
            after_c = end_c + (at_c - end_c) * math.exp(-rate * step_h)
        else:
            after_c = at_c + 3600.0 * kw * step_h / self.kj_k
            if at_c < self.most_c < after_c:
                full_h = (self.most_c - at_c) * self.kj_k / (3600.0 * kw)
        if full_h >= step_h or kw < to_most:
            return after_c, kw * step_h
        return self.most_c, full_h * kw + (step_h - full_h) * to_most


def heater_power_kw(energy_kwh: float, recovery_h: float, efficiency: float = 1.0) -> float:
    """Heater rating: E / (recovery time x efficiency).

    >>> round(heater_power_kw(97.8, 6.0), 1)
    16.3
    """
    check("energy", energy_kwh, 0.0, unit="kWh")
    check("recovery time", recovery_h, 0.0, unit="h", above=True)
    check("efficiency", efficiency, 0.0, 1.2, above=True)
    return energy_kwh / (recovery_h * efficiency)
