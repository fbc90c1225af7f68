"""The call-out page in a real browser: from a file without a server, and in the pages."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from byrewright.documents.call_sheet import call_html
from byrewright.plant.read import read_plant_text
from byrewright.site.callout.guide import guide_of
from byrewright.site.callout.record import head_of, read_calls, take
from byrewright.site.log import Log, Owner
from byrewright.standards.rulebook import default_rulebook
from tests.plant.small import SMALL
from tests.web.conftest import DATABASES, LOCAL, open_eye

pytestmark = pytest.mark.browser
OWNER = Owner("plant-1", "(invented) one")
SMALL_TARGETS = (
    "[...document.querySelectorAll('button,select,textarea,input:not([type=file])')]"
    ".filter(e=>e.offsetParent).map(e=>e.getBoundingClientRect())"
    ".filter(r=>r.width<48||r.height<48).length"
)


def test_a_caller_is_led_without_a_network_and_nothing_is_lost(
    browser: Any, tmp_path: Path
) -> None:
    """Would fail if the first step took more than three taps, a tap were lost with the battery, a
    target were small, the mark hid a tag, or the record did not read back."""
    guide = guide_of(read_plant_text(SMALL).plant, default_rulebook())
    milk = next(s for s in guide.seen if s.sight.key == "milk")
    first = milk.looks[0]
    path = tmp_path / "call.html"
    path.write_text(call_html(guide, head_of(OWNER), made="2026-03-01"), encoding="utf-8")
    eye = open_eye(browser, "phone", "call")
    page = eye.page
    page.goto(path.as_uri())
    eye.shoot("call-start")
    page.get_by_role("button", name=milk.sight.words).click()
    page.get_by_text(milk.sight.first[0]).wait_for()  # one tap: what to do first
    assert page.locator("figure svg rect.here + use").count() == 1  # the mark behind the tag
    for look in ("light", "dark"):
        page.emulate_media(color_scheme=look)
        assert page.evaluate(SMALL_TARGETS) == 0
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
    yes = "Yes" if len(first.tags) == 1 else f"Yes, at {first.tags[0]}"
    page.get_by_role("button", name=yes, exact=True).click()
    step = guide.looks[first.look].do[0]
    page.get_by_text(step).wait_for()  # two taps: the steps at the machine
    eye.shoot("call-steps")
    # as after a battery that died, which now and then takes a browser's local storage with it
    page.evaluate("kept")
    page.evaluate("localStorage.clear()")
    page.reload()
    page.get_by_text(step).wait_for()
    assert page.evaluate(SMALL_TARGETS) == 0
    page.get_by_role("button", name="It did not help").click()
    page.get_by_role("button", name="No", exact=True).click()
    page.get_by_role("button", name="Back").click()
    page.get_by_role("button", name="Back").click()
    page.get_by_role("button", name=yes, exact=True).click()
    page.get_by_role("button", name="Milking continues").click()
    page.fill("#who", "Anna")
    page.fill("#remark", "sock full of straw")
    page.get_by_role("button", name="Done").click()
    with page.expect_download() as got:
        page.get_by_role("button", name="Save the record").click()
    got.value.save_as(tmp_path / "calls.json")
    page.context.close()
    assert not eye.errors and eye.hosts <= LOCAL
    log = Log(tmp_path / "log.sqlite", OWNER)
    try:
        told, calls = read_calls(tmp_path / "calls.json")
        (entry,) = take(log, "calls.json", told, calls, OWNER)
    finally:
        log.close()
    assert entry.who == "Anna" and entry.tag == first.tags[0]
    assert entry.data["asked"] == [{"look": first.look, "at": first.tags[0], "answer": "yes"}]
    assert (entry.data["outcome"], entry.data["remark"]) == ("goes on", "sock full of straw")


@pytest.mark.parametrize("database", DATABASES.values(), ids=DATABASES)
def test_a_call_needs_no_database(browser: Any, tmp_path: Path, database: str) -> None:
    """Would fail if a browser whose database hangs showed an empty page in an emergency."""
    guide = guide_of(read_plant_text(SMALL).plant, default_rulebook())
    milk = next(s for s in guide.seen if s.sight.key == "milk")
    path = tmp_path / "call.html"
    path.write_text(call_html(guide, head_of(OWNER), made="2026-03-01"), encoding="utf-8")
    eye = open_eye(browser, "phone", "call-no-database")
    eye.page.add_init_script(database)
    eye.page.goto(path.as_uri())
    eye.page.get_by_role("button", name=milk.sight.words).click()
    eye.page.get_by_text(milk.sight.first[0]).wait_for()
    eye.page.reload()  # from the local storage
    eye.page.get_by_text(milk.sight.first[0]).wait_for()
    eye.page.context.close()
    assert not eye.errors
