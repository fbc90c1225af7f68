"""What a fact is: a value, where it came from and how sure we are of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Known = Literal["read", "second_hand", "from_memory", "derived", "common_practice", "stated"]
"""How a fact is known. `stated` marks a value the user entered in the limits file."""

KNOWN_MEANING: Mapping[Known, str] = {
    "read": "read in the named source",
    "second_hand": "read in a second source that reproduces the named one",
    "from_memory": "from memory; check it against the named text",
    "derived": "worked out here from stated figures",
    "common_practice": "common practice, no source",
    "stated": "stated by the user in the limits file",
}

Kind = Literal["limit", "rule", "typical"]


@dataclass(frozen=True, slots=True)
class Source:
    """A document, or a body of practice, that facts are taken from."""

    key: str
    title: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Value:
    """One number: a limit not to pass, a coefficient of a rule, or a typical figure.

    `low` and `high` bound a typical figure where the source gives a range.
    """

    key: str
    value: float
    unit: str
    meaning: str
    source: str
    known: Known
    kind: Kind
    low: float | None = None
    high: float | None = None

    @property
    def range_text(self) -> str:
        """The range as words, or "" where the source gives none."""
        if self.low is None or self.high is None:
            return ""
        return f"{self.low:g} to {self.high:g} {self.unit}".strip()


class UnknownRule(KeyError):
    """A key that is not in the rulebook; the text names the nearest one."""

    def __str__(self) -> str:
        return str(self.args[0]) if self.args else "unknown rule"
