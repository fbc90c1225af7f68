"""Small print figures as SVG: has against needs, lines in time, bars of a table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from byrewright.documents.format import drawn_system, number, quantity, room, unit_sign
from byrewright.documents.ink import ACCENT, INK, PAPER, QUIET, RULE, Ink, text_width_mm
from byrewright.documents.shapes import Letters
from byrewright.documents.svg import letters_svg, line_svg, rect_svg, rule_svg, sheet_svg
from byrewright.results import FREE, FREE_SIGN, Finding, Result, Series, Table

WIDE_MM = 170.0
TEXT_MM = 2.4
MARKS: dict[str, str] = {
    "holds": "●", "tight": "◐", "fails": "✕", "unknown": "?", FREE: FREE_SIGN,
}  # fmt: skip
"""One sign for each verdict, beside its word, so that nothing rests on colour."""

Line = tuple[str, str, tuple[float, ...]]

_LINES = (
    Ink("", "", INK, (), 0.5),
    Ink("", "", "#1f4e8c", (4.0, 1.2), 0.5),
    Ink("", "", "#0b6157", (1.2, 1.0), 0.5),
    Ink("", "", "#7a2f86", (6.0, 1.0, 1.0, 1.0), 0.5),
    Ink("", "", "#8a4208", (2.0, 0.8), 0.5),
)
DWARFS = 3.0  # so many times higher, and a line gets a figure of its own
ALIKE = 3  # from so many alike on, one bar stands for all that hold
LEAST_POINTS = 4  # a table with fewer rows is not drawn as lines
MOST_SHOWN = 2.0  # a bar ends at twice its limit


BARS = 30
"""Bars in one figure: more would not stand under a chapter's heading on one page."""


def capacity_svgs(title: str, findings: Sequence[Finding]) -> list[str]:
    """Bars of value against limit (the upright rule), one a finding that has both, in figures that
    a page holds.

    The limit is drawn at the same place for every bar, so that unlike units can stand together;
    a bar must reach the rule where the limit is a least, and stop before it where it is a most.
    """
    bars = _worst_of_alike(findings)
    return [
        _bars_svg(title if first == 0 else f"{title} (continued)", bars[first : first + BARS])
        for first in range(0, len(bars), BARS)
    ]


def _bars_svg(title: str, bars: Sequence[tuple[Finding, int]]) -> str:
    row, left, right = 6.4, 62.0, 34.0
    height = 13 + row * len(bars)
    scale = (WIDE_MM - left - right) / MOST_SHOWN
    parts = [_text(0, 4, title, bold=True)]
    for i, (one, alike) in enumerate(bars):
        y = 8 + i * row
        assert one.value is not None and one.limit is not None
        share = max(0.0, one.value / one.limit)
        length = min(share, MOST_SHOWN) * scale
        fails = one.verdict == "fails"
        label = f"{one.title} {one.subject}".strip()
        if alike > 1:
            label = f"{one.title}: least of {alike}"
        parts.append(_text(left - 2, y + 3, _cut(label, left - 4), anchor="end"))
        parts.append(rect_svg(left, y, length, 3.6, ACCENT if fails else RULE, 0.25))
        if share > MOST_SHOWN:
            x = left + length
            parts.append(rule_svg(((x - 2.4, y - 0.4), (x - 1.2, y + 4)), 1.0, PAPER))
        word = "least" if one.sense == "at_least" else "most"
        parts.append(
            _text(
                WIDE_MM - right + 2,
                y + 3,
                f"{MARKS[one.verdict]} {room(one, drawn_system())} {word}",
            )
        )
    x = left + scale
    parts.append(rule_svg(((x, 6.5), (x, 8 + row * len(bars))), 0.6))
    parts.append(_text(x, height - 1.2, "limit", anchor="middle"))
    return _figure(parts, height)


