"""Rotary throughput: closed forms, milk-out spread, going round twice, labour."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

from byrewright.physics.errors import check

_STANDARD = NormalDist()
_TAIL = 1e-12


@dataclass(frozen=True, slots=True)
class LogNormal:
    """A log-normal spread by the mean and deviation of the logarithm."""

    mu: float
    sigma: float

    def above(self, value: float) -> float:
        """Share above a value.

        >>> round(log_normal(383.0, 129.0).above(550.0), 5)
        0.10243
        """
        if value <= 0.0:
            return 1.0
        if self.sigma == 0.0:
            return 1.0 if math.log(value) < self.mu else 0.0
        return 0.5 * math.erfc((math.log(value) - self.mu) / self.sigma / math.sqrt(2.0))

    def quantile(self, share: float) -> float:
        """Value below which a share lies, 0 < share < 1.

        >>> round(log_normal(383.0, 129.0).quantile(0.80), 1)
        478.3
        """
        check("share", share, 1e-12, 1.0 - 1e-12)
        return math.exp(self.mu + self.sigma * _STANDARD.inv_cdf(share))

    @property
    def median(self) -> float:
        """The middle value."""
        return math.exp(self.mu)


def log_normal(mean: float, deviation: float) -> LogNormal:
    """The log-normal with a given mean and standard deviation.

    sigma^2 = ln(1 + s^2/m^2), mu = ln m - sigma^2/2. Source: identity; a log-normal milking
    duration is published practice (Edwards et al. 2012, abstract read).

    >>> d = log_normal(383.0, 129.0)
    >>> round(d.sigma, 5), round(d.mu, 5), round(d.median, 2)
    (0.32781, 5.89431, 362.96)
    """
    check("mean", mean, 0.0, above=True)
    check("standard deviation", deviation, 0.0)
    square = math.log1p((deviation / mean) ** 2)
    return LogNormal(math.log(mean) - square / 2, math.sqrt(square))


def seconds_a_stall(stalls: int, rotation_s: float) -> float:
    """Time between stalls: T/N.

    >>> seconds_a_stall(60, 600.0)
    10.0
    """
    check("stalls", stalls, 1)
    check("rotation time", rotation_s, 0.0, unit="s", above=True)
    return rotation_s / stalls


def gross_cows_h(stalls: int, rotation_s: float) -> float:
    """Stalls passing in an hour: 3600 N/T.

    >>> gross_cows_h(60, 540.0)
    400.0
    """
    return 3600.0 / seconds_a_stall(stalls, rotation_s)


def available_s(stalls_on: float, stalls: int, rotation_s: float) -> float:
    """Milking time on one turn: stalls from cups-on to cups-off times seconds a stall.

    Source: New Zealand dairy levy body (read).

    >>> available_s(55, 60, 600.0)
    550.0
    """
    check("stalls from cups-on to cups-off", stalls_on, 0.0, stalls)
    return stalls_on * seconds_a_stall(stalls, rotation_s)


def go_round_share(available: float, mean_s: float, deviation_s: float) -> float:
    """Share of cows entering that are not finished in one turn (log-normal).

    >>> round(go_round_share(550.0, 383.0, 129.0), 5)
    0.10243
    """
    check("milking time available", available, 0.0, unit="s", above=True)
    return log_normal(mean_s, deviation_s).above(available)


def passes_a_cow(
    available: float, mean_s: float, deviation_s: float, most_s: float = math.inf
) -> float:
    """Stalls that a cow takes on the mean: 1 + sum over k of P(duration > k T), T > 0.

    Units come off after `most_s` at the latest, so no k T of that or more counts. Source: derived
    from the log-normal of `log_normal`.

    >>> round(passes_a_cow(550.0, 383.0, 129.0), 4), passes_a_cow(550.0, 383.0, 129.0, 540.0)
    (1.1028, 1.0)
    """
    check("milking time available", available, 0.0, unit="s", above=True)
    spread = log_normal(mean_s, deviation_s)
    passes, turn = 1.0, 1
    while turn < 100_000 and turn * available < most_s:
        share = spread.above(turn * available)
        passes += share
        if share < _TAIL:
            break
        turn += 1
    return passes


@dataclass(frozen=True, slots=True)
class Rotation:
    """A rotation time and what it gives."""

    rotation_s: float
    seconds_a_stall: float
    available_s: float
    go_round_share: float
    passes: float
    gross_cows_h: float
    net_cows_h: float


def rotation(
    stalls: int,
    stalls_on: float,
    rotation_s: float,
    mean_s: float,
    deviation_s: float,
    shadow: float = 0.0,
    most_s: float = math.inf,
) -> Rotation:
    """What one rotation time gives, with every further turn counted.

    `shadow`, 0 to 1, is the chance that a cow going round also leaves the next stall empty (the
    idea is from Edwards et al. 2012, whose exact form was not seen); units come off after `most_s`
    at the latest.

    >>> round(rotation(60, 55, 600.0, 383.0, 129.0).net_cows_h, 1)
    326.4
    """
    check("shadow", shadow, 0.0, 1.0)
    gross = gross_cows_h(stalls, rotation_s)
    time = available_s(stalls_on, stalls, rotation_s)
    passes = passes_a_cow(time, mean_s, deviation_s, most_s)
    return Rotation(
        rotation_s,
        rotation_s / stalls,
        time,
        go_round_share(time, mean_s, deviation_s) if time < most_s else 0.0,
        passes,
        gross,
        gross / (1.0 + (1.0 + shadow) * (passes - 1.0)),
    )


def rotation_for_share_s(
    stalls: int, stalls_on: float, mean_s: float, deviation_s: float, share: float
) -> float:
    """Rotation time at which a share of cows goes round twice.

    >>> round(rotation_for_share_s(60, 55, 383.0, 129.0, 0.10243))
    600
    """
    check("stalls from cups-on to cups-off", stalls_on, 0.0, stalls, above=True)
    return log_normal(mean_s, deviation_s).quantile(1.0 - share) * stalls / stalls_on


def labour_cows_h(routine_s: float, operators: int = 1) -> float:
    """Throughput that labour allows: 3600 operators / routine seconds a cow (levy body, read).

    >>> round(labour_cows_h(58.0))
    62
    """
    check("work routine", routine_s, 0.0, unit="s", above=True)
    check("operators", operators, 1)
    return 3600.0 * operators / routine_s


def operators_needed(cows_h: float, routine_s: float) -> int:
    """Least operators: cows an hour times routine over 3600.

    >>> operators_needed(400.0, 13.0)
    2
    """
    check("cows an hour", cows_h, 0.0)
    check("work routine", routine_s, 0.0, unit="s", above=True)
    return max(1, math.ceil(cows_h * routine_s / 3600.0 - 1e-9))
