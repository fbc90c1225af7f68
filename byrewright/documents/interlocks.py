"""The interlock pack: cause and effect, alarms, permissives, inputs and outputs, acceptance sheets.

The matrix is laid out in the manner of IEC 62881 (causes in rows, effects in columns); alarms carry
what ISA-18.2 and IEC 62682 ask of a rationalised alarm: priority, consequence, response, delay. The
texts of these standards were not read for this product.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Any

from byrewright.documents.format import System
from byrewright.documents.schedule import Cell, Page, workbook
from byrewright.documents.structured_text import exchange_xml, structured_text
from byrewright.documents.typeset import pdf
from byrewright.documents.us_units import result_in
from byrewright.engine.interlocks import DRAFT, PRIORITIES, Row, Table, by_priority
from byrewright.results import Result
from byrewright.site.addresses import Addresses, default_addresses, write_map
from byrewright.site.checks.check import ALARM_SLACK_S, how_to_test
from byrewright.standards.cautions import LEAD
from byrewright.studies.routes.classes import HARMS

TEMPLATE = "interlocks.typ"
MANNER = (
    "In the manner of IEC 62881 (cause and effect), IEC 62682 and ISA-18.2 (alarms); "
    "texts not read."
)

LONG = ("double", "orders")
"""Tables of the study that are in the workbook only."""


def pages(
    table: Table, result: Result | None = None, addresses: Addresses | None = None
) -> tuple[Page, ...]:
    """Every sheet of the pack as plain rows."""
    every = [
        Page("Read first", ("what", "text"), _read_first(table), 0),
        matrix(table),
        alarms(table),
        permissives(table),
        signals(table, addresses or default_addresses(table)),
        acceptance(table),
    ]
    if result is not None:
        every += [
            Page(t.title, t.columns, t.rows, 1)
            for t in result.tables
            if t.key in ("single", "double", "sensors", "orders", "where")
        ]
    return tuple(every)


def _read_first(table: Table) -> tuple[tuple[Cell, ...], ...]:
    return (
        ("Plant", table.plant),
        ("Standing", DRAFT),
        ("Manner", MANNER),
        ("Caution", LEAD),
        ("Alarms", _shares(table)),
        ("Modes", "; ".join(f"{i} {m}" for i, m in enumerate(table.modes, 1))),
    )


def _shares(table: Table) -> str:
    """How many alarms of each priority there are."""
    counts = {p: sum(1 for r in table.rows if r.priority == p) for p in PRIORITIES}
    text = ", ".join(f"{n} {p}" for p, n in counts.items())
    return (
        f"{text} (usual shares are about 5, 15 and 80 % of high, medium and low; from memory). "
        "Most can stand in some modes only."
    )


def condition(row: Row) -> str:
    """A row's cause in words."""
    return row.alarm_when()


def matrix(table: Table) -> Page:
    """Causes in rows, effects in columns; X acts, B also blocks the mode's beginning."""
    titles = (
        "cause",
        "description",
        "active when",
        "on delay s",
        "off delay s",
        *(e.tag for e in table.effects),
        *(f"mode {m}" for m in table.modes),
    )
    rows: list[tuple[Cell, ...]] = []
    for row in table.rows:
        acts = ["X" if e.tag in row.effects else "" for e in table.effects]
        modes = [("B" if row.before else "A") if m in row.modes else "" for m in table.modes]
        rows.append(
            (row.tag, row.text, condition(row), row.on_delay_s, row.off_delay_s, *acts, *modes)
        )
    return Page("Cause and effect", titles, tuple(rows), 2)


def alarms(table: Table) -> Page:
    """The alarm list, most urgent first."""
    rows = tuple(
        (
            r.tag,
            r.priority,
            r.text,
            "; ".join(dict.fromkeys(HARMS[t.harm].title for t in r.told)),
            r.do,
            r.on_delay_s,
            r.off_delay_s,
            ", ".join(r.modes),
            r.proof or "seen by other rows too",
        )
        for r in by_priority(table.rows)
    )
    titles = ("alarm", "priority", "text", "consequence", "what to do", "on delay s", "off delay s",
              "in modes", "would go unseen without it")  # fmt: skip
    return Page("Alarms", titles, rows, 2)


def permissives(table: Table) -> Page:
    """What must be right before each mode begins."""
    rows = tuple(
        (m, r.machine, table.titles.get(r.machine, ""), r.wanted, r.right_when())
        for m in table.modes for r in table.rows if r.before and m in r.modes
    )  # fmt: skip
    return Page("Permissives", ("mode", "machine", "what", "must be", "shown by"), rows, 2)