def _worst_of_alike(findings: Sequence[Finding]) -> list[tuple[Finding, int]]:
    """Findings that can be drawn as bars; of many alike that hold, the nearest to its limit."""
    alike: dict[str, list[Finding]] = {}
    for one in findings:
        if one.value is not None and one.limit and one.sense != "informational" and one.limit > 0:
            alike.setdefault(one.title, []).append(one)
    bars: list[tuple[Finding, int]] = []
    for group in alike.values():
        hold = [f for f in group if f.verdict == "holds"]
        if len(hold) < ALIKE:
            bars += [(f, 1) for f in group]
            continue
        bars += [(f, 1) for f in group if f.verdict != "holds"]
        bars.append((min(hold, key=lambda f: f.margin or 0.0), len(hold)))
    return bars


def series_svg(series: Series, height: float = 48.0) -> str:
    """Lines over a common x, each with its own pattern and a key of words."""
    left, bottom, top = 16.0, 11.0, 7.0 + 4.2 * math.ceil(len(series.lines) / 2)
    low_y, high_y = _range([v for _, _, ys in series.lines for v in ys], from_zero=True)
    low_x, high_x = _range(list(series.x))
    wide, tall = WIDE_MM - left - 4, height - top - bottom

    def spot(x: float, y: float) -> tuple[float, float]:
        return (
            round(left + (x - low_x) / (high_x - low_x) * wide, 2),
            round(top + tall - (y - low_y) / (high_y - low_y) * tall, 2),
        )

    parts = [_text(0, 4, series.title, bold=True)]
    for value in _ticks(low_y, high_y):
        x, y = spot(low_x, value)
        parts.append(rule_svg(((x, y), (left + wide, y)), 0.2, RULE))
        parts.append(_text(left - 1.5, y + 0.8, number(value), anchor="end"))
    for value in _ticks(low_x, high_x):
        x, y = spot(value, low_y)
        parts.append(rule_svg(((x, y), (x, y + 1.2)), 0.3))
        parts.append(_text(x, y + 4.2, number(value), anchor="middle"))
    parts.append(rule_svg(((left, top), (left, top + tall), (left + wide, top + tall)), 0.35))
    for i, (name, unit, ys) in enumerate(series.lines):
        ink = _LINES[i % len(_LINES)]
        parts.append(line_svg([spot(x, y) for x, y in zip(series.x, ys, strict=True)], ink))
        kx, ky = left + (i % 2) * 76, 8.2 + (i // 2) * 4.2
        parts.append(line_svg(((kx, ky - 0.8), (kx + 8, ky - 0.8)), ink))
        parts.append(_text(kx + 9.5, ky, name + (f", {unit_sign(unit)}" if unit else "")))
    parts.append(_text(left + wide, height - 1, unit_sign(series.x_unit), anchor="end"))
    return _figure(parts, height)


def table_bars_svg(table: Table, column: int) -> str:
    """Bars of one column of a table, each with its row's first cell and its value."""
    rows = [(str(r[0]), float(r[column])) for r in table.rows if isinstance(r[column], int | float)]
    unit = table.units[column]
    most = max((v for _, v in rows), default=1.0) or 1.0
    left, row = 58.0, 5.6
    parts = [_text(0, 4, f"{table.title}: {table.columns[column]}", bold=True)]
    for i, (name, value) in enumerate(rows):
        y = 7.5 + i * row
        length = max(0.0, value / most) * (WIDE_MM - left - 30)
        parts.append(_text(left - 2, y + 2.9, _cut(name, left - 4), anchor="end"))
        parts.append(rect_svg(left, y, length, 3.6, RULE, 0.25))
        parts.append(_text(left + length + 1.5, y + 2.9, quantity(value, unit)))
    return _figure(parts, 9 + row * len(rows))


TABLE_BARS = {"water.uses": "a day", "air.users": "mean"}
"""Tables that are also drawn, as bars of the named column."""


def figures_for(result: Result, topic: str) -> list[str]:
    """A topic's figures as SVG: its capacity balance, its series, and tables that run in order."""
    own = [f for f in result.findings if topic_of(f.key) == topic]
    limits = [f for f in own if f.sense != "informational" and f.limit and f.value is not None]
    made = capacity_svgs("What it has against what it needs", limits) if len(limits) > 1 else []
    for one in result.series:
        if topic_of(one.key) == topic and len(one.x) > 1:
            made += [series_svg(part) for part in by_unit(one)]
    for table in result.tables:
        if topic_of(table.key) != topic:
            continue
        if table.key in TABLE_BARS and TABLE_BARS[table.key] in table.columns:
            made.append(table_bars_svg(table, table.columns.index(TABLE_BARS[table.key])))
        elif lines := table_series(table):
            made.append(series_svg(lines))
    return made


def by_unit(series: Series) -> list[Series]:
    """One series a unit, and apart what would flatten the rest; the largest where many are left."""
    parts = []
    for unit in dict.fromkeys(u for _, u, _ in series.lines):
        lines = [one for one in series.lines if one[1] == unit]
        for group in _of_a_size(lines):
            title = series.title
            if len(group) > len(_LINES):
                title += f" (the {len(_LINES)} largest of {len(group)})"
                group = sorted(group, key=lambda one: -max(one[2]))[: len(_LINES)]
            parts.append(replace(series, title=title, lines=tuple(group)))
    return parts


def _of_a_size(lines: list[Line]) -> list[list[Line]]:
    """The lines in two groups where the highest ones dwarf the others, else in one."""
    order = sorted(lines, key=lambda one: -max(one[2]))
    for k, (high, low) in enumerate(pairwise(order), 1):
        if max(low[2]) > 0 and max(high[2]) > DWARFS * max(low[2]) and k < len(order) - 1:
            tall = order[:k]
            return [
                [one for one in lines if one in tall],
                [one for one in lines if one not in tall],
            ]
    return [lines]


def table_series(table: Table) -> Series | None:
    """The columns of a table that share a unit, over its first column, where that only rises."""
    numbers = [c for c in range(len(table.columns)) if all(_is_number(r[c]) for r in table.rows)]
    x = [float(r[0]) for r in table.rows] if 0 in numbers else []
    if len(x) < LEAST_POINTS or any(b <= a for a, b in pairwise(x)):
        return None
    shared = [
        c for c in numbers[1:] if [table.units[k] for k in numbers[1:]].count(table.units[c]) > 1
    ]
    same = [c for c in shared if table.units[c] == table.units[shared[0]]]
    if not same:
        return None
    lines = tuple(
        (table.columns[c], table.units[c], tuple(float(r[c]) for r in table.rows)) for c in same
    )
    return Series(table.key, table.title, tuple(x), f"{table.columns[0]}, {table.units[0]}", lines)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def topic_of(key: str) -> str:
    """The topic of a key: its first word.

    >>> topic_of("vacuum.airline.drop")
    'vacuum'
    """
    return key.partition(".")[0]


def _figure(parts: Sequence[str], height: float) -> str:
    return sheet_svg(WIDE_MM, height, "\n".join(parts))


def _text(x: float, y: float, text: str, *, bold: bool = False, anchor: str = "start") -> str:
    where = {"start": "start", "middle": "middle", "end": "end"}[anchor]
    colour = INK if bold else QUIET
    return letters_svg(Letters(x, y, text.replace("\u2009", " "), TEXT_MM, where, bold, colour))  # type: ignore[arg-type]


def _cut(text: str, room_mm: float) -> str:
    most = int(room_mm / text_width_mm("x", TEXT_MM))
    return text if len(text) <= most else text[: most - 2] + ".."


def _range(values: Sequence[float], *, from_zero: bool = False) -> tuple[float, float]:
    low, high = min(values, default=0.0), max(values, default=1.0)
    if from_zero and low > 0:
        low = 0.0
    return (low, high) if high > low else (low, low + 1.0)


def _ticks(low: float, high: float) -> list[float]:
    rough = (high - low) / 5
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * m for m in (1, 2, 2.5, 5, 10) if power * m >= rough * 0.999)
    first = math.ceil(low / step - 1e-9)
    return [round(k * step, 10) for k in range(first, math.floor(high / step + 1e-9) + 1)]
