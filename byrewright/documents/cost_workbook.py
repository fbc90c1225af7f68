"""The cost workbook: the quotation's lines with live formulas, so that one can change and see."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from byrewright.documents.schedule import Cell, Page, new_book, workbook
from byrewright.quote.prices import COLUMNS
from byrewright.quote.quotation import Line, Quote
from byrewright.quote.running import Running
from byrewright.quote.template import Row

LINES = "Lines"
COLUMNS_OF_LINES: tuple[tuple[str, float], ...] = (
    ("No.", 5), ("Section", 14), ("What", 28), ("Figures", 40), ("Tags", 24), ("Amount", 9),
    ("Unit", 6), ("Amount is", 12), ("Article", 12), ("Supplier", 14), ("Unit cost", 10),
    ("Currency", 9), ("Discount, %", 9), ("Rate", 8), ("Cost", 12), ("Contingency, %", 9),
    ("Contingency", 11), ("Margin", 11), ("Price", 12), ("Why there is no price", 40),
)  # fmt: skip
WIDE = len(COLUMNS_OF_LINES)
MARGIN, TAX = "Summary!$B$3", "Summary!$B$4"
FIRST_SECTION = 6
"""Row of the first section on the summary, from 0."""


def cost_workbook(quote: Quote, running: Running | None = None) -> bytes:
    """The workbook as bytes: Summary, Lines, norms, what is not in the price, rows not used.

    Sums, contingency, margin and tax are formulas; their values are those of the quotation.
    """
    memory, book = new_book(f"Costs: {quote.plant}")
    looks = {
        "head": book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1,
                                 "bg_color": "#EFECE3"}),
        "plain": book.add_format({"valign": "top", "text_wrap": True}),
        "tenth": book.add_format({"valign": "top", "num_format": "#,##0.0"}),
        "money": book.add_format({"valign": "top", "num_format": "#,##0.00"}),
        "typed": book.add_format({"valign": "top", "num_format": "#,##0.00##",
                                  "bg_color": "#F6F3EA"}),
        "sum": book.add_format({"bold": True, "num_format": "#,##0.00", "top": 1}),
        "bold": book.add_format({"bold": True, "text_wrap": True}),
    }  # fmt: skip
    _summary(book, quote, looks)
    _lines(book, quote, looks)
    for page in _others(quote, running):
        _page(book, page, looks)
    book.close()
    return memory.getvalue()


def _summary(book: Any, quote: Quote, looks: dict[str, Any]) -> None:
    sheet = book.add_worksheet("Summary")
    sheet.set_column(0, 0, 44)
    sheet.set_column(1, 1, 16)
    last = len(quote.lines) + 1
    prices = f"{LINES}!$S$2:$S${last}"
    sheet.write_string(0, 0, f"Quotation {quote.number} for {quote.plant}", looks["bold"])
    sheet.write_string(1, 0, f"{quote.on}, in {quote.currency}", looks["plain"])
    sheet.write_string(2, 0, "Margin, % of the price", looks["plain"])
    sheet.write_number(2, 1, float(quote.margin_pct), looks["typed"])
    sheet.write_string(3, 0, f"{quote.tax_name.capitalize()}, %", looks["plain"])
    sheet.write_number(3, 1, float(quote.tax_pct or 0), looks["typed"])
    sheet.write_string(5, 0, "Section", looks["head"])
    sheet.write_string(5, 1, f"Price, {quote.currency}", looks["head"])
    at = FIRST_SECTION
    for section in quote.sections:
        sheet.write_string(at, 0, section, looks["plain"])
        formula = f"=SUMIF({LINES}!$B$2:$B${last},A{at + 1},{prices})"
        sheet.write_formula(at, 1, formula, looks["money"], float(quote.sums(section)[3]))
        at += 1
    net = at
    rows: Sequence[tuple[str, str, Decimal]] = (
        ("Price without tax", f"=SUM({prices})", quote.net),
        (quote.tax_name.capitalize(), f"=ROUND(B{net + 1}*B4/100,2)", quote.tax),
        ("Price with tax", f"=B{net + 1}+B{net + 2}", quote.gross),
    )
    for name, formula, value in rows:
        sheet.write_string(at, 0, name, looks["bold"])
        sheet.write_formula(at, 1, formula, looks["sum"], float(value))
        at += 1
    sheet.write_string(at, 0, "Lines without a price (the total is not whole)", looks["plain"])
    sheet.write_formula(at, 1, f'=COUNTIF({prices},"")', looks["plain"], len(quote.missing))
    at += 2
    if quote.stages:
        sheet.write_string(at, 0, "Payments", looks["head"])
        sheet.write_blank(at, 1, None, looks["head"])
        first = at + 1
        for i, (words, pct, amount) in enumerate(quote.stages):
            at += 1
            sheet.write_string(at, 0, f"{words} ({pct:f} %)", looks["plain"])
            before = f"-SUM(B{first + 1}:B{at})" if i else ""
            last_one = i == len(quote.stages) - 1
            formula = f"=B{net + 3}{before}" if last_one else f"=ROUND(B{net + 3}*{pct}/100,2)"
            sheet.write_formula(at, 1, formula, looks["money"], float(amount))
        at += 2
    for note in quote.notes:
        sheet.write_string(at, 0, note, looks["plain"])
        at += 1


def _lines(book: Any, quote: Quote, looks: dict[str, Any]) -> None:
    sheet = book.add_worksheet(LINES)
    for c, (title, width) in enumerate(COLUMNS_OF_LINES):
        sheet.write_string(0, c, title, looks["head"])
        sheet.set_column(c, c, width)
    for r, line in enumerate(quote.lines, 1):
        _line(sheet, r, line, looks)
    sheet.freeze_panes(1, 3)
    sheet.autofilter(0, 0, max(1, len(quote.lines)), WIDE - 1)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)


def _line(sheet: Any, r: int, line: Line, looks: dict[str, Any]) -> None:
    n = r + 1
    words: tuple[Cell, ...] = (
        line.number, line.section, line.title, line.plate, ", ".join(line.tags),
        float(line.amount), line.unit, line.sure, line.article, line.supplier,
    )  # fmt: skip
    for c, value in enumerate(words):
        if isinstance(value, str):
            sheet.write_string(r, c, value, looks["plain"])
        else:
            whole = value is None or value == int(value)
            sheet.write_number(r, c, value, looks["plain" if whole else "tenth"])
    if line.unit_cost is None:
        sheet.write_blank(r, 10, None, looks["typed"])
    else:
        sheet.write_number(r, 10, float(line.unit_cost), looks["typed"])
    sheet.write_string(r, 11, line.currency, looks["plain"])
    sheet.write_number(r, 12, float(line.discount_pct), looks["typed"])
    sheet.write_number(r, 13, float(line.rate), looks["typed"])
    sheet.write_number(r, 15, float(line.contingency_pct), looks["typed"])
    formulas = (
        (14, f'IF(ISNUMBER(K{n}),ROUND(F{n}*K{n}*(100-M{n})/100*N{n},2),"")', line.cost),
        (16, f'IF(ISNUMBER(O{n}),ROUND(O{n}*P{n}/100,2),"")', line.contingency),
        (17, f'IF(ISNUMBER(O{n}),ROUND((O{n}+Q{n})*{MARGIN}/(100-{MARGIN}),2),"")', line.margin),
        (18, f'IF(ISNUMBER(O{n}),O{n}+Q{n}+R{n},"")', line.price),
    )
    for c, formula, worth in formulas:
        shown: Cell = "" if worth is None else float(worth)
        sheet.write_formula(r, c, f"={formula}", looks["money"], shown)
    sheet.write_string(r, 19, line.said, looks["plain"])


def _others(quote: Quote, running: Running | None) -> Iterable[Page]:
    yield Page("Norms", ("Task", "Hours for one", "Unit", "Where from"),
               tuple((n.meaning, float(n.hours), n.unit, n.source)
                     for n in quote.norms))  # fmt: skip
    yield Page("Who supplies what", ("Scope", "What", "Who"), quote.matrix)
    yield Page("Not in the price", ("Who", "Sentence"),
               tuple((e.party, e.sentence) for e in quote.excluded))  # fmt: skip
    yield Page("Rows not used", ("Row of the price list", "Why"), quote.unused)
    if running is not None:
        rows = tuple((p.what, float(p.amount), p.unit, _float(p.price), _float(p.cost),
                      _float(p.least), _float(p.most)) for p in running.parts)  # fmt: skip
        yield Page("Running cost", ("What", "Amount a year", "Unit", "Price", "Cost a year",
                                    "Least", "Most"), rows)  # fmt: skip


def _float(amount: Decimal | None) -> float | None:
    return None if amount is None else float(amount)


def _page(book: Any, page: Page, looks: dict[str, Any]) -> None:
    sheet = book.add_worksheet(page.name)
    for c, title in enumerate(page.titles):
        sheet.write_string(0, c, title, looks["head"])
        longest = max([len(title), *(len(str(row[c] or "")) for row in page.rows)])
        sheet.set_column(c, c, min(70, longest + 2))
    for r, row in enumerate(page.rows, 1):
        for c, value in enumerate(row):
            if isinstance(value, int | float) and not isinstance(value, bool):
                sheet.write_number(r, c, value, looks["plain"])
            elif value is not None:
                sheet.write_string(r, c, str(value), looks["plain"])
    sheet.freeze_panes(1, 0)


ENQUIRY = ("What", "Figures", "Amount", "Unit", "Article", "On site by", "Your price each",
           "Delivery, days", "Valid until")  # fmt: skip
NOBODY = "no supplier yet"


def enquiries_xlsx(quote: Quote) -> bytes:
    """What each supplier is asked for, a sheet each, without our prices."""
    by: dict[str, list[Line]] = {}
    for line in quote.lines:
        if line.section not in ("labour", "travel and hire"):
            by.setdefault(line.supplier or NOBODY, []).append(line)
    sheets = (
        Page(supplier, ENQUIRY, tuple(
            (n.title, n.plate, round(float(n.amount), 1), n.unit, n.article,
             "" if n.needed is None else n.needed.isoformat(), None, None, None) for n in lines
        ))
        for supplier, lines in _named_apart(by)
    )  # fmt: skip
    return workbook("Enquiries", f"Enquiry of {quote.on}", sheets)


def _named_apart(by: dict[str, list[Line]]) -> Iterable[tuple[str, list[Line]]]:
    """Suppliers in order, with names that a workbook takes and tells apart."""
    taken: set[str] = set()
    for supplier, lines in sorted(by.items()):
        stem = "".join(c for c in supplier if c not in "[]:*?/\\'")[:27] or "supplier"
        name, number = stem, 2
        while name.casefold() in taken:
            name, number = f"{stem} {number}", number + 1
        taken.add(name.casefold())
        yield name, lines


ORDERS = ("Order by", "On site by", "Lead time, days", "What", "Figures", "Tags", "Amount", "Unit",
          "Supplier", "Article")  # fmt: skip


def orders_page(quote: Quote) -> Page:
    """What to order, the earliest first; what has no date or lead time stands last."""
    bought = [n for n in quote.lines if n.section not in ("labour", "travel and hire")]
    bought.sort(key=lambda n: (n.order_by is None, str(n.order_by or n.needed or ""), n.number))
    rows = tuple(
        (
            "" if n.order_by is None else n.order_by.isoformat(),
            "" if n.needed is None else n.needed.isoformat(), n.lead_days, n.title, n.plate,
            ", ".join(n.tags), round(float(n.amount), 1), n.unit, n.supplier, n.article,
        )
        for n in bought
    )  # fmt: skip
    return Page("Orders", ORDERS, rows)


def template_xlsx(rows: Sequence[Row], plant: str) -> bytes:
    """An empty price list as a workbook, with what each column takes."""
    prices: tuple[tuple[Cell, ...], ...] = tuple(tuple(row) for row in rows)
    sheets = (
        Page("Prices", tuple(COLUMNS), prices),
        Page("Discounts", ("group", "discount_pct"), ()),
        Page("Currencies", ("currency", "rate", "date"), ()),
        Page("How to fill it in", ("column", "what it takes"), tuple(COLUMNS.items())),
    )
    return workbook("Price list", f"Price list for {plant}", sheets)
