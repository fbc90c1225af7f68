"""Typesetting in a process of its own.

The typesetter keeps what it made for as long as its process lives, some 30 to 60 MB for each report
of another plant; a server that makes packs for a season would grow without end.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

TEMPLATES = Path(__file__).resolve().parent / "templates"


class TypesetFault(RuntimeError):
    """The typesetter refused a template or its data: a fault of the program."""


def pdf(template: str, data: Any) -> bytes:
    """A template of this room with its data as PDF.

    Raises:
        TypesetFault: the typesetter refuses; with its own words.
    """
    done = subprocess.run(
        [sys.executable, "-P", str(Path(__file__).resolve()), template],
        input=json.dumps(data, sort_keys=True, allow_nan=False).encode(),
        capture_output=True, check=False,
    )  # fmt: skip
    if done.returncode or not done.stdout.startswith(b"%PDF"):
        raise TypesetFault(done.stderr.decode(errors="replace").strip()[-600:])
    return done.stdout


def _main(template: str) -> None:
    import typst

    made: bytes = typst.compile(
        str(TEMPLATES / template),
        root=str(TEMPLATES),
        ignore_system_fonts=True,
        sys_inputs={"data": sys.stdin.buffer.read().decode()},
    )
    sys.stdout.buffer.write(made)


if __name__ == "__main__":
    _main(sys.argv[1])
