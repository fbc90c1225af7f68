"""Filled-in test sheets: one shape however they were filled in, and the entries that come of them.

A sheet knows the plant and the revision of the checks it was made for. What comes back is looked at
whole before anything is kept: a sheet of another plant, an older revision or one that says nothing
new is refused in a sentence.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from byrewright.errors import ByrewrightError
from byrewright.site.checks.catalogue import can_be
from byrewright.site.checks.check import Check, revision_of
from byrewright.site.log import Entry, Log, New, Owner
from byrewright.site.log.entry import LATEST_S, current
from byrewright.standards.units import convert, typed_number, units_like

FORMAT = 1
CLOCK = "%Y-%m-%d %H:%M"
DAY = "%Y-%m-%d"
VISIT_S = 7 * 86400.0
"""A reading so far from another of its check in the same sheet is of another visit."""
LARGEST_PHOTO = 8_000_000
PHOTOS = {b"\xff\xd8\xff": "image/jpeg", b"\x89PNG": "image/png"}
SHOWN = 3


class SheetError(ByrewrightError):
    """A sheet cannot be taken; nothing of it was kept."""


@dataclass(frozen=True, slots=True)
class Row:
    """What was filled in for one check, as text and numbers; `photo` is a file's bytes.

    `value` is None where the check is a tick (`seen`) or was not done (`why_not`).
    """

    check: str
    value: float | None = None
    seen: bool = False
    why_not: str = ""
    unit: str = ""
    instrument: str = ""
    calibrated: str = ""
    uncertainty: float | None = None
    who: str = ""
    when: str = ""
    remark: str = ""
    photo: bytes = b""


@dataclass(frozen=True, slots=True)
class Filled:
    """A sheet as it came back. `name` says which, in sentences."""

    name: str
    sheet: str
    plant_id: str
    plant: str
    revision: str
    rows: tuple[Row, ...]


@dataclass(slots=True)
class Taken:
    """What became of a sheet."""

    new: list[Entry] = field(default_factory=list)
    corrected: int = 0
    again: int = 0
    """Read again at another visit on a copy of the sheet: kept beside what was read before."""
    same: int = 0
    left: list[str] = field(default_factory=list)
    """Checks left out, since the plant has them otherwise now."""
    older: bool = False
    """Whether the sheet was made for an older revision of the plant."""


def empty(plant_id: str, plant: str, checks: Sequence[Check], sheet: str) -> dict[str, Any]:
    """A sheet to be filled in, as data that every way of filling it in carries."""
    return {
        "byrewright_tests": FORMAT,
        "sheet": sheet,
        "plant_id": plant_id,
        "plant": plant,
        "revision": revision_of(checks),
    }


def read_json(path: Path) -> Filled:
    """A sheet exported by its page.

    Raises:
        SheetError: it is none.
    """
    if not path.is_file():
        raise SheetError(f"{path}: no such file; check the name and the folder")
    try:
        return from_data(path.name, json.loads(path.read_text(encoding="utf-8")))
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        raise SheetError(
            f"{path.name}: is no export of a test sheet, or was cut off; export it again"
        ) from None


def from_data(name: str, told: Any) -> Filled:
    """A sheet from the data that its page exports.

    Raises:
        SheetError: it is none, or a row of it cannot be what it says.
    """
    if not isinstance(told, dict) or told.get("byrewright_tests") != FORMAT:
        raise SheetError(f"{name}: is no export of a test sheet of this byrewright")
    rows = told.get("rows")
    if not isinstance(rows, list) or not all(isinstance(r, dict) for r in rows):
        raise SheetError(f"{name}: holds no rows; export it again")
    return Filled(
        name, _text(told, "sheet"), _text(told, "plant_id"), _text(told, "plant"),
        _text(told, "revision"), tuple(_row(name, r) for r in rows),
    )  # fmt: skip


def _text(told: Mapping[str, Any], key: str) -> str:
    value = told.get(key, "")
    return value.strip() if isinstance(value, str) else "" if value is None else str(value)


def _row(name: str, told: Mapping[str, Any]) -> Row:
    check = _text(told, "check")
    numbers: dict[str, float | None] = {}
    for key in ("value", "uncertainty"):
        text = _text(told, key)
        try:
            numbers[key] = typed_number(text) if text else None
        except ValueError as error:
            raise SheetError(f"{name}: {check}: {key}: {error}") from None
    photo = _text(told, "photo").partition("base64,")[2]
    try:
        data = base64.b64decode(photo, validate=True)
    except binascii.Error:
        raise SheetError(f"{name}: {check}: its photo was cut off; export it again") from None
    words = {k: _text(told, k) for k in ("unit", "instrument", "calibrated", "who", "when",
                                         "remark", "why_not")}  # fmt: skip
    return Row(check, numbers["value"], told.get("seen") is True,
               uncertainty=numbers["uncertainty"], photo=data, **words)  # fmt: skip


def take(
    log: Log, filled: Filled, checks: Sequence[Check], owner: Owner, *, unchanged: bool = False,
    now: float | None = None, asked: Callable[[Check], str] = lambda check: check.unit,
) -> Taken:  # fmt: skip
    """Enter what a sheet says that the log does not say yet; all of it or nothing.

    Args:
        asked: the unit in which the sheet asks for a check; refusals speak in it.
        unchanged: of a sheet of an older revision, take the checks that are as they were.

    Raises:
        SheetError: see above; one sentence.
        LogRefused, LogTrouble, LogDamaged
    """
    taken = Taken()
    rows = _fitting(filled, {c.id: c for c in checks}, owner, unchanged, taken, asked)
    clock = time.time() if now is None else now
    news = [_new(filled, r, c, clock, asked) for r, c in rows]
    there = log.entries("test")
    before = [e for e in current(there) if e.data.get("sheet") == filled.sheet]
    known = {e.uid for e in there}
    fresh = []
    for new in news:
        if new.uid in known:
            taken.same += 1
            continue
        old, earlier = _before(before, new)
        taken.corrected += old is not None
        taken.again += earlier
        fresh.append(New(new.kind, new.at, new.tag, new.who, new.body,
                         old.uid if old else "", new.uid))  # fmt: skip
    if not fresh:
        raise SheetError(
            f"{filled.name}: "
            + ("says nothing that is not in the log already" if news else "nothing is filled in")
        )
    photos = [(_photo_kind(filled.name, r), r.photo) for r, _ in rows if r.photo]
    taken.new = log.append(fresh, photos)
    return taken


def _before(before: Sequence[Entry], new: New) -> tuple[Entry | None, bool]:
    """The reading of the same visit that a new one corrects, and whether other visits read it."""
    mine = [e for e in before if e.data.get("check") == new.body["check"]]
    near = [e for e in mine if abs(e.at - new.at) <= VISIT_S]
    return min(near, key=lambda e: abs(e.at - new.at), default=None), bool(mine and not near)


def _fitting(
    filled: Filled,
    checks: Mapping[str, Check],
    owner: Owner,
    unchanged: bool,
    taken: Taken,
    asked: Callable[[Check], str],
) -> list[tuple[Row, Check]]:
    """The rows that say something, with their checks; refuses what is not of this plant."""
    name = filled.name
    if filled.plant_id and owner.plant_id and filled.plant_id != owner.plant_id:
        raise SheetError(
            f"{name}: was made for another plant, {filled.plant or 'unnamed'} "
            f"({filled.plant_id}); this is {owner.plant} ({owner.plant_id})"
        )
    rows = [_in_asked_unit(r, checks.get(r.check)) for r in filled.rows]
    ids = [r.check for r in rows]
    double = next((i for i in ids if ids.count(i) > 1), None) if len(set(ids)) < len(ids) else None
    if double is not None:
        raise SheetError(f"{name}: {double} is filled in twice; keep one of the rows")
    said = [r for r in rows if r.value is not None or r.seen or r.why_not]
    odd = [r.check for r in said if r.check not in checks or
           (r.unit and checks[r.check].unit and r.unit != checks[r.check].unit)]  # fmt: skip
    older = filled.revision != revision_of(checks.values())
    known = next((r for r in said if r.check in odd and r.check in checks), None)
    if known is not None and not older:
        raise SheetError(
            f"{name}: {known.check} is read in {known.unit}, and this plant asks for it in "
            f"{asked(checks[known.check])}; enter it so"
        )
    if odd and not unchanged:
        shown = ", ".join(odd[:SHOWN]) + (f" and {len(odd) - SHOWN} more" if odd[SHOWN:] else "")
        raise SheetError(
            f"{name}: was made for an older revision of this plant, which has {shown} otherwise "
            "now; make new sheets, or take what is unchanged with --unchanged"
            if older
            else f"{name}: this plant has no check {shown}"
        )
    taken.left, taken.older = odd, older
    return [(r, checks[r.check]) for r in said if r.check not in odd]


def _in_asked_unit(row: Row, check: Check | None) -> Row:
    """A row whose unit measures the same as what its check asks, in the unit that is asked."""
    if check is None or row.unit == check.unit or check.unit not in units_like(row.unit):
        return row

    def turned(value: float) -> float:
        return convert(value, row.unit, check.unit)

    value, doubt = row.value, row.uncertainty
    return replace(
        row, unit=check.unit,
        value=None if value is None else float(f"{turned(value):.6g}"),
        uncertainty=None if doubt is None else float(f"{turned(doubt) - turned(0.0):.4g}"),
    )  # fmt: skip


def _new(filled: Filled, row: Row, check: Check, now: float, asked: Callable[[Check], str]) -> New:
    where = f"{filled.name}: {check.id}"
    if check.unit and row.seen:
        raise SheetError(f"{where}: is a reading in {asked(check)}, not a tick; enter its value")
    if not check.unit and row.value is not None:
        raise SheetError(f"{where}: is a tick, not a number")
    stem = check.id.partition("@")[0]
    if row.value is not None and not can_be(stem, check.group, check.unit, row.value):
        value = convert(row.value, check.unit, asked(check)) if check.unit else row.value
        raise SheetError(f"{where}: {value:.4g} {asked(check)} cannot be; see to its unit and its "
                         "decimal sign")  # fmt: skip
    if not row.who:
        raise SheetError(f"{where}: does not say who did it")
    at = _when(where, row.when, now)
    if row.uncertainty is not None and row.uncertainty < 0:
        raise SheetError(f"{where}: its uncertainty is less than nothing")
    if row.calibrated:
        day = _moment(row.calibrated, (DAY,))
        if day is None or day > at:
            raise SheetError(
                f"{where}: {row.calibrated!r} is no day of a calibration before the reading; write "
                "2026-03-31"
            )
    outcome = "not done" if row.why_not and row.value is None and not row.seen else (
        "read" if check.unit else "seen"
    )  # fmt: skip
    told = asdict(row) | {"unit": check.unit, "outcome": outcome, "title": check.title}
    told["photo"] = hashlib.sha256(row.photo).hexdigest() if row.photo else ""
    told["when"] = time.strftime(CLOCK, time.localtime(at))
    for key in ("seen", "who"):
        told.pop(key)
    uid = hashlib.sha256(
        json.dumps([told, row.who], sort_keys=True, ensure_ascii=False).encode("utf-8", "replace")
    ).hexdigest()[:32]
    told |= {"sheet": filled.sheet, "revision": filled.revision}
    return New("test", at, check.at.partition(" ")[0], row.who, told, uid=uid)


def _when(where: str, text: str, now: float) -> float:
    if not text:
        raise SheetError(f"{where}: does not say when it was done")
    at = _moment(text, (CLOCK, "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M:%S", DAY))
    if at is None:
        raise SheetError(f"{where}: {text!r} is no date and time; write 2026-03-31 14:05")
    if at > now + LATEST_S:
        raise SheetError(f"{where}: {text} lies in the future; see to the clock that wrote it")
    return at


def _moment(text: str, forms: Iterable[str]) -> float | None:
    for form in forms:
        try:
            return time.mktime(time.strptime(text, form))
        except (ValueError, OverflowError):
            continue
    return None


def _photo_kind(name: str, row: Row) -> str:
    kind = next((k for mark, k in PHOTOS.items() if row.photo.startswith(mark)), "")
    if not kind:
        raise SheetError(f"{name}: {row.check}: its photo is no JPEG or PNG picture")
    if len(row.photo) > LARGEST_PHOTO:
        raise SheetError(f"{name}: {row.check}: its photo is larger than 8 MB; make it smaller")
    return kind
