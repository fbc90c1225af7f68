"""A filled-in workbook of tests, read back."""

from __future__ import annotations

import datetime as dt
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from byrewright.site.checks.sheet import CLOCK, DAY, Filled, Row, SheetError
from byrewright.standards.units import typed_number

FIRST, INSTRUMENTS = "Read first", "Instruments"
LABELS = {
    "plant": "Plant", "plant_id": "Plant's id", "revision": "Revision", "sheet": "Sheet",
    "made": "Made on",
}  # fmt: skip
"""Lines of the first sheet that say what the workbook is of."""
TOOLS = ("instrument and its number", "calibrated on", "plus or minus", "unit")
COLUMNS = (
    "check", "test", "at", "machine", "point", "how", "who", "held to", "predicted", "unit",
    "value", "plus or minus", "instrument", "by", "when", "remark", "photo file", "not done, why",
)  # fmt: skip
TICKS = ("x", "yes", "ok", "true", "1")


def read_workbook(path: Path) -> Filled:
    """A filled-in workbook.

    Raises:
        SheetError: it is none, or a cell of it cannot be what it says.
    """
    import openpyxl

    if not path.is_file():
        raise SheetError(f"{path}: no such file; check the name and the folder")
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except (zipfile.BadZipFile, KeyError, ValueError, OSError, TypeError):
        raise SheetError(
            f"{path.name}: is no workbook that can be read; save it as .xlsx"
        ) from None
    try:
        if FIRST not in book.sheetnames or INSTRUMENTS not in book.sheetnames:
            raise SheetError(f"{path.name}: is no workbook of test sheets")
        lines = {_text(r[0]): _text(r[1]) for r in book[FIRST].iter_rows(values_only=True)
                 if len(r) > 1}  # fmt: skip
        tools = _tools(path, book[INSTRUMENTS].iter_rows(values_only=True))
        rows = tuple(
            row
            for name in book.sheetnames
            if name not in (FIRST, INSTRUMENTS)
            for row in _rows(path, name, book[name].iter_rows(values_only=True), tools)
        )
    finally:
        book.close()
    told = {k: lines.get(label, "") for k, label in LABELS.items()}
    return Filled(path.name, told["sheet"], told["plant_id"], told["plant"], told["revision"], rows)


def _tools(path: Path, rows: Iterator[tuple[Any, ...]]) -> dict[str, tuple[str, float | None, str]]:
    """Calibration day, plus or minus and its unit of each instrument."""
    found: dict[str, tuple[str, float | None, str]] = {}
    for line, row in enumerate(rows, 1):
        name, day, doubt, unit = (*row, None, None, None, None)[:4]
        if line > 1 and _text(name):
            where = f"{path.name}: {INSTRUMENTS}, row {line}"
            found[_text(name)] = (_day(day), _number(where, doubt), _text(unit))
    return found


def _rows(
    path: Path, name: str, rows: Iterator[tuple[Any, ...]],
    tools: Mapping[str, tuple[str, float | None, str]],
) -> Iterator[Row]:  # fmt: skip
    head = [_text(c) for c in next(rows, ())]
    missing = [c for c in COLUMNS if c not in head]
    if missing:
        raise SheetError(f"{path.name}: sheet {name} has no column {missing[0]}; put it back")
    place = {c: head.index(c) for c in COLUMNS}
    for line, cells in enumerate(rows, 2):
        cell = {c: cells[i] if i < len(cells) else None for c, i in place.items()}
        value, why = cell["value"], _text(cell["not done, why"])
        if not _text(cell["check"]) or (not _text(value) and not why):
            continue
        where = f"{path.name}: sheet {name}, row {line}"
        ticks = _text(cell["unit"]) == "x"
        seen = ticks and _text(value).casefold() in TICKS
        if ticks and _text(value) and not seen:
            raise SheetError(f"{where}: {_text(value)!r} where an x belongs, or the reason in the "
                             "last column")  # fmt: skip
        tool = _text(cell["instrument"])
        day, doubt, unit = tools.get(tool, ("", None, ""))
        stated = _number(where, cell["plus or minus"])
        yield Row(
            check=_text(cell["check"]),
            value=None if ticks else _number(where, value),
            seen=seen,
            why_not=why,
            unit="" if ticks else _text(cell["unit"]),
            instrument=tool,
            calibrated=day,
            uncertainty=doubt if stated is None and unit == _text(cell["unit"]) else stated,
            who=_text(cell["by"]),
            when=_moment(cell["when"]),
            remark=_text(cell["remark"]),
            photo=_photo(path, where, _text(cell["photo file"])),
        )


def _text(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    return str(cell).strip()


def _number(where: str, cell: Any) -> float | None:
    if not _text(cell):
        return None
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return float(cell)
    try:
        return typed_number(_text(cell))
    except ValueError as error:
        raise SheetError(f"{where}: {error}") from None


def _moment(cell: Any) -> str:
    return cell.strftime(CLOCK) if isinstance(cell, dt.datetime) else _day(cell)


def _day(cell: Any) -> str:
    return cell.strftime(DAY) if isinstance(cell, dt.date) else _text(cell)


def _photo(path: Path, where: str, name: str) -> bytes:
    if not name:
        return b""
    beside = path.parent / Path(name).name
    try:
        return beside.read_bytes()
    except OSError:
        raise SheetError(f"{where}: there is no photo {name} beside the workbook") from None
