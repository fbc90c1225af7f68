"""Names, contrast, focus order, landmarks, targets: checked in a real browser, light and dark.

Each page is opened once, and looked over by checks of our own and by axe-core, as npm gives it
(nothing of it is kept in the repository), at each size of the window.
"""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import (
    FEW,
    LARGEST,
    LOCAL,
    ROOT,
    SIZES,
    SMALL,
    Eye,
    Served,
    chromium,
    open_eye,
)

pytestmark = pytest.mark.browser
CHECKS = (Path(__file__).with_name("checks.js")).read_text(encoding="utf-8")
LEAST_TARGET_PX = 48  # a wet finger or a glove; WCAG 2.5.8 (AA) asks for 24
MOST_TABS = 30
AXE_VERSION = "4.14.1"
AXE_RULES: dict[str, Any] = {
    "light": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"],
    "dark": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]},
}
"""What is looked for by day; and of that, after dark, what turns on colours."""
INSTALL_S = 120
WAIT_MS = 300_000
"""The first to ask for a study waits for it, while another worker is busy too."""
TURNED = "plant?mode=milking_tank_1&turn=V81:open"
READY = {
    "": "main h1",
    TURNED: ".counts",
    "plant?pick=machine%20VP1&sheet=vacuum": ".counts",
    "plant?sheet=power": ".counts",
    "place?pick=VP1": "#at-east",
    "day": "#day-drawing svg",
    "failures?view=matrix": "#view-matrix",
    "interlocks": "table",
    "watch": "#begin",
    "history": "main h1",
    "practice": "#begin",
    "edit?pick=VP1": "#which",
    "brief": "#brief-text",
    "pack": "#build",
    "quote": "#price",
    "changes": "#compare",
    "tests": "table",
    "readings": "form",
    "tests/fill": "#by",
    "service": "table",
    "call": "#see-hurt",
    "call/lead#milk": "figure",
}
"""The pages, and what is seen of each once it is filled."""
OF_FEW = ("interlocks", "tests", "readings", "call")
"""Pages that take long to work out: of a plant of few machines."""
ALONE = ("tests/fill", "call/lead#milk")
"""Pages that go with a person, without the frame of the others."""
AT_PHONE = ("", "plant", "place", "watch")
"""Pages that axe-core looks over at the size of a phone too: what differs most."""
HEARD = ".silent #main, .silent #told { opacity: 1 !important }"
"""A page that axe-core keeps busy hears nothing for seconds and pales, which is no fault of its
colours; that it does pale is asked of the watch."""
BEGIN_AGAIN = """() => { scrollTo(0, 0); const e = document.body; e.tabIndex = -1; e.focus();
e.removeAttribute("tabindex"); e.blur(); window.order = []; }"""
"""The next Tab leads to the first control of the page."""


def some(*pages: str) -> pytest.MarkDecorator:
    """These pages, each opened once for all the tests that ask for it."""
    names = [p.replace("?", " ")[:12].strip() or "start" for p in pages]
    return pytest.mark.parametrize("opened", pages, indirect=True, ids=names)


@pytest.fixture(scope="module")
def opened(request: pytest.FixtureRequest, served: Served) -> Iterator[Eye]:
    """A page, filled. Nothing is typed or chosen that it would remember."""
    page: str = request.param
    one = open_eye(chromium(), "desktop", page, comes_back=True)
    slug = FEW if page.startswith(OF_FEW) else SMALL
    one.page.goto(served.page(slug, page) if page else served.url)
    one.page.locator(READY[page]).first.wait_for(timeout=WAIT_MS)
    one.page.add_style_tag(content=HEARD)
    yield one
    one.close()
    assert not one.errors, one.errors
    assert one.hosts <= LOCAL, f"a request left this computer: {one.hosts - LOCAL}"


def at_size(page: Any, size: str, look: str = "light") -> None:
    """Make the window another, and let the page find itself in it."""
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})
    in_look(page, look)
    page.wait_for_timeout(150)


def in_look(page: Any, look: str) -> None:
    """By day or after dark."""
    page.evaluate("look => { document.documentElement.dataset.look = look; }", look)


@some(*(page for page in READY if page not in ALONE))
def test_names_contrast_landmarks_and_targets(opened: Eye) -> None:
    """Would fail if a control had no name, text were too faint, or a target too small to hit."""
    for size in ("desktop", "tablet"):
        at_size(opened.page, size)
        for look in AXE_RULES:
            in_look(opened.page, look)
            wrong = opened.page.evaluate(CHECKS, LEAST_TARGET_PX)
            assert not wrong, f"{size}, {look}:\n" + "\n".join(wrong)


