"""The record of a call: what was seen, answered and done, into the log once."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from byrewright.errors import ByrewrightError
from byrewright.site.log import Entry, Log, New, Owner
from byrewright.site.log.entry import LATEST_S, current

FORMAT = 1
OUTCOMES = ("goes on", "no change", "called", "open")
"""How a call ended: milking goes on, it did not help, somebody was called, nobody said."""
ANSWERS = ("yes", "no", "cannot tell")
LONGEST = 2000


class CallError(ByrewrightError):
    """A record of calls cannot be taken; nothing of it was kept."""


@dataclass(frozen=True, slots=True)
class Call:
    """One call. `asked` are the things looked at with what was answered; `tag` where it was."""

    id: str
    at: float
    who: str
    sight: str
    asked: tuple[tuple[str, str, str], ...]
    tag: str
    outcome: str
    remark: str

    @property
    def body(self) -> dict[str, Any]:
        """What the log keeps of it."""
        return {
            "call": self.id, "sight": self.sight, "outcome": self.outcome, "remark": self.remark,
            "asked": [{"look": a, "at": t, "answer": h} for a, t, h in self.asked],
        }  # fmt: skip


def head_of(owner: Owner) -> dict[str, Any]:
    """What every record of calls says first."""
    return {"byrewright_calls": FORMAT, "plant_id": owner.plant_id, "plant": owner.plant}


def read_calls(path: Path) -> tuple[Mapping[str, Any], list[Call]]:
    """Calls exported by the page: the head, and the calls.

    Raises:
        CallError: it is none.
    """
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise CallError(f"{path}: no such file; check the name and the folder") from None
    except OSError as error:
        raise CallError(f"{path}: cannot be read: {error.strerror}") from None
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        raise CallError(
            f"{path.name}: is no record of calls, or was cut off; save it again"
        ) from None
    return from_data(path.name, told)


def from_data(name: str, told: Any) -> tuple[Mapping[str, Any], list[Call]]:
    """Calls from the data that the page exports.

    Raises:
        CallError: it is none, or a call of it cannot be what it says.
    """
    if not isinstance(told, dict) or told.get("byrewright_calls") != FORMAT:
        raise CallError(f"{name}: is not a record of calls kept by byrewright")
    calls = told.get("calls")
    if not isinstance(calls, list):
        raise CallError(f"{name}: holds no calls; save it again")
    return told, [_call(name, c) for c in calls]


def _call(name: str, told: Any) -> Call:
    try:
        asked = tuple((_text(a["look"]), _text(a.get("at", "")), _text(a["answer"]))
                      for a in told["asked"])  # fmt: skip
        at = told["at"]
        if isinstance(at, bool) or not isinstance(at, int | float) or not 0 <= at < 1e11:
            raise ValueError
        one = Call(_text(told["id"]), float(at), _text(told["who"]), _text(told["sight"]), asked,
                   _text(told["tag"]), _text(told["outcome"]), _text(told["remark"]))  # fmt: skip
    except (KeyError, TypeError, ValueError):
        raise CallError(f"{name}: a call in it cannot be read; save it again") from None
    if one.outcome not in OUTCOMES or any(h not in ANSWERS for _, _, h in asked) or not one.id:
        raise CallError(f"{name}: a call in it says what no call can say; save it again")
    return one


def _text(value: Any) -> str:
    if not isinstance(value, str) or len(value) > LONGEST:
        raise ValueError
    return value.strip()


def take(
    log: Log, name: str, told: Mapping[str, Any], calls: Sequence[Call], owner: Owner, *,
    now: float | None = None,
) -> list[Entry]:  # fmt: skip
    """Enter the calls that the log does not have so yet; all or nothing.

    A call that was entered open and has ended since takes the place of the first.

    Raises:
        CallError: of another plant, from the future, by nobody, or nothing new.
        LogRefused, LogTrouble, LogDamaged
    """
    theirs = str(told.get("plant_id", ""))
    if theirs and owner.plant_id and theirs != owner.plant_id:
        raise CallError(
            f"{name}: was made for another plant, {told.get('plant') or 'unnamed'} ({theirs}); "
            f"this is {owner.plant} ({owner.plant_id})"
        )
    clock = time.time() if now is None else now
    for one in calls:
        if one.at > clock + LATEST_S:
            raise CallError(f"{name}: a call lies in the future; see to the clock that wrote it")
        if not one.who:
            raise CallError(f"{name}: the call of {_when(one.at)} does not say who called")
    every = log.entries("call")
    known = {e.uid for e in every}
    before = {e.data.get("call"): e.uid for e in current(every)}
    fresh = [
        New("call", c.at, c.tag, c.who, c.body, before.get(c.id, ""), _uid(c))
        for c in calls
        if _uid(c) not in known
    ]
    if not fresh:
        raise CallError(f"{name}: says nothing that is not in the log already" if calls
                        else f"{name}: holds no call")  # fmt: skip
    return log.append(fresh)


def _uid(one: Call) -> str:
    told = json.dumps([one.at, one.who, one.tag, one.body], sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(told.encode("utf-8", "replace")).hexdigest()[:32]


def _when(at: float) -> str:
    return time.strftime("%Y-%m-%d %H:%M", time.localtime(at))
