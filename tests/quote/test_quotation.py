"""A quotation that can be defended: nothing invented, nothing lost, every paper the same cent."""

from __future__ import annotations

import io
import json
import math
import subprocess
from dataclasses import replace
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.documents.cost_workbook import cost_workbook, enquiries_xlsx, orders_page
from byrewright.documents.quotation import quotation_data, quotation_pdf
from byrewright.quote.labour import Done, read_jobs
from byrewright.quote.prices import PriceList, Rate, conditions
from byrewright.quote.quotation import Quote, quote
from byrewright.quote.running import running_cost
from byrewright.quote.terms import Terms, Travel
from byrewright.results import Finding, ResultBuilder
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.count import count
from tests.quote.lists import DAY, plant, row, whole_list

EXAMPLES = 12  # a workbook each; more add seconds and no new path
TERMS = Terms.model_validate(
    {"margin_pct": 13.5, "tax_pct": 19.6, "valid_days": 30,
     "stages": [{"at": "order", "pct": 33.3}, {"at": "site", "pct": 33.3},
                {"at": "milking", "pct": 33.4}]}
)  # fmt: skip


def made(prices: PriceList | None = None, terms: Terms = TERMS, on: date = DAY) -> Quote:
    """A quotation of the small plant."""
    return quote(plant(), prices or whole_list(), terms, on)


def cells(data: bytes, sheet: str) -> list[tuple[Any, ...]]:
    """The values of a sheet."""
    book = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    return list(book[sheet].iter_rows(values_only=True))


def of_summary(data: bytes, name: str) -> Decimal:
    """A figure of the summary, to the cent."""
    value = next(r[1] for r in cells(data, "Summary") if r[0] == name)
    return Decimal(str(value)).quantize(Decimal("0.01"))


@settings(max_examples=EXAMPLES)
@given(
    st.lists(st.decimals(0, 99999, places=3), min_size=1, max_size=7),
    st.decimals(0, 60, places=2),
    st.decimals(0, 30, places=2),
    st.decimals("0.01", 9, places=4),
)
def test_paper_workbook_and_data_agree_to_the_cent(
    costs: list[Decimal], margin: Decimal, tax: Decimal, rate: Decimal
) -> None:
    """The customer's paper, the workbook and the JSON would show different money."""
    terms = TERMS.model_copy(update={"margin_pct": float(margin), "tax_pct": float(tax)})
    prices = whole_list(costs, rates={"USD": Rate(rate, DAY)})
    prices = replace(prices, rows=tuple(replace(r, currency="USD") for r in prices.rows))
    one = made(prices, terms)
    data = json.loads(json.dumps(one.to_dict()))
    paper = quotation_data(plant(), one, None, (), "metric", "a4")
    book = cost_workbook(one)

    def read(text: str) -> Decimal:
        return Decimal(text.replace("\u00a0", ""))

    assert Decimal(data["totals"]["net"]) == read(paper["net"]) == of_summary(
        book, "Price without tax"
    )  # fmt: skip
    assert Decimal(data["totals"]["gross"]) == read(paper["gross"]) == of_summary(
        book, "Price with tax"
    )  # fmt: skip
    # totals are sums of the lines shown, on paper and in the data
    shown = [read(r[3]) for s in paper["lists"] for r in s["rows"]]
    assert sum(shown) == read(paper["net"]) == sum(Decimal(n["price"]) for n in data["lines"])
    assert sum(read(s[1]) for s in paper["sections"]) == read(paper["net"])
    assert sum(read(s[2]) for s in paper["stages"]) == read(paper["gross"])


