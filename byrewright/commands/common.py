"""What commands share: loading with clear errors, tables on the screen, writing files."""

from __future__ import annotations

import io
import os
import signal
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.errors import ByrewrightError
from byrewright.results import FREE, FREE_SIGN, VERDICTS, Finding, Result, Table, Verdict
from byrewright.standards.units import beside

if TYPE_CHECKING:
    from rich.console import Console

    from byrewright.documents.format import System
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
INTERRUPTED, CLOSED_PIPE, ENDED = 130, 141, 143
"""Exit codes of an interrupt, a reader that went away, and an order to end, as shells have them."""


def console(*, error: bool = False) -> Console:
    """A terminal; plain text when piped."""
    from rich.console import Console

    class Screen(Console):
        """A console that leaves a closed pipe to `clear_errors`."""

        def on_broken_pipe(self) -> None:
            raise BrokenPipeError

    stream = sys.stderr if error else sys.stdout
    width = None if stream.isatty() else PIPED_WIDTH
    return Screen(stderr=error, highlight=False, soft_wrap=False, width=width)


@contextmanager
def clear_errors() -> Iterator[None]:
    """Turn what is wrong with the input into sentences and exit code 2, never a traceback."""
    try:
        yield
        sys.stdout.flush()  # so that a closed pipe is met here, not at the very end
    except BrokenPipeError:
        closed = os.open(os.devnull, os.O_WRONLY)
        os.dup2(closed, 1)  # what is still to be flushed goes nowhere
        raise SystemExit(CLOSED_PIPE) from None
    except ByrewrightError as error:
        print(str(error), file=sys.stderr)
        raise SystemExit(BAD_INPUT) from None
    except FileNotFoundError as error:
        print(f"{error.filename}: no such file; check the name and the folder", file=sys.stderr)
        raise SystemExit(BAD_INPUT) from None
    except PermissionError as error:
        print(f"{error.filename}: may not be read or written by you", file=sys.stderr)
        raise SystemExit(BAD_INPUT) from None
    except (FileExistsError, NotADirectoryError) as error:
        print(f"{error.filename}: is a file, not a folder; name another", file=sys.stderr)
        raise SystemExit(BAD_INPUT) from None
    except OSError as error:
        print(f"{error.filename or 'file'}: {error.strerror or error}", file=sys.stderr)
        raise SystemExit(BAD_INPUT) from None
    except KeyboardInterrupt as why:
        print("stopped; nothing was half written", file=sys.stderr)
        raise SystemExit(ENDED if isinstance(why, Ended) else INTERRUPTED) from None


class Ended(KeyboardInterrupt):
    """The system asked the program to end (SIGTERM)."""


def plain_streams() -> None:
    """What a screen cannot show becomes a question mark, and an order to end is told.

    Called once, by the installed command.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")

    def end(*_: object) -> None:
        raise Ended

    signal.signal(signal.SIGTERM, end)


def within(option: str, value: float, least: float, most: float, unit: str = "") -> None:
    """Refuse the number of an option outside its range, or that is none.

    Raises:
        ByrewrightError: it is; the sentence names the range.
    """
    if not least <= value <= most:
        raise ByrewrightError(f"{option} {value:g}: give {least:g} to {most:g} {unit}".rstrip())


def user_name() -> str:
    """Who runs this, as far as the computer knows."""
    import getpass

    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):  # no account entry
        return "unknown user"


def load(path: Path) -> tuple[PlantFile, Rulebook]:
    """The sound plant of a file and the rules beside it (`limits.yaml`, where there is one).

    Raises:
        PlantError: the file cannot be read, or the checks find an error in the plant.
    """
    from byrewright.plant.limits import rules_beside
    from byrewright.plant.read import read_plant

    file = read_plant(path)
    file.sound()
    return file, rules_beside(path)


def system_of(units: str) -> System:
    """The system of units that the user names."""
    if units.casefold() == "metric":
        return "metric"
    if units.casefold() == "us":
        return "US"
    raise ByrewrightError(f"--units {units}: there is metric and US; metric if nothing is said")


def amount(value: float | None, unit: str, units: System = "metric") -> str:
    """A number with its unit in the reader's system, short; a dash when there is none."""
    if value is None:
        return "-"
    if units != "metric":
        from byrewright.documents.format import shown

        value, unit = shown(value, unit, units)
    text = f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"
    return f"{text} {beside(text, unit)}".strip()


