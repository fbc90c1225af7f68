"""The log as a zip of plain files: out, and in again at another place; nothing lost or doubled.

`manifest.json` says whose log it is and the hash of each file; `entries.csv` holds every entry as
it stands, `photos/` the photos by their hash. The same log gives the same bytes.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from pathlib import Path
from typing import Any

from byrewright.errors import ByrewrightError
from byrewright.plant.write import write_bytes
from byrewright.site.log.entry import COLUMNS, Entry, digest
from byrewright.site.log.home import LogRefused
from byrewright.site.log.store import Log

FORMAT, VERSION = "byrewright log", 1
ENTRIES, MANIFEST = "entries.csv", "manifest.json"
LIST = "photos.csv"
MOST_BYTES = 2_000_000_000
STILL = (1980, 1, 1, 0, 0, 0)


class CarryError(ByrewrightError):
    """The zip cannot be taken in; nothing was."""


def write_out(log: Log, path: Path) -> int:
    """Write the whole log as a zip; how many entries it holds.

    Raises:
        LogRefused, LogTrouble, LogDamaged, OSError
    """
    entries = sorted(log.entries(), key=lambda e: (e.place, e.number, e.hash))
    photos = log.photos()
    files = {ENTRIES: _table(COLUMNS, [[_cell(e, c) for c in COLUMNS] for e in entries])}
    files[LIST] = _table(("sha256", "kind"), [[s, kind] for s, (kind, _) in photos.items()])
    files |= {f"photos/{s}": data for s, (_, data) in photos.items()}
    manifest = {
        "format": FORMAT,
        "version": VERSION,
        "plant_id": log.owner.plant_id,
        "plant": log.owner.plant,
        "world": log.owner.world,
        "entries": len(entries),
        "log": digest(entries),
        "files": {name: hashlib.sha256(data).hexdigest() for name, data in files.items()},
    }
    told = json.dumps(manifest, indent=1, ensure_ascii=False, sort_keys=True) + "\n"
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as out:
        for name, data in ((MANIFEST, told.encode()), *files.items()):
            out.writestr(zipfile.ZipInfo(name, STILL), data, zipfile.ZIP_DEFLATED)
    write_bytes(path, made.getvalue())
    return len(entries)


def take_in(log: Log, path: Path) -> tuple[int, int]:
    """Add what a zip holds and the log does not: entries added, and entries in the zip.

    Raises:
        CarryError: it is no such zip, was changed, or is another plant's.
        EntryRefused: an entry in it was changed.
        LogRefused, LogTrouble, LogDamaged
    """
    files, manifest = _read(path)
    theirs = str(manifest.get("plant_id", ""))
    mine = log.owner.plant_id
    if theirs and mine and theirs != mine:
        raise LogRefused(
            f"{path}: is the log of another plant, {manifest.get('plant') or theirs} (id {theirs}; "
            f"this plant file says {mine}); nothing was taken in"
        )
    if manifest.get("world") != log.owner.world:
        raise LogRefused(f"{path}: is the log of {manifest.get('world')}, not of this one's world")
    entries = [_entry(path, row) for row in _rows(path, files[ENTRIES], COLUMNS)]
    kinds = {r["sha256"]: r["kind"] for r in _rows(path, files[LIST], ("sha256", "kind"))}
    photos = [
        (kinds.get(name.partition("/")[2], ""), data)
        for name, data in files.items()
        if name.startswith("photos/")
    ]
    return log.take_in(entries, photos), len(entries)


def _read(path: Path) -> tuple[dict[str, bytes], dict[str, Any]]:
    """Every file of the zip that the manifest names, each as it was when written."""
    if not path.is_file():
        raise CarryError(f"{path}: no such file; check the name and the folder")
    try:
        with zipfile.ZipFile(path) as put:
            if sum(i.file_size for i in put.infolist()) > MOST_BYTES:
                raise CarryError(f"{path}: is too large to be a log")
            manifest = json.loads(put.read(MANIFEST))
            named = dict(manifest["files"]) if manifest["format"] == FORMAT else {}
            files = {name: put.read(name) for name in named}
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, AttributeError, OSError,
            NotImplementedError, RuntimeError):  # fmt: skip
        raise CarryError(
            f"{path}: is no log as 'byrewright log out' writes it, or is damaged; write it again"
        ) from None
    if manifest.get("version") != VERSION or not {ENTRIES, LIST} <= set(files):
        raise CarryError(f"{path}: was written by another version of byrewright; use that one")
    for name, data in files.items():
        if hashlib.sha256(data).hexdigest() != named[name]:
            raise CarryError(f"{path}: {name} was changed after it was written; write it again")
    return files, manifest


def _cell(one: Entry, column: str) -> str:
    value = getattr(one, column)
    return repr(value) if isinstance(value, float) else str(value)


def _table(columns: tuple[str, ...], rows: list[list[str]]) -> bytes:
    out = io.StringIO()
    sheet = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)
    sheet.writerow(columns)
    sheet.writerows(rows)
    return out.getvalue().encode()


def _rows(path: Path, data: bytes, columns: tuple[str, ...]) -> list[dict[str, str]]:
    usual = csv.field_size_limit(MOST_BYTES)
    try:
        found = list(csv.DictReader(io.StringIO(data.decode(), newline="")))
    except (UnicodeDecodeError, csv.Error):
        found = [{}]
    finally:
        csv.field_size_limit(usual)
    if any(set(row) != set(columns) or None in row.values() for row in found):
        raise CarryError(f"{path}: its tables are not as byrewright writes them; write it again")
    return found


def _entry(path: Path, row: dict[str, str]) -> Entry:
    try:
        number = {"number": int(row["number"]), "at": float(row["at"])}
        return Entry(**{**row, **number, "made_at": float(row["made_at"])})  # type: ignore[arg-type]
    except ValueError:
        raise CarryError(f"{path}: an entry has no number where one belongs") from None
