"""The plan in a real browser: a machine dragged, moved by keys, typed; undone, saved, kept."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from byrewright.plant.read import read_plant, read_plant_text
from byrewright.plant.sited import sited
from byrewright.web.pages.place import moved
from tests.web.conftest import ROOT, Served, Server, open_eye
from tests.web.test_touch_and_print import LEAST_LETTERS_PX, SMALLEST

pytestmark = pytest.mark.browser
WAIT_MS = 180_000  # a study on a busy machine
CM = 0.011
DRAG_PX = 12


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server of its own: what is saved here disturbs no other test."""
    folder = tmp_path_factory.mktemp("placed")
    shutil.copy(ROOT / "examples" / "rows_two_by_twenty" / "plant.yaml", folder / "plant.yaml")
    server = Server(folder)
    server.begin()
    yield server
    server.end()


def opened(eye: Any, server: Server | Served, query: str = "") -> Any:
    """The page, filled."""
    url = f"http://127.0.0.1:{server.port}/p/plant" if isinstance(server, Server) else ""
    eye.page.goto(f"{url}/place{query}")
    eye.page.locator("#place-drawing svg").wait_for(timeout=WAIT_MS)
    eye.page.locator(".counts").wait_for(timeout=WAIT_MS)
    return eye.page


def machine(page: Any, tag: str) -> Any:
    """A machine on the plan."""
    return page.locator(f'#place-drawing [data-machine="{tag}"]')


def answered(page: Any, turn: int) -> None:
    """Wait for the answer to the so many-eth change."""
    page.locator(f'#place-drawing[data-answer="{turn}"]').wait_for(timeout=WAIT_MS)


def pipes_drawn(page: Any) -> dict[str, str]:
    """How each run of pipe is drawn."""
    found: dict[str, str] = page.evaluate(
        "Object.fromEntries([...document.querySelectorAll('#place-drawing [data-pipe]')]"
        ".map(g => [g.dataset.pipe, g.innerHTML]))"
    )
    return found


def at(page: Any) -> tuple[float, float]:
    """Where the fields say that the picked machine stands."""
    east, north = (float(page.locator(f"#at-{a}").input_value()) for a in ("east", "north"))
    return east, north


def test_a_machine_is_dragged_undone_typed_and_saved(browser: Any, alone: Server) -> None:
    """Would fail if a drag went elsewhere than the hand, moved pipes of others, could not be taken
    back, was not in the file after saving, or the file's comments were lost."""
    path = alone.folder / "plant.yaml"
    before = read_plant(path)
    first = sited(before.plant)
    assert first is not None
    body = first.plan.bodies["WT1"]
    eye = open_eye(browser, "desktop", "place")
    page = opened(eye, alone)
    drawn = pipes_drawn(page)
    ring = machine(page, "WT1").locator(".ring").bounding_box()
    x, y = ring["x"] + ring["width"] / 2, ring["y"] + ring["height"] / 2
    px_a_metre = page.evaluate(
        "(() => { const s = document.querySelector('#place-drawing svg');"
        " return s.getScreenCTM().a * Number(s.dataset.metre) })()"
    )
    page.mouse.move(x, y)
    page.mouse.down()
    for step in range(1, 5):
        page.mouse.move(x + DRAG_PX * step / 4, y)
    assert page.locator("#place-step").inner_text().startswith("WT1 +")
    page.mouse.up()
    answered(page, 1)
    page.locator("#at-east").wait_for(timeout=WAIT_MS)
    east, north = at(page)
    assert east - body.x == pytest.approx(DRAG_PX / px_a_metre, abs=0.03 + CM)  # steps of 50 mm
    assert north == pytest.approx(body.y, abs=CM)
    own = {r.lines[0] for r in first.routes
           if "WT1" in {e.partition(".")[0] for e in r.ends}}  # fmt: skip
    changed = {k for k, svg in pipes_drawn(page).items() if svg != drawn[k]}
    assert changed and changed <= own
    eye.shoot("place-dragged")
    page.locator("#undo").click()
    answered(page, 2)
    assert pipes_drawn(page) == drawn
    page.locator("#save:disabled").wait_for(timeout=WAIT_MS)
    page.locator("#at-east").fill(f"{body.x + 0.3:.2f}")
    page.locator("#at-east").press("Enter")
    answered(page, 3)
    page.locator("#at-north").fill("far")
    page.locator("#at-north").press("Enter")
    page.locator("#at-north-wrong", has_text="far").wait_for(timeout=WAIT_MS)
    page.locator("#save").click()
    page.get_by_text("Saved.").wait_for(timeout=WAIT_MS)
    text = path.read_text()
    after = read_plant_text(text)
    assert after.plant.place is not None
    assert after.plant.place.machines["WT1"].at == pytest.approx((body.x + 0.3, body.y), abs=CM)
    assert [x for x in before.text.splitlines() if x not in text.splitlines()] == []
    page.reload()
    page.locator("#place-drawing svg").wait_for(timeout=WAIT_MS)
    page.locator("#which").select_option("WT1")
    page.locator("#free:enabled").wait_for(timeout=WAIT_MS)
    page.context.close()
    assert not eye.errors


