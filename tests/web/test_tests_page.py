"""Test sheets in a real browser: from a file with no server, and in the pages."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from byrewright.documents.test_sheets import sheet_html
from byrewright.plant.read import read_plant_text
from byrewright.site.checks.measured import bench_of
from byrewright.site.checks.sheet import empty, read_json, take
from byrewright.site.log import Log, Owner
from byrewright.standards.rulebook import default_rulebook
from tests.plant.small import SMALL
from tests.web.conftest import DATABASES, LOCAL, Served, Server, open_eye
from tests.web.conftest import SMALL as ROWS

pytestmark = pytest.mark.browser
SLOPE = "milkline_slope@ML1"


def one(page: Any, name: str) -> Any:
    """What has an id, whatever signs are in it."""
    return page.locator(f'[id="{name}"]')


def test_a_sheet_works_from_a_file_and_keeps_what_is_typed(browser: Any, tmp_path: Path) -> None:
    """Would fail if a telephone without a network lost readings, or its file did not read back."""
    ctx = bench_of(tmp_path / "plant.yaml", read_plant_text(SMALL).plant, default_rulebook())
    head = empty("plant-1", "(invented) one", ctx.checks, "sheet-1")
    path = tmp_path / "tests.html"
    path.write_text(sheet_html(head, ctx.checks, made="2026-03-01"), encoding="utf-8")
    photo = tmp_path / "photo.png"
    eye = open_eye(browser, "phone", "sheet")
    page = eye.page
    page.goto(path.as_uri())
    page.screenshot(path=str(photo))
    page.fill("#by", "Anna")
    page.click("#instruments summary")
    page.click("#more")
    for at, text in enumerate(("level 3", "2026-01-15", "0,1", "%")):
        page.locator("#list input").nth(at).fill(text)
    page.click('details[data-group="Milk"] summary')
    one(page, f"v:{SLOPE}").fill("1,1")
    one(page, f"c:{SLOPE}").locator("select").select_option("level 3")
    one(page, "v:level_control@RC1").check()
    one(page, f"c:{SLOPE}").locator("input[type=file]").set_input_files(str(photo))
    one(page, f"c:{SLOPE}").locator("img:not([hidden])").wait_for()
    eye.shoot("test-sheet")
    # as after a battery that died: a photo shows once the database has it and all typed before
    # it, while a browser now and then loses its local storage
    page.evaluate("localStorage.clear()")
    page.reload()
    page.click('details[data-group="Milk"] summary')
    one(page, f"c:{SLOPE}").locator("img:not([hidden])").wait_for()
    assert one(page, f"v:{SLOPE}").input_value() == "1,1"
    assert page.input_value("#by") == "Anna"
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    with page.expect_download() as got:
        page.click("#export")
    got.value.save_as(tmp_path / "out.json")
    page.context.close()
    assert not eye.errors and eye.hosts <= LOCAL
    log = Log(tmp_path / "log.sqlite", Owner("plant-1", "(invented) one"))
    taken = take(log, read_json(tmp_path / "out.json"), ctx.checks, log.owner)
    told = {e.data["check"]: e.data for e in taken.new}
    assert set(told) == {SLOPE, "level_control@RC1"}
    slope = told[SLOPE]
    assert (slope["value"], slope["uncertainty"], slope["instrument"], slope["calibrated"]) == (
        1.1, 0.1, "level 3", "2026-01-15",
    )  # fmt: skip
    assert log.photo(slope["photo"]) is not None
    log.close()


@pytest.mark.parametrize("database", DATABASES.values(), ids=DATABASES)
def test_a_sheet_needs_no_database(browser: Any, tmp_path: Path, database: str) -> None:
    """Would fail if a browser whose database hangs showed an empty sheet, or kept nothing."""
    ctx = bench_of(tmp_path / "plant.yaml", read_plant_text(SMALL).plant, default_rulebook())
    path = tmp_path / "tests.html"
    head = empty("plant-1", "(invented) one", ctx.checks, "sheet-1")
    path.write_text(sheet_html(head, ctx.checks, made="2026-03-01"), encoding="utf-8")
    eye = open_eye(browser, "phone", "sheet-no-database")
    eye.page.add_init_script(database)
    eye.page.goto(path.as_uri())
    eye.page.fill("#by", "Anna")
    for _ in range(5):  # a browser writes its local storage a little late
        eye.page.reload()
        eye.page.locator("details.group").first.wait_for()
        if eye.page.input_value("#by") == "Anna":
            break
    assert eye.page.input_value("#by") == "Anna"
    eye.page.context.close()
    assert not eye.errors


def test_the_page_takes_readings_and_shows_their_verdict(browser: Any, served: Served) -> None:
    """Would fail if what is typed in the pages did not reach the plant's log, or was not judged."""
    eye = open_eye(browser, "phone", "tests")
    eye.refusals = ("400",)
    page = eye.page
    page.goto(served.page(ROWS, "tests"))
    page.locator("caption, h2", has_text="How far it is").wait_for()
    page.click("#fill")
    page.fill("#by", "Anna")
    page.click('details[data-group="Milk"] summary')
    one(page, f"v:{SLOPE}").fill("0.1")
    one(page, f"pm:{SLOPE}").fill("0.05")
    page.click("#send")
    page.get_by_text("Readings entered in the log: 1.").wait_for()
    page.click("#send")
    page.get_by_text("says nothing that is not in the log already").wait_for()
    page.goto(served.page(ROWS, "tests"))
    page.locator("summary", has_text="Least slope of the line").wait_for()
    page.locator("td", has_text="Anna").first.wait_for()
    eye.shoot("tests")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.context.close()
    assert not eye.errors and eye.hosts <= LOCAL


