"""Something wrong in a file, and the errors that carry it. The words are in `messages`."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from byrewright.errors import ByrewrightError
from byrewright.plant.messages import CATALOGUE, Severity


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a file, or one piece of advice.

    `line` and `column` count from 1 and are 0 where the place is not known. `key` is the dotted
    place (`equipment.V11.ways`); `found` and `allowed` are what stands there and what may.
    """

    code: str
    file: str
    line: int
    column: int
    key: str
    found: str
    allowed: str
    sentence: str

    @property
    def severity(self) -> Severity:
        """Error (the file cannot be used) or advice."""
        return CATALOGUE[self.code].severity

    @property
    def repair(self) -> str:
        """What to do about it."""
        return CATALOGUE[self.code].repair

    @property
    def what(self) -> str:
        """The sentence, and for a message about the plant as a whole what to do, too."""
        return f"{self.sentence}. {self.repair}" if self.code[0] == "C" else self.sentence

    def __str__(self) -> str:
        place = ":".join(str(p) for p in (self.file, self.line or "") if p)
        number = f"{self.severity} {self.code}"
        return ": ".join(p for p in (place, number, self.key, self.what) if p)


def problem(
    code: str, *, file: str = "", line: int = 0, column: int = 0, key: str = "", **words: Any
) -> Problem:
    """Fill in a message of the catalogue. `words` are the blanks of its template.

    >>> str(problem("F027", file="plant.yaml", line=41, key="V11.ways", found="4", allowed="2, 3"))
    'plant.yaml:41: error F027: V11.ways: 4 is not one of 2, 3'
    """
    filled = {"near": "", "allowed": "", **words}
    sentence = CATALOGUE[code].template.format(**filled)
    return Problem(code, file, line, column, key, str(words.get("found", "")),
                   str(filled["allowed"]), sentence)  # fmt: skip


LEFT_APART = 2
"""So many alike are told one by one; more of them have one cause and are one message."""
PLACES_NAMED = 3


def fold(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """What has one cause told once, at its first place: a file that was cut is one message.

    Two problems are alike when their message says so (`Message.alike`): all of its code, those
    that found the same word, or those in the same group of keys.
    """
    groups: dict[Problem | tuple[str, str, str], list[Problem]] = {}
    for one in dict.fromkeys(problems):
        groups.setdefault(_cause(one), []).append(one)
    told: list[Problem] = []
    for first, *others in groups.values():
        if len(others) < LEFT_APART:
            told += [first, *others]
            continue
        named = ", ".join(p.key or str(p.line) for p in others[:PLACES_NAMED])
        more = ", ..." if len(others) > PLACES_NAMED else ""
        sentence = f"{first.sentence} (and {len(others)} more of the same: {named}{more})"
        told.append(replace(first, sentence=sentence))
    return tuple(told)


def _cause(one: Problem) -> Problem | tuple[str, str, str]:
    match CATALOGUE[one.code].alike:
        case "code":
            return one.code, one.file, ""
        case "found":
            return one.code, one.file, one.found
        case "group":
            return one.code, one.file, one.key.rpartition(".")[0]
        case "key":
            return one.code, one.file, one.key
    return one


class FileProblems(ByrewrightError):
    """A file that cannot be used. `problems` holds what was found, in file order, each cause once.

    Alike ones are told as one; see `fold`.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = fold(problems)
        super().__init__("\n".join(str(p) for p in self.problems))

    @property
    def unreadable(self) -> bool:
        """Whether there is no text to speak of: no such file, a folder, no UTF-8, too large."""
        return self.problems[0].code in ("F001", "F002", "F003", "F004")

    def __reduce__(self) -> tuple[type[FileProblems], tuple[tuple[Problem, ...]]]:
        return type(self), (self.problems,)


class PlantError(FileProblems):
    """The plant file cannot be used."""


class BriefError(FileProblems):
    """The brief cannot be used."""


class LimitsError(FileProblems):
    """The limits file cannot be used."""


def nearest(word: str, known: Iterable[str], listed: int = 12) -> str:
    """What was perhaps meant: the nearest known word, or all of them when they are few.

    >>> nearest("bore", ["bore_mm", "length_m"])
    '; did you mean bore_mm?'
    """
    every = list(known)
    folded = {one.casefold(): one for one in reversed(every)}
    stem = word.casefold()[:60]
    near = difflib.get_close_matches(stem, folded, n=5, cutoff=0.6)
    near.sort(key=lambda one: _likeness(stem, one), reverse=True)
    if not near:
        near = [f for f in folded if len(stem) >= 3 and (f.startswith(stem) or stem.startswith(f))]
    if near:
        return f"; did you mean {short(folded[near[0]])}?"
    if every and len(every) <= listed:
        return f"; known are {', '.join(short(one) for one in every)}"
    return ""


def short(text: str) -> str:
    """Text from a file as it may stand in a sentence: printable and short."""
    clean = "".join(c if c.isprintable() else "?" for c in text[:48])
    return clean if len(clean) <= 40 else clean[:37] + "..."


def _likeness(a: str, b: str) -> tuple[float, int]:
    """How alike two words are; between equals, the one that begins alike for longer."""
    same = next(
        (i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b))
    )
    return round(difflib.SequenceMatcher(None, b, a).ratio(), 3), same


def show(value: object) -> str:
    """A value as it may stand in a sentence, short."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{short(value)}"'
    if isinstance(value, Mapping):
        return "a group of keys"
    if isinstance(value, Sequence):
        return "a list"
    text = f"{value:.12g}" if isinstance(value, float) else str(value)
    return text if len(text) <= 24 else text[:21] + "..."
