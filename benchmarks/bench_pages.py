"""How soon pages come: first paint, drawing on the screen, and twenty visitors at once.

.venv/bin/python benchmarks/bench_pages.py [plant file]

Needs Chromium. Prints medians of several visits; "warm" is the second visit of the same browser.
"""

from __future__ import annotations

import asyncio
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.conftest import BROWSERS
from tests.web.conftest import FLAGS, program, start

PLANT = Path("examples/rotary_round_the_clock/plant.yaml")
VISITS = 5
CLIENTS = 20
PAINT = "performance.getEntriesByName('first-contentful-paint')[0].startTime"
READY = {"plant": "#plant-drawing svg", "edit": "#which", "brief": "#brief-text", "pack": "#build"}


async def visit(context: Any, url: str, ready: str) -> tuple[float, float]:
    """First paint and when the page's main part stands, ms."""
    page = await context.new_page()
    begun = time.perf_counter()
    await page.goto(url)
    await page.locator(ready).first.wait_for()
    stands = 1000 * (time.perf_counter() - begun)
    paint = await page.evaluate(PAINT)
    await page.close()
    return paint, stands


async def measure(url: str) -> None:
    """All measures, printed."""
    from playwright.async_api import async_playwright

    async with async_playwright() as p:
        browser = await p.chromium.launch(executable_path=program(), args=list(FLAGS))
        for name, ready in READY.items():
            cold, warm = [], []
            for _ in range(VISITS):
                context = await browser.new_context()
                cold.append(await visit(context, f"{url}/p/plant/{name}", ready))
                warm.append(await visit(context, f"{url}/p/plant/{name}", ready))
                await context.close()
            for kind, times in (("cold", cold), ("warm", warm)):
                paint, stands = (statistics.median(t) for t in zip(*times, strict=True))
                print(f"{name:6} {kind}: first paint {paint:5.0f} ms, page stands {stands:5.0f} ms")
        begun = time.perf_counter()

        async def client() -> None:
            context = await browser.new_context()
            await visit(context, f"{url}/p/plant/plant", READY["plant"])
            await context.close()

        await asyncio.gather(*(client() for _ in range(CLIENTS)))
        print(f"{CLIENTS} visitors at once: all served in {time.perf_counter() - begun:.1f} s")
        await browser.close()


def main() -> int:
    """Serve a copy of the plant and measure."""
    if not program():
        print(
            f"{BROWSERS[0]} is missing: install it (on Debian: apt install {BROWSERS[0]})",
            file=sys.stderr,
        )
        return 1
    plant = Path(sys.argv[1]) if len(sys.argv) > 1 else PLANT
    with tempfile.TemporaryDirectory() as name:
        shutil.copy(plant, Path(name) / "plant.yaml")
        server = start(Path(name))
        served = next(server)
        asyncio.run(measure(served.url))
        server.close()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
