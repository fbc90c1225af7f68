"""Price lists from workbooks and CSV: what is not plain to see is refused in a sentence."""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from byrewright.plant.machine import kinds
from byrewright.plant.problems import nearest
from byrewright.quote.prices import (
    COLUMNS,
    NEEDED,
    PER_METRIC,
    UNITS,
    PriceList,
    PriceListError,
    PriceRow,
    Rate,
    conditions,
)

MOST_ROWS = 20_000
LARGEST_BYTES = 20_000_000
MOST_UNPACKED = 200_000_000
MOST_FAULTS = 12
MOST_COST = Decimal(100_000_000)
INVENTED = "(invented)"
SHEETS = ("Prices", "Discounts", "Currencies")
ONLY_COLUMNS = {"Discounts": ("group", "discount_pct"), "Currencies": ("currency", "rate", "date")}


@dataclass(frozen=True, slots=True)
class Cell:
    """What stands in a cell. `text_only`: it came from a file where all is text."""

    value: Any
    text_only: bool


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as it was read: column names, then rows with the number of their line."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int, tuple[Cell, ...]], ...]


def read_prices(path: str | Path, currency: str) -> PriceList:
    """Read a price list: a workbook with the sheets Prices, Discounts and Currencies, or a CSV.

    Beside `prices.csv` its discounts and rates lie in `prices.discounts.csv` and
    `prices.currencies.csv`.

    Args:
        path: the file.
        currency: the quotation's own, for rows that name none.

    Raises:
        PriceListError: with a sentence for each thing wrong.
    """
    path = Path(path)
    if not path.is_file():
        raise PriceListError([f"{path}: no such file; check the name and the folder"])
    if path.stat().st_size > LARGEST_BYTES:
        raise PriceListError([f"{path}: is larger than {LARGEST_BYTES // 1_000_000} MB; a price "
                              "list for one plant needs a few hundred rows"])  # fmt: skip
    if path.suffix.casefold() == ".csv":
        sheets = _csv_sheets(path)
    elif path.suffix.casefold() in (".xlsx", ".xlsm"):
        sheets = _workbook_sheets(path)
    else:
        raise PriceListError([f"{path}: write the price list as .xlsx or .csv"])
    return _Reader(str(path), sheets, currency).read()


# files ------------------------------------------------------------------------------------------


def _csv_sheets(path: Path) -> dict[str, Sheet]:
    found = {}
    for name in SHEETS:
        beside = path if name == "Prices" else path.with_suffix(f".{name.casefold()}.csv")
        if not beside.is_file():
            continue
        try:
            text = beside.read_text(encoding="utf-8-sig")
        except UnicodeDecodeError:
            raise PriceListError([f"{beside}: is not UTF-8 text; save it as CSV UTF-8"]) from None
        if "\0" in text:
            raise PriceListError([f"{beside}: is not a text file; save it as CSV UTF-8"])
        first = text.partition("\n")[0]
        mark = ";" if first.count(";") > first.count(",") else ","
        try:
            rows = list(csv.reader(io.StringIO(text), delimiter=mark, strict=True))
        except csv.Error as why:
            raise PriceListError([f"{beside}: cannot be read as CSV: {why}"]) from None
        if len(rows) > MOST_ROWS:
            raise _too_many(str(beside))
        cells = [(i, tuple(Cell(v.strip() or None, True) for v in row))
                 for i, row in enumerate(rows, 1)]  # fmt: skip
        found[name] = _sheet(str(beside), name, cells)
    return found


def _too_many(name: str) -> PriceListError:
    return PriceListError([f"{name}: has more than {MOST_ROWS} rows; keep the rows that this sort "
                           "of plant needs (`--template` writes them)"])  # fmt: skip


