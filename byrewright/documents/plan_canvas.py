"""A field of paper at a scale: metres of the site become millimetres of the sheet.

Words are put where nothing else stands; one that finds no free spot beside its object is led to it
by a line.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from typing import Literal

from byrewright.documents.format import drawn_system
from byrewright.documents.ink import INK, PAPER, QUIET, Ink, text_width_mm
from byrewright.documents.lengths import plain
from byrewright.documents.shapes import Letters
from byrewright.documents.svg import letters_svg, line_svg, n, rule_svg
from byrewright.place.model import NORMAL, Side
from byrewright.standards.units import convert

Flat = tuple[float, float]
Area = tuple[float, float, float, float]
CAP = 0.75
SCALES = (10, 20, 25, 40, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000)
HALO_MM = 0.35
LEAST_MM = 2.4
"""Least type size on a sheet, as it is read in the hand; capitals are CAP of it, 1.8 mm high, the
least nominal size of ISO 3098 as recalled."""
OVER_MM = {"metric": 8.0, "US": 11.0}
"""How far words may stand over the edge of a plan; feet and inches are longer."""
LEVELS_MM = {"metric": 16.0, "US": 26.0}
"""Room beside a section for its levels."""
BAR_MM = 22.0
BAR_STEPS = {"m": (1, 2, 5, 10, 20, 50), "ft": (2, 4, 5, 10, 20, 40, 100, 200)}
"""Least length of a scale bar on the sheet, and what it may measure."""
WITNESS_MM = 8.0
"""Longest line from a dimension towards what it measures."""


def scale_for(wide_m: float, tall_m: float, width_mm: float, height_mm: float) -> int:
    """The largest usual scale (1 to this) at which a window of the site fits the field.

    >>> scale_for(40, 25, 390, 260)
    125
    """
    need = max(wide_m / width_mm, tall_m / height_mm) * 1000
    return next((s for s in SCALES if s >= need), math.ceil(need / 100) * 100)


@dataclass(frozen=True, slots=True)
class Run:
    """A straight piece of pipe on the sheet: tag, colour, ends in mm, half its width."""

    tag: str
    colour: str
    a: Flat
    b: Flat
    half: float

    @property
    def box(self) -> Area:
        """The box that it fills."""
        (ax, ay), (bx, by), h = self.a, self.b, self.half
        return min(ax, bx) - h, min(ay, by) - h, max(ax, bx) + h, max(ay, by) + h

    def meets(self, area: Area) -> bool:
        """Whether it runs through an area, slanted or square."""
        if not _meet(area, self.box):
            return False
        (ax, ay), (bx, by), h = self.a, self.b, self.half
        if ax == bx or ay == by:
            return True
        low, high = 0.0, 1.0
        for start, way, near, far in (
            (ax, bx - ax, area[0] - h, area[2] + h), (ay, by - ay, area[1] - h, area[3] + h)
        ):  # fmt: skip
            t, u = sorted(((near - start) / way, (far - start) / way))
            low, high = max(low, t), min(high, u)
        return low < high


@dataclass(slots=True)
class Canvas:
    """A window of the site (or of a section) drawn into a field of the sheet.

    `turned` lays north to the left, so that a long site lies along the sheet.
    """

    window: Area
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    turned: bool = False
    scale: int = 0
    title: str = ""
    form: Literal["plan", "view", "sketch", "table"] = "plan"
    """The plan of a sheet; one of several views, each with its title and bar; or a sketch or
    table, which are not to scale."""
    faces: Side = "n"
    """The side of the plan that faces north."""
    north: bool = False
    """Whether one of several views is seen from above and shows where north is."""
    runs: list[Run] = field(default_factory=list)
    under: list[str] = field(default_factory=list)
    over: list[str] = field(default_factory=list)
    letters: list[Letters] = field(default_factory=list)
    taken: list[Area] = field(default_factory=list)
    shut: list[Area] = field(default_factory=list)

    def __post_init__(self) -> None:
        wide, tall = self.window[2] - self.window[0], self.window[3] - self.window[1]
        if self.turned:
            wide, tall = tall, wide
        if not self.scale:
            self.scale = scale_for(wide, tall, self.width_mm, self.height_mm)
        k = 1000 / self.scale
        self.x_mm += (self.width_mm - wide * k) / 2
        self.y_mm += (self.height_mm - tall * k) / 2

    @property
    def tall_mm(self) -> float:
        """Height of what is drawn, mm."""
        side = 2 if self.turned else 3
        return self.mm(self.window[side] - self.window[side - 2])

    def holds(self, box: Area) -> bool:
        """Whether a box of the site lies in the window."""
        w = self.window
        return box[0] >= w[0] and box[1] >= w[1] and box[2] <= w[2] and box[3] <= w[3]

    def at(self, x: float, y: float) -> Flat:
        """A point of the site on the sheet, mm."""
        k = 1000 / self.scale
        if self.turned:
            return self.x_mm + (self.window[3] - y) * k, self.y_mm + (self.window[2] - x) * k
        return self.x_mm + (x - self.window[0]) * k, self.y_mm + (self.window[3] - y) * k

    def mm(self, metres: float) -> float:
        """A length on the sheet."""
        return metres * 1000 / self.scale

    def area(self, box: Area) -> Area:
        """A box of the site on the sheet: left, top, right, bottom."""
        a, b = self.at(box[0], box[1]), self.at(box[2], box[3])
        return min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1])

    def line(self, points: Iterable[Flat], width: float = 0.25, colour: str = INK,
             dashes: Sequence[float] = (), *, behind: bool = True) -> None:  # fmt: skip
        """A plain line of the site."""
        made = line_svg([self.at(*p) for p in points], Ink("", "", colour, tuple(dashes), width))
        (self.under if behind else self.over).append(made)

    def pipe(self, points: Sequence[Flat], ink: Ink, tag: str) -> None:
        """A pipe in its service's pattern, marked with its tag."""
        parts = []
        for part in self.clipped(points):
            there = [self.at(*p) for p in part]
            parts.append(line_svg(there, ink))
            self.runs += [Run(tag, ink.colour, a, b, ink.width_mm / 2) for a, b in pairwise(there)]
        if parts:
            self.under.append(f'<g data-pipe="{tag}">{"".join(parts)}</g>')

    def clipped(self, points: Sequence[Flat]) -> list[list[Flat]]:
        """The parts of a square line inside the window."""
        x1, y1, x2, y2 = self.window
        found: list[list[Flat]] = []
        for a, b in pairwise(points):
            ends = [(min(max(p[0], x1), x2), min(max(p[1], y1), y2)) for p in (a, b)]
            level, upright = abs(a[1] - b[1]) < 1e-9, abs(a[0] - b[0]) < 1e-9
            if (level and ends[0][1] != a[1]) or (upright and ends[0][0] != a[0]):
                continue
            if math.dist(ends[0], ends[1]) < 1e-9:
                continue
            if found and found[-1][-1] == ends[0]:
                found[-1].append(ends[1])
            else:
                found.append([ends[0], ends[1]])
        return found

    def cropped(self, box: Area) -> Area:
        """The part of a box inside the window of one of several views (a line on its edge where it
        lies outside); all of it on a plan."""
        w = self.window
        if self.form == "plan":
            return box
        xs = [min(max(v, w[0]), w[2]) for v in (box[0], box[2])]
        ys = [min(max(v, w[1]), w[3]) for v in (box[1], box[3])]
        return xs[0], ys[0], xs[1], ys[1]

    def box(self, box: Area, width: float = 0.3, fill: str = "none", colour: str = INK,
            dashes: Sequence[float] = (), machine: str = "") -> None:  # fmt: skip
        """A rectangle of the site."""
        x1, y1, x2, y2 = self.area(box)
        dash = f' stroke-dasharray="{" ".join(n(d) for d in dashes)}"' if dashes else ""
        made = (
            f'<rect x="{n(x1)}" y="{n(y1)}" width="{n(x2 - x1)}" height="{n(y2 - y1)}" '
            f'fill="{fill}" stroke="{colour}" stroke-width="{n(width)}"{dash}/>'
        )
        if machine:
            made = f'<g data-machine="{machine}">{made}</g>'
        self.under.append(made)

    def circle(self, x: float, y: float, r: float, width: float = 0.25, colour: str = INK,
               dashes: Sequence[float] = (), fill: str = "none") -> None:  # fmt: skip
        """A circle of the site."""
        cx, cy = self.at(x, y)
        dash = f' stroke-dasharray="{" ".join(n(d) for d in dashes)}"' if dashes else ""
        self.under.append(
            f'<circle cx="{n(cx)}" cy="{n(cy)}" r="{n(self.mm(r))}" fill="{fill}" '
            f'stroke="{colour}" stroke-width="{n(width)}"{dash}/>'
        )

    def keep_clear(self, box: Area) -> None:
        """No word may stand on this box of the site, if it can be helped."""
        self.shut.append(self.area(box))

    def word(self, x: float, y: float, text: str, size: float = LEAST_MM, *, bold: bool = False,
             colour: str = INK, inside: Area | None = None) -> bool:  # fmt: skip
        """Words with their middle at a point of the site; False, and nothing drawn, if taken.

        With `inside`, they must also lie in that box and on no machine.
        """
        mx, my = self.at(x, y)
        if inside is not None:
            wide, tall = text_width_mm(text, size) * 1.04 / 2 + 0.6, size / 2 + 0.6
            x1, y1, x2, y2 = self.area(inside)
            if mx - wide < x1 or mx + wide > x2 or my - tall < y1 or my + tall > y2:
                return False
        return self._put(mx, my, text, size, bold, colour, blocked=inside is not None)

    def tag(self, box: Area, text: str, size: float = LEAST_MM, *, bold: bool = False,
            far_mm: float = 16.0) -> bool:  # fmt: skip
        """A tag in its box, beside it, or led to it; False where there is no room at all."""
        x1, y1, x2, y2 = self.area(box)
        mx, my = (x1 + x2) / 2, (y1 + y2) / 2
        wide, tall = text_width_mm(text, size), size * CAP
        fits = wide <= x2 - x1 - 0.3 and tall <= y2 - y1 - 0.3
        if fits and self._put(mx, my, text, size, bold, INK, blocked=False):
            return True
        near = [(mx, y1 - tall / 2 - 0.5), (mx, y2 + tall / 2 + 0.5),
                (x2 + wide / 2 + 0.5, my), (x1 - wide / 2 - 0.5, my)]  # fmt: skip
        for px, py in near:
            if self._put(px, py, text, size, bold, INK, blocked=True):
                return True
        r = 2.0
        while r <= far_mm:
            for step in range(16):
                angle = math.pi / 8 * step
                px = mx + math.cos(angle) * (r + wide / 2 + (x2 - x1) / 2)
                py = my + math.sin(angle) * (r + tall / 2 + (y2 - y1) / 2)
                if self._put(px, py, text, size, bold, INK, blocked=True):
                    ex = min(max(px, x1), x2)
                    ey = min(max(py, y1), y2)
                    tx = min(max(ex, px - wide / 2), px + wide / 2)
                    ty = py - tall / 2 - 0.2 if ey < py else py + tall / 2 + 0.2
                    self.over.append(rule_svg(((ex, ey), (tx, ty)), 0.12, QUIET))
                    return True
            r += 1.6
        return False

    def tag_pipes(self, size: float = LEAST_MM) -> list[str]:
        """Each pipe's tag beside its longest piece where that is free of words, machines and other
        pipes, else led to it; answers the tags that found no room."""
        by: dict[str, list[Run]] = {}
        for run in self.runs:
            by.setdefault(run.tag, []).append(run)
        left_out = []
        for tag, pieces in by.items():
            pieces.sort(key=lambda r: -math.dist(r.a, r.b))
            if not any(self.beside(run, tag, size) for run in pieces[:4]):
                left_out.append(tag)
        return [t for t in left_out if not any(self._led(r, t, size) for r in by[t][:2])]

    def _led(self, run: Run, text: str, size: float) -> bool:
        """Words in the nearest free spot with a line from a piece of pipe to them."""
        wide, tall = text_width_mm(text, size), size * CAP
        for r in (3.0, 5.0, 7.0, 10.0, 13.0, 17.0):
            for share, step in product((0.5, 0.25, 0.75), range(12)):
                x = run.a[0] + (run.b[0] - run.a[0]) * share
                y = run.a[1] + (run.b[1] - run.a[1]) * share
                px = x + math.cos(math.pi / 6 * step) * (r + wide / 2)
                py = y + math.sin(math.pi / 6 * step) * (r + tall / 2)
                if self.free_word(px, py, text, size, run.colour):
                    tx = min(max(x, px - wide / 2), px + wide / 2)
                    ty = py - tall / 2 - 0.2 if y < py else py + tall / 2 + 0.2
                    self.over.append(rule_svg(((x, y), (tx, ty)), 0.1, run.colour))
                    return True
        return False

    def beside(self, run: Run, text: str, size: float) -> bool:
        """Words beside a piece of pipe, where nothing else is; False where there is no room."""
        wide, tall = text_width_mm(text, size) / 2 + 0.3, size * CAP / 2 + 0.35
        (ax, ay), (bx, by) = run.a, run.b
        long = math.dist(run.a, run.b) or 1.0
        nx, ny = -(by - ay) / long, (bx - ax) / long
        off = abs(nx) * wide + abs(ny) * tall + 2 * run.half
        for share in (0.5, 0.35, 0.65, 0.2, 0.8, 0.08, 0.92):
            x, y = ax + (bx - ax) * share, ay + (by - ay) * share
            for sign in (-1, 1) if abs(ny) > abs(nx) else (1, -1):
                turn = sign if ny >= 0 else -sign
                if self.free_word(x + nx * off * turn, y + ny * off * turn, text, size, run.colour):
                    return True
        return False

    def free_word(self, x: float, y: float, text: str, size: float, colour: str = INK, *,
                  bold: bool = False) -> bool:  # fmt: skip
        """Words at a point of the sheet if no word, machine or pipe is there."""
        wide, tall = text_width_mm(text, size) / 2 + 0.3, size * CAP / 2 + 0.25
        area = (x - wide, y - tall, x + wide, y + tall)
        if any(run.meets(area) for run in self.runs):
            return False
        return self._put(x, y, text, size, bold, colour, blocked=True)

    def _put(self, mx: float, my: float, text: str, size: float, bold: bool, colour: str,
             *, blocked: bool) -> bool:  # fmt: skip
        wide, tall = text_width_mm(text, size) * (1.04 if bold else 1.0), size * CAP
        area = (mx - wide / 2 - 0.2, my - tall / 2 - 0.2, mx + wide / 2 + 0.2, my + tall / 2 + 0.2)
        edge = self.area(self.window)
        slack = -0.3 if self.form == "view" else OVER_MM[drawn_system()]
        if area[0] < edge[0] - slack or area[2] > edge[2] + slack:
            return False
        if self.form == "view" and (area[1] < edge[1] - 0.3 or area[3] > edge[3] + 0.3):
            return False
        if any(_meet(area, t) for t in self.taken):
            return False
        if blocked and any(_meet(area, s) for s in self.shut):
            return False
        self.taken.append(area)
        self.letters.append(Letters(mx, my + tall / 2, text, size, bold=bold, colour=colour))
        return True

    def dimension(self, a: Flat, b: Flat, off_mm: float, text: str = "") -> None:
        """A dimension line between two points, `off_mm` to the right of a to b on the sheet."""
        (ax, ay), (bx, by) = self.at(*a), self.at(*b)
        long = math.hypot(bx - ax, by - ay)
        if long < 0.5:
            return
        ux, uy = (bx - ax) / long, (by - ay) / long
        px, py = -uy * off_mm, ux * off_mm
        p, q = (ax + px, ay + py), (bx + px, by + py)
        self.over.append(rule_svg((p, q), 0.15, QUIET))
        for (ex, ey), (sx, sy) in ((p, (ax, ay)), (q, (bx, by))):
            self.over.append(rule_svg(((ex - ux + uy, ey - uy - ux), (ex + ux - uy, ey + uy + ux)),
                                      0.25, INK))  # fmt: skip
            short = max(0.15, 1 - WITNESS_MM / abs(off_mm))
            self.over.append(rule_svg(((ex, ey), (sx + px * short, sy + py * short)), 0.1, QUIET))
        said = text or plain(math.dist(a, b))
        wide = text_width_mm(said, LEAST_MM)
        mx, my = (p[0] + q[0]) / 2, (p[1] + q[1]) / 2
        if wide > long - 1:
            mx += math.copysign(wide / 2 + 0.8, px) * abs(uy)  # clear of the line that it is of
            my += math.copysign(1.6, py) * abs(ux)
        self._put(mx, my, said, LEAST_MM, False, INK, blocked=False)

    def level(self, z: float, text: str) -> None:
        """A level of a section, marked at its right-hand edge; moved up where it is too near
        another."""
        x, y = self.at(self.window[2], z)
        size = LEAST_MM
        wide = text_width_mm(text, size)
        at = y
        while any(_meet((x + 4, at - 0.9, x + 4 + wide, at + 0.9), t) for t in self.taken):
            at -= 0.5
        self.taken.append((x + 4, at - 0.8, x + 4 + wide, at + 0.8))
        self.over.append(rule_svg(((x - 1.5, y), (x + 1.0, y), (x + 3.4, at)), 0.18))
        self.letters.append(Letters(x + 4 + wide / 2, at + size * CAP / 2, text, size))

    def heading(self) -> None:
        """The title of one of several views on a sheet, under it, with a bar of its scale."""
        left = self.x_mm
        low = self.y_mm + self.tall_mm + 5.0
        wide = text_width_mm(self.title, LEAST_MM) * 1.04
        self.taken.append((left, low - 2, left + wide, low + 0.5))
        self.letters.append(Letters(left + wide / 2, low, self.title, LEAST_MM, bold=True))
        self.over += self.scale_bar(left + wide + 8, low - 2.4)
        if self.north:
            self.over += self.north_arrow(
                left + wide + 22 + self.mm(convert(*self._bar(), "m")), low + 1.5
            )

    def svg(self) -> list[str]:
        """Everything drawn, words last on a ground of their own."""
        drawn = self.under
        if self.form == "view":  # one of several views: what reaches beyond its window is cut off
            x1, y1, x2, y2 = self.area(self.window)
            name = f"view-{n(x1)}-{n(y1)}"
            drawn = [
                f'<clipPath id="{name}"><rect x="{n(x1)}" y="{n(y1)}" width="{n(x2 - x1)}" '
                f'height="{n(y2 - y1)}"/></clipPath><g clip-path="url(#{name})">',
                *self.under,
                "</g>",
            ]
        parts = [*drawn, *self.over]
        for text in self.letters:
            wide = text_width_mm(text.text, text.size_mm)
            parts.append(
                f'<rect x="{n(text.x - wide / 2 - HALO_MM / 2)}" '
                f'y="{n(text.y - text.size_mm * CAP - HALO_MM / 2)}" '
                f'width="{n(wide + HALO_MM)}" height="{n(text.size_mm * CAP + HALO_MM)}" '
                f'fill="{PAPER}" fill-opacity="0.8"/>'
            )
        parts += [letters_svg(t) for t in self.letters]
        return parts

    def _bar(self) -> tuple[int, str]:
        """What a scale bar measures: so many of whole metres or feet."""
        unit = "ft" if drawn_system() == "US" else "m"
        each = convert(1.0, unit, "m")
        steps = BAR_STEPS[unit]
        return next((m for m in steps if self.mm(m * each) >= BAR_MM), steps[-1]), unit

    def scale_bar(self, x: float, y: float) -> list[str]:
        """A bar of whole metres or feet, with what it measures."""
        many, unit = self._bar()
        wide, parts = self.mm(convert(many, unit, "m")), []
        for i in range(4):
            fill = INK if i % 2 == 0 else PAPER
            parts.append(
                f'<rect x="{n(x + wide * i / 4)}" y="{n(y)}" width="{n(wide / 4)}" height="1.2" '
                f'fill="{fill}" stroke="{INK}" stroke-width="0.2"/>'
            )
        parts.append(letters_svg(Letters(x, y + 3.8, "0", LEAST_MM)))
        parts.append(letters_svg(Letters(x + wide, y + 3.8, f"{many} {unit}", LEAST_MM)))
        parts.append(letters_svg(Letters(x + wide / 2, y + 3.8, f"1 : {self.scale}", LEAST_MM)))
        return parts

    def north_arrow(self, x: float, y: float) -> list[str]:
        """An arrow to the north."""
        east, north = NORMAL[self.faces]
        (ax, ay), (bx, by) = self.at(0, 0), self.at(east, north)
        ux, uy = (bx - ax) * self.scale / 1000, (by - ay) * self.scale / 1000
        points = " ".join(
            f"{n(x + dx)},{n(y + dy)}"
            for dx, dy in ((5 * ux, 5 * uy), (-1.4 * uy, 1.4 * ux), (1.4 * uy, -1.4 * ux))
        )
        return [
            f'<polygon points="{points}" fill="{INK}"/>',
            letters_svg(Letters(x - 2.2 * ux, y - 2.2 * uy + 0.8, "N", LEAST_MM)),
        ]


def _meet(a: Area, b: Area) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
