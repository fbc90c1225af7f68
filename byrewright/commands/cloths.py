"""The command `cloths`: lots of cloths by shift, washes, retirement."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from byrewright.commands.common import (
    clear_errors,
    console,
    load,
    print_counts,
    print_findings,
    print_table,
    user_name,
)
from byrewright.errors import ByrewrightError
from byrewright.results import worst_first

MOST = 20


def run(
    path: Path, *, new: Sequence[str] = (), washed: Sequence[str] = (), used: Sequence[str] = (),
    retired: Sequence[str] = (), who: str | None = None, on: str | None = None,
    as_json: bool = False, every: bool = False,
) -> None:  # fmt: skip
    """Enter what was done with lots of cloths, then print them."""
    from byrewright.site.checks.measured import owner_of
    from byrewright.site.log import log_of
    from byrewright.site.upkeep.cloths import cloths_of, enter

    with clear_errors():
        try:
            day = date.today() if on is None else date.fromisoformat(on)
        except ValueError:
            raise ByrewrightError(f"--date {on}: is not a date; write it as 2026-03-31") from None
        file, rules = load(path)
        log = log_of(path, owner_of(file.plant))
        try:
            if new or washed or used or retired:
                count = enter(log, who or user_name(), day, new=new, washed=washed, used=used,
                              retired=retired)  # fmt: skip
                print(f"{count} entered in {log.name}")
            entries = log.entries("cloths") if log.home.identity() is not None else []
        finally:
            log.close()
        result = cloths_of(file.plant.site.name, rules, entries, day)
        if as_json:
            print(result.to_json(), end="")
            return
        out = console()
        for table in result.tables:
            print_table(out, table, most=None if every else MOST)
        out.print()
        print_findings(out, [f for f in worst_first(result.findings) if f.verdict != "holds"])
        print_counts(out, result)
