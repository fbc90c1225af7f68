"""A small picture of a trend: readings, the line with its range, the limit and where they meet."""

from __future__ import annotations

from collections.abc import Iterator

from byrewright.documents.ink import ACCENT, INK, PAPER, QUIET, RULE
from byrewright.documents.shapes import Letters
from byrewright.documents.svg import letters_svg, n, rule_svg
from byrewright.site.upkeep.due import date_of
from byrewright.site.upkeep.trends import Trend, span_of

WIDE_MM, TALL_MM = 84.0, 30.0
LEFT, RIGHT, TOP, FOOT = 12.0, 2.0, 2.0, 5.0
STEPS = 24
TEXT_MM = 2.4


def trend_svg(one: Trend, today: float) -> str:
    """The picture as SVG, in millimetres."""
    first, last = span_of(one, today)
    line, limit = one.line, one.limit
    days = [first + (last - first) * i / STEPS for i in range(STEPS + 1)]
    values = [p.value for p in one.points] + ([] if limit is None else [limit.value])
    low, high = min(values), max(values)
    room = 0.15 * (high - low) or max(abs(high), 1.0) * 0.05
    low, high = low - room, high + room

    def at(day: float, value: float) -> tuple[float, float]:
        x = LEFT + (day - first) / max(last - first, 1.0) * (WIDE_MM - LEFT - RIGHT)
        y = TOP + (high - value) / (high - low) * (TALL_MM - TOP - FOOT)
        return x, min(max(y, TOP), TALL_MM - FOOT)

    parts = [*_frame(at(first, low), at(last, high))]
    if line is not None:
        for sign in (-1.0, 1.0):
            edge = [at(d, line.at(d) + sign * line.band(d)) for d in days]
            parts.append(rule_svg(edge, 0.25, QUIET))
        parts.append(rule_svg((at(first, line.at(first)), at(last, line.at(last))), 0.5, INK))
    if limit is not None:
        parts.append(rule_svg((at(first, limit.value), at(last, limit.value)), 0.8, INK))
        parts.append(_text(LEFT - 1, at(first, limit.value)[1] + 0.8, f"{limit.value:.4g}", "end"))
    met = one.crosses.day if one.crosses is not None else None
    if met is not None and limit is not None and met <= last:
        x, y = at(met, limit.value)
        parts.append(f'<circle cx="{n(x)}" cy="{n(y)}" r="1.5" fill="none" stroke="{ACCENT}" '
                     'stroke-width="0.5"/>')  # fmt: skip
    for point in one.points:
        x, y = at(point.day, point.value)
        parts.append(f'<circle cx="{n(x)}" cy="{n(y)}" r="1" fill="{INK}" stroke="{PAPER}" '
                     'stroke-width="0.2"/>')  # fmt: skip
    foot = TALL_MM - 1.2
    parts.append(_text(LEFT, foot, date_of(first)[:7], "start"))
    parts.append(_text(WIDE_MM - RIGHT, foot, date_of(last)[:7], "end"))
    x = at(today, low)[0]
    parts.append(rule_svg(((x, TOP), (x, TALL_MM - FOOT)), 0.2, RULE))
    box = f"0 0 {n(WIDE_MM)} {n(TALL_MM)}"
    body = "".join(parts)
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}">{body}</svg>'


def _frame(low: tuple[float, float], high: tuple[float, float]) -> Iterator[str]:
    yield rule_svg(((low[0], high[1]), low, (high[0], low[1])), 0.3)


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return letters_svg(Letters(x, y, text, TEXT_MM, anchor))  # type: ignore[arg-type]
