"""A quotation for a US reader: by the foot and the mile, in his words, the same to the cent."""

from __future__ import annotations

import io
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest

from byrewright.documents.quotation import quotation_data
from byrewright.documents.quote_files import quote_files
from byrewright.documents.quote_units import others_in, quote_in, template_in
from byrewright.plant.plant import Plant
from byrewright.quote.alternates import Difference
from byrewright.quote.prices import COLUMNS
from byrewright.quote.quotation import Quote
from byrewright.quote.read_prices import read_prices
from byrewright.quote.template import template_rows
from byrewright.quote.terms import Travel
from byrewright.standards.rulebook import default_rulebook
from tests.documents.test_us_units import METRIC, WORDS, words_of
from tests.quote.lists import plant, row, whole_list
from tests.quote.test_quotation import TERMS, made

FEET = 1 / 0.3048
AWAY = TERMS.model_copy(update={"travel": Travel(km_each_way=100)})
BOOKS = ("costs.xlsx", "enquiries.xlsx", "orders.xlsx")


@pytest.fixture(scope="module")
def one() -> Quote:
    """A quotation with travel, in metric units."""
    prices = whole_list()
    return made(replace(prices, rows=(*prices.rows, row("travel", "0.9", "km"))), AWAY)


def cells_of(data: bytes) -> list[str]:
    """Every cell of a workbook that does not name keys of the plant file."""
    book = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    return [
        str(c) for sheet in book if sheet.title != "Rows not used"
        for cells in sheet.iter_rows(values_only=True) for c in cells if c is not None
    ]  # fmt: skip


def test_what_an_alternate_changes_is_told_in_the_units_of_its_finding() -> None:
    """Air that a regulator lets in would be told in gallons a minute to who buys the plant."""
    change = "Vacuum regulator capacity, RG1: RG1 can admit 5300 L/min; pumps draw 13586 L/min."
    one = Difference("a", "", Decimal(1), Decimal(0), "USD", True, "", (change,), ("sizing",),
                     ("vacuum.regulator.capacity",))  # fmt: skip
    (told,) = others_in([one], "US")[0].changes
    assert "187 cfm" in told and "480 cfm" in told and "gpm" not in told


def test_no_paper_or_workbook_of_a_us_quotation_is_metric(one: Quote) -> None:
    """A supplier would be asked for metres of 48.6 mm, and a vacuum pump in L/min."""
    files = quote_files(plant(), one, None, (), "US")
    words = [c for name in BOOKS for c in cells_of(files[name])]
    paper = quotation_data(plant(), one, None, (), "US", "letter")
    paper["plan"] = None
    words += words_of(paper)
    assert [w for w in words if METRIC.search(w) or WORDS.search(w)] == []
    assert {w for w in words if w in ("m", "km", "h/m")} == set()
    assert {"ft", "mi", "h/ft"} <= set(words)
    assert any("bore 2.500 in" in w for w in words) and any(" hp" in w for w in words)
    assert any("Lay a foot of pipe over 1 1/2 in and up to 2 1/2 in bore" in w for w in words)


def test_a_us_quotation_is_the_same_to_the_cent(one: Quote) -> None:
    """A length by the foot at the price of a metre would cost three times as much."""
    told = quote_in(one, "US")
    assert (told.net, told.hours) == (one.net, one.hours)
    turned = 0
    for a, b in zip(one.lines, told.lines, strict=True):
        assert a.price == b.price
        many = {"m": FEET, "km": 1 / 1.609344}.get(a.unit, 1.0)
        assert float(b.amount) == pytest.approx(float(a.amount) * many)
        if a.unit_cost is not None and b.unit_cost is not None:
            assert b.amount * b.unit_cost == pytest.approx(a.amount * a.unit_cost)
        turned += a.unit != b.unit
    assert turned > 5
    for a, b in zip(one.norms, told.norms, strict=True):
        many = 1 / FEET if a.unit == "h/m" else 1.0
        assert float(b.hours) == pytest.approx(float(a.hours) * many, abs=0.00006)
    laid = next(n for n in told.lines if n.title.startswith("Lay a foot"))
    feet, _, _, hours, _ = laid.plate.split()
    assert float(feet) * float(hours) == pytest.approx(float(laid.amount), rel=0.01)
    assert quote_in(one, "metric") is one


def test_a_price_by_the_foot_is_a_price_of_feet(tmp_path: Path) -> None:
    """A US supplier's price would be refused, or taken for that of a metre."""
    path = tmp_path / "p.csv"
    path.write_text("item,unit,cost,from_amount\npipe,ft,3.048,100\ntravel,mi,1.609344,\n")
    pipe, travel = read_prices(path, "USD").rows
    assert (pipe.unit, pipe.cost, pipe.from_amount) == ("m", Decimal(10), Decimal("30.48"))
    assert (travel.unit, travel.cost) == ("km", Decimal(1))


def test_an_empty_us_list_asks_by_the_foot_and_is_read_back(tmp_path: Path) -> None:
    """The list that was sent out would come back with units that it refuses."""
    farm: Plant = plant()
    rows = template_rows(farm, default_rulebook(), AWAY)
    told = template_in(rows, "US", COLUMNS)
    names = list(COLUMNS)
    units = {str(r[names.index("unit")]) for r in told}
    assert units == {"each", "ft", "h", "mi"}
    assert [r for r in told if METRIC.search(str(r[names.index("description")]))] == []
    assert [r[names.index("where")] for r in told] == [r[names.index("where")] for r in rows]
    assert template_in(rows, "metric", COLUMNS) == rows
