"""The schedules as a workbook: machines, pipes, valves by mode, motors, findings, quantities."""

from __future__ import annotations

import io
import math
import re
import textwrap
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from byrewright.documents.format import (
    System,
    number,
    power_unit,
    shown,
    source_title,
    unit_sign,
    words,
)
from byrewright.documents.sheets import service_drawn
from byrewright.documents.us_units import A_MOTOR, PIPE_KEYS, PRESSED_KEYS, is_motor, own_unit
from byrewright.documents.us_words import AIR_KEYS, COLD_KEYS, MOTOR, bore_in, text_in
from byrewright.plant.plant import Plant
from byrewright.results import Input, Result
from byrewright.standards.units import US_UNITS
from byrewright.studies.count import data_plate
from byrewright.studies.quantities import quantities

WIDEST = 60
LONGEST_SHEET_NAME = 31  # set by the workbook's format
FIRST_DAY = datetime(2000, 1, 1)  # fixed, so that the same plant gives the same bytes

PUT_IN = "Numbers put in"
OWN = ("Has", "Limit", "Value", "Each", "All", "Rating", "Together")
"""Columns whose numbers are in the unit that their row names."""

Cell = str | int | float | bool | None


@dataclass(frozen=True, slots=True)
class Page:
    """One sheet: name, column titles with units, rows, columns kept in view."""

    name: str
    titles: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    kept: int = 1


def schedule_xlsx(plant: Plant, results: Result, units: System = "metric") -> bytes:
    """The workbook as bytes; the same plant and results always give the same bytes."""
    sheets = (page_in(p, units) for p in pages(plant, results))
    return workbook(f"Schedules: {plant.site.name}", plant.site.name, sheets)


_HEAD_UNIT = re.compile(r"^(.*), ([^ ,]+)$")


def page_in(page: Page, units: System) -> Page:
    """A sheet in the reader's units: each column by the unit in its title, each row by its own."""
    if units != "US":
        return page
    metric = {unit_sign(u): u for u in US_UNITS}
    parts = [_HEAD_UNIT.match(t) for t in page.titles]
    of = [metric.get(m[2], "") if m else "" for m in parts]
    told = page.titles.index("Unit") if "Unit" in page.titles else None
    rows = []
    for row in page.rows:
        own = str(row[told] or "") if told is not None else ""
        key = str(row[0] or "")
        air, own = key.startswith(AIR_KEYS) or own.endswith("free"), own_unit(key, own)
        if A_MOTOR in row and own == "kW":
            own = MOTOR
        motor, cold = is_motor(key), key.startswith(COLD_KEYS) and not is_motor(key)
        pressed, pipes = key.startswith(PRESSED_KEYS), key.startswith(PIPE_KEYS)
        cells: list[Cell] = []
        for i, cell in enumerate(row):
            if i == told:
                cells.append(unit_sign(own, units))
            elif isinstance(cell, bool) or cell is None:
                cells.append(cell)
            elif isinstance(cell, str):
                cells.append(text_in(cell, units, air=air, motor=motor, cold=cold,
                                     pressed=pressed,
                                     pipes=pipes and page.titles[i] != PUT_IN))  # fmt: skip
            elif of[i] == "mm" and "bore" in page.titles[i].casefold():
                cells.append(bore_in(cell))
            else:
                unit = of[i] or (own if page.titles[i] in OWN else "")
                cells.append(shown(cell, unit, units)[0])
        rows.append(tuple(cells))
    heads = tuple(f"{m[1]}, {unit_sign(u, units)}" if m and u else t
                  for m, u, t in zip(parts, of, page.titles, strict=True))  # fmt: skip
    return replace(page, titles=heads, rows=tuple(rows))


