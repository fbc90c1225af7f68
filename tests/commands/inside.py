"""A command run inside this process, as the installed one runs, with what it wrote and its end."""

from __future__ import annotations

import contextlib
import io
import time
from collections.abc import Sequence
from dataclasses import dataclass

from byrewright.cli import app


@dataclass(frozen=True)
class Ended:
    """What a command wrote, its exit code, and the error it fell over (None where it did not)."""

    out: str
    err: str
    code: int
    fell: BaseException | None
    processor_s: float


def inside(words: Sequence[str]) -> Ended:
    """Run `byrewright` with these words; nothing it raises comes through."""
    out, err = io.StringIO(), io.StringIO()
    code, fell = 0, None
    began = time.process_time()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            app(list(words), standalone_mode=False)
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 1
        except BaseException as error:  # what an abused command must never do
            fell = error
    return Ended(out.getvalue(), err.getvalue(), code, fell, time.process_time() - began)
