"""The watch in a real browser: practice, typing, a killed server, standing alarms on every page."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import shutil
import signal
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from byrewright.plant.read import read_plant
from byrewright.site.addresses import default_addresses
from byrewright.site.controller import LOOPBACK, Controller
from byrewright.site.controller import free_port as port_of
from byrewright.site.door import Heard, Knock, door_file
from byrewright.site.service import Order, keep_order, order_file
from byrewright.site.watch import Snapshot
from byrewright.studies.routes.study import Routes
from byrewright.studies.routes.table import process_contacts
from byrewright.web.watching import Seen
from tests.web.conftest import Server, open_eye

pytestmark = pytest.mark.browser
COUNT_BEEPS = """window.beeps = 0; const make = AudioContext.prototype.createOscillator;
AudioContext.prototype.createOscillator = function () { window.beeps++; return make.call(this); };
"""
WAIT_MS = 180_000  # a study on a busy machine
SOON_MS = 10_000
SILENT_S = 3.0
JOIN_AGAIN = """
window.socket.io.opts.query.next_message_id = window.nextMessageId;
window.socket.connect();
"""
"""As a socket that was cut joins again by itself; without its place in what was told the server has
the page loaded anew."""
NOTE_SILENCE = """
const place = document.getElementById("silent");
new MutationObserver((_, one) => {
  if (!place.hidden) { one.disconnect(); window.first = byreLive.silence() / 1000; }
}).observe(place, { attributes: true, attributeFilter: ["hidden"] });
"""
"""For how long nothing had been heard when the page said so first, by its own clock."""
MILKING = "milking_tank_1"
COUNT_DRAWS = """window.draws = 0; new MutationObserver(() => window.draws++)
.observe(document.querySelector('main'), {childList: true, subtree: true})"""


class Plant:
    """A real Modbus controller on loopback, in a thread of its own, whose valves a test moves."""

    def __init__(self, path: Path) -> None:
        from byrewright.engine.interlocks import contacts

        study = Routes(read_plant(path).plant, None)
        table, scene = study.table, study.scenes[MILKING]
        self.wrong: dict[str, str] = {}
        self.port = port_of()
        self._stop = threading.Event()

        def shown() -> dict[str, bool]:
            process = process_contacts(table, scene, tuple(self.wrong.items()))
            return contacts(table, {**scene.wanted, **self.wrong}, process)

        async def serve() -> None:
            where = default_addresses(table)
            port, plain = self.port, {"announces": False}  # it stands for a real one
            async with Controller(table, where, modbus_port=port, **plain) as controller:
                while not self._stop.is_set():
                    await controller.show(MILKING, shown())
                    await asyncio.sleep(0.2)

        self._thread = threading.Thread(target=lambda: asyncio.run(serve()), daemon=True)
        self._thread.start()

    @property
    def address(self) -> str:
        """What is typed on the page."""
        return f"{LOOPBACK}:{self.port}"

    def end(self) -> None:
        """Pull the plug."""
        self._stop.set()
        self._thread.join(10)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, examples: Path) -> Path:
    """A folder of one plant that tests may break."""
    made = tmp_path_factory.mktemp("watched")
    shutil.copy(examples / "rows_two_by_twenty" / "plant.yaml", made / "plant.yaml")
    return made


@pytest.fixture(scope="module")
def controller(folder: Path) -> Iterator[Plant]:
    """The controller of that plant."""
    one = Plant(folder / "plant.yaml")
    yield one
    one.end()


@pytest.fixture(scope="module")
def running(folder: Path) -> Iterator[Server]:
    """A server of that folder."""
    one = Server(folder)
    one.begin()
    yield one
    one.end()


@pytest.fixture
def plant(controller: Plant) -> Plant:
    """The controller, everything right."""
    controller.wrong.clear()
    return controller


@pytest.fixture
def server(running: Server, folder: Path) -> Iterator[Server]:
    """The server; no watch is left running, and no log, for the next test."""
    if running.process is None or not running.process.is_alive():
        running.begin()  # a test that failed left it dead
    yield running
    path = folder / "plant.yaml"
    order_file(path).unlink(missing_ok=True)
    with contextlib.suppress(OSError, ValueError):
        os.kill(json.loads(door_file(path).read_text())["pid"], signal.SIGTERM)
        until(lambda: not door_file(path).exists())
    for one in folder.glob("plant.site.sqlite*"):
        one.unlink()


def url(server: Server, page: str) -> str:
    """The address of a page of the one plant."""
    return f"http://127.0.0.1:{server.port}/p/plant/{page}"


def begin(page: Any, server: Server, plant: Plant, who: str = "A. Fitter") -> None:
    """Begin to watch the real plant from the page."""
    page.goto(url(server, "watch"))
    page.locator("#begin").wait_for(timeout=WAIT_MS)
    page.locator("#where").fill(plant.address)
    page.locator("#where").press("Tab")
    page.locator("#who-begins").fill(who)
    page.locator("#begin").click()
    page.get_by_text("Live.", exact=True).wait_for(timeout=WAIT_MS)


def pid_of(folder: Path) -> int:
    """The process of the watch; 0 while nobody has said at the door which, or only half of it."""
    try:
        return int(json.loads(door_file(folder / "plant.yaml").read_text())["pid"])
    except (OSError, ValueError):
        return 0


def until(what: Callable[[], object], limit_s: float = 60.0) -> None:
    """Wait until something holds."""
    end = time.monotonic() + limit_s
    while not what():
        assert time.monotonic() < end
        time.sleep(0.1)


def test_practise_alarm_acknowledge_end(browser: Any, server: Server) -> None:
    """Would fail if practice raised no alarm, it could not be acknowledged and found, or passed
    for the real plant, or the page did not show what runs."""
    eye = open_eye(browser, "phone", "practice")
    page = eye.page
    page.goto(url(server, "practice"))
    page.locator("#begin").wait_for(timeout=WAIT_MS)
    page.locator("#who-begins").fill("A. Fitter")
    page.locator("#begin").click()
    page.get_by_text("Live.", exact=True).wait_for(timeout=WAIT_MS)
    page.locator("#ran summary").click()
    page.locator("#ran tr", has_text="VP1").get_by_text("runs", exact=True).wait_for(
        timeout=SOON_MS
    )
    page.locator("#ran tr", has_text="GE1").get_by_text("stands", exact=True).wait_for()
    page.locator("#practise").select_option("V19=open")
    alarm = page.locator("li.alarm", has_text="V19")
    alarm.wait_for(timeout=SOON_MS)
    alarm.locator(".corner svg").wait_for(timeout=SOON_MS)
    assert alarm.locator("ol li").count() >= 1 and alarm.locator(".practice").count() == 1
    eye.shoot("practice-alarm")
    alarm.get_by_role("button", name=re.compile("^Acknowledge")).click()
    alarm.get_by_text("acknowledged", exact=True).wait_for()
    page.get_by_role("button", name="Put all right").click()
    page.get_by_text("No alarm.").wait_for(timeout=SOON_MS)
    page.locator("#ask-end").click()
    page.locator("#end").click()
    page.get_by_text("Write why the watch ends").wait_for()
    page.locator("#why").fill("lesson over")
    page.locator("#end").click()
    page.locator("#begin").wait_for(timeout=SOON_MS)
    page.get_by_role("link", name="History").click()
    page.get_by_role("row", name=re.compile("acknowledged.*A. Fitter")).wait_for()
    row = page.get_by_role("row", name=re.compile("lesson over"))
    assert row.locator(".practice").count() == 1
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert "PRACTICE: " in (page.locator("#paper").text_content() or "")
    page.goto(url(server, "history"))
    page.get_by_text("Nothing has been recorded yet").wait_for()
    page.context.close()
    assert not eye.errors


def test_typing_is_never_touched_by_a_redraw(browser: Any, server: Server, plant: Plant) -> None:
    """Would fail if a redraw scrambled the name while it is typed, or another one were logged; an
    alarm made no sound on a device that had been asked for it; or one that is gone, and that nobody
    acknowledged, were told as a plant that is not watched."""
    eye = open_eye(browser, "tablet", "typing")
    page, name = eye.page, "Marianne van der Steen-Oosterhout"
    page.add_init_script(COUNT_BEEPS)
    begin(page, server, plant)
    page.locator("#sound").click()
    until(lambda: page.evaluate("window.beeps") == 1)  # heard once, so that it can be set
    plant.wrong["V19"] = "open"
    page.locator("li.alarm").first.wait_for(timeout=SOON_MS)
    until(lambda: page.evaluate("window.beeps") > 2)  # and on, while nobody answers it
    page.locator("#who").fill("")
    page.locator("#who").focus()
    page.evaluate(COUNT_DRAWS)
    for place, letter in enumerate(name):
        page.keyboard.type(letter)
        page.wait_for_timeout(150)
        if place == 3:  # the plant goes on: other alarms come meanwhile
            plant.wrong["V21"] = "closed"
    until(lambda: page.locator("li.alarm").count() > 1)
    assert page.evaluate("window.draws") > 0
    assert page.locator("#who").input_value() == name
    assert page.evaluate("document.activeElement.id") == "who"
    page.locator("#ack-V19-not-closed").click()
    page.locator("#alarm-V19-not-closed").get_by_text("acknowledged", exact=True).wait_for()
    page.goto(url(server, "history"))
    page.get_by_role("row", name=re.compile(f"acknowledged.*{name}")).first.wait_for()
    plant.wrong.clear()
    page.locator("#told .gone", has_text="gone but not acknowledged").wait_for(timeout=SOON_MS)
    until(lambda: "GONE" in page.title() and "WATCHED" not in page.title())
    assert not page.locator("#told .wrong").count()
    page.context.close()
    assert not eye.errors


def test_a_killed_server_is_told_and_everything_comes_back(
    browser: Any, server: Server, plant: Plant, folder: Path
) -> None:
    """Would fail if a page went on saying "no alarm" when nobody tells it anything, or the socket
    that draws it is gone, did not come back by itself, or the watch did not outlive the server."""
    eye = open_eye(browser, "desktop", "killed")
    page = eye.page
    begin(page, server, plant)
    page.get_by_text("No alarm.").wait_for()
    assert page.locator("#silent").is_hidden()
    page.evaluate("window.socket.disconnect()")  # the rest still answers
    page.locator("#silent").wait_for(timeout=SOON_MS)
    page.evaluate("window.stayed = true")
    page.evaluate(JOIN_AGAIN)
    page.locator("#silent").wait_for(state="hidden", timeout=SOON_MS)
    plant.wrong["V21"] = "closed"  # drawn over the socket, so the joining is done
    page.locator("#alarm-V21-not-open").wait_for(timeout=SOON_MS)
    assert page.evaluate("window.stayed"), "a page that loads itself anew may not be cut off in it"
    plant.wrong.clear()
    pid = pid_of(folder)
    page.evaluate(NOTE_SILENCE)
    server.kill()
    page.locator("#silent").wait_for(timeout=SOON_MS)
    assert SILENT_S < page.evaluate("window.first") < SILENT_S + 2
    assert "NOTHING HEARD" in page.locator("#silent").inner_text()
    assert "NOTHING HEARD" in page.title()
    eye.shoot("nothing-heard")
    plant.wrong["V19"] = "open"  # nobody looks; the watch sees it
    time.sleep(5)
    server.begin()
    page.locator("li.alarm", has_text="V19").wait_for(timeout=WAIT_MS)
    assert page.locator("#silent").is_hidden()
    assert pid_of(folder) == pid
    page.context.close()


def test_a_standing_alarm_is_on_every_page_and_outlives_everything(
    browser: Any, server: Server, plant: Plant, folder: Path
) -> None:
    """Would fail if a page kept quiet of an alarm, one of practice took it for its own, a
    watch that died did not come back, or one that cannot come back was not said in large words."""
    eye = open_eye(browser, "phone", "standing")
    page = eye.page
    begin(page, server, plant)
    plant.wrong["V19"] = "open"
    for where in ("day", "edit", "pack", ""):
        page.goto(url(server, where) if where else f"http://127.0.0.1:{server.port}/")
        page.locator("#told .wrong", has_text="ALARM").wait_for(timeout=WAIT_MS)
        until(lambda: "ALARM" in page.title())
    eye.shoot("standing-start")
    page.goto(url(server, "practice"))
    page.locator("#real", has_text="NOT PRACTICE").wait_for(timeout=WAIT_MS)
    eye.shoot("standing-practice")
    page.locator("#told .wrong").first.click()
    page.locator("li.alarm", has_text="V19").wait_for(timeout=WAIT_MS)
    eye.shoot("standing-watch")
    first = pid_of(folder)
    os.kill(first, signal.SIGKILL)
    until(lambda: pid_of(folder) not in (0, first))
    page.locator("li.alarm", has_text="V19").wait_for(timeout=WAIT_MS)  # it still stands
    good = (folder / "plant.yaml").read_text()
    (folder / "plant.yaml").write_text(good.replace("equipment:", "equipmint:", 1))
    os.kill(pid_of(folder), signal.SIGKILL)
    told = page.locator("#told .wrong", has_text="THE WATCH IS NOT RUNNING")
    told.wait_for(timeout=WAIT_MS)
    (folder / "plant.yaml").write_text(good)
    page.locator("li.alarm", has_text="V19").wait_for(timeout=WAIT_MS)
    page.locator("#ask-end").click()
    page.get_by_text("Alarms that stand and will not be watched any more: 1").wait_for()
    page.locator("#why").fill("away for the day")
    page.locator("#end").click()
    ended = page.locator("#told .ended", has_text="not watched")
    ended.wait_for(timeout=WAIT_MS)
    assert "fixed stalls in two rows" in ended.inner_text()  # the farm, not the file
    page.locator("#main .ended", has_text="This plant is not watched").wait_for(timeout=WAIT_MS)
    page.goto(url(server, "history"))
    row = page.get_by_role("row", name=re.compile("watch ended.*away for the day.*A. Fitter"))
    row.wait_for()
    page.context.close()


def test_a_plant_that_is_gone_and_was_watched_is_told(
    browser: Any, server: Server, folder: Path
) -> None:
    """Would fail if a plant file renamed, or on a disk that is not mounted after a restart, took
    the alarms of its watch from every page without a word."""
    gone = folder / "barn" / "plant.yaml"
    gone.parent.mkdir()
    keep_order(gone, Order("modbus", f"{LOOPBACK}:1"))
    eye = open_eye(browser, "phone", "gone")
    page = eye.page
    try:
        page.goto(url(server, "day"))
        line = page.locator("#told .wrong", has_text="THE WATCH IS NOT RUNNING")
        line.wait_for(timeout=WAIT_MS)
        assert (
            "barn / plant" in line.inner_text() and "file is not where it was" in line.inner_text()
        )
        until(lambda: "NOT WATCHED" in page.title())
        eye.shoot("plant-gone")
    finally:
        shutil.rmtree(gone.parent)
    line.wait_for(state="detached", timeout=WAIT_MS)
    page.context.close()
    assert not eye.errors


def test_a_map_with_a_point_left_out_is_said_before(
    browser: Any, server: Server, plant: Plant, folder: Path
) -> None:
    """Would fail if an address map could not be chosen on the page, its gaps were found out by an
    alarm that did not come, or what is said of them went away by itself."""
    from byrewright.site.addresses import write_map

    table = Routes(read_plant(folder / "plant.yaml").plant, None).table
    text = write_map(default_addresses(table))
    (folder / "map.csv").write_text("\n".join(
        line for line in text.splitlines() if not line.startswith("V19_open,")
    ))  # fmt: skip
    eye = open_eye(browser, "desktop", "map")
    page = eye.page
    page.goto(url(server, "watch"))
    page.locator("#begin").wait_for(timeout=WAIT_MS)
    page.locator("#where").fill(plant.address)
    page.locator("#addresses").select_option("map.csv")
    page.locator("#who-begins").fill("A. Fitter")
    page.locator("#begin").click()
    page.get_by_text("Alarms that cannot come").wait_for(timeout=SOON_MS)
    page.locator("#where").dispatch_event("input")  # as a fast typist's last letter, told late
    page.wait_for_timeout(1000)
    assert page.locator("#cannot").is_visible()
    assert page.locator("#where").input_value() == plant.address
    page.locator("#cannot summary").click()
    page.get_by_text("V19 Distribution tank drain not closed").wait_for()
    page.locator("#all-the-same").click()
    page.get_by_text("Live.", exact=True).wait_for(timeout=WAIT_MS)
    page.get_by_text("Alarms that cannot come").wait_for()
    page.context.close()
    assert not eye.errors


def test_a_mode_that_is_not_known_is_no_calm(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if "no alarm" were said while positions are read and none is judged."""
    shown = Snapshot("(invented) farm", "Modbus", "real", 0.0, 0.1, True, 10.0, "", None)
    seen = Seen(tmp_path / "plant.yaml", "real", Knock(tmp_path / "door"))
    monkeypatch.setattr(Knock, "open", True)
    for mode, kind in ((None, "blind"), ("milking", "live")):
        seen.knock.heard = Heard(replace(shown, mode=mode), time.monotonic(), {})
        assert seen.kind() == kind
