"""The unrolled strip of the turn: inside its frame, and a second turn drawn as one."""

from __future__ import annotations

import re
from dataclasses import dataclass

from byrewright.documents.ink import INK
from byrewright.documents.turn_strip import HEIGHT_MM, WIDTH_MM, strip_window, turn_strip


@dataclass(frozen=True)
class Cow:
    """A cow's times on the deck, s."""

    on_s: float
    attach_s: float
    off_s: float
    out_s: float


def lines(svg: str) -> list[list[tuple[float, float]]]:
    """The drawn lines as points."""
    return [
        [(float(x), float(y)) for x, y in (pair.split(",") for pair in found.split())]
        for found in re.findall(r'<polyline points="([^"]+)"', svg)
    ]


def strip(*cows: Cow, now_s: float | None = None) -> str:
    """The strip of some cows over ten minutes of a turn of five."""
    return turn_strip(cows, 300.0, 0.0, 600.0, lambda s: f"{s:g}", "entry", "exit", now_s)


def test_everything_stays_on_the_sheet() -> None:
    """Would fail if a cow before, after or across the window were drawn outside the frame."""
    svg = strip(Cow(-200, -190, 40, 90), Cow(10, 20, 200, 300), Cow(500, 512, 700, 790), now_s=300)
    for points in lines(svg):
        for x, y in points:
            assert 0 <= x <= WIDTH_MM and 0 <= y <= HEIGHT_MM


def test_a_cow_that_goes_round_again_enters_at_the_top_again() -> None:
    """Would fail if a second turn were drawn below the exit."""
    once, twice = strip(Cow(0, 10, 290, 295)), strip(Cow(0, 10, 560, 590))
    assert len(lines(twice)) == len(lines(once)) + 2
    assert twice.count(INK) > once.count(INK)


def test_the_window_stays_inside_the_milking() -> None:
    """Would fail if the strip ran past the last cow while it could still show cows."""
    begin, end = strip_window(9_900.0, 300.0, 0.0, 10_000.0)
    assert end <= 10_000.0 and begin >= 0.0
    assert strip_window(0.0, 300.0, 0.0, 10_000.0)[0] == 0.0
