"""The plan set as files: the builder's first, then plan, sections, lines, cables and lists."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from byrewright.documents.format import System, drawn_in
from byrewright.documents.lengths import Cell, rows_in
from byrewright.documents.plan_cables import list_rows
from byrewright.documents.plan_dxf import plan_dxf
from byrewright.documents.plan_lists import builders_list
from byrewright.documents.plan_pipes import piece_list, pipe_list
from byrewright.documents.plan_sheets import PlanSheet, plan_sheets, plan_svg, set_out, sheets_pdf
from byrewright.documents.schematic import Issue
from byrewright.plant.plant import Plant
from byrewright.plant.sited import sited

SET_OUT = ("tag", "what", "room", "east", "north", "base level", "faces", "by")
SET_OUT_UNITS = ("", "", "", "m", "m", "m", "", "")
PRINT = "plan.pdf"


@dataclass(frozen=True, slots=True)
class Part:
    """One file of the set: what it is, its name, and what makes it."""

    title: str
    name: str
    make: Callable[[], bytes]


def plan_set(
    plant: Plant, issue: Issue | None = None, known: dict[str, str] | None = None,
    units: System = "metric",
) -> list[Part]:  # fmt: skip
    """The files of the plan set, in the order in which they are made; none without a plan. `known`
    are sheets of the same issue and units that are drawn already, by key. The drawing file is in
    millimetres whatever the units."""
    made = sited(plant)
    if made is None:
        return []
    drawn: list[tuple[str, str]] = []

    def sheet(one: PlanSheet) -> bytes:
        svg = (known or {}).get(one.key) or plan_svg(plant, one, issue=issue)
        drawn.append((one.title, svg))
        return svg.encode()

    heads = [f"{n} ({u})" if u else n for n, u in zip(SET_OUT, SET_OUT_UNITS, strict=True)]
    lists: list[tuple[str, str, Callable[[], Sequence[Sequence[Cell]]]]] = [
        ("builder's works", "builders_works.csv", lambda: builders_list(plant, made)),
        ("set-out table", "set_out.csv", lambda: [heads, *set_out(made)]),
        ("pipe list", "pipes.csv", lambda: pipe_list(plant, made)),
        ("pieces to cut", "pieces.csv", lambda: piece_list(plant, made)),
        ("cable list", "cables.csv", lambda: list_rows(plant, made)),
    ]
    return [
        *(Part(f"list: {title}", name, partial(_csv, rows, units)) for title, name, rows in lists),
        *(
            Part(f"plan: {s.title}", f"{s.key}.svg", partial(sheet, s))
            for s in plan_sheets(plant, units)
        ),
        Part("plan set on paper", PRINT, lambda: sheets_pdf(drawn)),
        Part("drawing file", "plan.dxf", lambda: plan_dxf(plant, made).encode()),
    ]


def _csv(rows: Callable[[], Sequence[Sequence[Cell]]], units: System) -> bytes:
    text = io.StringIO()
    with drawn_in(units):
        csv.writer(text, lineterminator="\n").writerows(rows_in(rows()))
    return text.getvalue().encode()
