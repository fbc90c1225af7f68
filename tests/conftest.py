"""What every test shares: programs from outside Python are noted when missing, and owed in CI."""

from __future__ import annotations

import gc
import os
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from byrewright.__main__ import OBJECTS_A_SEARCH
from tests import first_start

BROWSERS = ("chromium-headless-shell", "chromium")
"""The browser of the pages' tests: the first needs a fifth less processor, as it has no windows."""
OUTSIDE_PROGRAMS = {
    "browser": (BROWSERS, BROWSERS[0]),
    "poppler": (("pdftotext",), "poppler-utils"),
    "nginx": (("nginx",), "nginx"),
    "npm": (("npm",), "npm"),
    "soffice": (("soffice",), "libreoffice-calc-nogui"),
}
"""Marker: the programs one of which it needs, and the Debian package that brings one."""

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does; see byrewright.__main__
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # workers and commands need not compile all again
settings.register_profile("byrewright", deadline=None)  # a busy machine is no fault of the code
settings.load_profile("byrewright")


@pytest.hookimpl(tryfirst=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """Compile once, before there are workers, each of which would: the first start is measured by
    that (test_first_start)."""
    several = getattr(session.config.option, "numprocesses", None)
    if several and not hasattr(session.config, "workerinput"):
        first_start.before_workers()


PAGES = "pages"
OWN_SERVER = {"test_access", "test_answers", "test_editing", "test_place_page", "test_proxy",
              "test_texts", "test_watch_pages"}  # fmt: skip
"""Tests of the pages that do not ask the one server of them all."""
LONGEST = {"test_close", "test_draft", "test_mending", "test_options", "test_told_once"}
"""Files that take half a minute and more: begun last, one would go on when all others are done."""


def _shares_the_server(file: Path) -> bool:
    return file.parent.name == "web" and file.stem not in OWN_SERVER


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Pages first, and what takes longest: pages wait, while other workers work."""

    def turn(item: pytest.Item) -> int:
        if item.path.parent.name != "web":
            return 1 if item.path.stem in LONGEST else 2
        return 0 if _shares_the_server(item.path) else 1

    items.sort(key=turn)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With `--dist loadfile`: what asks the one server of the pages goes to one worker, so that
    each study of its plants is worked out once and nobody writes what another reads."""
    if config.getoption("dist") != "loadfile":
        return None
    from xdist.scheduler import LoadFileScheduling

    class Together(LoadFileScheduling):  # type: ignore[misc]
        def _split_scope(self, nodeid: str) -> str:
            file: str = super()._split_scope(nodeid)
            return PAGES if _shares_the_server(Path(file)) else file

    return Together(config, log)


def pytest_collection_finish() -> None:
    """As the command does, and what stands by now is not searched again: a tenth of the time."""
    gc.set_threshold(OBJECTS_A_SEARCH, 20, 20)
    gc.collect()
    gc.freeze()


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip a test whose outside program is missing, with a note; fail it where CI=true."""
    for marker, (programs, package) in OUTSIDE_PROGRAMS.items():
        if item.get_closest_marker(marker) is None or any(map(shutil.which, programs)):
            continue
        message = f"{programs[0]} is missing: install it (on Debian: apt install {package})"
        if os.environ.get("CI") == "true":
            pytest.fail(message, pytrace=False)
        pytest.skip(message)
