"""Letters on drawings: none on another, none cut off, however near the sheet is."""

from __future__ import annotations

from typing import Any

import pytest

from tests.web.conftest import LARGEST, SIZES, SMALL, Eye, Served, open_eye

pytestmark = pytest.mark.browser
WAIT_MS = 180_000  # a study on a busy machine
TOUCHING = """id => {
  // capitals and figures reach from 0.2 to 0.93 of a line of the drawing's font; what is measured
  // is their ink, less half a pixel for rounding
  const ink = t => {
    const r = t.getBoundingClientRect(), m = t.getScreenCTM(), up = Math.abs(m.b) < 0.01;
    const a = 0.2, b = 0.82;
    return up ? { x1: r.left, x2: r.right, y1: r.top + a * r.height, y2: r.top + b * r.height }
              : { x1: r.left + a * r.width, x2: r.left + b * r.width, y1: r.top, y2: r.bottom };
  };
  const box = document.getElementById(id), edge = box.getBoundingClientRect();
  const all = [...box.querySelectorAll("svg text")].filter(t => t.textContent.trim() && t.getClientRects().length).map(t => ({ t, ...ink(t) }));
  const found = [], whole = box.dataset.whole;
  all.forEach((a, i) => {
    if (whole && (a.x1 < edge.left || a.x2 > edge.right || a.y1 < edge.top || a.y2 > edge.bottom)) found.push(`${a.t.textContent} is cut off`);
    for (const b of all.slice(i + 1))
      if (Math.min(a.x2, b.x2) - Math.max(a.x1, b.x1) > 0.5 && Math.min(a.y2, b.y2) - Math.max(a.y1, b.y1) > 0.5)
        found.push(`${a.t.textContent} on ${b.t.textContent}`);
  });
  const signs = [...box.querySelectorAll(".symbol")].map(g => [g.parentNode.dataset.key, g.getBoundingClientRect()]);
  for (const a of all.filter(x => x.t.classList.contains("reading")))
    for (const [key, r] of signs)
      if (Math.min(a.x2, r.right) - Math.max(a.x1, r.left) > 1 && Math.min(a.y2, r.bottom) - Math.max(a.y1, r.top) > 1)
        found.push(`${a.t.textContent} on symbol ${key}`);
  return [all.length, found];
}"""  # noqa: E501


def readable(page: Any, box: str, *, least: int) -> None:
    """No letters touch as the sheet is opened, whole, and near."""
    for step in ("", "0", "1.3", "1.3", "1.3"):
        if step:
            page.locator(f'#{box} [data-zoom="{step}"]').click()
        whole = "" if step == "1.3" or not step else "yes"
        page.evaluate("([id, whole]) => document.getElementById(id).dataset.whole = whole",
                      [box, whole])  # fmt: skip
        many, found = page.evaluate(TOUCHING, box)
        muted = page.locator(f"#{box}.mute").count()  # letters too small to read are not shown
        assert many == 0 if muted else many >= least
        assert found == [], f"at {step or 'first'}"


def at_both(eye: Eye, box: str, *, least: int) -> None:
    """As the page was opened, and in a window that is made that of the other size."""
    for size in (eye.size, "phone" if eye.size == "desktop" else "desktop"):
        width, height = SIZES[size]
        eye.page.set_viewport_size({"width": width, "height": height})
        eye.page.wait_for_timeout(150)  # the page finds itself in it
        readable(eye.page, box, least=least)


@pytest.mark.parametrize(("slug", "size"), [(LARGEST, "desktop"), (SMALL, "phone")])
def test_no_letters_touch_on_any_sheet(browser: Any, served: Served, slug: str, size: str) -> None:
    """Would fail if a tag stood on another or a board's name left the sheet, or a supply of two
    boards were drawn twice in one place."""
    eye = open_eye(browser, size, "letters", comes_back=True)
    for sheet in ("milk", "vacuum", "water", "air", "power"):
        eye.page.goto(served.page(slug, "plant", f"?sheet={sheet}"))
        eye.page.locator("#plant-drawing .tag text").first.wait_for(timeout=WAIT_MS)
        at_both(eye, "plant-drawing", least=8)
        eye.page.set_viewport_size(dict(zip(("width", "height"), SIZES[size], strict=True)))
    eye.close()
    assert not eye.errors


@pytest.mark.parametrize(("moment", "size"), [(0, "desktop"), (900, "phone")])
def test_readings_of_the_day_touch_no_tag(
    browser: Any, served: Served, moment: int, size: str
) -> None:
    """Would fail if what a vessel holds were written over a tag, another reading or a symbol."""
    eye = open_eye(browser, size, "readings", comes_back=True)
    eye.page.goto(served.page(SMALL, "day", f"?at={moment}"))
    eye.page.locator("#day-drawing .reading").first.wait_for(timeout=WAIT_MS)
    at_both(eye, "day-drawing", least=40)
    assert not eye.page.locator("#day-drawing .reading:empty").count()
    eye.close()
    assert not eye.errors
