"""The page Readings: a file goes up, its trace and verdicts are shown, then the causes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from byrewright.site.log import Owner, log_of
from tests.web.conftest import FEW, Served, open_eye

pytestmark = pytest.mark.browser
MAP = """readings: 1
files:
  receiver:
    matches: "receiver*.csv"
    time: {column: "seconds", written: seconds}
    channels:
      "vacuum": {is: vacuum, at: RC1, uncertainty: 0.3}
"""


def test_a_file_goes_up_and_causes_come_out(browser: Any, served: Served, tmp_path: Path) -> None:
    """Would fail if the page lost the file, drew no trace, or named no cause."""
    (served.folder / "readings.yaml").write_text(MAP, encoding="utf-8")
    rows = "".join(f"{i / 10:.1f},{42 + 0.1 * (i % 3):.2f}\n" for i in range(600))
    path = tmp_path / "receiver.csv"
    path.write_text("seconds,vacuum\n" + rows, encoding="utf-8")
    eye = open_eye(browser, "desktop", "readings")
    page = eye.page
    page.goto(served.page(FEW, "readings"))
    page.set_input_files("#file", str(path))
    page.click("#send")
    page.locator("h2", has_text="receiver.csv").wait_for()
    page.locator("figure svg").first.wait_for()
    page.locator("td", has_text="Vacuum, mean").first.wait_for()
    page.get_by_text("does not tell when it began").wait_for()
    page.fill("input[name='who']", "Anna Example")
    page.click("#keep")
    page.get_by_text("Figures entered in the log").wait_for()
    page.set_input_files("#file", str(path))
    page.click("#send")
    page.get_by_text("these readings are in the log already").wait_for()
    log = log_of(served.folder / "few.yaml", Owner("", ""))
    entries = log.entries("reading")
    log.close()
    assert entries and {(e.who, e.data["file"]) for e in entries} == {
        ("Anna Example", "receiver.csv")}  # fmt: skip
    page.locator("input[value='vacuum low']").check()
    page.click("#ask")
    page.get_by_text("Causes, the likeliest first").first.wait_for(timeout=180_000)
    page.get_by_text("What to measure next").first.wait_for()
    assert page.locator("input[value='vacuum low']").is_checked()
    eye.shoot("readings")


def test_a_file_that_no_map_knows_is_refused_in_a_sentence(
    browser: Any, served: Served, tmp_path: Path
) -> None:
    """Would fail if a wrong file ended in a fault of the program, or in silence."""
    (served.folder / "readings.yaml").write_text(MAP, encoding="utf-8")
    path = tmp_path / "other.csv"
    path.write_text("a,b\n1,2\n", encoding="utf-8")
    page = open_eye(browser, "phone", "readings").page
    page.goto(served.page(FEW, "readings"))
    page.set_input_files("#file", str(path))
    page.click("#send")
    page.locator(".say.bad").wait_for()
    assert "other.csv" in page.locator(".say.bad").inner_text()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