def signals(table: Table, addresses: Addresses) -> Page:
    """Inputs and outputs with the addresses that the watch reads."""
    where = {a.tag: a for a in addresses.all()}
    state = {s.tag: "fitted" if s.fitted else "to be fitted" for s in table.signals}
    rows: list[tuple[Cell, ...]] = [
        ("in", t, a.meaning, state.get(t, ""), a.area.replace("_", " "), a.number, a.node)
        for t, a in where.items()
    ]
    rows += [
        ("in (may be left out)", s.tag, f"{s.meaning}; counts hours and starts", "", "", None, "")
        for s in table.runs if s.tag not in where
    ]  # fmt: skip
    rows += [("out (proposed)", e.tag, e.meaning, "", "", None, "") for e in table.effects]
    return Page(
        "Inputs and outputs",
        ("direction", "tag", "meaning", "state", "Modbus area", "address", "OPC UA node"),
        tuple(rows),
        2,
    )


def acceptance(table: Table) -> Page:
    """One line a row and mode class: move it, see the alarm, tick, time, sign."""
    rows = []
    for number, row in enumerate(table.rows, 1):
        mode = row.proof_mode or row.modes[0]
        rows.append(
            (
                number,
                mode,
                row.machine,
                how_to_test(table, row),
                row.told_in(mode)[0],
                f"within {row.on_delay_s + ALARM_SLACK_S:g} s",
                "",
                "",
                "",
                "",
            )
        )
    titles = (
        "no.",
        "in mode",
        "machine",
        "do",
        "expected alarm",
        "expected",
        "seen (tick)",
        "time s",
        "by",
        "remark",
    )
    return Page("Acceptance test", titles, tuple(rows), 3)


def interlocks_xlsx(
    table: Table, result: Result | None = None, addresses: Addresses | None = None
) -> bytes:
    """The pack as a workbook."""
    return workbook(f"Interlocks: {table.plant}", table.plant, pages(table, result, addresses))


def page_csv(page: Page) -> str:
    """One sheet as CSV. A cell that could be taken for a formula gets a quote before it."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(page.titles)
    for row in page.rows:
        writer.writerow([_safe(c) for c in row])
    return out.getvalue()


def _safe(cell: Cell) -> Any:
    if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + cell
    return "" if cell is None else cell


def interlocks_pdf(table: Table, result: Result | None = None) -> bytes:
    """The pack as a PDF, with acceptance sheets to print."""
    only_in_workbook = {"Read first", "Cause and effect", "Permissives"}
    only_in_workbook |= {t.title for t in result.tables if t.key in LONG} if result else set()
    shown = [p for p in pages(table, result) if p.name not in only_in_workbook]
    data = {
        "title": table.plant,
        "draft": DRAFT,
        "manner": MANNER,
        "caution": LEAD,
        "modes": list(table.modes),
        "causes": [
            [
                r.tag,
                r.text,
                condition(r),
                f"{r.on_delay_s:g}",
                ", ".join(r.effects),
                ", ".join(str(table.number(m)) for m in r.modes),
            ]
            for r in table.rows
        ],
        "pages": [
            {"name": p.name, "titles": p.titles, "rows": [[_words(c) for c in r] for r in p.rows]}
            for p in shown
        ],
    }
    return pdf(TEMPLATE, data)


def _words(cell: Cell) -> str:
    if cell is None:
        return ""
    return f"{cell:g}" if isinstance(cell, float) else str(cell)


def files(
    table: Table, result: Result | None = None, addresses: Addresses | None = None,
    units: System = "metric",
) -> dict[str, bytes]:  # fmt: skip
    """Every export by file name; those for the controller are the same in all units."""
    where = addresses or default_addresses(table)
    result = None if result is None else result_in(result, units)
    made = {
        "interlocks.xlsx": interlocks_xlsx(table, result, where),
        "interlocks.pdf": interlocks_pdf(table, result),
        "interlocks.st": structured_text(table).encode(),
        "interlocks.xml": exchange_xml(table),
        "addresses.csv": write_map(where, table).encode(),
    }
    made |= {f"{_slug(p.name)}.csv": page_csv(p).encode() for p in _csv_pages(table, where)}
    return made


def _csv_pages(table: Table, addresses: Addresses) -> Iterable[Page]:
    return (
        matrix(table),
        alarms(table),
        permissives(table),
        signals(table, addresses),
        acceptance(table),
    )


def _slug(name: str) -> str:
    return name.lower().replace(" ", "-")