def test_keys_a_finger_and_feet(browser: Any, alone: Server) -> None:
    """Would fail if the plan could not be worked without a mouse, a finger dragged what it only
    passed over, or somebody who reads feet had to think in metres."""
    eye = open_eye(browser, "tablet", "place-keys")
    page = opened(eye, alone, "?pick=ST1")
    east, north = at(page)
    machine(page, "ST1").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowUp")
    answered(page, 1)
    page.locator(f'#at-north:not([value="{north:.2f}"])').wait_for(timeout=WAIT_MS)
    now = at(page)
    moved_by = sorted(abs(a - b) for a, b in zip(now, (east, north), strict=True))
    assert moved_by == pytest.approx([0.1, 0.5], abs=CM)
    assert "ST1" in (machine(page, "ST1").get_attribute("aria-label") or "")
    box = machine(page, "WT1").locator(".ring").bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.locator('#place-drawing [data-machine="WT1"].picked').wait_for(timeout=WAIT_MS)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    eye.shoot("place-tablet")
    page.context.add_cookies([{"name": "byre_units", "value": "US", "url": page.url}])
    opened(eye, alone, "?pick=WT1")
    feet = float(page.locator("#at-east").input_value())
    body = sited(read_plant(alone.folder / "plant.yaml").plant).plan.bodies["WT1"]  # type: ignore[union-attr]
    assert feet == pytest.approx(body.x / 0.3048, abs=CM)
    assert page.locator("label[for=at-east]").inner_text().endswith("(ft)")
    page.locator("#at-east").fill("30 m")
    page.locator("#at-east").press("Enter")
    answered(page, 1)
    page.locator('#at-east[value="98.43"]').wait_for(timeout=WAIT_MS)
    page.context.close()
    small = open_eye(browser, "phone", "place-phone")
    page = opened(small, alone, "")
    whole = """() => { const s = document.querySelector("#place-drawing svg"),
        v = s.viewBox.baseVal, [, , w, h] = s.dataset.size.split(" ").map(Number);
        return v.x <= 0 && v.y <= 0 && v.x + v.width >= w - 0.1 && v.y + v.height >= h - 0.1; }"""
    page.wait_for_function(whole, timeout=WAIT_MS)  # it does not open on a corner
    least, what = page.evaluate(SMALLEST)  # tags too small to read wait until one is nearer
    assert least >= LEAST_LETTERS_PX - 0.1, what
    page.locator('[data-zoom="1.3"]').click(click_count=4, delay=20)
    page.locator("#place-drawing .tag text:visible").first.wait_for()
    small.shoot("place-fitted")
    page.context.close()
    assert not eye.errors and not small.errors


def test_moves_are_the_files_own(alone: Server) -> None:
    """Would fail if what the page showed were another plan than the file's after saving."""
    file = read_plant(alone.folder / "plant.yaml")
    other = moved(file.plant, {"ST1": {"at": [20.5, 1.0], "turn": "n"}, "WT1": {"at": None}})
    assert other.place is not None
    assert other.place.machines["ST1"].at == (20.5, 1.0)
    assert "WT1" not in other.place.machines
    assert Path(alone.folder / "plant.yaml").read_text() == file.text