@pytest.fixture
def two_plants(tmp_path: Path) -> Iterator[Server]:
    """Two small plants of one folder."""
    for name in ("north", "south"):
        (tmp_path / name).mkdir()
        own = re.sub(r"name: .*", f'name: "(invented) {name}"', SMALL, count=1)
        (tmp_path / name / "plant.yaml").write_text(own, encoding="utf-8")
    server = Server(tmp_path)
    server.begin()
    yield server
    server.end()


def test_pages_of_one_file_hear_the_server_too_and_keep_plants_apart(
    browser: Any, two_plants: Server
) -> None:
    """Would fail if a served sheet or call-out page kept quiet of a file that changed on disk or of
    a server that is gone, or touched what is typed for it; if readings of one plant stood on the
    sheet of another, or those of the day before were lost at midnight."""
    at = f"http://127.0.0.1:{two_plants.port}"
    north, south = (f"{at}/p/{one}~plant" for one in ("north", "south"))
    eye = open_eye(browser, "phone", "heard")
    eye.refusals = ("500",)
    page = eye.page
    page.goto(f"{north}/tests/fill?sheet=2026-01-05")
    page.fill("#by", "Anna")
    page.click('details[data-group="Milk"] summary')
    one(page, f"v:{SLOPE}").fill("1.1")
    assert page.locator("#changed").is_hidden() and page.locator("#silent").is_hidden()
    file = two_plants.folder / "north" / "plant.yaml"
    file.write_text(file.read_text() + "# a remark of somebody else\n")
    page.locator("#changed", has_text="changed on disk").wait_for(timeout=10_000)
    assert one(page, f"v:{SLOPE}").input_value() == "1.1"
    eye.shoot("sheet-changed")
    page.locator("#changed a").click()
    page.locator("#changed").wait_for(state="hidden")
    page.goto(f"{south}/tests/fill?sheet=2026-01-05")
    page.locator("details.group").first.wait_for()
    assert page.input_value("#by") == "" and page.locator("#earlier a").count() == 0
    page.goto(f"{north}/tests/fill")
    assert page.input_value("#by") == ""
    page.locator("#earlier", has_text="Typed on 2026-01-05").wait_for()
    page.locator("#earlier a").click()
    page.click('details[data-group="Milk"] summary')
    assert one(page, f"v:{SLOPE}").input_value() == "1.1"
    page.click("#send")
    page.get_by_text("Readings entered in the log: 1.").wait_for()
    page.goto(f"{north}/tests/fill")
    page.locator("details.group").first.wait_for()
    assert page.locator("#earlier a").count() == 0
    page.goto(f"{south}/call/lead#milk")
    page.get_by_text("Then look here").wait_for()
    two_plants.kill()
    page.locator("#silent", has_text="NO ANSWER FROM THE SERVER").wait_for(timeout=10_000)
    page.get_by_role("button", name="No", exact=True).click()  # it goes on all the same
    page.get_by_text("Now look here").wait_for()
    eye.shoot("call-silent")
    file = two_plants.folder / "south" / "plant.yaml"
    file.write_text(file.read_text() + "# a remark of somebody else\n")
    two_plants.begin()
    page.locator("#changed", has_text="changed on disk").wait_for(timeout=20_000)
    assert page.locator("#silent").is_hidden()
    page.locator("#changed a").click()
    page.get_by_text("Now look here").wait_for()  # the call is where it was
    assert page.locator("#changed").is_hidden()
    page.context.close()


def test_what_is_no_sheet_is_refused(served: Served) -> None:
    """Would fail if anything sent to the pages gave a traceback or reached the log."""
    import httpx

    where = served.page(ROWS, "tests/entries")
    kinds = {"content-type": "application/json", "origin": served.url}
    for body in ("{", "[]", json.dumps({"byrewright_tests": 1}), json.dumps({"rows": []})):
        answer = httpx.post(where, content=body, headers=kinds, timeout=60)
        assert answer.status_code == 400 and answer.json()["said"]
    assert httpx.post(where, content="{}", headers={"origin": "http://x"}).status_code == 403
    assert httpx.get(served.page("nowhere", "tests/fill")).status_code == 404
