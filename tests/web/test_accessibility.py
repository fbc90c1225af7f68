"""Names, contrast, focus order, landmarks, targets: checked in a real browser, light and dark."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import LARGEST, LOCAL, SMALL, Eye, Served, open_eye

pytestmark = pytest.mark.browser
CHECKS = (Path(__file__).with_name("checks.js")).read_text(encoding="utf-8")
LEAST_TARGET_PX = 48  # a wet finger or a glove; WCAG 2.5.8 (AA) asks for 24
MOST_TABS = 30
PAGES = (
    ("start", ""),
    ("plant", "?mode=milking_tank_1&turn=V81:open"),
    ("plant", "?pick=machine%20VP1&sheet=vacuum"),
    ("place", "?pick=VP1"),
    ("day", ""),
    ("failures", "?view=matrix"),
    ("interlocks", ""),
    ("watch", ""),
    ("history", ""),
    ("edit", "?pick=VP1"),
    ("brief", ""),
    ("pack", ""),
    ("quote", ""),
    ("changes", ""),
    ("tests", ""),
    ("service", ""),
    ("call", ""),
)
WAIT_MS = 180_000
"""The first to ask for a study waits for it, while another worker is busy too."""
READY = {
    "start": "main h1",
    "plant": ".counts",
    "place": "#at-east",
    "day": "#day-drawing svg",
    "failures": "#view-matrix",
    "interlocks": "table",
    "watch": "#begin",
    "history": "main h1",
    "edit": "#which",
    "brief": "#brief-text",
    "pack": "#build",
    "quote": "#price",
    "changes": "#compare",
    "tests": "table",
    "service": "table",
    "call": "#see-hurt",
}


@pytest.fixture(params=["desktop", "tablet"])
def eye(browser: Any, request: pytest.FixtureRequest) -> Iterator[Eye]:
    """A visitor who comes back: nothing here is typed or chosen that a page would remember."""
    one = open_eye(browser, request.param, request.node.name, comes_back=True)
    yield one
    one.page.close()
    assert not one.errors, one.errors
    assert one.hosts <= LOCAL, f"a request left this computer: {one.hosts - LOCAL}"


def visit(eye: Eye, served: Served, page: str, query: str) -> None:
    """Open a page and wait until it is filled."""
    eye.page.goto(served.url if page == "start" else served.page(SMALL, page, query))
    eye.page.locator(READY[page]).first.wait_for(timeout=WAIT_MS)
    eye.page.wait_for_timeout(150)


@pytest.mark.parametrize(("page", "query"), PAGES, ids=[p + q[:5] for p, q in PAGES])
def test_names_contrast_landmarks_and_targets(
    eye: Eye, served: Served, page: str, query: str
) -> None:
    """Would fail if a control had no name, text were too faint, or a target too small to hit."""
    visit(eye, served, page, query)
    for look in ("light", "dark"):
        eye.page.evaluate(f"document.documentElement.dataset.look = '{look}'")
        wrong = eye.page.evaluate(CHECKS, LEAST_TARGET_PX)
        assert not wrong, f"{look}:\n" + "\n".join(wrong)


@pytest.mark.parametrize("page", ["start", "plant", "edit", "pack"])
def test_focus_goes_through_the_page_in_order(eye: Eye, served: Served, page: str) -> None:
    """Would fail if the keyboard could not reach a control, focus jumped, or could not be seen."""
    visit(eye, served, page, "")
    eye.page.evaluate("window.order = []; document.activeElement && document.activeElement.blur()")
    order = []
    for _ in range(MOST_TABS):
        eye.page.keyboard.press("Tab")
        one = eye.page.evaluate(
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
    assert order[0][0].startswith("A Skip to the sheet")
    assert len(order) >= 4
    assert all(after for _, after, _ in order), order
    assert all(seen for _, _, seen in order), order


def test_the_skip_link_leads_past_the_index(eye: Eye, served: Served) -> None:
    """Would fail if keyboard users had to pass the index on every page."""
    visit(eye, served, "pack", "")
    eye.page.keyboard.press("Tab")
    eye.page.keyboard.press("Enter")
    eye.page.keyboard.press("Tab")
    assert eye.page.evaluate("!!document.activeElement.closest('#main')")


def test_the_page_prints_without_controls(eye: Eye, served: Served) -> None:
    """Would fail if a print carried buttons and menus, or dark paper."""
    visit(eye, served, "plant", "?pick=machine%20VP1")
    eye.page.evaluate("document.documentElement.dataset.look = 'dark'")
    eye.page.emulate_media(media="print")
    assert not eye.page.locator("header nav").is_visible()
    assert eye.page.locator("button:visible").count() == 0
    ground = eye.page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert ground == "rgb(251, 250, 246)"
    assert eye.page.locator("#plant-drawing svg").is_visible()


def test_touching_the_drawing_pans_it(eye: Eye, served: Served) -> None:
    """Would fail if a dragging finger picked machines instead of moving the sheet."""
    eye.page.goto(served.page(LARGEST, "plant"))
    svg = eye.page.locator("#plant-drawing svg")
    svg.wait_for()
    before = svg.get_attribute("viewBox")
    box = svg.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    eye.page.mouse.move(x, y)
    eye.page.mouse.down()
    eye.page.mouse.move(x + 80, y + 30, steps=5)
    eye.page.mouse.up()
    assert svg.get_attribute("viewBox") != before
    assert "pick=" not in eye.page.url
