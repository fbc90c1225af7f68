"""The pages Service and Call-out in a real browser: what is entered reaches the plant's log."""

from __future__ import annotations

import time
from typing import Any

import pytest

from byrewright.site.log import Log, New, Owner, log_beside
from tests.web.conftest import FEW, LOCAL, SMALL, Served, open_eye
from tests.web.test_call_page import SMALL_TARGETS

pytestmark = pytest.mark.browser
DAY_S = 86_400.0


@pytest.fixture
def visited(served: Served) -> Served:
    """The pages, and a plant whose leakage was read at four visits."""
    path = served.folder / (SMALL.replace("~", "/") + ".yaml")
    from byrewright.plant.read import read_plant

    plant = read_plant(path).plant
    log = Log(log_beside(path), Owner(plant.site.id or "", plant.site.name))
    now = time.time()
    try:
        log.append(
            New("test", now - days * DAY_S, "", "Anna", {
                "check": "system_leak", "value": value, "unit": "L/min", "outcome": "read",
                "title": "Vacuum-system leakage", "uncertainty": 5.0, "sheet": "s",
            }, uid=f"leak-{days}")
            for days, value in ((720, 60.0), (480, 75.0), (240, 95.0), (30, 110.0))
        )  # fmt: skip
    finally:
        log.close()
    return served


def test_service_shows_trends_and_takes_what_was_done(browser: Any, visited: Served) -> None:
    """Would fail if a trend had no picture, or work done on a tablet did not reach the log."""
    eye = open_eye(browser, "phone", "service", comes_back=True)
    page = eye.page
    page.goto(visited.page(SMALL, "service"))
    page.locator(".trend svg circle").first.wait_for(timeout=120_000)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    overdue = page.locator("b", has_text="overdue")
    overdue.wait_for()
    before = overdue.inner_text()
    page.select_option("#which", label="VP1: test the capacity")
    page.click("#enter")
    page.get_by_text("say who read or did it, by name").wait_for()
    page.fill("#who", "Anna")
    page.click("#enter")
    page.get_by_text("Entered in the log.").wait_for(timeout=60_000)
    assert overdue.inner_text() != before
    eye.shoot("service")
    eye.close()
    assert not eye.errors and eye.hosts <= LOCAL


def test_a_call_on_a_telephone_reaches_the_log(browser: Any, served: Served) -> None:
    """Would fail if a tile did not lead to a step, or the record stayed on the telephone."""
    eye = open_eye(browser, "phone", "callout", comes_back=True)
    page = eye.page
    page.goto(served.page(FEW, "call"))
    page.locator("#see-dark").wait_for()
    eye.shoot("callout")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.click("#see-dark")
    page.get_by_text("Get a torch").wait_for(timeout=60_000)
    assert page.evaluate(SMALL_TARGETS) == 0
    page.locator("button", has_text="Yes").first.click()
    page.get_by_role("button", name="I have called").click()
    page.fill("#who", "Berta")
    page.get_by_role("button", name="Done").click()
    page.get_by_text("Entered in the log: 1.").wait_for(timeout=60_000)
    page.goto(served.page(FEW, "call"))
    page.locator("td", has_text="Berta").wait_for()
    page.get_by_text("somebody was called").wait_for()
    eye.close()
    assert not eye.errors and eye.hosts <= LOCAL
