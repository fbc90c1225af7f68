"""Servers of pages, each in a process that branches off from one that has imported all."""

from __future__ import annotations

import multiprocessing
import os
import sys
from pathlib import Path

from byrewright import web

PAGES = (f"byrewright.web.pages.{one.stem}" for one in Path(web.__path__[0], "pages").glob("*.py"))
_FORKS = multiprocessing.get_context("forkserver")
_FORKS.set_forkserver_preload(["byrewright.commands.serve", "byrewright.web.server", *PAGES])


def serving(
    folder: Path, host: str, port: int, behind_proxy: bool, log: Path
) -> multiprocessing.process.BaseProcess:
    """A process that serves a folder as the command does and writes what it says to `log`."""
    asked = (folder, host, port, behind_proxy, log, dict(os.environ))
    made = _FORKS.Process(target=_serve, args=asked, daemon=True)
    made.start()
    return made


def _serve(
    folder: Path, host: str, port: int, behind_proxy: bool, log: Path, env: dict[str, str]
) -> None:
    with log.open("ab") as out:
        for stream in (1, 2):
            os.dup2(out.fileno(), stream)
    os.environ.clear()
    os.environ.update(env)
    sys.argv = ["byrewright", "serve"]
    from byrewright.commands.serve import run

    run(folder, host, port, behind_proxy=behind_proxy)
