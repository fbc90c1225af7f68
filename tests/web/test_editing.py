"""What is typed is not lost; reasons of changed numbers are marked; others' work is not stopped."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from byrewright.plant.edit import edit_plant
from byrewright.plant.read import read_plant, read_plant_text
from byrewright.results import Finding, Result
from byrewright.web.changes import verdict_changes
from tests.plant.small import SMALL as FEW_MACHINES
from tests.web.conftest import Server, open_eye

WAIT_MS = 180_000  # a study on a busy machine
OFFER_IN_VIEW = """() => {
    const r = document.getElementById("put_back").getBoundingClientRect();
    return r.top >= 0 && r.bottom <= innerHeight;
}"""


@pytest.fixture(scope="module")
def served_alone(tmp_path_factory: pytest.TempPathFactory, examples: Path) -> Iterator[Server]:
    """A server that a test may restart."""
    folder = tmp_path_factory.mktemp("edited")
    (folder / "plant.yaml").write_text(FEW_MACHINES, encoding="utf-8")
    shutil.copy(examples / "rotary_round_the_clock" / "plant.yaml", folder / "longest.yaml")
    server = Server(folder)
    server.begin()
    yield server
    server.end()


@pytest.mark.browser
def test_typed_figures_survive_no_network_a_restart_and_a_reload(
    browser: Any, served_alone: Server
) -> None:
    """Would fail if an engineer lost what was typed because a cable was out or a server restarted;
    or one figure could not be taken back alone, or the reason of a changed one stayed unmarked."""
    server = served_alone
    path = server.folder / "plant.yaml"
    eye = open_eye(browser, "tablet", "editing")
    page = eye.page
    page.goto(f"http://127.0.0.1:{server.port}/p/plant/edit?pick=VP1")
    page.get_by_label("Motor rating").fill("37")
    page.locator("pre.diff .add", has_text="37").wait_for(timeout=WAIT_MS)
    assert page.locator("#put_back").count() == 0  # typed here and now: nothing to offer
    page.context.set_offline(True)
    page.locator("#silent").wait_for(timeout=10_000)
    page.get_by_label("Motor rating").fill("45")
    server.kill()
    server.begin()
    page.context.set_offline(False)
    page.locator("#put_back").wait_for(timeout=WAIT_MS)  # it came back by itself and offers
    for width, height in ((390, 844), (820, 1180)):  # in view, though the page is long
        page.set_viewport_size({"width": width, "height": height})
        page.get_by_label("Motor rating").evaluate("e => e.scrollIntoView({block: 'start'})")
        assert page.evaluate("scrollY") > 0
        page.wait_for_function(OFFER_IN_VIEW)
    eye.shoot("typed-before")
    page.reload()
    page.locator("#put_back").wait_for(timeout=WAIT_MS)
    page.get_by_label("Motor rating").fill("44")  # typed meanwhile: it wins over what is offered
    page.locator("#put_back").wait_for(state="detached", timeout=WAIT_MS)
    page.get_by_label("Motor rating").fill("45")
    page.locator("pre.diff .add", has_text="45").wait_for(timeout=WAIT_MS)
    page.reload()
    page.locator("#put_back").click(timeout=WAIT_MS)
    page.locator("pre.diff .add", has_text="45").wait_for(timeout=WAIT_MS)
    assert page.get_by_label("Motor rating").input_value() == "45"
    page.locator("[id^=undo-equipment-VP1]").click()
    page.get_by_text("Nothing has been changed").wait_for()
    page.get_by_label("Motor rating").fill("46")
    page.locator("pre.diff .add", has_text="46").wait_for(timeout=WAIT_MS)
    page.locator("#save").click()
    page.get_by_text("Saved.").wait_for()
    assert "46" in path.read_text()
    page.wait_for_timeout(1500)
    assert page.locator("#changed").is_hidden()  # the page saved it itself
    page.reload()
    page.locator("#which").wait_for()
    page.wait_for_timeout(1000)
    assert page.locator("#put_back").count() == 0
    start = page.context.new_page()
    start.goto(f"http://127.0.0.1:{server.port}/")  # the page of all plants
    start.locator("#live").wait_for(state="attached")
    assert start.locator("#changed").is_hidden()
    path.write_text(path.read_text() + "# a remark of somebody else\n")
    for one in (page, start):
        one.locator("#changed", has_text="changed on disk").wait_for(timeout=10_000)
    page.context.close()


def test_the_reason_of_a_changed_number_is_marked(examples: Path) -> None:
    """Would fail if a comment went on giving the reason for a number that is not there any more."""
    file = read_plant(examples / "rows_two_by_twenty" / "plant.yaml")
    old = file.plant.herd.yield_std_dev
    text = edit_plant(file, {"herd.yield_std_dev": 0.25}, mark_reasons=True)
    (line,) = [one for one in text.splitlines() if one.lstrip().startswith("yield_std_dev")]
    assert "0.25" in line and f"[written for yield_std_dev {old:g}]" in line
    assert read_plant_text(text).plant.herd.yield_std_dev == 0.25
    assert "[written" not in edit_plant(file, {"herd.yield_std_dev": 0.25})
    plain = edit_plant(file, {"site.name": "another"}, mark_reasons=True)
    assert "[written" not in plain  # a name is not a number


def test_a_renumbered_sentence_is_not_another_verdict() -> None:
    """Would fail if the list of changed verdicts held findings that only changed their tags."""

    def one(subject: str, verdict: Any) -> Finding:
        return Finding(key="k", title="k", subject=subject, verdict=verdict,
                       sentence=f"{subject} takes 12.5 L/min.", value=1.0, unit="")  # fmt: skip

    def result(*some: Finding) -> Result:
        return Result("s", "p", some)

    same = verdict_changes(result(one("V1", "holds")), result(one("V2", "holds")))
    assert same == []
    worse = verdict_changes(result(one("V1", "holds")), result(one("V2", "fails")))
    assert [(a, b) for _, a, b in worse] == [("holds", "fails")]
    both = verdict_changes(result(one("V1", "holds")), result())
    assert [(a, b) for _, a, b in both] == [("holds", None)]


@pytest.mark.browser
def test_one_visitors_stop_stops_nobody_elses(browser: Any, served_alone: Server) -> None:
    """Would fail if Stop on one tablet took the answer from another, or could not be undone."""
    one, two = (open_eye(browser, "tablet", n).page for n in ("one", "two"))
    for page in (one, two):  # the longest study: it surely lasts until both have looked
        page.goto(f"http://127.0.0.1:{served_alone.port}/p/longest/failures")
        page.locator("#stop").wait_for(timeout=WAIT_MS)
    one.locator("#stop").click()
    one.locator("#again").wait_for(timeout=WAIT_MS)
    assert two.locator("#stop, #view-ranked").count() == 1  # still at work, or done
    assert two.locator("#again").count() == 0
    one.locator("#again").click()
    one.locator("#again").wait_for(state="detached", timeout=WAIT_MS)
    one.locator("#stop, #view-ranked").first.wait_for(timeout=WAIT_MS)
    for page in (one, two):
        if page.locator("#stop").count():
            page.locator("#stop").click()
        page.context.close()
