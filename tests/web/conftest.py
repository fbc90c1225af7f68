"""A server on loopback for all tests of the pages, and a real browser."""

from __future__ import annotations

import shutil
import socket
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from tests.conftest import BROWSERS
from tests.plant.small import SMALL as FEW_MACHINES
from tests.web.serving import serving

ROOT = Path(__file__).resolve().parents[2]
SHOTS = ROOT / "out" / "screenshots"
START_S = 60.0  # a cold, busy machine imports for long
SIZES = {"desktop": (1440, 900), "tablet": (820, 1180), "phone": (390, 844)}
LARGEST = "rotary_round_the_clock~plant"
SMALL = "rows_two_by_twenty~plant"
FEW = "few"
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PLAIN = "/look/page.css"
KEPT = "local_storage,indexeddb,service_workers,cache_storage"
LOCAL = {"127.0.0.1", "localhost", ""}


@dataclass
class Served:
    """A running server: its address and the folder behind it."""

    url: str
    folder: Path

    def page(self, slug: str, page: str, query: str = "") -> str:
        """The address of a page."""
        return f"{self.url}/p/{slug}/{page}{query}"


def free_port() -> int:
    """A port nobody uses."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class Server:
    """A server in a process of its own that can be killed and begun again at the same address."""

    def __init__(self, folder: Path, host: str = "127.0.0.1", *more: str) -> None:
        self.folder, self.host, self.port, self.more = folder, host, free_port(), more
        self.log = folder / ".server.log"
        self.process: BaseProcess | None = None

    def begin(self) -> Served:
        """Begin, and wait until it answers."""
        self.process = serving(self.folder, self.host, self.port, "proxy" in self.more, self.log)
        url = f"http://127.0.0.1:{self.port}"
        end = time.monotonic() + START_S
        while True:
            try:
                urllib.request.urlopen(f"{url}{PLAIN}", timeout=2).close()
                return Served(url, self.folder)
            except OSError:
                if not self.process.is_alive() or time.monotonic() > end:
                    pytest.fail(f"the server did not start:\n{self.log.read_text()}")
                time.sleep(0.1)

    def kill(self) -> None:
        """As a loss of power would."""
        assert self.process is not None
        self.process.kill()
        self.process.join(10)

    def end(self) -> None:
        """End in good order; nothing may have gone wrong unseen."""
        if self.process is not None:
            self.process.terminate()
            self.process.join(20)
            assert not self.process.is_alive(), "the server does not end"
        assert "Traceback" not in self.log.read_text(), self.log.read_text()[-3000:]


def start(folder: Path, host: str = "127.0.0.1") -> Iterator[Served]:
    """A server, ended afterwards."""
    server = Server(folder, host)
    try:
        yield server.begin()
    finally:
        server.end()


@pytest.fixture(scope="session")
def examples(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the examples that tests may change."""
    folder = tmp_path_factory.mktemp("served")
    for one in ("rotary_round_the_clock", "rows_two_by_twenty"):
        (folder / one).mkdir()
        shutil.copy(ROOT / "examples" / one / "brief.yaml", folder / one)
        drafted = ROOT / "examples" / one / "plant.yaml"
        if drafted.exists():
            shutil.copy(drafted, folder / one)
        else:
            from byrewright.drafting.draft import draft_plant
            from byrewright.plant.brief import read_brief

            text = draft_plant(read_brief(folder / one / "brief.yaml")).text
            (folder / one / "plant.yaml").write_text(text, encoding="utf-8")
    (folder / "few.yaml").write_text(FEW_MACHINES, encoding="utf-8")
    (folder / "broken.yaml").write_text(
        "byrewright: 1\nequipment:\n  V1: {kind: valvee}\n", encoding="utf-8"
    )
    return folder


@pytest.fixture(scope="session")
def served(examples: Path) -> Iterator[Served]:
    """The pages of the examples."""
    yield from start(examples)


_chromium: list[Any] = []
"""Playwright and its browser, while they run."""
_contexts: dict[str, Any] = {}
"""Visitors who come back, by size of their screen."""
_tabs: dict[str, Any] = {}
"""The tab that each of them left: its process has the scripts of the pages ready to run, and a new
one costs a second of processor."""


def program() -> str | None:
    """Debian's Chromium on this machine, None where there is none."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def chromium() -> Any:
    """Debian's Chromium, the same for all tests of the pages."""
    from playwright.sync_api import sync_playwright

    if not _chromium:
        _chromium.append(sync_playwright().start())
        _chromium.append(_chromium[0].chromium.launch(executable_path=program(), args=list(FLAGS)))
    return _chromium[1]


