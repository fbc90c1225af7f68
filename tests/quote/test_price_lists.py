"""Price lists as people make them: every one is read, or refused in a clear sentence."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from byrewright.documents.cost_workbook import template_xlsx
from byrewright.quote import read_prices as reader
from byrewright.quote.prices import COLUMNS, PriceListError
from byrewright.quote.read_prices import read_prices
from byrewright.quote.template import template_rows
from byrewright.quote.terms import Terms
from byrewright.standards.rulebook import default_rulebook
from tests.quote.lists import plant

HEADS = ["item", "unit", "cost", "currency", "where", "valid_until"]


def book(change: Callable[[Any], None]) -> Any:
    """A sound list of two rows, with something changed."""
    made = openpyxl.Workbook()
    sheet = made.active
    assert sheet is not None
    sheet.title = "Prices"
    sheet.append(HEADS)
    sheet.append(["pipe", "m", 12.5, None, "bore_mm<=65", None])
    sheet.append(["receiver", "each", 1900, None, None, None])
    change(made)
    return made


def put(cell: str, value: Any) -> Callable[[Any], None]:
    """Another value in a cell."""

    def change(made: Any) -> None:
        made["Prices"][cell] = value

    return change


def hide(made: Any) -> None:
    """A row out of sight."""
    made["Prices"].row_dimensions[3].hidden = True


def hide_column(made: Any) -> None:
    """A column out of sight."""
    made["Prices"].column_dimensions["C"].hidden = True


def merge(made: Any) -> None:
    """Two cells as one."""
    made["Prices"].merge_cells("C2:C3")


def own_rate(made: Any) -> None:
    """A rate of the quotation's own currency that is not 1."""
    sheet = made.create_sheet("Currencies")
    sheet.append(["currency", "rate", "date"])
    sheet.append(["EUR", 1.1, "2026-03-02"])


def rename(made: Any) -> None:
    """The sheet under another name."""
    made["Prices"].title = "Sheet1"


BAD: tuple[tuple[Callable[[Any], None], str], ...] = (
    (put("C2", "about 12"), "row 2, cost: 'about 12' is text; type it as a number"),
    (put("C2", "12.50"), "row 2, cost: '12.50' is text; type it as a number"),
    (put("C2", -4), "row 2, cost: -4 cannot be; write a number of 0 or more"),
    (put("C2", 1e12), "row 2, cost: 1000000000000 is more than"),
    (put("D3", "USD"), "row 3: the price is in USD and the quotation in EUR; give USD a rate"),
    (put("D3", "dollars"), "row 3, currency: DOLLARS is not a currency of three letters"),
    (hide, "row 3: is hidden; show it or delete it"),
    (hide_column, "column C is hidden"),
    (merge, "the cells C2:C3 are merged; split them"),
    (put("C2", "=C3*2"), "cell C2: holds the formula =C3*2 and no value"),
    (put("C2", "#REF!"), "cell C2: holds the error #REF!"),
    (put("B2", "metre"), "row 2, unit: metre is not one of each, m, h, km, day"),
    (put("E2", "bore less than 65"), "row 2, where: 'bore less than 65' is not a condition"),
    (put("E2", "bore_mm=65..40"), "row 2, where: 'bore_mm=65..40': write the range"),
    (put("F2", "soon"), "row 2, valid_until: 'soon' is not a date"),
    (put("C1", "price"), "no row names the columns item, unit, cost"),
    (put("D1", "curency"), "the column curency is not known"),
    (put("D1", "item"), "the column item stands twice"),
    (own_rate, "the quotation is in EUR, which stands at 1.1 in the sheet Currencies"),
    (rename, "has no sheet called Prices (it has Sheet1)"),
)  # fmt: skip


