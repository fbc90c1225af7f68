"""Bent files: what the reader mostly takes, with values and parts that no sound plant has.

`tests.plant.mutate` breaks files as text, to try the reader; these get past it, to try what comes
behind. The same seed gives the same file.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.commands.inside import Ended, inside

NUMBER = re.compile(r"(?<=[ \[:])-?\d+(?:\.\d+)?(?=[ ,}\]\n])")
STATES = ("runs", "stopped", "ready", "open", "closed", "fills", "milks", "a-b", "a-c")
STATE = re.compile(rf": ({'|'.join(STATES)})(?=[ ,}}\n])")
LISTS = ("collections", "milkings", "groups", "ambient_c", "fittings", "tariff", "steps")
FACTORS = (0.0, 0.01, 0.1, 0.5, 2.0, 10.0, 1000.0, 1e12, -1.0)


def bent(text: str, seed: int) -> str:
    """A bent copy of a plant, brief, limits, cost or map file: one to three changes."""
    draw = random.Random(seed)
    for _ in range(draw.choice((1, 1, 2, 3))):
        text = draw.choice(WAYS)(text, draw)
    return text


def _numbers(text: str, draw: random.Random) -> str:
    """Another number, by a factor or altogether."""
    found = list(NUMBER.finditer(text))
    if not found:
        return text
    one = draw.choice(found)
    value = float(one[0]) * draw.choice(FACTORS)
    new = draw.choice((f"{value:g}", f"{value:g}", str(round(value)), "0", "1", "1e299"))
    return text[: one.start()] + new + text[one.end() :]


def _states(text: str, draw: random.Random) -> str:
    """One state by another, here or everywhere."""
    found = list(STATE.finditer(text))
    if not found:
        return text
    one, new = draw.choice(found), draw.choice(STATES)
    if draw.random() < 0.3:
        return re.sub(rf": {one[1]}(?=[ ,}}\n])", f": {new}", text)
    return text[: one.start()] + f": {new}" + text[one.end() :]


def _no_list(text: str, draw: random.Random) -> str:
    """A list made empty."""
    key = draw.choice(LISTS)
    text = re.sub(rf"\n{key}:\n(?:  - .*\n(?:    .*\n)*)+", f"\n{key}: []\n", text, count=1)
    return re.sub(rf"\b{key}: \[[^\]]*\]", f"{key}: []", text, count=1)


def _blocks(text: str, draw: random.Random, section: str) -> tuple[str, list[str], str]:
    """What stands before, in (one piece a key or item) and behind a section."""
    found = re.search(rf"^{section}:\n((?:[ #].*\n)*)", text, re.M)
    if not found:
        return text, [], ""
    pieces = re.findall(r"  [^ #\n].*\n(?:   .*\n)*", found[1])
    return text[: found.start(1)], pieces, text[found.end(1) :]


def _drop(section: str) -> Callable[[str, random.Random], str]:
    def drop(text: str, draw: random.Random) -> str:
        before, pieces, behind = _blocks(text, draw, section)
        if len(pieces) < 2:
            return text
        if draw.random() < 0.1:
            pieces = [draw.choice(pieces)]  # all but one
        else:
            pieces.pop(draw.randrange(len(pieces)))
        return before + "".join(pieces) + behind

    return drop


def _double(text: str, draw: random.Random) -> str:
    """A machine twice, under another tag, joined to nothing."""
    before, pieces, behind = _blocks(text, draw, "equipment")
    if not pieces:
        return text
    one = draw.choice(pieces)
    return before + "".join(pieces) + re.sub(r"  (\w+):", "  X9:", one, count=1) + behind


WAYS: Sequence[Callable[[str, random.Random], str]] = (
    _numbers, _numbers, _numbers, _numbers, _states, _states, _no_list, _drop("pipes"),
    _drop("modes"), _drop("equipment"), _drop("milkings"), _double,
)  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """A command that did what no command may: what, and with which words."""

    what: str
    words: tuple[str, ...]
    ended: Ended


ALLOWED_S = 60.0
NONSENSE = re.compile(r"\b(?:nan|inf|None)\b|Traceback|which cannot be;")
BELOW_NOTHING = re.compile(r"(?<![\d.,e(-])-\d+(?:\.\d+)? (?:L|h|min|s|cows|kg)\b(?! before)")


def fault(words: Sequence[str]) -> Fault | None:
    """Run a command here; what was wrong with how it ended, if anything was."""
    ended = inside(words)
    what = ""
    if ended.fell is not None:
        what = f"{type(ended.fell).__name__}: {ended.fell}"
    elif ended.code not in (0, 1, 2):
        what = f"exit code {ended.code}"
    elif ended.processor_s > ALLOWED_S:
        what = f"{ended.processor_s:.0f} s"
    elif said := NONSENSE.search(ended.out + ended.err) or BELOW_NOTHING.search(ended.out):
        what = f"says {said[0]!r}"
    elif ended.code == 2 and not ended.err.strip():
        what = "refuses without a word"
    return Fault(what, tuple(words), ended) if what else None


def commands(plant: Path, out: Path) -> dict[str, tuple[str, ...]]:
    """Every command that reads a plant, quick where it has a quick form."""
    p = str(plant)
    return {
        "check": ("check", p),
        "size": ("size", p, "--all"),
        "explain": ("explain", p, "vacuum.pump.capacity"),
        "vacuum": ("vacuum", p, "--only", "unit falls"),
        "day": ("day", p),
        "routes": ("routes", p, "--order", "1", "--no-orders"),
        "interlocks": ("interlocks", p, "--out", str(out / "locks")),
        "failures": ("failures", p, "--hours", "2"),
        "pack": ("pack", p, "--out", str(out / "pack"), "--date", "2026-01-05"),
        "rehearse": ("rehearse", p),
    }