def _workbook_sheets(path: Path) -> dict[str, Sheet]:
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(path) as packed:
            if sum(one.file_size for one in packed.infolist()) > MOST_UNPACKED:
                raise _too_many(str(path))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            thin = openpyxl.load_workbook(path, read_only=True, data_only=True)
            for name in thin.sheetnames:
                if name in SHEETS and _more_than(thin[name], MOST_ROWS):
                    raise _too_many(f"{path}, sheet {name}")
            thin.close()
            values = openpyxl.load_workbook(path, data_only=True)
            formulas = openpyxl.load_workbook(path)
    except PriceListError:
        raise
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError, OSError, TypeError,
            AttributeError, SyntaxError, EOFError) as why:  # fmt: skip
        raise PriceListError(
            [f"{path}: cannot be read as a workbook ({type(why).__name__}): save it again as "
             ".xlsx, without a password"]
        ) from None  # fmt: skip
    if "Prices" not in values.sheetnames:
        names = ", ".join(values.sheetnames[:4])
        raise PriceListError([f"{path}: has no sheet called Prices (it has {names})"])
    found = {}
    faults: list[str] = []
    for name in SHEETS:
        if name in values.sheetnames:
            found[name] = _plain(path, values[name], formulas[name], faults)
    if faults:
        raise PriceListError(faults[:MOST_FAULTS])
    return found


def _more_than(sheet: Any, most: int) -> bool:
    """Whether a sheet has rows with something in them beyond so many; stops looking there."""
    filled = 0
    for row in sheet.iter_rows(values_only=True):
        filled += any(v is not None for v in row)
        if filled > most:
            return True
    return False


def _plain(path: Path, values: Any, formulas: Any, faults: list[str]) -> Sheet:
    """A sheet as rows; what is hidden, merged or not worked out goes to the faults."""
    at = f"{path}, sheet {values.title}"
    if values.sheet_state != "visible":
        faults.append(f"{at}: is hidden; show it or delete it, so that no price is used unseen")
    for span in list(values.merged_cells.ranges)[:3]:
        faults.append(f"{at}: the cells {span} are merged; split them and write each row's own "
                      "value")  # fmt: skip
    cells = []
    for number, row in enumerate(values.iter_rows(), 1):
        if all(c.value is None for c in row) and all(
            formulas.cell(number, c.column).value is None for c in row
        ):
            continue
        if values.row_dimensions[number].hidden:
            faults.append(f"{at}, row {number}: is hidden; show it or delete it, so that no price "
                          "is used unseen")  # fmt: skip
        for c in row:
            source = formulas.cell(number, c.column).value
            formula = isinstance(source, str) and source.startswith("=")
            if formula and c.value is None:
                faults.append(
                    f"{at}, cell {c.coordinate}: holds the formula {source[:40]} and "
                    "no value; open the file in your spreadsheet program and save it"
                )
            elif isinstance(c.value, str) and c.value.startswith("#"):
                faults.append(f"{at}, cell {c.coordinate}: holds the error {c.value}; correct it")
        cells.append((number, tuple(Cell(c.value, False) for c in row)))
    for letter, column in values.column_dimensions.items():
        if column.hidden:
            faults.append(f"{at}: column {letter} is hidden; show it or delete it")
    return _sheet(at, values.title, cells)


def _sheet(at: str, name: str, cells: Sequence[tuple[int, tuple[Cell, ...]]]) -> Sheet:
    """The table under the first row that names the needed columns."""
    wanted = NEEDED if name == "Prices" else ONLY_COLUMNS[name]
    known = tuple(COLUMNS) if name == "Prices" else wanted
    for i, (_, row) in enumerate(cells[:20]):
        heads = tuple(str(c.value or "").strip().casefold().replace(" ", "_") for c in row)
        if all(w in heads for w in wanted):
            strange = [h for h in heads if h and h not in known]
            if strange:
                near = nearest(strange[0], known)
                raise PriceListError([f"{at}: the column {strange[0]} is not known{near}"])
            twice = [h for h in known if heads.count(h) > 1]
            if twice:
                raise PriceListError([f"{at}: the column {twice[0]} stands twice"])
            return Sheet(at, heads, tuple(cells[i + 1 :]))
    raise PriceListError([f"{at}: no row names the columns {', '.join(wanted)}; `--template` "
                          "writes a list that has them"])  # fmt: skip


