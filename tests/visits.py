"""Visits to the pages of a plant without a browser: each page opened, its work waited for."""

from __future__ import annotations

import asyncio
import contextlib
import io
import logging
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

PAGES = ("plant", "day", "failures", "interlocks", "watch", "history", "edit", "brief", "pack")
WAIT_S = 0.05
QUIET_S = 0.3
"""A page with nothing under way for so long has nothing more to show."""


@contextlib.contextmanager
def _overheard() -> Iterator[tuple[io.StringIO, list[Any], list[Any]]]:
    """What the server tells of faults, the answers it keeps, and the parts of pages it draws."""
    from byrewright.web import frame, server

    told, answers, parts = io.StringIO(), [], []
    heard = logging.StreamHandler(told)
    heard.setLevel(logging.ERROR)
    kept_answers, kept_init = server.Answers, frame.Live.__init__

    class Answers(kept_answers):  # type: ignore[misc, valid-type]
        def __init__(self) -> None:
            super().__init__()
            answers.append(self)

    def init(self: Any, *args: Any, **words: Any) -> None:
        kept_init(self, *args, **words)
        parts.append(self)

    server.Answers, frame.Live.__init__ = Answers, init  # type: ignore[misc, method-assign]
    logging.getLogger().addHandler(heard)
    try:
        with contextlib.redirect_stderr(told):
            yield told, answers, parts
    finally:
        logging.getLogger().removeHandler(heard)
        server.Answers = kept_answers  # type: ignore[misc]
        frame.Live.__init__ = kept_init  # type: ignore[method-assign]


async def _open_all(app: Any, answers: list[Any], limit_s: float) -> None:
    import httpx
    from nicegui.testing.user import User

    began = time.process_time()
    transport = httpx.ASGITransport(app, client=("127.0.0.1", 1))
    async with (
        app.router.lifespan_context(app),
        httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as http,
    ):
        for page in ("/", *(f"/p/plant/{page}" for page in PAGES)):
            await User(http).open(page)
            quiet = 0.0
            while quiet < QUIET_S and time.process_time() - began < limit_s:
                await asyncio.sleep(WAIT_S)
                busy = any(not job.over for a in answers for job in list(a._jobs.values()))
                quiet = 0.0 if busy else quiet + WAIT_S


def visit(plant: Path, limit_s: float) -> tuple[str, str]:
    """Open every page of a plant once, in this process; what the pages say, and what went wrong.

    Once a process: the pages' framework keeps its application for good.
    """
    from byrewright.web.server import build

    with _overheard() as (told, answers, parts):
        asyncio.run(_open_all(build(plant), answers, limit_s))
        return "\n".join(part.shown for part in parts), told.getvalue()
