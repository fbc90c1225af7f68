"""The command `log`: look at a plant's log, prove it, carry it from place to place."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.commands.common import NOT_HELD, clear_errors, console, print_table
from byrewright.errors import ByrewrightError

if TYPE_CHECKING:
    from byrewright.results import Table
    from byrewright.site.log import Entry, Log

DOES = ("list", "verify", "out", "in")
MOST = 40
CLOCK = "%Y-%m-%d %H:%M"
HIDDEN = ("sheet", "revision", "when", "sha256", "photo")
"""Of an entry's data, what nobody reads in a list; `--json` gives all."""


def run(
    does: str, plant_path: Path, zip_path: Path | None, *, practice: bool = False,
    as_json: bool = False, every: bool = False,
) -> None:  # fmt: skip
    """Do one of `DOES` with the log of a plant."""
    with clear_errors():
        if does not in DOES:
            raise ByrewrightError(f"log {does}: there is {', '.join(DOES[:-1])} and {DOES[-1]}")
        if (zip_path is None) != (does in ("list", "verify")):
            raise ByrewrightError(
                f"log {does}: name the zip to write or read, such as log.zip"
                if zip_path is None
                else f"log {does}: takes the plant file alone"
            )
        log = opened(plant_path, practice=practice, must_be=does != "in")
        try:
            if does == "verify":
                _verify(log)
            elif does == "list":
                _list(log, as_json, every)
            elif zip_path is not None:
                _carry(log, does, zip_path)
        finally:
            log.close()


def opened(plant_path: Path, *, practice: bool = False, must_be: bool = False) -> Log:
    """The log of a plant.

    Raises:
        ByrewrightError: the plant file cannot be read, or there is no log and there must be one.
    """
    from byrewright.plant.read import read_plant
    from byrewright.site.log import Owner, log_of

    site = read_plant(plant_path).plant.site
    log = log_of(plant_path, Owner(site.id or "", site.name, "practice" if practice else "real"))
    if must_be and log.home.identity() is None:
        raise ByrewrightError(f"{log.name}: there is no log yet; it begins with the first entry")
    return log


def _verify(log: Log) -> None:
    wrong, entries = log.verify(), log.entries()
    if wrong:
        print(f"{log.name} does not fit; the first: {wrong[0]}")
        for one in wrong[1:]:
            print(f"  also: {one}")
        raise SystemExit(NOT_HELD)
    print(f"{log.name}: {len(entries)} entries, all as they were written; hash {log.digest()}")


def _carry(log: Log, does: str, path: Path) -> None:
    from byrewright.site.log.carry import take_in, write_out

    if does == "out":
        print(f"{path}: {write_out(log, path)} entries, hash {log.digest()}")
        return
    added, of = take_in(log, path)
    were = "was" if added == 1 else "were"
    print(f"{added} of the {of} entries in {path} {were} new; {log.name} has hash {log.digest()}")


def _list(log: Log, as_json: bool, every: bool) -> None:
    from byrewright.site.log.entry import current

    entries = log.entries()
    if as_json:
        print(json.dumps([_plain(e) for e in entries], indent=1, ensure_ascii=False))
        return
    counts = {id(e) for e in current(entries)}
    shown = entries if every else entries[-MOST:]
    print_table(console(), _table(shown, counts))
    if len(shown) < len(entries):
        print(f"  {len(entries) - len(shown)} before these with --all")


def _plain(one: Entry) -> dict[str, object]:
    from dataclasses import asdict

    return asdict(one) | {"body": one.data}


def _table(entries: list[Entry], counts: set[int]) -> Table:
    from byrewright.results import Table

    return Table(
        "log", "The log, oldest first", ("when", "what", "at", "by", "entry", ""), ("",) * 6,
        tuple(
            (time.strftime(CLOCK, time.localtime(e.at)), e.kind, e.tag, e.who, _words(e),
             "" if id(e) in counts else "corrected")
            for e in entries
        ),
    )  # fmt: skip


def _words(one: Entry) -> str:
    data = one.data
    if one.kind == "watch":
        return f"{data.get('kind', '')}: {data.get('text', '')}"
    if one.kind == "ran":
        some = ((tag, c["ran_s"] / 3600.0, c["starts"]) for tag, c in data["machines"].items())
        ran = [f"{tag} {hours:.2g} h" + (f" in {many} starts" if many else "")
               for tag, hours, many in some if hours or many]  # fmt: skip
        return f"ran: {', '.join(ran) or 'nothing'}"[:160]
    told = {k: v for k, v in data.items()
            if v not in ("", None, {}) and not isinstance(v, list) and k not in HIDDEN}  # fmt: skip
    for key, value in told.items():
        if isinstance(value, dict):
            told[key] = " ".join(f"{many} {what}" for what, many in value.items() if many)
    first = []
    if "title" in told:
        value = f"{told.pop('value'):g} {told.pop('unit', '')}" if "value" in told else ""
        first = [f"{told.pop('title')}: {value or told.pop('outcome', '')}".strip()]
        told.pop("outcome", None)
    return ", ".join([*first, *(f"{k} {v}" for k, v in told.items())])[:160]