def print_counts(out: Console, result: Result, word: str = "without a limit") -> None:
    """One line: how many findings of each verdict; `word` is for what is held to no limit."""
    count, free = result.count(), result.unjudged()
    parts = [f"[{STYLE[v]}]{MARK[v]} {count[v]} {v}[/]" for v in reversed(VERDICTS)]
    parts += [f"{free} {word}"] if free else []
    out.print("   ".join(parts))


def held_to(one: Finding, units: System = "metric") -> str:
    """The value of a finding and what it is held to: "6.4 kW, at least 5 kW"."""
    if one.value is None:
        return ""
    value = amount(one.value, one.unit, units)
    if one.limit is None or one.sense == "informational":
        return value
    sign = {"at_least": "at least", "at_most": "at most"}[one.sense]
    return f"{value}, {sign} {amount(one.limit, one.unit, units)}"


def alike(findings: Iterable[Finding]) -> list[list[Finding]]:
    """Findings in order, those together that say the same of several machines or pipes."""
    groups: dict[tuple[object, ...], list[Finding]] = {}
    for one in findings:
        value = None if one.value is None else f"{one.value:.4g}"
        same = (one.key, one.title, one.verdict, value, one.limit)
        groups.setdefault(same if one.subject else (one.name, len(groups)), []).append(one)
    return list(groups.values())


def print_findings(out: Console, findings: Iterable[Finding], units: System = "metric") -> None:
    """Findings one below the other: mark, name, value against limit, and the sentence.

    Of several alike the first is printed and the others are named.
    """
    from rich.padding import Padding

    from byrewright.documents.us_units import finding_in

    for first, *others in alike(findings):
        one = finding_in(first, units)
        style, says = STYLE[one.verdict], held_to(one, units)
        sign = f"{MARK[one.verdict]} {one.verdict}" if one.judged else f"{FREE_SIGN} {FREE}"
        out.print(
            f"[{style if one.judged else 'dim'}]{sign}[/]  {one.name}"
            + (f"  {says}" if says else "")
        )
        out.print(Padding(one.sentence, (0, 0, 0, 4)))
        if others:
            same = ", ".join(f.subject for f in others)
            out.print(Padding(f"The same for {same}.", (0, 0, 0, 4)))


GAP = 2
WORD_MOST = 26
"""Letters of a word that a column may not break, where the screen is wide enough."""
SMALLEST = 0.001
"""Numbers nearer to nothing are printed as less than this; their digits are in `--json`."""


def cell(value: float | str | None) -> str:
    """What stands in a table on the screen.

    >>> cell(4.47e-05), cell(-0.0), cell(1231.5), cell("idle")
    ('<0.001', '0', '1231.5', 'idle')
    """
    if not isinstance(value, float | int):
        return "-" if value is None else value
    return f"<{SMALLEST:g}" if 0.0 < abs(value) < SMALLEST else f"{value or 0:g}"


def _widths(columns: Sequence[Sequence[str]], screen: int) -> list[int]:
    """Letters for each column: words whole where they fit, the rest shared, small needs first."""
    words = [max((len(w) for text in c for w in text.split()), default=1) for c in columns]
    room = screen - GAP * (len(columns) - 1)
    most = next((n for n in range(WORD_MOST, 1, -1) if sum(min(n, w) for w in words) <= room), 1)
    widths = [min(most, w) for w in words]
    wants = [max(map(len, column)) - w for column, w in zip(columns, widths, strict=True)]
    spare = max(0, room - sum(widths))
    for place, i in enumerate(sorted(range(len(columns)), key=wants.__getitem__)):
        given = min(wants[i], spare // (len(columns) - place))
        widths[i] += given
        spare -= given
    return widths


def print_table(
    out: Console,
    table: Table,
    *,
    most: int | None = None,
    columns: Sequence[str] = (),
) -> None:
    """A table, no word of it wider than its column; `most` rows and only `columns` where given."""
    from rich.table import Table as Grid

    keep = [i for i, name in enumerate(table.columns) if not columns or name in columns]
    rows = table.rows[:most]
    grid = Grid(title=table.title, title_justify="left", box=None, pad_edge=False)
    texts = [[table.columns[i], table.units[i], *(cell(row[i]) for row in rows)] for i in keep]
    for (head, unit, *_), width in zip(texts, _widths(texts, out.width), strict=True):
        grid.add_column(f"{head}\n[dim]{unit}[/]" if unit else head, overflow="fold", width=width)
    for row in rows:
        grid.add_row(*(cell(row[i]) for i in keep))
    out.print()
    out.print(grid)
    if not rows:
        out.print("  none")
    if len(table.rows) > len(rows):
        out.print(f"  {len(table.rows) - len(rows)} more with --all", style="dim")
    if table.note:
        out.print(table.note, style="dim")
