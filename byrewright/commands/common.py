"""What commands share: loading with clear errors, tables on the screen, writing files."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.errors import ByrewrightError
from byrewright.results import VERDICTS, Finding, Result, Verdict

if TYPE_CHECKING:
    from rich.console import Console

    from byrewright.plant.read import PlantFile
    from byrewright.standards.rulebook import Rulebook

MARK: dict[Verdict, str] = {"holds": "+", "tight": "~", "fails": "x", "unknown": "?"}
"""A letter beside each verdict, so that it never rests on colour alone."""
STYLE: dict[Verdict, str] = {
    "holds": "green",
    "tight": "yellow",
    "fails": "bold red",
    "unknown": "cyan",
}

PIPED_WIDTH = 120
"""Columns of what is printed into a pipe or a file."""
BAD_INPUT = 2
"""Exit code when the input cannot be used."""
NOT_HELD = 1
"""Exit code when a finding fails and the caller asked to be told so."""


def console(*, error: bool = False) -> Console:
    """A terminal; plain text when piped."""
    from rich.console import Console

    stream = sys.stderr if error else sys.stdout
    width = None if stream.isatty() else PIPED_WIDTH
    return Console(stderr=error, highlight=False, soft_wrap=False, width=width)


@contextmanager
def clear_errors() -> Iterator[None]:
    """Turn what is wrong with the input into sentences and exit code 2, never a traceback."""
    try:
        yield
    except ByrewrightError as error:
        print(str(error), file=sys.stderr)
        raise SystemExit(BAD_INPUT) from None
    except FileNotFoundError as error:
        print(f"{error.filename}: no such file; check the name and the folder", file=sys.stderr)
        raise SystemExit(BAD_INPUT) from None
    except PermissionError as error:
        print(f"{error.filename}: may not be read or written by you", file=sys.stderr)
        raise SystemExit(BAD_INPUT) from None
    except KeyboardInterrupt:
        print("stopped; nothing was half written", file=sys.stderr)
        raise SystemExit(130) from None


def load(path: Path) -> tuple[PlantFile, Rulebook]:
    """The plant of a file and the rules beside it (`limits.yaml`, where there is one)."""
    from byrewright.plant.limits import rules_beside
    from byrewright.plant.read import read_plant

    return read_plant(path), rules_beside(path)


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    """Findings by verdict, worst first, otherwise in their order."""
    return sorted(findings, key=lambda f: VERDICTS.index(f.verdict))


def amount(value: float | None, unit: str) -> str:
    """A number with its unit, short; a dash when there is none."""
    if value is None:
        return "-"
    text = f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"
    return f"{text} {unit}".strip()


def print_counts(out: Console, result: Result) -> None:
    """One line: how many findings of each verdict."""
    count = result.count()
    parts = [f"[{STYLE[v]}]{MARK[v]} {count[v]} {v}[/]" for v in reversed(VERDICTS)]
    out.print("   ".join(parts))


def print_findings(out: Console, findings: Iterable[Finding]) -> None:
    """Findings one below the other: mark, name, value against limit, and the sentence."""
    from rich.padding import Padding

    for one in findings:
        sign = {"at_least": "at least ", "at_most": "at most ", "says": ""}[one.sense]
        limit = f", {sign}{amount(one.limit, one.unit)}" if one.limit is not None else ""
        value = f"  {amount(one.value, one.unit)}{limit}" if one.value is not None else ""
        style = STYLE[one.verdict]
        out.print(f"[{style}]{MARK[one.verdict]} {one.verdict}[/]  {one.name}{value}")
        out.print(Padding(one.sentence, (0, 0, 0, 4)))