def workbook(title: str, site: str, sheets: Iterable[Page]) -> bytes:
    """Sheets as a workbook; the same sheets always give the same bytes.

    Text is always written as text, so that nothing out of the plant file can act as a formula.
    """
    memory, book = new_book(title)
    head = book.add_format(
        {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1, "bg_color": "#EFECE3"}
    )
    plain = book.add_format({"valign": "top", "text_wrap": True})
    for page in sheets:
        _write(book, page, head, plain, site)
    book.close()
    return memory.getvalue()


def new_book(title: str) -> tuple[io.BytesIO, Any]:
    """An empty workbook, and where its bytes come to lie when it is closed."""
    import xlsxwriter

    memory = io.BytesIO()
    book = xlsxwriter.Workbook(
        memory,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        },
    )
    book.set_properties({"title": title, "author": "byrewright", "created": FIRST_DAY})
    return memory, book


def pages(plant: Plant, results: Result) -> tuple[Page, ...]:
    """Every sheet as plain rows."""
    return (
        _machines(plant),
        _pipes(plant),
        _valves(plant),
        _motors(plant),
        _findings(results),
        _assumptions(results),
        *_quantities(plant),
    )


def _write(book: Any, page: Page, head: Any, plain: Any, site: str) -> None:
    sheet = book.add_worksheet(_sheet_name(page.name))
    for c, title in enumerate(page.titles):
        sheet.write_string(0, c, title, head)
    for r, row in enumerate(page.rows, 1):
        for c, value in enumerate(row):
            if isinstance(value, bool):
                sheet.write_string(r, c, "yes" if value else "no", plain)
            elif isinstance(value, int | float) and math.isfinite(value):
                sheet.write_number(r, c, round(value, 6), plain)
            elif isinstance(value, str) and value:
                sheet.write_string(r, c, value, plain)
            else:
                sheet.write_blank(r, c, None, plain)
    for c, title in enumerate(page.titles):
        longest = max(
            [len(title) * 0.7, *(len(str(row[c])) for row in page.rows if row[c] is not None)]
        )
        sheet.set_column(c, c, min(WIDEST, max(7.0, longest + 2)))
    sheet.freeze_panes(1, page.kept)
    sheet.autofilter(0, 0, max(1, len(page.rows)), len(page.titles) - 1)
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    sheet.set_header("&L" + site.replace("&", "&&")[:120] + "&R&A")
    sheet.set_footer("&LAdvises; never a safety system&RPage &P of &N")


def _machines(plant: Plant) -> Page:
    rows = tuple(
        (
            m.id,
            m.title,
            words(m.kind),
            m.count,
            data_plate(m),
            m.power_kw() or None,
            ", ".join(m.fed_from),
            ", ".join(m.controlled_by),
            ", ".join(m.air_from),
            type(m).ROOM,
        )
        for m in plant.equipment.values()
    )
    return Page(
        "Machines",
        (
            "Tag",
            "What it is",
            "Kind",
            "Count",
            "Figures",
            "Electric input of one, kW",
            "Fed from",
            "Controlled by",
            "Air from",
            "Room",
        ),
        rows,
    )


def content_l(bore_mm: float, length_m: float) -> float:
    """Content of a straight pipe, L.

    >>> round(content_l(100.0, 10.0), 2)
    78.54
    """
    return math.pi / 4 * (bore_mm / 100) ** 2 * length_m * 10


def _pipes(plant: Plant) -> Page:
    rows = tuple(
        (
            p.id,
            words(service_drawn(plant, p) or "not stated"),
            p.start,
            p.end,
            p.bore_mm,
            p.length_m,
            p.length_from,
            p.rise_m,
            p.slope_pct,
            ", ".join(f"{n} {words(k)}" for k, n in p.fittings.items()),
            round(content_l(p.bore_mm, p.length_m), 2),
        )
        for p in plant.pipes
    )
    return Page(
        "Pipes",
        (
            "Tag",
            "Service",
            "From",
            "To",
            "Bore, mm",
            "Length, m",
            "Length is",
            "Rise, m",
            "Slope, %",
            "Fittings",
            "Content, L",
        ),
        rows,
    )


