"""Figures out of instrument files as entries of the log."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Sequence

from byrewright.errors import ByrewrightError
from byrewright.site.log import Log, New
from byrewright.site.readings.figure import Figure
from byrewright.site.readings.files import ReadFile


def keep(log: Log, files: Sequence[ReadFile], figures: Sequence[Figure], who: str) -> int:
    """Enter the figures of files that are not in the log yet; all or nothing. How many there were.

    Raises:
        ByrewrightError: a file is in the log already, or nobody says who read it.
        LogRefused, LogTrouble, LogDamaged
    """
    if not who.strip():
        raise ByrewrightError("--keep: say who took the readings, by name")
    known = {e.data.get("sha256"): e for e in log.entries("reading")}
    for one in files:
        if one.sha256 in known:
            was = known[one.sha256]
            raise ByrewrightError(
                f"{one.path}: these readings are in the log already, as {was.data.get('file')}; "
                "nothing was entered"
            )
    of = {one.path.name: one for one in files}
    return len(log.append([_new(f, of[f.of.file], who) for f in figures]))


def _new(one: Figure, file: ReadFile, who: str) -> New:
    told, channel = one.finding, one.of.channel
    at = one.of.starts_utc if one.of.starts_utc is not None else file.path.stat().st_mtime
    body = {
        "figure": told.key, "title": told.title, "at": told.subject, "number": one.of.number,
        "value": told.value, "unit": told.unit, "uncertainty": one.doubt, "limit": told.limit,
        "sense": told.sense, "file": file.path.name, "sha256": file.sha256,
        "instrument": channel.instrument,
        "when": time.strftime("%Y-%m-%d %H:%M", time.localtime(at)),
    }  # fmt: skip
    name = f"{file.sha256} {told.key} {told.subject} {one.of.heading}"
    uid = hashlib.sha256(name.encode()).hexdigest()[:32]
    return New("reading", at, channel.at, who, body, uid=uid)
