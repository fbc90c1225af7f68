"""The pages of the quotation and of what changed, in a real browser."""

from __future__ import annotations

import csv
import json
import re
import shutil
import zipfile
from pathlib import Path

import pytest

from tests.web.conftest import ROOT, SMALL, Eye, Served

pytestmark = pytest.mark.browser
WAIT_MS = 180_000  # a study on a busy machine
PRICES = ROOT / "examples" / "prices.csv"


def test_a_list_that_is_brought_is_priced_and_taken(
    eye: Eye, served: Served, tmp_path: Path
) -> None:
    """Would fail if a brought price list were not used, a wrong one not told in a sentence, or the
    files held another total than the page."""
    page = eye.page
    page.goto(served.page(SMALL, "pack"))
    page.get_by_role("link", name="Quotation").click()
    page.get_by_role("heading", name="Quotation").wait_for()
    wrong = tmp_path / f"prices_{eye.size}.csv"  # the server keeps what was brought before
    wrong.write_text("item,unit,cost\nvalve,each,-3\n", encoding="utf-8")
    right = tmp_path / f"own_{eye.size}.csv"
    with PRICES.open(encoding="utf-8", newline="") as file:
        head, *rows = csv.reader(file)
    money, group = head.index("currency"), head.index("discount_group")
    with right.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([head, *(r for r in rows if r[money] in ("", "EUR")
                                            and not r[group])])  # fmt: skip
    for path, told in ((wrong, re.compile(wrong.name)), (right, re.compile("Totals"))):
        page.get_by_label("Or bring your own").set_input_files(str(path))
        page.wait_for_function(
            "name => document.querySelector('#list').selectedOptions[0]?.text === name"
            " && !document.querySelector('#price').disabled",
            arg=path.name,
        )
        page.get_by_role("button", name="Price it").click()
        page.locator("#main").get_by_text(told).last.wait_for(timeout=WAIT_MS)
        if path == wrong:
            page.get_by_text(re.compile("negative|less than|-3")).first.wait_for(timeout=WAIT_MS)
    eye.shoot("quote")
    shown = page.locator("#main").inner_text()
    with page.expect_download() as taking:
        page.get_by_role("link", name=re.compile("Take the quotation")).click()
    taken = tmp_path / "quotation.zip"
    shutil.copy(taking.value.path(), taken)
    with zipfile.ZipFile(taken) as archive:
        assert set(archive.namelist()) == {
            "quotation.pdf", "costs.xlsx", "enquiries.xlsx", "orders.xlsx", "quote.json",
        }  # fmt: skip
        data = json.loads(archive.read("quote.json"))
    assert f"{data['totals']['net']} {data['currency']}" in shown


def test_what_changed_is_told_and_taken(eye: Eye, served: Served, tmp_path: Path) -> None:
    """Would fail if a new tag were told as one machine gone and another come, or the paper could
    not be taken."""
    folder = served.folder / "rows_two_by_twenty"
    text = (folder / "plant.yaml").read_text(encoding="utf-8")
    older = folder / "older.yaml"
    older.write_text(re.sub(r"\bBT1\b", "BT9", text), encoding="utf-8")
    page = eye.page
    try:
        page.goto(served.page(SMALL, "changes", "?old=rows_two_by_twenty~older"))
        page.get_by_role("button", name="Compare").click()
        page.get_by_text("BT9 (Balance tank) is now called BT1").wait_for(timeout=WAIT_MS)
        eye.shoot("changes")
        with page.expect_download() as taking:
            page.get_by_role("link", name=re.compile("as a PDF")).click()
        assert Path(taking.value.path()).read_bytes().startswith(b"%PDF")
    finally:
        older.unlink()
