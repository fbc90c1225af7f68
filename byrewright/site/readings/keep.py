"""Figures out of instrument files as entries of the log."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Sequence
from dataclasses import replace

from byrewright.errors import ByrewrightError
from byrewright.site.log import Log, New
from byrewright.site.log.entry import LATEST_S
from byrewright.site.readings.figure import Figure
from byrewright.site.readings.files import ReadFile

NO_CLOCK = "none in the file; entered at the moment it was saved or brought"
"""What an entry says whose file counts time without telling when it began."""


def keep(log: Log, files: Sequence[ReadFile], figures: Sequence[Figure], who: str) -> int:
    """Enter the figures of files that are not in the log yet; all or nothing. How many there were.

    Raises:
        ByrewrightError: a file is in the log already, or nobody says who read it.
        LogRefused, LogTrouble, LogDamaged
    """
    return keep_news(log, news_of(files, figures), who)


def news_of(files: Sequence[ReadFile], figures: Sequence[Figure]) -> list[New]:
    """The figures as entries to be made, each with its file's name and hash; by whom is not said
    yet."""
    of = {one.path.name: one for one in files}
    return [_new(f, of[f.of.file]) for f in figures]


def keep_news(log: Log, news: Sequence[New], who: str) -> int:
    """Enter what `news_of` made, as `keep` does."""
    if not who.strip():
        raise ByrewrightError("say who took the readings, by name")
    if known := known_in(log, news):
        raise ByrewrightError(f"{known}; nothing was entered")
    for one in news:
        if one.at > time.time() + LATEST_S:
            raise ByrewrightError(
                f"{one.body['file']}: its clock says {one.body['when']}, which is still to come; "
                "see to it, or state its `zone_h` in the map; nothing was entered"
            )
    return len(log.append([replace(one, who=who) for one in news]))


def known_in(log: Log, news: Sequence[New]) -> str:
    """The file whose readings the log holds already, in words; "" where there is none."""
    known = {e.data.get("sha256"): e for e in log.entries("reading")}
    for one in news:
        was = known.get(one.body["sha256"])
        if was is not None:
            return (
                f"{one.body['file']}: these readings are in the log already, as "
                f"{was.data.get('file')}"
            )
    return ""


def _new(one: Figure, file: ReadFile) -> New:
    told, channel = one.finding, one.of.channel
    clock = one.of.starts_utc is not None
    at = one.of.starts_utc if one.of.starts_utc is not None else file.written_at
    body = {
        "figure": told.key, "title": told.title, "at": told.subject, "number": one.of.number,
        "value": told.value, "unit": told.unit, "uncertainty": one.doubt, "limit": told.limit,
        "sense": told.sense, "file": file.path.name, "sha256": file.sha256,
        "instrument": channel.instrument,
        "when": time.strftime("%Y-%m-%d %H:%M", time.localtime(at)),
    }  # fmt: skip
    if not clock:
        body = {"clock": NO_CLOCK, **body}
    name = f"{file.sha256} {told.key} {told.subject} {one.of.heading}"
    uid = hashlib.sha256(name.encode()).hexdigest()[:32]
    return New("reading", at, channel.at, "", body, uid=uid)
