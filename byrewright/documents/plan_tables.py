"""Tables as sheets of the plan set: columns of small print, as many pages as they need."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from byrewright.documents.ink import INK, QUIET, text_width_mm
from byrewright.documents.lengths import Cell, feet
from byrewright.documents.plan_canvas import Canvas
from byrewright.documents.plan_parts import FIELD
from byrewright.documents.shapes import Letters
from byrewright.documents.svg import rule_svg
from byrewright.standards.units import convert

SIZES_MM, ROW, GAP_MM, APART_MM = (2.6, 2.5), 1.65, 2.6, 9.0
"""Letter sizes tried, largest first (none under 7 points); rows apart, in letter sizes; between
columns and tables."""
MOST_CHARS = 74


@dataclass(frozen=True, slots=True)
class _Form:
    """How a table is set: letter size, heads, widths and sides of its columns."""

    size: float
    head: list[str]
    widths: list[float]
    right: list[bool]

    @property
    def row(self) -> float:
        return self.size * ROW

    @property
    def wide(self) -> float:
        return sum(self.widths)

    def fits(self) -> tuple[int, int]:
        """Tables side by side on a sheet, and rows in each."""
        across = int((FIELD[2] - FIELD[0] + APART_MM) // (self.wide + APART_MM))
        return max(1, across), int((FIELD[3] - FIELD[1]) // self.row) - 1


def table_pages(
    head: Sequence[str], rows: Sequence[Sequence[Cell]], group: int = -1
) -> list[Canvas]:
    """A table laid over as many sheets as it needs, side by side where it is narrow.

    Args:
        head: names of the columns.
        rows: what stands in them.
        group: number of the column whose value heads the rows that share it; -1 for none.
    """
    shown = [i for i in range(len(head)) if i != group]
    cells = [[_said(row[i], head[i]) for i in shown] for row in rows]
    lines: list[tuple[str, list[str]]] = []
    last = None
    for row, cell in zip(rows, cells, strict=True):
        if group >= 0 and row[group] != last:
            last = row[group]
            lines.append((str(last), []))
        lines.append(("", cell))
    heads = [head[i] for i in shown]
    right = [all(_is_number(c[k]) for c in cells) for k in range(len(shown))]
    for size in SIZES_MM:
        widths = [
            max(text_width_mm(t, size) for t in (h, *(c[k] for c in cells))) * 1.04 + GAP_MM
            for k, h in enumerate(heads)
        ]
        form = _Form(size, heads, widths, right)
        across, deep = form.fits()
        if len(lines) <= across * deep and form.wide < FIELD[2] - FIELD[0]:
            break
    pages = []
    for first in range(0, max(1, len(lines)), across * deep):
        page = Canvas((0.0, 0.0, 1.0, 1.0), *FIELD[:2], 10.0, 10.0, scale=1000, form="table")
        part = lines[first : first + across * deep]
        each = deep if len(part) > deep * (across - 1) else -(-len(part) // across)
        for k in range(across):
            block = part[k * each : (k + 1) * each]
            if block:
                _block(page, FIELD[0] + k * (form.wide + APART_MM), form, block)
        pages.append(page)
    return pages


def _is_number(text: str) -> bool:
    if text.endswith('"'):
        return True
    bare = re.sub(r" x |[ ./](?=\d)", "", text).removeprefix("-")
    return bare.isdigit() or text in ("", "-", "ask")


def _said(value: Cell, head: str) -> str:
    if isinstance(value, str):
        text = value
    elif head.endswith(" ft"):
        text = feet(convert(value, "ft", "m"))
    else:
        text = f"{value:.2f}" if head.endswith((" m", " in")) else f"{value:g}"
    return text if len(text) <= MOST_CHARS else text[: MOST_CHARS - 2] + ".."


def _block(page: Canvas, left: float, form: _Form, lines: Sequence[tuple[str, list[str]]]) -> None:
    y = FIELD[1]
    _row(page, left, y, form, form.head, bold=True)
    right = left + form.wide - GAP_MM
    page.over.append(rule_svg(((left, y + 1.1), (right, y + 1.1)), 0.25))
    for name, cells in lines:
        y += form.row
        if name:
            _text(page, left, y, form.size, name.upper(), "start", bold=True)
            page.over.append(rule_svg(((left, y + 1.0), (right, y + 1.0)), 0.12, QUIET))
        else:
            _row(page, left, y, form, cells)


def _row(
    page: Canvas, left: float, y: float, form: _Form, cells: Sequence[str], *, bold: bool = False
) -> None:
    x = left
    for cell, wide, flush in zip(cells, form.widths, form.right, strict=True):
        if cell:
            at = x + wide - GAP_MM if flush else x
            _text(page, at, y, form.size, cell, "end" if flush else "start", bold=bold)
        x += wide


def _text(
    page: Canvas, x: float, y: float, size: float, text: str, side: str, *, bold: bool = False
) -> None:
    half = text_width_mm(text, size) / 2
    middle = x + half if side == "start" else x - half
    page.letters.append(Letters(middle, y, text, size, bold=bold, colour=INK))