@pytest.fixture
def browser() -> Any:
    """The browser of all tests of the pages."""
    return chromium()


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> None:
    """Before a file that begins without it the browser ends: its event loop stands in the way of
    tests that have one of their own."""
    goes_on = nextitem is not None and (
        nextitem.path == item.path or "browser" in getattr(nextitem, "fixturenames", ())
    )
    if _chromium and not goes_on:
        playwright, one = _chromium
        _chromium.clear()
        _contexts.clear()
        _tabs.clear()
        one.close()
        playwright.stop()


@dataclass
class Eye:
    """A browser page that notes what went wrong and where requests went."""

    page: Any
    size: str
    name: str
    noted: list[str]
    hosts: set[str]
    refusals: tuple[str, ...] = ()  # status codes that the test asks for
    beside: frozenset[Any] = frozenset()  # pages that others have open in this browser
    heard: dict[str, Any] = field(default_factory=dict)

    @property
    def errors(self) -> list[str]:
        """What went wrong, without the refusals that the test asked for."""
        told = tuple(f"responded with a status of {code} " for code in self.refusals)
        return [one for one in self.noted if not any(x in one for x in told)]

    def hear(self, page: Any) -> None:
        """Note from now on what goes wrong on a page and where its requests go."""
        heard = {
            "pageerror": lambda e: self.noted.append(str(e)),
            "console": lambda m: self.noted.append(m.text) if m.type == "error" else None,
            "request": lambda r: self.hosts.add(urlsplit(r.url).hostname or ""),
            "websocket": lambda w: self.hosts.add(urlsplit(w.url).hostname or ""),
        }
        for event, note in heard.items():
            page.on(event, note)
        self.heard = heard

    def close(self) -> None:
        """Leave; who comes back has the scripts of the pages still, and nothing else."""
        context = self.page.context
        if context not in _contexts.values():
            context.close()
            return
        for event, note in self.heard.items():
            self.page.remove_listener(event, note)
        for page in set(context.pages) - self.beside - {self.page, *_tabs.values()}:
            page.close()
        where = urlsplit(self.page.url)
        if where.scheme.startswith("http") and self.size not in _tabs:
            self._leave(f"{where.scheme}://{where.netloc}")
            _tabs[self.size] = self.page
        else:
            self.page.close()

    def _leave(self, origin: str) -> None:
        """Go from the page to one that does nothing, and forget what was kept."""
        self.page.evaluate("sessionStorage.clear()")
        self.page.goto(f"{origin}{PLAIN}")
        self.page.context.clear_cookies()
        session = self.page.context.new_cdp_session(self.page)
        session.send("Storage.clearDataForOrigin", {"origin": origin, "storageTypes": KEPT})
        session.detach()
        width, height = SIZES[self.size]
        self.page.set_viewport_size({"width": width, "height": height})

    def shoot(self, what: str) -> None:
        """Keep a screenshot, for people to look at."""
        SHOTS.mkdir(parents=True, exist_ok=True)
        self.page.screenshot(path=str(SHOTS / f"{what}-{self.size}.png"), full_page=False)


def context_of(browser: Any, size: str) -> Any:
    """A browser that was never here, with a screen of that size."""
    width, height = SIZES[size]
    return browser.new_context(
        viewport={"width": width, "height": height}, has_touch=size != "desktop",
        reduced_motion="reduce", accept_downloads=True,
    )  # fmt: skip


def open_eye(browser: Any, size: str, name: str, *, comes_back: bool = False) -> Eye:
    """A fresh visitor, or one who comes back and has the scripts of the pages already."""
    context = _contexts.get(size) if comes_back else None
    if context is None:
        context = context_of(browser, size)
        if comes_back:
            _contexts[size] = context
    page = _tabs.pop(size, None) if comes_back else None
    beside = frozenset(set(context.pages) - {page})
    page = page or context.new_page()
    eye = Eye(page, size, name, [], set(), beside=beside)
    eye.hear(page)
    page.set_default_timeout(180_000)  # a busy machine
    return eye


@pytest.fixture(params=["desktop", "tablet"])
def eye(browser: Any, request: pytest.FixtureRequest) -> Iterator[Eye]:
    """A visitor at each size; nothing may go wrong unseen, and nothing may leave this computer."""
    one = open_eye(browser, request.param, request.node.name, comes_back=True)
    yield one
    one.close()
    assert not one.errors, one.errors
    assert one.hosts <= LOCAL, f"a request left this computer: {one.hosts - LOCAL}"


SILENT = "IDBFactory.prototype.open = () => ({})"
BROKEN = """
IDBDatabase.prototype.transaction = function () { throw new DOMException("gone") };
"""
DATABASES = {"never answers": SILENT, "answers and fails": BROKEN}
"""Databases of a browser in trouble, for pages that must go on without one."""
