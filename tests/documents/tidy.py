"""What makes a drawing tidy, as checks on its neutral layout."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise

from byrewright.documents.ink import text_width_mm
from byrewright.documents.shapes import Layout, Letters, Point

Area = tuple[float, float, float, float]

CAP_HEIGHT = 0.73  # of the letter size, DejaVu Sans Mono
CLEAR_MM = 0.15  # a text this far from a line does not touch it
ROUND_MM = 0.02  # layouts are rounded to hundredths of a millimetre


def area_of(text: Letters) -> Area:
    """The space a line of text covers."""
    width = text_width_mm(text.text, text.size_mm)
    height = text.size_mm * CAP_HEIGHT
    if text.turned:
        top = {"start": text.y - width, "middle": text.y - width / 2, "end": text.y}[text.anchor]
        return (text.x - height, top, text.x, top + width)
    left = {"start": text.x, "middle": text.x - width / 2, "end": text.x - width}[text.anchor]
    return (left, text.y - height, left + width, text.y)


def meet(a: Area, b: Area, clear: float = 0.0) -> bool:
    """Whether two areas share space, or come nearer than `clear`."""
    return (
        a[0] < b[2] + clear and b[0] < a[2] + clear and a[1] < b[3] + clear and b[1] < a[3] + clear
    )


def pieces(layout: Layout) -> Iterator[tuple[str, Point, Point]]:
    """Every straight piece of every pipe."""
    for run in layout.routed:
        for a, b in pairwise(run.points):
            yield run.pipe, a, b


def texts(layout: Layout) -> list[tuple[str, Letters]]:
    """Every text with the machine or pipe it belongs to."""
    every = [(p.machine, t) for p in layout.placed for t in p.words]
    every += [(r.pipe, r.label) for r in layout.routed if r.label]
    return every + [("", t) for t in layout.letters]


def faults(layout: Layout) -> list[str]:
    """Everything untidy about a layout, one sentence each."""
    found = []
    symbols = [(p.key, (p.x, p.y, p.x + p.w, p.y + p.h)) for p in layout.placed]
    flags = {p.key for p in layout.placed if p.symbol == "flag"}
    for (a, box), (b, other) in combinations(symbols, 2):
        if meet(box, other, -ROUND_MM):
            found.append(f"symbols {a} and {b} overlap")
    words = [(owner, text, area_of(text)) for owner, text in texts(layout)]
    for (_, a, box), (_, b, other) in combinations(words, 2):
        if meet(box, other, -ROUND_MM):
            found.append(f"texts {a.text!r} and {b.text!r} overlap")
    for pipe, (x1, y1), (x2, y2) in pieces(layout):
        if x1 != x2 and y1 != y2:
            found.append(f"pipe {pipe} runs aslant")
        line = (min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))
        for _, text, box in words:
            if meet(line, box, CLEAR_MM):
                found.append(f"pipe {pipe} runs through {text.text!r}")
        for key, box in symbols:
            inner = (box[0] + 0.5, box[1] + 0.5, box[2] - 0.5, box[3] - 0.5)
            if meet(line, inner) and layout_owner(layout, key) not in ends(layout, pipe):
                found.append(f"pipe {pipe} runs through symbol {key}")
    for key, box in symbols:
        for owner, text, area in words:
            if meet(box, area, -ROUND_MM) and not (
                key in flags and owner == layout_owner(layout, key)
            ):
                found.append(f"text {text.text!r} stands on symbol {key}")
    edge = (0.0, 0.0, layout.width_mm, layout.height_mm)
    for _, text, box in words:
        if box[0] < edge[0] - 1 or box[2] > edge[2] + 1 or box[1] < -1 or box[3] > edge[3] + 1:
            found.append(f"text {text.text!r} leaves the sheet")
    return found


def layout_owner(layout: Layout, key: str) -> str:
    """The machine of a placed symbol."""
    return next(p.machine for p in layout.placed if p.key == key)


def ends(layout: Layout, pipe: str) -> set[str]:
    """The machines whose symbols a pipe starts or ends at."""
    runs = [r for r in layout.routed if r.pipe == pipe]
    tips = [p for r in runs for p in (r.points[0], r.points[-1])]
    return {
        p.machine
        for p in layout.placed
        for x, y in tips
        if p.x - 0.1 <= x <= p.x + p.w + 0.1 and p.y - 0.1 <= y <= p.y + p.h + 0.1
    }