# rows -------------------------------------------------------------------------------------------


class _Reader:
    """Rows into prices; everything wrong is collected, then told at once."""

    def __init__(self, name: str, sheets: Mapping[str, Sheet], currency: str) -> None:
        self.name, self.sheets, self.currency = name, sheets, currency
        self.faults: list[str] = []
        self.units = {
            field: kind.unit_of(field) for kind in kinds().values() for field in kind.model_fields
        } | {"bore_mm": "mm", "length_m": "m"}

    def read(self) -> PriceList:
        """The whole list.

        Raises:
            PriceListError: anything was wrong.
        """
        rates = dict(self.rates())
        discounts = dict(self.discounts())
        rows = [row for row in map(self.row, self.lines("Prices")) if row is not None]
        if not rows and not self.faults:
            self.faults.append(f"{self.name}: holds no price; fill in the list that `--template` "
                               "writes")  # fmt: skip
        for code in dict.fromkeys(r.currency for r in rows):
            if code not in ("", self.currency) and code not in rates:
                first = next(r for r in rows if r.currency == code)
                self.faults.append(
                    f"{first.at}: the price is in {code} and the quotation in {self.currency}; "
                    f"give {code} a rate and its date in {self.place('Currencies')}"
                )
        own = rates.get(self.currency)
        if own is not None and own.rate != 1:
            self.faults.append(
                f"{self.name}: the quotation is in {self.currency}, which stands at "
                f"{own.rate:f} in {self.place('Currencies')}: the rates are to another currency; "
                "write that one as `currency` in the terms"
            )
        for one in rows:
            if one.discount_group and one.discount_group not in discounts:
                near = nearest(one.discount_group, list(discounts))
                self.faults.append(f"{one.at}: the discount group {one.discount_group} is not in "
                                   f"{self.place('Discounts')}{near}")  # fmt: skip
        if self.faults:
            more = len(self.faults) - MOST_FAULTS
            told = self.faults[:MOST_FAULTS]
            raise PriceListError([*told, f"{self.name}: and {more} more of such"] if more > 0
                                 else told)  # fmt: skip
        said = " ".join(
            str(c.value) for sheet in self.sheets.values() for _, row in sheet.rows for c in row
            if isinstance(c.value, str) and INVENTED in c.value.casefold()
        )  # fmt: skip
        return PriceList(self.name, tuple(rows), discounts, rates, bool(said))

    def place(self, name: str) -> str:
        """Where the list has its discounts or currencies."""
        path = Path(self.name)
        if path.suffix.casefold() == ".csv":
            return f"{path.stem}.{name.casefold()}.csv beside it"
        return f"the sheet {name}"

    def lines(self, name: str) -> Iterator[tuple[str, dict[str, Cell]]]:
        """Where each row stands and its cells by column; empty rows are passed over."""
        sheet = self.sheets.get(name)
        if sheet is None:
            return
        for number, row in sheet.rows:
            cells = dict(zip(sheet.columns, row, strict=False))
            if any(c.value is not None for c in cells.values()):
                yield f"{sheet.name}, row {number}", cells

    def row(self, line: tuple[str, dict[str, Cell]]) -> PriceRow | None:
        at, cells = line
        before = len(self.faults)
        item = self.text(cells, "item").casefold().replace(" ", "_")
        unit = self.text(cells, "unit").casefold()
        if not item:
            self.faults.append(f"{at}: the column item is empty; write the kind of thing")
        if unit not in (*UNITS, *PER_METRIC):
            known = ", ".join((*UNITS, *PER_METRIC))
            self.faults.append(f"{at}, unit: {unit or 'nothing'} is not one of {known}")
        try:
            where = conditions(self.text(cells, "where"), self.units)
        except ValueError as why:
            self.faults.append(f"{at}, where: {why}")
            where = ()
        cost = self.number(at, cells, "cost", MOST_COST)
        least = self.number(at, cells, "from_amount", MOST_COST)
        lead = self.number(at, cells, "lead_days", Decimal(3650))
        code = self.text(cells, "currency").upper()
        if code and not (len(code) == 3 and code.isalpha()):
            self.faults.append(f"{at}, currency: {code} is not a currency of three letters")
        until = self.day(at, cells, "valid_until")
        if len(self.faults) > before:
            return None
        if unit in PER_METRIC:
            unit, many = PER_METRIC[unit]
            cost, least = (None if n is None else n / many if n is cost else n * many
                           for n in (cost, least))  # fmt: skip
        return PriceRow(
            at, item, where, unit, cost, self.text(cells, "article"),
            self.text(cells, "description"), code, self.text(cells, "supplier"),
            None if lead is None else int(lead), self.text(cells, "discount_group"),
            least or Decimal(0), until,
        )  # fmt: skip

    def discounts(self) -> Iterator[tuple[str, Decimal]]:
        """Percent by group."""
        seen: dict[str, str] = {}
        for at, cells in self.lines("Discounts"):
            group, pct = (
                self.text(cells, "group"),
                self.number(at, cells, "discount_pct", Decimal(100)),
            )
            if group in seen:
                self.faults.append(f"{at}: the group {group} stands twice; first at {seen[group]}")
            elif group and pct is not None:
                seen[group] = at
                yield group, pct

    def rates(self) -> Iterator[tuple[str, Rate]]:
        """Worth by currency."""
        seen: dict[str, str] = {}
        for at, cells in self.lines("Currencies"):
            code = self.text(cells, "currency").upper()
            if code in seen:
                self.faults.append(f"{at}: {code} stands twice; first at {seen[code]}")
                continue
            seen[code] = at
            rate = self.number(at, cells, "rate", Decimal(1_000_000))
            on = self.day(at, cells, "date")
            if rate is None or rate == 0 or on is None:
                self.faults.append(f"{at}: give {code or 'the currency'} a rate above 0 and the "
                                   "day of that rate")  # fmt: skip
            else:
                yield code, Rate(rate, on)

    def text(self, cells: Mapping[str, Cell], name: str) -> str:
        cell = cells.get(name)
        value = None if cell is None else cell.value
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        return "" if value is None else " ".join(str(value).split())

    def number(
        self, at: str, cells: Mapping[str, Cell], name: str, most: Decimal
    ) -> Decimal | None:
        """A number that is not negative; None where the cell is empty."""
        cell = cells.get(name)
        if cell is None or cell.value is None:
            return None
        value = cell.value
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            self.faults.append(f"{at}, {name}: {value} is not a number")
            return None
        if isinstance(value, str) and not cell.text_only:
            self.faults.append(f"{at}, {name}: {value[:30]!r} is text; type it as a number, such "
                               "as 12.50")  # fmt: skip
            return None
        try:
            number = Decimal(str(value))
        except InvalidOperation:
            self.faults.append(f"{at}, {name}: {str(value)[:30]!r} is not a number; write 1250.50, "
                               "without thousands marks or currency signs")  # fmt: skip
            return None
        if not number.is_finite() or number < 0:
            self.faults.append(f"{at}, {name}: {value} cannot be; write a number of 0 or more")
            return None
        if number > most:
            self.faults.append(f"{at}, {name}: {value} is more than {most}; look at the decimal "
                               "point")  # fmt: skip
            return None
        return number

    def day(self, at: str, cells: Mapping[str, Cell], name: str) -> date | None:
        cell = cells.get(name)
        value = None if cell is None else cell.value
        if isinstance(value, datetime):
            return value.date()
        if value is None or isinstance(value, date):
            return value
        try:
            return date.fromisoformat(str(value))
        except ValueError:
            self.faults.append(f"{at}, {name}: {str(value)[:30]!r} is not a date; write it as "
                               "year-month-day, such as 2026-03-31")  # fmt: skip
            return None
