"""The watch while fifty people look: how late the alarm is, what is lost, how soon pages come, and
what the server keeps.

.venv/bin/python benchmarks/bench_watch.py [clients] [seconds]

Each client opens pages one after another, holds the page's web socket as a browser does, and asks
once a second what there is to tell. No browser draws anything: on one machine fifty of them would
be measured instead of the server. The last figures are the memory of the server, after opening
the page Day again and again (with a browser).
"""

from __future__ import annotations

import asyncio
import contextlib
import random
import re
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

import httpx

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from byrewright.site.door import Knock, Nobody, door_file
from byrewright.site.log import Owner, log_beside, read_back
from tests.web.conftest import FLAGS, Server, program

PLANT = Path("examples/rows_two_by_twenty/plant.yaml")
PAGES = ("plant", "watch", "history", "interlocks", "edit", "pack")
MODE, WRONG = "milking_tank_1", "V19=open"
ON_DELAY_S, LATE_S = 3.0, 1.0
P95_S = 2.0
ARRIVE_S = 0.1
DAY_OPENINGS, FORGOTTEN_S = 12, 75


def resident_mb(pid: int) -> float:
    """Memory of a process."""
    text = Path(f"/proc/{pid}/status").read_text()
    found = re.search(r"VmRSS:\s+(\d+)", text)
    return int(found.group(1)) / 1000 if found else 0.0


async def client(number: int, url: str, until: float, times: list[float], bad: list[str]) -> None:
    """One visitor; they come one after another within a few seconds."""
    draws = random.Random(number)
    await asyncio.sleep(number * ARRIVE_S)
    async with httpx.AsyncClient(timeout=30) as browser:
        while time.monotonic() < until:
            page = draws.choice(PAGES)
            begun = time.perf_counter()
            try:
                answer = await browser.get(f"{url}/p/plant/{page}")
                times.append(time.perf_counter() - begun)
                if answer.status_code != 200:
                    bad.append(f"{page}: {answer.status_code}")
                for _ in range(5):
                    told = await browser.get(f"{url}/live", params={"p": "plant"})
                    if told.status_code != 200:
                        bad.append(f"live: {told.status_code}")
                    await asyncio.sleep(1)
            except httpx.HTTPError as error:
                bad.append(f"{page}: {type(error).__name__}")


async def watched(plant: Path, until: float) -> list[float]:
    """Put a valve wrong and right again and again; seconds from wrong to alarm."""
    knock = Knock(door_file(plant, "practice"))
    late: list[float] = []
    while True:
        with contextlib.suppress(Nobody):
            await knock.connect()
            break
        await asyncio.sleep(0.2)
    await knock.ask("practise", mode=MODE, wrong="")
    while time.monotonic() < until:
        await asyncio.sleep(5)
        begun = time.monotonic()
        await knock.ask("practise", mode=MODE, wrong=WRONG)
        while not (knock.heard and any(a.state != "gone" for a in knock.heard.snapshot.alarms)):
            await asyncio.sleep(0.02)
        late.append(time.monotonic() - begun)
        await knock.ask("practise", mode=MODE, wrong="")
        while knock.heard and any(a.state != "gone" for a in knock.heard.snapshot.alarms):
            await asyncio.sleep(0.1)
        await knock.ask("acknowledge", who="bench")
    await knock.ask("end", who="bench", why="measured")
    await knock.close()
    return late


async def measure(server: Server, plant: Path, clients: int, seconds: float) -> None:
    """All measures, printed."""
    url = f"http://127.0.0.1:{server.port}"
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "byrewright", "watch", str(plant), "--simulate",
        stdout=asyncio.subprocess.DEVNULL,
    )  # fmt: skip
    until = time.monotonic() + seconds
    times: list[float] = []
    bad: list[str] = []
    assert server.process is not None
    async with httpx.AsyncClient(timeout=60) as first:  # what is worked out once for all
        for page in PAGES:
            await first.get(f"{url}/p/plant/{page}")
    before = resident_mb(server.process.pid)
    async with asyncio.TaskGroup() as group:
        alarms = group.create_task(watched(plant, until))
        for number in range(clients):
            group.create_task(client(number, url, until, times, bad))
    await process.wait()
    events, _ = read_back(log_beside(plant, "practice"), Owner("", "", "practice"), 10_000)
    late, lost = alarms.result(), sum(e.kind == "lost" for e in events)
    worst, limit = max(late), ON_DELAY_S + LATE_S
    middle = statistics.median(late)
    print(f"{clients} clients for {seconds:.0f} s, {len(late)} alarms after the valve was wrong:")
    print(f"  {middle:.2f} s at the median, {worst:.2f} s at worst (limit {limit:.0f} s)")
    print(f"lost connections: {lost}; refused or failed requests: {len(bad)} {bad[:3]}")
    p95 = sorted(times)[int(0.95 * len(times))]
    print(f"pages: {len(times)} opened, p95 {p95:.2f} s (limit {P95_S:.0f} s)")
    after = resident_mb(server.process.pid)
    print(f"server: {before:.0f} MB before, {after:.0f} MB after")


def days(server: Server) -> None:
    """What opening the page Day leaves behind."""
    from playwright.sync_api import sync_playwright

    assert server.process is not None
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=program(), args=list(FLAGS))

        def open_day(times: int) -> None:
            for _ in range(times):
                page = browser.new_context().new_page()
                page.goto(f"http://127.0.0.1:{server.port}/p/plant/day")
                page.locator("figure svg").nth(3).wait_for(timeout=240_000)
                page.context.close()

        open_day(3)  # what is kept once for all
        time.sleep(FORGOTTEN_S)
        before = resident_mb(server.process.pid)
        open_day(DAY_OPENINGS)
        time.sleep(FORGOTTEN_S)
        grown = resident_mb(server.process.pid) - before
        each = grown / DAY_OPENINGS
        print(f"{DAY_OPENINGS} openings of Day leave {grown:.1f} MB ({each:.2f} MB each)")
        browser.close()


def main() -> None:
    """Measure on a copy of an example."""
    clients = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 60.0
    with tempfile.TemporaryDirectory() as name:
        plant = Path(name) / "plant.yaml"
        shutil.copy(PLANT, plant)
        server = Server(Path(name))
        server.begin()
        try:
            asyncio.run(measure(server, plant, clients, seconds))
            days(server)
        finally:
            server.end()


if __name__ == "__main__":
    main()