def test_a_line_is_the_amount_times_the_cost_less_discount_worked_by_hand() -> None:
    """Discount, rate, contingency or margin would be left out, or rounded at the wrong place."""
    prices = PriceList(
        "list", (row("milking_unit", "641.37", currency="USD", discount_group="a"),),
        {"a": Decimal("12.5")}, {"USD": Rate(Decimal("0.91"), DAY)},
    )  # fmt: skip
    line = next(n for n in made(prices).lines if n.item == "milking_unit")
    assert line.amount == 24 and line.cost is not None
    assert line.cost == Decimal("12256.58")  # 24 x 641.37 x 0.875 x 0.91 = 12256.5807
    assert line.contingency == Decimal("245.13")  # 2 % of what is counted
    assert line.margin == Decimal("1951.13")  # (12256.58 + 245.13) x 13.5 / 86.5
    assert line.price == Decimal("14452.84")


def test_a_missing_price_is_named_and_the_total_says_that_it_is_not_whole() -> None:
    """A price would be invented, or a hole in the total would not be told."""
    prices = whole_list()
    fewer = replace(prices, rows=tuple(r for r in prices.rows if r.item != "vacuum_pump"))
    one = made(fewer)
    assert {n.item for n in one.missing} == {"vacuum_pump"} and not one.whole
    assert "not whole" in one.answer
    assert "item vacuum_pump, where capacity_l_min_free=" in one.missing[0].said
    paper = quotation_data(plant(), one, None, (), "metric", "a4")
    assert "not whole" in paper["answer"] and paper["missing"]
    assert of_summary(cost_workbook(one), "Lines without a price (the total is not whole)") == len(
        one.missing
    )


def test_what_is_out_of_date_doubly_matched_or_too_few_is_not_priced() -> None:
    """An old, ambiguous or unreachable price would be used without a word."""

    def why(*rows: Any, articles: dict[str, str] | None = None) -> Any:
        terms = TERMS.model_copy(update={"articles": articles or {}})
        found = made(PriceList("list", rows), terms).lines
        return next(n for n in found if n.item == "milking_unit")

    old = row("milking_unit", "10", valid_until=DAY - timedelta(days=1))
    assert why(old).why == "out of date" and str(old.valid_until) in why(old).said
    assert why(replace(old, valid_until=DAY)).why == "priced"
    a, b = row("milking_unit", "10", article="A"), row("milking_unit", "12", article="B")
    assert why(a, b).why == "doubly matched" and "(A)" in why(a, b).said
    tag = next(t for t, m in plant().equipment.items() if m.kind == "milking_unit")
    assert why(a, b, articles={tag: "B"}).unit_cost == 12
    many = replace(a, from_amount=Decimal(25))
    assert why(many).why == "too few"
    assert why(a, replace(many, from_amount=Decimal(24), cost=Decimal(8))).unit_cost == 8
    assert why(row("milking_unit", None)).why == "not filled in"
    assert why(row("milking_unit", "10", "m")).why == "other unit"


def test_figures_choose_the_row_and_a_missing_figure_never_matches() -> None:
    """A pump of another size would be priced."""
    fits = conditions("capacity_l_min_free=1..99999; speed=variable")
    pumps = [i for i in count(plant()) if i.kind == "vacuum_pump"]
    assert pumps and all(c.holds(i.figures) for c in fits[:1] for i in pumps)
    assert not any(c.holds(i.figures) for c in conditions("no_such_figure<=5") for i in pumps)
    assert str(conditions("bore_mm=2in", {"bore_mm": "mm"})[0]) == "bore_mm=50.8"


def test_rows_that_price_nothing_are_told_with_what_they_may_have_meant() -> None:
    """A slip in the list would pass as a row for another plant."""
    prices = whole_list()
    slips = (row("vacum_pump", "5"), row("pipe", "5", "m", where=conditions("diameter=50")))
    told = dict(made(replace(prices, rows=prices.rows + slips)).unused)
    assert any("did you mean vacuum_pump" in why for why in told.values())
    assert any("no figure called diameter; it has service, bore_mm" in why for why in told.values())


