"""Test sheets to fill in: a workbook, and one page that needs no server and no network."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from byrewright.documents.format import System
from byrewright.documents.schedule import Page, workbook
from byrewright.documents.tests_in import checks_in
from byrewright.documents.typeset import TEMPLATES
from byrewright.site.checks.catalogue import GROUPS
from byrewright.site.checks.check import Check, plain
from byrewright.site.checks.workbook import COLUMNS, FIRST, INSTRUMENTS, LABELS, TOOLS
from byrewright.standards.cautions import LEAD

HOW = (
    "Fill in the column value (an x for a thing seen), plus or minus, instrument, by and when; "
    "write why where a test is not done. List the instruments once. The name of a photo is that of "
    "a file beside this workbook. Give it to 'byrewright tests PLANT --read FILE'."
)
BLANK_LINES = 30


def sheet_html(
    head: Mapping[str, Any], checks: Sequence[Check], *, made: str, send: str = "", live: str = "",
    units: System = "metric",
) -> str:  # fmt: skip
    """The page: opens from a memory stick, keeps what is typed, saves it as a file.

    Args:
        head: what `byrewright.site.checks.sheet.empty` gives.
        made: day it was made, to be shown.
        send: where it may send what is filled in; "" where there is no server.
        live: the part, as HTML, that tells what the server hears; "" where there is none.
        units: the units that it asks for; it says so in each row, and is read back by them.
    """
    asked = [plain(c) for c in checks_in(checks, units)]
    data = {
        "head": dict(head), "checks": asked, "made": made, "send": send,
        "file": f"tests-{head['sheet'][:8]}", "caution": LEAD,
    }  # fmt: skip
    told = json.dumps(data, ensure_ascii=False).replace("<", "\\u003c")
    page = (TEMPLATES / "test_sheet.html").read_text(encoding="utf-8")
    return page.replace("@LIVE@", live).replace("@DATA@", told)


def sheet_xlsx(
    head: Mapping[str, Any], checks: Sequence[Check], *, made: str, units: System = "metric"
) -> bytes:
    """The workbook."""
    checks = checks_in(checks, units)
    told = {**head, "made": made}
    first = Page(
        FIRST, ("what", "text"),
        (*((LABELS[k], str(told[k])) for k in LABELS), ("Caution", LEAD), ("How", HOW)), 0,
    )  # fmt: skip
    tools = Page(INSTRUMENTS, TOOLS, tuple(("",) * len(TOOLS) for _ in range(BLANK_LINES)), 1)
    pages = [
        Page(group, COLUMNS, tuple(_row(c) for c in checks if c.group == group), 2)
        for group in GROUPS
        if any(c.group == group for c in checks)
    ]
    return workbook(f"Tests: {head['plant']}", str(head["plant"]), (first, tools, *pages))


def _row(check: Check) -> tuple[str | float | None, ...]:
    told = None if check.predicted is None else float(f"{check.predicted:.4g}")
    who = "licensed person" if check.licensed else ""
    known = (check.id, check.title, check.at, check.what, check.point, check.how, who,
             check.held_to, told, check.unit or "x")  # fmt: skip
    return known + (None,) * (len(COLUMNS) - len(known))