def _valves(plant: Plant) -> Page:
    """The position of every valve and the state of every machine that has states, by mode."""
    moved = [m for m in plant.equipment.values() if m.states()]
    moved.sort(key=lambda m: not m.can("is a valve"))
    rows = tuple(
        (
            m.id,
            m.title,
            words(str(getattr(m, "duty", ""))),
            str(getattr(m, "moved_by", "")),
            getattr(m, "sensed", None),
            words(str(getattr(m, "on_loss", ""))),
            *(words(plant.position(mode, m.id) or "") for mode in plant.modes),
        )
        for m in moved
    )
    return Page(
        "Valves and modes",
        (
            "Tag",
            "What it is",
            "For",
            "Moved by",
            "Position sensed",
            "On loss of air, power or signal",
            *(words(m) for m in plant.modes),
        ),
        rows,
        2,
    )


def _motors(plant: Plant) -> Page:
    powered = [m for m in plant.equipment.values() if m.power_kw() > 0]
    rows = tuple(
        (
            m.id,
            m.title,
            m.count,
            A_MOTOR if power_unit(m) == MOTOR else "heater or electronics",
            round(m.power_kw(), 3),
            round(m.power_kw() * m.count, 3),
            "kW",
            words(str(getattr(m, "speed", getattr(m, "control", "")) or "")),
            words(str(getattr(m, "start", "") or "")),
            ", ".join(m.fed_from),
        )
        for m in powered
    )
    return Page(
        "Motors",
        ("Tag", "What it is", "Count", "Load", "Each", "All", "Unit", "Speed", "Start", "Fed from"),
        rows,
    )


def _put_in(one: Input) -> str:
    value = number(one.value)
    return f"{one.symbol} = {value}{' ' + one.unit if one.unit else ''} ({one.meaning})"


def _digits(value: float | None) -> float | None:
    """A number to the five figures that anybody reads."""
    return None if value is None else float(f"{value:.5g}")


def _findings(results: Result) -> Page:
    rows = tuple(
        (
            f.name,
            f.title,
            f.verdict,
            _digits(f.value),
            f.unit,
            {"at_least": "at least", "at_most": "at most"}.get(f.sense, ""),
            _digits(f.limit),
            None if f.margin is None or f.unit == "degC" else round(f.margin * 100, 1),
            f.sentence,
            f.formula,
            "; ".join(_put_in(i) for i in f.inputs),
            source_title(f.source),
            words(f.confidence),
            ", ".join(f.missing),
        )
        for f in results.findings
    )
    return Page(
        "Findings",
        (
            "Finding",
            "Question",
            "Verdict",
            "Has",
            "Unit",
            "Held to",
            "Limit",
            "Margin, %",
            "What it means",
            "Formula",
            PUT_IN,
            "Source",
            "How known",
            "Missing",
        ),
        rows,
    )


def _assumptions(results: Result) -> Page:
    rows = tuple(
        (a.where, a.meaning, a.value, a.unit, a.why, words(a.confidence))
        for a in results.assumptions
    )
    return Page(
        "Assumptions", ("Where", "What is assumed", "Value", "Unit", "Why", "How known"), rows
    )


def _quantities(plant: Plant) -> tuple[Page, ...]:
    """A sheet for each table of the quantities study: what to buy or take off."""
    return tuple(
        Page(
            f"Qty {table.key}",
            tuple(
                f"{c[:1].upper()}{c[1:]}" + (f", {unit_sign(u)}" if u else "")
                for c, u in zip(table.columns, table.units, strict=True)
            ),
            table.rows,
        )
        for table in quantities(plant).tables
    )


def _sheet_name(title: str) -> str:
    """The words of a title that a workbook allows as the name of a sheet.

    >>> _sheet_name("Where each fluid goes, mode by mode")
    'Where each fluid goes'
    """
    first = title.split(",")[0] if len(title) > LONGEST_SHEET_NAME else title
    return textwrap.shorten(first, LONGEST_SHEET_NAME, placeholder="")