@pytest.mark.parametrize(("change", "sentence"), BAD, ids=[s[:40] for _, s in BAD])
def test_a_bad_workbook_is_refused_in_one_sentence(
    change: Callable[[Any], None], sentence: str, tmp_path: Path
) -> None:
    """A price would be misread, or the user left with a traceback."""
    path = tmp_path / "prices.xlsx"
    book(change).save(path)
    with pytest.raises(PriceListError) as caught:
        read_prices(path, "EUR")
    assert sentence in str(caught.value)
    assert len(caught.value.faults) == 1 and str(path) in str(caught.value)


def test_a_sound_list_is_read_from_both_kinds_of_file(tmp_path: Path) -> None:
    """The same list would give other prices as a workbook than as CSV."""
    book(lambda _: None).save(tmp_path / "prices.xlsx")
    text = "item;unit;cost;where\npipe;m;12.5;bore_mm<=65\nreceiver;each;1900;\n"
    (tmp_path / "prices.csv").write_text(text, encoding="utf-8-sig")
    a, b = (read_prices(tmp_path / f"prices.{end}", "EUR").rows for end in ("xlsx", "csv"))
    assert [(r.item, r.cost, r.where) for r in a] == [(r.item, r.cost, r.where) for r in b]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"item,unit,cost\npipe,m,12\xe92\n", "is not UTF-8 text"),
        (b'item,unit,cost\npipe,m,"12,50"\n', "'12,50' is not a number; write 1250.50"),
        (b"item,unit,cost\npipe,m,nan\n", "cannot be; write a number of 0 or more"),
        (b"item,unit,cost\n", "holds no price"),
        (b"", "no row names the columns"),
        (b"item,unit,cost\n\x00\n", "is not a text file"),
    ],
)
def test_a_bad_csv_is_refused_in_one_sentence(data: bytes, sentence: str, tmp_path: Path) -> None:
    """A price would be misread, or the user left with a traceback."""
    path = tmp_path / "prices.csv"
    path.write_bytes(data)
    with pytest.raises(PriceListError) as caught:
        read_prices(path, "EUR")
    assert sentence in str(caught.value) and len(caught.value.faults) == 1


def test_a_list_too_long_or_no_workbook_at_all_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A million rows would take the computer with them, a wrong file a traceback."""
    monkeypatch.setattr(reader, "MOST_ROWS", 1)
    book(lambda _: None).save(tmp_path / "long.xlsx")
    (tmp_path / "long.csv").write_text("item,unit,cost\npipe,m,1\npipe,m,2\n")
    (tmp_path / "no.xlsx").write_bytes(b"PK\x03\x04 no workbook")
    for name, sentence in (
        ("long.xlsx", "more than 1 rows"),
        ("long.csv", "more than 1 rows"),
        ("no.xlsx", "cannot be read as a workbook"),
        ("gone.xlsx", "no such file"),
    ):
        with pytest.raises(PriceListError) as caught:
            read_prices(tmp_path / name, "EUR")
        assert sentence in str(caught.value)


def test_the_template_filled_in_prices_everything(tmp_path: Path) -> None:
    """A user who fills in every row would still be told that prices are missing."""
    from byrewright.quote.quotation import quote
    from tests.quote.lists import DAY

    rows = template_rows(plant(), default_rulebook(), Terms())
    path = tmp_path / "prices.xlsx"
    path.write_bytes(template_xlsx(rows, "(invented) farm"))
    empty = read_prices(path, "EUR")
    assert len(empty.rows) == len(rows) and all(r.cost is None for r in empty.rows)
    filled = openpyxl.load_workbook(path)
    sheet = filled["Prices"]
    for number in range(2, sheet.max_row + 1):
        sheet.cell(number, list(COLUMNS).index("cost") + 1).value = number + 0.5
    filled.save(path)
    made = quote(plant(), read_prices(path, "EUR"), Terms(), DAY)
    assert made.whole, [f"{n.title} {n.plate}: {n.said}" for n in made.missing]
    # rows for what others supply stay without use; no other row may
    assert all("this plant has no" not in why for _, why in made.unused)
