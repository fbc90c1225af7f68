"""What every test shares: programs from outside Python are noted when missing, and owed in CI."""

from __future__ import annotations

import gc
import os
import shutil

import pytest
from hypothesis import settings

from byrewright.__main__ import OBJECTS_A_SEARCH
from tests import first_start

OUTSIDE_PROGRAMS = {
    "browser": ("chromium", "chromium"),
    "poppler": ("pdftotext", "poppler-utils"),
    "nginx": ("nginx", "nginx"),
    "npm": ("npm", "npm"),
    "soffice": ("soffice", "libreoffice-calc-nogui"),
}
"""Marker: the program it needs and the Debian package that brings it."""

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does; see byrewright.__main__
settings.register_profile("byrewright", deadline=None)  # a busy machine is no fault of the code
settings.load_profile("byrewright")


@pytest.hookimpl(tryfirst=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """Compile once, before there are workers, each of which would: the first start is measured by
    that (test_first_start)."""
    several = getattr(session.config.option, "numprocesses", None)
    if several and not hasattr(session.config, "workerinput"):
        first_start.before_workers()


LONG = ("test_watch_pages", "test_pages", "test_many", "test_editing")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Pages last, and of these what takes long first: files go to workers whole, and what would be
    begun last would keep one worker busy alone."""

    def turn(item: pytest.Item) -> int:
        if item.path.parent.name != "web" or item.path.stem == "test_access":
            return 0  # what has an event loop of its own comes before a browser's
        return 1 if item.path.stem in LONG else 2

    items.sort(key=turn)


def pytest_collection_finish() -> None:
    """As the command does, and what stands by now is not searched again: a tenth of the time."""
    gc.set_threshold(OBJECTS_A_SEARCH, 20, 20)
    gc.collect()
    gc.freeze()


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip a test whose outside program is missing, with a note; fail it where CI=true."""
    for marker, (program, package) in OUTSIDE_PROGRAMS.items():
        if item.get_closest_marker(marker) is None or shutil.which(program):
            continue
        message = f"{program} is missing: install it (on Debian: apt install {package})"
        if os.environ.get("CI") == "true":
            pytest.fail(message, pytrace=False)
        pytest.skip(message)