@pytest.fixture(scope="session")
def axe() -> str:
    """The script of axe-core, installed by npm into the folder of made things."""
    folder = ROOT / "out" / "axe"
    script = folder / "node_modules" / "axe-core" / "axe.min.js"
    if not _is(script):
        folder.mkdir(parents=True, exist_ok=True)
        command = ["npm", "install", "--no-save", "--silent", "--prefix", str(folder),
                   f"axe-core@{AXE_VERSION}"]  # fmt: skip
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=INSTALL_S)
            why = done.stderr.strip()[-300:]
        except subprocess.TimeoutExpired:
            why = "npm did not answer in time"
        if not _is(script):
            message = f"axe-core {AXE_VERSION} could not be installed by npm: {why}"
            if os.environ.get("CI") == "true":
                pytest.fail(message, pytrace=False)
            pytest.skip(message)
    return script.read_text(encoding="utf-8")


def _is(script: Path) -> bool:
    about = script.with_name("package.json")
    return script.exists() and json.loads(about.read_text())["version"] == AXE_VERSION


@pytest.mark.npm
@some(*READY)
def test_axe_finds_nothing(opened: Eye, axe: str) -> None:
    """Would fail if a page had a fault that axe-core knows (WCAG 2.2 A and AA), by day or dark."""
    page, wrong = opened.page, []
    page.evaluate(axe)
    sizes = ["desktop"]
    if opened.name == TURNED:
        sizes.append("tablet")
    if opened.name.partition("?")[0] in AT_PHONE:
        sizes.append("phone")
    for size in sizes:
        at_size(page, size)
        for look, rules in AXE_RULES.items():
            in_look(page, look)
            found = page.evaluate(
                "rules => axe.run(document, {runOnly: rules, resultTypes: ['violations']})",
                rules,
            )
            for one in found["violations"]:
                nodes = [(n["html"][:160], n["failureSummary"]) for n in one["nodes"][:3]]
                wrong.append(f"{size} {look}: {one['id']}: {one['help']}: {nodes}")
    assert not wrong, "\n".join(wrong)


@some("", TURNED, "edit?pick=VP1", "pack")
def test_focus_goes_through_the_page_in_order(opened: Eye) -> None:
    """Would fail if the keyboard could not reach a control, focus jumped, or could not be seen."""
    for size in ("desktop", "tablet"):
        at_size(opened.page, size)
        opened.page.evaluate(BEGIN_AGAIN)
        order = []
        for _ in range(MOST_TABS):
            opened.page.keyboard.press("Tab")
            one = opened.page.evaluate(
                """() => { const e = document.activeElement;
                if (!e || e === document.body) return null;
                const before = window.order.length ? window.order[window.order.length - 1] : null;
                const after = !before || before === e || !!(before.compareDocumentPosition(e) & 4);
                window.order.push(e);
                const ring = e.querySelector(':scope > .ring, :scope > .hit');
                const seen = getComputedStyle(e).outlineStyle !== 'none'
                  || (ring && getComputedStyle(ring).stroke !== 'none');
                const text = (e.textContent || '').trim().slice(0, 20);
                return [e.tagName + ' ' + text, after, !!seen]; }"""
            )
            if one is None:
                break
            order.append(one)
        assert order[0][0].startswith("A Skip to the sheet"), size
        assert len(order) >= 4
        assert all(after for _, after, _ in order), order
        assert all(seen for _, _, seen in order), order


@some("pack")
def test_the_skip_link_leads_past_the_index(opened: Eye) -> None:
    """Would fail if keyboard users had to pass the index on every page."""
    for size in ("desktop", "tablet"):
        at_size(opened.page, size)
        opened.page.evaluate(BEGIN_AGAIN)
        for key in ("Tab", "Enter", "Tab"):
            opened.page.keyboard.press(key)
        assert opened.page.evaluate("!!document.activeElement.closest('#main')"), size


@some("plant?pick=machine%20VP1&sheet=vacuum")
def test_the_page_prints_without_controls(opened: Eye) -> None:
    """Would fail if a print carried buttons and menus, or dark paper."""
    page = opened.page
    for size in ("desktop", "tablet"):
        at_size(page, size, "dark")
        page.emulate_media(media="print")
        assert not page.locator("header nav").is_visible()
        assert page.locator("button:visible").count() == 0
        ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert ground == "rgb(251, 250, 246)"
        assert page.locator("#plant-drawing svg").is_visible()
        page.emulate_media(media="screen")


def test_touching_the_drawing_pans_it(browser: Any, served: Served) -> None:
    """Would fail if a dragging finger picked machines instead of moving the sheet."""
    eye = open_eye(browser, "desktop", "pan", comes_back=True)
    page = eye.page
    page.goto(served.page(LARGEST, "plant"))
    svg = page.locator("#plant-drawing svg")
    svg.wait_for()
    for size in ("desktop", "tablet"):
        at_size(page, size)
        before = svg.get_attribute("viewBox")
        box = svg.bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + 80, y + 30, steps=5)
        page.mouse.up()
        assert svg.get_attribute("viewBox") != before
        assert "pick=" not in page.url
    eye.close()
    assert not eye.errors
