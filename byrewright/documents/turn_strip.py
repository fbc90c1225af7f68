"""The unrolled strip of the turn against time: each cow a line from entry to exit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from byrewright.documents.ink import ACCENT, INK, QUIET, RULE, Ink
from byrewright.documents.shapes import Letters
from byrewright.documents.svg import letters_svg, line_svg

WIDTH_MM, HEIGHT_MM = 300.0, 60.0
LEFT_MM, RIGHT_MM, TOP_MM, FOOT_MM = 18.0, 6.0, 4.0, 9.0
RIDING = Ink("", "", RULE, (), 0.18)
MILKING = Ink("", "", INK, (), 0.38)
TURNS_SHOWN = 2.0
TICK_S = 120.0
SIZE_MM = 3.2


class OnDeck(Protocol):
    """A cow's times, s: on the deck, unit on, unit off, out."""

    @property
    def on_s(self) -> float:
        """On the deck."""

    @property
    def attach_s(self) -> float:
        """Unit on."""

    @property
    def off_s(self) -> float:
        """Unit off."""

    @property
    def out_s(self) -> float:
        """Out."""


def turn_strip(
    cows: Sequence[OnDeck],
    turn_s: float,
    from_s: float,
    until_s: float,
    clock: Callable[[float], str],
    entry: str,
    leaving: str,
    now_s: float | None = None,
) -> str:
    """The inside of an SVG of `WIDTH_MM` by `HEIGHT_MM`: time to the right, the turn downwards.

    A thin line is a cow that rides; the thick part of it is the time with the unit on. A cow that
    goes round again enters once more at the top.
    """
    wide, tall = WIDTH_MM - LEFT_MM - RIGHT_MM, HEIGHT_MM - TOP_MM - FOOT_MM
    scale = wide / (until_s - from_s)

    def at(t_s: float, turned: float) -> tuple[float, float]:
        return LEFT_MM + (t_s - from_s) * scale, TOP_MM + turned * tall

    def run(one: OnDeck, begin_s: float, end_s: float, ink: Ink) -> list[str]:
        lines = []
        t = max(begin_s, from_s)
        stop = min(end_s, until_s)
        while t < stop:
            round_ = int((t - one.on_s) // turn_s)
            edge = min(stop, one.on_s + (round_ + 1) * turn_s)
            if edge <= t:
                break
            places = [min(1.0, (x - one.on_s) / turn_s - round_) for x in (t, edge)]
            lines.append(line_svg((at(t, places[0]), at(edge, places[1])), ink))
            t = edge + 1e-6
        return lines

    parts: list[str] = []
    for one in cows:
        if one.on_s < until_s and one.out_s > from_s:
            parts += run(one, one.on_s, one.out_s, RIDING)
    for one in cows:
        if one.attach_s < until_s and one.off_s > from_s:
            parts += run(one, one.attach_s, one.off_s, MILKING)
    frame = Ink("", "", INK, (), 0.35)
    corners = ((from_s, 0.0), (until_s, 0.0), (until_s, 1.0), (from_s, 1.0), (from_s, 0.0))
    parts.append(line_svg([at(*c) for c in corners], frame))
    parts.append(letters_svg(Letters(LEFT_MM - 2, TOP_MM + 2.4, entry, SIZE_MM, "end")))
    parts.append(letters_svg(Letters(LEFT_MM - 2, TOP_MM + tall, leaving, SIZE_MM, "end")))
    tick = (from_s // TICK_S + 1) * TICK_S
    while tick < until_s:
        x, low = at(tick, 1.0)
        parts.append(line_svg(((x, low), (x, low + 1.4)), frame))
        label = Letters(x, low + 5.2, clock(tick), SIZE_MM, colour=QUIET)
        parts.append(letters_svg(label))
        tick += TICK_S
    if now_s is not None and from_s <= now_s <= until_s:
        parts.append(line_svg((at(now_s, 0.0), at(now_s, 1.0)), Ink("", "", ACCENT, (), 0.6)))
    return "\n".join(parts)


def strip_window(now_s: float, turn_s: float, first_s: float, last_s: float) -> tuple[float, float]:
    """The stretch of time to show: some turns round a moment, inside the milking."""
    from_s = max(first_s, min(now_s - turn_s / 2, last_s - TURNS_SHOWN * turn_s))
    return from_s, from_s + TURNS_SHOWN * turn_s


def strip_share(t_s: float, from_s: float, until_s: float) -> float:
    """How far along the strip's width a moment stands, 0 to 1."""
    along = (t_s - from_s) / (until_s - from_s)
    return min(1.0, max(0.0, (LEFT_MM + along * (WIDTH_MM - LEFT_MM - RIGHT_MM)) / WIDTH_MM))