def test_who_supplies_what_moves_lines_out_and_says_so() -> None:
    """Something would be in nobody's price, or in two."""
    everything = made()
    assert not [n for n in everything.lines if n.scope in ("boards", "refrigeration", "site")]
    said = " ".join(e.sentence for e in everything.excluded)
    assert "The electrician supplies switchboards" in said and "The builder supplies floors" in said
    tag = next(t for t, m in plant().equipment.items() if m.kind == "vacuum_pump")
    mine = made(terms=TERMS.model_copy(update={"supplies": {tag: "farm", "boards": "installer"}}))
    assert [n for n in mine.lines if n.scope == "boards"]
    pumps = [n for n in mine.lines if n.item == "vacuum_pump"]
    assert tag not in [t for n in pumps for t in n.tags]
    assert any(e.party == "farm" and tag in e.sentence for e in mine.excluded)
    counted = {t for n in (*everything.lines,) if n.section == "machines" for t in n.tags}
    others = " ".join(w for e in everything.excluded for w in e.counted)
    machines = {t for i in count(plant()) if i.group == "machines" for t in i.tags}
    assert machines - counted and all(t in others or "x" in others for t in machines - counted)


def test_hours_follow_norms_terms_and_finished_jobs(tmp_path: Path) -> None:
    """A norm that the user edits, or what finished jobs took, would change nothing."""

    def hours(terms: Terms, done: dict[str, Done] | None = None) -> Decimal:
        one = quote(plant(), whole_list(), terms, DAY, None, done)
        return sum((n.amount for n in one.lines if n.title == "Set a pipe support"), Decimal(0))

    usual = hours(TERMS)
    halved = TERMS.model_copy(update={"norms": {"support_h": 0.125}})
    assert abs(hours(halved) * 2 - usual) <= Decimal("0.2")
    jobs = tmp_path / "jobs.csv"
    jobs.write_text("job,task,amount,hours\nA,support_h,100,40\nB,support_h,300,160\n")
    done = read_jobs(jobs)
    assert done["support_h"] == Done(Decimal("0.500"), 2, Decimal("0.400"), Decimal("0.533"))
    assert abs(hours(TERMS, done) - usual * 2) <= Decimal("0.2")


def test_running_cost_has_the_range_of_its_parts_worked_by_hand() -> None:
    """The range would be one factor on the whole, or one unsure part would widen all the others."""
    book = ResultBuilder("day", "x")
    for key, value in (("day.water_day", 10.0), ("day.labour", 4.0)):
        book.findings.append(Finding(key, "", key, value, "", "", "holds"))
    book.notes.append("The days are of July, the worst of the site's water and air for cooling.")
    terms = Terms.model_validate({"running": {"water_m3": 2, "labour_h": 20, "rise_pct": 0}})
    rules = default_rulebook()
    made = running_cost(plant(), book.result(), terms, rules)
    water, labour = 10 * 365 * 2, 4 * 365 * 20
    assert made.year == water + labour and not made.whole  # service has no price
    assert "The days are of July" in made.basis
    down = [
        part * (1 - rules.number(f"quote.{name}_use_low") * rules.number(f"quote.{name}_price_low"))
        for name, part in (("water", water), ("labour", labour))
    ]
    assert float(made.year - made.year_least) == pytest.approx(math.hypot(*down), abs=0.02)
    assert made.years == made.year * 15
    spread = rules.number("quote.rise_spread_pct") / 100
    least = sum(float(made.year_least) * (1 - spread) ** i for i in range(15))
    assert float(made.least) == pytest.approx(least, abs=0.2)


def test_contingency_goes_by_how_sure_an_amount_is() -> None:
    """A guess would carry no more reserve than what was measured."""
    away = TERMS.model_copy(update={"travel": Travel(km_each_way=40)})
    by = {n.sure: n.contingency_pct for n in made(terms=away).lines}
    rules = default_rulebook()
    assert by["measured"] == Decimal(str(rules.number("quote.contingency_measured_pct")))
    assert by["guessed"] == Decimal(str(rules.number("quote.contingency_guessed_pct")))


def test_the_quotation_says_that_its_pipe_is_longer_than_the_drawings() -> None:
    """A customer who adds up the fitter's lists would find a tenth less pipe than is charged."""
    said = [n for n in made(whole_list([Decimal(1)])).notes if n.startswith("Pipe: 10 %")]
    assert len(said) == 1


