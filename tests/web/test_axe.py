"""Every page looked over by axe-core, as npm gives it; nothing of it is kept in the repository."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import ROOT, SMALL, Served, open_eye

pytestmark = [pytest.mark.browser, pytest.mark.npm]
VERSION = "4.14.1"
RULES: dict[str, Any] = {
    "light": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"],
    "dark": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]},
}
"""What is looked for by day; and of that, after dark, what turns on colours."""
INSTALL_S = 120
PAGES = (
    ("", "main h1"),
    ("plant?mode=milking_tank_1&turn=V81:open", ".counts"),
    ("plant?sheet=power", ".counts"),
    ("place?pick=VP1", "#at-east"),
    ("day", "#day-drawing svg"),
    ("failures?view=matrix", "#view-matrix"),
    ("interlocks", "table"),
    ("watch", "#begin"),
    ("history", "main h1"),
    ("practice", "#begin"),
    ("edit?pick=VP1", "#which"),
    ("brief", "#brief-text"),
    ("pack", "#build"),
    ("quote", "#price"),
    ("changes", "#compare"),
    ("tests", "table"),
    ("readings", "form"),
    ("tests/fill", "#by"),
    ("service", "table"),
    ("call", "#see-hurt"),
    ("call/lead#milk", "figure"),
)
AT = {
    "desktop": PAGES,
    "tablet": PAGES[1:2],
    "phone": tuple(p for p in PAGES if p[0].partition("?")[0] in ("", "plant", "place", "watch")),
}
"""Which are looked over at which size: what differs most."""


@pytest.fixture(scope="session")
def axe() -> str:
    """The script of axe-core, installed by npm into the folder of made things."""
    folder = ROOT / "out" / "axe"
    script = folder / "node_modules" / "axe-core" / "axe.min.js"
    if not _is(script):
        folder.mkdir(parents=True, exist_ok=True)
        command = ["npm", "install", "--no-save", "--silent", "--prefix", str(folder),
                   f"axe-core@{VERSION}"]  # fmt: skip
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=INSTALL_S)
            why = done.stderr.strip()[-300:]
        except subprocess.TimeoutExpired:
            why = "npm did not answer in time"
        if not _is(script):
            message = f"axe-core {VERSION} could not be installed by npm: {why}"
            if os.environ.get("CI") == "true":
                pytest.fail(message, pytrace=False)
            pytest.skip(message)
    return script.read_text(encoding="utf-8")


def _is(script: Path) -> bool:
    about = script.with_name("package.json")
    return script.exists() and json.loads(about.read_text())["version"] == VERSION


@pytest.mark.parametrize("size", AT)
def test_axe_finds_nothing(browser: Any, served: Served, axe: str, size: str) -> None:
    """Would fail if a page had a fault that axe-core knows (WCAG 2.2 A and AA), by day or dark."""
    eye = open_eye(browser, size, "axe", comes_back=True)
    page, wrong = eye.page, []
    for where, ready in AT[size]:
        page.goto(served.page(SMALL, where) if where else served.url)
        page.locator(ready).first.wait_for(timeout=300_000)  # no judge of speed
        page.wait_for_timeout(150)
        page.evaluate(axe)
        for look, rules in RULES.items():
            page.evaluate(f"document.documentElement.dataset.look = '{look}'")
            found = page.evaluate(
                "rules => axe.run(document, {runOnly: rules, resultTypes: ['violations']})",
                rules,
            )
            for one in found["violations"]:
                nodes = [n["html"][:160] for n in one["nodes"][:3]]
                wrong.append(f"{where or 'start'} {look}: {one['id']}: {one['help']}: {nodes}")
    page.close()
    assert not wrong, "\n".join(wrong)