def test_the_offer_ends_with_its_first_price() -> None:
    """The customer could accept a price that the supplier no longer holds."""
    prices = whole_list()
    ends = DAY + timedelta(days=9)
    some = (replace(prices.rows[0], valid_until=ends), *prices.rows[1:])
    assert made(replace(prices, rows=some)).valid_until == ends
    assert made().valid_until == DAY + timedelta(days=30)


def test_orders_come_first_things_first_and_enquiries_hold_no_price_of_ours() -> None:
    """A long delivery would be ordered too late, or a supplier would see what another asks."""
    prices = whole_list([Decimal("7777.77")])
    slow = tuple(replace(r, lead_days=90 if r.item == "receiver" else 5, supplier="S & [1]")
                 for r in prices.rows)  # fmt: skip
    terms = TERMS.model_copy(update={"needed": {"all": "2026-06-15"}})
    one = made(replace(prices, rows=slow), terms)
    first = orders_page(one).rows[0]
    assert first[0] == "2026-03-17" and first[3] == "Receiver"  # 90 days before the 15th of June
    assert one.warnings == ()
    soon = TERMS.model_copy(update={"needed": {"all": "2026-05-04"}})
    (late,) = made(replace(prices, rows=slow), soon).warnings
    assert late == "Receiver had to be ordered by 2026-02-03 to be on site by 2026-05-04."
    book = openpyxl.load_workbook(io.BytesIO(enquiries_xlsx(one)))
    values = [v for sheet in book for r in sheet.iter_rows(values_only=True) for v in r]
    assert "Receiver" in values and not any("7777" in str(v) for v in values)


@pytest.mark.soffice
def test_libreoffice_comes_to_the_same_cents(tmp_path: Path) -> None:
    """A formula of the workbook would be wrong, and the user who changes a price misled.

    The workbook is stripped of the values that were written into it, so that all of them are
    LibreOffice's own.
    """
    costs = [Decimal(n * 7919 % 100003) / 1000 for n in range(1, 90)]
    prices = whole_list(costs, discounts={"d": Decimal("7.5")})
    with_groups = [
        replace(r, discount_group="d" if i % 2 else "") for i, r in enumerate(prices.rows)
    ]
    one = made(replace(prices, rows=tuple(with_groups[:-3])))
    source = tmp_path / "costs.xlsx"
    bare = openpyxl.load_workbook(io.BytesIO(cost_workbook(one)))
    bare.save(source)
    subprocess.run(
        ["soffice", f"-env:UserInstallation=file://{tmp_path}/profile", "--headless",
         "--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(tmp_path / "out"),
         str(source)],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    data = (tmp_path / "out" / "costs.xlsx").read_bytes()
    prices_there = [r[18] for r in cells(data, "Lines")[1:]]
    assert len(prices_there) == len(one.lines) and not one.whole
    for line, value in zip(one.lines, prices_there, strict=True):
        theirs = None if value in ("", None) else Decimal(str(value)).quantize(
            Decimal("0.01"), ROUND_HALF_UP
        )  # fmt: skip
        assert theirs == line.price, line
    assert of_summary(data, "Price without tax") == one.net
    assert of_summary(data, "Price with tax") == one.gross
    assert of_summary(data, "Lines without a price (the total is not whole)") == len(one.missing)


@pytest.mark.poppler
def test_the_paper_says_what_the_data_says(tmp_path: Path) -> None:
    """The PDF itself would show another total, or not that it is not whole."""
    one = made(replace(whole_list(), rows=whole_list().rows[:-2]))
    path = tmp_path / "q.pdf"
    path.write_bytes(quotation_pdf(plant(), one, paper="letter", units="US"))
    text = subprocess.run(["pdftotext", "-layout", str(path), "-"], check=True,
                          capture_output=True, text=True).stdout  # fmt: skip
    assert "not whole" in text and "INVENTED" in text
    spaces = text.replace("\u00a0", " ")
    assert f"{one.net:,.2f}".replace(",", " ") in spaces and " ft" in text
